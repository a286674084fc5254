"""
Curves over a take: clearance, focus and what is sharp, contrast of the plainest shaft, haze.

Takes the lit set and what the study found of a shot; gives plain values at even moments. Each is asked of the same functions
as the report's figure; only in between the moments that contrast was looked at is a monotone curve laid (PCHIP, as for the haze
clock).
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import PchipInterpolator

from previz.camera.depth import limits
from previz.camera.exposure import stop_used
from previz.camera.lens import inverse_p
from previz.check import shaft
from previz.check.fit import CLEAR_MM
from previz.check.study import Taken
from previz.frames.along import lit_at_moment
from previz.frames.still import lit_at_roll, view_of
from previz.haze.medium import extinction_at
from previz.rays.lit import LitSet
from previz.rig.clearance import clearance_at

MOMENTS = 61
"""Of a take; evenly spread (own choice)."""

LOOKS = 5
"""Of them, at which a picture is looked at for contrast (own choice)."""


def curves(lit: LitSet, taken: Taken, *, workers: int | None = None) -> dict:
    """
    Return the curves of one shot.

    Parameters
    ----------
    lit : LitSet
        In fresh haze, as the file has it.
    taken : Taken
        The shot's figures.

    Returns
    -------
    dict
        take_s; clearance_mm, the moment of the report's among its moments; focus_mm, near_mm, far_mm; contrast_stops, None where no
        shaft is seen; extinction_per_m; usable_from_s, usable_to_s after the spray, None without a clock; care_under_mm,
        less clearance than which asks for care. (n,) each. [s], [mm], [stops], [1/m]
    """
    rolled, move, shot = lit_at_roll(lit, taken.shot), taken.move, taken.shot
    scene = rolled.scene
    take_s = np.linspace(0, move.take_s, MOMENTS)
    if taken.clearance is not None:
        take_s = np.unique(np.append(take_s, taken.clearance.at_take_s))
    focus = move.focus_mm(take_s)
    near, far = limits(scene.lens.focal, stop_used(scene.lens, shot), scene.body.coc_mm, focus, inverse_p(scene.lens))
    return {
        "take_s": take_s,
        "clearance_mm": clearance_at(lit.built, scene, move, take_s) if taken.clearance is not None else [None] * len(take_s),
        "focus_mm": focus,
        "near_mm": near,
        "far_mm": far,
        "contrast_stops": _contrast(rolled, taken, take_s, workers),
        "extinction_per_m": [extinction_at(scene.haze, shot.start_after + t) for t in take_s],
        "usable_from_s": taken.clock and taken.clock.usable_from_s,
        "usable_to_s": taken.clock and taken.clock.usable_to_s,
        "care_under_mm": CLEAR_MM,
    }


def _contrast(rolled: LitSet, taken: Taken, take_s: np.ndarray, workers: int | None) -> list:
    """The contrast of the shaft that is plainest in the middle of the take, in the haze of the roll as in the report. [stops]"""
    best = next((one for one in taken.shafts if one.frame_share > 0 and one.opening is not None), None)
    if best is None:
        return [None] * len(take_s)
    looked = np.linspace(0, taken.move.take_s, LOOKS) if taken.move.changes else np.array([taken.move.take_s / 2])
    stops = []
    for t in looked:
        lit = lit_at_moment(rolled, taken.move, t)
        stops.append(shaft.contrast_of(lit, view_of(lit, taken.move, t, shaft.SIZE), best.lamp, best.opening, workers))
    return list(PchipInterpolator(looked, stops)(take_s)) if len(looked) > 1 else stops * len(take_s)
