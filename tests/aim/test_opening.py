"""Where the opening must be: what is found gives the patch that was wished, and it is the opening that made it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from asked import case
from previz.aim.lamp import aim
from previz.aim.opening import Cut, NoCut, patch_of, open_for, wanted
from previz.aim.wishes import target
from previz.build.assemble import build_set
from previz.light.lamps import stood

HERE = Path(".")


def uncut(question):
    """Return a question's scene without its window, built, and the lamp where the first answer puts it."""
    answer = aim(question.ground, question.lamp, (question.wish,)).answers[0]
    scene = question.ground.scene.model_copy(update={"opening": ()})
    return scene, build_set(scene, HERE), stood(question.lamp, answer.at, answer.toward)


class TestCut:
    """An opening for a lamp that stands already."""

    @pytest.mark.parametrize("seed", (0, 4, 7))
    @pytest.mark.parametrize("shape", ("rect", "arch"))
    def test_the_opening_that_made_a_patch_is_found_from_it(self, seed, shape):
        """A window is cut, its patch measured, the window forgotten: the one that is found for that patch is the same to 0.2 mm."""
        question = case(seed)
        scene, built, lamp = uncut(question)
        (window,) = question.ground.scene.opening
        window = window.model_copy(update={"shape": shape})
        want = wanted(scene, "hall.east", question.wish.onto, (1.0, 1.0), shape)
        lands, reach = patch_of(scene, HERE, lamp, want, window)
        onto = target(built, ",".join(f"{v:.4f}" for v in lands))
        found = open_for(scene, built, HERE, lamp, wanted(scene, "hall.east", onto, tuple(reach), shape))
        assert isinstance(found, Cut)
        assert_allclose(found.opening.at, window.at, atol=0.2)
        assert_allclose(found.opening.size, window.size, atol=0.2)
        assert found.miss_mm <= 0.1 and np.abs(found.patch_mm - reach).max() <= 0.1

    def test_similar_triangles(self):
        """A wall of no thickness to speak of, the target square to the light: the opening is the patch times a / (a + b)."""
        from previz.scene.model import Scene

        table = {
            "room": [{"name": "hall", "plan": [(0, 0), (300, 0), (300, 200), (0, 200)], "walls": ["south", "east", "north", "west"], "height": 200, "wall": 0.5}],
            "lamp": [{"kind": "point", "name": "key", "at": (900, 100, 100), "toward": (0, 100, 100), "candela": 100}],
        }
        from previz.light.lamps import emitters

        scene = Scene(**table)
        built = build_set(scene, HERE)
        found = open_for(scene, built, HERE, emitters(scene, built)[0], wanted(scene, "hall.east", target(built, "0,100,100"), (60, 45)))
        # From the lamp at 900 to the rim that binds, the outer one at 300.5, and to the far wall at 0.
        assert_allclose(found.opening.size, np.array([60, 45]) * (900 - 300.0) / 900, rtol=1.5e-3)
        assert_allclose(np.add(found.opening.at, np.array(found.opening.size) / 2), (100, 100), atol=0.05)


class TestNoCut:
    """What is in the way is said."""

    def test_a_web_too_thin_is_named(self):
        """Ten millimetres of sheet have to stay beside a window that is there already."""
        question = case(0)
        answer = aim(question.ground, question.lamp, (question.wish,)).answers[0]
        lamp, scene = stood(question.lamp, answer.at, answer.toward), question.ground.scene
        found = open_for(scene, question.ground.built, HERE, lamp, wanted(scene, "hall.east", question.wish.onto, (50, 50)))
        assert isinstance(found, NoCut) and found.names == ("window",) and "reach over window" in found.says

    def test_the_wrong_wall_is_said(self):
        """Lamp and target on the same side of it."""
        question = case(0)
        scene, built, lamp = uncut(question)
        found = open_for(scene, built, HERE, lamp, wanted(scene, "hall.west", question.wish.onto, (30, 30)))
        assert isinstance(found, NoCut) and "not on either side of hall.west" in found.says
