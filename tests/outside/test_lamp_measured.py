"""
Lamps with photometric files through the ray engine: E = I(theta) cos / d^2 (photometric distance law, CIE S 017 e-ILV 17-25-104)
with the candela of reference cases 6.4 (LM-63-02; REF-A.ies and REF-B.ies are invented).
"""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from previz.build.assemble import build_set
from previz.camera.view import View
from previz.frames.hazed import hazed_frame
from previz.light.distribution import sampled
from previz.light.lamps import emitters, face_points
from photometry import point_illuminance
from previz.rays.lit import light_set, relit
from previz.scene.model import Scene

HERE = Path(__file__).parent
LAMP = {"name": "key", "kind": "ies", "file": "REF-A.ies", "at": (2000.0, 2000.0, 3900.0), "toward": (2000.0, 2000.0, 0.0)}
ROOM = {"name": "room", "plan": [[0, 0], [4000, 0], [4000, 4000], [0, 4000]], "height": 4000.0, "finish": "black"}


@cache
def lit_by(**keys):
    """Return a black room of 4 x 4 x 4 m, lit straight down by one measured lamp, in clear air."""
    tables = {"room": [ROOM], "finish": {"black": {"reflect": 0.0}}, "lamp": [LAMP | keys], "haze": {"extinction": 0.0}}
    scene = Scene.model_validate(tables)
    return light_set(scene, build_set(scene, HERE), texels=300, rays=4, workers=1)


def lux(lit, theta_deg, phi_deg=0.0, down_mm=3000.0):
    """Return the illuminance on a level receiver seen from the lamp at these angles, phi from -x on anticlockwise from above."""
    theta, phi = np.radians(theta_deg), np.radians(phi_deg)
    offset = down_mm * np.tan(theta) * np.array([np.cos(phi), np.sin(phi)])
    point = np.array([*(lit.emitters[0].centre[:2] + offset), lit.emitters[0].centre[2] - down_mm])
    return lit.illuminance([point], [[0.0, 0, 1]], samples=256)[0, 0]


def by_the_distance_law(lit, theta_deg):
    """Return I cos / d^2 of REF-A, as typed in the file, over all of its face, which is not quite a point at 3 m."""
    steps = (np.arange(60) + 0.5) / 60
    point = lit.emitters[0].centre + [3000 * np.tan(np.radians(theta_deg)), 0, -3000]
    face = face_points(lit.emitters[0], np.array(np.meshgrid(steps, steps)).reshape(2, -1).T)
    away = np.degrees(np.arccos(3000 / np.linalg.norm(face - point, axis=1)))
    candela = 2.0 * np.interp(away, [0, 10, 20, 30, 45, 60, 90], [1000, 900, 600, 300, 80, 10, 0])
    return np.mean([point_illuminance(i, s, [point], [[0.0, 0, 1]])[0] for i, s in zip(candela, face)])


@pytest.mark.parametrize(("theta", "candela"), [(0, 2000), (10, 1800), (15, 1500), (25, 900)])
def test_on_and_off_axis(theta, candela):
    """REF-A: the file's candela times its multiplier of 2, and half way between two of its angles."""
    lit = lit_by()
    assert lit.emitters[0].shape == "disc" and np.linalg.norm(lit.emitters[0].half_u) == pytest.approx(25)
    assert lux(lit, theta) == pytest.approx(by_the_distance_law(lit, theta), rel=5e-4)
    assert lux(lit, theta) == pytest.approx(candela * np.cos(np.radians(theta)) ** 3 / 3**2, rel=4e-3)


@pytest.mark.parametrize("turn", [0.0, 30.0, -90.0])
def test_planes_turn_with_the_lamp(turn):
    """REF-B has 260 cd at 45 degrees in its plane 0, 220 in 45, 180 in 90, all times 0.9; the planes repeat by symmetry."""
    lit = lit_by(file="REF-B.ies", turn=turn)
    # A lamp that points straight down has its left along x.
    for phi, candela in ((0, 260), (45, 220), (90, 180), (135, 220), (180, 260)):
        expected = 0.9 * candela * np.cos(np.radians(45)) ** 3 / 1.5**2
        assert lux(lit, 45, phi + turn, 1500.0) == pytest.approx(expected, rel=2.5e-2)


@pytest.mark.parametrize(("keys", "axis"), [({"candela": 500.0}, 500), ({"lux_at_1m": 500.0}, 500), ({"lumens": 1513.7363 / 4}, 500), ({"gel": 1.0}, 1000), ({"dim": 0.1}, 200)])
def test_the_makers_figure_sets_the_level(keys, axis):
    """Candela on the axis, or lumens against the file's own 1513.7 (case 6.4a)."""
    assert lux(lit_by(**keys), 0) == pytest.approx(by_the_distance_law(lit_by(), 0) * axis / 2000, rel=1e-3)


def test_a_table_of_a_cosine_is_that_cosine():
    """Shafts, direct and bounce light of a lamp outside a hazy room: cos^6 as a table and in closed form."""
    room = {"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "height": 160.0}
    window = {"name": "window", "wall": "room.4", "at": [60, 50], "size": [80, 60]}
    lamp = {"name": "key", "kind": "disc", "diameter": 40, "at": (-400, 100, 260), "toward": (150, 100, 40), "beam": 54.0, "candela": 1000}
    scene = Scene.model_validate({"room": [room], "opening": [window], "lamp": [lamp]})
    built = build_set(scene, HERE)
    plain = emitters(scene, built)[0]
    cosine = sampled(lambda theta, phi: np.maximum(np.cos(np.radians(theta)), 0) ** plain.exponent + 0 * phi, [0.5], [0.0, 5.0])
    closed = light_set(scene, built, texels=400, rays=32, workers=1)
    tabled = relit(closed, lamps=(replace(plain, exponent=1.0, spread=cosine, first=plain.half_u / 20),))
    view = View((250.0, 20.0, 60.0), (-0.5, 0.8, 0.0), (0.8, 0.5, 0.0), (0.0, 0.0, 1.0), 0.5, 0.3, 48, 28)
    pictures = [hazed_frame(lit, view, passes=1, lamp_samples=2, haze_samples=2, workers=1) for lit in (closed, tabled)]
    assert pictures[0].max() > 0
    np.testing.assert_allclose(pictures[1], pictures[0], rtol=1e-3, atol=1e-4 * pictures[0].max())
