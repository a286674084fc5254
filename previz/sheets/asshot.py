"""
Back from the bench: what was measured on the day goes into the scene, and the set is checked as it was really set up.

Takes a scene file, its built set and measured values; gives places worked out of them, the differences from the plan, what
changes in the file, and how the findings changed. Knows nothing of CSV.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from previz.build.built import BuiltSet
from previz.build.places import table_z
from previz.check.finding import Finding
from previz.rays.lit import relit
from previz.rays.readings import calibrations
from previz.scene.focusing import marks_of
from previz.scene.model import Reading, Scene
from previz.sheets.fields import aim, corners, heading, moved_lamps
from previz.sheets.filled import Measured

TAPE_MM = 5.0
"""Measures of one place that differ by more contradict each other (own choice: two pulls of a tape over a metre or two)."""
_PLAN_WEIGHT = 1e-4
"""By which the plan holds what was not measured: far too little to bend what was."""


@dataclass(frozen=True)
class Place:
    """
    One place, worked out from all its measures by least squares.

    name       "lamp.key", "rail.start"
    planned    (3,) [mm]
    at         (3,) [mm]
    residuals  what each measure is over what the place found gives, by the last part of its field's name [mm]
    """

    name: str
    planned: np.ndarray
    at: np.ndarray
    residuals: dict[str, float]

    @property
    def worst(self) -> tuple[str, float]:
        """The measure that fits worst, and by how much. [mm]"""
        return max(self.residuals.items(), key=lambda item: abs(item[1]))


@dataclass(frozen=True)
class Difference:
    """A field that was measured: planned and measured in its `unit`, and the difference; of lux in stops."""

    field: str
    planned: float
    measured: float
    difference: float
    unit: str


def place_found(name: str, planned, measured: dict[str, float], scene: Scene, built: BuiltSet) -> Place:
    """
    Return the place that measures give.

    Parameters
    ----------
    planned : (3,) array
        Where it should be: decides what was not measured, and on which side of two corners it lies. [mm]
    measured : dict
        By the last part of the field's name: "x", "z", "above table", "above floor", "from A" ... [mm]

    Returns
    -------
    Place
        Least squares over all measures (trilateration where they are tapes from corners).
    """
    planned, table = np.array(planned, float), table_z(scene, built)
    tapes = {f"from {letter}": corner for letter, corner in corners(scene, built).items()}
    level = {"above table": table, "above floor": table - scene.table.height}

    def over(at) -> np.ndarray:
        said = []
        for key, value in measured.items():
            if key in tapes:
                said.append(value - np.linalg.norm(at - tapes[key]))
            else:
                said.append(value - (at[2] - level[key] if key in level else at["xyz".index(key)]))
        return np.array(said)

    found = least_squares(lambda at: np.concatenate([over(at), _PLAN_WEIGHT * (at - planned)]), planned, xtol=1e-15, ftol=1e-15, gtol=1e-12).x
    return Place(name, planned, found, dict(zip(measured, over(found).tolist())))


@dataclass(frozen=True)
class AsShot:
    """
    The plan and what was measured.

    places  of lamps and of the rail's ends, in file order
    edits   (key path, value) of the new scene file
    """

    places: tuple[Place, ...]
    edits: tuple[tuple[tuple, object], ...]


def as_shot(scene: Scene, built: BuiltSet, measured: Iterable[Measured]) -> AsShot:
    """Return the places and the edits that measured values ask for."""
    groups: dict[tuple[str, str], dict[str, Measured]] = {}
    for one in measured:
        kind, name, rest = one.field.name.split(".", 2)
        groups.setdefault((kind, name), {})[rest] = one
    places, edits = [], []
    for i, opening in enumerate(scene.opening):
        edits += _opening(i, opening, {rest: one.value for rest, one in groups.get(("opening", opening.name), {}).items()})
    for i, lamp in enumerate(scene.lamp):
        found, changed = _lamp(i, lamp, groups.get(("lamp", lamp.name), {}), scene, built)
        places, edits = places + found, edits + changed
    for end, key in (("start", "from"), ("end", "to")):
        values = {rest: one.value for rest, one in groups.get(("rail", end), {}).items()}
        if values:
            places.append(place_found(f"rail.{end}", scene.slider.from_ if end == "start" else scene.slider.to, values, scene, built))
            edits.append((("slider", key), _rounded(places[-1].at)))
    for i, shot in enumerate(scene.shot):
        values = {rest: one.value for rest, one in groups.get(("shot", shot.name), {}).items()}
        edits += _shot(i, shot, values)
        for name, lamp in moved_lamps(scene, shot).items():
            stem = f"lamp.{name}."
            own = {rest.removeprefix(stem): value for rest, value in values.items() if rest.startswith(stem)}
            found, changed = _stood(("shot", i, "lamps", name), f"shot.{shot.name}.lamp.{name}", lamp, own, scene, built)
            places, edits = places + found, edits + changed
    return AsShot(tuple(places), tuple(edits))


def _lamp(i, lamp, group, scene, built) -> tuple[list[Place], list]:
    """Where a lamp stood, where it pointed, and what a meter read of it."""
    values = {rest: one.value for rest, one in group.items() if not rest.startswith("lux.")}
    places, edits = _stood(("lamp", i), f"lamp.{lamp.name}", lamp, values, scene, built)
    if lit := [{"at": _rounded(one.field.at), "lux": one.value} for rest, one in group.items() if rest.startswith("lux.")]:
        edits.append((("lamp", i, "measured"), lit))
    return places, edits


def _stood(path, name, lamp, values, scene, built) -> tuple[list[Place], list]:
    """Where a lamp stood and pointed; `path` is that of its table, or of a shot's changes of it."""
    turned = {key: values[key] for key in ("pan", "tilt") if key in values}
    measured = {key: value for key, value in values.items() if key not in turned}
    places = [place_found(name, lamp.at, measured, scene, built)] if measured else []
    at = np.array(_rounded(places[0].at if places else lamp.at))
    edits = [((*path, "at"), _rounded(at))] if places else []
    if turned:
        away = aim(lamp, built) - at
        pan, tilt = (np.radians(turned.get(key, planned)) for key, planned in zip(("pan", "tilt"), heading(away)))
        way = np.array([np.cos(pan) * np.cos(tilt), np.sin(pan) * np.cos(tilt), np.sin(tilt)])
        edits.append(((*path, "toward"), _rounded(at + np.linalg.norm(away) * way)))
    return places, edits


def _opening(i, opening, values) -> list:
    """Where it was cut, and how large."""
    edits = []
    for key, planned, names in (("at", opening.at, ("along", "up")), ("size", opening.size, ("width", "height"))):
        if any(name in values for name in names):
            edits.append((("opening", i, key), [values.get(name, one) for name, one in zip(names, planned)]))
    return [*edits, (("opening", i, "size"), values["diameter"])] if "diameter" in values else edits


_SHOT_KEYS = {"stop": "stop", "iso": "iso", "fps": "fps", "start after": "start_after", "white": "white", "focus": "focus"}


def _shot(i, shot, values) -> list:
    edits = [(("shot", i, key), values[name]) for name, key in _SHOT_KEYS.items() if name in values]
    if "shutter" in values:
        edits.append((("shot", i, "shutter"), values["shutter"] if isinstance(shot.shutter, float) else {"seconds": values["shutter"]}))
    for name, key, end in (("start", "from", shot.from_), ("end", "to", shot.to)):
        if name in values:
            edits.append((("shot", i, key), values[name]))
        elif any(f"{name} {axis}" in values for axis in "xyz"):
            edits.append((("shot", i, key), [values.get(f"{name} {axis}", planned) for axis, planned in zip("xyz", end)]))
    if "pan" in values or "tilt" in values:
        edits.append((("shot", i, "look"), {"pan": values.get("pan", shot.look.pan), "tilt": values.get("tilt", shot.look.tilt)}))
    if any(name.startswith("focus ") for name in values):
        marks = [{"at": values.get(f"focus {n} at", mark.at), "focus": values.get(f"focus {n}", _listed(mark.focus))} for n, mark in enumerate(marks_of(shot), start=1)]
        edits.append((("shot", i, "focus"), marks))
    if "lift start" in values or "lift end" in values:
        ends = [values.get(f"lift {name}", planned) for name, planned in zip(("start", "end"), shot.lift_ends)]
        edits.append((("shot", i, "lift"), ends if ends[0] != ends[1] else ends[0]))
    return edits


def _listed(value):
    return list(value) if isinstance(value, tuple) else value


def _rounded(point) -> list[float]:
    """To a hundredth of a millimetre, which no tape reads."""
    return [round(float(v), 2) + 0.0 for v in point]


def differences(lit, measured: Iterable[Measured]) -> tuple[Difference, ...]:
    """
    Return what differs from the plan, field by field.

    Parameters
    ----------
    lit : LitSet
        Of the plan: lux is worked out in it, in clear air.
    """
    measured = tuple(measured)
    lux = _planned_lux(lit, [one for one in measured if one.field.unit == "lux"])
    found = []
    for one in measured:
        planned = lux[one.field.name] if one.field.unit == "lux" else one.field.planned
        off, unit = one.value - planned, one.field.unit
        if unit == "deg":
            off = (off + 180) % 360 - 180
        elif unit in ("lux", "ISO", "f"):
            # A stop is a factor of two of light or ISO, of the square root of two of the f-number (ISO 517; from memory).
            off, unit = (2 if unit == "f" else 1) * math.log2(one.value / planned) if planned > 0 else math.inf, "stops"
        found.append(Difference(one.field.name, planned, one.value, off, unit))
    return tuple(found)


def _planned_lux(lit, measured: list[Measured]) -> dict[str, float]:
    """Return what a meter should read by the plan, for each field of lux. [lux]"""
    if not measured:
        return {}
    asked: dict[str, list[Measured]] = {}
    for one in measured:
        asked.setdefault(one.field.name.split(".")[1], []).append(one)
    readings = {lamp: tuple(Reading(at=one.field.at, lux=one.value) for one in group) for lamp, group in asked.items()}
    lamps = tuple(lamp.model_copy(update={"measured": readings.get(lamp.name, ())}) for lamp in lit.scene.lamp)
    clear = relit(replace(lit, scene=lit.scene.model_copy(update={"lamp": lamps})), medium=replace(lit.medium, extinction_per_m=0.0))
    return {one.field.name: float(lux) for found in calibrations(clear) for one, lux in zip(asked[found.lamp], found.computed)}


def contradictions(places: Iterable[Place]) -> list[Finding]:
    """Return a finding for each place whose measures do not fit each other."""
    found = []
    for place in places:
        key, off = place.worst
        if abs(off) > TAPE_MM:
            says = f'Its measures contradict each other: "{key}" is {abs(off):.1f} mm {"more" if off > 0 else "less"} than from the place that fits all of them best.'
            found.append(Finding("care", place.name.replace(".", " "), says, "Measure the place again, the tape straight and held to the corners of the set's floor."))
    return found


@dataclass(frozen=True)
class Change:
    """How a finding changed: "new", "gone" or "figures"; before and after, None where there is none."""

    how: str
    before: Finding | None
    after: Finding | None


def changed(before: list[Finding], after: list[Finding]) -> tuple[Change, ...]:
    """Return what changed between two lists of findings, which are told by what they say without its figures."""
    old = {_gist(one): one for one in before}
    new = {_gist(one): one for one in after}
    found = [Change("new", None, one) for key, one in new.items() if key not in old and one.level != "ok"]
    found += [Change("gone", one, None) for key, one in old.items() if key not in new and one.level != "ok"]
    found += [Change("figures", old[key], one) for key, one in new.items() if key in old and old[key] != one and one.level != "ok"]
    return tuple(found)


def _gist(finding: Finding) -> tuple[str, str, str]:
    return finding.level, finding.about, re.sub(r"[-+]?\d[\d.,]*", "#", finding.says)
