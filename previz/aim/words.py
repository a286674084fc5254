"""
Answers in the maker's words: where the stand goes, what that gives, or what is in the way.

Takes what was found; gives text for a person, plain values for a program, and the changes for the scene file.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

import numpy as np

from previz.aim.lamp import Answer, Found, Obstacle
from previz.aim.limits import Ground
from previz.aim.opening import Cut, NoCut
from previz.aim.proposals import Proposal
from previz.aim.wishes import Wish
from previz.scene.model import Opening

_HEAD = "   #      x      y  above floor  from opening       lux  soft edge  spread"


def aim_text(ground: Ground, lamp: str, wishes: Sequence[Wish], found: Found) -> str:
    """Return the answers, or the obstacle, for a terminal of 80 columns."""
    wanted = ", ".join(f"{wish.through} > {wish.onto.name}" for wish in wishes)
    lines = [f"{lamp}: {wanted}", ""]
    if found.obstacle:
        return "\n".join([*lines, *(line for text in _no(ground, found.obstacle) for line in _wrapped(text)), ""])
    lines.append(_HEAD)
    for number, answer in enumerate(found.answers, start=1):
        lines += [f"{number:4d}{_row(ground, answer, 0)}", *(f"    {_row(ground, answer, i, again=True)}" for i in range(1, len(wishes)))]
    lines += ["", *(line for text in _notes(found, wishes) for line in _wrapped(text)), ""]
    return "\n".join(lines)


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, 79, subsequent_indent="  " if text.startswith("  ") else "", break_long_words=False)


def _row(ground: Ground, answer: Answer, wish: int, again: bool = False) -> str:
    x, y, z = answer.at
    place = " " * 40 if again else f"{x:7.0f}{y:7.0f}{z - ground.floor_z:10.0f} mm{answer.distance_mm:11.0f} mm"
    return f"{place}{answer.lux[wish]:10,.0f}{answer.penumbra_mm[wish]:8.1f} mm{answer.fan_deg[wish]:5.1f} deg"


def _notes(found: Found, wishes: Sequence[Wish]) -> list[str]:
    best = found.answers[0]
    misses = [max(answer.misses_mm) for answer in found.answers]
    said = []
    if len(wishes) == 1:
        said.append(f"The middle of the light lands within {max(0.1, math.ceil(10 * max(misses)) / 10):.1f} mm of its target.")
    else:
        for number, wish in enumerate(wishes):
            miss = best.misses_mm[number]
            where = f"{miss:.0f} mm from its target" if math.isfinite(miss) else "in pieces, none of them on the face of its target"
            said.append(f"[1] The middle of the light through {wish.through} lands {where}.")
    said.append(f"x, y from the datum corner. [1] points at {_point(best.toward)}. Nearest to a limit: {best.tightest}, by {best.clear_mm:.0f} mm.")
    said.append("Lux is on the target, in clear air. A further lamp is dimmer, with straighter shafts and crisper edges.")
    return said


def _no(ground: Ground, obstacle: Obstacle) -> list[str]:
    return [
        f"No place for it: {' and '.join(obstacle.names)} in the way." if len(obstacle.names) > 1 else f"No place for it: {obstacle.names[0]} is in the way.",
        f"  {obstacle.says}.",
        f"  {obstacle.remedy}",
        f"  The nearest miss stands at {_point(obstacle.at)}, {obstacle.at[2] - ground.floor_z:.0f} mm above the floor.",
    ]


def _point(point: np.ndarray) -> str:
    return ", ".join(f"{value:.0f}" for value in point)


def aim_values(ground: Ground, lamp: str, wishes: Sequence[Wish], found: Found) -> dict:
    """Return the same for a program."""
    return {
        "schema": 1,
        "lamp": lamp,
        "wishes": [{"through": wish.through, "onto": wish.onto.name, "target_mm": _six(wish.onto.point)} for wish in wishes],
        "answers": [_answer_values(ground, answer) for answer in found.answers],
        "obstacle": found.obstacle
        and {"names": list(found.obstacle.names), "says": found.obstacle.says, "remedy": found.obstacle.remedy, "at": _six(found.obstacle.at), "short_mm": _six(found.obstacle.short)},
    }


def _answer_values(ground: Ground, answer: Answer) -> dict:
    return {
        "at": _six(answer.at),
        "toward": _six(answer.toward),
        "above_floor_mm": _six([answer.at[2] - ground.floor_z])[0],
        "distance_mm": _six([answer.distance_mm])[0],
        "misses_mm": [value if math.isfinite(value) else None for value in _six(answer.misses_mm)],
        "lux": _six(answer.lux),
        "penumbra_mm": _six(answer.penumbra_mm),
        "fan_deg": _six(answer.fan_deg),
        "clear_mm": _six([answer.clear_mm])[0],
        "tightest": answer.tightest,
    }


def _six(values) -> list[float]:
    return [float(f"{float(value):.6g}") for value in values]


def opening_text(lamp: str, wall: str, onto: str, found: Cut | NoCut) -> str:
    """Return the opening to cut, or what is in the way, for a terminal of 80 columns."""
    said = [f"{lamp}: an opening in {wall} > {onto}", ""]
    if isinstance(found, NoCut):
        said += [f"No opening there: {' and '.join(found.names)} in the way.", f"  {found.says}.", f"  {found.remedy}"]
    else:
        opening = found.opening
        size = f"{opening.size[0]:g} x {opening.size[1]:g} mm" if isinstance(opening.size, tuple) else f"{opening.size:g} mm across"
        said.append(f"Cut a {opening.shape} of {size}, its lower left corner at {opening.at[0]:g} along and {opening.at[1]:g} up, seen from outside.")
        said.append(f"Its patch is {found.patch_mm[0]:.1f} x {found.patch_mm[1]:.1f} mm, its middle within {max(0.1, found.miss_mm):.1f} mm of its target.")
        said.append(f"{found.web_mm:.0f} mm of material stay to {found.beside}.")
    return "\n".join([line for text in said for line in _wrapped(text) or [""]] + [""])


def opening_values(lamp: str, wall: str, onto: str, found: Cut | NoCut) -> dict:
    """Return the same for a program."""
    no = isinstance(found, NoCut)
    return {
        "schema": 1,
        "lamp": lamp,
        "wall": wall,
        "onto": onto,
        "opening": None if no else opening_keys(found.opening),
        "patch_mm": None if no else _six(found.patch_mm),
        "miss_mm": None if no else _six([found.miss_mm])[0],
        "web_mm": None if no else _six([found.web_mm])[0],
        "obstacle": {"names": list(found.names), "says": found.says, "remedy": found.remedy} if no else None,
    }


def layout_text(lamp: str, onto: str, shafts: int, contrast: float, proposals: Sequence[Proposal], best: float) -> str:
    """Return the layouts that were found, or how near the search came, for a terminal of 80 columns."""
    said = [f"{lamp}: {shafts} {'shaft' if shafts == 1 else 'shafts'} on {onto}", ""]
    if not proposals:
        said += ["No layout does it: of all that were tried, none puts that many openings' light there and keeps every limit.", "Ask for fewer shafts, let more openings be moved (--free), or widen [stand]."]
    for number, proposal in enumerate(proposals, start=1):
        layout = proposal.layout
        plain = "" if proposal.least_stops >= contrast else f", short of {contrast:g}"
        said.append(f"{number}  {lamp} at {_point(layout.at)}: " + ", ".join(f"{name} {stops:.1f} stops" for name, stops in proposal.contrast_stops.items()) + plain)
        said += [f"   {opening.name} at {opening.at[0]:g}, {opening.at[1]:g}" for opening in layout.openings]
    if proposals:
        said += ["", "Stops are each shaft's contrast in the middle of the shot. x, y, z from the datum corner; openings along and up, seen from outside."]
    return "\n".join([line for text in said for line in _wrapped(text) or [""]] + [""])


def layout_values(lamp: str, onto: str, shafts: int, contrast: float, proposals: Sequence[Proposal]) -> dict:
    """Return the same for a program."""
    rows = [
        {
            "at": _six(proposal.layout.at),
            "openings": [opening_keys(opening) for opening in proposal.layout.openings],
            "contrast_stops": {name: _six([stops])[0] for name, stops in proposal.contrast_stops.items()},
            "lands_mm2": {name: _six([area])[0] for name, area in proposal.layout.lands_mm2.items()},
        }
        for proposal in proposals
    ]
    return {"schema": 1, "lamp": lamp, "onto": onto, "shafts": shafts, "contrast_stops": contrast, "layouts": rows}


def opening_keys(opening: Opening) -> dict:
    """Return an opening as it is written in a scene file."""
    return opening.model_dump(exclude_defaults=True)


def lamp_changes(number: int, answer: Answer) -> dict:
    """Return what an answer changes in the scene file: where lamp `number` stands and where it points."""
    return {("lamp", number, "at"): [round(float(v), 1) for v in answer.at], ("lamp", number, "toward"): [round(float(v), 1) for v in answer.toward]}
