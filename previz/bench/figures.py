"""
All figures of a scene for the page: the report, curves over each take, and where each finding points.

Takes the stage and a scene file; gives plain values. A finding points at the shot, the moment and the things that its own words name.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np

from previz.bench.curves import curves
from previz.bench.stage import Stage
from previz.build.places import place_of
from previz.check.finding import RULES
from previz.check.report import plain, report
from previz.check.study import Study, Taken, study_set
from previz.scene.read import SceneFile

_MOMENT = re.compile(r"([\d.,]+) s into the take")
_ROW = re.compile(r"-\d+$")


def figures_of(stage: Stage, file: SceneFile, progress: Callable[[float], None]) -> dict:
    """Return `report` (that of `previz check --json`), `curves` by shot and `points`, one for each finding; `progress` is called with the share done."""
    lit = stage.lit(file, progress=lambda share: progress(0.3 * share))
    study = study_set(lit, workers=stage.workers, watch=lambda label: lambda share: progress(0.3 + 0.6 * share))
    told = report(study)
    drawn = {taken.shot.name: curves(lit, taken, workers=stage.workers) for taken in study.shots}
    return {"report": told, "curves": plain(drawn), "points": [point_of(finding, study) for finding in told["findings"]]}


def point_of(finding: dict, study: Study) -> dict:
    """Return where a finding points: `shot`, `take_s` and `at` [x, y, z], each None where it means none, and the `names` of things that it means. [s], [mm]"""
    taken = next((taken for taken in study.shots if finding["about"] == f"shot {taken.shot.name}"), None)
    names = named(f"{finding['about']}\n{finding['says']}", study)
    take_s = taken and _moment(finding["says"], taken, study)
    return plain({"shot": taken and taken.shot.name, "take_s": take_s, "at": _place(names, taken, take_s, study), "names": names})


def named(words: str, study: Study) -> list[str]:
    """Return the lamps, openings, props and walls of a set that a text names, in its order; of names within names the longest."""
    scene, built = study.scene, study.built
    known = [thing.name for things in (scene.lamp, scene.opening, scene.prop) for thing in things] + [part.name for part in built.parts]
    known = dict.fromkeys([*known, *(_ROW.sub("", name) for name in known)])
    pattern = "|".join(re.escape(name) for name in sorted(known, key=len, reverse=True))
    return list(dict.fromkeys(re.findall(rf"(?<!\w)(?:{pattern})(?!\w)", words))) if known else []


def _moment(words: str, taken: Taken, study: Study) -> float | None:
    """The moment of the take that a finding says in its words, or that it was judged at. [s]"""
    found = _MOMENT.search(words)
    if found:
        return min(float(found[1].replace(",", "")), taken.move.take_s)
    for name, judged in (("clearance", taken.clearance), ("framing", taken.framing)):
        if judged is not None and any(one.says == words for one in RULES[name](study)):
            return judged.at_take_s
    return None


def _place(names: list[str], taken: Taken | None, take_s: float | None, study: Study) -> list | np.ndarray | None:
    """Where the first thing named stands, else where the lens is at that moment. [mm]"""
    lamps = {lamp.name: lamp.at for lamp in study.scene.lamp}
    for name in names:
        at = lamps.get(name)
        at = place_of(study.built, name) if at is None else at
        if at is not None:
            return np.round(np.asarray(at, float), 3)
    return None if taken is None or take_s is None else np.round(taken.move.steady.poses(take_s).position[0], 3)
