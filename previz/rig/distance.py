"""
Distance between a solid of the rig and everything in the set.

Takes the built set once, then triangles in set coordinates; gives the nearest pair of points and whose they are.
The only module that speaks to the collision library.
"""

from __future__ import annotations

from dataclasses import dataclass

import fcl
import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from previz.build.built import BuiltSet


@dataclass(frozen=True)
class Near:
    """
    The nearest pair of points.

    mm        distance; 0 where the surfaces meet [mm]
    on_rig    (3,) on the rig's solid [mm]
    on_set    (3,) on the set [mm]
    triangle  of the built set
    """

    mm: float
    on_rig: np.ndarray
    on_set: np.ndarray
    triangle: int


class SetDistance:
    """Distance queries against a built set; `queries` counts them."""

    def __init__(self, built: BuiltSet):
        self._built = built
        self._part_of = built.part_of
        self._set = fcl.CollisionObject(_tree(built.vertices, built.triangles), fcl.Transform())
        self._one_of_each = _one_triangle_of_each_piece(built)
        self.queries = 0

    def to(self, corners, faces) -> Near:
        """
        Return the nearest points of a convex solid and the set.

        Parameters
        ----------
        corners : (k, 3) float array
            In set coordinates. [mm]
        faces : (m, 3) int array
            Triangles over the corners, wound either way.

        Returns
        -------
        Near
            0 also where the solid swallows a piece of the set whole. A solid that is itself inside one of the set's is
            as far as that one's skin: `solids_around` tells.
        """
        self.queries += 1
        swallowed = self._swallowed(corners, faces)
        if swallowed is not None:
            at = self._built.vertices[self._built.triangles[swallowed, 0]]
            return Near(0.0, at, at, swallowed)
        found = fcl.DistanceResult()
        solid = fcl.CollisionObject(_tree(corners, faces), fcl.Transform())
        mm = fcl.distance(solid, self._set, fcl.DistanceRequest(enable_nearest_points=True), found)
        return Near(max(float(mm), 0.0), *map(np.array, found.nearest_points), int(found.b2))

    def _swallowed(self, corners, faces) -> int | None:
        """Return a triangle of a connected piece of the set that has a corner inside the convex solid, if any."""
        points = self._built.vertices[self._built.triangles[self._one_of_each, 0]]
        inside = np.flatnonzero(np.all((points >= corners.min(axis=0)) & (points <= corners.max(axis=0)), axis=1))
        if len(inside):
            a, b, c = np.moveaxis(corners[faces], 1, 0)
            normals = np.cross(b - a, c - a)
            normals *= np.sign(np.einsum("ij,ij->i", normals, a - corners.mean(axis=0)))[:, None]
            # Slivers of the hull have next to no normal, so a point on their plane may come out on either side by rounding.
            inside = inside[np.all(points[inside] @ normals.T <= np.einsum("ij,ij->i", normals, a) + 1e-9, axis=1)]
        return int(self._one_of_each[inside[0]]) if len(inside) else None

    def part_name(self, triangle: int) -> str:
        """Return the name of the part that a triangle belongs to."""
        return self._built.parts[self._part_of[triangle]].name

    def solids_around(self, point) -> list[str]:
        """
        Return the names of the set's solids that a point lies inside.

        Parameters
        ----------
        point : (3,) float array
            [mm]

        Returns
        -------
        list of str
            A prop counts though its mesh has holes; a wall or a whole-set mesh only when it is closed.

        Notes
        -----
        The winding number of each part, its triangles' solid angles (A. van Oosterom and J. Strackee, IEEE Trans.
        Biomed. Eng. 30, 1983, 125; from memory) summed over 4 pi: 1 inside a closed solid, 0 outside.
        """
        built, names = self._built, []
        for part in built.parts:
            if not (part.closed or part.kind == "prop"):
                continue
            corners = built.vertices[built.triangles[part.first : part.last]]
            flat = corners.reshape(-1, 3)
            if np.all((point > flat.min(axis=0)) & (point < flat.max(axis=0))) and _winding(corners - point) > 0.5:
                names.append(part.name)
        return names


def _one_triangle_of_each_piece(built: BuiltSet) -> np.ndarray:
    """Return (n,) a triangle of each connected piece of the set's surface."""
    a, b, c = built.triangles.T
    links = coo_array((np.ones(2 * len(a), bool), (np.concatenate([a, a]), np.concatenate([b, c]))), shape=[len(built.vertices)] * 2)
    return np.unique(connected_components(links, directed=False)[1][a], return_index=True)[1]


def _tree(vertices, triangles) -> fcl.BVHModel:
    model = fcl.BVHModel()
    model.beginModel(len(triangles), len(vertices))
    model.addSubModel(np.ascontiguousarray(vertices, float), np.ascontiguousarray(triangles, np.int64))
    model.endModel()
    return model


def _winding(corners: np.ndarray) -> float:
    """Return the winding number about the origin of triangles (m, 3, 3)."""
    a, b, c = np.moveaxis(corners, 1, 0)
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    volume = np.einsum("ij,ij->i", a, np.cross(b, c))
    dot = lambda p, q: np.einsum("ij,ij->i", p, q)
    return float(np.arctan2(volume, la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb).sum() / (2 * np.pi))
