"""
The lens by focal length and pupils: magnification, and how wide it sees.

Takes focal lengths, sensor sizes and focused distances; gives magnification and angles of view.
Knows nothing of where the camera stands.

u      focused distance, from the entrance pupil along the optical axis [mm]
m      magnification, image size over object size [1]
P      pupil magnification, exit over entrance pupil; in code its inverse, `inverse_p` = 1/P [1]

Gauss' equation with distances from the entrance pupil, which lies f (1 - 1/P) behind the front principal plane, gives

    1/m = u/f - 1/P     angle of view  tan(w/2) = s / (2 f (1 + m/P))     effective stop  N (1 + m/P)

(A. Hughes and others; written out in J. Conrad, Depth of Field in Depth, 2006, "asymmetrical lenses"; from memory, and the
third is reference value 4.3). Two lenses are its ends: the thin lens that moves as a whole, 1/P = 1, m = f / (u - f); and
the relay of a probe lens, whose pupil stays where it is and whose image is telecentric, 1/P = 0, m = f / u.
"""

from __future__ import annotations

import numpy as np

from previz.scene.model import Lens

THIN = 1.0
"""1/P of a thin lens."""

LEAST_INVERSE_M = 0.04
"""The model magnifies no more than 25 times. The thin lens magnifies without limit as u nears f, which no real lens does;
nearer distances are treated as the one where it magnifies 25 times."""

NEAREST_FOCUS = THIN + LEAST_INVERSE_M
"""That distance of the thin lens, in focal lengths."""


def inverse_p(lens: Lens) -> float:
    """
    Return 1/P of a lens: 1 for one that focuses as a whole, 0 for one that focuses inside, else what its published close-up asks for. [1]

    Notes
    -----
    A lens that magnifies m0 at the distance u0 from the entrance pupil has ``1/P = u0/f - 1/m0``.
    """
    if lens.macro is not None:
        return (lens.macro.distance + lens.pupil) / lens.focal - 1 / lens.macro.magnification
    return 0.0 if lens.focusing == "internal" else THIN


def focused_distance(focal, distance, inverse_p=THIN):
    """
    Return the distance that the model lens focuses at when asked for `distance`.

    Parameters
    ----------
    focal : float
        Focal length. [mm]
    distance : float or (n,) float array
        From the entrance pupil, along the optical axis. [mm]

    Returns
    -------
    float or (n,) float array
        `distance`, or the nearest that the model focuses at where it is nearer than that. [mm]
    """
    return np.maximum(distance, (inverse_p + LEAST_INVERSE_M) * focal)


def magnification_limited(focal, distance, inverse_p=THIN):
    """Return True where `distance` [mm] is nearer than the model lens of `focal` [mm] can focus; arrays give arrays."""
    return np.less(distance, (inverse_p + LEAST_INVERSE_M) * focal)


def magnification(focal, distance, inverse_p=THIN):
    """
    Return the magnification of a lens focused at `distance`.

    Parameters
    ----------
    focal : float
        Focal length. [mm]
    distance : float or (n,) float array
        From the entrance pupil; taken no nearer than the model lens can focus. [mm]
    inverse_p : float
        As `inverse_p` gives it. [1]

    Returns
    -------
    float or (n,) float array
        Image size over object size. [1]

    Notes
    -----
    ``m = f / (u - f/P)``; for the thin lens f / (u - f) (S. F. Ray, Applied Photographic Optics, 3rd ed., Focal Press
    2002; from memory).
    """
    return focal / (focused_distance(focal, distance, inverse_p) - inverse_p * focal)


def entrance_pupil(focal: float, stop: float) -> float:
    """Return the diameter of the entrance pupil, ``f / N``: what the f-number means (ISO 517; from memory). [mm], [1] -> [mm]"""
    return focal / stop


def half_tangent(size, focal, distance, inverse_p=THIN):
    """
    Return the tangent of half the angle of view across a sensor side.

    Parameters
    ----------
    size : float
        Sensor side used. [mm]
    focal : float
        Focal length. [mm]
    distance : float or (n,) float array
        Focused distance, from the entrance pupil. [mm]

    Returns
    -------
    float or (n,) float array
        Half the side seen, a unit distance ahead of the entrance pupil. [1]

    Notes
    -----
    Angle of view ``2 atan(s / (2 f (1 + m/P)))`` (S. F. Ray, as above): a rectilinear lens whose image distance grows
    by 1 + m/P, as seen from its pupil, when it focuses nearer.
    """
    return size / (2 * focal * (1 + inverse_p * magnification(focal, distance, inverse_p)))
