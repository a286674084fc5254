"""
What moves need of the rig: ends on the rail, heights within the lift's range, and what rides on what.

Takes a Draft; gives Problems. One small function a rule; `RULES` lists them. Knows nothing of how a move is carried out:
whether the rig keeps up is a finding, not a fault of the file.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from previz.scene.draft import Draft, Problem, mm
from previz.scene.model import Heading, Lift, Slider

FREE_MOVES = ("path", "hand")
"""Moves that go through points: nothing but the pupil is known of what carries the lens, so there is no rail and no reach."""

_NEAR_MM = 1e-3


def slider_has_length(draft: Draft) -> Iterator[Problem]:
    """The rail's two ends differ, and lie no farther apart than the slider is long."""
    slider = draft.tables.get("slider")
    if slider is None:
        return
    if (apart := math.dist(slider.from_, slider.to)) < 1:
        yield Problem(("slider", "to"), "the rail's two ends are the same point", "Give the other end of the rail.")
    elif slider.length is not None and apart > slider.length + _NEAR_MM:
        says = f"lies {mm(apart)} mm from the rail's other end, and its carriage can travel {mm(slider.length)}"
        yield Problem(("slider", "to"), says, f"Bring the ends {mm(apart - slider.length)} mm nearer together, or take a longer slider.")


def ranges_open(draft: Draft) -> Iterator[Problem]:
    """A range runs from low to high."""
    for table, keys in (("slider", ("pan_range", "tilt_range")), ("lift", ("range",))):
        for key in keys:
            within = getattr(draft.tables.get(table), key, None)
            if within is not None and within[0] >= within[1]:
                yield Problem((table, key), "the first number must be below the second", f"Write the lower one first: {key} = [lowest, highest].")


def riders_have_a_lift(draft: Draft) -> Iterator[Problem]:
    """Only what there is can be ridden on, and what carries the camera's slider is not beside it."""
    slider, lift = draft.tables.get("slider"), draft.tables.get("lift")
    riders = [(("slider", "rides"), slider)] if slider is not None else []
    riders += [(("lamp", i, "rides"), lamp) for i, lamp in draft.rows.get("lamp", [])]
    for path, rider in riders:
        if rider.rides == "lift" and "lift" not in draft.typed:
            yield Problem(path, "there is no lift to ride on", "Add [lift] with carries, or leave rides out.")
    if slider is not None and lift is not None and slider.rides == "floor" and lift.carries == "camera":
        yield Problem(("slider", "rides"), "the lift carries the camera, so the slider under the camera rides on it", 'Leave rides out, or write carries = "set" in [lift].')


def shots_move(draft: Draft) -> Iterator[Problem]:
    """Each move has the ends that it needs, on the rail where they are rail positions."""
    slider: Slider | None = draft.tables.get("slider")
    for i, shot in draft.rows.get("shot", []):
        path = ("shot", i)
        yield from _ends_problems(shot, path)
        for key, end in (("from", shot.from_), ("to", shot.to)):
            if isinstance(end, float):
                yield from _rail_problems(shot, key, end, slider, "slider" in draft.typed, path)


def _ends_problems(shot, path):
    """Which of to and via a move takes."""
    if shot.move in ("still", "lift"):
        called = "a still shot" if shot.move == "still" else 'move "lift"'
        for key in ("to", "via"):
            if getattr(shot, key):
                yield Problem((*path, key), f"{called} has no {key}", f'Remove {key}, or set move = "slide", "arc" or "path".', None, True)
        return
    if shot.move in ("slide", "arc"):
        if shot.via:
            yield Problem((*path, "via"), f'move "{shot.move}" goes straight and takes no via', 'Remove via, or set move = "path".', None, True)
        if shot.to is None:
            yield Problem(path, f'to is missing for move "{shot.move}"', "Add to = ...: where the move ends, as from.", "", True)
        elif type(shot.to) is not type(shot.from_):
            yield Problem((*path, "to"), "from and to must be of one kind", "Write both as points [x, y, z], or both as mm along the rail.")
    elif shot.move == "path" and shot.to is None and not shot.via:
        yield Problem(path, 'to or via is missing for move "path"', "Add to = [x, y, z], and via = [[x, y, z], ...] for points between.", "", True)
    if shot.to is not None and shot.to == shot.from_ and not shot.via:
        yield Problem((*path, "to"), "the move ends where it begins", 'Give another end, or set move = "still" and remove to.')
    if shot.move == "arc" and isinstance(shot.look, Heading):
        yield Problem((*path, "look"), "an arc pans to hold what it looks at, and this is a fixed direction", 'Give a prop\'s name or a point, or set move = "slide".')


def _rail_problems(shot, key, end, slider, typed, path):
    """A rail position needs a rail, and lies on it."""
    if shot.move in FREE_MOVES:
        yield Problem((*path, key), "a path goes through points" if shot.move == "path" else "a hand-held move goes through points", f"Write {key} = [x, y, z].")
    elif slider is None and not typed:
        yield Problem((*path, key), "a position along the rail needs a [slider]", f"Add [slider] with from and to, or write {key} = [x, y, z].")
    elif slider is not None:
        length = math.dist(slider.from_, slider.to)
        if not 0 <= end <= length + _NEAR_MM:
            yield Problem((*path, key), f"must lie on the rail, from 0 to {mm(length)}", "Rail positions are mm from the slider's from.")


def shots_lift(draft: Draft) -> Iterator[Problem]:
    """Heights need a lift, lie within its range, and differ where they are what moves."""
    lift: Lift | None = draft.tables.get("lift")
    for i, shot in draft.rows.get("shot", []):
        path = ("shot", i)
        low, high = sorted(shot.lift_ends)
        if shot.move == "lift" and low == high:
            yield Problem(path, 'move "lift" needs two heights', "Write lift = [from, to], mm above the lift's 0.", "", True)
        elif shot.move == "still" and low != high:
            yield Problem((*path, "lift"), "a still shot keeps one height", 'Write one number, or set move = "lift".')
        if any(shot.lift_ends) and "lift" not in draft.typed:
            yield Problem((*path, "lift"), "there is no lift", "Add [lift] with carries, range and speed, or leave lift out.")
        elif lift is not None and not lift.range[0] <= low <= high <= lift.range[1]:
            says = f"must lie within the lift's range, {mm(lift.range[0])} to {mm(lift.range[1])}"
            yield Problem((*path, "lift"), says, "Heights are mm above the lift's 0; widen range in [lift] if it really goes there.")


RULES = (slider_has_length, ranges_open, riders_have_a_lift, shots_move, shots_lift)
