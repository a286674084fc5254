"""
Clear panes: how much light a sheet of glass lets through, by the angle at which it arrives.

Takes cosines; gives shares. Knows nothing of openings, lamps or rays.
"""

from __future__ import annotations

import numpy as np

INDEX = 1.5
"""Refractive index of window glass and acrylic sheet, in round figures (common practice). [1]"""


def sheet_transmittance(cos, index: float = INDEX):
    """
    Return the share of unpolarised light that a clear sheet in air lets through.

    The ray engine compiles this very function for its loops.

    Parameters
    ----------
    cos : float or (...) float array
        Cosine of the angle between the light and the sheet's normal, 0 to 1. [1]
    index : float
        Refractive index of the sheet. [1]

    Returns
    -------
    float or (...) float array
        0 to 1; light that is reflected to and fro between the two faces included, absorption not. [1]

    Notes
    -----
    Each face reflects ``R`` of each polarisation by the Fresnel equations; the sum over all reflections inside a sheet much
    thicker than a wave is ``(1 - R) / (1 + R)``, and unpolarised light is the mean of both polarisations (M. Born and E. Wolf,
    Principles of Optics, 1.5; from memory).
    """
    cos_in = np.sqrt(1.0 - (1.0 - cos * cos) / (index * index))
    across = ((cos - index * cos_in) / (cos + index * cos_in)) ** 2
    within = ((index * cos - cos_in) / (index * cos + cos_in)) ** 2
    return 0.5 * ((1.0 - across) / (1.0 + across) + (1.0 - within) / (1.0 + within))
