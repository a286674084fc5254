"""
Diffraction: how small a point a stopped-down lens can draw, and the stop at which that balances defocus.

Takes effective f-numbers and blurs on the sensor; gives diameters and stops. Knows nothing of scenes.
"""

from __future__ import annotations

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
