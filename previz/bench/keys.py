"""
Keys of a scene file as the page writes them: a row goes by its name, so that rows that come or go move no other key.

Takes the file's plain values; finds, changes and compares them by key. Knows no text.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable

from previz.bench.wire import Change
from previz.scene.tables import ROWS

Key = list[str | int]
Path = tuple[str | int, ...]


class NoSuchPlace(Exception):
    """A key that leads nowhere; `says` and `remedy` in the maker's words."""

    def __init__(self, key: Key, says: str, remedy: str):
        super().__init__(says)
        self.key, self.says, self.remedy = key, says, remedy


def is_row(key: Key) -> bool:
    """Return whether a key means a whole row of a [[table]]."""
    return len(key) == 2 and key[0] in ROWS


def row_number(typed: dict, table: str, name) -> int | None:
    """Return the number of the row of that name, or None."""
    rows = typed.get(table)
    return next((i for i, row in enumerate(rows) if isinstance(row, dict) and row.get("name") == name), None) if isinstance(rows, list) else None


def path_of(typed: dict, key: Key) -> Path:
    """
    Return a key with its row counted, as the file's text has it; a row that is still to come is the one past the last.

    Raises
    ------
    NoSuchPlace
        Where there is no such row, or the key goes on inside a plain value.
    """
    table = key[0]
    if not isinstance(table, str):
        raise NoSuchPlace(key, "a key begins with the name of a table", 'Write it like ["lamp", "key", "at"].')
    path: Path = tuple(key)
    if table in ROWS:
        if len(key) < 2 or not isinstance(key[1], str):
            raise NoSuchPlace(key, f"a row of [[{table}]] goes by its name", f'Write it like ["{table}", "its name", ...].')
        number = row_number(typed, table, key[1])
        if number is None and len(key) > 2:
            raise NoSuchPlace(key, f'there is no {table} "{key[1]}" any more', "It has been renamed or taken away; look at the history.")
        path = (table, len(typed.get(table, ())) if number is None else number, *key[2:])
    held = typed
    for depth, part in enumerate(path):
        if isinstance(held, dict) and isinstance(part, str):
            held = held.get(part, [] if path[depth + 1 : depth + 2] == (0,) else {})
        elif isinstance(held, list) and isinstance(part, int) and part <= len(held):
            held = held[part] if part < len(held) else {}
        else:
            raise NoSuchPlace(key, f"{' '.join(map(str, key[:depth]))} holds nothing that is called {part}", "Reload the page: it shows an older file.")
    return path


def value_at(typed: dict, key: Key):
    """Return what a key holds, or None."""
    try:
        held = typed
        for part in path_of(typed, key):
            held = held[part]
    except (NoSuchPlace, KeyError, IndexError, TypeError):
        return None
    return held


def named(typed: dict, path: Path) -> Key:
    """Return a path with its row by name, as the page writes keys."""
    if len(path) > 1 and path[0] in ROWS:
        try:
            name = typed[path[0]][path[1]]["name"]
        except (KeyError, IndexError, TypeError):
            name = None
        return [path[0], name if isinstance(name, str) else path[1], *path[2:]]
    return list(path)


def applied(typed: dict, changes: Iterable[Change]) -> dict:
    """Return the plain values after changes, one after the other; NoSuchPlace as `path_of`."""
    typed = copy.deepcopy(typed)
    for change in changes:
        _put(typed, path_of(typed, change.key), row_value(change))
    return typed


def row_value(change: Change):
    """Return what a change puts in place; a row gets the name that its key has."""
    if is_row(change.key) and isinstance(change.to, dict):
        return {"name": change.key[1], **change.to}
    return change.to


def _put(typed, path, value):
    held = typed
    for part, then in zip(path, path[1:]):
        if value is None and not (part in held if isinstance(held, dict) else part < len(held)):
            return
        if isinstance(held, dict):
            held = held.setdefault(part, [] if isinstance(then, int) else {})
        else:
            if part == len(held):
                held.append({})
            held = held[part]
    last = path[-1]
    if value is None:
        if isinstance(held, list):
            del held[last : last + 1]
        else:
            held.pop(last, None)
    elif isinstance(held, list) and last == len(held):
        held.append(copy.deepcopy(value))
    else:
        held[last] = copy.deepcopy(value)


def differences(before: dict, after: dict) -> list[Change]:
    """Return the changes, key by key, that make `after` of `before`; rows count as the same that have the same name."""
    changes = []
    for table in dict.fromkeys([*before, *after]):
        was, now = before.get(table), after.get(table)
        if table in ROWS:
            changes += _row_differences(table, was or [], now or [])
        else:
            changes += _deep([table], was, now)
    return changes


def _row_differences(table, before, after):
    was = {row.get("name"): row for row in before}
    now = {row.get("name"): row for row in after}
    changes = []
    for name in dict.fromkeys([*was, *now]):
        if name not in now or name not in was:
            changes.append(Change(key=[table, name], to=now.get(name)))
        else:
            changes += _deep([table, name], was[name], now[name])
    return changes


def _deep(key, was, now):
    if was == now and type(was) is type(now):
        return []
    if isinstance(was, dict) and isinstance(now, dict):
        return [one for part in dict.fromkeys([*was, *now]) for one in _deep([*key, part], was.get(part), now.get(part))]
    return [Change(key=key, to=now)]


def overlap(one: Key, other: Key) -> bool:
    """Return whether two keys mean the same value, or one lies within the other."""
    length = min(len(one), len(other))
    return one[:length] == other[:length]


def renamed(changes: Iterable[Change]) -> list[tuple[Key, str]]:
    """Return (table and old name, new name) of each row that changes rename."""
    return [(list(change.key[:2]), change.to) for change in changes if len(change.key) == 3 and change.key[0] in ROWS and change.key[2] == "name" and isinstance(change.to, str)]


def followed(key: Key, renames: Iterable[tuple[Key, str]]) -> Key:
    """Return a key as it is called after rows were renamed."""
    for row, name in renames:
        if key[:2] == row:
            key = [row[0], name, *key[2:]]
    return key
