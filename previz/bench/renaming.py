"""
A row that gets another name, and everything that means it by its name.

Takes plain values and changes by key; gives the changes that keep every mention true. Knows which keys mention what.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from previz.bench.keys import renamed, row_number
from previz.bench.wire import Change


def with_mentions(typed: dict, changes: Iterable[Change]) -> list[Change]:
    """Return changes, and for each row that they rename those of the keys that mention it; a key that they change themselves is left to them."""
    changes = list(changes)
    added = []
    for (table, old), new in renamed(changes):
        number = row_number(typed, table, old)
        if number is None or old == new:
            continue
        repeated = "repeat" in typed[table][number]
        for key, value in _mentions(typed, table):
            now = _anew(value, table, old, new, repeated)
            if now != value and not any(change.key == key for change in (*changes, *added)):
                # The renamed row's own keys come after its new name.
                added.append(Change(key=[table, new, *key[2:]] if key[:2] == [table, old] else key, to=now))
        if table == "lamp":
            added += _own_lamps(typed, old, new)
    return [*changes, *added]


def _mentions(typed, table) -> Iterator[tuple[list, object]]:
    """Every key that may name a row of a table, with what it holds."""
    if table == "room":
        yield from _held(typed, "opening", "wall")
    if table in ("opening", "prop"):
        yield from _held(typed, "lamp", "toward")
        for shot in typed.get("shot", []):
            for name, lamp in shot.get("lamps", {}).items():
                if isinstance(lamp, dict) and "toward" in lamp:
                    yield ["shot", shot["name"], "lamps", name, "toward"], lamp["toward"]
    if table == "prop":
        for key in ("look", "subject", "focus"):
            yield from _held(typed, "shot", key)
    if table == "lamp":
        yield from _held(typed, "shot", "white")


def _held(typed, table, key):
    for row in typed.get(table, []):
        if key in row:
            yield [table, row["name"], key], row[key]


def _anew(value, table, old, new, repeated):
    """A value that mentions the row by its new name; the pulls of focus are lists of tables."""
    if isinstance(value, list):
        return [{**item, "focus": _anew(item["focus"], table, old, new, repeated)} if isinstance(item, dict) and "focus" in item else item for item in value]
    if not isinstance(value, str):
        return value
    if table == "room":
        return new + value[len(old) :] if value.startswith(f"{old}.") else value
    if value == old:
        return new
    member = re.fullmatch(re.escape(old) + r"(-[0-9]+)", value) if repeated else None
    return new + member[1] if member else value


def _own_lamps(typed, old, new):
    """Shots that have this lamp differently say so under its name."""
    changes = []
    for shot in typed.get("shot", []):
        if old in shot.get("lamps", {}):
            changes += [Change(key=["shot", shot["name"], "lamps", new], to=shot["lamps"][old]), Change(key=["shot", shot["name"], "lamps", old], to=None)]
    return changes
