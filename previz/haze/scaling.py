"""
Forward-peaked scattering made tractable: the delta-M scaling of a medium.

Haze sends most light almost straight on. What stays within a narrow forward peak is counted as not scattered at all,
and the rest is described by its first moments, which spherical harmonics carry exactly.

Knows nothing of rays. Used for light that has scattered more than once; the single scattering of lamps keeps the whole
phase function, on legs of the scaled extinction.

References
----------
W. J. Wiscombe, "The delta-M method", J. Atmos. Sci. 34, 1408 (1977); J. H. Joseph, W. J. Wiscombe and J. A. Weinman, "The
delta-Eddington approximation", J. Atmos. Sci. 33, 2452 (1976); T. Nakajima and M. Tanaka, J. Quant. Spectrosc. Radiat.
Transfer 40, 51 (1988), for exact single scattering on scaled legs. All three from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from previz.haze.medium import Medium

ORDER = 2


@dataclass(frozen=True)
class Scaled:
    """
    A medium whose forward peak counts as not scattered.

    extinction_per_m  [1/m]
    albedo            scattering / extinction [1]
    moments           (ORDER + 1,) Legendre moments of what is left of the phase function; the first is 1
    """

    extinction_per_m: float
    albedo: float
    moments: np.ndarray


def scaled(medium: Medium) -> Scaled:
    """
    Return `medium` with its forward peak taken out.

    Notes
    -----
    With f the moment after the last that is kept, m_(ORDER + 1): ``extinction' = (1 - albedo f) extinction``,
    ``albedo' = albedo (1 - f) / (1 - albedo f)`` and ``moment_l' = (m_l - f) / (1 - f)``. Haze that scatters backwards
    has no forward peak: f = 0. For Henyey and Greenstein ``m_l = g^l``.
    """
    phase = medium.phase.moments
    peak = max(float(phase[ORDER + 1]), 0.0)
    left = 1 - medium.albedo * peak
    moments = (phase[: ORDER + 1] - peak) / (1 - peak)
    return Scaled(medium.extinction_per_m * left, medium.albedo * (1 - peak) / left, moments)
