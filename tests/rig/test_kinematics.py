"""From axes to pose and back, and the nearest that the rig can do."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from previz.camera.view import Poses
from previz.rig.kinematics import Axes, Rig, lens_rises, rig_of
from previz.scene.model import Lift, Slider

POSES = 10_000
TURN = 2 * np.pi


def rig(along=(1.0, 0.0, 0.0), **changes):
    """A rail of 600 mm along x, its pan axis 120 mm above and 380 mm behind the pupil, on a lift of 100 mm."""
    room = {"reach": 380.0, "rise": 120.0, "lifts": 1.0, "lift_range": (0.0, 100.0)} | changes
    return Rig(np.array([-300.0, 40.0, -90.0]), np.array(along) / np.linalg.norm(along), 600.0, **room)


rigs = st.builds(
    lambda turn, climb, reach, rise, lifts: rig((np.cos(turn), np.sin(turn), climb), reach=reach, rise=rise, lifts=lifts, lift_range=(0.0, 100.0) if lifts else (0.0, 0.0)),
    st.floats(-np.pi, np.pi),
    st.floats(-0.5, 0.5),
    st.floats(-400, 400),
    st.floats(-200, 200),
    st.sampled_from([-1.0, 0.0, 1.0]),
)


@settings(deadline=None, max_examples=30)
@given(rigs, st.integers(0, 2**31))
def test_round_trip_of_ten_thousand_poses(of, seed):
    """Forward, then back: every axis within 0.01 mm and 0.01 degree of where it was, the lens within as much of where it is wanted."""
    random = np.random.default_rng(seed)
    at = Axes(random.uniform(0, of.length, POSES), random.uniform(-np.pi, np.pi, POSES), random.uniform(-1.5, 1.5, POSES), random.uniform(*of.lift_range, POSES))
    found = of.inverse(of.forward(at))
    assert found.off_mm.max() < 0.01 and np.degrees(found.off_rad).max() < 0.01
    for name in ("carriage", "lift"):
        assert np.abs(getattr(found.axes, name) - getattr(at, name)).max() < 0.01
    for name in ("pan", "tilt"):
        assert np.degrees(np.abs(getattr(found.axes, name) - getattr(at, name))).max() < 0.01


def test_forward_by_hand():
    """Half way along, panned a quarter turn: the pupil is reach to the left of the pan axis, rise above the rail, and up with the lift."""
    pose = rig().forward(Axes(np.array([300.0]), np.array([np.pi / 2]), np.array([0.1]), np.array([25.0])))
    assert_allclose(pose.position, [[0, 40 + 380, -90 + 120 + 25]], atol=1e-12)


def test_the_tip_swings_with_the_pan():
    """A degree of pan at 380 mm: a chord of 2 r sin(1/2 degree), 6.6 mm."""
    tips = rig().forward(Axes(np.zeros(2), np.radians([0.0, 1.0]), np.zeros(2), np.zeros(2))).position
    assert np.linalg.norm(tips[1] - tips[0]) == pytest.approx(2 * 380 * np.sin(np.radians(0.5)))


@settings(deadline=None, max_examples=60)
@given(rigs, st.integers(0, 2**31))
def test_no_place_in_reach_is_nearer_than_the_nearest(of, seed):
    """Against 400 x 40 places of carriage and lift: none of them beats the answer."""
    random = np.random.default_rng(seed)
    wanted = Poses(random.uniform(-900, 900, (4, 3)), random.uniform(-3, 3, 4), np.zeros(4))
    found = of.inverse(wanted)
    carriage, lift = (grid.ravel() for grid in np.meshgrid(np.linspace(0, of.length, 400), np.linspace(*of.lift_range, 40)))
    for i in range(4):
        tried = of.forward(Axes(carriage, np.full(carriage.shape, wanted.pan[i]), carriage * 0, lift)).position
        assert found.off_mm[i] <= np.linalg.norm(tried - wanted.position[i], axis=1).min() + 1e-6


def test_pan_and_tilt_stop_at_their_ends():
    """The nearest heading, by whole turns where that helps, and how far off it is."""
    of = rig(pan_range=(np.radians(100), np.radians(200)), tilt_range=(np.radians(-20), np.radians(20)))
    wanted = Poses(np.zeros((4, 3)), np.radians([-170.0, 90, 210, 150]), np.radians([0.0, 0, 0, 35]))
    found = of.inverse(wanted)
    assert_allclose(np.degrees(found.axes.pan), [190, 100, 200, 150])
    assert_allclose(np.degrees(found.off_rad), [0, 10, 10, 15], atol=1e-9)


@pytest.mark.parametrize(
    "carries, rides, rises",
    [("camera", None, 1), ("camera", "lift", 1), ("set", None, -1), ("set", "floor", -1), ("set", "lift", 0)],
)
def test_what_the_lift_does_to_the_lens(carries, rides, rises):
    """Seen from the set: up on a lift of its own, down beside a set that rises, nowhere when both ride."""
    slider = Slider(**{"from": (0, 0, 0), "to": (1, 0, 0)}, rides=rides)
    assert lens_rises(slider, Lift(carries=carries)) == rises
    assert rig_of(slider, Lift(carries=carries)).lifts == rises
    assert lens_rises(slider, None) == 0


def test_a_turn_is_a_turn():
    """The same heading, whichever way round it was counted."""
    of = rig(pan_range=(-np.pi, np.pi))
    assert_allclose(of.inverse(Poses(np.zeros((1, 3)), np.array([0.3 + TURN]), np.zeros(1))).axes.pan, 0.3)
