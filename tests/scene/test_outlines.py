"""Openings as outlines: areas, boxes, panes and bars."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely.geometry import Polygon

from previz.scene.model import Opening
from previz.scene.outlines import LANCET_HEAD, SAGITTA_MM, bars_of, outline_of, pane_size, panes_of, size_of


def opening(shape="rect", size=(30, 40), at=(10, 20), **more):
    """Return an opening in some wall."""
    return Opening(name="w", wall="hall.east", shape=shape, at=at, size=size, **more)


def lancet_area(width, height):
    """Jambs, two 60 degree sectors, less the triangle that both hold: the equilateral pointed arch."""
    return width * (height - LANCET_HEAD * width) + 2 * math.pi * width**2 / 6 - math.sqrt(3) / 4 * width**2


AREAS = [
    ("rect", (30, 40), 1200),
    ("round", 30, math.pi * 15**2),
    ("round", (30, 30), math.pi * 15**2),
    ("arch", (30, 40), 30 * 25 + math.pi * 15**2 / 2),
    ("arch", (30, 15), math.pi * 15**2 / 2),
    ("lancet", (30, 60), lancet_area(30, 60)),
    ("lancet", (30, 30 * LANCET_HEAD), lancet_area(30, 30 * LANCET_HEAD)),
    ("round", 1.0, math.pi / 4),
    ("arch", (900, 2000), 900 * 1550 + math.pi * 450**2 / 2),
]


class TestShapes:
    """Elementary geometry of circle, semicircle and equilateral arch."""

    @pytest.mark.parametrize(("shape", "size", "area"), AREAS)
    def test_area_is_the_true_curve_s(self, shape, size, area):
        """Chords take no light away."""
        assert_allclose(Polygon(outline_of(opening(shape, size))).area, area, rtol=1e-12)

    @pytest.mark.parametrize(("shape", "size", "area"), AREAS)
    def test_box_is_at_and_size(self, shape, size, area):
        """The outline fills its box to within the chords' sagitta."""
        hole = opening(shape, size)
        width, height = size_of(hole)
        assert_allclose(Polygon(outline_of(hole)).bounds, [10, 20, 10 + width, 20 + height], atol=SAGITTA_MM)

    @pytest.mark.parametrize(("shape", "size", "area"), AREAS)
    def test_runs_anticlockwise_and_bulges(self, shape, size, area):
        """Simple, convex, anticlockwise seen from outside."""
        hole = Polygon(outline_of(opening(shape, size)))
        assert hole.is_valid and hole.exterior.is_ccw
        assert_allclose(hole.convex_hull.area, hole.area, rtol=1e-12)

    def test_chords_keep_to_the_circle(self):
        """No point strays further than the sagitta promised."""
        rim = shapely.segmentize(Polygon(outline_of(opening("round", 300))).exterior, 0.1)
        radii = np.hypot(*(shapely.get_coordinates(rim) - [160, 170]).T)
        assert np.abs(radii - 150).max() < SAGITTA_MM

    def test_lancet_comes_to_a_point_of_60_degrees_each_side(self):
        """Each arc's tangent at the point stands at 60 degrees to the other's axis: the equilateral arch."""
        points = outline_of(opening("lancet", (30, 60)))
        top = points[points[:, 1].argmax()]
        assert_allclose(top, [25, 80], atol=1e-9)
        assert_allclose(np.hypot(*(top - [10, 80 - 30 * LANCET_HEAD])), 30)

    @pytest.mark.parametrize("turn", [1, -1])
    def test_free_outline_runs_anticlockwise_either_way(self, turn):
        """Drawn either way round, it comes out the same."""
        points = [[0, 0], [20, 0], [20, 5], [8, 12]][::turn]
        outline = outline_of(opening({"outline": points}, None))
        assert Polygon(outline).exterior.is_ccw
        assert_allclose(Polygon(outline).bounds, [10, 20, 30, 32])

    def test_no_size_is_an_error(self):
        """Code that forgets to check is told."""
        with pytest.raises(ValueError, match="opening 'w' has no size"):
            outline_of(opening("rect", None))


BARRED = st.builds(
    lambda shape, columns, rows, width, tall: opening(
        shape, (40, 40) if shape == "round" else (40, tall), bars={"columns": columns, "rows": rows, "width": width, "depth": 2}
    ),
    st.sampled_from(["rect", "round", "arch", "lancet"]),
    st.integers(1, 6),
    st.integers(1, 6),
    st.floats(0.5, 3),
    st.floats(36, 90),
)


class TestPanes:
    """Bars divide an opening into panes of equal clear size."""

    def test_equal_clear_sizes(self):
        """3 x 2 panes of (30 - 2 * 3) / 3 by (40 - 3) / 2."""
        hole = opening(bars={"columns": 3, "rows": 2, "width": 3, "depth": 2})
        panes = panes_of(hole)
        assert [(0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (2, 1)] == [place for place, _ in panes]
        assert_allclose(pane_size(hole), (8, 18.5))
        assert_allclose([pane.bounds for _, pane in panes][4], [21, 41.5, 29, 60])
        assert_allclose([pane.area for _, pane in panes], 8 * 18.5)

    def test_no_bars_is_one_pane(self):
        """Pane 0, 0 is the whole."""
        ((place, pane),) = panes_of(opening("arch"))
        assert (0, 0) == place
        assert pane.equals(Polygon(outline_of(opening("arch"))))
        assert bars_of(opening("arch")).is_empty

    @given(BARRED)
    def test_panes_and_bars_are_the_opening(self, hole):
        """Together they fill it, and none overlaps another."""
        whole = Polygon(outline_of(hole))
        panes = [pane for _, pane in panes_of(hole)]
        assert_allclose(sum(pane.area for pane in panes) + bars_of(hole).area, whole.area, rtol=1e-9)
        assert_allclose(shapely.union_all([*panes, bars_of(hole)]).area, whole.area, rtol=1e-9)
        assert all(pane.exterior.is_ccw for pane in panes)

    def test_a_pane_in_two_pieces_comes_twice(self):
        """A notched outline cuts its upper pane in two."""
        notched = {"outline": [[0, 0], [30, 0], [30, 40], [20, 40], [15, 10], [10, 40], [0, 40]]}
        panes = panes_of(opening(notched, None, bars={"columns": 1, "rows": 2, "width": 2, "depth": 2}))
        assert [(0, 0), (0, 1), (0, 1)] == [place for place, _ in panes]
