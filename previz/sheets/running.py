"""
Running dimensions: every edge of outline and openings measured from one datum, the lower left corner of the sheet.

ISO 129-1 calls this running dimensioning: all values start at one origin, so that no error of a tape adds up.
Takes positions; gives the values with places for their figures, none on top of another. Knows no paper.
"""

from __future__ import annotations

import numpy as np
import shapely
from scipy.optimize import isotonic_regression

from previz.sheets.pieces import Piece

SAME_MM = 0.005


def positions(piece: Piece) -> tuple[np.ndarray, np.ndarray]:
    """Return what is measured along and up: the corners of both faces and the bounds of each opening, each once. [mm]"""
    corners = np.concatenate([np.asarray(part.simplify(SAME_MM).exterior.coords) for face in (piece.inner, piece.outer) for part in shapely.get_parts(face)])
    bounds = np.array([cut.box for cut in piece.cuts if not cut.hole.is_empty]).reshape(-1, 4)
    along = np.concatenate([corners[:, 0], bounds[:, 0], bounds[:, 2]])
    up = np.concatenate([corners[:, 1], bounds[:, 1], bounds[:, 3]])
    return _distinct(along), _distinct(up)


def _distinct(values):
    values = np.sort(values)
    return values[np.concatenate([[True], np.diff(values) > SAME_MM])]


def spread(values: np.ndarray, gap: float) -> np.ndarray:
    """
    Return places for figures at least `gap` apart, in order, and as near to `values` (ascending) as that allows. [mm]

    None lies below the first value, where the figures of the other side stand.
    """
    steps = gap * np.arange(len(values))
    return np.maximum(isotonic_regression(np.asarray(values, dtype=float) - steps).x, values[0]) + steps


def figure(value: float) -> str:
    """Return a length as it is printed: to 0.05 mm where it needs that, whole where it is. [mm]"""
    return f"{round(value * 20) / 20:.2f}".rstrip("0").rstrip(".")
