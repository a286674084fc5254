"""
Colour of light: from "#rrggbb" to linear Rec. 709 RGB, and from linear RGB to luminance.

Knows nothing of lamps, surfaces or screens.
"""

from __future__ import annotations

import numpy as np

LUMINANCE_WEIGHTS = np.array([0.2126, 0.7152, 0.0722])
"""Luminance of the Rec. 709 primaries against D65 white (ITU-R BT.709-6, item 3.2; from memory)."""


def srgb_decoded(coded):
    """
    Return linear light from sRGB coded values.

    Parameters
    ----------
    coded : (...) float array
        Coded values, 0 to 1. [1]

    Returns
    -------
    (...) float array
        Linear values, 0 to 1. [1]

    References
    ----------
    IEC 61966-2-1:1999, transfer function (from memory): linear below 0.04045, power 2.4 above.
    """
    coded = np.asarray(coded, dtype=float)
    return np.where(coded <= 0.04045, coded / 12.92, ((np.maximum(coded, 0.0) + 0.055) / 1.055) ** 2.4)


def linear_rgb(text: str) -> np.ndarray:
    """Return the (3,) linear Rec. 709 RGB, 0 to 1, of a colour written "#rrggbb" in sRGB code. [1]"""
    return srgb_decoded(np.array([int(text[i : i + 2], 16) for i in (1, 3, 5)]) / 255)


def luminance(rgb) -> np.ndarray:
    """
    Return the luminance, or whatever photometric quantity the values stand for, of linear RGB.

    Parameters
    ----------
    rgb : (..., 3) float array
        Linear Rec. 709 RGB.

    Returns
    -------
    (...) float array
        0.2126 R + 0.7152 G + 0.0722 B, in the unit of `rgb`.
    """
    return np.asarray(rgb) @ LUMINANCE_WEIGHTS


def unit_luminance(text: str) -> np.ndarray:
    """
    Return the (3,) linear RGB of the colour "#rrggbb", scaled until its luminance is 1.

    Raises
    ------
    ValueError
        If the colour is black: no level of light has it.
    """
    rgb = linear_rgb(text)
    if not rgb.any():
        raise ValueError("black is no colour of light")
    return rgb / luminance(rgb)
