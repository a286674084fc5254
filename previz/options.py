"""
Options of the command line: those that verbs share, what their values mean, and what is said of a wrong one.

Takes what is typed; gives sizes, moments and faults in plain words. Knows no verb.
"""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import Annotated, Optional

import typer

from previz.scene.faults import OptionFault


class Quality(str, Enum):
    """How long a picture may take."""

    draft = "draft"
    good = "good"
    fine = "fine"


def option(name: str, metavar: str, text: str):
    return typer.Option(*name.split(), metavar=metavar, help=text, show_default=False)


ScenePath = Annotated[Path, typer.Argument(metavar="SCENE", help="The scene file (TOML).", show_default=False)]
Output = Annotated[Optional[Path], option("-o --output", "PATH", "Where the output goes.")]
Workers = Annotated[Optional[int], option("--workers", "N", "How many cores to use; default all.")]
ShotName = Annotated[Optional[str], option("--shot", "NAME", "Which shot; default the first.")]
Size = Annotated[str, typer.Option("--size", metavar="WxH", help="Width and height of the picture in pixels.")]
Proxy = Annotated[bool, typer.Option("--proxy", help="Plain shapes: no light and no haze, but quick.")]


def moment(shot, at: float | None, take: float | None) -> float:
    """Return the moment of the take that --at (clip seconds) or --take (real seconds) means; the middle by default. [s]"""
    if at is not None and take is not None:
        raise OptionFault("--at and --take both name the moment", "Leave one of them out: --at is in screen seconds, --take in real ones.")
    given, longest, name = (at, shot.clip, "--at") if take is None else (take, shot.take_s, "--take")
    if given is None:
        return shot.take_s / 2
    if not 0 <= given <= longest * (1 + 1e-9):
        what = "clip" if take is None else "take"
        raise OptionFault(f'{name} {given:g}: the {what} of shot "{shot.name}" lasts {longest:g} s', f"Give 0 to {longest:g}.")
    return min(given / longest, 1.0) * shot.take_s


def checked_workers(workers: int | None) -> None:
    """Raise OptionFault unless --workers is left out or a number of cores that there may be."""
    if workers is not None and not 1 <= workers <= 1024:
        raise OptionFault(f"--workers {workers}: it must be from 1 to 1024", "Leave it out to use all cores.")


def picture_size(text: str) -> tuple[int, int]:
    """Return (columns, rows) of "960x540"; OptionFault unless both are 16 to 8192."""
    sides = text.lower().split("x")
    if len(sides) == 2 and all(side.isascii() and side.isdecimal() and len(side) < 6 and 16 <= int(side) <= 8192 for side in sides):
        return int(sides[0]), int(sides[1])
    raise OptionFault(f"--size {text}: it must be width x height in pixels, each 16 to 8192", "Write it like --size 960x540.")


def _plain(message: str) -> str:
    """Return what the checker of options says about a value, without its jargon."""
    for sort, words in (("valid integer", "it must be a whole number"), ("valid number", "it must be a number")):
        if sort in message:
            return words
    return message.removeprefix("Value error, ")


def usage_fault(fault) -> str:
    """Return what is wrong with the command as typed, in the words that previz uses elsewhere."""
    context = getattr(fault, "ctx", None)
    command = context.command_path if context else "previz"
    parameter = getattr(fault, "param", None)
    name = (parameter.opts[0] if parameter.opts[0].startswith("-") else parameter.metavar) if parameter is not None else None
    option = getattr(fault, "option_name", None)
    kind = type(fault).__name__
    if kind == "NoSuchOption":
        near = f"; the nearest is {sorted(fault.possibilities)[0]}" if fault.possibilities else ""
        says = f"{command} has no option {option}{near}"
    elif kind == "MissingParameter":
        says = f"{command} needs {name}"
    elif kind == "BadParameter" and name:
        says = f"{command}: {name}: {_plain(fault.message)}"
    else:
        says = f"{command}: {fault.format_message()}"
    return f"{says.rstrip('.')}\n  See {command} --help."
