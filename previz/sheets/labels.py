"""
Names beside a drawing: two columns of words, each joined to its place by a straight leader.

Takes names with the places that they belong to; gives a row for each, so that no two names meet and no two leaders cross:
of all ways to deal rows to places, the one whose leaders are shortest altogether (two that cross could be uncrossed and
made shorter, by the triangle inequality). Knows nothing of sets.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from previz.sheets.drawing import Drawing
from previz.sheets.leaves import INK, SMALL_PT, SOFT
from previz.sheets.letters import clipped

ROW_MM = 3.9
"""From one name to the next below it."""
GAP_MM = 1.2
"""From a name to its leader."""


@dataclass(frozen=True)
class Label:
    """A name and the point that it belongs to. [mm]"""

    text: str
    at: tuple[float, float]
    colour: str = INK


@dataclass(frozen=True)
class Column:
    """Where names stand: between x `near` (towards the drawing) and `far`, from `low` to `high`. [mm]"""

    near: float
    far: float
    low: float
    high: float

    @property
    def rows(self) -> np.ndarray:
        """(n,) heights of the middle of each row. [mm]"""
        return np.arange(self.high - ROW_MM / 2, self.low + ROW_MM / 2 - 1e-9, -ROW_MM)

    @property
    def width(self) -> float:
        """Of the column. [mm]"""
        return abs(self.far - self.near)


def place_labels(drawing: Drawing, labels: list[Label], columns: tuple[Column, ...]) -> list[Label]:
    """
    Write the labels with their leaders; return those that found no row.

    Parameters
    ----------
    labels : list of Label
        The first ones matter most.
    """
    slots = [(column, row) for column in columns for row in column.rows]
    placed, rest = labels[: len(slots)], labels[len(slots) :]
    if not placed:
        return rest
    ends = np.array([(column.near, row) for column, row in slots])
    spots = np.array([label.at for label in placed])
    away = np.linalg.norm(spots[:, None] - ends[None], axis=2)
    for i, j in zip(*linear_sum_assignment(away)):
        column, row = slots[j]
        label, side = placed[i], np.sign(column.far - column.near)
        drawing.line([label.at, (column.near, row)], pen=0.1, colour=SOFT)
        drawing.ring(_dot(label.at), pen=0, fill=label.colour)
        text = clipped(label.text, column.width - GAP_MM, SMALL_PT)
        drawing.text((column.near + side * GAP_MM, row - 0.9), text, anchor="left" if side > 0 else "right", colour=label.colour)
    return rest


def _dot(at, radius=0.35):
    angle = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    return np.asarray(at) + radius * np.column_stack([np.cos(angle), np.sin(angle)])
