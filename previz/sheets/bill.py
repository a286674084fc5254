"""
The pages of the shooting sheet that are about the whole set: openings, lamps, kit, props, cautions, and lines to write on.

Takes a study and its report; writes on flowing pages. One page for each shot is in `previz.sheets.shooting`.
"""

from __future__ import annotations

from previz.build.places import opening_centre, table_z
from previz.check.study import Study
from previz.check.text import closing_line, number
from previz.scene.model import Slider
from previz.scene.outlines import size_of
from previz.sheets.fields import Field, aim, fields, heading
from previz.sheets.flow import LEFT, Flow, counted
from previz.sheets.leaves import SMALL_PT, SOFT
from previz.sheets.letters import width_mm
from previz.sheets.plan import heights_say, lamp_marks, opening_marks, rows_of
from previz.sheets.running import figure

SAFETY = "safety"
"""How cautions about people begin, as `previz.check.cautions` names what they are about."""
WRITE_MM, FIELDS_ACROSS = 6.2, 3
"""From one line to write on to the next, and how many stand side by side (own choice)."""


def first_page(flow: Flow, study: Study, report: dict) -> None:
    """Write the bill of the whole set, and what to take care of whichever shot it is."""
    scene = study.scene
    flow.begin("The whole set")
    flow.words(scene.title, large=True)
    shots = counted(len(study.shots), "shot")
    flow.words(f"Sheet for the day. Model at 1:{scene.scale:g}, {shots}. All lengths in millimetres of the model, from the datum corner. {heights_say(study)}", colour=SOFT)
    flow.words(closing_line(report["findings"]), after=1)
    _lamps(flow, study, report)
    _openings(flow, study)
    _kit(flow, study)
    _day(flow, report)
    rest = [finding for finding in report["findings"] if not any(about_shot(finding, taken.shot.name) for taken in study.shots)]
    cautions(flow, [finding for finding in rest if finding["about"].startswith(SAFETY)])
    judged(flow, "To look after", [finding for finding in rest if not finding["about"].startswith(SAFETY)])
    _props(flow, study)


def about_shot(finding: dict, name: str) -> bool:
    """Return whether a finding is about the shot of that name."""
    return finding["about"] in (name, f"shot {name}")


def judged(flow: Flow, title: str, findings: list[dict], *, on_this_page: bool = False) -> None:
    """Write findings that stop the day or ask for care, the first kind first, each with its remedy; `on_this_page` as many as it has room for, and the number of the rest."""
    chosen = sorted((finding for finding in findings if finding["level"] != "ok"), key=lambda finding: finding["level"] != "stop")
    if chosen:
        flow.heading(title)
    for number, finding in enumerate(chosen):
        level = "STOP  " if finding["level"] == "stop" else ""
        says, rest = f"{level}{finding['about']}: {finding['says']}", len(chosen) - number
        more = rest > 1
        if on_this_page and not flow.holds(says, finding["remedy"], more=more):
            flow.words(f"And {rest} more; previz check tells {'them' if more else 'it'}.", colour=SOFT)
            return
        flow.words(says)
        if finding["remedy"]:
            flow.words(finding["remedy"], colour=SOFT, indent=4, after=0.8)


def cautions(flow: Flow, findings: list[dict]) -> None:
    """Write the cautions about people, each with what to do."""
    if findings:
        flow.heading("Take care")
    for finding in findings:
        flow.words(f"{finding['says']} {finding['remedy']}", after=0.6)


def cautions_again(flow: Flow, findings: list[dict]) -> None:
    """Write the cautions once more in short; what to do about each is on the first page."""
    if findings:
        flow.heading("Take care (what to do: first page)")
        flow.words(" ".join(finding["says"] for finding in findings))


def _lamps(flow, study, report):
    if not study.scene.lamp:
        return
    flow.heading("Lamps: middle of the emitting face")
    columns = (0.0, 0.05, 0.3, 0.39, 0.48, 0.57, 0.68, 0.79, 0.87)
    flow.row(("", "name", "x", "y", "z", "over table", "over floor", "pan", "tilt, degrees"), columns, SOFT)
    top = table_z(study.scene, study.built)
    for lamp, entry in zip(study.scene.lamp, report["lamps"]):
        pan, tilt = heading(aim(lamp, study.built) - lamp.at)
        over = lamp.at[2] - top
        cells = (*map(figure, lamp.at), figure(over), figure(over + study.scene.table.height), f"{pan:.1f}", f"{tilt:.1f}")
        _named_row(flow, lamp_marks(study)[lamp.name], lamp.name, cells, columns)
        flow.words(_lamp_says(lamp, entry), colour=SOFT, indent=0.05 * flow.width)


def _named_row(flow, mark, name, cells, columns):
    """A row that begins with a mark and a name in full, over several lines where it is long."""
    lines = flow.leaves.lines_of(name, (columns[2] - columns[1]) * flow.width - 2)
    for i, line in enumerate(lines):
        flow.row((mark if i == 0 else "", line, *(cells if i == len(lines) - 1 else ())), columns)


def _lamp_says(lamp, entry):
    face = {"disc": "round face", "panel": "flat panel", "point": "small source", "ies": "as its photometric file says"}[lamp.kind]
    size = f" {lamp.diameter:g} mm" if lamp.kind == "disc" else f" {lamp.size[0]:g} × {lamp.size[1]:g} mm" if lamp.kind == "panel" else ""
    says = [f"{face}{size}", f"{number(entry['candela'])} cd on the axis", f"beam {number(entry['beam_deg'])} degrees", f"dimmed to {100 * lamp.dim:g} %"]
    says += [f"gel {lamp.gel_stops:g} stops, {lamp.gel_mired:+g} mired"] if lamp.gel_stops or lamp.gel_mired else []
    says += [f"{number(entry['kelvin'])} K"] if entry["kelvin"] else []
    says += [f"toward {lamp.toward}"] if isinstance(lamp.toward, str) else []
    says += [f"diffusing sheet {lamp.diffusion.size[0]:g} × {lamp.diffusion.size[1]:g} mm, {lamp.diffusion.distance:g} mm before it"] if lamp.diffusion else []
    return ", ".join(says) + "."


def _openings(flow, study):
    if not study.scene.opening:
        return
    flow.heading("Openings, measured on the outside of their wall")
    columns = (0.0, 0.05, 0.32, 0.52, 0.63, 0.74, 0.9)
    flow.row(("", "name", "wall", "along", "up", "size", "middle z"), columns, SOFT)
    marks = opening_marks(study)
    for name, group in rows_of(study.scene.opening).items():
        first, width_height = group[0], size_of(group[0])
        centre = opening_centre(study.built, first.name)
        count = f" × {len(group)}" if len(group) > 1 else ""
        size = " × ".join(figure(v) for v in width_height)
        cells = (first.wall, figure(first.at[0]), figure(first.at[1]), size, "" if centre is None else figure(centre[2]))
        _named_row(flow, marks[name], name + count, cells, columns)


def _kit(flow, study):
    scene = study.scene
    lens, body = scene.lens, scene.body
    flow.heading("Kit")
    barrel = " then ".join(f"{length:g} × {diameter:g}" for length, diameter in lens.barrel)
    flow.words(f"Camera: sensor {body.sensor[0]:g} × {body.sensor[1]:g} mm, body {' × '.join(f'{v:g}' for v in body.box)} mm, ISO up to {body.iso_max:g}.")
    flow.words(f"Lens: {lens.focal:g} mm, wide open f/{lens.widest:g}, closest focus {lens.near:g} mm from its front, barrel {barrel} mm (length × diameter, from the front).")
    if scene.slider:
        flow.words(_slider_says(scene.slider))
    if scene.lift:
        flow.words(f"Lift under the {scene.lift.carries}: {scene.lift.range[0]:g} to {scene.lift.range[1]:g} mm, up to {scene.lift.speed:g} mm/s.")
    if study.has_haze:
        half = f", half gone after {scene.haze.half_life:g} s" if scene.haze.half_life else ""
        flow.words(f"Haze: {number(study.fresh_extinction_per_m)} per metre after the spray{half}.")
    flow.words(f"Table: {scene.table.height:g} mm above the floor.")


def _slider_says(slider: Slider) -> str:
    ends = " to ".join(f"[{', '.join(f'{v:g}' for v in end)}]" for end in (slider.from_, slider.to))
    return f"Slider: rail {ends}, pan axis to lens {slider.reach:g} forward and {slider.rise:g} up, up to {slider.max_speed:g} mm/s and {slider.pan_speed:g} degrees/s."


def _day(flow, report):
    """The order of the shots, where the report has one."""
    day = report.get("day")
    if not day:
        return
    flow.heading("The day")
    flow.words(f"In this order: {', '.join(day['order'])}. Changes take about {number(day['minutes'], 2)} minutes (own estimate).")
    for step in day.get("steps", ()):
        flow.words(f"{step['before']}, then {step['after']}: {', '.join(step['changes']) or 'nothing changes'}.", indent=4)


def _props(flow, study):
    groups = rows_of(study.scene.prop)
    if not groups:
        return
    flow.heading("Props: middle of the footprint, at the lowest point")
    columns = (0.0, 0.06, 0.44, 0.56, 0.68, 0.8, 0.9)
    flow.row(("", "name", "x", "y", "z", "turned", "how many"), columns, SOFT)
    for i, (name, group) in enumerate(groups.items(), 1):
        first = group[0]
        _named_row(flow, str(i), name, (*map(figure, first.at), f"{first.turn:g}°" if first.turn else "", str(len(group)) if len(group) > 1 else ""), columns)


def write_in(flow: Flow, study: Study) -> None:
    """Write the page with lines for what was really set up: openings, lamps and rail."""
    chosen = [field for field in fields(study.scene, study.built) if not field.name.startswith("shot.")]
    if not chosen:
        return
    flow.begin("As it was set up")
    flow.words("As it was set up: openings, lamps and rail", large=True, after=1)
    flow.words(
        "Write what you measure beside what is planned; leave open what you did not. x, y and z, or a height and two of the distances from corners, are enough. "
        "Typed into a table under these names, previz asshot reads it: previz asshot SCENE --blank gives an empty one.",
        colour=SOFT, after=1,
    )  # fmt: skip
    groups: dict[str, list[Field]] = {}
    for field in chosen:
        groups.setdefault(field.group, []).append(field)
    for group, members in groups.items():
        flow.heading(group)
        lines_to_write(flow, members)


def lines_to_write(flow: Flow, members: list[Field]) -> None:
    """Write fields side by side: name, planned value and unit, and a line to write on."""
    side = flow.width / FIELDS_ACROSS
    for i in range(0, len(members), FIELDS_ACROSS):
        flow.room_for(WRITE_MM)
        for k, field in enumerate(members[i : i + FIELDS_ACROSS]):
            x = LEFT + k * side
            planned = "" if field.planned is None else f"{number(field.planned, 5)} "
            told = f"f/{planned}".strip() if field.unit == "f" else f"{planned}{field.unit}"
            flow.leaves.text((x, flow.y), flow.leaves.clipped(field.name.split(".", 2)[2], 0.64 * side - 2 - width_mm(told, SMALL_PT)))
            flow.leaves.text((x + 0.64 * side, flow.y), told, anchor="right", colour=SOFT)
            flow.leaves.line([(x + 0.67 * side, flow.y - 0.8), (x + side - 3, flow.y - 0.8)], pen=0.13)
        flow.y -= WRITE_MM
