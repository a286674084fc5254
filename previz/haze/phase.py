"""
The phase function: which share of scattered light goes into each direction, as a table that the ray engine reads.

Two ways to say it, one way to keep it: the one-number function of Henyey and Greenstein, and droplets by Mie's theory
(`previz.haze.mie`). The table is even in a coordinate that has its nodes close together, in angle, straight on and
straight back, where both are steep, and that costs a loop over rays one square root.

cos_angle   cosine between the light's travel before and after scattering; 1 is straight on [1]
g           mean of cos_angle over all scattered light [1]
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from previz.haze.mie import droplet_phase

NODES = 2048
"""Intervals of a table: nodes lie 0.08 degrees apart at both ends, 0.11 in the middle."""

MOMENTS = 4


@dataclass(frozen=True, eq=False)
class Phase:
    """
    A phase function.

    table    (NODES + 1,) float32 at even steps of `coordinate` from 0 to 2, linear in between; its integral over the sphere is 1 [1/sr]
    moments  (MOMENTS,) Legendre moments of the table; the first is 1, the second is g
    """

    table: np.ndarray
    moments: np.ndarray

    def at(self, cos_angle) -> np.ndarray:
        """Return the phase function at `cos_angle`, as the ray engine reads it. [1/sr]"""
        place = coordinate(np.asarray(cos_angle, dtype=float)) * (NODES / 2)
        return np.interp(place, np.arange(NODES + 1), self.table)

    def cut_off(self, cos_angle: float) -> tuple["Phase", float]:
        """Return the function cut off level at its value at `cos_angle`, made to integrate to 1 again, and the share of light that the cut took away."""
        return _cut_off(self, float(cos_angle))


def coordinate(cos_angle):
    """Return where `cos_angle` lies in a table: sqrt(1 - cos) ahead, 2 - sqrt(1 + cos) behind; 0 to 2."""
    root = np.sqrt(np.maximum(0.0, 1 - abs(cos_angle)))
    return np.where(cos_angle >= 0, root, 2 - root)


def cosine(place):
    """Return the cosine at `place` (0 to 2) of a table, the inverse of `coordinate`."""
    return np.where(place <= 1, 1 - place**2, (2 - place) ** 2 - 1)


@lru_cache(maxsize=16)
def one_lobe(g: float) -> Phase:
    """Return the phase function of Henyey and Greenstein with mean cosine `g`."""
    return _tabulated(henyey_greenstein(cosine(_places()), g))


@lru_cache(maxsize=16)
def of_droplets(diameter_um: float, spread: float, index: float) -> Phase:
    """Return the phase function of a mixture of droplets; see `previz.haze.mie.droplet_phase`."""
    return _tabulated(droplet_phase(cosine(_places()), diameter_um, spread, index))


@lru_cache(maxsize=16)
def _cut_off(phase: Phase, cos_angle: float) -> tuple[Phase, float]:
    level = np.minimum(phase.table, phase.at(cos_angle)).astype(np.float64)
    return _tabulated(level), 1 - float(_moments(level, 1)[0])


def _places() -> np.ndarray:
    return np.linspace(0.0, 2.0, NODES + 1)


def _tabulated(values: np.ndarray) -> Phase:
    """Return the table of `values` (NODES + 1,), made to integrate to 1 as it is read, and its moments."""
    table = values / _moments(values, 1)[0]
    return Phase(table.astype(np.float32), _moments(table, MOMENTS))


def _moments(table: np.ndarray, count: int) -> np.ndarray:
    """Return the first `count` Legendre moments of a table, over the sphere, exact for its straight pieces."""
    at, weight = np.polynomial.legendre.leggauss(5)
    share = (1 + at) / 2
    place = (np.arange(NODES)[:, None] + share) * (2 / NODES)
    value = table[:-1, None] * (1 - share) + table[1:, None] * share
    # |d cos / d place| is twice the distance to the nearer end.
    measure = 2 * np.pi * 2 * np.minimum(place, 2 - place) * weight / NODES
    return np.array([np.sum(value * measure * np.polynomial.Legendre.basis(order)(cosine(place))) for order in range(count)])


def henyey_greenstein(cos_angle, g: float):
    """
    Return the share of scattered light that goes into each direction, per steradian.

    Parameters
    ----------
    cos_angle : float or (...) float array
        Cosine between travel before and after scattering; 1 is straight on. [1]
    g : float
        Mean cosine, more than -1 and less than 1. [1]

    Returns
    -------
    float or (...) float array
        Phase function; its integral over the sphere is 1. [1/sr]

    Notes
    -----
    ``p = (1 - g^2) / (4 pi (1 + g^2 - 2 g cos)^1.5)``

    References
    ----------
    L. G. Henyey and J. L. Greenstein, Astrophys. J. 93, 70 (1941), as cited by the AMS Glossary of Meteorology,
    "Henyey-Greenstein phase function" (seen: reference, and that g is the asymmetry factor; formula from memory).
    """
    spread = 1 + g * g - 2 * g * cos_angle
    return (1 - g * g) / (4 * np.pi * spread * np.sqrt(spread))
