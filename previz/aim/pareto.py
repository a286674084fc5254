"""
What is best when several things are wanted: figures wished high or low, and the variants that no other beats in all.

Takes rows of figures and wishes as typed ("contrast_stops max"); gives marks. A variant is marked where no other is at
least as good in every wish and better in one (Pareto; e.g. K. Miettinen, Nonlinear Multiobjective Optimization, 1999,
from memory).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from previz.aim.tabled import Column
from previz.scene.draft import nearest
from previz.scene.faults import OptionFault

_LIKE = 'Write it like --best "contrast_stops max".'


@dataclass(frozen=True)
class Best:
    """
    One wish: `name` as typed, up or down.

    Where several figures bear the name, one for each shot say, the worst of them counts.
    """

    name: str
    highest: bool

    @property
    def says(self) -> str:
        """As typed."""
        return f"{self.name} {'max' if self.highest else 'min'}"

    def columns(self, known: Sequence[Column]) -> list[Column]:
        """Return the figures that are meant: those whose words end like the name; of these the ones with the fewest words."""
        wanted = _words(self.name)
        meant = [column for column in known if _words(" ".join(column.words))[-len(wanted) :] == wanted]
        fewest = min((len(column.words) for column in meant), default=0)
        return [column for column in meant if len(column.words) == fewest]

    def of(self, row: dict, columns: Sequence[Column]) -> float:
        """Return the figure of a variant, NaN where it lacks one."""
        values = [row.get(column) for column in columns]
        if not values or any(value is None for value in values):
            return float("nan")
        return float(min(values) if self.highest else max(values))


def bests(texts: Sequence[str]) -> tuple[Best, ...]:
    """Return wishes as typed; OptionFault with everything that is wrong with them."""
    found, wrong = [], []
    for text in texts:
        name, _, way = text.strip().rpartition(" ")
        if way not in ("max", "min") or not _words(name):
            wrong.append(f"--best {text}: it must end in max or min\n  {_LIKE}")
        else:
            found.append(Best(name.strip(), way == "max"))
    if wrong:
        raise OptionFault("\n".join(wrong))
    return tuple(found)


def unknown(wishes: Sequence[Best], known: Sequence[Column]) -> str:
    """Return what is wrong with wishes whose figures are not among those known; empty where nothing is."""
    ends = list(dict.fromkeys(column.words[-1] for column in known))
    said = []
    for wish in wishes:
        if not wish.columns(known):
            near = nearest(wish.name, ends)
            said.append(f"--best {wish.says}: no figure has that name\n  " + (f"Did you mean {near}?" if near else "The head of variants.csv lists them all."))
    return "\n".join(said)


def marked(values: np.ndarray, highest: Sequence[bool]) -> np.ndarray:
    """
    Return which variants no other beats.

    Parameters
    ----------
    values : (n, wishes) float array
        NaN where a variant lacks a figure: it is never marked.
    highest : sequence of bool
        Whether more is better, for each wish.

    Returns
    -------
    (n,) bool array
    """
    values = np.where(highest, values, -values) if values.size else values
    sound = np.isfinite(values).all(axis=1) & (values.shape[1] > 0)
    marks = np.zeros(len(values), bool)
    for number in np.flatnonzero(sound):
        others = values[sound]
        beaten = (others >= values[number]).all(axis=1) & (others > values[number]).any(axis=1)
        marks[number] = not beaten.any()
    return marks


def _words(text: str) -> list[str]:
    return re.findall(r"[\w]+", text.lower())
