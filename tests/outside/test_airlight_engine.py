"""
The ray engine's shafts against the published single scattering of a point source, and against plain quadrature.

A picture of one pixel that is too small to matter is a ray. Surfaces are black, bounces are off: what is left is light
that the haze scattered once. Sun et al., SIGGRAPH 2005 (abstract seen; equations from memory), checked by quadrature.
"""

from pathlib import Path

import numpy as np
import pytest
from airlight import airlight, even_airlight
from reference import each

from previz.build.assemble import build_set
from previz.camera.view import View
from previz.frames.hazed import hazed_frame
from previz.haze.phase import henyey_greenstein
from previz.light.colour import luminance
from previz.light.lamps import Emitter, face_points
from previz.light.units import LUX_PER_CANDELA_MM2, MM_PER_M, per_mm
from previz.rays.lit import light_set, relit
from previz.scene.model import Scene

TOLERANCE = 2e-3
"""Of the engine's samples on these rays; a brute march of the same integral is asked for 1 %."""
LARGE = {"plan": [[0, -800], [1600, -800], [1600, 800], [0, 800]], "height": 1200, "walls": ["south", "east", "north", "west"]}


def hazy_room(haze, lamp, *, openings=(), **room):
    """Return a black room with haze and one emitter in place of lamps."""
    walls = LARGE | {"name": "room", "wall": 0.01, "finish": "black"} | room
    stand_in = {"name": "key", "kind": "point", "at": tuple(lamp.centre), "toward": tuple(lamp.centre + lamp.normal), "candela": 1.0}
    tables = {"room": [walls], "opening": openings, "finish": {"black": {"reflect": 0.0}}, "lamp": [stand_in], "haze": haze}
    scene = Scene.model_validate(tables)
    return relit(light_set(scene, build_set(scene, Path()), texels=200, rays=4, workers=1), lamps=(lamp,))


def emitter(centre, normal, candela=1.0, shape="point", half_u=(0, 0, 0), half_v=(0, 0, 0), exponent=0.0):
    """Return a white emitter, by default a point with the same intensity in all directions ahead."""
    normal = np.array(normal, float) / np.linalg.norm(normal)
    return Emitter("key", shape, np.array(centre, float), normal, np.array(half_u, float), np.array(half_v, float), np.full(3, candela), exponent)


def seen(lit, lens, ray):
    """Return the luminance that the engine sees along one ray. [cd/m2]"""
    ray = np.array(ray, float) / np.linalg.norm(ray)
    right = np.cross(ray, [0, 0, 1.0])
    right /= np.linalg.norm(right)
    view = View(np.array(lens, float), ray, right, np.cross(right, ray), 1e-7, 1e-7, 4, 4)
    return luminance(hazed_frame(lit, view, passes=32, lamp_samples=16, haze_samples=4, bounces=False, workers=1)).mean()


def brute_airlight(lit, lens, ray, lit_at, in_haze, end_mm, steps=40_000):
    """
    Return the luminance along a ray by marching: every step lit or not, dimmed on both legs by the haze that they cross.

    lit_at(points, face point) gives a share of light for each of (n, 3) points; in_haze(from, to) the length in haze of
    each segment (n,), both in millimetres.
    """
    ray = np.array(ray, float) / np.linalg.norm(ray)
    t = (np.arange(steps) + 0.5) * end_mm / steps
    points = np.array(lens, float) + t[:, None] * ray
    lamp, air = lit.emitters[0], lit.medium
    grid = (np.arange(20) + 0.5) / 20
    face = [lamp.centre] if lamp.shape == "point" else face_points(lamp, np.array(np.meshgrid(grid, grid)).reshape(2, -1).T)
    here = in_haze(points - 1e-6 * ray, points + 1e-6 * ray) > 0
    total = 0.0
    for s in face:
        leg = points - s
        d = np.linalg.norm(leg, axis=1)
        sent = luminance(lamp.candela) * np.maximum(leg @ lamp.normal / d, 0) ** lamp.exponent
        dimmed = np.exp(-per_mm(air.extinction_per_m) * (in_haze(s, points) + in_haze(np.array(lens, float), points)))
        total += np.sum(here * lit_at(points, s) * sent * henyey_greenstein(-(leg @ ray) / d, air.g) * dimmed / d**2)
    return LUX_PER_CANDELA_MM2 * per_mm(air.scattering_per_m) * total / len(face) * end_mm / steps


def length_in_box(low, high):
    """Return the function that gives the length within a box of segments (n,), by slabs. [mm]"""

    def length(start, stop):
        start, stop = np.broadcast_arrays(start, stop)
        travel = stop - start
        with np.errstate(divide="ignore", invalid="ignore"):
            a, b = (low - start) / travel, (high - start) / travel
        near, far = np.nanmax(np.minimum(a, b), axis=1), np.nanmin(np.maximum(a, b), axis=1)
        return np.linalg.norm(travel, axis=1) * np.clip(np.minimum(far, 1) - np.maximum(near, 0), 0, None)

    return length


class TestLampInTheRoom:
    """Haze around lamp and lens, nothing in the way: the ray ends at the far wall."""

    LAMP, LENS = np.array([700.0, 250.0, 600.0]), np.array([500.0, -700.0, 500.0])

    @pytest.mark.parametrize("ray", [(0.0, 1.0, 0.0), (0.1, 1.0, 0.05), (-0.1, 1.0, -0.2)])
    @pytest.mark.parametrize(("extinction", "g"), [(0.5, 0.0), (0.8, 0.75), (2.0, -0.3)])
    def test_closed_form(self, ray, extinction, g):
        """Sun et al. 2005 where the haze scatters evenly, quadrature where not; each ray stays ahead of the lamp, x < 700."""
        lit = hazy_room({"extinction": extinction, "g": g, "albedo": 0.95}, emitter(self.LAMP, [-1, 0, 0], 40.0))
        direction = np.array([ray]) / np.linalg.norm(ray)
        end = (800 - self.LENS[1]) / direction[0, 1]
        found = seen(lit, self.LENS, ray)
        assert found == pytest.approx(airlight(lit.medium, 40.0, self.LAMP, self.LENS, direction, 0, end)[0], rel=TOLERANCE)
        if g == 0:
            assert found == pytest.approx(even_airlight(lit.medium, 40.0, self.LAMP, self.LENS, direction, 0, end)[0], rel=TOLERANCE)

    @pytest.mark.parametrize("shape", ["disc", "panel"])
    def test_extended_lamp(self, shape):
        """A face is many points, each with its share of I0 cos^n: brute march over 400 of them."""
        lamp = emitter(self.LAMP, [-1, -0.3, 0.1], 40.0, shape, half_u=(0, 0, 70), half_v=(20, -60, 0), exponent=1.7)
        lit = hazy_room({"extinction": 0.8}, lamp)
        room = length_in_box(np.array([0, -800, 0.0]), np.array([1600, 800, 1200.0]))
        expected = brute_airlight(lit, self.LENS, (0.1, 1, 0.1), lambda points, s: 1.0, room, 1500 * 1.02**0.5, steps=4000)
        assert seen(lit, self.LENS, (0.1, 1, 0.1)) == pytest.approx(expected, rel=TOLERANCE)


@pytest.mark.parametrize("ray", [(0.0, 1.0, 0.0), (0.15, 1.0, -0.1)])
def test_box_of_haze(ray):
    """Extinction acts only inside the box that the haze fills, on both legs: lens and lamp stand in clear air."""
    low, high = np.array([300.0, -300.0, 300.0]), np.array([800.0, 350.0, 800.0])
    lens = np.array([500.0, -700.0, 500.0])
    haze = {"extinction": 3.0, "g": 0.6, "fills": [tuple(low), tuple(high)]}
    lit = hazy_room(haze, emitter([1200, 100, 600], [-1, 0, 0], 40.0))
    expected = brute_airlight(lit, lens, ray, lambda points, s: 1.0, length_in_box(low, high), 1200.0)
    assert seen(lit, lens, ray) == pytest.approx(expected, rel=TOLERANCE)


def window_of(given):
    """Return the opening of a case of 3.5, in the west wall at x = 0; along runs from y = 800 down."""
    y0, y1, z0, z1 = (given[key] * MM_PER_M for key in ("y0_m", "y1_m", "z0_m", "z1_m"))
    return {"name": "window", "wall": "room.west", "at": [800 - y1, z0], "size": [y1 - y0, z1 - z0]}


@each("3.5")
class TestWindowShaft:
    """A window's shaft seen from the side: Sun et al. 2005 within the frustum, quadrature, and a brute-force march."""

    def test_haze_everywhere(self, case):
        """The case as it stands: haze on both sides of the wall; shadow rays find the shaft."""
        given = case["inputs"]
        source, lens = np.array(given["source_m"]) * MM_PER_M, np.array(given["camera_m"]) * MM_PER_M
        haze = {"extinction": given["sigma_per_m"], "g": given["g"], "fills": [[-900, -800, 0], [1600, 800, 1200]]}
        lit = hazy_room(haze, emitter(source, [1, 0, -0.3], given["I_cd"]), openings=[window_of(given)])
        assert not lit.closed_form
        # Most samples of the whole ray find no light, so this way converges slowly.
        assert seen(lit, lens, given["dir"]) == pytest.approx(case["outputs"]["L_cd_m2"], rel=0.01)

    def test_haze_in_the_room(self, case):
        """The closed-form interval: the same stretch, with clear air between lamp and window."""
        given = case["inputs"]
        source, lens, ray = np.array(given["source_m"]) * MM_PER_M, np.array(given["camera_m"]) * MM_PER_M, np.array(given["dir"])
        lit = hazy_room({"extinction": given["sigma_per_m"], "g": given["g"]}, emitter(source, [1, 0, -0.3], given["I_cd"]), openings=[window_of(given)])
        assert lit.closed_form
        begin, end = (case["outputs"][key] * MM_PER_M for key in ("t0_m", "t1_m"))
        room = length_in_box(np.array([0, -800, 0.0]), np.array([1600, 800, 1200.0]))
        expected = brute_airlight(lit, lens, ray, lambda points, s: abs(np.linalg.norm(points - lens, axis=1) - (begin + end) / 2) < (end - begin) / 2, room, 800.0)
        assert seen(lit, lens, ray) == pytest.approx(expected, rel=TOLERANCE)
