"""
What is wrong with a value, in a maker's words.

Takes a table's class from the model and the plain values typed for it; gives Problems. The classes' annotations say
what is allowed, so a key added to the model is explained without a line here. Where a key may take several forms
and the value fits none, that is one problem that lists the forms.
"""

from __future__ import annotations

import math
import re
import types
from typing import Annotated, Any, Literal, NamedTuple, Union, get_args, get_origin

from pydantic import AfterValidator, BaseModel
from pydantic.fields import FieldInfo

from previz.scene.draft import Problem, listed, nearest
from previz.scene.model import KINDS, Scene
from previz.scene.values import FARTHEST_MM, Table, hex_colour

_UNSAID = 1e5
_MOST_MEANT = 20
_SHAPES = {bool: "switch", int: "number", float: "number", str: "text", list: "list", tuple: "list", dict: "table"}


class Limits(NamedTuple):
    """The range of a number or of a list's length; None where open."""

    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None
    min_length: int | None = None
    max_length: int | None = None


def keys_of(model: type[Table]) -> dict[str, FieldInfo]:
    """Return the keys of a table as typed in the file, with what the model says of each."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


def row_class(table: str, row: dict) -> type[Table] | None:
    """Return the class of a row of a [[table]] that comes in kinds, or None where its kind is not known."""
    kind = row.get("kind")
    return KINDS[table][1].get(kind) if isinstance(kind, str) else None


def table_problems(model: type[Table], typed: dict, path: tuple, where: str) -> list[Problem]:
    """
    Return what is wrong with a table: unknown keys, missing ones, then values in the order typed.

    Parameters
    ----------
    model : class of the table
    typed : its plain values
    path : its key path
    where : what to call the table, "[[lamp]]"
    """
    keys = keys_of(model)
    problems = unknown_problems(typed, keys, path, where)
    meant = set(_meant(typed, keys).values())
    problems += [
        Problem(path, f"{key} is missing", f"Add {key} = ...: {info.description}.", found="", on_key=True)
        for key, info in keys.items()
        if info.is_required() and key not in typed and key not in meant
    ]
    for key, value in typed.items():
        if key in keys:
            info = keys[key]
            problems += value_problems(info.annotation, info.metadata, value, path + (key,), info.description)
    return problems


def kind_problems(table: str, typed: dict, path: tuple, where: str) -> list[Problem]:
    """Return what is wrong with a row whose kind is missing or unknown: that, and the values of keys that all kinds share."""
    shared, kinds = KINDS[table]
    names = [f'"{kind}"' for kind in kinds]
    if "kind" not in typed:
        first = Problem(path, "kind is missing", f"Add kind = ...: {listed(names)}.", found="", on_key=True)
    else:
        remedy = _literal_remedy(typed["kind"], list(kinds)) or "Write one of these kinds."
        first = Problem(path + ("kind",), f"must be {listed(names)}", remedy)
    known = {key: value for key, value in typed.items() if key in keys_of(shared)}
    return [first, *table_problems(shared, known, path, where)]


def unknown_problems(typed: dict, keys: dict, path: tuple, where: str) -> list[Problem]:
    """Return a problem for each key that the table does not have, with the nearest that it has."""
    meant = _meant(typed, keys)
    return [_unknown(key, meant.get(key), keys, path, where) for key in typed if key not in keys]


def _meant(typed, keys):
    """Unknown key -> the key most likely meant, one not yet typed where there is one; of the first few, for speed."""
    unknown = [key for key in typed if key not in keys][:_MOST_MEANT]
    free = [key for key in keys if key not in typed]
    found = {key: nearest(key, free) or nearest(key, keys) for key in unknown}
    return {key: close for key, close in found.items() if close}


def _unknown(key, meant, keys, path, where):
    home = _home_of(key)
    if meant:
        remedy = f"Did you mean {meant}?"
    elif home:
        remedy = home
    else:
        remedy = f"Keys here: {', '.join(keys)}."
    return Problem(path + (key,), f"is not a key of {where}", remedy, found="", on_key=True)


def _home_of(key):
    """Where a key would belong that was typed in the wrong table."""
    top = keys_of(Scene)
    if key in ("title", "scale", "seed"):
        return f"{key} belongs at the top of the file, before the first [table]."
    if key in top:
        return f"[{key}] is a table of its own: it belongs outside this one."
    homes = [name for name in ("haze", "body", "lens", "slider", "lift", "hand", "table", "stand") if key in keys_of(single_class(name))]
    return f"{key} belongs in {listed(f'[{home}]' for home in homes)}." if homes else None


def single_class(table: str) -> type[Table]:
    """Return the class of a single [table]."""
    branches = [arg for arg in _branches(Scene.model_fields[table].annotation, ()) if _is_table(arg[0])]
    return branches[0][0]


def value_problems(annotation: Any, metadata, value, path: tuple, description: str) -> list[Problem]:
    """Return what is wrong with one value against its annotation; [] where it fits."""
    branches = _branches(annotation, metadata)
    if len(branches) == 1:
        return _branch_problems(*branches[0], value, path, description)
    if any(not _branch_problems(*branch, value, path, description) for branch in branches):
        return []
    alike = [branch for branch in branches if _alike(branch[0], value)]
    if len(alike) == 1 and get_origin(alike[0][0]) is not Literal:
        return _branch_problems(*alike[0], value, path, description)
    words = [alternative for branch in branches if get_origin(branch[0]) is Literal for alternative in get_args(branch[0])]
    remedy = _literal_remedy(value, words) or _number_remedy(value, path, branches) or _meaning(path, description)
    return [Problem(path, f"must be {_forms(branches)}", remedy)]


def _branches(annotation, metadata):
    """The alternatives of an annotation without None: (type, metadata) each."""
    if get_origin(annotation) is Annotated:
        base, *extra = get_args(annotation)
        return _branches(base, (*_flat(extra), *metadata))
    if get_origin(annotation) in (Union, types.UnionType):
        return [branch for arg in get_args(annotation) if arg is not type(None) for branch in _branches(arg, metadata)]
    return [(annotation, tuple(metadata))]


def _flat(metadata):
    return [entry for item in metadata for entry in (item.metadata if isinstance(item, FieldInfo) else [item])]


def _limits(metadata) -> Limits:
    found = {}
    for entry in metadata:
        for name in Limits._fields:
            if getattr(entry, name, None) is not None:
                found[name] = getattr(entry, name)
    return Limits(**found)


def _is_table(annotation):
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _shape(annotation):
    """What a value for this type looks like in the file."""
    origin = get_origin(annotation) or annotation
    if origin is Literal:
        return "text"
    return "table" if _is_table(origin) else _SHAPES[origin]


def _alike(annotation, value):
    """Whether the value looks like this branch: the same shape, for a list the same kind of items, and the same length where that is fixed."""
    if _shape(annotation) != _SHAPES.get(type(value)):
        return False
    if _shape(annotation) != "list":
        return True
    args = get_args(annotation)
    of_tables = _shape(_branches(args[0], ())[0][0]) == "table"
    if value and of_tables != isinstance(value[0], dict):
        return False
    return args[-1] is Ellipsis or len(args) == len(value)


def _branch_problems(annotation, metadata, value, path, description):
    """What is wrong with a value against one type."""
    shape = _shape(annotation)
    if _SHAPES.get(type(value)) != shape:
        remedy = _number_remedy(value, path, [(annotation, metadata)]) or _text_remedy(value, path, shape) or _meaning(path, description)
        return [Problem(path, f"must be {_forms([(annotation, metadata)])}", remedy)]
    check = {"number": _number, "text": _text, "list": _list, "table": _table, "switch": lambda *_: []}[shape]
    return check(annotation, metadata, value, path, description)


def _number(annotation, metadata, value, path, description):
    limits = _limits(metadata)
    if isinstance(value, float) and not math.isfinite(value):
        return [Problem(path, f"must be {_number_words(annotation, limits)}, not nan or inf", _meaning(path, description))]
    if annotation is int and isinstance(value, float):
        whole = f"Write it without decimals: {_as_typed(path, f'{value:.0f}')}." if value == int(value) and abs(value) < 1e6 else ""
        return [Problem(path, f"must be {_number_words(int, limits)}", whole or _meaning(path, description))]
    if _inside(value, limits):
        return []
    hidden = _unsaid_limit(value, limits)
    if hidden and abs(value) > FARTHEST_MM and FARTHEST_MM in (limits.le, -(limits.ge or 0)):
        return [Problem(path, f"must be {hidden}", f"Lengths are in mm; nothing may be more than {FARTHEST_MM / 1000:.0f} m.")]
    return [Problem(path, f"must be {hidden or _range_words(limits)}", _meaning(path, description))]


def _inside(value, limits):
    return (
        (limits.gt is None or value > limits.gt)
        and (limits.ge is None or value >= limits.ge)
        and (limits.lt is None or value < limits.lt)
        and (limits.le is None or value <= limits.le)
    )


def _said(limit):
    return limit is not None and abs(limit) < _UNSAID


def _range_words(limits):
    """'above 0', 'from 0 to 1', 'above 0.3, at most 200'; limits that nobody meets are left out."""
    if _said(limits.ge) and _said(limits.le):
        return f"from {limits.ge:g} to {limits.le:g}"
    words = []
    words += [f"above {limits.gt:g}"] if _said(limits.gt) else []
    words += [f"{limits.ge:g} or more"] if _said(limits.ge) else []
    words += [f"at most {limits.le:,g}"] if _said(limits.le) else []
    return ", ".join(words)


def _unsaid_limit(value, limits):
    """The far limit that a value oversteps, in words, where the range leaves it unsaid."""
    if limits.le is not None and not _said(limits.le) and value > limits.le:
        return f"at most {limits.le:,.0f}"
    if limits.ge is not None and not _said(limits.ge) and value < limits.ge:
        return f"at least {limits.ge:,.0f}"
    return ""


def _number_words(annotation, limits):
    kind = "a whole number" if annotation is int else "a number"
    return f"{kind} {_range_words(limits)}".rstrip()


def _text(annotation, metadata, value, path, description):
    if get_origin(annotation) is Literal:
        if value in get_args(annotation):
            return []
        remedy = _literal_remedy(value, get_args(annotation)) or _meaning(path, description)
        return [Problem(path, f"must be {_forms([(annotation, metadata)])}", remedy)]
    limits = _limits(metadata)
    longest = limits.max_length or Table.model_config["str_max_length"]
    if not (limits.min_length or 0) <= len(value) <= longest:
        return [Problem(path, f"must have {limits.min_length or 0} to {longest} characters", _meaning(path, description))]
    for validator in (entry for entry in metadata if isinstance(entry, AfterValidator)):
        try:
            validator.func(value)
        except ValueError as error:
            return [Problem(path, str(error), _meaning(path, description))]
    return []


def _list(annotation, metadata, value, path, description):
    members, limits = get_args(annotation), _limits(metadata)
    if members[-1] is Ellipsis:
        if not (limits.min_length or 0) <= len(value) <= (limits.max_length or math.inf):
            says = f"must have {limits.min_length or 0} to {limits.max_length:,} items, {_forms([(annotation, metadata)])}"
            return [Problem(path, says, _meaning(path, description), found=f"{len(value):,}")]
        members = (members[0],) * len(value)
    elif len(members) != len(value):
        return [Problem(path, f"must be {_forms([(annotation, metadata)])}", _meaning(path, description))]
    return [
        problem
        for i, (member, item) in enumerate(zip(members, value))
        for problem in value_problems(member, (), item, path + (i,), description)
    ]


def _table(annotation, metadata, value, path, description):
    if _is_table(annotation):
        return table_problems(annotation, value, path, next(part for part in reversed(path) if isinstance(part, str)))
    key_type, value_type = get_args(annotation)
    return [
        problem
        for key, item in value.items()
        for problem in [
            *(p._replace(on_key=True, found="") for p in value_problems(key_type, (), key, path + (key,), description)),
            *value_problems(value_type, (), item, path + (key,), description),
        ]
    ]


def _forms(branches):
    """The forms a key may take: '"rect", "arch" or {outline}'."""
    forms = [form for annotation, metadata in branches for form in _form(annotation, metadata)]
    # a form that has a comma or an "each" of its own needs one before "or"
    return listed(forms, ", or" if any(re.search(r"\beach\b|, at most", form) for form in forms[:-1]) else " or")


def _form(annotation, metadata):
    shape = _shape(annotation)
    if get_origin(annotation) is Literal:
        return [f'"{word}"' for word in get_args(annotation)]
    if shape == "list":
        return [_list_form(annotation)]
    if shape == "table":
        return ["{" + ", ".join(keys_of(annotation)) + "}"] if _is_table(annotation) else ["{part = name, ...}"]
    if shape == "number":
        return [_number_words(annotation, _limits(metadata))]
    if shape == "switch":
        return ["true", "false"]
    validators = [entry.func for entry in metadata if isinstance(entry, AfterValidator)]
    return ['"#rrggbb"'] if hex_colour in validators else ["a name in quotes"] if validators else ["text in quotes"]


def _list_form(annotation):
    """'[number, number], each above 0' or '[[number, number], ...]'."""
    members = get_args(annotation)
    ((first, metadata),) = _branches(members[0], ())
    if _shape(first) == "number":
        each, word = _range_words(_limits(metadata)), "whole number" if first is int else "number"
    else:
        each, word = "", _form(first, metadata)[0].removeprefix("a ").removesuffix(" in quotes")
    word = f'"{word}"' if word == "name" else word
    inside = f"{word}, ..." if members[-1] is Ellipsis else ", ".join([word] * len(members))
    return f"[{inside}]" + (f" each {each}" if each else "")


def _meaning(path, description):
    keys = [str(part) for part in path if isinstance(part, str)]
    return f"{keys[-1]}: {description}{'' if description.endswith('.') else '.'}" if keys and description else ""


def _literal_remedy(value, words):
    close = nearest(value, words) if isinstance(value, str) and words else None
    return f'Did you mean "{close}"?' if close else ""


def _number_remedy(value, path, branches):
    """A number in quotes, with a comma, or with its unit, where no text may stand."""
    if not isinstance(value, str) or not any(_shape(annotation) == "number" for annotation, _ in branches):
        return ""
    match = re.fullmatch(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*([A-Za-z/°%]{0,8}\d?)\s*", value[:60])
    if not match:
        return ""
    number = match[1].replace(",", ".")
    what = _as_typed(path, number)
    return f"Write the number alone, without its unit: {what}." if match[2] else f"Remove the quotes: {what}."


def _as_typed(path, value):
    """'count = 3' for a key, '3' within a list."""
    return f"{path[-1]} = {value}" if isinstance(path[-1], str) else value


def _text_remedy(value, path, shape):
    if shape != "text" or type(value) not in (int, float) or not isinstance(path[-1], str):
        return ""
    return f'Put it in quotes: {path[-1]} = "{value}".' if abs(value) < 1e15 else ""
