"""
Keys of a scene varied over ranges: what is typed after --vary, and the scene texts that follow from it.

Takes a scene file and texts such as "lamp.key.at.z=800..1200:5"; gives variants, each with its values and its text. Keys
are typed as the file has them, rows of [[tables]] by name. Draws nothing and lights nothing.

    KEY=a..b      5 values evenly from a to b; with --samples anywhere between
    KEY=a..b:n    n values
    KEY=a,b,c     these, numbers or words

A grid takes every value with every other. Latin hypercube: n variants, each range cut into n strips, and one variant in
each strip of each (McKay, Beckman and Conover, Technometrics 21(2), 1979; scipy.stats.qmc).
"""

from __future__ import annotations

import itertools
import math
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args

from previz.scene.draft import nearest
from previz.scene.explain import keys_of
from previz.scene.faults import OptionFault
from previz.scene.kit import equipped
from previz.scene.model import Scene
from previz.scene.read import SceneFile
from previz.scene.rewrite import Path, rewritten
from previz.scene.tables import drafted
from previz.scene.values import Table

STEPS, MOST_VARIANTS = 5, 2000
"""Values of a range that names no number; variants of one run (own choice)."""
_PART = re.compile(r'"([^"]*)"|([^."]+)')
_RANGE = re.compile(r"\s*([^.\s:][^:\s]*?)\s*\.\.\s*([^:\s]+?)\s*(?::\s*(\S+))?\s*")
_UNIT = re.compile(r"mm/s2|mm/s|mm|degrees/s2|degrees/s|degrees|seconds|per metre|metres|stops|hertz|micrometres|lux|candela|lumens|kelvin|f-number")
_SHORT = {"degrees/s2": "deg/s2", "degrees/s": "deg/s", "degrees": "deg", "seconds": "s", "per metre": "1/m", "metres": "m", "lux": "lx", "candela": "cd", "lumens": "lm", "kelvin": "K", "hertz": "Hz", "f-number": "f-number"}
_AXES = {"x": 0, "y": 1, "z": 2}
_LIKE = 'Write it like --vary "lamp.key.at.z=800..1200:5".'


@dataclass(frozen=True)
class Vary:
    """
    One key that is varied.

    key, path  as typed; as the file's plain values have it
    unit       of its numbers, as the key's description says; empty where it has none
    ends       (low, high) of a range; None where values are listed
    values     of the grid
    digits     kept after the decimal point: a thousandth of the range
    whole      whole numbers only
    """

    key: str
    path: Path
    unit: str
    ends: tuple[float, float] | None
    values: tuple
    digits: int
    whole: bool

    def at(self, share: float):
        """Return the value at a share, 0 to 1, of its range or of its list."""
        if self.ends is None:
            return self.values[min(int(share * len(self.values)), len(self.values) - 1)]
        return self.rounded(self.ends[0] + share * (self.ends[1] - self.ends[0]))

    def rounded(self, value: float) -> float:
        """Return a value of the range as it is written into the file."""
        return int(round(value)) if self.whole else round(value, self.digits)


@dataclass(frozen=True)
class Variant:
    """One scene among many: its number from 1, its values by key, the scene file's text with them."""

    number: int
    values: dict[str, object]
    text: str


def variants(file: SceneFile, texts: Sequence[str], samples: int | None = None) -> tuple[tuple[Vary, ...], list[Variant]]:
    """
    Return what is varied and every variant: a grid, or a Latin hypercube of `samples` variants, seeded by the scene.

    Raises
    ------
    OptionFault
        With everything that is wrong with `texts` and `samples`.
    """
    found, wrong = [], []
    for text in texts:
        try:
            found.append(_vary(file, text, samples is not None))
        except OptionFault as fault:
            wrong.append(fault)
    wrong += _together(found, samples)
    if wrong:
        raise OptionFault("\n".join(str(fault) for fault in wrong))
    rows = _grid(found) if samples is None else _hypercube(found, samples, file.scene.seed)
    digits = max(vary.digits for vary in found)
    changed = [rewritten(file.text, {vary.path: value for vary, value in zip(found, row)}, digits) for row in rows]
    return tuple(found), [Variant(n, {vary.key: value for vary, value in zip(found, row)}, text) for n, (row, text) in enumerate(zip(rows, changed), 1)]


def _grid(found: list[Vary]) -> list[tuple]:
    return list(itertools.product(*(vary.values for vary in found)))


def _hypercube(found: list[Vary], samples: int, seed: int) -> list[tuple]:
    from scipy.stats import qmc  # slow to load, and only --samples asks

    shares = qmc.LatinHypercube(len(found), rng=seed).random(samples)
    return [tuple(vary.at(float(share)) for vary, share in zip(found, row)) for row in shares]


def _together(found: list[Vary], samples: int | None):
    """What is wrong with the keys as a whole."""
    twice = {vary.path for vary in found if [one.path for one in found].count(vary.path) > 1}
    for vary in {vary.path: vary for vary in found if vary.path in twice}.values():
        yield OptionFault(f"--vary {vary.key}: this key is varied twice", "Leave one of them out.")
    count = math.prod(len(vary.values) for vary in found) if samples is None else samples
    if samples is not None and not 2 <= samples <= MOST_VARIANTS:
        yield OptionFault(f"--samples {samples}: it must be from 2 to {MOST_VARIANTS}", "A few dozen show the trend.")
    elif count > MOST_VARIANTS:
        yield OptionFault(f"--vary: every value with every other makes {count:,} variants, and {MOST_VARIANTS:,} are the most", "Take fewer values of each, like a..b:3, or --samples 60.")


def _vary(file: SceneFile, text: str, sampled: bool) -> Vary:
    key, equals, wanted = text.rpartition("=")
    key = key.strip()
    if not equals or not key or not wanted.strip():
        raise OptionFault(f"--vary {text}: that is not a key and its values", _LIKE)
    typed = tomllib.loads(file.text)
    path = _path(typed, key)
    said, whole = _said(path)
    unit = _UNIT.search(said)
    unit = _SHORT.get(unit[0], unit[0]) if unit else ""
    vary = _valued(key, path, unit, whole, wanted, text, sampled)
    _allowed(file, vary, text)
    return vary


def _valued(key, path, unit, whole, wanted, text, sampled) -> Vary:
    """Read what stands after the equals sign."""
    found = _RANGE.fullmatch(wanted)
    if found is None:
        values = tuple(_plain(part.strip()) for part in wanted.split(","))
        if len(values) < 2 or "" in values or len(set(values)) < len(values):
            raise OptionFault(f"--vary {text}: {wanted.strip()} is neither a range nor several values", "Write a range, like 800..1200 or 800..1200:5, or values with commas between.")
        numbers = [value for value in values if isinstance(value, float)]
        return Vary(key, path, unit, None, values, 6, whole and len(numbers) == len(values))
    low, high = _number(found[1]), _number(found[2])
    if low is None or high is None or not low < high:
        raise OptionFault(f"--vary {text}: a range goes from a number up to a higher one", "Write it like 800..1200.")
    steps = _number(found[3]) if found[3] else STEPS
    if sampled and found[3]:
        raise OptionFault(f"--vary {text}: with --samples a range has no steps", f"Leave :{found[3]} out.")
    if steps is None or steps != int(steps) or not 2 <= steps <= MOST_VARIANTS:
        raise OptionFault(f"--vary {text}: a range has 2 to {MOST_VARIANTS} values, and :{found[3]} is none of these numbers", "Write it like 800..1200:5.")
    digits = max(0, 3 - math.floor(math.log10(high - low)))
    vary = Vary(key, path, unit, (low, high), (), digits, whole)
    values = tuple(dict.fromkeys(vary.rounded(low + (high - low) * i / (int(steps) - 1)) for i in range(int(steps))))
    return Vary(key, path, unit, (low, high), values, digits, whole)


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _plain(text: str):
    """A number, true or false, or words."""
    number = _number(text)
    return {"true": True, "false": False}.get(text, text) if number is None else number


def _path(typed: dict, key: str) -> Path:
    """Return the path of a key as typed, rows of [[tables]] found by name; the last part may be missing from the file."""
    parts = [quoted if quoted else bare.strip() for quoted, bare in _PART.findall(key)]
    path: Path = ()
    here: object = typed
    for number, part in enumerate(parts):
        last = number == len(parts) - 1
        so_far = ".".join(str(p) for p in parts[:number]) or "the file"
        step = _step(here, part, so_far, key, last)
        path += (step,)
        here = None if last else here[step]
    if isinstance(typed.get(parts[0]), list) and len(parts) < 3 or len(parts) < 2 and isinstance(typed.get(parts[0], {}), dict):
        raise OptionFault(f"--vary {key}: this is a table, not a key of one", _LIKE)
    return path


def _step(here, part: str, so_far: str, key: str, last: bool):
    """Return the key or number that `part` stands for in `here`."""
    if isinstance(here, dict):
        if part in here or last:
            return part
        near = nearest(part, here)
        raise OptionFault(f"--vary {key}: {so_far} has no {part}", f"Did you mean {near}?" if near else f"It has {', '.join(here)}; what the file leaves out can be varied once it is typed there.")
    if isinstance(here, list) and here and all(isinstance(row, dict) for row in here):
        names = [row.get("name") for row in here]
        if part in names:
            return names.index(part)
        known = [name for name in names if isinstance(name, str)]
        near = nearest(part, known)
        raise OptionFault(f'--vary {key}: there is no {so_far} called "{part}"', f'Did you mean "{near}"?' if near else f"There are {', '.join(known)}.")
    if isinstance(here, list):
        number = _AXES.get(part, int(part) if part.isdecimal() else -1)
        if 0 <= number < len(here):
            return number
        letters = ", or x, y and z" if len(here) == 3 else ""
        raise OptionFault(f"--vary {key}: {so_far} is a list of {len(here)}, and {part} is none of them", f"Count from 0 to {len(here) - 1}{letters}.")
    raise OptionFault(f"--vary {key}: {so_far} is one value, so there is no {part} in it", "Leave the last part out; or write it as a table or a list in the file.")


def _said(path: Path) -> tuple[str, bool]:
    """Return how the model describes the key of a path, and whether it takes whole numbers alone."""
    tables, said, whole = [Scene], "", False
    for part in (part for part in path if isinstance(part, str)):
        infos = [keys_of(table)[part] for table in tables if part in keys_of(table)]
        if infos:
            said, whole = infos[0].description or said, infos[0].annotation is int
            tables = [table for info in infos for table in _tables_in(info.annotation)]
    return said, whole


def _tables_in(annotation) -> list[type[Table]]:
    """Every table class inside an annotation: of list, union or alternative."""
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return [annotation]
    return [table for one in get_args(annotation) for table in _tables_in(one)]


def _allowed(file: SceneFile, vary: Vary, text: str) -> None:
    """OptionFault where the first or the last value may not stand there."""
    for value in dict.fromkeys((vary.values[0], vary.values[-1])):
        typed = tomllib.loads(rewritten(file.text, {vary.path: value}, vary.digits))
        _, problems = drafted(equipped(typed, file.path.parent).typed)
        if problems:
            shown = f"{value:g}" if isinstance(value, float) else str(value)
            raise OptionFault(f"--vary {text}: {vary.key}, at {shown}: {problems[0].allowed}", problems[0].remedy)
