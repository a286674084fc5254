"""White balance against a published implementation, and the noise of a sensor by its own law."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.camera.balance import BRADFORD, balance, balanced
from previz.camera.noise import FULL_ELECTRONS, READ_ELECTRONS, Grain, noisy
from previz.light.whites import white_rgb


class TestWhiteBalance:
    """What is made white, and what happens to the rest."""

    @pytest.mark.parametrize("kelvin", [2700, 3200, 4500, 5600, 6504, 10000])
    def test_the_white_is_white(self, kelvin):
        """A white of luminance 1 becomes 1, 1, 1."""
        assert_allclose(balance(white_rgb(kelvin)) @ white_rgb(kelvin), 1, rtol=1e-6)

    def test_the_screens_white_changes_nothing(self):
        """At D65 a picture stays as it is, and so it does without a balance."""
        picture = np.array([[[1.0, 0.5, 0.2]]])
        assert_allclose(balanced(picture, balance(np.ones(3))), picture, rtol=1e-9)
        assert balanced(picture, None) is picture

    def test_against_colour_science(self):
        """The same as colour-science's von Kries adaptation in Bradford's space."""
        colour = pytest.importorskip("colour")
        from previz.light.whites import XYZ_TO_RGB

        rgb, white = np.array([0.3, 0.6, 0.1]), white_rgb(3200)
        to_xyz = np.linalg.inv(XYZ_TO_RGB)
        adapted = colour.adaptation.chromatic_adaptation_VonKries(to_xyz @ rgb, to_xyz @ white, to_xyz @ np.ones(3), transform="Bradford")
        assert_allclose(balance(white) @ rgb, XYZ_TO_RGB @ adapted, rtol=1e-3, atol=1e-4)
        assert_allclose(BRADFORD, colour.adaptation.CHROMATIC_ADAPTATION_TRANSFORMS["Bradford"], atol=1e-6)

    def test_no_light_is_made_negative_or_endless(self):
        """A deep amber lamp has no blue; balancing to it stays bounded."""
        out = balanced(np.eye(3)[None], balance(white_rgb(1000)))
        assert out.min() >= 0 and out.max() < 200


class TestNoise:
    """Photons and read-out."""

    def test_law(self):
        """The mean stays, and the variance is Poisson's of the electrons plus the read-out's (EMVA 1288; from memory)."""
        value, iso = 0.18, 1600.0
        out = noisy(np.full((400, 400, 3), value), iso, Grain(1, 1))
        white = FULL_ELECTRONS * 100 / iso
        assert_allclose(out.mean(), value, rtol=0.002)
        assert_allclose(out.std(), np.sqrt(value * white + READ_ELECTRONS**2) / white, rtol=0.01)

    def test_more_iso_more_noise_and_pixels_average_it(self):
        """Four times the pixels halve it; the same seed gives the same grain."""
        flat = np.full((200, 200, 3), 0.18)
        low, high, small = (noisy(flat, iso, Grain(each, 3)).std() for iso, each in ((100, 1), (6400, 1), (6400, 4)))
        assert high > 8 * low
        assert_allclose(small, high / 2, rtol=1e-6)
        assert (noisy(flat, 800, Grain(1, 3)) == noisy(flat, 800, Grain(1, 3))).all()
