"""
Framing: does the subject stay in the picture, and does anything stand in front of it?

Takes the built set, a tracer over it, a shot and its move; gives the worst of the take. Knows nothing of light.

The picture is looked at on `MOMENTS` moments of the take, and through a grid of rays: figures between them are not seen,
but neither the margin nor the hidden share can jump by much in a fortieth of a take.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from previz.build.built import BuiltSet
from previz.build.places import prop_box
from previz.camera.view import View, view_at
from previz.rays.tracer import SKIN_MM, Tracer
from previz.rig.moves import Move
from previz.scene.model import Scene, Shot

MOMENTS = 41
GRID = 48
"""Rays across, and as many down, over the part of the picture that the subject can appear in."""

TRIM_MM = 3.0
"""What lies no farther than this outside the subject's box belongs to its look, a dial on a clock or a plank on a boat, and
does not count as standing in front of it (own choice)."""


@dataclass(frozen=True)
class Framing:
    """
    How the subject sits in the frame, at worst over the take.

    subject       the prop's name
    worst_margin  least distance from the corners of its box to the frame's edge, as a share of half the frame: 1 in the
                  middle, 0 on the edge, negative outside, -1 half a frame or more outside or behind the lens
    hidden_share  greatest share of its picture that other things hide; 0 when it is out of frame
    at_take_s     when the margin is worst [s]
    """

    subject: str
    worst_margin: float
    hidden_share: float
    at_take_s: float


def framing(built: BuiltSet, tracer: Tracer, scene: Scene, shot: Shot, move: Move) -> Framing | None:
    """
    Return how the shot's subject sits in the frame; None for a shot without subject.

    Parameters
    ----------
    built : BuiltSet
    tracer : Tracer
        Over the built set.
    scene : Scene
        Its body and lens.
    shot : Shot
    move : Move
        Of that shot.

    Returns
    -------
    Framing or None
    """
    if shot.subject_name is None:
        return None
    subject = built.triangles_of(built.part_named(shot.subject_name))
    low, high = prop_box(built, shot.subject_name)
    box = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    take_s = np.linspace(0, move.take_s, MOMENTS if move.length else 1)
    poses, focus = move.poses(take_s), move.focus_mm(take_s)
    views = [view_at(scene, poses[i], focus[i]) for i in range(len(take_s))]
    margins = [margin(view, box) for view in views]
    alone = Tracer(built.vertices, built.triangles[subject])
    hidden = max(hidden_share(view, box, alone, tracer, subject) for view in views)
    worst = int(np.argmin(margins))
    return Framing(shot.subject_name, margins[worst], hidden, float(take_s[worst]))


def margin(view: View, points) -> float:
    """
    Return how far inside the frame the outermost of some points lies.

    Parameters
    ----------
    view : View
    points : (n, 3) float array
        [mm]

    Returns
    -------
    float
        As a share of half the frame: 1 in the middle, 0 on the edge, no less than -1. [1]
    """
    across, upward = _in_frame(view, points)
    outermost = np.maximum(np.abs(across), np.abs(upward))
    return float(np.clip(1 - np.where(np.isnan(outermost), np.inf, outermost), -1, 1).min())


def hidden_share(view: View, box, alone: Tracer, everything: Tracer, subject) -> float:
    """
    Return the share of the subject's picture that other things hide.

    Parameters
    ----------
    view : View
    box : (8, 3) float array
        Corners of the subject's box. [mm]
    alone, everything : Tracer
        Over the subject, and over the whole set.
    subject : (k,) int array
        The subject's triangles in the whole set.

    Returns
    -------
    float
        Of the rays within the frame that would meet the subject if nothing else were there. Its trim hides nothing. [1]
    """
    x, y = _grid(view, box)
    directions = view.directions(x, y)
    origins = np.broadcast_to(view.position, directions.shape)
    ahead = alone.hit(origins, directions)
    seen = np.isfinite(ahead.distance)
    first = everything.hit(origins[seen], directions[seen])
    where = origins[seen] + first.distance[:, None] * directions[seen]
    trim = np.all((where > box.min(axis=0) - TRIM_MM) & (where < box.max(axis=0) + TRIM_MM), axis=1)
    other = ~np.isin(first.triangle, subject) & (first.distance < ahead.distance[seen] - SKIN_MM) & ~trim
    return float(other.mean()) if seen.any() else 0.0


def _in_frame(view: View, points) -> tuple[np.ndarray, np.ndarray]:
    """Return (n,) across and (n,) upward, -1 to 1 inside the frame; NaN where not ahead of the lens."""
    x, y, _ = view.project(points)
    return 2 * x / view.columns - 1, 1 - 2 * y / view.rows


def _grid(view: View, box) -> tuple[np.ndarray, np.ndarray]:
    """Return pixel coordinates (n,), (n,) spread evenly over the part of the frame that the box covers."""
    size = np.array([view.columns, view.rows])
    x, y, depth = view.project(box)
    low, high = np.zeros(2), size.astype(float)
    if np.all(depth > 0):
        low, high = np.clip([[x.min(), y.min()], [x.max(), y.max()]], 0, size)
    step = (np.arange(GRID) + 0.5) / GRID
    across, down = np.meshgrid(*(low[:, None] + step * (high - low)[:, None]))
    return across.ravel(), down.ravel()
