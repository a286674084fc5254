"""
Plain values to sound tables: each table of the file checked by itself, so that one bad row hides no other.

Takes what the TOML parser gave; gives a Draft and Problems, and in the end the Scene. Values are checked strictly:
text is never a number, true is never 1.
"""

from __future__ import annotations

from typing import TypeVar

from pydantic import ValidationError

from previz.scene.draft import ENOUGH, Draft, Problem, is_name
from previz.scene.explain import keys_of, kind_problems, row_class, single_class, table_problems, unknown_problems, value_problems
from previz.scene.model import KINDS, Finish, Opening, Room, Scene, Shot
from previz.scene.values import Table

ROWS: dict[str, type[Table] | None] = {"room": Room, "opening": Opening, "prop": None, "lamp": None, "shot": Shot}
SINGLES = ("mesh", "haze", "body", "lens", "slider", "lift", "hand", "table", "stand")
_PLAIN = ("title", "scale", "seed")

T = TypeVar("T", bound=Table)


def drafted(typed: dict) -> tuple[Draft, list[Problem]]:
    """Return the sound tables of the plain values, and what is wrong with the others; past ENOUGH problems, no more are sought."""
    draft, keys = Draft(typed), keys_of(Scene)
    problems = unknown_problems(typed, keys, (), "the scene file")
    for key in _PLAIN:
        if key in typed:
            problems += value_problems(keys[key].annotation, keys[key].metadata, typed[key], (key,), keys[key].description)
    for table in SINGLES:
        if table in typed:
            problems += _single(draft, table, typed[table])
    problems += _finishes(draft, typed.get("finish", {}))
    for table in ROWS:
        problems += _rows(draft, table, typed.get(table, []), ENOUGH - len(problems))
    return draft, problems


def assembled(draft: Draft, rows: dict[str, list[tuple[int, Table]]]) -> Scene:
    """Return the Scene of a draft without problems; `rows` are its rows with each `repeat` written out."""
    plain = {key: draft.typed[key] for key in _PLAIN if key in draft.typed}
    tables = {table: tuple(row for _, row in numbered) for table, numbered in rows.items()}
    return Scene(**plain, **tables, **draft.tables, finish=draft.finishes)


def _rows(draft, table, typed, enough):
    """[[table]]: each row."""
    if isinstance(typed, dict):
        return [Problem((table,), f"must be [[{table}]], in double brackets", f"Write [[{table}]] above each; there may be several.", "", True)]
    if not isinstance(typed, list):
        return [Problem((table,), f"must be written as [[{table}]] tables", f"Write [[{table}]] on a line of its own, then its keys.")]
    problems = []
    for i, row in enumerate(typed):
        if len(problems) > enough:
            break
        sound, wrong = _row(table, row, (table, i))
        problems += wrong
        if sound is not None and not wrong:
            draft.rows.setdefault(table, []).append((i, sound))
    return problems


def _row(table, row, path):
    """One row of a [[table]]: (the table, None where it is not sound; what is wrong)."""
    where = f"[[{table}]]"
    if not isinstance(row, dict):
        return None, [Problem(path, f"must be written as {where}", f"Write {where} on a line of its own, then its keys.")]
    model = ROWS[table] or row_class(table, row)
    if model is None:
        return None, kind_problems(table, row, path, where)
    return _checked(model, row, path, where if table not in KINDS else f'{where} of kind "{row["kind"]}"')


def _single(draft, table, typed):
    """[table], of which there is one."""
    if isinstance(typed, list) and all(isinstance(row, dict) for row in typed):
        return [Problem((table,), f"must be [{table}], in single brackets", "There is one in a scene; join them if there are more.", "", True)]
    if not isinstance(typed, dict):
        return [Problem((table,), f"must be written as a [{table}] table", f"Write [{table}] on a line of its own, then its keys.")]
    sound, problems = _checked(single_class(table), typed, (table,), f"[{table}]")
    if not problems:
        draft.tables[table] = sound
    return problems


def _finishes(draft, typed):
    """[finish.NAME], any number of them."""
    if not isinstance(typed, dict):
        remedy = "Write [finish.oak] on a line of its own, then reflect or colour."
        return [Problem(("finish",), "must be written as [finish.NAME] tables", remedy, "" if isinstance(typed, list) else None, True)]
    problems = []
    for name, finish in typed.items():
        path = ("finish", name)
        if not isinstance(finish, dict):
            remedy = f"Write [finish.{name[:40]}] on a line of its own, then reflect = 0 to 1 or colour."
            problems.append(Problem(path, "must be a table with reflect or colour", remedy))
            continue
        if not is_name(name):
            problems.append(Problem(path, "a name is 1 to 80 printable characters without a full stop", "Give it a shorter, plain name.", "", True))
        sound, wrong = _checked(Finish, finish, path, "[finish.NAME]")
        problems += wrong
        if not wrong:
            draft.finishes[name] = sound
    return problems


def _checked(model: type[T], typed: dict, path: tuple, where: str) -> tuple[T | None, list[Problem]]:
    """Return (the table, []) or (None, what is wrong with it)."""
    problems = table_problems(model, typed, path, where)
    if problems:
        return None, problems
    try:
        return model.model_validate(_tuples(typed), strict=True), []
    except ValidationError as error:
        # the model knows a rule that the explanation does not: say at least where, and what the key means
        keys = keys_of(model)
        wrong = dict.fromkeys(str(e["loc"][0]) for e in error.errors(include_input=False) if e["loc"])
        return None, [Problem((*path, key), "cannot be this", f"{key}: {keys[key].description}.") for key in wrong if key in keys]


def _tuples(value):
    """Lists as tuples, as the frozen tables hold them."""
    if isinstance(value, list):
        return tuple(_tuples(item) for item in value)
    if isinstance(value, dict):
        return {key: _tuples(item) for key, item in value.items()}
    return value
