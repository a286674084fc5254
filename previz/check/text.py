"""
The report for a person: plain text, 80 columns, no colour.

Takes the report as `previz.check.report` builds it (millimetres, seconds, lux); gives lines of text.
Knows nothing of the scene file or of how a figure came about.
"""

from __future__ import annotations

import math
import textwrap
from itertools import groupby

import numpy as np

WIDTH = 80
PATCH_LINES = 12
"""A table longer than this is skimmed, not read (own choice)."""

LEAST_SWING_MM = 0.5
"""Less than this sideways is no swing of the tip (own choice)."""

TO = " to "

HEADINGS = {"stop": "STOP: change this before the day", "care": "CARE: keep an eye on this", "ok": "IN ORDER"}


def report_text(report: dict) -> str:
    """Return the whole report as text, its lines at most `WIDTH` columns wide."""
    blocks = [
        f"{report['scene']}, 1:{number(report['scale'])}",
        "\n".join(patch_lines(report["patches"])),
        "\n".join(reading_lines(report.get("lamps", []))),
        "\n".join(shot_lines(report["shots"])),
        "\n".join(rig_lines(report["shots"])),
        "\n".join(shaft_lines(report["shots"])),
        "\n".join(clock_lines(report["shots"])),
        "\n".join(day_lines(report.get("day"))),
        *("\n".join(finding_lines(report["findings"], level)) for level in HEADINGS),
        closing_line(report["findings"]),
    ]
    return "\n\n".join(block for block in blocks if block) + "\n"


def number(value: float | None, digits: int = 3) -> str:
    """Return `value` to about `digits` figures with thousands marked: 1,840; 12.3; 0.0413. None is "endless"."""
    if value is None:
        return "endless"
    if value == 0:
        return "0"
    decimals = max(digits - 1 - math.floor(math.log10(abs(value))), 0)
    # Above the asked-for figures a whole number is rounded too: 1,843.2 lux is 1,840.
    rounded = round(value, digits - 1 - math.floor(math.log10(abs(value))))
    text = f"{rounded:,.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def millimetres(value: float) -> str:
    """Return a length as one would read it off a rule: whole millimetres from 10 up, two figures below."""
    return f"{value:,.0f}" if value >= 10 else number(value, 2)


def span(values, digits: int = 3) -> str:
    """Return "5 to 8", or "5" where both ends read the same."""
    low, high = number(min(values), digits), number(max(values), digits)
    return low if low == high else f"{low} to {high}"


def extent_mm(outline_mm) -> tuple[float, float]:
    """
    Return width and height of a flat outline, (k, 3), in its own plane: level, and at right angles to it. [mm]

    On a floor or table that is along x and along y.
    """
    corners = np.asarray(outline_mm, dtype=float)
    # Newell's normal: robust for any flat polygon (from memory).
    normal = np.cross(corners, np.roll(corners, -1, axis=0)).sum(axis=0)
    level = np.array([-normal[1], normal[0], 0.0])
    if np.linalg.norm(level) < 1e-6 * np.linalg.norm(normal) or not level.any():
        return tuple(np.ptp(corners[:, :2], axis=0).tolist())
    level /= np.linalg.norm(level)
    upward = np.cross(normal / np.linalg.norm(normal), level)
    return float(np.ptp(corners @ level)), float(np.ptp(corners @ upward))


def patch_rows(patches: list[dict]) -> list[dict]:
    """
    Return a row for each opening, lamp and face that it lights, brightest flux first.

    Each row has lamp, opening, panes (a list of [column, row]), on, count; width, height, lux and penumbra_mm of the
    largest of its patches [mm, lux]; and flux, the sum of lux times area.
    """
    key = lambda patch: (patch["lamp"], patch["opening"], patch["on"])  # noqa: E731
    rows = [_row(list(group)) for _, group in groupby(sorted(patches, key=key), key)]
    return sorted(rows, key=lambda row: (-row["flux"], row["lamp"], row["opening"], row["on"]))


def _row(group: list[dict]) -> dict:
    largest = max(group, key=lambda patch: patch["area_mm2"])
    width, height = extent_mm(largest["outline_mm"])
    return {
        **{name: group[0][name] for name in ("lamp", "opening", "on")},
        "panes": sorted({tuple(patch["pane"]) for patch in group}),
        "count": len(group),
        "width": width,
        "height": height,
        "lux": largest["lux"],
        "penumbra_mm": largest["penumbra_mm"],
        "flux": sum(p["lux"] * p["area_mm2"] for p in group),
    }


def where_from(row: dict) -> str:
    """Return "north window, pane 2,1 -> bench top", or "..., 6 panes -> ..." """
    if len(row["panes"]) > 1:
        return f"{row['opening']}, {len(row['panes'])} panes -> {row['on']}"
    pane = row["panes"][0]
    # An opening without bars is one pane, whose number would say nothing.
    return f"{row['opening']}{'' if tuple(pane) == (0, 0) else f', pane {pane[0]},{pane[1]}'} -> {row['on']}"


def patch_lines(patches: list[dict]) -> list[str]:
    """Return the table of patches: the `PATCH_LINES` that carry the most light, lamp by lamp, and how many more there are."""
    if not patches:
        return ["Where the light lands: no opening throws a patch"]
    rows = patch_rows(patches)
    shown, rest = rows[:PATCH_LINES], rows[PATCH_LINES:]
    lines = [f"Where the light lands{', the largest patch of each row' if len(rows) < len(patches) else ''}"]
    lamps = list(dict.fromkeys(row["lamp"] for row in shown))
    for lamp in lamps:
        lines.append(f"  {lamp}")
        lines += _table([_patch_cells(row) for row in shown if row["lamp"] == lamp], indent=4)
    if rest:
        lines.append(f"  and {sum(row['count'] for row in rest):,} smaller or weaker patches")
    return lines


def _patch_cells(row: dict) -> tuple[str, ...]:
    return (
        where_from(row),
        f"{millimetres(row['width'])} x {millimetres(row['height'])} mm",
        f"{number(row['lux'])} lux",
        f"edge {number(row['penumbra_mm'], 2)} mm soft",
    )


def _table(rows: list[tuple[str, ...]], indent: int) -> list[str]:
    """Return the rows in columns, figures right-aligned; a first cell too long for its column has a line of its own."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    widths[0] = min(widths[0], WIDTH - indent - sum(widths[1:]) - 2 * (len(widths) - 1))
    lines = []
    for row in rows:
        first, pad = row[0], " " * indent
        if len(first) > widths[0]:
            lines += _wrapped(first, pad, pad + "  ")
            first = ""
        lines.append(pad + "  ".join([first.ljust(widths[0]), *(cell.rjust(width) for cell, width in zip(row[1:], widths[1:]))]))
    return lines


def reading_lines(lamps: list[dict]) -> list[str]:
    """Return a heading and one line a reading: where, what the meter read, what the set gives there with the level that they set."""
    rows = [
        (f"{lamp['name']} at [{', '.join(f'{x:g}' for x in reading['at_mm'])}]", number(reading["lux"]), number(reading["computed_lux"]), stops(reading["residual_stops"]))
        for lamp in lamps
        for reading in lamp["readings"]
    ]
    return ["Readings", *_table([("lamp", "read lux", "computed lux", "over, stops"), *rows], indent=2)] if rows else []


def stops(value: float | None) -> str:
    """Return a difference in stops with its sign: "+0.3", "-1.2"; a dash for none."""
    return "-" if value is None else f"{value:+.1f}".replace("-0.0", "+0.0")


def shot_lines(shots: list[dict]) -> list[str]:
    """Return a heading and one line a shot."""
    if not shots:
        return []
    heading = ("shot", "clip s", "take s", "clear mm", "frame", "focus mm", "mm/s", "ISO")
    return ["Shots", *_table([heading, *(_shot_cells(shot) for shot in shots)], indent=2)]


def _shot_cells(shot: dict) -> tuple[str, ...]:
    framing, exposure, clearance = shot["framing"], shot["exposure"], shot["clearance"]
    return (
        shot["name"],
        number(shot["clip_s"]),
        number(shot["take_s"]),
        "-" if clearance is None else number(round(clearance["min_mm"], 1)),
        "-" if framing is None else f"{100 * framing['worst_margin']:.0f} %",
        # A dash saves the columns that a shot's name may need.
        span(shot["focus"]["distance_mm"]).replace(" to ", "-"),
        number(shot["rig"]["peak_speed_mm_s"]),
        "-" if exposure is None or exposure["iso_needed"] is None else number(exposure["iso_needed"], 2),
    )


def rig_lines(shots: list[dict]) -> list[str]:
    """Return a heading and what each shot asks of rail, pan, lift and hands; nothing for shots that ask none of them."""
    lines = []
    for shot in shots:
        said = rig_phrases(shot)
        lines += _wrapped(f"{shot['name']}: {', '.join(said)}", "  ", "    ") if said else []
    return ["Rig", *lines] if lines else []


def rig_phrases(shot: dict) -> list[str]:
    """Return what a shot asks of rail, pan, lift and hands, a phrase each: "carriage 95 to 200 mm", "tip 12 mm sideways"."""
    rig, lift, hand = shot["rig"], shot["lift"], shot["hand"]
    said = []
    if rig["carriage_mm"]:
        said.append(f"carriage {from_to(rig['carriage_mm'])} mm")
        said += [f"{axis} {from_to(rig[f'{axis}_deg'])} degrees" for axis in ("pan", "tilt") if TO in from_to(rig[f"{axis}_deg"])]
        said += [f"tip {millimetres(rig['tip_swing_mm'])} mm sideways"] if swings(rig) else []
    if lift and (lift["from_mm"] or lift["to_mm"]):
        said.append(f"lift {from_to((lift['from_mm'], lift['to_mm']))} mm under the {lift['carries']}")
    if hand:
        said.append(f"by hand, {number(hand['px_frame'], 2)} pixels a frame ({number(hand['px_frame_unslowed'], 2)} if shot at {number(shot['playback_fps'])})")
    return said


def swings(rig: dict) -> bool:
    """Return whether the tip of the lens goes sideways by as much as a pencil line."""
    return (rig["tip_swing_mm"] or 0.0) >= LEAST_SWING_MM


def from_to(ends) -> str:
    """Return "95 to 200" in order of travel, to a tenth; "95" where both ends read the same."""
    first, last = (f"{round(end, 1) + 0.0:g}" for end in ends)
    return first if first == last else f"{first}{TO}{last}"


def shaft_lines(shots: list[dict]) -> list[str]:
    """Return a heading and one line for each shaft that covers any of a shot's frame; how many others there are."""
    lines = []
    for shot in shots:
        seen = [shaft for shaft in shot["shafts"] if shaft["frame_share"] > 0]
        rows = [_shaft_cells(shaft) for shaft in seen]
        lines += [*_wrapped(shot["name"], "  ", "    "), *_table(rows, indent=4)] if rows else []
    return ["Shafts in the middle of the take, with and without their haze", *lines] if lines else []


def _shaft_cells(shaft: dict) -> tuple[str, ...]:
    through = f" through {shaft['opening']}" if shaft["opening"] else ""
    return (
        f"{shaft['lamp']}{through}",
        f"{number(shaft['contrast_stops'], 2)} stops",
        f"{number(100 * shaft['frame_share'], 2)} % of frame",
        "reads" if shaft["reads"] else "too weak",
    )


def day_lines(day: dict | None) -> list[str]:
    """Return a heading and what changes from shot to shot, in the order that moves least."""
    if not day:
        return []
    lines = [f"The day, in the order that {'' if day['exact'] else 'nearly '}moves least", *_wrapped(f"1. {day['order'][0]}", "  ", "     ")]
    for place, step in enumerate(day["steps"], start=2):
        changes = "; ".join(step["changes"]) or "nothing changes"
        lines += _wrapped(f"{changes} (about {number(step['minutes'], 2)} min)" if step["minutes"] else changes, "     ", "     ")
        lines += _wrapped(f"{place}. {step['after']}", "  ", "     ")
    return lines


def clock_lines(shots: list[dict]) -> list[str]:
    """Return a heading and one line for each shot with a haze clock: when its shafts read, how many takes fit, when to spray again."""
    rows = [(shot["name"], *_clock_cells(shot["haze"])) for shot in shots if shot["haze"].get("clock")]
    return ["Haze clock, seconds after the spray", *_table([("shot", "usable", "takes", "spray again from"), *rows], indent=2)] if rows else []


def _clock_cells(haze: dict) -> tuple[str, str, str]:
    if haze["usable_from_s"] is None:
        return "never", "0", "-"
    again = haze["spray_again_s"]
    return f"{haze['usable_from_s']:,.0f} to {haze['usable_to_s']:,.0f}", f"{haze['takes_that_fit']:,}", "-" if again is None else f"{again:,.0f}"


def finding_lines(findings: list[dict], level: str) -> list[str]:
    """Return the findings of `level` under a heading, each with its remedy under it."""
    chosen = [finding for finding in findings if finding["level"] == level]
    lines = [HEADINGS[level]] if chosen else []
    for finding in chosen:
        lines += _wrapped(f"{finding['about']}: {finding['says']}", "  ", "    ")
        if finding["remedy"]:
            lines += _wrapped(finding["remedy"], "    > ", "      ")
    return lines


def closing_line(findings: list[dict]) -> str:
    """Return how many findings there are of each level."""
    counts = {level: sum(finding["level"] == level for finding in findings) for level in HEADINGS}
    return f"{counts['stop']} to stop for, {counts['care']} to take care of, {counts['ok']} in order."


def _wrapped(text: str, first: str, rest: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
