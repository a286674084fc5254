"""
One picture of a shot at one moment: the view, the light at the roll, the exposure as the camera is set.

Takes the lit set, a shot and a moment of the take; gives luminance and the developed picture.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from previz.camera.exposure import effective_stop
from previz.camera.tone import develop
from previz.camera.view import View, view_at
from previz.frames.chart import chart
from previz.frames.hazed import hazed_frame
from previz.haze.medium import medium_at
from previz.rays.lit import LitSet, relit
from previz.rig.moves import Move
from previz.scene.model import Shot

QUALITIES = {"draft": (2, 4, 1), "good": (6, 8, 1), "fine": (24, 8, 1)}
"""Rays a pixel, points on each lamp, points in lit haze: what a picture of each quality takes."""


@dataclass(frozen=True)
class Still:
    """
    A picture twice: linear (rows, columns, 3) float32 [cd/m2], and rgb (rows, columns, 3) uint8 sRGB as the camera shows it.

    iso, stop, seconds  of its exposure; the stop is the effective one [ISO], [1], [s]
    """

    linear: np.ndarray
    rgb: np.ndarray
    iso: float
    stop: float
    seconds: float

    def chart(self, title: str) -> np.ndarray:
        """Return its exposure chart, (rows, columns, 3) uint8 sRGB; see `previz.frames.chart`."""
        return chart(self.linear, self.iso, self.stop, self.seconds, title)


def lit_at_roll(lit: LitSet, shot: Shot) -> LitSet:
    """Return `lit` with the haze that is left when the camera rolls on `shot`."""
    medium = medium_at(lit.scene, lit.built, shot.start_after)
    same = medium.extinction_per_m == lit.medium.extinction_per_m
    return lit if same else relit(lit, medium=medium)


def view_of(lit: LitSet, move: Move, take_s: float, size: tuple[int, int]) -> View:
    """Return what the lens sees `take_s` into the move, as a picture of `size` (columns, rows). [s], [pixel]"""
    return view_at(lit.scene, move.poses(take_s)[0], float(move.focus_mm(take_s)[0]), size)


def still(
    lit: LitSet, shot: Shot, move: Move, take_s: float, size: tuple[int, int], *, quality: str = "good", workers: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> Still:  # fmt: skip
    """
    Return the picture of `shot` at a moment of its take.

    Parameters
    ----------
    lit : LitSet
        As `lit_at_roll` gives it.
    take_s : float
        [s]
    size : (columns, rows)
        [pixel]
    quality : str
        One of `QUALITIES`.
    """
    passes, lamp_samples, haze_samples = QUALITIES[quality]
    view = view_of(lit, move, take_s, size)
    linear = hazed_frame(lit, view, passes=passes, lamp_samples=lamp_samples, haze_samples=haze_samples, workers=workers, progress=progress)
    stop = float(effective_stop(lit.scene.lens, shot, float(move.focus_mm(take_s)[0])))
    return Still(linear, develop(linear, shot.iso, stop, shot.exposure_s), shot.iso, stop, shot.exposure_s)
