"""
Whites: the colour of light that is named by its temperature, as a black body or a phase of daylight.

Takes kelvin; gives CIE 1931 chromaticity and linear Rec. 709 RGB. Knows no lamps.

    planckian   the light of a black body, as of a filament
    daylight    the CIE daylight locus, from 4000 K up, as of the sky and of most lamps made to match it
"""

from __future__ import annotations

import numpy as np

from previz.light.colour import luminance
from previz.scene.model import DAYLIGHT_FROM_K

SECOND_RADIATION_CONSTANT = 1.438776877e-2
"""c2 = h c / k (SI Brochure, 9th edition). [m K]"""

XYZ_TO_RGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
"""Linear Rec. 709 RGB from XYZ (IEC 61966-2-1:1999, in its four decimals)."""

_WAVELENGTH_M = np.arange(360, 781, 5) * 1e-9
# fmt: off
_OBSERVER = np.array([
    (0.00013, 4e-06, 0.000606), (0.000232, 7e-06, 0.001086), (0.000415, 1.2e-05, 0.001946), (0.000742, 2.2e-05, 0.003486),
    (0.001368, 3.9e-05, 0.00645), (0.002236, 6.4e-05, 0.01055), (0.004243, 0.00012, 0.02005), (0.00765, 0.000217, 0.03621),
    (0.01431, 0.000396, 0.06785), (0.02319, 0.00064, 0.1102), (0.04351, 0.00121, 0.2074), (0.07763, 0.00218, 0.3713),
    (0.13438, 0.004, 0.6456), (0.21477, 0.0073, 1.03905), (0.2839, 0.0116, 1.3856), (0.3285, 0.01684, 1.62296), (0.34828, 0.023, 1.74706),
    (0.34806, 0.0298, 1.7826), (0.3362, 0.038, 1.77211), (0.3187, 0.048, 1.7441), (0.2908, 0.06, 1.6692), (0.2511, 0.0739, 1.5281),
    (0.19536, 0.09098, 1.28764), (0.1421, 0.1126, 1.0419), (0.09564, 0.13902, 0.81295), (0.05795, 0.1693, 0.6162),
    (0.03201, 0.20802, 0.46518), (0.0147, 0.2586, 0.3533), (0.0049, 0.323, 0.272), (0.0024, 0.4073, 0.2123), (0.0093, 0.503, 0.1582),
    (0.0291, 0.6082, 0.1117), (0.06327, 0.71, 0.07825), (0.1096, 0.7932, 0.05725), (0.1655, 0.862, 0.04216), (0.22575, 0.91485, 0.02984),
    (0.2904, 0.954, 0.0203), (0.3597, 0.9803, 0.0134), (0.43345, 0.99495, 0.00875), (0.51205, 1, 0.00575), (0.5945, 0.995, 0.0039),
    (0.6784, 0.9786, 0.00275), (0.7621, 0.952, 0.0021), (0.8425, 0.9154, 0.0018), (0.9163, 0.87, 0.00165), (0.9786, 0.8163, 0.0014),
    (1.0263, 0.757, 0.0011), (1.0567, 0.6949, 0.001), (1.0622, 0.631, 0.0008), (1.0456, 0.5668, 0.0006), (1.0026, 0.503, 0.00034),
    (0.9384, 0.4412, 0.00024), (0.85445, 0.381, 0.00019), (0.7514, 0.321, 0.0001), (0.6424, 0.265, 5e-05), (0.5419, 0.217, 3e-05),
    (0.4479, 0.175, 2e-05), (0.3608, 0.1382, 1e-05), (0.2835, 0.107, 0), (0.2187, 0.0816, 0), (0.1649, 0.061, 0), (0.1212, 0.04458, 0),
    (0.0874, 0.032, 0), (0.0636, 0.0232, 0), (0.04677, 0.017, 0), (0.0329, 0.01192, 0), (0.0227, 0.00821, 0), (0.01584, 0.005723, 0),
    (0.011359, 0.004102, 0), (0.008111, 0.002929, 0), (0.00579, 0.002091, 0), (0.004109, 0.001484, 0), (0.002899, 0.001047, 0),
    (0.002049, 0.00074, 0), (0.00144, 0.00052, 0), (0.001, 0.000361, 0), (0.00069, 0.000249, 0), (0.000476, 0.000172, 0),
    (0.000332, 0.00012, 0), (0.000235, 8.5e-05, 0), (0.000166, 6e-05, 0), (0.000117, 4.2e-05, 0), (8.3e-05, 3e-05, 0),
    (5.9e-05, 2.1e-05, 0), (4.2e-05, 1.5e-05, 0),
])
# fmt: on
"""(85, 3): the CIE 1931 2 degree observer, every 5 nm (CIE 015:2018, to six decimals)."""


def planckian_xy(kelvin: float) -> np.ndarray:
    """
    Return the (2,) chromaticity of a black body. [K] -> [1]

    References
    ----------
    Planck's law, weighted with the CIE 1931 2 degree observer (CIE 015:2018).
    """
    spectrum = _WAVELENGTH_M**-5 / np.expm1(SECOND_RADIATION_CONSTANT / (_WAVELENGTH_M * kelvin))
    xyz = spectrum @ _OBSERVER
    return xyz[:2] / xyz.sum()


def daylight_xy(kelvin: float) -> np.ndarray:
    """
    Return the (2,) chromaticity of a phase of daylight, 4000 to 25,000 K. [K] -> [1]

    References
    ----------
    CIE 015:2018, daylight locus.
    """
    if kelvin <= 7000:
        x = -4.6070e9 / kelvin**3 + 2.9678e6 / kelvin**2 + 0.09911e3 / kelvin + 0.244063
    else:
        x = -2.0064e9 / kelvin**3 + 1.9018e6 / kelvin**2 + 0.24748e3 / kelvin + 0.237040
    return np.array([x, -3.000 * x**2 + 2.870 * x - 0.275])


def white_rgb(kelvin: float, locus: str | None = None) -> np.ndarray:
    """
    Return the (3,) linear RGB of a white, of luminance 1.

    Parameters
    ----------
    kelvin : float
        1000 to 25,000. [K]
    locus : "planckian", "daylight" or None
        None takes the black body below 4000 K and daylight from there up (own choice).

    Notes
    -----
    Below about 1900 K a black body has less blue than any mixture of the primaries; blue is then 0.
    """
    locus = locus or ("daylight" if kelvin >= DAYLIGHT_FROM_K else "planckian")
    x, y = daylight_xy(kelvin) if locus == "daylight" else planckian_xy(kelvin)
    rgb = np.maximum(XYZ_TO_RGB @ [x / y, 1.0, (1 - x - y) / y], 0.0)
    return rgb / luminance(rgb)
