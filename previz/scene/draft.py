"""
A scene file half read: what was typed, which tables of it are sound, and problems by key path.

The checks of cross references and of geometry take a Draft, so that they run on the sound tables even where others are
not. Knows no text and no lines: a Problem names its place by key path alone.
"""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from previz.scene.model import Repeat
from previz.scene.values import Table, plain_name

Path = tuple[str | int, ...]
MOST_THINGS = 20_000
ENOUGH = 1000


class Problem(NamedTuple):
    """
    One thing wrong, before its line is known.

    path     key path in the file, rows counted as typed: ("lamp", 0, "at")
    allowed  what must stand there, or what is wrong with it
    remedy   what to do about it
    found    what stands there; None to quote the file
    on_key   mark the key rather than the value
    """

    path: Path
    allowed: str
    remedy: str
    found: str | None = None
    on_key: bool = False


@dataclass(frozen=True)
class Draft:
    """
    What is known of a scene file while it is checked.

    typed    the file's plain values
    rows     the sound rows of each [[table]], with their number in the file (from 0)
    tables   the sound single tables, by name; those not in the file are absent
    finishes the sound finishes, by name
    """

    typed: dict
    rows: dict[str, list[tuple[int, Table]]] = field(default_factory=dict)
    tables: dict[str, Table] = field(default_factory=dict)
    finishes: dict[str, Table] = field(default_factory=dict)

    def typed_rows(self, table: str) -> list[tuple[int, dict]]:
        """Return every row of a [[table]] that is a table at all, sound or not."""
        rows = self.typed.get(table)
        return [(i, row) for i, row in enumerate(rows) if isinstance(row, dict)] if isinstance(rows, list) else []

    def names_by_row(self, *tables: str) -> Iterator[tuple[str, int, list[str]]]:
        """
        Yield (table, row number, names) for every row with a name, sound or not.

        A repeated row has its own name and those of its members: "stool", "stool-1", "stool-2". Past MOST_THINGS
        members (a fault of its own) rows come without them.
        """
        left = MOST_THINGS
        for table in tables:
            for i, row in self.typed_rows(table):
                names = _row_names(row, left)
                left -= len(names)
                if names:
                    yield table, i, names

    def names_typed(self, *tables: str) -> dict[str, None]:
        """Return the names of `names_by_row`, in order."""
        return dict.fromkeys(name for _, _, names in self.names_by_row(*tables) for name in names)

    def expanded(self, table: str) -> list[tuple[int, Table]]:
        """Return the sound rows of a [[table]], at most MOST_THINGS, each `repeat` written out, with their number in the file."""
        singles = ((i, single) for i, row in self.rows.get(table, []) for single in written_out(row))
        return list(itertools.islice(singles, MOST_THINGS))


def _row_names(row, most):
    name, repeat = row.get("name"), row.get("repeat")
    if not isinstance(name, str):
        return []
    count = repeat.get("count") if isinstance(repeat, dict) else None
    if type(count) is not int or not 0 < count <= min(1000, most):
        return [name]
    return [name, *(f"{name}-{k + 1}" for k in range(count))]


def written_out(row: Table) -> list[Table]:
    """Return a row as its single things: itself, or name-1, name-2, ... where it has `repeat`."""
    repeat: Repeat | None = getattr(row, "repeat", None)
    if repeat is None:
        return [row]
    step = (*repeat.step, 0.0)[: len(row.at)]
    return [
        row.model_copy(
            update={
                "name": f"{row.name}-{k + 1}",
                "at": tuple(a + k * d for a, d in zip(row.at, step)),
                "repeat": None,
            }
        )
        for k in range(repeat.count)
    ]


def is_name(value) -> bool:
    """Return whether a typed value can be a thing's name; what cannot is explained with the model."""
    if not isinstance(value, str):
        return False
    try:
        return bool(plain_name(value))
    except ValueError:
        return False


def nearest(name: str, known) -> str | None:
    """Return the known name that was most likely meant, or None: alike by difflib, else one that begins so."""
    folded = {str(k).casefold(): k for k in known}
    typed = name.casefold()[:100]
    close = difflib.get_close_matches(typed, list(folded), n=1, cutoff=0.65)
    begun = [k for k in folded if len(typed) > 2 and k.startswith(typed)]
    return next((folded[k] for k in close + begun), None)


def listed(items, last: str = " or") -> str:
    """Return 'a, b or c'."""
    items = list(items)
    return f"{last} ".join([", ".join(items[:-1]), items[-1]]) if len(items) > 1 else "".join(items)


def quoted(names, most: int = 12) -> str:
    """Return '"a", "b" or "c"', cut short after `most`."""
    names = [f'"{name}"' for name in names]
    return listed(names) if len(names) <= most else ", ".join(names[:most]) + ", ..."


def mm(value: float) -> str:
    """Return a length as a maker would say it: at most two decimals, none that are zero."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def point(values) -> str:
    """Return '[12.5, 40]'."""
    return "[" + ", ".join(mm(v) for v in values) + "]"
