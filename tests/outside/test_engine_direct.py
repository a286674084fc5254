"""
The ray engine's direct light against closed forms: Howell's catalogue, inverse square and cosine.

The receivers hang in a large black room. The lamp shines from inside it, or from above through the ceiling
that was left off, which is the way through apertures.
"""

import numpy as np
import pytest
from reference import each

from previz.build.assemble import build_set
from photometry import disc_factor, face_illuminance
from previz.light.units import LUX_PER_CANDELA_MM2, MM_PER_M
from previz.rays.lit import light_set
from previz.scene.model import Scene

SAMPLES = 2048
TOLERANCE = 2e-3
"""Of 2,048 points on the lamp's face, in the worst place; the mean of many places is nearer."""
UNDER = np.array([1000.0, 1000.0, 600.0])
"""Where the receivers are, far from every wall."""


def lit_room(lamp, *, ceiling=True, openings=(), wall=6.0, extinction=0.0, height=2000.0):
    """Return a black room of 2 x 2 m, lit by one lamp, by default in clear air."""
    room = {
        "name": "room", "plan": [[0, 0], [2000, 0], [2000, 2000], [0, 2000]], "height": height, "wall": wall, "ceiling": ceiling,
        "walls": ["south", "east", "north", "west"], "finish": "black",
    }  # fmt: skip
    tables = {"room": [room], "opening": openings, "finish": {"black": {"reflect": 0.0}}, "lamp": [{"name": "key"} | lamp], "haze": {"extinction": extinction}}
    scene = Scene.model_validate(tables)
    return light_set(scene, build_set(scene, None), texels=300, rays=4, workers=1)


def panel(centre, toward, size_mm, luminance):
    """Return the lamp table of a Lambertian panel of even luminance. [mm], [mm], [cd/m2]"""
    candela = luminance * size_mm[0] * size_mm[1] / LUX_PER_CANDELA_MM2
    return {"kind": "panel", "at": tuple(centre), "toward": tuple(toward), "size": tuple(size_mm), "candela": candela}


def disc(centre, radius_mm, luminance):
    """Return the lamp table of a Lambertian disc that shines straight down. [mm], [mm], [cd/m2]"""
    candela = luminance * np.pi * radius_mm**2 / LUX_PER_CANDELA_MM2
    return {"kind": "disc", "at": tuple(centre), "toward": tuple(centre - [0, 0, 100]), "diameter": 2 * radius_mm, "candela": candela}


def assert_lux(case, lit, normal):
    """The engine's illuminance at `UNDER` is the case's."""
    found = lit.illuminance([UNDER], [np.array(normal, float) / np.linalg.norm(normal)], samples=SAMPLES)
    assert found.shape == (1, 1)
    assert found[0, 0] == pytest.approx(case["outputs"]["E_lx"], rel=TOLERANCE)


@each("1.3")
def test_disc_off_its_axis(case):
    """Howell B-14 (seen second-hand; also by 2-D quadrature): a disc lamp in the room."""
    given = case["inputs"]
    centre = UNDER + [given["offset_m"] * MM_PER_M, 0, given["d_m"] * MM_PER_M]
    assert_lux(case, lit_room(disc(centre, given["R_m"] * MM_PER_M, given["L_cd_m2"])), [0, 0, 1])


@each("1.2c")
def test_tilted_receiver(case):
    """Howell B-13 (seen second-hand): the receiver turned from a disc on its axis."""
    given, tilt = case["inputs"], np.radians(case["inputs"]["tilt_deg"])
    lit = lit_room(disc(UNDER + [0, 0, given["d_m"] * MM_PER_M], given["R_m"] * MM_PER_M, given["L_cd_m2"]))
    assert_lux(case, lit, [np.sin(tilt), 0, np.cos(tilt)])


@each("1.4a", "1.4b", "1.4c")
def test_facing_panel(case):
    """Howell B-3 by corner sums (seen second-hand; also by 2-D quadrature): a panel lamp in the room."""
    given = case["inputs"]
    x0, x1, y0, y1, d = (given[key] * MM_PER_M for key in ("x0_m", "x1_m", "y0_m", "y1_m", "dist_m"))
    centre = UNDER + [(x0 + x1) / 2, (y0 + y1) / 2, d]
    assert_lux(case, lit_room(panel(centre, centre - [0, 0, 1], (x1 - x0, y1 - y0), given["L_cd_m2"])), [0, 0, 1])


@each("1.5a", "1.5b")
def test_standing_panel(case):
    """Howell B-4 by corner sums (seen second-hand; also by 2-D quadrature): a panel lamp that stands upright."""
    given = case["inputs"]
    x0, x1, z0, z1, d = (given[key] * MM_PER_M for key in ("x0_m", "x1_m", "z0_m", "z1_m", "dist_m"))
    centre = UNDER + [(x0 + x1) / 2, d, (z0 + z1) / 2]
    assert_lux(case, lit_room(panel(centre, centre - [0, 1, 0], (x1 - x0, z1 - z0), given["L_cd_m2"])), [0, 0, 1])


@each("1.3d")
def test_disc_through_a_ceiling_left_off(case):
    """Howell B-14 again, the lamp outside: light comes by the aperture, and none of it is lost there."""
    given = case["inputs"]
    centre = np.array([1000.0, 1000.0, 2300.0])
    point = centre - [given["offset_m"] * MM_PER_M, 0, given["d_m"] * MM_PER_M]
    lit = lit_room(disc(centre, given["R_m"] * MM_PER_M, given["L_cd_m2"]), ceiling=False)
    assert lit.closed_form and not lit.lamps.inside.any()
    found = lit.illuminance([point], [[0.0, 0, 1]], samples=SAMPLES)[0, 0]
    assert found == pytest.approx(case["outputs"]["E_lx"], rel=TOLERANCE)


@each("3.1a", "3.1b", "3.1c")
def test_haze_dims(case):
    """Beer and Lambert: what haze leaves of the light of a point lamp in the room."""
    path, sigma = case["inputs"]["path_m"] * MM_PER_M, case["inputs"]["sigma_per_m"]
    lamp = {"kind": "point", "at": (1000.0, 1000.0, 100 + path), "toward": (1000.0, 1000.0, 0.0), "candela": 1000.0}
    clear, hazed = (
        lit_room(lamp, height=4000.0, extinction=extinction).illuminance([[1000.0, 1000, 100]], [[0.0, 0, 1]]) for extinction in (0.0, sigma)
    )
    # The ray starts a hundredth of a millimetre off the receiver.
    assert hazed[0, 0] / clear[0, 0] == pytest.approx(case["outputs"]["T"], rel=1e-4)


@each("2.2a", "2.2b", "2.2c")
def test_light_across_a_penumbra(case):
    """The area of a circle's segment (similar triangles; no outside source needed): a disc of 20 mm past a straight edge."""
    source, edge, screen = -800.0, 0.0, 200.0
    half_width = 10 * (screen - edge) / (edge - source)
    window = {"name": "window", "wall": "room.west", "at": [400, 700], "size": [600, 600]}
    candela = 1e4 * np.pi * 10**2 / LUX_PER_CANDELA_MM2
    lamp = {"kind": "disc", "at": (source, 1000.0, 1000.0), "toward": (0.0, 1000.0, 1000.0), "diameter": 20.0, "candela": candela}
    offset = case["inputs"]["x_over_half_width"] * half_width
    lit = lit_room(lamp, openings=[window], wall=0.01)
    found = lit.illuminance([[screen, 1000 + offset, 1000.0]], [[-1.0, 0, 0]], samples=1 << 14)[0, 0]
    whole = face_illuminance(1e4, disc_factor(10.0, screen - source, offset))
    assert found / whole == pytest.approx(case["outputs"]["fraction"], abs=2e-3)


LAMP, WINDOW = np.array([-800.0, 1000.0, 1500.0]), np.array([-3.0, 1000.0, 1000.0])


@pytest.fixture(scope="module")
def by_window():
    """A point lamp that shines through a window of 60 x 80 mm in the west wall."""
    window = {"name": "window", "wall": "room.west", "at": [970, 960], "size": [60, 80]}
    return lit_room({"kind": "point", "at": tuple(LAMP), "toward": "window", "candela": 5000.0}, openings=[window])


def on_floor(through):
    """Return where the lamp throws points of the window on the floor, which is at height 0."""
    travel = np.asarray(through, float) - LAMP
    return LAMP - travel * (LAMP[2] / travel[..., 2:])


class TestWindow:
    """Photometric distance law (CIE S 017, 17-25-104; excerpt seen) and central projection, through a window in a thick wall."""

    def test_in_the_patch(self, by_window):
        """I cos^n(off axis) cos / d^2 on the floor."""
        spots = on_floor(WINDOW + [[0, 0, 0], [0, 20, 10], [0, -25, -15]])
        travel = spots - LAMP
        d = np.linalg.norm(travel, axis=1)
        axis = (WINDOW - LAMP) / np.linalg.norm(WINDOW - LAMP)
        expected = 5000 * (travel @ axis / d) * (-travel[:, 2] / d) / (d / MM_PER_M) ** 2
        np.testing.assert_allclose(by_window.illuminance(spots, np.tile([0.0, 0, 1], (3, 1)))[:, 0], expected, rtol=1e-4)

    def test_edges_of_the_patch(self, by_window):
        """A tenth of a millimetre within the rim that binds there is light, as far beyond is dark: the outer rim above, the inner one below and beside."""
        rims = np.array([(-6, 1000, 1040), (0, 1000, 960), (0, 970, 1000), (0, 1030, 1000)], float)
        inward = np.array([(0, 0, -1), (0, 0, 1), (0, 1, 0), (0, -1, 0)], float)
        up = np.tile([0.0, 0, 1], (4, 1))
        assert (by_window.illuminance(on_floor(rims + 0.1 * inward), up)[:, 0] > 0).all()
        np.testing.assert_array_equal(by_window.illuminance(on_floor(rims - 0.1 * inward), up)[:, 0], 0)
