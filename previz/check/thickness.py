"""
How thick the haze is: what it leaves of the subject, and how far a picture through it can be trusted.

Takes a lit set and a shot, or a study; gives optical depths (extinction times length) and findings. Knows nothing of
lamps or of exposure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from previz.check.finding import Finding, rule
from previz.check.text import number
from previz.haze.medium import KOSCHMIEDER
from previz.light.units import per_mm
from previz.rays.kernels import haze_length

MATTERS = 0.5
"""Optical depth across the set from which light that scatters many times counts for much of the picture (own choice)."""

WITHIN_PERCENT = ((1.0, 5), (2.5, 10), (4.5, 15), (9.5, 40), (math.inf, 100))
"""Up to each optical depth across the set, how far a frame is from a path tracer's that follows light to the end.

Root mean square over blocks of a frame, in a room of reflectance 0.5 against Mitsuba's `volpath` (`tests/outside/test_renderer.py`
repeats the thinner ones). Measured, with what is left for other rooms: 3 % at 0.5 and 0.9, 4 % at 2.5, 8 % at 4.3, 34 % at 9.3, where frames
come out a quarter too bright. Thicker haze was not compared.
"""

SHOWS = 2.0
"""Optical depth to the subject that a remedy aims at: a seventh of its light comes through (own choice)."""


@dataclass(frozen=True)
class Thickness:
    """
    Optical depths of the haze when the camera rolls.

    across      along the longest side of the haze [1]
    to_subject  from the lens to what it focuses on, the greatest of the take [1]
    within      how far a frame may be off for it, as a share; None where the haze is too thin to matter [1]
    """

    across: float
    to_subject: float
    within: float | None


def thickness(lit, views, focus_mm) -> Thickness:
    """
    Return how thick the haze of `lit` is.

    Parameters
    ----------
    lit : LitSet
        At the roll.
    views : sequence of View
        Moments of the take.
    focus_mm : (moments,) float array
        Focused distance at each. [mm]
    """
    grid, extinction = lit.transport.grid, per_mm(lit.medium.extinction_per_m)
    across = extinction * float(np.max(grid.step * grid.shape))
    lengths = [haze_length(lit.air, *np.asarray(view.position, float), *np.asarray(view.forward, float), float(far)) for view, far in zip(views, focus_mm)]
    within = next(percent for most, percent in WITHIN_PERCENT if across <= most) / 100 if across > MATTERS else None
    return Thickness(across, extinction * max(lengths), within)


@rule("thick haze")
def thick_haze(study):
    """Can the subject be seen through it, and is the picture still right?"""
    for taken in study.shots:
        about, thick = f"shot {taken.shot.name}", taken.thickness
        if thick.to_subject > KOSCHMIEDER:
            yield Finding(
                "stop",
                about,
                f"The haze is so thick that nothing of the subject is seen: {number(100 * math.exp(-thick.to_subject), 1)} % of its light comes through.",
                _thinner(study.scene.haze, study.fresh_extinction_per_m * SHOWS / thick.to_subject),
            )
        if thick.within is not None:
            yield Finding(
                "care",
                about,
                f"Haze this thick (optical depth {number(thick.across, 2)} across the set): {_right(thick.within)}.",
                "Leave that much room in exposure and in how plainly a shaft shows, or shoot a test before the day.",
            )


def _right(within: float) -> str:
    return f"the picture is right to about {100 * within:.0f} %" if within < 1 else "it is thicker than any that pictures were checked in, so how bright they are is a guess"


def _thinner(haze, extinction_per_m: float) -> str:
    """Return the key and number that would do, in the words of the file, rounded to the thinner side."""
    if haze.visibility is not None:
        return f"Set visibility = {_rounded(KOSCHMIEDER / extinction_per_m, math.ceil)}, which lets a seventh of it through."
    return f"Set extinction = {_rounded(extinction_per_m, math.floor)}, which lets a seventh of it through."


def _rounded(value: float, whole) -> str:
    """Return `value` to two figures, up or down as `whole` says."""
    digits = 1 - math.floor(math.log10(value))
    return f"{whole(value * 10**digits) / 10**digits:.{max(digits, 0)}f}"
