"""
The lens and the camera body as solids, in lens coordinates.

Takes the scene's lens and body; gives convex solids that are never smaller than the real ones. Knows nothing of moves.

Lens coordinates: origin at the entrance pupil, x forward along the optical axis, y left, z up [mm].

         x = pupil                       x = pupil - barrel lengths
           | front section | next section |  body box  |
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from previz.scene.model import Body, Lens

EXCESS_MM = 0.02
"""How far the corners of a barrel's polygon may stand outside the true round."""


@dataclass(frozen=True)
class RigPart:
    """
    One convex solid of lens or body.

    name      in the maker's words
    corners   (k, 3) in lens coordinates [mm]
    tip_from  x from which on it is called the lens tip; infinite where it has none [mm]
    """

    name: str
    corners: np.ndarray
    tip_from: float = math.inf

    def name_at(self, x: float) -> str:
        """Return what the maker calls the place at `x` in lens coordinates. [mm]"""
        return "lens tip" if x >= self.tip_from else self.name

    def faces(self) -> np.ndarray:
        """Return (m, 3) triangles over the corners."""
        return ConvexHull(self.corners).simplices


def rig_parts(lens: Lens, body: Body) -> tuple[RigPart, ...]:
    """
    Return the barrel's sections from the front back, then the camera body behind them, centred on the optical axis.

    Parameters
    ----------
    lens : Lens
        Its barrel and where its entrance pupil lies behind the front.
    body : Body
        Its box.

    Returns
    -------
    tuple of RigPart
        The first diameter's length of the front section is the lens tip.
    """
    parts, front = [], lens.pupil
    for length, diameter in lens.barrel:
        tip_from = front - diameter if not parts else math.inf
        parts.append(RigPart(f"lens barrel ({diameter:g} mm)", _barrel(front, length, diameter), tip_from))
        front -= length
    width, height, depth = body.box
    sides = [[x, y * width / 2, z * height / 2] for x in (front, front - depth) for y in (-1, 1) for z in (-1, 1)]
    return (*parts, RigPart("camera body", np.array(sides)))


def _barrel(front: float, length: float, diameter: float) -> np.ndarray:
    """Return the (2 n, 3) corners of a polygon prism around the round barrel, flat at left, right, top and bottom."""
    radius = diameter / 2
    # A polygon of n sides around a circle stands out by r (1 / cos(pi / n) - 1) at its corners.
    n = 4 * max(4, math.ceil(math.pi / math.acos(radius / (radius + EXCESS_MM)) / 4))
    angle = (np.arange(n) + 0.5) * 2 * math.pi / n
    ring = radius / math.cos(math.pi / n) * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return np.concatenate([np.column_stack([np.full(n, x), ring]) for x in (front, front - length)])
