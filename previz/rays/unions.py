"""
Unions and differences of many flat polygons at once, in groups.

Takes arrays of polygons and the group of each; gives one shape a group. Knows nothing of what they mean.

A union of thousands of triangles that share their edges is decided by its contour: an edge that one polygon of the group
runs along and another runs back along has the group on both sides, so it bounds nothing. What remains is cut where it
crosses itself, and each cell between is in the union when one of its points is.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely import STRtree

SLIVER_MM2 = 1e-9
"""Polygons below this area are rounding. [mm2]"""
GRID_MM = 1e-8
"""Unions are taken on this grid, so that neighbours cut by the same line close without a crack. [mm]"""
FEW = 32
"""Unions of up to so many are taken directly; above, finding the contour first costs less (measured)."""


def joined(polygons: np.ndarray, group: np.ndarray, count: int, grid: float | None = None) -> np.ndarray:
    """
    Return the union of each group.

    Parameters
    ----------
    polygons : (n,) array of shapely polygons
        Single, not empty. [mm]
    group : (n,) int array
        0 to `count` - 1.
    grid : float or None
        For polygons that the same line has cut: corners nearer than this are one. [mm]

    Returns
    -------
    (count,) array of shapely shapes
        Empty where a group has no polygon. [mm]
    """
    many = np.bincount(group, minlength=count)[group] > FEW
    out = _merged(polygons[~many], group[~many], count, grid)
    if many.any():
        large, number = np.unique(group[many], return_inverse=True)
        out[large] = _by_contour(shapely.orient_polygons(polygons[many]), number, len(large))
    return out


def _by_contour(polygons: np.ndarray, group: np.ndarray, count: int) -> np.ndarray:
    lines, of = _contours(polygons, group)
    cells, cell_group = parts(shapely.polygonize(_merged(lines, of, count, GRID_MM)[:, None]))
    points = shapely.point_on_surface(cells)
    point, polygon = STRtree(polygons).query(points, predicate="dwithin", distance=GRID_MM)
    covered = np.unique(point[cell_group[point] == group[polygon]])
    return _merged(cells[covered], cell_group[covered], count, GRID_MM)


def _merged(shapes: np.ndarray, group: np.ndarray, count: int, grid: float | None) -> np.ndarray:
    """Return (count,): the shapes of each group as one, lines cut where they cross; empty where there are none."""
    out = np.full(count, shapely.Polygon(), dtype=object)
    if len(shapes):
        order = np.argsort(group, kind="stable")
        present, number = np.unique(group[order], return_inverse=True)
        # Each row of one column is joined by itself, all rows in one call.
        collections = shapely.geometrycollections(shapes[order], indices=number)
        out[present] = shapely.union_all(collections[:, None], axis=1, grid_size=grid)
    return out


def _contours(polygons: np.ndarray, group: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the edges (m,) that no other polygon of the group runs back along, and their groups (m,)."""
    rings, owner = shapely.get_rings(polygons, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    of = group[owner[ring]]
    # A corner of a group is one number, so that a directed edge is one number too.
    _, number = np.unique(np.round(points / GRID_MM) @ (1, 1j), return_inverse=True)
    _, number = np.unique(of * len(points) + number, return_inverse=True)
    along = np.flatnonzero(ring[1:] == ring[:-1])
    # A polygon so thin that it runs back along itself bounds nothing, nor does it cover its neighbour's other side.
    along = along[~_runs_back(owner[ring[along]], number[along], number[along + 1])]
    kept = along[~_runs_back(np.zeros_like(along), number[along], number[along + 1])]
    return shapely.linestrings(np.stack([points[kept], points[kept + 1]], axis=1)), of[kept]


def _runs_back(of: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Return (m,) bool: whether any edge of the same `of` runs back from `end` to `start`, all (m,) int."""
    count = 1 + max(start.max(initial=0), end.max(initial=0))
    return np.isin((of * count + start) * count + end, (of * count + end) * count + start)


def without(polygons: np.ndarray, cutters: np.ndarray, of: np.ndarray) -> np.ndarray:
    """Return `polygons` (n,) less the `cutters` (m,), each of which is taken from polygon `of` (m,)."""
    touched = np.unique(of)
    out = polygons.copy()
    if len(touched):
        out[touched] = shapely.difference(polygons[touched], joined(cutters, np.searchsorted(touched, of), len(touched)))
    return out


def parts(polygons: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the single polygons (m,) above a sliver that `polygons` (n,) consist of, and where from (m,)."""
    singles, index = shapely.get_parts(polygons, return_index=True)
    kept = (shapely.get_type_id(singles) == shapely.GeometryType.POLYGON) & (shapely.area(singles) > SLIVER_MM2)
    return singles[kept], index[kept]
