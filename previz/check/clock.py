"""
The haze clock: from the spray to air too thin, when shafts read, how many takes fit, when to spray again.

Takes a lit set, a shot, its move and its plainest shaft; gives a `Clock`, and a finding. Each time on it is a picture: the
set is lit anew in the haze that is left, bounce light included, and looked at small; in between a monotone curve is laid
through what was seen (PCHIP; F. N. Fritsch and R. E. Carlson, SIAM J. Numer. Anal. 17, 1980, 238). Nothing is concluded
from the density alone. Without a half-life the haze stands, and there is no clock.

    reads    the plainest shaft's contrast, over all pixels that are its own in fresh haze, is what tells a thing from its
             background (`check.shaft`), counted above what the camera can show of black at the shot's exposure
    faded    it has less than half the stops of contrast that it had at its best: such takes do not cut together
    usable   it reads and is not faded, and the air is not milky
    milky    more than half of what the lens sees where the subject is comes from haze that is lit, but no shaft
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from previz.camera.exposure import effective_stop, luminance_metered
from previz.check.finding import Finding, rule
from previz.check.meter import showing
from previz.check.shaft import LEAST_SHARE, READS, THRESHOLD, Shaft, alone_through, shafts as shafts_of
from previz.check.text import number
from previz.frames.along import lit_at_moment
from previz.frames.hazed import light_layers
from previz.frames.still import lit_at_roll, view_of
from previz.light.colour import luminance

SIZE = (80, 45)
"""Of the pictures that are looked at, columns and rows (own choice)."""

MOST_HALF_LIVES = 8
"""A hair of 1/256 of the haze is left then; a shaft that still reads is given no longer."""

MILKY = 0.5
"""Share of veil from which a picture is milky: half the subject's contrast, a stop, is gone (own choice)."""

FADED = 0.5
"""Share of its best contrast, in stops, from which on a shaft has faded (own choice)."""

BLACK_STOPS = 6.0
"""So far under the mid-tone a frame's shadows drown in noise (common practice)."""

_SAMPLES = dict(passes=2, lamp_samples=8, haze_samples=2)
_FAINT = 1e-6


@dataclass(frozen=True)
class Clock:
    """
    One shot by the clock, from the spray on.

    lamp, opening            of the shaft that is looked at
    after_spray_s            (k,) times that were looked at [s]
    contrast_stops           (k,) of the shaft there [stops]
    veil                     (k,) share of what is seen of the subject that is lit haze, no shaft [1]
    times_s, curve           (n,) times, and how far the contrast is over what is enough, laid through: 0 is just enough [s], [stops]
    usable_from_s, usable_to_s   None where it never is [s]
    takes                    that fit, with the time to reset between them
    spray_again_s            from when on a take would not end in time; None where none fits [s]
    """

    lamp: str
    opening: str | None
    after_spray_s: np.ndarray
    contrast_stops: np.ndarray
    veil: np.ndarray
    times_s: np.ndarray
    curve: np.ndarray
    usable_from_s: float | None
    usable_to_s: float | None
    takes: int
    spray_again_s: float | None


def clock(lit, shot, move, shafts: tuple[Shaft, ...], *, workers: int | None = None) -> Clock | None:
    """
    Return the clock of a shot; None where the haze stands, or no shaft crosses the frame.

    Parameters
    ----------
    lit : LitSet
        As the scene has it.
    shafts : sequence of Shaft
        Of the shot, plainest first.
    """
    rolled = lit_at_roll(lit, shot)
    half_life = rolled.scene.haze.half_life
    if half_life is None or not rolled.emitters:
        return None
    best = _plainest(shafts) or _plainest(_in_fresh_haze(lit, shot, move, workers))
    if best is None:
        return None
    looks = {}

    def seen(after_s: float) -> tuple[float, float, float]:
        looks[after_s] = _look(lit, shot, move, best, after_s, workers)
        return figures()[after_s]

    def figures() -> dict:
        own = looks[0.0].own
        contrast = {after_s: look.over(own) for after_s, look in looks.items()}
        enough = max(READS, 2.0 ** (FADED * max(contrast.values())) - 1)
        return {after_s: (math.log2(max(2.0**stops - 1, _FAINT) / enough), stops, looks[after_s].veil) for after_s, stops in contrast.items()}

    for count in range(MOST_HALF_LIVES + 1):
        if seen(count * half_life)[0] < 0 and count:
            break
    # One more picture where the curve crosses, which is what is asked.
    end = _window(figures())[3]
    if end is not None and min(abs(end - t) for t in looks) > half_life / 16:
        seen(end)
    told = figures()
    times, curve, first, last = _window(told)
    takes, again = takes_that_fit(first, last, shot.take_s, shot.reset)
    at = np.array(sorted(told))
    of = np.array([told[t] for t in at])
    return Clock(best.lamp, best.opening, at, of[:, 1], of[:, 2], times, curve, first, last, takes, again)


def _plainest(shafts) -> Shaft | None:
    return next((shaft for shaft in shafts if shaft.frame_share > 0), None)


def _in_fresh_haze(lit, shot, move, workers) -> list[Shaft]:
    """Look at the shafts as they are right after the spray, where they are gone at the roll."""
    fresh = lit_at_moment(lit_at_roll(lit, shot.model_copy(update={"start_after": 0.0})), move, move.take_s / 2)
    if fresh.medium.extinction_per_m == 0:
        return []
    return shafts_of(fresh, view_of(fresh, move, move.take_s / 2, SIZE), fresh.medium.extinction_per_m, workers=workers)


def takes_that_fit(first: float | None, last: float | None, take_s: float, reset_s: float) -> tuple[int, float | None]:
    """Return how many takes fit between two times, with a reset between them, and the last time to roll; None where none fits. [s]"""
    if first is None or last - first < take_s:
        return 0, None
    return math.floor((last - first + reset_s) / (take_s + reset_s) + 1e-9), last - take_s


@dataclass(frozen=True)
class _Look:
    """A picture at one time: all its light and the shaft's part of it, (rows, columns) [cd/m2]; black of the camera [cd/m2]; veil [1]."""

    picture: np.ndarray
    added: np.ndarray
    black: float
    veil: float

    @property
    def own(self) -> np.ndarray:
        """(rows, columns) bool: where the shaft is just seen."""
        return self.added >= THRESHOLD * np.maximum(self.picture - self.added, _FAINT)

    def over(self, own) -> float:
        """Return the contrast over pixels that are the shaft's; of too few of them it is none. [stops]"""
        without = np.maximum(self.picture - self.added, 0) + self.black
        return float(np.log2(1 + self.added[own] / without[own]).mean()) if own.mean() >= LEAST_SHARE else 0.0


def _look(lit, shot, move, best: Shaft, after_s: float, workers) -> _Look:
    """Light the set in the haze that is left, and look at the middle of the take."""
    then = lit_at_moment(lit_at_roll(lit, shot.model_copy(update={"start_after": after_s})), move, move.take_s / 2)
    view = view_of(then, move, move.take_s / 2, SIZE)
    layers = light_layers(then, view, workers=workers, **_SAMPLES)
    once = light_layers(then, view, workers=workers, once=True, **_SAMPLES).haze
    own = light_layers(alone_through(then, best.opening), view, workers=workers, once=True, **_SAMPLES).haze if best.opening else once
    picture = luminance((layers.direct + layers.bounce + layers.haze).sum(axis=0))
    lamp = [emitter.name for emitter in then.emitters].index(best.lamp)
    stop = effective_stop(then.scene.lens, shot, float(move.focus_mm(move.take_s / 2)[0]))
    black = float(luminance_metered(shot.iso, stop, shot.exposure_s)) * 2.0**-BLACK_STOPS
    return _Look(picture, luminance(own[lamp]), black, _veil(then, view, shot, picture, luminance(layers.haze.sum(axis=0)), luminance(once.sum(axis=0))))


def _veil(lit, view, shot, picture, haze, shafts) -> float:
    """Return the share of what is seen of the subject, else of the frame, shafts apart, that is lit haze. [1]"""
    where = showing(lit, view, lit.built.part_named(shot.subject_name)) if shot.subject_name else np.zeros(picture.shape, bool)
    where = where if where.any() else np.ones(picture.shape, bool)
    rest = (picture - shafts)[where].mean()
    return float(np.clip((haze - shafts)[where].mean() / rest, 0, 1)) if rest > 0 else 0.0


def _window(seen: dict):
    """Return times, the curve over what reads, and the first stretch that is usable, from and to, None where none is. [s], [stops]"""
    at = np.array(sorted(seen))
    figures = np.array([seen[t] for t in at])
    times = np.linspace(0, at[-1], 4001)
    from scipy.interpolate import PchipInterpolator  # slow to load, and only haze that fades asks

    curve = PchipInterpolator(at, figures[:, 0])(times)
    good = np.concatenate([[False], (curve >= 0) & (PchipInterpolator(at, figures[:, 2])(times) <= MILKY), [False]])
    edges = np.flatnonzero(np.diff(good.astype(int))).reshape(-1, 2)
    if not len(edges):
        return times, curve, None, None
    return times, curve, float(times[edges[0, 0]]), float(times[edges[0, 1] - 1])


@rule("haze clock")
def haze_clock(study):
    """When to roll after the spray, and when to spray again."""
    for taken in study.shots:
        found, shot = taken.clock, taken.shot
        if found is None:
            continue
        about = f"shot {shot.name}"
        if found.usable_from_s is None:
            milky = "the air is milky while they do" if (found.curve >= 0).any() else "they do not read"
            yield Finding("care", about, f"At no time after the spray are the shafts good to shoot: {milky}.", _milky(study) if "milky" in milky else "Spray thicker, or let the shaft cross something darker.")
            continue
        first, last = math.ceil(found.usable_from_s), math.floor(found.usable_to_s)
        window = f"Shafts read from {first} to {last:,} s after the spray"
        if not found.takes:
            yield Finding("care", about, f"{window}, too short for the take of {number(shot.take_s)} s.", "Spray thicker, or keep the air still so that the haze lasts longer.")
        elif shot.start_after < found.usable_from_s - 0.5:
            yield Finding("care", about, f"{window}: {number(shot.start_after)} s after it the air is still milky.", f"Set start_after = {first}.")
        elif shot.start_after > found.spray_again_s + 0.5:
            yield Finding("care", about, f"{window}: rolled after {number(shot.start_after)} s the take ends too late.", f"Set start_after = {math.floor(found.spray_again_s)} or less.")
        else:
            yield Finding("ok", about, f"{window}: {found.takes} take{'s' if found.takes > 1 else ''} of {number(shot.take_s)} s fit, {number(shot.reset)} s apart; spray again from {math.floor(found.spray_again_s):,} s on.")


def _milky(study) -> str:
    return f"Spray thinner, half of {number(study.fresh_extinction_per_m, 2)} per metre say, and darken the walls: it is their light that fills the air."
