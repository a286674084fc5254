"""From luminance to a picture."""

import numpy as np
from numpy.testing import assert_allclose

from previz.camera.exposure import luminance_metered
from previz.camera.tone import KNEE, MIDDLE_GREY, WHITE_STOPS, develop, encode_srgb, expose, shoulder
from previz.light.colour import srgb_decoded

SETTINGS = (800, 20.0, 1 / 240)


def grey(stops):
    """A row of greys, so many stops above the luminance that meters right."""
    luminance = luminance_metered(*SETTINGS) * 2.0 ** np.asarray(stops, float)
    return np.repeat(luminance[None, :, None], 3, axis=2).astype(np.float32)


class TestDevelop:
    """The picture that the camera would show."""

    def test_what_meters_right_lands_on_middle_grey(self):
        """18 % of white is code 118 in sRGB (0.4613 x 255)."""
        assert develop(grey([0]), *SETTINGS)[0, 0].tolist() == [118, 118, 118]

    def test_linear_up_to_the_knee(self):
        """A stop down is half the light."""
        assert_allclose(shoulder(expose(grey([0, -1, -3]), *SETTINGS))[0, :, 0], MIDDLE_GREY / np.array([1, 2, 8]), rtol=1e-6)

    def test_a_stop_of_iso_is_a_stop_of_light(self):
        """Twice the ISO shows half the light the same."""
        assert (develop(grey([-1]), 1600, *SETTINGS[1:]) == develop(grey([0]), *SETTINGS)).all()

    def test_highlights_roll_off_to_white(self):
        """Brighter is never darker; white is reached at its stop and held, negative light is black."""
        codes = develop(grey(np.arange(-8, WHITE_STOPS + 4)), *SETTINGS)[0, :, 0].astype(int)
        assert (np.diff(codes) >= 0).all() and (np.diff(codes[:14]) > 0).all()
        assert codes[14] == codes[-1] == 255
        assert develop(-grey([0]), *SETTINGS).max() == 0

    def test_no_edge_at_the_knee(self):
        """The curve's slope is 1 on both sides."""
        below, at, above = shoulder(KNEE + np.array([-1e-5, 0, 1e-5]))
        assert_allclose([at - below, above - at], 1e-5, rtol=1e-3)


def test_srgb_codes_survive_a_round_trip():
    """IEC 61966-2-1: each of the 256 codes decodes to light that is coded as itself."""
    codes = np.arange(256)
    assert (encode_srgb(srgb_decoded(codes / 255)) == codes).all()
