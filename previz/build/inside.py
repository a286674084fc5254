"""
Inside or outside: where a point stands against the solids of a set.

Takes points and a built set; gives the solid that each is in and the nearest way out.
"""

from __future__ import annotations

import numpy as np

from previz.build.built import BuiltSet

# A point in a solid has winding number 1, on a face 1/2, on an edge or corner a share that the float sum cannot hold apart from it.
_INSIDE = 0.75


def winding_number(corners: np.ndarray, point: np.ndarray) -> float:
    """
    Return how often a closed surface goes around a point: 1 inside, 0 outside.

    Parameters
    ----------
    corners : (m, 3, 3) float array
        Triangles, anticlockwise seen from outside. [mm]
    point : (3,) float array
        [mm]

    Notes
    -----
    The sum of the triangles' solid angles over 4 pi; ``tan(omega / 2) = a . (b x c) / (abc + (a . b) c + (a . c) b +
    (b . c) a)`` (A. van Oosterom and J. Strackee, The solid angle of a plane triangle, IEEE Trans. Biomed. Eng. 30,
    125-126, 1983).
    """
    a, b, c = np.moveaxis(np.asarray(corners, float) - point, 1, 0)
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    ab, bc, ca = (np.einsum("ij,ij->i", u, v) for u, v in ((a, b), (b, c), (c, a)))
    volume = np.einsum("ij,ij->i", a, np.cross(b, c))
    return float(np.sum(np.arctan2(volume, la * lb * lc + ab * lc + ca * lb + bc * la)) / (2 * np.pi))


def solids_around(built: BuiltSet, point: np.ndarray) -> list[int]:
    """Return the parts that a point (3,) is inside of. Open surfaces, and a set from a mesh file, have no inside. [mm]"""
    point = np.asarray(point, float)
    found = []
    for index, part in enumerate(built.parts):
        if not part.closed or part.kind == "mesh":
            continue
        corners = built.vertices[built.triangles[part.first : part.last]]
        flat = corners.reshape(-1, 3)
        if np.all(flat.min(axis=0) < point) and np.all(point < flat.max(axis=0)) and winding_number(corners, point) > _INSIDE:
            found.append(index)
    return found


def way_out(built: BuiltSet, part: int, point: np.ndarray) -> np.ndarray:
    """Return the (3,) place on a part's surface that is nearest to a point (3,). [mm]"""
    from trimesh.triangles import closest_point  # slow to load, and only a fault asks

    corners = built.vertices[built.triangles[built.triangles_of([part])]]
    nearest = closest_point(corners, np.broadcast_to(np.asarray(point, float), (len(corners), 3)))
    return nearest[np.argmin(np.sum((nearest - point) ** 2, axis=1))]
