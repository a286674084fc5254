"""
A diffusing sheet before a lamp: what it catches of a small Lambertian face is that face's flux times the configuration factor
B-3 of J. R. Howell's catalogue (seen second-hand), and what it sends on lights a receiver by B-3 again.
"""

from pathlib import Path

import numpy as np
import pytest

from previz.build.assemble import build_set
from previz.light.colour import luminance
from previz.light.lamps import emitters, lumens
from photometry import face_illuminance, face_luminance, rectangle_factor
from previz.rays.lit import light_set
from previz.scene.model import Scene

ROOM = {"name": "room", "plan": [[0, 0], [2000, 0], [2000, 2000], [0, 2000]], "height": 2000.0, "finish": "black"}
LAMP = {"name": "key", "kind": "point", "at": (1000, 1000, 1900), "toward": (1000, 1000, 0), "candela": 1000}


def scene_with(**keys):
    """Return a large black room with one lamp that points straight down."""
    return Scene.model_validate({"room": [ROOM], "finish": {"black": {"reflect": 0.0}}, "lamp": [LAMP | keys], "haze": {"extinction": 0.0}})


def sheet(**keys):
    """Return the emitter of the lamp behind a sheet."""
    scene = scene_with(**keys)
    return emitters(scene, build_set(scene, Path()))[0]


@pytest.mark.parametrize(("distance", "size"), [(100, (200, 200)), (60, (300, 150)), (400, (100, 50)), (10, (100, 100))])
def test_flux_caught(distance, size):
    """Howell B-3: the rectangle seen from a small face parallel to it."""
    found = sheet(diffusion={"distance": distance, "size": size, "transmittance": 0.6})
    share = rectangle_factor((-size[0] / 2, size[0] / 2), (-size[1] / 2, size[1] / 2), distance)
    assert lumens(found) == pytest.approx(0.6 * np.pi * 1000 * share, rel=2e-3)
    assert found.shape == "panel" and found.exponent == 1 and found.centre == pytest.approx([1000, 1000, 1900 - distance])


def test_a_narrow_beam_is_caught_whole():
    """A spot of 10 degrees passes through a sheet that is wide enough, and keeps its colour."""
    found = sheet(candela=None, lumens=500.0, beam=10.0, colour=3200, diffusion={"distance": 300, "size": (300, 300), "transmittance": 0.5})
    bare = sheet(candela=None, lumens=500.0, beam=10.0, colour=3200)
    assert lumens(found) == pytest.approx(250, rel=2e-3)
    np.testing.assert_allclose(found.candela / luminance(found.candela), bare.candela / luminance(bare.candela))


def test_a_wide_face_behind_the_sheet():
    """A disc of 100 mm whose flux all meets a sheet close before it."""
    found = sheet(kind="disc", diameter=100, candela=None, lumens=900.0, diffusion={"distance": 20, "size": (1000, 1000), "transmittance": 1.0})
    assert lumens(found) == pytest.approx(900, rel=1e-2)


def test_the_sheet_lights_the_set():
    """Howell B-3 through the engine: the illuminance under the middle of the sheet."""
    scene = scene_with(diffusion={"distance": 100, "size": (400, 300)})
    lit = light_set(scene, build_set(scene, Path()), texels=300, rays=4, workers=1)
    level = face_luminance(luminance(lit.emitters[0].candela), 400 * 300)
    expected = face_illuminance(level, rectangle_factor((-200, 200), (-150, 150), 500))
    assert lit.illuminance([[1000, 1000, 1300]], [[0, 0, 1.0]], samples=2048)[0, 0] == pytest.approx(expected, rel=2e-3)
