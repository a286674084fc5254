"""
Contrast of a shaft: how plainly the light of one lamp through one opening stands in the picture.

Takes the lit set and a view; gives a figure for each lamp outside and each opening. Knows nothing of findings.

With L the luminance of a pixel and S the part of it that haze sends to the lens by scattering that shaft's light once:

    own pixels      where S adds at least `THRESHOLD` to what the lens would see without it, S >= 0.02 (L - S)
    contrast_stops  the mean of log2(L / (L - S)) over them
    frame_share     their share of the frame

Light that has bounced or scattered before belongs to no shaft: it is in L - S, as it would be if one could take away the
shaft alone.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from previz.camera.view import View
from previz.frames.hazed import hazed_frame, light_layers
from previz.light.colour import luminance
from previz.rays.lit import LitSet, relit
from previz.rays.packed import entries, pack_windows

THRESHOLD = 0.02
"""Contrast that an eye just sees in even surroundings (Koschmieder; AMS Glossary of Meteorology, "visual range")."""

READS = 0.05
"""Contrast at which a thing is told from its background for sure: the threshold of meteorological optical range (WMO-No. 8, Guide to Instruments, "visibility"; from memory)."""

LEAST_SHARE = 0.005
"""A shaft over less of the frame than this is a glint, not a shaft (own choice)."""

SIZE = (160, 90)
"""Of the picture that is looked at, columns and rows: shafts are wider than its pixels (own choice)."""

THICKER = (1.25, 1.5, 2.0, 3.0, 4.0)
"""How many times as thick haze is tried for a shaft that does not read (own choice)."""

_SAMPLES = dict(passes=2, lamp_samples=8, haze_samples=2)


@dataclass(frozen=True)
class Shaft:
    """
    The light of one lamp through one opening, in haze.

    lamp, opening              names; opening is None in a set whose openings are not known by name
    contrast_stops             over its own pixels; 0 where it has none [stops]
    frame_share                of the picture that it covers [1]
    times_threshold            its contrast over what an eye just sees [1]
    reads                      whether it is told from what is behind it for sure
    reads_at_extinction_per_m  fresh haze at which it does, found by lighting and looking anew; None where it reads, or none tried does [1/m]
    """

    lamp: str
    opening: str | None
    contrast_stops: float
    frame_share: float
    times_threshold: float
    reads: bool
    reads_at_extinction_per_m: float | None = None


def shafts(lit: LitSet, view: View, fresh_per_m: float, *, workers: int | None = None) -> list[Shaft]:
    """
    Return a `Shaft` for each lamp outside and each opening that is seen in `view`, plainest first.

    Parameters
    ----------
    lit : LitSet
        As it is at the roll.
    view : View
        All of it sharp; of `SIZE` or another small size.
    fresh_per_m : float
        Extinction right after the spray, which a remedy is told in. [1/m]
    """
    seen = list(_added(lit, view, workers))
    found = _measured(seen)
    # What gets no light at all gets none in thicker haze.
    alight = {(lamp, opening) for lamp, opening, _, own in seen if own.any()}
    for times in THICKER:
        dim = [key for key, shaft in found.items() if key in alight and not shaft.reads and shaft.reads_at_extinction_per_m is None]
        if not dim or lit.medium.extinction_per_m == 0:
            break
        thicker = relit(lit, medium=dataclasses.replace(lit.medium, extinction_per_m=times * lit.medium.extinction_per_m))
        tried = seen_shafts(thicker, view, workers, {opening for _, opening in dim})
        found |= {key: dataclasses.replace(found[key], reads_at_extinction_per_m=times * fresh_per_m) for key in dim if tried[key].reads}
    return sorted(found.values(), key=lambda shaft: (-shaft.contrast_stops * shaft.frame_share, shaft.lamp, shaft.opening or ""))


def seen_shafts(lit: LitSet, view: View, workers: int | None, only=None) -> dict[tuple[str, str | None], Shaft]:
    """Return, by lamp outside and opening, of all or of `only` some openings, what each adds to the picture; no other haze is tried."""
    return _measured(_added(lit, view, workers, only))


def _measured(added) -> dict[tuple[str, str | None], Shaft]:
    return {(lamp, opening): measured(lamp, opening, picture, own) for lamp, opening, picture, own in added}


def _added(lit: LitSet, view: View, workers: int | None, only=None):
    """Yield lamp outside, opening, and (rows, columns) of the whole picture and of what the two add to it. [cd/m2]"""
    picture = luminance(hazed_frame(lit, view, workers=workers, **_SAMPLES))
    for opening, one in _openings(lit).items():
        if only is not None and opening not in only:
            continue
        added = luminance(light_layers(one, view, workers=workers, once=True, **_SAMPLES).haze)
        yield from ((lamp.name, opening, picture, own) for lamp, inside, own in zip(lit.emitters, lit.lamps.inside, added) if not inside)


def _openings(lit: LitSet) -> dict[str | None, LitSet]:
    """Return the lit set with each opening as the only way in; chance falls as it does with all of them."""
    if not lit.closed_form:
        return {None: lit}
    ways = entries(lit.built.apertures, lit.rooms)
    names = dict.fromkeys(aperture.opening for aperture in ways)
    return {name: _through(lit, ways, name) for name in names}


def contrast_of(lit: LitSet, view: View, lamp: str, opening: str, workers: int | None = None) -> float:
    """Return the contrast of one lamp's shaft through one opening; 0 where the lamp stands inside or there is no such way in. [stops]"""
    one = alone_through(lit, opening)
    number = next((i for i, emitter in enumerate(lit.emitters) if emitter.name == lamp), None)
    if number is None or lit.lamps.inside[number]:
        return 0.0
    picture = luminance(hazed_frame(lit, view, workers=workers, **_SAMPLES))
    added = luminance(light_layers(one, view, workers=workers, once=True, **_SAMPLES).haze)
    return measured(lamp, opening, picture, added[number]).contrast_stops


def alone_through(lit: LitSet, opening: str) -> LitSet:
    """Return the lit set with one opening as the only way in, for the light that has scattered once."""
    return _through(lit, entries(lit.built.apertures, lit.rooms), opening) if lit.closed_form else lit


def _through(lit: LitSet, ways, opening: str) -> LitSet:
    return dataclasses.replace(lit, windows=pack_windows(tuple(a for a in ways if a.opening == opening), lit.windows.tints))


def measured(lamp: str, opening: str | None, picture: np.ndarray, added: np.ndarray) -> Shaft:
    """Return the shaft that adds `added` (rows, columns) to what is without it, both together `picture`. [cd/m2]"""
    without = np.maximum(picture - added, 1e-6 * picture)
    own = (added > 0) & (added >= THRESHOLD * without)
    share = float(own.mean())
    stops = float(np.log2(1 + added[own] / without[own]).mean()) if own.any() else 0.0
    contrast = 2.0**stops - 1
    return Shaft(lamp, opening, stops, share, contrast / THRESHOLD, contrast >= READS and share >= LEAST_SHARE)
