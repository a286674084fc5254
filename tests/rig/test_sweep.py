"""What a solid sweeps, enclosed."""

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from previz.rig.motion import SCurve
from previz.rig.moves import Move
from previz.rig.shake import shake_of
from previz.rig.solids import rig_parts
from previz.rig.sweep import STRAY_MM, enclosing, placed, stray_mm
from previz.rig.tracks import track_through
from previz.scene.model import Body, Hand, Lens

PARTS = rig_parts(Lens(barrel=((250, 20),)), Body())
coordinate = st.floats(-200, 200)
point = st.tuples(coordinate, coordinate, coordinate)
moves = st.builds(
    lambda stops, target, fixed, reach, shake: Move(
        SCurve(3.0, 0.25), track_through(stops), None if target is None else np.array(target), fixed, reach, 0.0, 100.0, shake=shake
    ),
    st.lists(point, min_size=2, max_size=5),
    st.one_of(st.none(), point),
    st.tuples(st.floats(-3, 3), st.floats(-1.5, 1.5)),
    st.one_of(st.just(0.0), st.floats(-300, 300)),
    st.one_of(st.none(), st.builds(lambda seed, mm, degrees: shake_of(Hand(shake_mm=mm, shake_deg=degrees), seed), st.integers(0, 99), st.floats(0, 5), st.floats(0, 2))),
)


@settings(deadline=None)
@given(moves, st.floats(0, 1), st.floats(0.001, 0.3), st.sampled_from(PARTS), st.sampled_from([1, 2, 7]))
def test_nothing_reaches_outside_the_hull_by_more_than_the_stray(move, start, share, part, gaps):
    """Whatever the move: no corner between the two places is farther outside the hull's planes."""
    first = start * move.length
    last = min(first + share * move.length, move.length)
    assume(last - first > 1e-3)
    stray = stray_mm(move, part, np.linspace(first, last, gaps + 1))
    assume(np.isfinite(stray))
    planes = ConvexHull(placed(move, part, np.linspace(first, last, gaps + 1)).reshape(-1, 3)).equations
    between = placed(move, part, np.linspace(first, last, 43)).reshape(-1, 3)
    assert (between @ planes[:, :3].T + planes[:, 3]).max() <= stray + 1e-7


def test_a_straight_slide_is_exact():
    """No stray at all: the hull of the ends is what is swept."""
    move = Move(SCurve(3.0, 0.25), track_through([(0, 0, 0), (100, 50, 0)]), None, (0.3, 0.1), 0.0, 0.0, 100.0)
    assert stray_mm(move, PARTS[0], np.array([0.0, move.track.length])) == 0


def test_the_stray_shrinks_with_the_square_of_the_piece():
    """A tenth of the travel, about a hundredth of the stray."""
    move = Move(SCurve(3.0, 0.25), track_through([(0, -100, 0), (0, 100, 0)]), np.array([300.0, 0, 20]), (0, 0), 0.0, 0.0, 100.0)
    whole, tenth = stray_mm(move, PARTS[0], np.array([100.0, 120])), stray_mm(move, PARTS[0], np.array([100.0, 102]))
    assert 90 < whole / tenth < 130


def test_over_the_target_there_is_no_bound():
    """The pan flips over."""
    move = Move(SCurve(3.0, 0.25), track_through([(-50, 0, 0), (50, 0, 0)]), np.array([0.0, 0, 20]), (0, 0), 0.0, 0.0, 100.0)
    assert stray_mm(move, PARTS[0], np.array([0.0, 100.0])) == np.inf


def test_more_places_are_taken_where_the_sweep_bends_more():
    """Two for a straight slide; for an arc as many as keep the stray under what is certified."""
    slide = Move(SCurve(3.0, 0.25), track_through([(0, 0, 0), (100, 50, 0)]), None, (0.3, 0.1), 0.0, 0.0, 100.0)
    arc = Move(SCurve(3.0, 0.25), track_through([(0, -20, 0), (0, 20, 0)]), np.array([300.0, 0, 20]), (0, 0), 0.0, 0.0, 100.0)
    assert len(enclosing(slide, PARTS[0], 0.0, 100.0, 65)[0]) == 2
    places, stray = enclosing(arc, PARTS[0], 0.0, 40.0, 65)
    assert 3 < len(places) <= 65 and stray <= STRAY_MM
    assert len(enclosing(arc, PARTS[0], 0.0, 40.0, 3)[0]) == 3
