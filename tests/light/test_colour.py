"""Colour of light: the sRGB code and luminance."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from previz.light.colour import linear_rgb, luminance, srgb_decoded, unit_luminance

HEX = st.from_regex(r"#[0-9a-fA-F]{6}", fullmatch=True)


class TestDecoding:
    """IEC 61966-2-1:1999 (values from memory)."""

    def test_ends(self):
        """Black and white keep their value."""
        np.testing.assert_array_equal(linear_rgb("#000000"), 0)
        np.testing.assert_allclose(linear_rgb("#ffffff"), 1)

    def test_middle_grey(self):
        """Code 128 is 21.6 % of the light."""
        np.testing.assert_allclose(linear_rgb("#808080"), 0.215861, rtol=1e-5)

    def test_channels_keep_their_order(self):
        """Red, green, blue."""
        np.testing.assert_allclose(linear_rgb("#ff8000"), [1, 0.215861, 0], rtol=1e-5)

    def test_the_two_pieces_meet(self):
        """No step where the line ends and the power begins."""
        below, above = srgb_decoded([0.04045, 0.04045 + 1e-9])
        assert above == pytest.approx(below, rel=1e-4)

    def test_it_rises(self):
        """More code, more light."""
        assert (np.diff(srgb_decoded(np.linspace(0, 1, 1000))) > 0).all()


class TestUnitLuminance:
    """A lamp's figures are its luminous intensity, whatever its colour."""

    @given(HEX.filter(lambda text: text != "#000000"))
    def test_luminance_is_one(self, text):
        """Every colour but black."""
        rgb = unit_luminance(text)
        assert luminance(rgb) == pytest.approx(1)
        assert (rgb >= 0).all()

    def test_hue_stays(self):
        """Scaling keeps the ratio of the channels."""
        rgb, plain = unit_luminance("#ffd9a0"), linear_rgb("#ffd9a0")
        np.testing.assert_allclose(rgb / rgb[0], plain / plain[0])

    def test_black(self):
        """No level of light is black."""
        with pytest.raises(ValueError, match="^black is no colour of light$"):
            unit_luminance("#000000")
