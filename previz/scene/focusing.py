"""
What focus needs of the file: one lens model, and marks of a pull that follow each other within the take.

Takes a Draft; gives Problems. One small function a rule; `RULES` lists them. Knows nothing of how a pull is carried out:
whether the motor keeps up is a finding, not a fault of the file.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from previz.scene.draft import Draft, Problem, is_name, nearest, quoted
from previz.scene.model import FocusMark

_NEAR_MM, _NEAR_S = 1e-3, 1e-9


def lens_says_one(draft: Draft) -> Iterator[Problem]:
    """A published close-up and a way of focusing say the same thing twice."""
    typed = draft.typed.get("lens")
    if isinstance(typed, dict) and {"macro", "focusing"} <= typed.keys():
        yield Problem(("lens", "focusing"), "macro says this already", "Keep one of macro and focusing.", None, True)


def marks_follow(draft: Draft) -> Iterator[Problem]:
    """Marks come in order, none after the take."""
    for i, shot in draft.rows.get("shot", []):
        before = -math.inf
        for k, mark in enumerate(marks_of(shot)):
            path = ("shot", i, "focus", k, "at")
            if mark.at > shot.take_s + _NEAR_S:
                yield Problem(path, f"must lie within the take, which lasts {shot.take_s:g} s", "Marks are in seconds of the take, not of the clip: clip x playback / fps.")
            elif mark.at <= before:
                yield Problem(path, "must be later than the mark before it", "Write the marks in the order in which focus reaches them.")
            before = max(before, mark.at)


def marks_refer(draft: Draft) -> Iterator[Problem]:
    """What a mark focuses on exists, and is not where the lens stands."""
    names = draft.names_typed("prop")
    for i, shot in draft.typed_rows("shot"):
        marks = shot.get("focus")
        for k, mark in enumerate(marks if isinstance(marks, list) else []):
            if isinstance(mark, dict) and is_name(mark.get("focus")) and mark["focus"] not in names:
                close = nearest(mark["focus"], list(names))
                remedy = f'Did you mean "{close}"?' if close else f"Names here: {quoted(list(names))}." if names else "Give a point [x, y, z], or a distance in mm."
                yield Problem(("shot", i, "focus", k, "focus"), "there is no prop of that name", remedy)
    for i, shot in draft.rows.get("shot", []):
        for k, mark in enumerate(marks_of(shot)):
            if isinstance(mark.focus, tuple) and isinstance(shot.from_, tuple) and math.dist(mark.focus, shot.from_) < _NEAR_MM:
                yield Problem(("shot", i, "focus", k, "focus"), "this is where the lens itself is", "Give a point in front of the lens, a distance, or a prop's name.")


def marks_of(shot) -> tuple[FocusMark, ...]:
    """Return the marks of a shot's pull; none where focus is one thing throughout."""
    focus = shot.focus
    return focus if isinstance(focus, tuple) and isinstance(focus[0], FocusMark) else ()


RULES = (lens_says_one, marks_follow, marks_refer)
