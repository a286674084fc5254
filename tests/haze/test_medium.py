"""The medium: what the scene's haze is at a moment, and where."""

import numpy as np
import pytest

from previz.build.assemble import build_set
from previz.haze.medium import DEFAULT_EXTINCTION_PER_M, extinction_at, medium_at
from previz.haze.phase import henyey_greenstein
from previz.scene.model import Haze, Scene

ROOM = {"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "height": 180}


def inside(cells, points):
    """Which of (n, 3) points lie in one of the cells."""
    return np.any([np.all(points @ cell.planes[:, :3].T <= cell.planes[:, 3] + 1e-9, axis=1) for cell in cells], axis=0)


class TestExtinction:
    """extinction, visibility, half_life."""

    def test_as_typed(self):
        """Per metre."""
        assert extinction_at(Haze(extinction=1.4)) == 1.4

    def test_none_at_all(self):
        """A scene that says nothing of haze has some; one that says 0 has none."""
        assert extinction_at(Haze()) == DEFAULT_EXTINCTION_PER_M
        assert extinction_at(Haze(extinction=0.0)) == 0

    def test_halves(self):
        """Half after one half-life, a quarter after two; all of it where none is given."""
        haze = Haze(extinction=2.0, half_life=40.0)
        assert [extinction_at(haze, t) for t in (0, 40, 80)] == pytest.approx([2, 1, 0.5])
        assert extinction_at(Haze(extinction=2.0), 1e6) == 2

    def test_scattering(self, tmp_path):
        """Albedo times extinction."""
        scene = Scene.model_validate({"room": [ROOM], "haze": {"extinction": 2.0, "albedo": 0.9}})
        assert medium_at(scene, build_set(scene, tmp_path)).scattering_per_m == pytest.approx(1.8)


class TestWhere:
    """fills."""

    def test_rooms(self, tmp_path):
        """The rooms' air, up to the walls."""
        scene = Scene.model_validate({"room": [ROOM]})
        cells = medium_at(scene, build_set(scene, tmp_path)).cells
        points = np.array([[1, 1, 1], [299, 199, 179], [-1, 100, 50], [100, 100, 181], [150, 201, 50.0]])
        np.testing.assert_array_equal(inside(cells, points), [True, True, False, False, False])

    def test_box(self, tmp_path):
        """A box, rooms or not."""
        scene = Scene.model_validate({"room": [ROOM], "haze": {"fills": [[-50, 0, 0], [100, 200, 90]]}})
        cells = medium_at(scene, build_set(scene, tmp_path)).cells
        points = np.array([[-49, 1, 1], [99, 199, 89], [101, 100, 50], [50, 100, 91.0]])
        np.testing.assert_array_equal(inside(cells, points), [True, True, False, False])
        np.testing.assert_allclose(np.linalg.norm(cells[0].planes[:, :3], axis=1), 1)


class TestHenyeyGreenstein:
    """Limits beside the reference values in tests/outside/test_haze.py."""

    def test_even(self):
        """g = 0 sends the same share everywhere, 1 / (4 pi)."""
        np.testing.assert_allclose(henyey_greenstein(np.linspace(-1, 1, 9), 0.0), 1 / (4 * np.pi))

    @pytest.mark.parametrize("g", [0.2, 0.75, 0.98])
    def test_forward(self, g):
        """Positive g sends most straight on; negative g is the same, turned round."""
        cos = np.linspace(-1, 1, 101)
        assert (np.diff(henyey_greenstein(cos, g)) > 0).all()
        np.testing.assert_allclose(henyey_greenstein(-cos, -g), henyey_greenstein(cos, g))
