"""
The list of kit that `previz kit` prints: each piece with its figures, and where it stands.

Takes the kit of a folder; gives plain values for JSON, or lines of text 80 columns wide.
"""

from __future__ import annotations

import textwrap
from pathlib import Path

from previz.scene.kit import TABLES, Kit, Piece

WIDTH = 80
HEADINGS = {"body": "Bodies", "lens": "Lenses", "slider": "Sliders", "lift": "Lifts", "lamp": "Lamps"}
EXAMPLES = (
    "The examples are in round figures of our own. Replace them by what stands on your own shelf: measure it, and write it "
    'into kit/shelf.toml beside your scene as [lens."NAME"], [lamp."NAME"] and so on. Your pieces come first.'
)
_TIED = "\N{NO-BREAK SPACE}"
NAMED = 'A scene names a piece: body = "NAME", [lens] kit = "NAME", or kit = "NAME" in a [[lamp]]. What it writes itself goes on top.'


def catalogue(folder: Path) -> list[dict]:
    """
    Return every piece that scenes in `folder` can name: table, name, file, line, example, and its figures as a kit file has them.

    Raises
    ------
    SceneFaults
        If a kit file cannot be read, or a piece in it is wrong.
    """
    kit = Kit(folder)
    order = sorted(kit.pieces.values(), key=lambda piece: (TABLES.index(piece.table), piece.shelf.example))
    return [_entry(kit, piece) for piece in order]


def _entry(kit: Kit, piece: Piece) -> dict:
    values, _ = kit.whole(piece.table, piece.name)
    place = {"table": piece.table, "name": piece.name, "file": piece.shelf.path.as_posix(), "line": piece.line, "example": piece.shelf.example}
    return {**place, "figures": values}


def catalogue_text(entries: list[dict]) -> str:
    """Return the list as text, its lines at most `WIDTH` columns wide."""
    blocks = []
    for table in TABLES:
        lines = [line for entry in entries if entry["table"] == table for line in _lines(entry)]
        blocks += ["\n".join([HEADINGS[table], *lines])] if lines else []
    closing = [NAMED, *([EXAMPLES] if any(entry["example"] for entry in entries) else [])]
    return "\n\n".join([*blocks, *(textwrap.fill(text, WIDTH, break_on_hyphens=False) for text in closing)]) + "\n"


def _lines(entry):
    """A piece: its name and where it stands, its figures below."""
    where = "example" if entry["example"] else f"{Path(entry['file']).name}, line {entry['line']}"
    figures = ", ".join(f"{key} {_shown(value)}".replace(" ", _TIED) for key, value in entry["figures"].items())
    wrapped = textwrap.wrap(figures, WIDTH, initial_indent="    ", subsequent_indent="    ", break_on_hyphens=False)
    return [f"  {entry['name']} ({where})", *(line.replace(_TIED, " ") for line in wrapped)]


def _shown(value) -> str:
    """A figure as a maker reads it: 130 x 90 x 80, -30 to 30, 300 x 18 then 90 x 55."""
    if isinstance(value, (list, tuple)):
        if value and isinstance(value[0], (list, tuple)):
            return " then ".join(_shown(item) for item in value)
        low = len(value) == 2 and all(isinstance(item, (int, float)) for item in value) and value[0] <= 0
        return (" to " if low else " x ").join(_shown(item) for item in value)
    if isinstance(value, dict):
        return "(" + ", ".join(f"{key} {_shown(item)}" for key, item in value.items()) + ")"
    if isinstance(value, float):
        return f"{value:,.10g}"
    return f"{value:,}" if isinstance(value, int) and not isinstance(value, bool) else str(value)
