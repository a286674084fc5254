"""
The bytes of a file that a maker typed, as text; or in plain words why there is none to read.

Takes a path; gives text without a byte order mark, or SceneFaults. Knows no TOML.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from previz.scene.draft import nearest
from previz.scene.faults import Fault, SceneFaults

LARGEST_BYTES = 1_000_000


def text_of(path: Path) -> str:
    """Return the text of a scene file, without a byte order mark; raise SceneFaults where it has none to give."""
    try:
        state = path.stat()
        if stat.S_ISDIR(state.st_mode):
            raise whole(path, "this is a folder, not a scene file", _scenes_in(path))
        if not stat.S_ISREG(state.st_mode):
            raise whole(path, "this is not an ordinary file", "Give the name of a scene file.")
        if state.st_size > LARGEST_BYTES:
            raise _too_large(path, state.st_size)
        with path.open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise whole(path, "there is no such file", _near_file(path)) from None
    except PermissionError:
        raise whole(path, "there is no permission to read it", "Change the file's permissions, or copy it elsewhere.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "this cannot be a file's name"
        raise whole(path, f"it cannot be read: {reason}", "Check the name and the disk.") from None
    return _decoded(path, data)


def _decoded(path, data):
    save = "Open it in a text editor and save it as UTF-8."
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise whole(path, "the text is saved as UTF-16", save)
    if b"\0" in data:
        raise whole(path, "this is a binary file, not a scene file", "A scene file is plain text; `previz new` writes one.")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        says = f"a character is not UTF-8 (byte 0x{data[error.start]:02X})"
        raise SceneFaults([Fault(path, line, "", "", says, save)]) from None


def whole(path: Path, says: str, remedy: str) -> SceneFaults:
    """Return the fault of a file as a whole."""
    return SceneFaults([Fault(path, 0, "", "", says, remedy)])


def _too_large(path, size):
    says = f"the file is too large for a scene file: {size / 1e6:,.1f} MB, at most {LARGEST_BYTES / 1e6:.0f} MB are read"
    return whole(path, says, "Keep large shapes in mesh files and name them with file = ...")


def too_deep(path: Path, text: str, offset: int) -> SceneFaults:
    """Return the fault of a text whose brackets nest too deep."""
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
