"""
Depth of field: what is sharp enough, nearest and farthest.

Takes focal length, stop, circle of confusion and focused distance; gives distances. All of them are measured from the
entrance pupil along the optical axis. Knows nothing of diffraction: far stopped down, a lens is softer than this says.
"""

from __future__ import annotations

import numpy as np

from previz.camera.lens import focused_distance


def limits(focal, stop, coc, distance):
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

    Returns
    -------
    near, far : float or (n,) float array
        `far` is infinite from the hyperfocal distance on. [mm]

    Notes
    -----
    ``u f^2 / (f^2 +- N c (u - f))`` (S. F. Ray, Applied Photographic Optics, 3rd ed., Focal Press 2002, from memory;
    J. Conrad, Depth of Field in Depth, 2006), the thin lens with u from the entrance pupil.
    """
    u = np.asarray(focused_distance(focal, distance), float)
    blur = stop * coc * (u - focal)
    near = u * focal**2 / (focal**2 + blur)
    with np.errstate(divide="ignore"):
        far = np.where(blur < focal**2, u * focal**2 / np.maximum(focal**2 - blur, 0), np.inf)
    return near, far


def hyperfocal(focal, stop, coc) -> float:
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
    ``H = f^2 / (N c) + f``, exact for the thin lens (S. F. Ray, as above).
    """
    return focal**2 / (stop * coc) + focal
