"""
One picture of a shot at one moment: the view, the light at the roll, the exposure as the camera is set.

Takes the lit set, a shot and a moment of the take; gives luminance and the developed picture.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from previz.camera.balance import balance
from previz.camera.exposure import effective_stop, stop_used
from previz.camera.noise import Grain
from previz.camera.tone import develop
from previz.camera.view import View, view_at
from previz.frames.along import drawn_at_moment
from previz.frames.chart import chart
from previz.frames.hazed import hazed_frame
from previz.frames.lens_rays import GROUPS
from previz.frames.on_sensor import on_sensor
from previz.haze.medium import extinction_at, medium_at
from previz.light.lamps import colour_of
from previz.light.whites import white_rgb
from previz.rays.lit import LitSet, relit, relit_as
from previz.rig.moves import Move
from previz.scene.model import Scene, Shot
from previz.scene.shots import scene_of

QUALITIES = {"glimpse": (1, 1, 1), "glance": (1, 2, 1), "draft": (2, 4, 1), "good": (12, 4, 1), "fine": (48, 4, 1)}
"""Rays a pixel, points on each lamp, points in lit haze: what a picture of each quality takes. The first two are for the bench, while something is dragged."""


@dataclass(frozen=True)
class Still:
    """
    A picture twice: linear (rows, columns, 3) float32 [cd/m2], and rgb (rows, columns, 3) uint8 sRGB as the camera shows it.

    iso, stop, seconds  of its exposure; the stop is the effective one [ISO], [1], [s]
    white               (3, 3) its white balance; None is the screen's white [1]
    """

    linear: np.ndarray
    rgb: np.ndarray
    iso: float
    stop: float
    seconds: float
    white: np.ndarray | None = None

    def grainy(self, grain: Grain) -> np.ndarray:
        """Return it with noise, an illustration, (rows, columns, 3) uint8 sRGB; see `previz.camera.noise`."""
        return develop(self.linear, self.iso, self.stop, self.seconds, white=self.white, grain=grain)

    def chart(self, title: str) -> np.ndarray:
        """Return its exposure chart, (rows, columns, 3) uint8 sRGB; see `previz.frames.chart`."""
        return chart(self.linear, self.iso, self.stop, self.seconds, title)


KEPT = 3
"""Lit sets that are kept for shots that share their light: each is as large as the stored light of the set (own choice)."""


def lit_at_roll(lit: LitSet, shot: Shot) -> LitSet:
    """
    Return `lit` as it is when the camera rolls on `shot`: with the shot's own lamps, and the haze that is left.

    Nothing is baked again, and shots that share their light share one lit set.
    """
    scene = scene_of(lit.scene, shot)
    light = (scene.lamp, scene.haze, extinction_at(scene.haze, shot.start_after))
    if light == (lit.scene.lamp, lit.scene.haze, lit.medium.extinction_per_m):
        return lit
    if light not in lit.kept:
        same_lamps = scene.lamp == lit.scene.lamp and scene.haze == lit.scene.haze
        fresh = relit(lit, medium=medium_at(scene, lit.built, shot.start_after)) if same_lamps else relit_as(lit, scene, shot.start_after)
        while len(lit.kept) >= KEPT:
            del lit.kept[next(iter(lit.kept))]
        lit.kept[light] = fresh
    return lit.kept[light]


def view_of(lit: LitSet, move: Move, take_s: float, size: tuple[int, int]) -> View:
    """Return what the lens sees `take_s` into the move, all of it sharp, as a picture of `size` (columns, rows). [s], [pixel]"""
    return view_at(lit.scene, move.poses(take_s)[0], float(move.focus_mm(take_s)[0]), size)


def views_during(lit: LitSet, shot: Shot, move: Move, take_s: float, size: tuple[int, int], *, passes: int) -> list[View]:
    """
    Return the lens, open to the shot's stop, while the shutter is open for the frame at `take_s`.

    Parameters
    ----------
    take_s : float
        The middle of the exposure; what would lie before or after the take is its first or last moment. [s]
    size : (columns, rows)
        [pixel]
    passes : int
        Of the picture: it is given one moment for each pass of each group of pixels.

    Returns
    -------
    list of View
        At moments spread evenly over the exposure; a single one where the camera stands still.
    """
    count = passes * GROUPS if move.length else 1
    when = np.clip(take_s + shot.exposure_s * ((np.arange(count) + 0.5) / count - 0.5), 0, move.take_s)
    poses, focus, stop = move.poses(when), move.focus_mm(when), stop_used(lit.scene.lens, shot)
    return [view_at(lit.scene, poses[k], float(focus[k]), size, stop=stop) for k in range(count)]


def still(
    lit: LitSet, shot: Shot, move: Move, take_s: float, size: tuple[int, int], *, quality: str = "good", workers: int | None = None,
    progress: Callable[[float], None] | None = None,
) -> Still:  # fmt: skip
    """
    Return the picture of `shot` at a moment of its take: out of focus and smeared as the lens, the stop and the shutter say.

    Parameters
    ----------
    lit : LitSet
        As `lit_at_roll` gives it; a lift is taken to where it stands at that moment, and uneven haze to where it has drifted.
    take_s : float
        [s]
    size : (columns, rows)
        [pixel]
    quality : str
        One of `QUALITIES`.
    """
    lit = drawn_at_moment(lit, shot, move, take_s)
    passes, lamp_samples, haze_samples = QUALITIES[quality]
    views = views_during(lit, shot, move, take_s, size, passes=passes)
    linear = hazed_frame(lit, views, passes=passes, lamp_samples=lamp_samples, haze_samples=haze_samples, workers=workers, progress=progress)
    focus = float(move.focus_mm(take_s)[0])
    linear = on_sensor(linear, lit.scene, shot, views[0], focus)
    stop = float(effective_stop(lit.scene.lens, shot, focus))
    white = white_of(lit.scene, shot)
    return Still(linear, develop(linear, shot.iso, stop, shot.exposure_s, white=white), shot.iso, stop, shot.exposure_s, white)


def white_of(scene: Scene, shot: Shot) -> np.ndarray | None:
    """Return the white balance (3, 3) of a shot; None where light keeps its colour. `scene` is as the shot sees it."""
    if shot.white is None:
        return None
    if isinstance(shot.white, str):
        named = next((lamp for lamp in scene.lamp if lamp.name == shot.white), None)
        return None if named is None else balance(colour_of(named))
    return balance(white_rgb(shot.white))


def grain_of(scene: Scene, size: tuple[int, int]) -> Grain:
    """Return what the noise of a picture of `size` depends on: one pixel of it stands for several of the body's. [pixel]"""
    return Grain((scene.body.resolution[0] / size[0]) ** 2, scene.seed)
