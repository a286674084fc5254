"""Grouped unions against unions taken one by one."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from previz.rays import unions
from previz.rays.unions import FEW, SLIVER_MM2, joined, parts, without


def triangles(count, seed, spread=100.0):
    """Return triangles anywhere, some wound the other way."""
    rng = np.random.default_rng(seed)
    return shapely.polygons(rng.uniform(0, spread, (count, 1, 2)) + rng.uniform(-8, 8, (count, 3, 2)))


def sheet(across, seed):
    """Return a crumpled sheet of triangles that share their corners and fold over each other."""
    rng = np.random.default_rng(seed)
    grid = np.stack(np.meshgrid(np.arange(across + 1.0), np.arange(across + 1.0)), axis=2) + rng.normal(0, 0.4, (across + 1, across + 1, 2))
    a, b, c, d = grid[:-1, :-1], grid[:-1, 1:], grid[1:, 1:], grid[1:, :-1]
    return shapely.polygons(np.concatenate([np.stack(t, axis=2).reshape(-1, 3, 2) for t in ((a, b, c), (a, c, d))]))


class TestJoined:
    """One shape for each group, whatever the way it is found."""

    @settings(max_examples=15, deadline=None, derandomize=True)
    @given(st.integers(0, 10_000), st.sampled_from([triangles, lambda count, seed: sheet(8, seed)]))
    def test_contours_give_the_union(self, seed, made):
        """Large groups go by their contour: the same area and the same place as the plain union."""
        shapes = made(5 * FEW, seed)
        (found,) = joined(shapes, np.zeros(len(shapes), int), 1)
        assert shapely.area(shapely.symmetric_difference(found, shapely.union_all(shapes))) < 1e-4

    def test_groups(self):
        """Small, large and empty groups in any order."""
        shapes = triangles(300, 4)
        group = np.random.default_rng(5).choice([0, 2, 3], len(shapes), p=[0.03, 0.57, 0.4])
        found = joined(shapes, group, 5)
        for number, shape in enumerate(found):
            assert shapely.area(shapely.symmetric_difference(shape, shapely.union_all(shapes[group == number]))) < 1e-4

    def test_flat_triangles(self, monkeypatch):
        """A triangle without area along the edge of another hides nothing of it."""
        monkeypatch.setattr(unions, "FEW", 0)
        shapes = shapely.polygons([[(0, 0), (4, 0), (4, 4)], [(0, 0), (4, 4), (0, 4)], [(0, 4), (0, 0), (0, 4)]])
        assert joined(shapes, np.zeros(3, int), 1)[0].area == pytest.approx(16)

    def test_nothing(self):
        """No polygon at all leaves every group empty."""
        assert all(shape.is_empty for shape in joined(np.zeros(0, object), np.zeros(0, int), 3))


def test_without():
    """Only the polygons that have cutters change."""
    shapes = shapely.box([0, 10], [0, 0], [4, 14], [4, 4])
    left = without(shapes, shapely.box([-1, 3], [-1, -1], [1, 5], [5, 5]), np.array([0, 0]))
    assert shapely.area(left).tolist() == pytest.approx([8, 16])


def test_parts():
    """Lines and rounding are left out, and each part knows where it comes from."""
    shape = shapely.GeometryCollection([shapely.box(0, 0, 1, 1), shapely.box(3, 0, 3 + SLIVER_MM2 / 2, 1), shapely.LineString([(0, 0), (1, 0)])])
    found, index = parts(np.array([shapely.Polygon(), shape], dtype=object))
    assert shapely.area(found).tolist() == [1]
    assert index.tolist() == [1]
