"""
A fan: rays from a lamp's centre, evenly over an opening, to what they meet in the set.

Takes the built set, a tracer over it and a lamp; gives rays. Coarser than patches and shafts, and as quick as looking: for
questions that are asked again at each moment of a take.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from previz.build.built import BuiltSet
from previz.light.lamps import Emitter, intensity
from previz.rays.tracer import SKIN_MM, Tracer


class Fan(NamedTuple):
    """
    Rays of one lamp through one opening, from the middle of its wall on.

    start, way  (n, 3) points in the panes [mm], and unit vectors away from the lamp [1]
    reach       (n,) to what they meet; inf where they leave the set [mm]
    triangle    (n,) that they meet; -1 where they leave the set
    light       (n,) that each stands for, by the inverse square of the distance and the cosine at the opening [lm]
    """

    start: np.ndarray
    way: np.ndarray
    reach: np.ndarray
    triangle: np.ndarray
    light: np.ndarray


def fan(built: BuiltSet, tracer: Tracer, lamp: Emitter, opening: str, across: int) -> Fan:
    """
    Return the rays of a lamp's centre through an opening; none where it stands behind it, or something stands in between.

    Parameters
    ----------
    across : int
        Rays across and up the opening's bounding box; those that meet its bars or miss its outline are left out.
    """
    start, normals, area = _spread(built, lamp.centre, opening, across)
    way = start - lamp.centre
    length = np.linalg.norm(way, axis=1)
    free = ~tracer.blocked(np.broadcast_to(lamp.centre, start.shape), start)
    start, length = start[free], length[free]
    way = way[free] / length[:, None]
    met = tracer.hit(start + SKIN_MM * way, way)
    cosine = -np.einsum("ij,ij->i", way, normals[free])
    return Fan(start, way, met.distance.astype(float), met.triangle, area * intensity(lamp, way) * cosine / length**2)


def _spread(built: BuiltSet, lamp: np.ndarray, opening: str, across: int) -> tuple[np.ndarray, np.ndarray, float]:
    """Return points (n, 3) evenly over an opening's panes, in the middle of the wall, its outward normal at each (n, 3), and the area for each; none of panes that the lamp stands behind. [mm], [mm2]"""
    panes = [a for a in built.apertures if a.opening == opening and a.axes[2] @ (lamp - a.origin) > a.thickness]
    if not panes:
        return np.zeros((0, 3)), np.zeros((0, 3)), 0.0
    corners = np.concatenate([a.outline for a in panes])
    low, high = corners.min(axis=0), corners.max(axis=0)
    step = (np.arange(across) + 0.5) / across
    grid = np.stack(np.meshgrid(*(low[:, None] + step * (high - low)[:, None])), axis=-1).reshape(-1, 2)
    within = [grid[(grid @ a.edges[:, :2].T >= a.edges[:, 2]).all(axis=1)] for a in panes]
    points = [a.origin + np.column_stack([flat, np.full(len(flat), a.thickness / 2)]) @ a.axes for a, flat in zip(panes, within)]
    normals = [np.broadcast_to(a.axes[2], (len(flat), 3)) for a, flat in zip(panes, within)]
    return np.concatenate(points), np.concatenate(normals), float(np.prod(high - low)) / across**2
