"""
Forward-peaked scattering made tractable: the delta-M scaling of a medium.

Haze sends most light almost straight on. What stays within a narrow forward peak is counted as not scattered at all.
Two widths of peak, for two kinds of way, and knows nothing of rays:

trimmed  ways that begin at a lamp or end at the lens. Lamps' light is narrow and a lens looks along one line, so where light
         goes matters: nearly all of the phase function is kept, whole.
scaled   ways in between, of light that has scattered or bounced and is spread wide: what is left of the phase function is described
         by its first moments, which spherical harmonics carry exactly.

A path's light is dimmed on each of its ways by the medium of that way, and its scattering belongs to the way that is the more
exact, so each loses what the other gains and no light is lost or counted twice. What haze sends to the lens of lamps'
light that it scatters once has the whole phase function, the peak included: lamps glare.

References
----------
W. J. Wiscombe, "The delta-M method", J. Atmos. Sci. 34, 1408 (1977); J. H. Joseph, W. J. Wiscombe and J. A. Weinman, "The
delta-Eddington approximation", J. Atmos. Sci. 33, 2452 (1976); T. Nakajima and M. Tanaka, J. Quant. Spectrosc. Radiat.
Transfer 40, 51 (1988), for exact single scattering on scaled legs; J. F. Potter, "The delta function approximation in
radiative transfer theory", J. Atmos. Sci. 27, 943 (1970), for the cut. All four from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from previz.haze.medium import Medium

ORDER = 2
TRIMMED_DEG = 12.0
"""What haze turns by less than this is not told apart from straight on: as far apart as the stored rays of a haze cell, and a cell seen across the room (own choice)."""


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


@dataclass(frozen=True)
class Trimmed:
    """
    A medium whose narrowest forward peak counts as not scattered, and what is left of its phase function whole.

    extinction_per_m  [1/m]
    albedo            scattering / extinction [1]
    table             (nodes,) float32: phase function, its integral over the sphere is 1; see `previz.haze.phase.Phase` [1/sr]
    """

    extinction_per_m: float
    albedo: float
    table: np.ndarray

    @property
    def scattering_per_m(self) -> float:
        """albedo * extinction. [1/m]"""
        return self.albedo * self.extinction_per_m


def trimmed(medium: Medium) -> Trimmed:
    """
    Return `medium` with its phase function cut off level within `TRIMMED_DEG` of straight on.

    Notes
    -----
    The share t above the cut counts as not scattered: ``extinction' = (1 - albedo t) extinction`` and ``albedo' = albedo (1 - t) / (1 - albedo t)``.
    """
    phase, share = medium.phase.cut_off(np.cos(np.radians(TRIMMED_DEG)))
    left = 1 - medium.albedo * share
    return Trimmed(medium.extinction_per_m * left, medium.albedo * (1 - share) / left, phase.table)


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
