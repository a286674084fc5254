"""The meter's equation."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.camera.exposure import effective_stop, ev100, iso_needed, luminance_metered, stop_used, stops_over
from previz.scene.model import Lens, Shot

SHOT = {"name": "a", "from": (0, 0, 0), "look": (1, 0, 0)}


class TestStops:
    """Which f-number counts."""

    @pytest.mark.parametrize(
        "lens, shot, expected", [({}, {}, 14), ({"stop": 16}, {}, 16), ({"stop": 16}, {"stop": 22}, 22), ({}, {"stop": 11}, 11)]
    )
    def test_shot_before_lens_before_widest(self, lens, shot, expected):
        """The nearest to the take wins."""
        assert stop_used(Lens(**lens), Shot(**SHOT, **shot)) == expected

    def test_close_up_loses_light(self):
        """At life size two stops are lost: the f-number doubles."""
        lens = Lens(focal=24, stop=14)
        assert effective_stop(lens, Shot(**SHOT), 48.0) == 28
        assert_allclose(effective_stop(lens, Shot(**SHOT), np.array([48.0, np.inf])), [28, 14])

    def test_a_t_number_stands_for_the_whole_loss(self):
        """It moves along when the shot stops down."""
        lens = Lens(focal=24, stop=16, t_stop=20)
        assert_allclose(effective_stop(lens, Shot(**SHOT), np.array([48.0, 100.0])), [20, 20])
        assert_allclose(effective_stop(lens, Shot(**SHOT, stop=32), 48.0), 40)


class TestExposure:
    """ISO, exposure value, stops."""

    def test_iso_and_metered_luminance_are_inverse(self):
        """The luminance that meters right at an ISO needs that ISO."""
        assert_allclose(iso_needed(luminance_metered(800, 20, 1 / 240), 20, 1 / 240), 800)

    def test_dark_needs_no_finite_iso(self):
        """No light: no ISO will do, and the exposure value has no bottom."""
        assert iso_needed(0.0, 16, 0.01) == np.inf
        assert ev100(0.0) == -np.inf

    def test_stops_over(self):
        """Four times the ISO is two stops over; half is one to spare."""
        assert_allclose(stops_over(np.array([12800, 1600]), 3200), [2, -1])
