"""Where the lamp must stand: answers land, closed forms hold, and what cannot be is not solved."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from asked import OBSTACLES, case
from previz.aim.lamp import aim
from previz.aim.landing import middle_of
from previz.light.lamps import stood
from previz.rays.panes import Panel
from previz.rays.patches import landed
from previz.rays.shadows import Surface


def landing(case, answer) -> np.ndarray:
    """Return the middle of all patches of the report's own kind that the answer's lamp throws on the target's face."""
    built = case.ground.built
    face = built.faces[case.wish.onto.face].name
    thrown = landed(Surface.of(built), Panel(built.apertures_named("window")), stood(case.lamp, answer.at, answer.toward))
    return middle_of([one for one in thrown if one.fields["on"] == face])


class TestAnswers:
    """Where there is an answer."""

    @pytest.mark.parametrize("seed", range(12))
    def test_the_patch_lands_on_the_target(self, seed):
        """Every answer of a random solvable case puts the middle of its patches within half a millimetre."""
        question = case(seed)
        found = aim(question.ground, question.lamp, (question.wish,))
        assert found.obstacle is None and found.answers
        for answer in found.answers:
            assert np.linalg.norm(landing(question, answer) - question.wish.onto.point) <= 0.5

    def test_similar_triangles(self):
        """Through a thin wall the lamp stands on the line from the target through the middle of the window, and b / a makes the soft edge."""
        question = case(3)
        target, window = question.wish.onto.point, np.mean([p.origin + np.array([*p.outline.mean(axis=0), p.thickness / 2]) @ p.axes for p in question.wish.panes], axis=0)
        for answer in aim(question.ground, question.lamp, (question.wish,)).answers:
            way, straight = answer.at - window, (window - target) / np.linalg.norm(window - target)
            off = np.linalg.norm(way - (way @ straight) * straight)
            # The wall's thickness shifts the middle of the light by a few millimetres of the lamp's place at most.
            assert off < 0.06 * answer.distance_mm
            a, b = np.linalg.norm(answer.at - answer.toward), np.linalg.norm(answer.at - target) - np.linalg.norm(answer.at - window)
            assert_allclose(answer.penumbra_mm[0], 20 * b / a, rtol=1e-6)

    def test_lux_falls_with_the_square_of_the_distance(self):
        """The nearest answer is the brightest, and two differ as the squares of their distances to the target do (inverse-square law)."""
        question = case(5)
        answers = aim(question.ground, question.lamp, (question.wish,)).answers
        assert len(answers) > 1
        first, last = answers[0], answers[-1]
        far = [np.linalg.norm(a.at - question.wish.onto.point) for a in (first, last)]
        slope = [(a.at - question.wish.onto.point)[2] / d for a, d in zip((first, last), far)]
        assert_allclose(first.lux[0] / last.lux[0], (far[1] / far[0]) ** 2 * slope[0] / slope[1], rtol=2e-3)


class TestObstacles:
    """Where there is none."""

    @pytest.mark.parametrize("obstacle", OBSTACLES)
    @pytest.mark.parametrize("seed", range(3))
    def test_what_is_in_the_way_is_named(self, obstacle, seed):
        """A case built to be unsolvable is not solved, and a limit that is truly in the way is named."""
        question = case(seed, obstacle)
        found = aim(question.ground, question.lamp, (question.wish,))
        assert not found.answers
        assert set(found.obstacle.names) & set(question.obstacles), found.obstacle
        assert found.obstacle.says and found.obstacle.remedy
