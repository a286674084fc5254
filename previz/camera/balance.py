"""
White balance: the white of a picture moved to the screen's white.

Takes linear RGB of a white; gives a matrix for linear RGB. Knows nothing of lamps or scenes.
"""

from __future__ import annotations

import numpy as np

from previz.light.colour import luminance
from previz.light.whites import XYZ_TO_RGB

BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""Cone responses, sharpened, from XYZ (K. M. Lam's transform, as printed in CIE 159:2004, section 2; from memory). [1]"""

_LEAST = 0.02
"""Cone response that a white has at least: no balance makes a channel of noise more than fifty times brighter (own choice). [1]"""


def balance(white) -> np.ndarray:
    """
    Return the matrix that makes `white` look white.

    Parameters
    ----------
    white : (3,) float array
        Linear RGB, Rec. 709 primaries, of any level. [1]

    Returns
    -------
    (3, 3) float array
        For linear RGB columns; `white` at luminance 1 becomes (1, 1, 1). [1]

    Notes
    -----
    Von Kries' rule in Bradford's cone space: each response is divided by that of the white.
    """
    white = np.asarray(white, float)
    to_cones = BRADFORD @ np.linalg.inv(XYZ_TO_RGB)
    seen, wanted = to_cones @ (white / luminance(white)), to_cones @ np.ones(3)
    return np.linalg.inv(to_cones) @ np.diag(wanted / np.maximum(seen, _LEAST)) @ to_cones


def balanced(linear: np.ndarray, matrix: np.ndarray | None) -> np.ndarray:
    """Return linear RGB (..., 3) through the matrix of `balance`, none of it negative; as it is where there is no matrix."""
    return linear if matrix is None else np.maximum(linear @ matrix.T, 0.0)
