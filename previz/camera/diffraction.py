"""
Diffraction: how small a point a stopped-down lens can draw, the stop at which that balances defocus, and the blur itself.

Takes effective f-numbers, blurs on the sensor and pictures; gives diameters, stops and pictures. Knows nothing of scenes.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

GREEN_MM = 550e-6
"""Wavelength that the eye sees best, to 10 nm (CIE 018:2019). [mm]"""

FIRST_DARK_RING = 2.4393398
"""Twice 1.2196699, the first zero of the Bessel function J1 over pi (M. Born and E. Wolf, Principles of Optics, section 8.5.2). [1]"""


def airy_mm(stop, wavelength_mm: float = GREEN_MM):
    """
    Return the diameter of the Airy disc, to its first dark ring.

    Parameters
    ----------
    stop : float or (n,) float array
        Effective f-number, N (1 + m/P). [1]
    wavelength_mm : float
        [mm]

    Returns
    -------
    float or (n,) float array
        ``2.4393398 lambda N`` on the sensor (Born and Wolf, as above). [mm]
    """
    return FIRST_DARK_RING * wavelength_mm * np.asarray(stop, float)


def balanced_stop(blur_at_one_mm: float, airy_at_one_mm: float) -> float:
    """
    Return the stop at which blur by defocus and the Airy disc are of one size.

    Parameters
    ----------
    blur_at_one_mm : float
        Defocus blur on the sensor if the lens were at f/1; it falls as 1/N. [mm]
    airy_at_one_mm : float
        Airy disc at marked f/1, the loss close up included; it grows as N. [mm]

    Returns
    -------
    float
        ``sqrt(blur / airy)``, where their root sum of squares is least as well (J. Conrad, Depth of Field in Depth, 2006,
        "diffraction"; from memory). [1]
    """
    return float(np.sqrt(blur_at_one_mm / airy_at_one_mm))


WAVELENGTHS_MM = (610e-6, GREEN_MM, 465e-6)
"""That stand for red, green and blue in pictures: about where the primaries of Rec. 709 lie (own choice). [mm]"""

SEEN_FROM_PX = 0.5
"""Airy discs smaller than this many pixels are not drawn: they change a picture by less than its noise (own choice). [pixel]"""

_REACH = 4.0
"""How far a point's light is followed, in Airy discs; what lies beyond is folded back, so that no light is lost (own choice). [1]"""


def transfer(frequency, stop, wavelength_mm: float = GREEN_MM):
    """
    Return how much of the contrast of a fine pattern a perfect lens with a round stop keeps.

    Parameters
    ----------
    frequency : (...) float array
        On the sensor. [1/mm]
    stop : float
        Effective f-number. [1]
    wavelength_mm : float
        [mm]

    Returns
    -------
    (...) float array
        ``2/pi (acos v - v sqrt(1 - v^2))`` with ``v = frequency lambda N``, 0 from v = 1 on (J. W. Goodman, Introduction to
        Fourier Optics, section 6.3, incoherent light; from memory). [1]
    """
    v = np.clip(np.abs(frequency) * wavelength_mm * stop, 0.0, 1.0)
    return 2 / np.pi * (np.arccos(v) - v * np.sqrt(1 - v * v))


@lru_cache(maxsize=64)
def spread(stop: float, pixel_mm: float, wavelength_mm: float = GREEN_MM) -> np.ndarray:
    """
    Return how the light of a point in the middle of a pixel falls on the pixels around it.

    Parameters
    ----------
    stop : float
        Effective f-number. [1]
    pixel_mm : float
        Side of a pixel on the sensor. [mm]
    wavelength_mm : float
        [mm]

    Returns
    -------
    (k, k) float array
        k odd, the point's own pixel in the middle; the sum is 1. [1]

    Notes
    -----
    The Airy pattern, added up over each pixel. Its spectrum is `transfer` times the pixels' own sinc; seen at pixels, that
    spectrum repeats, and it ends at ``1 / (lambda N)``, so a few repeats are all of it and the sums are exact.
    """
    half = max(3, int(np.ceil(_REACH * airy_mm(stop, wavelength_mm) / pixel_mm)))
    cycles = np.fft.fftfreq(2 * half + 1)
    repeats = np.arange(-(n := int(np.ceil(pixel_mm / (wavelength_mm * stop) + 0.5))), n + 1)
    spectrum = np.zeros((len(cycles),) * 2)
    for across in repeats:
        for down in repeats:
            x, y = (cycles + across)[None, :], (cycles + down)[:, None]
            spectrum += transfer(np.hypot(x, y) / pixel_mm, stop, wavelength_mm) * np.sinc(x) * np.sinc(y)
    return np.maximum(np.fft.fftshift(np.fft.ifft2(spectrum).real), 0.0)


def diffracted(linear: np.ndarray, stop: float, pixel_mm: float) -> np.ndarray:
    """
    Return a picture as a perfect lens draws it at a stop.

    Parameters
    ----------
    linear : (..., rows, columns, 3) float array
        Linear RGB. [cd/m2]
    stop : float
        Effective f-number. [1]
    pixel_mm : float
        Side of a pixel of this picture on the sensor. [mm]

    Returns
    -------
    (..., rows, columns, 3) float32 array
        The light of each point spread as `spread` says; `linear` itself where that is too small to see. Beyond its edges a
        picture is taken to go on as it ends.
    """
    if airy_mm(stop) < SEEN_FROM_PX * pixel_mm:
        return linear
    colours = [_convolved(linear[..., c], spread(float(stop), float(pixel_mm), length)) for c, length in enumerate(WAVELENGTHS_MM)]
    return np.stack(colours, axis=-1).astype(np.float32)


def _convolved(plane: np.ndarray, kernel: np.ndarray) -> np.ndarray:
    """Return planes (..., rows, columns) convolved with `kernel` (k, k), as large as before."""
    from scipy.signal import fftconvolve  # slow to load, and only a blur that shows asks

    half, still = len(kernel) // 2, [(0, 0)] * (plane.ndim - 2)
    padded = np.pad(plane, [*still, (half, half), (half, half)], mode="edge")
    return np.maximum(fftconvolve(padded, kernel.reshape((1,) * (plane.ndim - 2) + kernel.shape), mode="valid", axes=(-2, -1)), 0.0)
