"""Depth of field."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from previz.camera.depth import hyperfocal, limits


@settings(deadline=None)
@given(u=st.floats(30, 1e4), stop=st.floats(1, 40))
def test_a_point_at_either_limit_blurs_to_the_circle_of_confusion(u, stop):
    """Traced through the thin lens: f^2 |s - u| / (N s (u - f)) is the blur of a point at s."""
    near, far = limits(20.0, stop, 0.03, u)
    blur = lambda s: 20.0**2 * abs(s - u) / (stop * s * (u - 20.0))
    assert_allclose(blur(near), 0.03, rtol=1e-6)
    if np.isfinite(far):
        assert_allclose(blur(far), 0.03, rtol=1e-6)


def test_from_the_hyperfocal_distance_on_nothing_is_too_far():
    """Infinity is sharp there, and everything from half of it on."""
    h = hyperfocal(20.0, 16.0, 0.03)
    near, far = limits(20.0, 16.0, 0.03, np.array([h * 0.999, h * 1.001]))
    assert np.isfinite(far[0]) and far[1] == np.inf
    assert_allclose(near, h / 2, rtol=1e-3)


def test_nearer_than_the_lens_focuses():
    """Taken as the nearest focus; the limits stay in order."""
    near, far = limits(20.0, 16.0, 0.03, 0.0)
    assert 0 < near < 20.8 < far
