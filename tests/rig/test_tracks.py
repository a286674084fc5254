"""Rails and curves by travel."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from previz.rig.tracks import Spline, Straight, track_through

coordinate = st.floats(-500, 500)
points = st.lists(st.tuples(coordinate, coordinate, coordinate), min_size=3, max_size=8)

BEND = [(0, 0, 0), (100, 50, 10), (200, -30, 20), (260, 0, 5)]


class TestStraight:
    """A rail."""

    def test_travel_is_millimetres(self):
        """A 3-4-5 rail."""
        rail = track_through([(0, 0, 0), (30, 40, 0)])
        assert isinstance(rail, Straight) and rail.length == 50
        assert_allclose(rail.points(np.array([0, 25.0])), [[0, 0, 0], [15, 20, 0]])
        assert rail.bounds(0, 50) == (1, 0) and not rail.curvature(np.zeros(2)).any()

    @pytest.mark.parametrize("stops", [[(1, 2, 3)], [(1, 2, 3)] * 4])
    def test_one_place_has_no_length(self, stops):
        """A still, however often the same place is named."""
        place = track_through(stops)
        assert place.length == 0
        assert_allclose(place.points(np.zeros(2)), [[1, 2, 3]] * 2)


class TestSpline:
    """A smooth curve through points."""

    def test_goes_through_its_points(self):
        """Within a few hundredths of a millimetre."""
        curve = track_through(BEND)
        along = curve.points(np.linspace(0, curve.length, 20_001))
        for point in BEND:
            assert np.linalg.norm(along - point, axis=1).min() < 0.03

    def test_travel_is_millimetres(self):
        """Its slope is 1: speeds along it are the S-curve's."""
        curve = track_through(BEND)
        slope = np.linalg.norm(curve.curve(np.linspace(0, curve.length, 5001), 1), axis=1)
        assert_allclose(slope, 1, atol=1e-3)

    def test_curvature_of_a_circle(self):
        """Points on a circle of 200 mm bend by 1/200 a millimetre away from the loose ends."""
        angle = np.linspace(0, 2, 15)
        curve = Spline.through(200 * np.column_stack([np.cos(angle), np.sin(angle), 0 * angle]))
        assert_allclose(curve.length, 400, rtol=1e-4)
        assert_allclose(curve.curvature(np.linspace(120, 280, 50)), 1 / 200, rtol=0.02)

    @settings(deadline=None)
    @given(points, st.floats(0, 1), st.floats(0, 1))
    def test_bounds_are_never_less_than_the_truth(self, stops, one, other):
        """Slope and second derivative anywhere in a piece stay within what the bounds say."""
        curve = track_through(stops)
        assume(isinstance(curve, Spline))
        first, last = sorted([one * curve.length, other * curve.length])
        slope, second = curve.bounds(first, last)
        travel = np.linspace(first, last, 101)
        assert np.linalg.norm(curve.curve(travel, 1), axis=1).max() <= slope * (1 + 1e-9)
        assert curve.curvature(travel).max() <= second * (1 + 1e-9)

    @pytest.mark.parametrize("share", [0.0, 0.4, 1.0])
    def test_a_piece_of_no_length_has_bounds_too(self, share):
        """At the ends as well, where a hand-held move comes to rest."""
        curve = track_through(BEND)
        at = share * curve.length
        slope, second = curve.bounds(at, at)
        assert slope >= np.linalg.norm(curve.curve(at, 1)) * (1 - 1e-9) and second >= curve.curvature(at) * (1 - 1e-9)
