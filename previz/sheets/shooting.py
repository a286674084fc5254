"""
One page for each shot: pictures, plan with marks, settings, focus, the clock from the spray on, findings, lines to write on.

Takes a study, a shot's figures and its pictures; writes on flowing pages. Prints what the report knows of focus marks and
of how long the haze lasts, and nothing where it knows nothing.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from previz.check.study import Study, Taken
from previz.check.text import number, rig_phrases, span
from previz.light.lamps import emitters
from previz.scene.shots import scene_of
from previz.sheets.bill import (
    FIELDS_ACROSS,
    SAFETY,
    WRITE_MM,
    about_shot,
    cautions_again,
    judged,
    lines_to_write,
)
from previz.sheets.fields import SCREEN_WHITE_K, fields
from previz.sheets.flow import LEFT, Flow
from previz.sheets.leaves import AMBER, LIGHT, SMALL_PT, SOFT
from previz.sheets.letters import width_mm
from previz.sheets.scales import scale_text
from previz.sheets.setup import shot_plan
from previz.sheets.window import scale_bar

GAP_MM = 4.0
PLAN_MM = 52.0
STRIP_MM = 13.0
LABEL_GAP_MM = 3.0
MOST_TAKES = 200
AFTER_MM = 32.0
"""Of the strip left behind its last moment, for its words (own choice)."""


def shot_page(flow: Flow, study: Study, taken: Taken, entry: dict, findings: list[dict], pictures) -> None:
    """
    Write the page of one shot.

    Parameters
    ----------
    entry : dict
        The shot's figures, as the report has them.
    findings : list of dict
        All of the report.
    pictures : list of (str, (rows, columns, 3) uint8 array)
        What each shows, and the picture.
    """
    flow.begin(taken.shot.name)
    flow.words(taken.shot.name, large=True)
    flow.words(
        f"{number(entry['clip_s'])} s on screen from a take of {number(entry['take_s'])} s; {taken.shot.move_called}; lamps: {', '.join(taken.lamps) or 'none'}",
        colour=SOFT, after=1,
    )  # fmt: skip
    _pictures(flow, pictures)
    _plan(flow, study, taken)
    _settings(flow, study, taken, entry)
    _clock(flow, taken, entry)
    mine = [field for field in fields(study.scene, study.built) if field.name.startswith(f"shot.{taken.shot.name}.")]
    flow.room_for(9 + WRITE_MM * -(-len(mine) // FIELDS_ACROSS))
    flow.heading("As it was shot")
    lines_to_write(flow, mine)
    cautions_again(flow, [finding for finding in findings if finding["about"].startswith(SAFETY)])
    judged(flow, "To look after in this shot", [finding for finding in findings if about_shot(finding, taken.shot.name)], on_this_page=True)


def _pictures(flow, pictures):
    """The pictures side by side, in order of the take, each with its name under it."""
    if not pictures:
        return
    width = min((flow.width - 2 * GAP_MM) / 3, 62.0)
    height = width * pictures[0][1].shape[0] / pictures[0][1].shape[1]
    if height > 60:
        width, height = width * 60 / height, 60.0
    flow.room_for(height + 8)
    top = flow.y
    for i, (name, rgb) in enumerate(pictures):
        x = LEFT + i * (width + GAP_MM)
        flow.leaves.picture(rgb, (x, top - height), (x + width, top))
        flow.leaves.line([(x, top - height), (x + width, top - height), (x + width, top), (x, top)], closed=True, pen=0.1, colour=SOFT)
        flow.leaves.text((x, top - height - 3.4), flow.leaves.clipped(name, width), colour=SOFT)
    flow.y = top - height - 8


def seen_by_shot(study: Study, taken: Taken) -> Study:
    """Return the study with the lamps that are alight in a shot, and its patches."""
    scene = scene_of(study.scene, taken.shot)
    if scene is study.scene:
        return study
    patches = taken.light[0].patches if taken.light else study.patches
    return dataclasses.replace(study, scene=scene, emitters=emitters(scene, study.built), patches=patches)


def _plan(flow, study, taken):
    flow.room_for(PLAN_MM + 9)
    drawing, window = shot_plan(seen_by_shot(study, taken), taken, (flow.width, PLAN_MM))
    flow.y -= PLAN_MM
    drawing.draw_on(flow.leaves, (LEFT, flow.y))
    bar = type(drawing)("bar", "", (flow.width, 6))
    scale_bar(bar, (0.0, 0.0), window.scale)
    flow.y -= 4.2
    bar.draw_on(flow.leaves, (LEFT, flow.y))
    flow.leaves.text((LEFT + flow.width, flow.y - 0.2), f"Plan at {scale_text(window.scale)}; start solid, end dashed", anchor="right", colour=SOFT)
    flow.y -= 2.5


def settings(study: Study, taken: Taken, entry: dict) -> list[tuple[str, str]]:
    """Return what is set on the camera and on the rig, each by name."""
    shot = taken.shot
    stop = shot.stop or study.scene.lens.stop or study.scene.lens.widest
    angle = f"{shot.exposure_s * shot.fps * 360:.0f} degrees, " if shot.exposure_s * shot.fps <= 1 else ""
    rows = [
        ("stop", f"f/{stop:g}"),
        ("shutter", f"{angle}1/{1 / shot.exposure_s:.0f} s"),
        ("ISO", f"{shot.iso:g}" + ("" if not entry["exposure"] or entry["exposure"]["iso_needed"] is None else f" (mid-tone at {number(entry['exposure']['iso_needed'], 2)})")),
        ("frame rate", f"{shot.fps:g} a second, shown at {shot.playback:g}"),
        ("white balance", white_says(shot.white)),
    ]
    if said := rig_phrases(entry):
        rows.append(("on the rig", ", ".join(said)))
    if entry["clearance"]:
        rows.append(("nearest", f"{number(round(entry['clearance']['min_mm'], 1))} mm, {' to '.join(entry['clearance']['between'])}, {number(entry['clearance']['at_take_s'], 2)} s into the take"))
    return rows


def white_says(white) -> str:
    """Return what the white balance is set to: kelvin, or the light of a lamp."""
    if isinstance(white, str):
        return f"a white card in the light of {white}, locked"
    return f"{white or SCREEN_WHITE_K:g} K, locked"


def focus_marks(entry: dict) -> list[tuple[str, str]]:
    """Return where focus is, each mark with its moment; from the entrance pupil and, where it is known, from the lens's front."""
    focus = entry["focus"]
    rows = []
    for mark in focus.get("pull") or ():
        front = f", {number(mark['from_front_mm'])} from the front" if mark.get("from_front_mm") is not None else ""
        rows.append((f"{number(mark['at_take_s'], 3)} s", f"{number(mark['distance_mm'])} mm{front}"))
    if not rows:
        rows.append(("all through", f"{span(focus['distance_mm'])} mm from the pupil"))
    rows.append(("sharp", f"{number(focus['near_mm'])} to {number(focus['far_mm'])} mm at the nearest"))
    return rows


def _settings(flow, study, taken, entry):
    """Settings at the left, focus marks at the right."""
    flow.room_for(34)
    flow.heading("Set, and focus")
    half = flow.width * 0.56
    ends = []
    for x, width, first, rows in ((LEFT, half - 4, 24.0, settings(study, taken, entry)), (LEFT + half, flow.width - half, 18.0, focus_marks(entry))):
        y = flow.y
        for name, value in rows:
            flow.leaves.text((x, y), flow.leaves.clipped(name, first - 2), colour=SOFT)
            for line in flow.leaves.lines_of(value, width - first):
                flow.leaves.text((x + first, y), line)
                y -= 3.7
        ends.append(y)
    flow.y = min(ends)


def clock(taken: Taken, entry: dict) -> list[tuple[float, str]]:
    """Return the moments from the spray on, in seconds, in order: spray, roll, cut, and from when to when the haze serves where that is known."""
    start, haze = taken.shot.start_after, entry["haze"]
    moments = [(0.0, "spray"), (start, "roll"), (start + entry["take_s"], "cut")]
    for key, words in (("usable_from_s", "shafts read"), ("spray_again_s", "last roll"), ("usable_to_s", "too thin")):
        if haze.get(key) is not None:
            moments.append((float(haze[key]), words))
    together: dict[float, list[str]] = {}
    for second, words in sorted(moments, key=lambda one: one[0]):
        together.setdefault(round(second, 2), []).append(words)
    return [(second, ", ".join(words)) for second, words in together.items()]


def _clock(flow, taken, entry):
    """The strip: a line as long as the time, the takes on it, words under it where they do not meet."""
    if not entry["haze"]["extinction_at_roll_per_m"]:
        return
    flow.room_for(STRIP_MM + 14)
    flow.heading("From the spray to the last take, seconds")
    moments = clock(taken, entry)
    last = max(moments[-1][0] * flow.width / (flow.width - AFTER_MM), 1.0)
    place = lambda second: LEFT + flow.width * second / last
    y = flow.y - 1
    for first, until in takes(taken, entry):
        low, high = place(first), max(place(until), place(first) + 0.6)
        flow.leaves.line([(low, y), (high, y), (high, y + 3), (low, y + 3)], closed=True, pen=0.15, colour=AMBER, fill=LIGHT)
    flow.leaves.line([(LEFT, y), (LEFT + flow.width, y)], pen=0.3)
    step = next(s * 10.0**p for p in range(-2, 6) for s in (1, 2, 5) if last / (s * 10.0**p) <= 12)
    for second in np.arange(0, last, step):
        flow.leaves.line([(place(second), y), (place(second), y - 1.0)], pen=0.13)
    _words_under(flow, [(place(second), f"{number(round(second, 2))} {words}") for second, words in moments], y)


def takes(taken: Taken, entry: dict) -> list[tuple[float, float]]:
    """Return when each take begins and ends, in seconds from the spray: the first as it is planned, the rest that fit before the haze is too thin, a reset apart."""
    start, take_s, haze = taken.shot.start_after, entry["take_s"], entry["haze"]
    until, every = haze.get("usable_to_s"), take_s + float(haze.get("reset_s") or 0.0)
    if until is None or not haze.get("takes_that_fit"):
        return [(start, start + take_s)]
    begins = np.arange(start, max(until - take_s, start) + 1e-9, every)[:MOST_TAKES]
    return [(float(first), float(first + take_s)) for first in begins]


def _words_under(flow, words, y):
    """Words right of their mark, from the last on: each on the first row where it meets none behind it, so that no mark's line crosses a word."""
    rows: list[float] = []
    for x, text in reversed(words):
        end = x + LABEL_GAP_MM + width_mm(text, SMALL_PT)
        row = next((i for i, begins in enumerate(rows) if end < begins), len(rows))
        rows = [*rows[:row], x, *rows[row + 1 :]]
        low = y - 4.4 - 3.6 * row
        flow.leaves.line([(x, y), (x, low)], pen=0.1, colour=SOFT)
        flow.leaves.text((x + 0.8, low), text)
    flow.y = y - 4.4 - 3.6 * max(len(rows), 1)
