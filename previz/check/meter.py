"""
The spot meter: the luminance of what a shot is about, through the haze, as the lens sees it.

Takes the lit set and a view; gives candela per square metre. Knows nothing of ISO or stops.
"""

from __future__ import annotations

import numpy as np

from previz.camera.view import View
from previz.light.colour import luminance

SIZE = (96, 54)
"""Of the metered picture, columns and rows: a mean over a subject needs no more (own choice)."""

SPOT = 0.05
"""Radius of the spot where there is no subject, as a share of the picture's height (common practice: a spot meter's few degrees)."""


RAYS = 1600
"""On the subject, so that a reading's grain stays near a twentieth: a subject of fifty pixels and four passes read a third of a stop off at times."""

_PASSES = (4, 32)


def metered(lit, view: View, parts: list[int], point, *, passes: int | None = None, workers: int | None = None) -> float:
    """
    Return the mean luminance of the subject in one view.

    Parameters
    ----------
    lit : LitSet
    view : View
        Of `SIZE` or another small size.
    parts : list of int
        The built set's parts that are the subject; may be empty.
    point : (3,) float array
        Where the spot goes when no pixel shows a subject. [mm]
    passes : int, optional
        Rays a pixel; as many as the size of the subject asks for by default.

    Returns
    -------
    float
        Haze in between included. [cd/m2]
    """
    from previz.frames.hazed import hazed_frame

    mask = showing(lit, view, parts)
    if not mask.any():
        mask = _spot(view, point)
    picture = hazed_frame(lit, view, passes=passes or _enough(mask), workers=workers)
    return float(luminance(picture[mask]).mean())


def _enough(mask: np.ndarray) -> int:
    """Return the passes that put `RAYS` rays on the pixels of `mask`, within what a glance at the set may cost."""
    return int(np.clip(-(-RAYS // mask.sum()), *_PASSES))


def _centres(view: View) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(np.arange(view.columns) + 0.5, np.arange(view.rows) + 0.5)
    return x.ravel(), y.ravel()


def showing(lit, view: View, parts: list[int]) -> np.ndarray:
    """Return (rows, columns) bool: pixels whose centre shows one of `parts` first."""
    directions = view.directions(*_centres(view))
    triangle = lit.tracer.hit(np.broadcast_to(view.position, directions.shape), directions).triangle
    shown = np.isin(lit.built.part_of[triangle], parts) & (triangle >= 0)
    return shown.reshape(view.rows, view.columns)


def _spot(view: View, point) -> np.ndarray:
    """Return (rows, columns) bool: the spot around `point`, or around the middle where `point` is out of frame."""
    x, y = _centres(view)
    across, down, _ = view.project(np.reshape(np.asarray(point, float), (1, 3)))
    centre = np.array([across[0], down[0]])
    if not ((centre >= 0) & (centre <= (view.columns, view.rows))).all():
        centre = np.array([view.columns, view.rows]) / 2
    distance = np.hypot(x - centre[0], y - centre[1]).reshape(view.rows, view.columns)
    return distance <= max(SPOT * view.rows, distance.min())
