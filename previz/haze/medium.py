"""
Haze: how the air in the set dims light and scatters it towards the lens.

Takes the scene's haze, the rooms' air and the seconds since the spray; gives the medium that the rays pass through.
Knows nothing of lamps, files or frames.

extinction   sigma_t, absorption plus scattering [1/m]
albedo       scattering / extinction [1]
g            mean cosine between the light's travel before and after scattering; positive is forward [1]
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from previz.build.built import BuiltSet, Cell
from previz.haze.phase import Phase, of_droplets, one_lobe
from previz.scene.model import Droplets, Haze, Scene

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
    droplets          whose phase function it is; None for that of Henyey and Greenstein
    """

    extinction_per_m: float
    albedo: float
    g: float
    cells: tuple[Cell, ...]
    droplets: Droplets | None = None

    @property
    def scattering_per_m(self) -> float:
        """The part of the extinction that scatters: albedo * extinction. [1/m]"""
        return self.albedo * self.extinction_per_m

    @property
    def phase(self) -> Phase:
        """Which share of scattered light goes into each direction."""
        return one_lobe(self.g) if self.droplets is None else _phase_of(self.droplets)


def medium_at(scene: Scene, built: BuiltSet, after_spray_s: float = 0.0) -> Medium:
    """
    Return the medium at `after_spray_s` seconds after the spray. [s]

    Haze thins evenly, by half in each half-life; a scene without one keeps it. It fills the rooms' air,
    or the box that the scene gives, rooms or not.
    """
    haze = scene.haze
    extinction = extinction_at(haze, after_spray_s)
    cells = built.cells if haze.fills == "rooms" else (_box(*haze.fills),)
    g = haze.g if haze.droplets is None else float(_phase_of(haze.droplets).moments[1])
    return Medium(extinction, haze.albedo, g, cells, haze.droplets)


def _phase_of(droplets: Droplets) -> Phase:
    return of_droplets(droplets.diameter, droplets.spread, droplets.index)


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


def _box(one, other) -> Cell:
    """Return the cell between two corners, in any order. [mm]"""
    low, high = np.minimum(one, other), np.maximum(one, other)
    sides = np.vstack([-np.eye(3), np.eye(3)])
    return Cell("haze box", np.column_stack([sides, np.concatenate([-low, high])]))
