"""
Tracks: the line that the pan axis follows, by travel in millimetres.

A straight rail, or a smooth curve through points. Each gives points, and the bounds on its slope and curvature that
certified clearance needs. Knows nothing of time.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline

FINE = 256
"""Pieces of each span of a path when its length is measured."""


@dataclass(frozen=True)
class Straight:
    """A straight line from `start` to `end`, both (3,). [mm]"""

    start: np.ndarray
    end: np.ndarray

    @property
    def length(self) -> float:
        """[mm]"""
        return float(np.linalg.norm(self.end - self.start))

    def points(self, travel) -> np.ndarray:
        """Return the (n, 3) points at `travel` (n,). [mm]"""
        share = np.asarray(travel, float) / (self.length or 1.0)
        return self.start + share[:, None] * (self.end - self.start)

    def curvature(self, travel) -> np.ndarray:
        """Return (n,) zeros. [1/mm]"""
        return np.zeros(np.shape(travel))

    def bounds(self, first: float, last: float) -> tuple[float, float]:
        """Return the greatest slope (mm a mm of travel) and second derivative [1/mm] between two travels: 1 and 0."""
        return 1.0, 0.0

    def raised(self, first, last) -> "Straight":
        """Return the track moved by `first` (3,) at its start and by `last` (3,) at its end, evenly between. [mm]"""
        return Straight(self.start + first, self.end + last)


@dataclass(frozen=True)
class Spline:
    """
    A smooth curve by arc length.

    curve   cubic spline (3,) over travel; its slope is 1 within a few parts in 10,000, until it is raised [mm]
    """

    curve: CubicSpline

    @classmethod
    def through(cls, points) -> "Spline":
        """
        Return the curve through three or more points (n, 3), none the same as the one before. [mm]

        Notes
        -----
        A natural cubic spline parametrised by chord length (C. de Boor, A Practical Guide to Splines, Springer 1978,
        from memory), its length measured by Simpson's rule, laid out again evenly by length.
        """
        # Slow to load, and only a path asks.
        from scipy.integrate import cumulative_simpson
        from scipy.interpolate import CubicSpline

        chords = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
        raw = CubicSpline(chords, points, bc_type="natural")
        fine = np.unique(np.concatenate([np.linspace(a, b, FINE + 1) for a, b in zip(chords, chords[1:])]))
        travel = cumulative_simpson(np.linalg.norm(raw(fine, 1), axis=1), x=fine, initial=0)
        knots = np.linspace(0, travel[-1], 32 * (len(points) - 1) + 1)
        return cls(CubicSpline(knots, raw(CubicSpline(travel, fine)(knots)), bc_type="natural"))

    @property
    def length(self) -> float:
        """[mm]"""
        return float(self.curve.x[-1])

    def points(self, travel) -> np.ndarray:
        """Return the (n, 3) points at `travel` (n,). [mm]"""
        return self.curve(travel)

    def curvature(self, travel) -> np.ndarray:
        """Return the (n,) curvature at `travel` (n,). [1/mm]"""
        return np.linalg.norm(self.curve(travel, 2), axis=-1)

    def bounds(self, first: float, last: float) -> tuple[float, float]:
        """
        Return the greatest slope and second derivative between two travels.

        Parameters
        ----------
        first, last : float
            [mm]

        Returns
        -------
        slope, second : float
            Never less than the truth. [1], [1/mm]

        Notes
        -----
        Each span's derivative is a quadratic, which stays within the hull of its Bernstein points; its second
        derivative is linear between knots.
        """
        x = self.curve.x
        from_span = int(np.clip(np.searchsorted(x, first, "right") - 1, 0, len(x) - 2))
        spans = slice(from_span, max(np.searchsorted(x, last, "left"), from_span + 1))
        h = np.diff(x)[spans, None]
        a, b, c = (self.curve.c[i, spans] for i in range(3))
        bernstein = np.stack([c, c + b * h, c + 2 * b * h + 3 * a * h**2])
        second = np.stack([2 * b, 2 * b + 6 * a * h])
        return float(np.linalg.norm(bernstein, axis=-1).max()), float(np.linalg.norm(second, axis=-1).max())

    def raised(self, first, last) -> "Spline":
        """Return the curve moved by `first` (3,) at its start and by `last` (3,) at its end, evenly by travel, which stays this curve's. [mm]"""
        x, c = self.curve.x, self.curve.c.copy()
        slope = np.subtract(last, first) / (x[-1] - x[0])
        c[2] += slope
        c[3] += first + np.multiply.outer(x[:-1] - x[0], slope)
        return Spline(type(self.curve).construct_fast(c, x))


def track_through(points) -> Straight | Spline:
    """Return the track through points (n, 3), repeated ones passed once: straight where two or fewer are left. [mm]"""
    points = np.asarray(points, float)
    moved = np.linalg.norm(np.diff(points, axis=0), axis=1) > 1e-6
    points = points[np.concatenate([[True], moved])]
    return Spline.through(points) if len(points) > 2 else Straight(points[0], points[-1])
