"""
The view from a lamp's centre: central projection onto a panel's inner plane, where every edge of light is straight.

Takes set coordinates; gives flat coordinates and the way back. Knows nothing of panes, faces or light.

    lamp frame   (a, u, w): along and up of the panel, from the lamp's foot on it; w towards the set, the lamp at the origin [mm]
    throw        (a, u) * height / w: where the ray through a point crosses the panel's inner plane [mm]
    height       of the lamp over that plane [mm]

On a flat face 1 / w is an affine function of the throw, so what is nearer to the lamp is told apart exactly, in the plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Nothing nearer to the lamp's own plane than this share of its height is projected: it would land at infinity.
NEAREST = 1e-3


@dataclass(frozen=True)
class Throw:
    """
    Central projection from `lamp` (3,) onto the plane of a panel.

    axes    (3, 3) rows along, up, outward of the panel
    height  of the lamp over the panel's inner plane, greater than zero [mm]
    foot    (2,) along, up of the point under the lamp [mm]
    """

    lamp: np.ndarray
    axes: np.ndarray
    height: float
    foot: np.ndarray

    @classmethod
    def onto(cls, origin: np.ndarray, axes: np.ndarray, lamp: np.ndarray) -> Throw:
        """Return the throw from `lamp` (3,) onto the panel frame `origin` (3,), `axes` (3, 3). [mm]"""
        local = axes @ (lamp - origin)
        return cls(lamp, axes, float(local[2]), local[:2])

    def turned(self, directions: np.ndarray) -> np.ndarray:
        """Return directions (..., 3) of the set in the lamp frame."""
        return directions @ self.axes.T * (1.0, 1.0, -1.0)

    def unturned(self, directions: np.ndarray) -> np.ndarray:
        """Return directions (..., 3) of the lamp frame in the set."""
        return (directions * (1.0, 1.0, -1.0)) @ self.axes

    def seen(self, points: np.ndarray) -> np.ndarray:
        """Return points (..., 3) of the set in the lamp frame. [mm]"""
        return self.turned(points - self.lamp)

    def of_panel(self, outline: np.ndarray, depth) -> np.ndarray:
        """Return the throw (..., 2) of panel points (..., 2) along, up at `depth` (...). [mm]"""
        return (outline - self.foot) * np.expand_dims(self.height / (self.height - np.asarray(depth, dtype=float)), -1)

    def flat(self, seen: np.ndarray) -> np.ndarray:
        """Return the throw (..., 2) of points (..., 3) in the lamp frame with w > 0. [mm]"""
        return seen[..., :2] * (self.height / seen[..., 2:])

    def back(self, flat: np.ndarray, normals: np.ndarray, offsets: np.ndarray) -> np.ndarray:
        """
        Return the points (n, 3) of the set where the rays of a throw meet planes.

        Parameters
        ----------
        flat : (n, 2) float array
            Throw. [mm]
        normals, offsets : (n, 3) and (n,) float arrays
            Of each ray's plane in the lamp frame, ``normal . x = offset``. [1], [mm]
        """
        rays = np.column_stack([flat / self.height, np.ones(len(flat))])
        seen = rays * (offsets / np.einsum("ij,ij->i", rays, normals))[:, None]
        return self.lamp + self.unturned(seen)


def clip(corners: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """
    Return what is left of triangles where a linear function is positive.

    Parameters
    ----------
    corners : (n, 3, d) float array
        Of the triangles, in any d dimensions.
    values : (n, 3) float array
        Of the function at the corners.

    Returns
    -------
    (k, 4, d) float array
        Quadrilaterals; a triangle repeats its last corner.
    (k,) int array
        The triangle that each comes from.

    Notes
    -----
    One step of Sutherland and Hodgman, Reentrant polygon clipping, Commun. ACM 17, 32-42 (1974). The crossing of an edge
    is the same to the last bit from either of its two triangles, so that neighbours still join without a gap.
    """
    inside = values > 0
    count = inside.sum(axis=1)
    kept = np.flatnonzero(count)
    # Bring the corner that differs from the other two to the front.
    odd = np.where(count == 1, inside.argmax(axis=1), inside.argmin(axis=1))[kept]
    order = (odd[:, None] + np.arange(3)) % 3
    corner = np.take_along_axis(corners[kept], order[:, :, None], axis=1)
    value = np.take_along_axis(values[kept], order, axis=1)
    first, second, third = corner[:, 0], corner[:, 1], corner[:, 2]
    whole = np.stack([first, second, third, third], axis=1)
    left, right = _crossing(first, second, value[:, 0], value[:, 1]), _crossing(first, third, value[:, 0], value[:, 2])
    tip = np.stack([first, left, right, right], axis=1)
    stump = np.stack([left, second, third, right], axis=1)
    number = count[kept][:, None, None]
    return np.where(number == 3, whole, np.where(number == 2, stump, tip)), kept


def _crossing(a: np.ndarray, b: np.ndarray, at_a: np.ndarray, at_b: np.ndarray) -> np.ndarray:
    span = at_a - at_b
    span = np.where(span == 0, 1.0, span)[:, None]
    return (at_a[:, None] * b - at_b[:, None] * a) / span


def halves(quads: np.ndarray, index: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the triangles (m, 3, d) that clipped quadrilaterals (k, 4, d) are made of, and the `index` (m,) of each."""
    real = (quads[:, 3] != quads[:, 2]).any(axis=1)
    return np.concatenate([quads[:, :3], quads[real][:, [0, 2, 3]]]), np.concatenate([index, index[real]])
