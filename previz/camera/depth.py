"""
Depth of field: what is sharp enough, nearest and farthest.

Takes focal length, stop, circle of confusion and focused distance; gives distances. All of them are measured from the
entrance pupil along the optical axis. Knows nothing of diffraction, which `diffraction` does: far stopped down, a lens is
softer than this says.
"""

from __future__ import annotations

import numpy as np

from previz.camera.lens import THIN, focused_distance, magnification


def limits(focal, stop, coc, distance, inverse_p=THIN):
    """
    Return the nearest and the farthest distance that is sharp.

    Parameters
    ----------
    focal : float
        Focal length. [mm]
    stop : float
        f-number as marked, without the loss of light close up. [1]
    coc : float
        Circle of confusion on the sensor. [mm]
    distance : float or (n,) float array
        Focused distance; taken no nearer than the model lens can focus. [mm]
    inverse_p : float
        Of the lens, as `camera.lens.inverse_p` gives it. [1]

    Returns
    -------
    near, far : float or (n,) float array
        `far` is infinite from the hyperfocal distance on. [mm]

    Notes
    -----
    ``u / (1 +- c / (m D))``, D = f/N the entrance pupil: the cone from the pupil through the plane of focus is c/m wide
    at both limits (J. Conrad, Depth of Field in Depth, 2006). For the thin lens that is ``u f^2 / (f^2 +- N c (u - f))``
    (S. F. Ray, Applied Photographic Optics, 3rd ed., Focal Press 2002, from memory).
    """
    u = np.asarray(focused_distance(focal, distance, inverse_p), float)
    cone = coc * stop / (focal * magnification(focal, u, inverse_p))
    with np.errstate(divide="ignore"):
        return u / (1 + cone), np.where(cone < 1, u / np.maximum(1 - cone, 0), np.inf)


def blur_mm(focal, stop, distance, at, inverse_p=THIN):
    """
    Return how wide a point out of focus is on the sensor.

    Parameters
    ----------
    focal, stop : float
        [mm], [1]
    distance, at : float or (n,) float array
        Focused distance, and that of the point. [mm]

    Returns
    -------
    float or (n,) float array
        Diameter, ``m D |at - u| / at`` with D = f/N, by similar triangles. [mm]
    """
    u = focused_distance(focal, distance, inverse_p)
    return magnification(focal, u, inverse_p) * focal / stop * np.abs(np.subtract(at, u)) / at


def hyperfocal(focal, stop, coc, inverse_p=THIN) -> float:
    """
    Return the focused distance from which everything is sharp out to infinity, from half of it on.

    Parameters
    ----------
    focal, stop, coc : float
        Focal length, f-number, circle of confusion. [mm], [1], [mm]

    Returns
    -------
    float
        [mm]

    Notes
    -----
    ``H = f^2 / (N c) + f/P``, where the far limit turns endless; exact for the thin lens (S. F. Ray, as above).
    """
    return focal**2 / (stop * coc) + inverse_p * focal
