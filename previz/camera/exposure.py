"""
Exposure by the meter's equation: luminance, stop, time and ISO.

Takes luminance and camera settings; gives the ISO that is needed, exposure values and stops.
Knows nothing of pictures: which luminance is metered is decided elsewhere.

N      effective f-number, light that reaches the sensor counted [1]
t      exposure time of a frame [s]
L      metered luminance [cd/m2]
"""

from __future__ import annotations

import numpy as np

from previz.camera.lens import inverse_p, magnification
from previz.scene.model import Lens, Shot

METER_CONSTANT = 12.5
"""K of ISO 2720:1974 for reflected light. [cd s/m2 at ISO 1]"""


def stop_used(lens: Lens, shot: Shot) -> float:
    """Return the f-number of a shot: its own, else the lens's, else the widest. [1]"""
    return shot.stop or lens.stop or lens.widest


def effective_stop(lens: Lens, shot: Shot, focus_mm):
    """
    Return the f-number that decides the exposure at a focused distance.

    Parameters
    ----------
    lens, shot : Lens, Shot
        Stops and focal length.
    focus_mm : float or (n,) float array
        Focused distance, from the entrance pupil. [mm]

    Returns
    -------
    float or (n,) float array
        The T-number where the lens has one, moved along with the stop where the shot sets another; else
        ``stop (1 + m/P)``. [1]

    Notes
    -----
    ``N_eff = N (1 + m/P)``, P the pupil magnification (J. Conrad, Depth of Field in Depth, 2006, second-hand). A T-number
    is taken as measured at the working distance, with that loss in it.
    """
    stop = stop_used(lens, shot)
    if lens.t_stop is not None:
        at = lens.t_stop * stop / (lens.stop or lens.widest)
        return at * np.ones_like(focus_mm, dtype=float)
    return working_stop(lens, stop, focus_mm)


def working_stop(lens: Lens, stop, focus_mm):
    """Return ``stop (1 + m/P)``, which decides diffraction, and exposure where no T-number is known; arrays give arrays. [1], [mm] -> [1]"""
    over_p = inverse_p(lens)
    return stop * (1 + over_p * magnification(lens.focal, focus_mm, over_p))


def iso_needed(luminance, stop, seconds):
    """
    Return the ISO that exposes `luminance` as a meter would.

    Parameters
    ----------
    luminance : float or (n,) float array
        Metered. [cd/m2]
    stop : float or (n,) float array
        Effective f-number. [1]
    seconds : float
        Exposure time. [s]

    Returns
    -------
    float or (n,) float array
        Infinite where it is dark. [ISO]

    Notes
    -----
    ``ISO = K N^2 / (L t)``, K = 12.5 (ISO 2720:1974).
    """
    with np.errstate(divide="ignore"):
        return np.divide(METER_CONSTANT * np.square(stop), np.multiply(luminance, seconds))


def luminance_metered(iso, stop, seconds):
    """Return the luminance that a meter would call right at these settings: ``L = K N^2 / (ISO t)`` (ISO 2720). [cd/m2]"""
    return METER_CONSTANT * np.square(stop) / np.multiply(iso, seconds)


def ev100(luminance):
    """
    Return the exposure value at ISO 100 of a metered luminance.

    Parameters
    ----------
    luminance : float or (n,) float array
        [cd/m2]

    Returns
    -------
    float or (n,) float array
        Minus infinity where it is dark. [stops]

    Notes
    -----
    ``2^EV = N^2 / t = L S / K`` with S = 100 (ISO 2720:1974), so ``EV = log2(8 L)``.
    """
    with np.errstate(divide="ignore"):
        return np.log2(np.multiply(luminance, 100 / METER_CONSTANT))


def stops_over(iso, iso_limit):
    """Return by how many stops `iso` lies above `iso_limit`; negative is to spare. [stops]"""
    return np.log2(np.divide(iso, iso_limit))
