"""The S-curve."""

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from previz.rig.motion import SCurve, smooth, smooth_area, smooth_slope

curves = st.builds(SCurve, st.floats(0.01, 100), st.floats(0, 0.5))


@settings(deadline=None)
@given(curves)
def test_from_rest_at_the_start_to_rest_at_the_end(curve):
    """All of the travel in the take, half of it by half time, held outside the take."""
    assert_allclose(curve.share(np.array([-1, 0, curve.take_s / 2, curve.take_s, curve.take_s + 1])), [0, 0, 0.5, 1, 1], atol=1e-12)
    if curve.ease > 1e-6:
        assert_allclose(curve.rate(np.array([0, curve.take_s])), 0, atol=1e-12)


@settings(deadline=None)
@given(curves)
def test_the_rate_is_never_above_its_peak(curve):
    """Peak rate is 1 / (take (1 - ease)) and is reached at half time."""
    rates = curve.rate(np.linspace(0, curve.take_s, 101))
    assert rates.max() <= curve.peak_rate * (1 + 1e-12)
    assert_allclose(rates[50], 1 / (curve.take_s * (1 - curve.ease)))


def test_rate_and_change_are_the_derivatives_of_share():
    """Differenced finely, without jumps in the change."""
    curve = SCurve(4.0, 0.3)
    t = np.linspace(0, 4, 40_001)
    assert_allclose(np.gradient(curve.share(t), t), curve.rate(t), atol=1e-7)
    assert_allclose(np.gradient(curve.rate(t), t), curve.change(t), atol=1e-6)
    assert np.abs(np.diff(curve.change(t))).max() < 2e-4
    assert_allclose(curve.change(t).max(), curve.peak_change, rtol=1e-6)


def test_without_ease_it_starts_with_a_jerk():
    """Even speed, and an acceleration without limit."""
    curve = SCurve(2.0, 0.0)
    assert_allclose(curve.share(np.array([0.5, 1.5])), [0.25, 0.75])
    assert_allclose(curve.rate(np.array([0.0, 1.0])), 0.5)
    assert curve.peak_change == math.inf and not curve.change(np.array([0.0, 1.0])).any()


@settings(deadline=None)
@given(curves, st.floats(0, 1))
def test_moment_undoes_share(curve, share):
    """The moment found has that share of the travel."""
    assert_allclose(curve.share(curve.moment(np.array([share]))), [share], atol=1e-9)


def test_moments_of_the_ends():
    """The start is at 0 s exactly."""
    assert SCurve(3.0, 0.25).moment(0.0) == 0
    assert_allclose(SCurve(3.0, 0.25).moment(1.0), 3, atol=1e-3)


def test_the_step_and_its_area_and_slope():
    """The polynomials are each other's derivatives and end at 1, 1/2 and 0."""
    x = np.linspace(0, 1, 10_001)
    assert_allclose(np.gradient(smooth_area(x), x), smooth(x), atol=2e-4)
    assert_allclose(np.gradient(smooth(x), x), smooth_slope(x), atol=1e-3)
    assert_allclose([smooth(1.0), smooth_area(1.0), smooth_slope(1.0)], [1, 0.5, 0])
