"""
The one place where millimetres become metres.

Geometry is in millimetres; photometry is SI. Nothing else in previz converts between the two.

    candela / mm^2 -> lux         times `LUX_PER_CANDELA_MM2`: illuminance is I cos / d^2 with d in metres
    candela / mm^2 -> cd/m^2      the same factor: luminance of a face is I / area
    1 / m          -> 1 / mm      `per_mm`, for extinction along a ray that is measured in millimetres
"""

from __future__ import annotations

MM_PER_M = 1000.0
LUX_PER_CANDELA_MM2 = MM_PER_M**2


def per_mm(per_m):
    """Return a coefficient, or an array of them, per millimetre. [1/m] -> [1/mm]"""
    return per_m / MM_PER_M


def metres(mm):
    """Return a length, or an array of them, in metres. [mm] -> [m]"""
    return mm / MM_PER_M
