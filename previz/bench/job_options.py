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
_PATCH = re.compile(r"[\d.]{1,8}x[\d.]{1,8}")
_BARS = re.compile(r"\d{1,2}x\d{1,2},[\d.]{1,8}")

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


def _like(pattern: re.Pattern, allowed: str) -> Check:
    def check(value: object) -> list[str]:
        if isinstance(value, str) and pattern.fullmatch(value):
            return [value]
        raise ValueError(f"must be {allowed}")

    return check


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


_size = _like(_SIZE, "width x height in pixels, like 960x540")
_quality = _one_of("draft", "good", "fine")

OPTIONS: dict[str, dict[str, Check]] = {
    "make": {"size": _size},
    "sheet": {"paper": _one_of(*PAPERS), "format": _some_of("pdf", "svg")},
    "cut": {"paper": _one_of(*PAPERS), "measured": _number, "format": _some_of("pdf", "svg", "dxf")},
    "aim": {
        "wish": _texts, "dark": _texts, "lamp": _text, "shot": _text, "answer": _whole, "open": _text, "patch": _like(_PATCH, "width x length in mm, like 60x45"),
        "shape": _one_of("rect", "arch", "lancet", "round"), "bars": _like(_BARS, "columns x rows and the bars' width in mm, like 2x3,4"),
        "tolerance": _switch, "within": _number, "shafts": _whole, "free": _text, "contrast": _number,
    },
    "explore": {"vary": _varied, "samples": _whole, "best": _texts, "shot": _text, "size": _size, "quality": _quality},
    "frame": {"shot": _text, "take": _number, "size": _size, "quality": _quality, "proxy": _switch, "chart": _switch, "noise": _switch},
    "export": {"only": _some_of(*KINDS)},
    "reel": {"shot": _text, "size": _size, "proxy": _switch},
    "check": {},
}  # fmt: skip
"""By verb, the options that the page may give."""

STANDING_ALONE = ("wish",)
"""What is typed after the scene, without a name."""

NEEDED = {
    "aim": {"wish": "say what light shall land where, like window > table"},
    "explore": {"vary": "say what shall be tried, like lamp.NAME.at.z=800..1200:5"},
}
"""What must be given, and what is said where it is not."""


class WrongOptions(OptionFault):
    """What is wrong with each option of a job, by its name."""

    def __init__(self, verb: str, wrong: dict[str, str]):
        super().__init__("\n".join(f"{verb}: {name}: {says}" for name, says in wrong.items()))
        self.by_option = wrong


def arguments(verb: str, options: dict) -> tuple[list[str], list[str]]:
    """
    Return options as they are typed: those before the scene, and what stands alone after it.

    Raises
    ------
    WrongOptions
        With everything that is wrong.
    OptionFault
        If there is no such verb.
    """
    known = OPTIONS.get(verb)
    if known is None:
        raise OptionFault(f"there is no job {verb!r}", f"Jobs are {', '.join(OPTIONS)}.")
    before, after, wrong = [], [], {}
    for name, value in options.items():
        if name not in known:
            wrong[name] = f"there is no option {name!r} here; {verb} has {', '.join(known) or 'none'}"
            continue
        try:
            typed = known[name](value)
        except ValueError as fault:
            wrong[name] = str(fault)
            continue
        if name in STANDING_ALONE:
            after += typed
        else:
            before += [f"--{name}={text}" if text else f"--{name}" for text in typed]
    for name, says in NEEDED.get(verb, {}).items():
        if not options.get(name):
            wrong[name] = says
    if wrong:
        raise WrongOptions(verb, wrong)
    return before, after
