"""
The lens as a thin lens: magnification, and how wide it sees.

Takes focal lengths, sensor sizes and focused distances; gives magnification and angles of view.
Knows nothing of where the camera stands.

u      focused distance, from the entrance pupil along the optical axis [mm]
m      magnification, image size over object size [1]
"""

from __future__ import annotations

import numpy as np

NEAREST_FOCUS = 1.04
"""The nearest distance that the model focuses at, in focal lengths. The thin lens magnifies without limit as u nears f,
which no real lens does; nearer distances are treated as this one, so that m stays at or below 25."""


def focused_distance(focal, distance):
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
        `distance`, or `NEAREST_FOCUS` focal lengths where it is nearer than that. [mm]
    """
    return np.maximum(distance, NEAREST_FOCUS * focal)


def magnification_limited(focal, distance):
    """Return True where `distance` [mm] is nearer than the model lens of `focal` [mm] can focus; arrays give arrays."""
    return np.less(distance, NEAREST_FOCUS * focal)


def magnification(focal, distance):
    """
    Return the magnification of a lens focused at `distance`.

    Parameters
    ----------
    focal : float
        Focal length. [mm]
    distance : float or (n,) float array
        From the entrance pupil; nearer than `NEAREST_FOCUS` focal lengths counts as that. [mm]

    Returns
    -------
    float or (n,) float array
        Image size over object size. [1]

    Notes
    -----
    ``m = f / (u - f)``, the thin-lens equation (S. F. Ray, Applied Photographic Optics, 3rd ed., Focal Press 2002;
    from memory), with u measured from the entrance pupil. A lens whose pupil lies far from its principal plane departs
    from it close up.
    """
    return focal / (focused_distance(focal, distance) - focal)


def entrance_pupil(focal: float, stop: float) -> float:
    """Return the diameter of the entrance pupil, ``f / N``: what the f-number means (ISO 517; from memory). [mm], [1] -> [mm]"""
    return focal / stop


def half_tangent(size, focal, distance):
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
    Angle of view ``2 atan(s / (2 f (1 + m)))`` (S. F. Ray, as above): a rectilinear lens of pupil magnification 1,
    whose image distance grows by 1 + m as it focuses nearer.
    """
    return size / (2 * focal * (1 + magnification(focal, distance)))
