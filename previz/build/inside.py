"""
Inside or outside: where a point stands against the solids of a set, and whether it is in the air of a room.

Takes points and a built set; gives the solid that each is in and the nearest way out.
"""

from __future__ import annotations

import numpy as np

from previz.build.built import BuiltSet

# In a solid the winding number is 1, on a face 1/2.
_INSIDE = 0.75
_EDGE_ON = 1e-9


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
    size = la * lb * lc
    # a triangle whose plane holds the point hides no solid angle, or a whole half space in which the sign is rounding
    half = np.where(np.abs(volume) > _EDGE_ON * size, np.arctan2(volume, size + ab * lc + ca * lb + bc * la), 0.0)
    return float(np.sum(half) / (2 * np.pi))


def in_a_room(built: BuiltSet, point) -> bool:
    """Return whether a point (3,) lies in the air of a room. [mm]"""
    return any((cell.planes[:, :3] @ np.asarray(point, float) <= cell.planes[:, 3]).all() for cell in built.cells)


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


def ways_out(built: BuiltSet, part: int, point: np.ndarray, most: int = 12) -> np.ndarray:
    """Return (k, 3): the place nearest to a point (3,) on each of the part's nearest `most` triangles, nearest first. [mm]"""
    from trimesh.triangles import closest_point  # slow to load, and only a fault asks

    corners = built.vertices[built.triangles[built.triangles_of([part])]]
    places = closest_point(corners, np.broadcast_to(np.asarray(point, float), (len(corners), 3)))
    far = np.sum((places - point) ** 2, axis=1)
    return places[np.argsort(far, kind="stable")[:most]]
