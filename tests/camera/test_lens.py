"""The thin lens."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.camera.lens import NEAREST_FOCUS, focused_distance, half_tangent, magnification, magnification_limited


class TestMagnification:
    """m = f / (u - f), kept finite."""

    def test_twice_the_focal_length_is_life_size(self):
        """The thin lens's symmetrical case."""
        assert magnification(24.0, 48.0) == 1.0

    def test_far_away_is_nothing(self):
        """At infinity the image is at the focal point."""
        assert magnification(24.0, np.inf) == 0.0

    @pytest.mark.parametrize("distance", [0.0, 10.0, 24.0, 24.9])
    def test_too_near_is_limited_and_says_so(self, distance):
        """Nearer than the model focuses, m stays at its greatest."""
        assert magnification(24.0, distance) == pytest.approx(25.0)
        assert magnification_limited(24.0, distance)
        assert focused_distance(24.0, distance) == NEAREST_FOCUS * 24

    def test_beyond_the_limit_nothing_is_limited(self):
        """From the nearest focus on, the asked distance is the focused one."""
        distance = np.array([25.0, 100.0])
        assert not magnification_limited(24.0, distance).any()
        assert_allclose(focused_distance(24.0, distance), distance)


class TestAngleOfView:
    """How wide the lens sees."""

    def test_half_the_sensor_at_the_focal_length(self):
        """Focused far away, a 36 mm sensor behind 18 mm sees 90 degrees."""
        assert_allclose(2 * np.arctan(half_tangent(36, 18, 1e12)), np.pi / 2, rtol=1e-9)

    def test_the_field_in_focus_is_the_sensor_over_m(self):
        """What lies in the plane of focus is as large as the sensor over m, by similar triangles through the lens."""
        distance = np.array([30.0, 60.0, 500.0])
        assert_allclose(2 * half_tangent(36, 20, distance) * distance, 36 / magnification(20, distance))
