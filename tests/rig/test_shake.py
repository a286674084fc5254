"""The shake of hands: its size, its spectrum, its bounds."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from previz.rig.shake import shake_of
from previz.scene.model import Hand


def test_its_size_is_what_the_hand_says():
    """Each axis by itself, over a long time and in closed form."""
    shake = shake_of(Hand(shake_mm=2.0, shake_deg=0.5), 7)
    expected = [2.0] * 3 + [np.radians(0.5)] * 2
    assert_allclose(shake.rms(), expected)
    assert_allclose(shake.at(np.arange(0, 600, 0.05)).std(axis=1), expected, rtol=0.02)


def test_the_same_seed_shakes_alike_and_another_shot_does_not():
    """A picture of a shaken shot can be made again."""
    take = np.linspace(0, 2, 50)
    assert_allclose(shake_of(Hand(), 3, "a").at(take), shake_of(Hand(), 3, "a").at(take))
    assert np.abs(shake_of(Hand(), 3, "a").at(take) - shake_of(Hand(), 3, "b").at(take)).max() > 0.1


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10**6), st.floats(0, 600))
def test_speed_and_bend_stay_within_their_bounds(seed, begin):
    """Differenced over a millisecond, over 5 s anywhere in ten minutes."""
    shake = shake_of(Hand(), seed)
    record = shake.at(begin + np.arange(0, 5, 0.001))
    speed, bend = shake.bounds()
    assert (np.abs(np.diff(record, axis=1)).max(axis=1) / 0.001 <= speed).all()
    assert (np.abs(np.diff(record, 2, axis=1)).max(axis=1) / 1e-6 <= bend * (1 + 1e-6)).all()


@pytest.mark.parametrize("seconds", [1 / 240, 1 / 24])
def test_step_between_frames(seconds):
    """The closed form against the record."""
    shake = shake_of(Hand(), 5)
    t = np.arange(0, 300, 0.05)
    step = shake.at(t + seconds) - shake.at(t)
    assert_allclose(np.sqrt((step**2).mean(axis=1)), shake.step_rms(seconds), rtol=0.02)
