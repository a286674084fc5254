"""
`previz asshot`: the plan beside the set as it was really set up, as text or JSON, and the new scene file.

Takes a scene file, its built set and a filled-in sheet; writes the new scene file, studies both, and says what differs.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import numpy as np

from previz.build.built import BuiltSet
from previz.build.load import load_set
from previz.check.finding import Finding, findings
from previz.check.report import plain, report
from previz.check.study import study_set
from previz.check.text import number
from previz.light.measured import unusable_files
from previz.rays.lit import LitSet, light_set, lit_anew
from previz.scene.faults import Fault, OptionFault, SceneFaults
from previz.scene.files import outside, replacing
from previz.scene.model import Scene
from previz.scene.read import SceneFile
from previz.scene.rewrite import rewritten
from previz.sheets.asshot import AsShot, Change, Difference, as_shot, changed, contradictions, differences
from previz.sheets.fields import fields
from previz.sheets.filled import read_filled


@dataclass(frozen=True)
class Comparison:
    """
    The plan and the day.

    written      the new scene file
    differences  field by field
    found        places worked out from measures
    contradict   findings about measures that do not fit each other
    changes      of the findings, plan to day
    figures      the report of the set as it was set up
    """

    written: Path
    differences: tuple[Difference, ...]
    found: AsShot
    contradict: list[Finding]
    changes: tuple[Change, ...]
    figures: dict


def compare(file: SceneFile, built: BuiltSet, marks: Path, output: Path, *, workers: int | None = None, watch: Callable) -> Comparison:
    """
    Write the scene as it was set up, and return how it differs from the plan.

    Raises
    ------
    SceneFaults
        With every fault of the filled-in sheet, or of the scene that it makes; then nothing is written.
    OptionFault
        If the new file would overwrite the old one or the sheet, or lie apart from the files that the scene names.
    """
    _apart(file, marks, output)
    measured = read_filled(marks, fields(file.scene, built))
    found = as_shot(file.scene, built, measured)
    scene, built_now = _written(rewritten(file.text, dict(_in_the_text(file, found.edits, marks)), digits=None), output)
    plan = light_set(file.scene, built, workers=workers, progress=watch("light as planned"))
    day = _lit_as_set_up(plan, scene, built_now, workers, watch)
    before = findings(study_set(plan, workers=workers, watch=lambda name: watch(f"{name} as planned")))
    study = study_set(day, workers=workers, watch=lambda name: watch(f"{name} as set up"))
    return Comparison(output, differences(plan, measured), found, contradictions(found.places), changed(before, findings(study)), report(study))


def _apart(file: SceneFile, marks: Path, output: Path) -> None:
    if output.suffix.lower() != ".toml":
        raise OptionFault(f"-o {output}: a scene file's name must end in .toml", "Name it like my-set-asshot.toml.")
    if output.resolve() in (file.path.resolve(), marks.resolve()):
        raise OptionFault(f"-o {output}: it would overwrite what it is made from", "Give another name; the plan is kept.")
    if output.resolve().parent != file.path.resolve().parent:
        raise OptionFault(f"-o {output}: it must lie in the folder of {file.path}, whose files it names", "Give a name in that folder.")


def _in_the_text(file: SceneFile, edits, marks: Path) -> list:
    """Return the edits by the rows of the file's text; SceneFaults for openings of a row that the file writes once, which it cannot tell apart."""
    repeated = sorted({path[1] for path, _ in edits if path[0] == "opening" and file.is_repeated("opening", path[1])})
    if repeated:
        remedy = "In the scene file, write each opening of that row out as an [[opening]] of its own, without repeat; then its measures can be told apart."
        names = [file.scene.opening[number].name for number in repeated]
        raise SceneFaults([Fault(marks, 0, f"opening.{name}", "", "this opening is one of a row that the scene file repeats", remedy) for name in names])
    return [(file.path_in_text(path), value) for path, value in edits]


def _lit_as_set_up(plan: LitSet, scene: Scene, built: BuiltSet, workers, watch) -> LitSet:
    """Return the set as it was set up in its light: where no solid has changed, what each sees of the others is known from the plan."""
    if np.array_equal(built.vertices, plan.built.vertices) and np.array_equal(built.triangles, plan.built.triangles):
        return lit_anew(plan, scene)
    return light_set(scene, built, workers=workers, progress=watch("light as set up"))


def _written(text: str, output: Path):
    """Write the scene file once it reads without faults; return its scene and built set."""
    with replacing(output) as temporary, outside(output):
        temporary.write_text(text, encoding="utf-8")
        try:
            loaded, built = load_set(temporary, unusable_files)
        except SceneFaults as faults:
            raise SceneFaults([replace(fault, file=output) for fault in faults.faults]) from None
    return loaded.scene, built


def comparison_json(compared: Comparison) -> str:
    """Return it as JSON: written, differences, places, contradictions, changes, and the report of the day."""
    told = {
        "schema": 1,
        "written": str(compared.written),
        "differences": [asdict(one) for one in compared.differences],
        "places": [
            {"name": one.name, "planned_mm": one.planned, "at_mm": one.at, "moved_mm": one.at - one.planned, "residuals_mm": one.residuals} for one in compared.found.places
        ],
        "contradictions": [asdict(one) for one in compared.contradict],
        "changes": [{"how": one.how, "before": one.before and asdict(one.before), "after": one.after and asdict(one.after)} for one in compared.changes],
        "report": compared.figures,
    }
    return json.dumps(plain(told), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def comparison_text(compared: Comparison) -> str:
    """Return it as text: each difference on a line, then places, contradictions and what changed."""
    wide = max(len(one.field) for one in compared.differences)
    lines = ["Measured against planned", ""]
    lines += [f"  {one.field:<{wide}}  {_said(one)}" for one in compared.differences]
    if compared.found.places:
        lines += ["", "Places, worked out from all their measures", ""]
        lines += [f"  {one.name:<{wide}}  {_moved(one)}" for one in compared.found.places]
    if compared.contradict:
        lines += ["", "Measure again", ""]
        lines += [line for one in compared.contradict for line in _finding(one)]
    titles = {"new": "New as it was set up", "gone": "No longer so", "figures": "Still so, with other figures"}
    for how, title in titles.items():
        those = [one for one in compared.changes if one.how == how]
        if those:
            lines += ["", title, ""]
            lines += [line for one in those for line in _finding(one.after or one.before)]
    if not compared.changes:
        lines += ["", "No finding changed."]
    return "\n".join([*lines, "", f"Written: {compared.written}", f"Next: previz make {compared.written}", ""])


def _said(one: Difference) -> str:
    unit = {"deg": "°", "stops": " stops"}.get(one.unit, f" {one.unit}")
    off = f"{one.difference:+.2f}{unit}" if np.isfinite(one.difference) else "no light was planned there"
    return f"planned {_read(one.planned):>9}   measured {_read(one.measured):>9}   {off}"


def _read(value: float) -> str:
    """As one reads it off a tape or a meter: to a tenth up to 10,000, beyond that to three figures."""
    return f"{value:,.1f}".removesuffix(".0") if abs(value) < 10_000 else number(value)


def _moved(one) -> str:
    away = one.at - one.planned
    along = ", ".join(f"{axis} {value:+.1f}" for axis, value in zip("xyz", away))
    return f"{np.linalg.norm(away):.1f} mm from its mark ({along}); its measures fit within {max(abs(one.worst[1]), 0.1):.1f} mm"


def _finding(one: Finding) -> list[str]:
    return [f"  {one.level}: {one.about}: {one.says}", *([f"    {one.remedy}"] if one.remedy else [])]
