"""
Reading the maker's scene file: text in, a checked Scene out, or every fault of the file at once.

    bytes -> text -> plain values + marks -> sound tables (a Draft) -> cross references -> plane geometry -> Scene
             |       |                       |                         |                   |
             +-------+-----------------------+-- Problems -------------+-------------------+--> SceneFaults with lines

Knows no solids: what only shows on the built set is asked later, with `SceneFile.fault` for its lines.
"""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path

from previz.scene.crossrefs import crossref_problems
from previz.scene.draft import Problem, nearest
from previz.scene.faults import Fault, SceneFaults
from previz.scene.marks import Marks, TooDeep
from previz.scene.model import Scene
from previz.scene.places import place
from previz.scene.plane import plane_problems
from previz.scene.syntax import parsed
from previz.scene.tables import ROWS, assembled, drafted

LARGEST_BYTES = 1_000_000
_LONGEST_FOUND = 50


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
        return _fault(problem, self.path, self._marks, self._typed)

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
        raise _whole(path, "the file is empty", "`previz new` writes a commented starter file.")
    try:
        marks = Marks(text)
    except TooDeep as error:
        raise _too_deep(path, text, error.offset) from None
    typed, slips = parsed(text, marks)
    if slips:
        raise SceneFaults([Fault(path, s.line, "", "", s.says, s.remedy, marks.line_text(s.line), s.span) for s in slips])
    draft, problems = drafted(typed)
    problems += crossref_problems(draft)
    problems += plane_problems(draft)
    if problems:
        raise SceneFaults([_fault(problem, path, marks, typed) for problem in problems])
    rows = {table: draft.expanded(table) for table in ROWS}
    return SceneFile(path, text, assembled(draft, rows), marks, typed, {t: tuple(i for i, _ in r) for t, r in rows.items()})


def _fault(problem, path, marks, typed):
    """Give a problem its line, its mark and, where it quotes the file, what was typed."""
    known, mark = marks.nearest(problem.path)
    key = place(problem.path, typed)
    if mark is None:
        return Fault(path, 0, key, problem.found or "", problem.allowed, problem.remedy)
    valued = known == problem.path and mark.value[1] > mark.value[0]
    start, stop = mark.value if valued and not problem.on_key else mark.key
    found = problem.found
    if found is None:
        found = _shortened(marks.text[slice(*mark.value)]) if valued else ""
    line, column = marks.line_at(start), marks.column_at(start)
    source = marks.line_text(line)
    span = (column, min(column + stop - start, len(source)))
    return Fault(path, line, key, found, problem.allowed, problem.remedy, source, span)


def _shortened(text):
    """A value as typed, on one line and not too long."""
    text = " ".join(text[: 4 * _LONGEST_FOUND].split())
    return text if len(text) <= _LONGEST_FOUND else text[: _LONGEST_FOUND - 3] + "..."


# ---------------------------------------------------------------- the file as bytes


def text_of(path: Path) -> str:
    """Return the text of a scene file, without a byte order mark; raise SceneFaults where it has none to give."""
    try:
        state = path.stat()
        if stat.S_ISDIR(state.st_mode):
            raise _whole(path, "this is a folder, not a scene file", _scenes_in(path))
        if not stat.S_ISREG(state.st_mode):
            raise _whole(path, "this is not an ordinary file", "Give the name of a scene file.")
        if state.st_size > LARGEST_BYTES:
            raise _too_large(path, state.st_size)
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise _whole(path, "there is no such file", _near_file(path)) from None
    except PermissionError:
        raise _whole(path, "there is no permission to read it", "Change the file's permissions, or copy it elsewhere.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "this cannot be a file's name"
        raise _whole(path, f"it cannot be read: {reason}", "Check the name and the disk.") from None
    return _decoded(path, data)


def _decoded(path, data):
    save = "Open it in a text editor and save it as UTF-8."
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _whole(path, "the text is saved as UTF-16", save)
    if b"\0" in data:
        raise _whole(path, "this is a binary file, not a scene file", "A scene file is plain text; `previz new` writes one.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        says = f"a character is not UTF-8 (byte 0x{data[error.start]:02X})"
        raise SceneFaults([Fault(path, line, "", "", says, save)]) from None


def _whole(path, says, remedy):
    return SceneFaults([Fault(path, 0, "", "", says, remedy)])


def _too_large(path, size):
    says = f"the file is too large for a scene file: {size / 1e6:,.1f} MB, at most {LARGEST_BYTES / 1e6:.0f} MB are read"
    return _whole(path, says, "Keep large shapes in mesh files and name them with file = ...")


def _too_deep(path, text, offset):
    line = text.count("\n", 0, offset) + 1
    return SceneFaults([Fault(path, line, "", "", "brackets or dotted keys nest too deep", "No key of a scene needs more than three brackets.")])


def _near_file(path):
    """The file most likely meant: one of nearly this name in that folder."""
    try:
        folder = path.parent if path.parent.is_dir() else None
        names = sorted(entry.name for entry in os.scandir(folder) if entry.is_file())[:5000] if folder else []
    except OSError:
        names, folder = [], path.parent
    if folder is None:
        return f"There is no folder {path.parent} either."
    close = nearest(path.name, names)
    return f"Did you mean {path.parent / close}?" if close else "Check the name; `previz new` writes a starter file."


def _scenes_in(path):
    try:
        names = sorted(entry.name for entry in path.glob("*.toml"))[:5]
    except OSError:
        names = []
    return "Give one of its files: " + ", ".join(names) + "." if names else "Give the name of a scene file, ending in .toml."
