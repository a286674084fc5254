"""
A problem becomes a fault: key paths become lines and marks of the text.

Takes a Problem, the marks of the text that it is about and the plain values typed there; gives a Fault.
"""

from __future__ import annotations

from pathlib import Path

from previz.scene.draft import Problem
from previz.scene.faults import Fault
from previz.scene.marks import Marks
from previz.scene.places import place

_LONGEST_FOUND = 50


def located(problem: Problem, path: Path, marks: Marks, typed: dict, key: str | None = None) -> Fault:
    """Return a problem of the file at `path` as a fault: with its line, its mark and, where it quotes the file, what was typed; `key` is what to call its place, if not as in a scene."""
    known, mark = marks.nearest(problem.path)
    key = place(problem.path, typed) if key is None else key
    if mark is None:
        return Fault(path, 0, key, problem.found or "", problem.allowed, problem.remedy, path=problem.path)
    valued = known == problem.path and mark.value[1] > mark.value[0]
    start, stop = mark.value if valued and not problem.on_key else mark.key
    found = problem.found
    if found is None:
        found = _shortened(marks.text[slice(*mark.value)]) if valued else ""
    line, column = marks.line_at(start), marks.column_at(start)
    source = marks.line_text(line)
    span = (column, min(column + stop - start, len(source)))
    return Fault(path, line, key, found, problem.allowed, problem.remedy, source, span, problem.path)


def _shortened(text):
    """A value as typed, on one line and not too long."""
    text = " ".join(text[: 4 * _LONGEST_FOUND].split())
    return text if len(text) <= _LONGEST_FOUND else text[: _LONGEST_FOUND - 3] + "..."
