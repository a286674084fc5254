"""
Key paths as a maker would say them: '[[lamp]] "key" lux_at_1m'.

Takes a key path and the file's plain values; gives text.
"""

from __future__ import annotations

from previz.scene.tables import ROWS, SINGLES

_LONGEST_NAME = 40


def place(path: tuple[str | int, ...], typed: dict) -> str:
    """Return what to call a key path; rows by their name where they have one, else by number, counted from 1."""
    if not path:
        return ""
    head, rest = _head(path, typed)
    return " ".join(part for part in (head, _inside(rest)) if part)


def _head(path, typed):
    table = path[0]
    if table in ROWS and len(path) > 1:
        return f"[[{table}]] {_row_name(typed, table, path[1])}", path[2:]
    if table in ROWS:
        return f"[[{table}]]", ()
    if table == "finish" and len(path) > 1:
        return f"[finish.{str(path[1])[:_LONGEST_NAME]}]", path[2:]
    if table in SINGLES or table == "finish":
        return f"[{table}]", path[1:]
    return str(table)[:_LONGEST_NAME], path[1:]


def _row_name(typed, table, index):
    try:
        name = typed[table][index]["name"]
    except (KeyError, IndexError, TypeError):
        name = None
    return f'"{name[:_LONGEST_NAME]}"' if isinstance(name, str) and name.strip() else f"number {index + 1}"


def _inside(path):
    """'bars.columns', 'plan, item 4', 'plan, item 4, number 2'."""
    keys = [str(part)[:_LONGEST_NAME] for part in path if isinstance(part, str)]
    numbers = [part + 1 for part in path if isinstance(part, int)]
    words = [f"{word} {number}" for word, number in zip(("item", "number", "part"), numbers)]
    return ", ".join([".".join(keys), *words])
