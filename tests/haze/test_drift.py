"""Uneven haze: what is asked for is what is there, it drifts as fast as asked, and nothing pops."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.ndimage import gaussian_filter, map_coordinates

from previz.build.assemble import build_set
from previz.build.built import Cell
from previz.camera.view import View
from previz.frames.along import drawn_at_moment, drifts
from previz.frames.hazed import hazed_frame
from previz.frames.layers import shown
from previz.frames.reel import frame_moments
from previz.frames.still import lit_at_roll, still
from previz.check.swirls import swirls_entry
from previz.haze.drift import flow_of, life_s, swirls_at
from previz.light.units import per_mm
from previz.rays.lit import light_set
from previz.rays.uneven import excess_towards
from previz.rig.moves import plan_move
from previz.scene.model import HazeChange, Scene, Swirls
from previz.scene.shots import scene_of

BOX = np.array([[0.0, 0.0, 0.0], [330.0, 210.0, 180.0]])
ROOM = (Cell("room", np.column_stack([np.vstack([-np.eye(3), np.eye(3)]), np.concatenate([-BOX[0], BOX[1]])])),)
GENTLE = Swirls(contrast=0.35, size=42, drift=20)

SHED = {
    "room": [{"name": "shed", "plan": [[0, 0], [200, 0], [200, 150], [0, 150]], "walls": ["s", "e", "n", "w"], "open": ["w"], "height": 100}],
    "opening": [{"name": "window", "wall": "shed.e", "at": [50, 40], "size": [40, 40]}],
    "lamp": [{"name": "key", "kind": "disc", "at": [700, 75, 400], "toward": "window", "diameter": 40, "lux_at_1m": 20000}],
    "shot": [{"name": "in", "move": "still", "from": [-60, 75, 50], "look": [100, 75, 20], "clip": 0.5, "fps": 120, "playback": 24}],
}


def between(density, points):
    """Return the density at points (n, 3), by another library's straight lines between nodes."""
    return map_coordinates(density.values.astype(float), ((points - density.low) / density.step - 0.5).T, order=1, mode="nearest")


def lit_shed(uneven, **haze):
    """Return the shed in haze that is uneven as asked, few texels."""
    scene = Scene.model_validate(SHED | {"haze": {"extinction": 1.0, **haze} | ({"uneven": uneven} if uneven else {})})
    return light_set(scene, build_set(scene, Path()), texels=500, rays=16, workers=1)


def drawn(lit, take_s=0.0, workers=1):
    """Return the picture of the shed's shot."""
    shot = lit.scene.shot[0]
    return still(lit, shot, plan_move(lit.scene, shot, lit.built), take_s, (96, 64), quality="draft", workers=workers).linear


class TestDensity:
    """The field itself."""

    @pytest.mark.parametrize(("contrast", "when_s"), [(0.1, 0.0), (0.35, 1.3), (0.6, 7.7), (1.0, 61.0)])
    def test_mean_and_contrast(self, contrast, when_s):
        """The mean over the haze is 1, so extinction stays what the file says; the deviation is that asked for; nothing is negative."""
        density = swirls_at(GENTLE.model_copy(update={"contrast": contrast}), 3, ROOM, BOX, when_s)
        anywhere = between(density, np.random.default_rng(1).uniform(*BOX, (200_000, 3)))
        assert anywhere.mean() == pytest.approx(1, abs=0.01)
        assert density.values.std() == pytest.approx(contrast, rel=0.01)
        assert anywhere.std() == pytest.approx(contrast, rel=0.08)
        assert density.values.min() > 0

    def test_haze_in_part_of_the_box(self):
        """Under a slope the mean is taken over the haze alone, and beyond it there are no swirls."""
        slope = Cell("loft", np.vstack([ROOM[0].planes, [np.sqrt(0.5), 0, np.sqrt(0.5), 200.0]]))
        density = swirls_at(GENTLE, 3, (slope,), BOX, 2.0)
        places = np.random.default_rng(1).uniform(*BOX, (200_000, 3))
        inside = (places @ slope.planes[:, :3].T <= slope.planes[:, 3]).all(axis=1)
        assert between(density, places[inside]).mean() == pytest.approx(1, abs=0.01)
        assert_allclose(between(density, np.array([[325.0, 100, 175]])), 1)

    def test_size(self):
        """Half a swirl away the haze is still alike, a whole one away it is not: correlation 1, more than a half, less than a quarter."""
        density = swirls_at(GENTLE.model_copy(update={"size": 30.0}), 4, ROOM, BOX, 0.0)
        places = np.random.default_rng(1).uniform(BOX[0], BOX[1] - 32, (100_000, 3))
        here = between(density, places)
        alike = [np.corrcoef(here, between(density, places + [far, 0, 0]))[0, 1] for far in (30 / 4, 30.0)]
        assert alike[0] > 0.5 and abs(alike[1]) < 0.35

    def test_seed(self):
        """The same seed has the same swirls to the byte, another seed has others."""
        one, again, other = (swirls_at(GENTLE, seed, ROOM, BOX, 3.0).values for seed in (1, 1, 2))
        assert one.tobytes() == again.tobytes()
        assert abs(np.corrcoef(one.ravel(), other.ravel())[0, 1]) < 0.3

    def test_no_pattern_comes_back(self):
        """No shift of a field larger than a few swirls brings it back onto itself."""
        values = swirls_at(GENTLE.model_copy(update={"size": 25.0}), 5, ROOM, BOX, 0.0).values
        values = values - values.mean()
        power = np.abs(np.fft.fftn(values, s=[2 * n for n in values.shape], axes=(0, 1, 2))) ** 2
        alike = np.fft.ifftn(power).real / (values**2).sum()
        far = 10
        assert np.abs(alike[far : values.shape[0], :, :]).max() < 0.4


class TestDrift:
    """The flow that carries them."""

    def test_no_sources(self):
        """The flow is divergence-free: what flows into a small cube flows out of it."""
        flow, h = flow_of(GENTLE, 7, BOX), 1e-3
        points = np.random.default_rng(2).uniform(*BOX, (500, 3)).T
        slopes = np.array([(flow.velocity(points + h * step[:, None], 1.0) - flow.velocity(points - h * step[:, None], 1.0)) / (2 * h) for step in np.eye(3)])
        divergence = slopes[0, 0] + slopes[1, 1] + slopes[2, 2]
        assert np.abs(divergence).max() < 1e-6 * np.abs(slopes).max()

    def test_speed(self):
        """Its root mean square over the haze is the drift, at any moment."""
        flow = flow_of(GENTLE, 7, BOX)
        points = np.random.default_rng(2).uniform(*BOX, (20_000, 3)).T
        for when_s in (0.0, 5.0, 50.0):
            assert np.sqrt((flow.velocity(points, when_s) ** 2).sum(axis=0).mean()) == pytest.approx(GENTLE.drift, rel=0.03)

    @pytest.mark.parametrize("seed", [1, 2, 3])
    def test_speed_as_it_is_seen(self, seed):
        """Followed from two moments alone, by the shift that explains each neighbourhood best (Lucas and Kanade, 1981), swirls go with the air."""
        swirls, dt, when_s = GENTLE.model_copy(update={"contrast": 0.2}), 0.05, 2 * life_s(GENTLE)
        one, two = (swirls_at(swirls, seed, ROOM, BOX, when_s + side * dt / 2) for side in (-1, 1))
        rise = (two.values.astype(float) - one.values) / dt
        slope = np.array(np.gradient((one.values.astype(float) + two.values) / 2, *one.step))
        around = lambda field: gaussian_filter(field, 0.35 * 42 / one.step, mode="nearest")  # noqa: E731
        matrix = np.array([[around(slope[i] * slope[j]) for j in range(3)] for i in range(3)])
        right = np.array([around(-slope[i] * rise) for i in range(3)])
        seen = np.linalg.solve(np.moveaxis(matrix, (0, 1), (-2, -1)), np.moveaxis(right, 0, -1)[..., None])[..., 0]
        nodes = one.low[:, None] + (np.indices(one.values.shape).reshape(3, -1) + 0.5) * one.step[:, None]
        air = flow_of(swirls, seed, BOX).velocity(nodes, when_s).reshape(3, *one.values.shape)
        air = np.moveaxis(np.array([around(part) for part in air]), 0, -1)
        margin = (slice(4, -4),) * 3
        seen, air = seen[margin], air[margin]
        assert (seen * air).sum() / (air**2).sum() == pytest.approx(1, abs=0.15)
        assert np.sqrt((seen**2).sum(axis=-1).mean()) == pytest.approx(swirls.drift, rel=0.15)

    def test_nothing_pops(self):
        """From one frame to the next the field changes as much where one life ends as anywhere else."""
        def change(when_s):
            return np.abs(swirls_at(GENTLE, 1, ROOM, BOX, when_s + 0.004).values - swirls_at(GENTLE, 1, ROOM, BOX, when_s - 0.004).values).max()

        life = life_s(GENTLE)
        usual = [change((2 + share) * life) for share in (0.25, 0.5, 0.75)]
        assert change(3 * life) < 1.5 * max(usual)

    def test_still_air(self):
        """Without drift the swirls stay where they are."""
        still_air = GENTLE.model_copy(update={"drift": 0.0})
        assert swirls_at(still_air, 1, ROOM, BOX, 0.0).values.tobytes() == swirls_at(still_air, 1, ROOM, BOX, 50.0).values.tobytes()


class TestPictures:
    """What the swirls do to light."""

    @pytest.fixture(scope="class")
    @classmethod
    def lit(cls):
        """The shed in uneven haze."""
        return lit_shed({"contrast": 0.4, "size": 25.0, "drift": 30.0})

    def test_ways_through_swirls(self):
        """Beer and Lambert along a way through uneven haze, against numerical quadrature."""
        density = swirls_at(GENTLE.model_copy(update={"contrast": 0.8}), 3, ROOM, BOX, 2.0)
        lamp = np.array([-400.0, 90.0, 400.0])
        grid = excess_towards(density, lamp)
        points = np.random.default_rng(4).uniform(BOX[0] + 8, BOX[1] - 8, (300, 3))
        way = lamp - points
        share = (np.arange(1500) + 0.5) / 1500
        along = points[:, None] + share[:, None] * way[:, None]
        inside = ((along >= BOX[0]) & (along <= BOX[1])).all(axis=2)
        thick = np.where(inside, between(density, along.reshape(-1, 3)).reshape(300, -1), 0.0)
        exact = thick.mean(axis=1) * np.linalg.norm(way, axis=1)
        even = inside.mean(axis=1) * np.linalg.norm(way, axis=1)
        found = even + between(type(density)(grid, density.low, density.step), points)
        sigma = per_mm(2.0)
        assert np.sqrt(np.mean(np.expm1(-sigma * (found - exact)) ** 2)) < 0.005
        # Taking the mean for it would be off by far more.
        assert np.sqrt(np.mean(np.expm1(-sigma * (even - exact)) ** 2)) > 0.02

    def test_no_contrast_is_even_haze(self):
        """The limit is plain haze, to the byte."""
        even, uneven = drawn(lit_shed(None)), drawn(lit_shed({"contrast": 0.0, "size": 25.0, "drift": 30.0}))
        assert even.tobytes() == uneven.tobytes()

    def test_light_on_the_whole(self, lit):
        """Over a while the picture is as bright as in even haze, and each moment is another."""
        even = drawn(lit_shed(None))
        moments = [drawn(lit, take_s) for take_s in (0.0, 2.0, 4.0, 6.0, 8.0, 10.0)]
        assert np.mean(moments) == pytest.approx(even.mean(), rel=0.03)
        assert all(one.mean() == pytest.approx(even.mean(), rel=0.15) for one in moments)
        assert all(np.abs(one - even).mean() > 0.02 * even.mean() for one in moments)

    def test_workers(self, lit):
        """The same bytes from one worker and from three."""
        assert drawn(lit, 0.05, 1).tobytes() == drawn(lit, 0.05, 3).tobytes()

    def test_depth_of_the_layers(self, lit):
        """The haze's depth in the layers file is that through the swirls: extinction times density along each ray."""
        shot = lit.scene.shot[0]
        there = drawn_at_moment(lit, shot, plan_move(lit.scene, shot, lit.built), 1.0)
        view = View((10.0, 75.0, 50.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0), 0.3, 0.2, 3, 2)
        depth, even = shown(there, view).haze_depth, shown(lit, view).haze_depth
        x, y = np.meshgrid(np.arange(3) + 0.5, np.arange(2) + 0.5)
        ways = view.directions(x.ravel(), y.ravel())
        far = lit.tracer.hit(np.broadcast_to(view.position, ways.shape), ways).distance.astype(float)
        met = np.isfinite(far)
        share = (np.arange(2000) + 0.5) / 2000
        along = np.array(view.position) + share[None, :, None] * far[met][:, None, None] * ways[met][:, None]
        mean = between(there.uneven.density, along.reshape(-1, 3)).reshape(met.sum(), -1).mean(axis=1)
        assert met.any()
        assert_allclose((depth / even).ravel()[met], mean, rtol=0.02)

    def test_every_frame_of_a_still_shot(self, lit):
        """A camera that stands still before drifting haze needs every picture; before even haze, or haze at rest, one."""
        shot = lit.scene.shot[0]
        move = plan_move(lit.scene, shot, lit.built)
        assert drifts(lit.scene) and not drifts(lit_shed(None).scene)
        assert frame_moments(shot, move, True)[0] == list(range(12)) and set(frame_moments(shot, move)[0]) == {0}
        assert drawn(lit, 0.0).tobytes() != drawn(lit, 0.1).tobytes()

    def test_a_shot_of_its_own(self, lit):
        """A shot's swirls are drawn as the file's would be; a shot that wants even haze where the file has swirls has it, at the same light."""
        even, own = lit_shed(None), lit.scene.haze.uneven
        swirled, calm = (HazeChange(uneven=own), HazeChange(uneven=own.model_copy(update={"contrast": 0.0})))
        for file, change, expected in ((even, swirled, drawn(lit)), (lit, calm, drawn(even))):
            shot = file.scene.shot[0].model_copy(update={"haze": change})
            there = lit_at_roll(file, shot)
            picture = still(there, shot, plan_move(there.scene, shot, there.built), 0.0, (96, 64), quality="draft", workers=1).linear
            assert picture.tobytes() == expected.tobytes()
            assert drifts(scene_of(file.scene, shot)) is (change is swirled)


class TestFigures:
    """What the maker reads."""

    def test_drift_on_screen(self):
        """30 mm/s slowed five times is 6 mm in a second on screen; at 1:12, 72 mm."""
        scene = Scene.model_validate(SHED | {"haze": {"uneven": {"contrast": 0.3, "size": 25.0, "drift": 30.0}}})
        entry = swirls_entry(scene, scene.shot[0])["swirls"]
        assert (entry["drift_mm_s"], entry["screen_mm_s"], entry["scale_mm_s"]) == pytest.approx((30, 6, 72))
        assert swirls_entry(Scene.model_validate(SHED), scene.shot[0]) == {"swirls": None}

    def test_metered_in_the_mean(self):
        """Figures of light are those of the mean: a frame of the set as it is lit has no swirls."""
        view = View((10.0, 75.0, 50.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0), 0.3, 0.2, 24, 16)
        one, other = (hazed_frame(lit_shed(uneven), view, passes=1, workers=1) for uneven in (None, {"contrast": 0.9, "size": 25.0, "drift": 30.0}))
        assert one.tobytes() == other.tobytes()
