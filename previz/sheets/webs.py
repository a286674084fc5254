"""
Webs: the strips of material that are left between openings, and between an opening and the edge.

Takes pieces; gives each web that is weak for its sheet. Knows nothing of how a sheet is cut.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from previz.build.webs import least_web
from previz.sheets.pieces import Piece, edge_name

_TOUCH_MM = 1e-3


@dataclass(frozen=True)
class Web:
    """A web of `width` [mm] between the opening `first` and `second`, an opening or an edge ("the top")."""

    first: str
    second: str
    width: float


def weakest_allowed(piece: Piece) -> float:
    """Return the width that a web of this piece should have at least. [mm]"""
    return least_web(piece.thickness)


def weak_webs(piece: Piece) -> tuple[Web, ...]:
    """Return the webs that are weak for the sheet, the narrowest first; an opening that reaches an edge has none there."""
    found = [*_between(piece), *_to_edges(piece)]
    return tuple(sorted(found, key=lambda web: (web.width, web.first, web.second)))


def _between(piece):
    holes = [cut.hole for cut in piece.cuts]
    if len(holes) < 2:
        return
    first, second = shapely.STRtree(holes).query(holes, predicate="dwithin", distance=weakest_allowed(piece) - _TOUCH_MM)
    for i, j in zip(first.tolist(), second.tolist()):
        if i < j:
            yield Web(piece.cuts[i].opening.name, piece.cuts[j].opening.name, float(shapely.distance(holes[i], holes[j])))


def _to_edges(piece):
    """Against both faces: under a slope or at a mitre one is smaller than the other."""
    edges = [edge for face in (piece.inner, piece.outer) for part in shapely.get_parts(face) for edge in _edges(part)]
    for cut in piece.cuts:
        width = {}
        for name, edge in edges:
            distance = float(shapely.distance(cut.hole, edge))
            if _TOUCH_MM < distance < weakest_allowed(piece) - _TOUCH_MM and not _runs_out(cut.hole, edge):
                width[name] = min(width.get(name, np.inf), distance)
        yield from (Web(cut.opening.name, name, distance) for name, distance in width.items())


def _edges(polygon):
    corners = np.asarray(polygon.exterior.coords)
    for a, b in zip(corners, corners[1:]):
        normal = np.array([b[1] - a[1], a[0] - b[0]])
        yield f"the {edge_name(normal / max(np.hypot(*normal), 1e-9))}", shapely.LineString([a, b])


def _runs_out(hole, edge):
    """Whether the hole crosses the edge anyway."""
    return shapely.intersects(hole, edge)
