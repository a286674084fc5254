"""
Shadows in the picture: what share of the lit surface, and of the lit haze, in frame lies in the shadow of something.

Takes what the rays of a coarse frame meet, lamps' faces and a tracer of what casts the shadow; gives shares. All of it is straight lines
on arrays. Knows nothing of how bright anything is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from previz.camera.view import View
from previz.rays.packed import Cells, in_cells
from previz.rays.tracer import SKIN_MM, Hits, Tracer

ALONG = (np.arange(4) + 0.5) / 4
"""Where along each ray, from the front of the lens to what it meets, its haze is looked at (own choice)."""

FEW = slice(0, None, 5)
"""Of points on a lamp's face, four by four, those that shadows are looked at from: a diagonal."""


@dataclass(frozen=True)
class Frame:
    """
    One ray a pixel of a view, and what it meets.

    x, y                 (n,) the middle of the pixel
    origins, directions  (n, 3) [mm], unit vectors
    hits                 what is met
    """

    view: View
    x: np.ndarray
    y: np.ndarray
    origins: np.ndarray
    directions: np.ndarray
    hits: Hits


def frame_of(tracer: Tracer, view: View) -> Frame:
    """Return the rays of a view and what they meet in the set."""
    x, y = (grid.ravel() + 0.5 for grid in np.meshgrid(np.arange(view.columns), np.arange(view.rows)))
    directions = view.directions(x, y)
    origins = np.broadcast_to(view.position, directions.shape)
    return Frame(view, x, y, origins, directions, tracer.hit(origins, directions))


@dataclass(frozen=True)
class Places:
    """
    Places in frame that light may fall on.

    points   (n, 3) [mm]
    facing   (n, 3) unit normals towards the lens; None for haze, which takes light from all sides
    """

    points: np.ndarray
    facing: np.ndarray | None


def surfaces(frame: Frame) -> Places:
    """Return what the rays of a frame meet."""
    met = frame.hits.triangle >= 0
    directions, normal = frame.directions[met], frame.hits.normal[met]
    normal = normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
    facing = np.where((np.einsum("ij,ij->i", normal, directions) > 0)[:, None], -normal, normal)
    return Places(frame.origins[met] + frame.hits.distance[met, None] * directions + 2 * SKIN_MM * facing, facing)


def haze(frame: Frame, front_mm: float, cells: Cells) -> Places:
    """Return places in the haze of `cells` along the rays of a frame, between the front of the lens, so far ahead of its pupil, and what they meet. [mm]"""
    met = frame.hits.triangle >= 0
    first = front_mm / (frame.directions[met] @ frame.view.forward)
    along = first[:, None] + np.maximum(frame.hits.distance[met] - first, 0.0)[:, None] * ALONG
    points = (frame.origins[met, None] + along[..., None] * frame.directions[met, None]).reshape(-1, 3)
    return Places(points[in_cells(points, cells)], None)


def shaded_share(tracer: Tracer, places: Places, face: np.ndarray, caster: Tracer) -> float:
    """
    Return the share of what a lamp lights that lies in a shadow.

    Parameters
    ----------
    tracer : Tracer
        Of the set.
    places : Places
    face : (m, 3) float array
        Points on the lamp's face. [mm]
    caster : Tracer
        Of what may stand in the light.

    Returns
    -------
    float
        Of all lines from a place to the face with none of the set between, the share that the caster blocks. [1]
    """
    towards = slice(None) if places.facing is None else np.einsum("ij,ij->i", face.mean(axis=0) - places.points, places.facing) > 0
    points = places.points[towards]
    targets = [np.broadcast_to(target, points.shape) for target in face[FEW]]
    shaded = 0
    for to in targets:
        # Few lines meet the caster, so they are asked for first.
        crossed = caster.blocked(points, to)
        shaded += (~tracer.blocked(points[crossed], to[crossed])).sum()
    if not shaded:
        return 0.0
    return float(shaded / sum((~tracer.blocked(points, to)).sum() for to in targets))
