"""
Ways to more light: what would bring the stops that a shot lacks, each worked out anew.

Takes the lit set and a meter on the shot's subject; gives what each change buys. Nothing here is a rule of thumb: a
stop, a shutter or a frame rate goes through the exposure's own equations, a lamp or thicker haze is lit and metered again.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from previz.camera.exposure import effective_stop, iso_needed, stop_used
from previz.rays.lit import LitSet, relit
from previz.scene.model import Lens, Seconds, Shot

MARKED = (1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0, 45.0)
"""Whole stops as lenses mark them (ISO 517; from memory)."""

CLEAR_MM = 50.0
"""Nearer than this to the set a lamp is not brought (own choice: room for a stand's head, and for heat)."""

WORTH_STOPS = 0.1
"""What buys less is not worth a change (own choice)."""

_STEPS = 6
_THICKER = (1.5, 2.0)


@dataclass(frozen=True)
class Way:
    """
    One change and what it buys.

    change      "lamp", "stop", "shutter", "fps" or "haze"
    of          the lamp's name, else None
    to          the lamp's place [x, y, z] [mm]; f-number; degrees; frames a second; fresh extinction [1/m]
    by_mm       how much nearer the lamp comes, else None [mm]
    buys_stops  over the shot as it is [stops]
    enough      whether it alone brings the ISO down to what the maker accepts
    """

    change: str
    of: str | None
    to: float | tuple[float, float, float]
    by_mm: float | None
    buys_stops: float
    enough: bool


def ways(lit: LitSet, shot: Shot, focus_mm: float, over: float, meter: Callable[[LitSet], float], fresh_per_m: float) -> list[Way]:
    """
    Return what would bring `over` stops [stops], what is enough alone first, then what buys most.

    Parameters
    ----------
    lit : LitSet
        As it is at the roll.
    focus_mm : float
        Focused distance when metered. [mm]
    meter : callable
        Luminance of the subject in a lit set like this one. [cd/m2]
    fresh_per_m : float
        Extinction right after the spray. [1/m]
    """
    now = meter(lit)
    found = [*_of_the_camera(lit.scene.lens, shot, focus_mm, over), *_lamp_nearer(lit, over, now, meter), *_thicker_haze(lit, now, meter, fresh_per_m)]
    told = [Way(change, of, to, by, bought, bought >= over - 1e-6) for change, of, to, by, bought in found if bought >= WORTH_STOPS]
    return sorted(told, key=lambda way: (not way.enough, -way.buys_stops))


def _of_the_camera(lens: Lens, shot: Shot, focus_mm: float, over: float):
    """The stop, the shutter and the frame rate: the smallest change that is enough, else the largest that there is."""

    def bought(**change) -> float:
        isos = (float(iso_needed(1.0, effective_stop(lens, s, focus_mm), s.exposure_s)) for s in (shot, shot.model_copy(update=change)))
        return math.log2(next(isos) / next(isos))

    wider = [*(mark for mark in reversed(MARKED) if lens.widest < mark < stop_used(lens, shot)), lens.widest]
    stop = next((mark for mark in wider if bought(stop=mark) >= over), lens.widest)
    yield "stop", None, stop, None, bought(stop=stop)
    if not isinstance(shot.shutter, Seconds):
        degrees = min(360.0, math.ceil(shot.shutter * 2**over))
        yield "shutter", None, degrees, None, bought(shutter=degrees)
    fps = max(min(shot.playback, shot.fps), math.floor(shot.fps * 2**-over))
    yield "fps", None, fps, None, bought(fps=fps)


def _lamp_nearer(lit: LitSet, over: float, now: float, meter):
    """The lamp outside that gains most by coming nearer along its beam: as near as is enough, else as near as it may come."""
    best = None
    for index, emitter in enumerate(lit.emitters):
        reach = _may_come(lit, emitter)
        if lit.lamps.inside[index] or reach <= 0:
            continue
        gained = _stops(meter(_moved(lit, index, reach)), now)
        best = max(best or (gained, index, reach), (gained, index, reach))
    if best is None or best[0] < WORTH_STOPS:
        return
    gained, index, far = best
    near = 0.0
    if gained > over:
        for _ in range(_STEPS):
            middle = (near + far) / 2
            at = _stops(meter(_moved(lit, index, middle)), now)
            near, far, gained = (near, middle, at) if at >= over else (middle, far, gained)
    emitter = lit.emitters[index]
    yield "lamp", emitter.name, tuple(float(x) for x in np.round(emitter.centre + far * emitter.normal)), float(far), gained


def _may_come(lit: LitSet, emitter) -> float:
    """Return how far a lamp may come along its beam before it is `CLEAR_MM` from a box around the set; 0 where it is as near. [mm]"""
    low, high = lit.built.bounds
    radius = float(np.linalg.norm(emitter.half_u) + np.linalg.norm(emitter.half_v))
    low, high = low - CLEAR_MM - radius, high + CLEAR_MM + radius
    with np.errstate(divide="ignore", invalid="ignore"):
        sides = np.array([low - emitter.centre, high - emitter.centre]) / emitter.normal
    enter, leave = np.nanmin(sides, axis=0).max(), np.nanmax(sides, axis=0).min()
    return float(enter) if 0 < enter < leave and math.isfinite(enter) else 0.0


def _moved(lit: LitSet, index: int, by_mm: float) -> LitSet:
    emitter = lit.emitters[index]
    nearer = dataclasses.replace(emitter, centre=emitter.centre + by_mm * emitter.normal)
    return relit(lit, lamps=(*lit.emitters[:index], nearer, *lit.emitters[index + 1 :]))


def _thicker_haze(lit: LitSet, now: float, meter, fresh_per_m: float):
    """Thicker haze, where it helps: it veils the subject with light, and takes light from it."""
    if lit.medium.extinction_per_m <= 0:
        return
    tried = [(_stops(meter(_hazier(lit, times)), now), times) for times in _THICKER]
    bought, times = max(tried)
    yield "haze", None, times * fresh_per_m, None, bought


def _hazier(lit: LitSet, times: float) -> LitSet:
    return relit(lit, medium=dataclasses.replace(lit.medium, extinction_per_m=times * lit.medium.extinction_per_m))


def _stops(luminance: float, before: float) -> float:
    return math.log2(luminance / before) if luminance > 0 and before > 0 else -math.inf
