"""
A scene file with some values changed, and everything else as the maker typed it: comments, order and spaces.

Takes the file's text and new values by key path; gives text. Checks nothing: the result is read again like any file.
"""

from __future__ import annotations

from collections.abc import Mapping

import tomlkit

Path = tuple[str | int, ...]


def rewritten(text: str, changes: Mapping[Path, object], digits: int | None = 2) -> str:
    """
    Return the TOML `text` with values changed or added.

    Parameters
    ----------
    changes : mapping of key path to value
        ("lamp", 0, "at"): [1.0, 2.0, 3.0]. Tables on the way must be there; a row past the last of [[tables]] is added as
        a whole, ("opening", 3): {...}. None takes a key away.
    digits : int or None
        Kept after the decimal point; None keeps all, for what a maker has measured.
    """
    document = tomlkit.parse(text)
    for path, value in changes.items():
        *way, key = path
        table = document
        if len(path) == 2 and isinstance(key, int) and way[0] not in document:
            document.append(way[0], tomlkit.aot())
        for part in way:
            table = table[part]
        if value is None:
            table.pop(key, None)
        elif isinstance(table, list) and key >= len(table):
            table.append(_row(value, digits))
        else:
            table[key] = _plain(value, digits)
    return tomlkit.dumps(document)


def _row(value: Mapping, digits: int | None):
    """A new [[table]], its lists and inline tables on one line each."""
    row = tomlkit.table()
    for key, item in value.items():
        row.add(key, _plain(item, digits))
    return row


def _plain(value, digits: int | None):
    """Numbers without more digits than a maker can measure, mappings as inline tables; lists, also of tables, on one line."""
    if isinstance(value, Mapping):
        table = tomlkit.inline_table()
        table.update({key: _plain(item, digits) for key, item in value.items()})
        return table
    if isinstance(value, (list, tuple)):
        array = tomlkit.array()
        array.extend(_plain(item, digits) for item in value)
        return array
    if isinstance(value, float):
        return int(value) if value.is_integer() else value if digits is None else round(value, digits)
    return value
