"""
From luminance to a picture: exposure, a soft shoulder for the highlights, sRGB.

Takes linear RGB in cd/m2 and the camera's settings; gives 8-bit pictures. Knows nothing of what is in them.
"""

from __future__ import annotations

import numpy as np

from previz.camera.balance import balanced
from previz.camera.exposure import luminance_metered
from previz.camera.noise import Grain, noisy

MIDDLE_GREY = 0.18
"""Where a luminance that meters correctly lands, as a share of white before the shoulder (common practice)."""

KNEE = 0.4
"""Share of white up to which the picture is linear; middle grey lies below it and keeps its place."""

WHITE_STOPS = 6.0
"""Stops above middle grey that reach full white (common practice for a camera's highlights)."""


def expose(linear, iso, stop, seconds):
    """
    Return luminance as shares of white, before the shoulder.

    Parameters
    ----------
    linear : (..., 3) float array
        Linear RGB, Rec. 709 primaries. [cd/m2]
    iso, stop, seconds : float
        ISO set, effective f-number, exposure time. [ISO], [1], [s]

    Returns
    -------
    (..., 3) float array
        Middle grey is 0.18. [1]

    Notes
    -----
    ``0.18 L / L_metered`` with ``L_metered = 12.5 N^2 / (ISO t)`` (ISO 2720:1974): a factor ``ISO t / (69.4 N^2)``.
    """
    return np.asarray(linear) * np.float32(MIDDLE_GREY / luminance_metered(iso, stop, seconds))


def shoulder(value):
    """
    Return exposed values with the highlights rolled off softly to white.

    Parameters
    ----------
    value : (...) float array
        Shares of white, channel by channel. [1]

    Returns
    -------
    (...) float array
        0 to 1, linear up to `KNEE`. [1]

    Notes
    -----
    Above the knee ``k + (1 - k) x (1 + x / w^2) / (1 + x)``, x the excess over the knee in units of 1 - k and w the
    excess that becomes white: the global operator of Reinhard, Stark, Shirley and Ferwerda, Photographic Tone
    Reproduction for Digital Images, SIGGRAPH 2002, eq. 4 (from memory). Its slope is 1 at the knee, so no edge shows.
    """
    room = 1 - KNEE
    white = (MIDDLE_GREY * 2**WHITE_STOPS - KNEE) / room
    excess = np.clip((value - KNEE) / room, 0, white)
    return np.clip(value, 0, KNEE) + room * excess * (1 + excess / white**2) / (1 + excess)


def encode_srgb(value):
    """Return linear shares of white (...) coded by the curve of IEC 61966-2-1:1999 (from memory), as uint8 0 to 255."""
    value = np.clip(value, 0, 1)
    coded = np.where(value <= 0.0031308, 12.92 * value, 1.055 * np.power(value, 1 / 2.4) - 0.055)
    return np.rint(255 * coded).astype(np.uint8)


def develop(linear, iso, stop, seconds, *, white: np.ndarray | None = None, grain: Grain | None = None) -> np.ndarray:
    """
    Return the picture that the camera would show of a frame.

    Parameters
    ----------
    linear : (rows, columns, 3) float array
        Linear RGB, Rec. 709 primaries, whose 0.2126, 0.7152, 0.0722 sum is luminance. [cd/m2]
    iso, stop, seconds : float
        ISO set, effective f-number, exposure time. [ISO], [1], [s]
    white : (3, 3) float array, optional
        White balance, as `previz.camera.balance.balance` gives it; without it white is the screen's, D65. [1]
    grain : Grain, optional
        Noise to be added, before the balance, as in a camera.

    Returns
    -------
    (rows, columns, 3) uint8 array
        sRGB.
    """
    exposed = expose(linear, iso, stop, seconds)
    return encode_srgb(shoulder(balanced(noisy(exposed, iso, grain) if grain else exposed, white)))
