"""
Haze: how the air in the set dims light and scatters it towards the lens.

Takes the scene's haze, the rooms' air and the seconds since the spray; gives the medium that the rays pass through.
Knows nothing of lamps, files or frames.

extinction   sigma_t, absorption plus scattering [1/m]
albedo       scattering / extinction [1]
cos_angle    cosine between the light's travel before and after scattering [1]
g            mean of cos_angle over all scattered light; positive is forward [1]
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from previz.build.built import BuiltSet, Cell
from previz.scene.model import Haze, Scene

KOSCHMIEDER = 3.912
"""ln 50: visibility times extinction, at a contrast of 2 % (AMS Glossary of Meteorology, "visual-range formula")."""

DEFAULT_EXTINCTION_PER_M = 0.8
"""Where the scene gives neither extinction nor visibility: shafts show plainly across a set of 300 mm, which loses a fifth of its light (own choice)."""


@dataclass(frozen=True)
class Medium:
    """
    The air in the set at one moment.

    extinction_per_m  the same in all of `cells`; 0 where the air is clear [1/m]
    albedo            share of the light taken from a ray that is scattered, not absorbed [1]
    g                 mean cosine of scattering [1]
    cells             convex pieces of space that the haze fills; outside them the air is clear
    """

    extinction_per_m: float
    albedo: float
    g: float
    cells: tuple[Cell, ...]

    @property
    def scattering_per_m(self) -> float:
        """The part of the extinction that scatters: albedo * extinction. [1/m]"""
        return self.albedo * self.extinction_per_m


def medium_at(scene: Scene, built: BuiltSet, after_spray_s: float = 0.0) -> Medium:
    """
    Return the medium at `after_spray_s` seconds after the spray. [s]

    Haze thins evenly, by half in each half-life; a scene without one keeps it. It fills the rooms' air,
    or the box that the scene gives, rooms or not.
    """
    haze = scene.haze
    extinction = extinction_at(haze, after_spray_s)
    cells = built.cells if haze.fills == "rooms" else (_box(*haze.fills),)
    return Medium(extinction, haze.albedo, haze.g, cells)


def extinction_at(haze: Haze, after_spray_s: float = 0.0) -> float:
    """
    Return the extinction of `haze`, `after_spray_s` seconds after the spray. [s] -> [1/m]

    Notes
    -----
    Fresh haze has the extinction given, else ``3.912 / visibility`` (Koschmieder), else `DEFAULT_EXTINCTION_PER_M`.
    It falls as ``2^(-t / half_life)``: a well-mixed box that loses a fixed share of its air in each second.
    """
    fresh = haze.extinction
    if fresh is None:
        fresh = DEFAULT_EXTINCTION_PER_M if haze.visibility is None else KOSCHMIEDER / haze.visibility
    return fresh if haze.half_life is None else fresh * 2.0 ** (-after_spray_s / haze.half_life)


def henyey_greenstein(cos_angle, g: float):
    """
    Return the share of scattered light that goes into each direction, per steradian.

    The ray engine compiles this very function for its loops.

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


def _box(one, other) -> Cell:
    """Return the cell between two corners, in any order. [mm]"""
    low, high = np.minimum(one, other), np.maximum(one, other)
    sides = np.vstack([-np.eye(3), np.eye(3)])
    return Cell("haze box", np.column_stack([sides, np.concatenate([-low, high])]))
