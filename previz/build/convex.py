"""
Flat polygons in convex pieces.

Takes simple polygons; gives few convex ones that tile them exactly, with no new corners.
"""

from __future__ import annotations

import numpy as np
import shapely

_STRAIGHT = 1e-9


def is_convex(points: np.ndarray) -> bool:
    """Return whether an anticlockwise outline (k, 2) has no inward corner."""
    return bool(np.all(_turns(points) >= -_STRAIGHT))


def convex_pieces(polygon: shapely.Polygon) -> list[np.ndarray]:
    """
    Return convex outlines (k, 2), anticlockwise, that tile `polygon`. [mm]

    Notes
    -----
    Triangles of the constrained Delaunay triangulation, merged across a diagonal wherever the result stays convex
    (S. Hertel and K. Mehlhorn, Fast triangulation of simple polygons, FCT 1983: at most four times the fewest possible).
    """
    polygon = shapely.orient_polygons(polygon)
    outline = _plain(np.asarray(polygon.exterior.coords)[:-1])
    if not polygon.interiors and is_convex(outline):
        return [outline]
    pieces = [np.asarray(t.exterior.coords)[:-1] for t in shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))]
    pieces = [[tuple(p) for p in shapely.orient_polygons(shapely.Polygon(piece)).exterior.coords[:-1]] for piece in pieces]
    return [_plain(np.array(piece)) for piece in _merged(pieces)]


def _merged(pieces):
    """Merge across one shared edge after another, longest first."""
    edges = {(a, b) for piece in pieces for a, b in zip(piece, piece[1:] + piece[:1])}
    inner = sorted({tuple(sorted(e)) for e in edges if e[::-1] in edges}, key=lambda e: (-np.hypot(*np.subtract(*e)), e))
    for a, b in inner:
        first = next(p for p in pieces if _has_edge(p, a, b))
        second = next(p for p in pieces if _has_edge(p, b, a))
        if first is second:
            continue
        whole = _joined(first, second, a, b)
        if is_convex(np.array(whole)):
            pieces = [p for p in pieces if p is not first and p is not second] + [whole]
    return pieces


def _has_edge(piece, a, b):
    return a in piece and piece[(piece.index(a) + 1) % len(piece)] == b


def _joined(first, second, a, b):
    """The outline around both pieces: from b through the first back to a, then through the second back to b."""
    i, j = first.index(b), second.index(a)
    return first[i:] + first[:i] + (second[j:] + second[:j])[1:-1]


def _turns(points):
    step = np.roll(points, -1, axis=0) - points
    step = step / np.maximum(np.hypot(*step.T), 1e-300)[:, None]
    before = np.roll(step, 1, axis=0)
    return before[:, 0] * step[:, 1] - before[:, 1] * step[:, 0]


def _plain(points):
    """Drop corners where the outline runs straight on, or that repeat their neighbour."""
    step = np.roll(points, -1, axis=0) - points
    points = points[np.hypot(*step.T) > 1e-7]
    turns = _turns(points)
    return points[np.abs(turns) > _STRAIGHT]
