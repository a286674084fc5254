"""Diffraction in pictures: the Airy pattern over pixels, its contrast, and that no light is lost."""

import numpy as np
from numpy.testing import assert_allclose

from previz.camera.diffraction import GREEN_MM, airy_mm, diffracted, spread, transfer

STOP = 28.0


def fine(pixels_a_disc: float) -> float:
    """The pixel that makes the Airy disc of f/28 so many pixels wide. [mm]"""
    return float(airy_mm(STOP)) / pixels_a_disc


class TestSpread:
    """How a point's light falls on pixels."""

    def test_all_of_it_falls_somewhere(self):
        """The sum is 1, whatever the pixel, and no pixel gets less than nothing."""
        for width in (0.5, 1.3, 4.0, 20.0):
            kernel = spread(STOP, fine(width))
            assert_allclose(kernel.sum(), 1, atol=1e-6)
            assert kernel.min() >= 0 and kernel.argmax() == kernel.size // 2

    def test_first_dark_ring_holds_84_percent(self):
        """83.8 % of the light falls inside the first dark ring (Born and Wolf, Principles of Optics, section 8.5.2; from memory)."""
        kernel = spread(STOP, fine(24.0))
        y, x = np.indices(kernel.shape) - len(kernel) // 2
        assert_allclose(kernel[np.hypot(x, y) <= 12].sum(), 0.838, atol=0.006)
        across = kernel[len(kernel) // 2, len(kernel) // 2 :]
        assert abs(int(across[:18].argmin()) - 12) <= 1

    def test_contrast_of_a_grating(self):
        """A sine keeps `transfer` of its contrast, and half way to the cut-off that is 0.391 (Goodman's curve; from memory)."""
        assert_allclose(transfer(0.5 / (GREEN_MM * STOP), STOP), 0.391, atol=5e-4)
        pixel = fine(8.0)
        grating = 1 + np.cos(2 * np.pi * np.arange(400) / 16)
        drawn = diffracted(np.tile(grating[None, :, None], (9, 1, 3)).astype(np.float32), STOP, pixel)[4, 100:300, 1]
        box = np.sinc(1 / 16)
        assert_allclose((drawn.max() - drawn.min()) / 2, transfer(1 / (16 * pixel), STOP) * box, rtol=0.01)


class TestPicture:
    """On a whole picture."""

    def test_light_is_kept(self):
        """A bright patch on black keeps its light, to what leaves the frame."""
        picture = np.zeros((80, 80, 3), np.float32)
        picture[36:44, 36:44] = 5.0
        assert_allclose(diffracted(picture, STOP, fine(2.0)).sum(), picture.sum(), rtol=0.01)

    def test_even_stays_even(self):
        """A picture without edges comes out as it was."""
        assert_allclose(diffracted(np.full((20, 30, 3), 3.0, np.float32), STOP, fine(3.0)), 3.0, rtol=1e-5)

    def test_layers_add_up(self):
        """Blurring a sum is summing what is blurred."""
        layers = np.random.default_rng(1).random((3, 24, 20, 3)).astype(np.float32)
        assert_allclose(diffracted(layers, STOP, fine(2.0)).sum(axis=0), diffracted(layers.sum(axis=0), STOP, fine(2.0)), rtol=1e-4)

    def test_too_small_to_see(self):
        """Under half a pixel nothing is done at all."""
        picture = np.ones((4, 4, 3), np.float32)
        assert diffracted(picture, STOP, fine(0.49)) is picture
