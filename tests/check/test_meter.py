"""The meter against luminance that is known beforehand."""

from pathlib import Path

import numpy as np
from numpy.testing import assert_allclose

from previz.build.assemble import build_set
from previz.camera.view import View
from previz.check.meter import SIZE, metered
from previz.rays.lit import light_set
from previz.scene.model import Scene

ROOM = {
    "room": [{"name": "room", "plan": [[0, 0], [200, 0], [200, 200], [0, 200]], "height": 120}],
    "finish": {"plain": {"reflect": 0.0}, "card": {"reflect": 0.5}},
    "haze": {"extinction": 0.0},
}
VIEW = View(np.array([100.0, 20.0, 60.0]), np.array([0.0, 1, 0]), np.array([1.0, 0, 0]), np.array([0, 0, 1.0]), 0.5, 0.28, *SIZE)


def lit_room(**more):
    """A room that is black but for what is put in."""
    scene = Scene.model_validate({**ROOM, **more})
    return light_set(scene, build_set(scene, Path()), texels=400, rays=16, workers=1)


def test_subject_by_the_distance_law():
    """A small matt card lit head on shows reflectance over pi times candela over distance squared, and the black around it does not count."""
    lamp = {"name": "key", "kind": "point", "at": [100, 20, 100], "toward": [100, 180, 60], "candela": 3.0}
    card = {"name": "card", "kind": "box", "at": [100, 180, 56], "size": [8, 2, 8], "finish": "card"}
    lit = lit_room(lamp=[lamp], prop=[card])
    to_card = np.array([100.0, 179.0, 60.0]) - lamp["at"]
    towards = np.array([100.0, 180.0, 60.0]) - lamp["at"]
    cos_axis = to_card @ towards / np.linalg.norm(to_card) / np.linalg.norm(towards)
    distance = np.linalg.norm(to_card) / 1000
    lux = 3.0 * cos_axis / distance**2 * to_card[1] / 1000 / distance
    assert_allclose(metered(lit, VIEW, lit.built.part_named("card"), to_card, passes=8, workers=1), lux * 0.5 / np.pi, rtol=0.02)


def test_spot_on_an_even_face():
    """A spot within an even glowing panel meters its candela over its area."""
    panel = {"name": "panel", "kind": "panel", "size": [120, 90], "at": [100, 190, 60], "toward": [100, 0, 60], "candela": 10.0}
    lit = lit_room(lamp=[panel])
    assert_allclose(metered(lit, VIEW, [], [100.0, 190.0, 60.0], workers=1), 10.0 / (0.120 * 0.090), rtol=1e-3)
