"""
Pictures against Mitsuba 3 (W. Jakob et al., 2022, https://mitsuba-renderer.org), an independent volumetric path tracer.

Small pictures, whose mean is known to a few tenths of a percent on both sides. `scalar_rgb` is the variant that runs
everywhere.
"""

import mitsuba
import numpy as np
import pytest
from converged import LONGEST, block_error
from reference_renderer import reference_scene, render
from rooms import lamp_inside, painted_room, plain_room, view_across

from previz.build.assemble import build_set
from previz.camera.view import View
from previz.check.thickness import WITHIN_PERCENT
from previz.frames.hazed import hazed_frame
from previz.light.colour import luminance
from previz.light.lamps import emitters
from previz.rays.lit import light_set
from previz.scene.model import Scene

SIZE = (64, 36)
ONCE, ALL = 2, 16
"""Longest path in Mitsuba's counting: direct light and single scattering; at reflectance 0.5, everything."""
MEAN_TOLERANCE = 0.02


@pytest.fixture(scope="module", autouse=True)
def variant():
    """Mitsuba without a compiler."""
    mitsuba.set_variant("scalar_rgb")


def both(scene, max_depth, samples):
    """Return previz's picture, Mitsuba's, and the standard error of Mitsuba's in blocks of 4 x 4 pixels."""
    lit = light_set(scene, build_set(scene, folder=None))
    view = view_across(*SIZE)
    ours = hazed_frame(lit, view, passes=256, lamp_samples=2, haze_samples=1, bounces=max_depth > ONCE)
    reference = reference_scene(mitsuba, lit.built, lit.emitters, lit.medium, view, max_depth)
    runs = [render(mitsuba, reference, samples // 4, seed) for seed in range(4)]
    error = np.std([blocks(luminance(run)) for run in runs], axis=0, ddof=1) / 2
    return ours, np.mean(runs, axis=0), error


def blocks(picture):
    """Return the means of blocks of 4 x 4 pixels."""
    rows, columns = picture.shape
    return picture.reshape(rows // 4, 4, columns // 4, 4).mean(axis=(1, 3))


def assert_agree(ours, theirs, error, block_tolerance):
    """The means agree within 2 %, and blocks of at least half the mean within `block_tolerance` RMS beyond the reference's own noise."""
    ours, theirs = luminance(ours), luminance(theirs)
    assert ours.mean() == pytest.approx(theirs.mean(), rel=MEAN_TOLERANCE)
    a, b = blocks(ours), blocks(theirs)
    lit = b > 0.5 * b.mean()
    beyond = np.mean((a[lit] / b[lit] - 1) ** 2) - np.mean((error[lit] / b[lit]) ** 2)
    assert beyond <= block_tolerance**2


class TestBlocks:
    """The whole picture, block by block, against long runs that are kept in `converged.npz`."""

    @pytest.mark.parametrize("extinction", [0.0, 0.8])
    def test_within_three_percent(self, extinction):
        """240 x 135, every block of 5 x 5 pixels, dark ones as well: 3 % root mean square of each block's relative error."""
        assert block_error(drawn(extinction), extinction) <= 0.03

    @pytest.mark.parametrize("extinction", [e for e in LONGEST if e > 0.8])
    def test_thicker_haze(self, extinction):
        """Optical depths of 0.5 and 0.9 across the room: as near as the report says."""
        assert block_error(drawn(extinction), extinction) <= WITHIN_PERCENT[0][1] / 100


def drawn(extinction):
    """Return previz's picture of the room, without grain."""
    scene = plain_room(extinction)
    lit = light_set(scene, build_set(scene, folder=None))
    return luminance(hazed_frame(lit, view_across(), passes=32, lamp_samples=4, haze_samples=1))


class TestOnce:
    """Direct light and single scattering."""

    @pytest.mark.parametrize("extinction", [0.0, 0.8])
    def test_mean_and_blocks(self, extinction):
        """Window, disc lamp, with and without haze."""
        assert_agree(*both(plain_room(extinction), ONCE, 2048), block_tolerance=0.03)


class TestEverything:
    """All bounces, between surfaces and in the haze."""

    @pytest.mark.parametrize("extinction", [0.0, 0.8])
    def test_mean_and_blocks(self, extinction):
        """Window, disc lamp, with and without haze."""
        assert_agree(*both(plain_room(extinction), ALL, 128), block_tolerance=0.03)

    @pytest.mark.parametrize("extinction", [3.0, 8.0])
    def test_thick_haze(self, extinction):
        """Where light scatters many times: as far off as the report says of haze this thick, over the 310 mm of the room."""
        ours, theirs, error = both(plain_room(extinction), 64, 64)
        within = next(percent for most, percent in WITHIN_PERCENT if 0.310 * extinction <= most) / 100
        a, b = blocks(luminance(ours)), blocks(luminance(theirs))
        lit = b > 0.5 * b.mean()
        assert a.mean() == pytest.approx(b.mean(), rel=within)
        assert np.mean((a[lit] / b[lit] - 1) ** 2) - np.mean((error[lit] / b[lit]) ** 2) <= within**2

    def test_colour(self):
        """Coloured finishes and a warm lamp: each channel's mean agrees, so no bounce mixes them up."""
        ours, theirs, error = both(painted_room(0.8), ALL, 128)
        np.testing.assert_allclose(ours.mean(axis=(0, 1)), theirs.mean(axis=(0, 1)), rtol=MEAN_TOLERANCE)

    def test_lamp_inside_a_closed_box(self):
        """No window: the light stays until walls take it, so an error of each bounce adds up."""
        assert_agree(*both(lamp_inside(0.8), ALL, 128), block_tolerance=0.03)


class TestBeams:
    """The reference's own lamps with a beam, by the distance law, before anything is compared with them."""

    @pytest.mark.parametrize("aside", [0.0, 100.0, 250.0])
    def test_distance_law(self, aside):
        """On a matt floor under the lamp, ``I0 cos^n cos / d^2`` times reflectance over pi; the face is small against the distance."""
        floor = {"name": "floor", "kind": "box", "at": [0, 0, -4], "size": [1200, 1200, 4], "finish": "grey"}
        lamp = {"name": "key", "kind": "disc", "diameter": 10, "at": [0, 0, 500], "toward": [0, 0, 0], "candela": 100.0, "beam": 40}
        scene = Scene.model_validate({"finish": {"grey": {"reflect": 0.5}}, "prop": [floor], "lamp": [lamp]})
        built = build_set(scene, folder=None)
        down = View(np.array([aside, 0, 100.0]), np.array([0, 0, -1.0]), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), 0.01, 0.01, 4, 4)
        seen = render(mitsuba, reference_scene(mitsuba, built, emitters(scene, built), None, down, ONCE), 64, seed=0)
        distance = np.hypot(aside, 500)
        lux = 100 * (500 / distance) ** (1 + np.log(0.5) / np.log(np.cos(np.radians(20)))) / (distance / 1000) ** 2
        assert luminance(seen).mean() == pytest.approx(lux * 0.5 / np.pi, rel=0.01)
