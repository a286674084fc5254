"""
Reading the maker's scene file: text in, a checked Scene out, or every fault of the file at once.

    bytes -> text -> plain values + marks -> kit written out -> sound tables (a Draft) -> cross references -> plane geometry -> Scene
             |       |                       |                         |                   |
             +-------+-----------------------+-- Problems -------------+-------------------+--> SceneFaults with lines

Knows no solids: what only shows on the built set is asked later, with `SceneFile.fault` for its lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from previz.scene.crossrefs import crossref_problems
from previz.scene.draft import Problem
from previz.scene.faults import Fault, SceneFaults
from previz.scene.kit import equipped
from previz.scene.located import located
from previz.scene.marks import Marks
from previz.scene.model import Scene
from previz.scene.plane import DRAWN, plane_problems
from previz.scene.syntax import values_of
from previz.scene.tables import ROWS, assembled, drafted
from previz.scene.text import text_of, whole


@dataclass(frozen=True)
class SceneFile:
    """
    A scene file that was read without faults.

    path   as the maker named it
    text   the whole file
    scene  the checked tables, every `repeat` written out
    """

    path: Path
    text: str
    scene: Scene
    _marks: Marks
    _typed: dict
    _rows: dict[str, tuple[int, ...]]

    def line_of(self, key_path: tuple[str | int, ...]) -> int:
        """
        Return the line, from 1, of a key of `scene`: ("prop", 7, "at") is the eighth prop of `scene.prop`.

        What the file leaves to its default has the line of its table, or 0 where that is not in the file either.
        """
        _, mark = self._marks.nearest(self._as_typed(key_path))
        return self._marks.line_at(mark.key[0]) if mark else 0

    def fault(self, key_path: tuple[str | int, ...], found: str, allowed: str, remedy: str) -> Fault:
        """Return a Fault about a key of `scene`, with its line and its mark."""
        problem = Problem(self._as_typed(key_path), allowed, remedy, found)
        return located(problem, self.path, self._marks, self._typed)

    def path_in_text(self, key_path: tuple[str | int, ...]) -> tuple[str | int, ...]:
        """Return a key of `scene` as the file's text has it: a row that it repeats is one."""
        return self._as_typed(key_path)

    def tables(self) -> dict:
        """Return the checked tables as plain values, keys as typed: defaults written out, what the file repeats left as its one row."""
        plain = self.scene.model_dump(mode="json", by_alias=True)
        for table, numbers in self._rows.items():
            once: dict[int, dict] = {}
            for number, row in zip(numbers, plain[table]):
                typed = self._typed[table][number]
                once.setdefault(number, {**row, "name": typed["name"], **({"repeat": typed["repeat"]} if "repeat" in typed else {})})
            plain[table] = list(once.values())
        return plain

    def is_repeated(self, table: str, number: int) -> bool:
        """Return whether a row of `scene` is one of several that the file writes once."""
        rows = self._rows[table]
        return rows.count(rows[number]) > 1

    def _as_typed(self, key_path):
        """Count rows as in the file, where a repeated row is one, and keys as typed."""
        keys = [part.rstrip("_") if isinstance(part, str) and part in ("from_",) else part for part in key_path]
        if len(keys) > 1 and isinstance(keys[1], int) and keys[0] in self._rows:
            keys[1] = self._rows[keys[0]][keys[1]]
        return tuple(keys)


def read_scene(path: str | Path) -> SceneFile:
    """
    Return a scene file, checked.

    Raises
    ------
    SceneFaults
        With every fault of the file: its text, its keys and values, its cross references, its geometry in the plane.
    """
    path = Path(path)
    text = text_of(path)
    return scene_from(text, path)


def scene_from(text: str, path: Path) -> SceneFile:
    """Return the scene that a text holds; `path` is what its faults call it."""
    if not text.strip():
        raise whole(path, "the file is empty", "`previz new` writes a commented starter file.")
    typed, marks = values_of(text, path)
    return _scene(text, path, marks, typed, None)


def scene_again(file: SceneFile, text: str, typed: dict) -> SceneFile:
    """
    Return the scene of a text that spells some values of `file` otherwise, from its plain values: quicker than `scene_from`.

    For what is tried out and not stored: lines of faults are those of `file`, and what its geometry in the plane does not
    depend on does not have that checked again.
    """
    return _scene(text, file.path, file._marks, typed, file)


def _scene(text: str, path: Path, marks: Marks, typed: dict, before: SceneFile | None) -> SceneFile:
    """The scene of plain values; `before` is a sound one that they differ from."""
    kit = equipped(typed, path.parent)
    typed = kit.typed
    if kit.faults:
        raise SceneFaults([*kit.faults, *(located(problem, path, marks, typed) for problem in kit.problems)])
    draft, problems = drafted(typed)
    problems += crossref_problems(draft)
    if before is None or any(typed.get(table) != before._typed.get(table) for table in DRAWN):
        problems += plane_problems(draft)
    if kit.problems:
        # A piece that is on no shelf leaves keys missing that it would have brought.
        unknown = {problem.path[:-1] for problem in kit.problems}
        problems = [*kit.problems, *(problem for problem in problems if not any(problem.path[: len(path)] == path for path in unknown))]
    if problems:
        raise SceneFaults([located(kit.sourced(problem), path, marks, typed) for problem in problems])
    rows = {table: draft.expanded(table) for table in ROWS}
    return SceneFile(path, text, assembled(draft, rows), marks, typed, {t: tuple(i for i, _ in r) for t, r in rows.items()})
