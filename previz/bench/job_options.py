"""
The options that the page may give a verb: a list of them, and what each may hold.

Takes a verb and options as JSON values; gives the command line. What is not on the list is refused, with what is; nothing on it
names a file or an address. A text never becomes an option of its own: options are typed --NAME=VALUE, and what stands alone comes
after "--".
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable

from previz.scene.faults import OptionFault
from previz.sheets.export import KINDS
from previz.sheets.paper import PAPERS

LONGEST, MOST_IN_LIST = 200, 20
_SIZE = re.compile(r"\d{2,4}x\d{2,4}")
_VARIED = re.compile(r"[^=]{1,150}=[-+\d.,:eE ]+")

Check = Callable[[object], list[str]]
"""Return the value as typed, once or several times; ValueError says in words what is allowed."""


def _text(value: object) -> list[str]:
    if isinstance(value, str) and 0 < len(value) <= LONGEST and value.isprintable():
        return [value]
    raise ValueError(f"must be a text of 1 to {LONGEST} characters")


def _texts(value: object) -> list[str]:
    if isinstance(value, list) and 0 < len(value) <= MOST_IN_LIST:
        return [text for one in value for text in _text(one)]
    raise ValueError(f"must be a list of 1 to {MOST_IN_LIST} texts")


def _varied(value: object) -> list[str]:
    texts = _texts(value)
    if all(_VARIED.fullmatch(text) for text in texts):
        return texts
    raise ValueError("must be a list of KEY=a..b:n, or KEY=a,b,c with numbers")


def _number(value: object) -> list[str]:
    if isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value):
        return [f"{value:g}"]
    raise ValueError("must be a number")


def _whole(value: object) -> list[str]:
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) < 10**6:
        return [str(value)]
    raise ValueError("must be a whole number")


def _size(value: object) -> list[str]:
    if isinstance(value, str) and _SIZE.fullmatch(value):
        return [value]
    raise ValueError("must be width x height in pixels, like 960x540")


def _switch(value: object) -> list[str]:
    if isinstance(value, bool):
        return [""] if value else []
    raise ValueError("must be true or false")


def _one_of(*names: str) -> Check:
    def check(value: object) -> list[str]:
        if value in names:
            return [str(value)]
        raise ValueError(f"must be one of {', '.join(names)}")

    return check


def _some_of(*names: str) -> Check:
    def check(value: object) -> list[str]:
        if isinstance(value, str) and value and all(one.strip() in names for one in value.split(",")):
            return [value]
        raise ValueError(f"must be one or more of {', '.join(names)}, with commas between")

    return check


OPTIONS: dict[str, dict[str, Check]] = {
    "make": {"size": _size},
    "sheet": {"paper": _one_of(*PAPERS), "format": _some_of("pdf", "svg")},
    "cut": {"paper": _one_of(*PAPERS), "measured": _number, "format": _some_of("pdf", "svg", "dxf")},
    "aim": {
        "wish": _texts, "dark": _texts, "lamp": _text, "shot": _text, "open": _text, "patch": _text, "shape": _one_of("rect", "arch", "lancet", "round"),
        "bars": _text, "tolerance": _switch, "within": _number, "shafts": _whole, "free": _text, "contrast": _number,
    },
    "explore": {"vary": _varied, "samples": _whole, "best": _texts, "shot": _text, "size": _size, "quality": _one_of("draft", "good", "fine")},
    "export": {"only": _some_of(*KINDS)},
    "reel": {"shot": _text, "size": _size, "proxy": _switch},
    "check": {},
}  # fmt: skip
"""By verb, the options that the page may give."""

STANDING_ALONE = ("wish",)
"""What is typed after the scene, without a name."""


def arguments(verb: str, options: dict) -> tuple[list[str], list[str]]:
    """
    Return options as they are typed: those before the scene, and what stands alone after it.

    Raises
    ------
    OptionFault
        With everything that is wrong.
    """
    known = OPTIONS.get(verb)
    if known is None:
        raise OptionFault(f"there is no job {verb!r}", f"Jobs are {', '.join(OPTIONS)}.")
    before, after, wrong = [], [], []
    for name, value in options.items():
        if name not in known:
            wrong.append(f"{verb} has no option {name!r} here; it has {', '.join(known) or 'none'}")
            continue
        try:
            typed = known[name](value)
        except ValueError as fault:
            wrong.append(f"{verb}: {name}: {fault}")
            continue
        if name in STANDING_ALONE:
            after += typed
        else:
            before += [f"--{name}={text}" if text else f"--{name}" for text in typed]
    if verb == "aim" and not options.get("wish"):
        wrong.append("aim: wish: say what light shall land where, like window > table")
    if wrong:
        raise OptionFault("\n".join(wrong))
    return before, after
