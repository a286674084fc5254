"""
A piece as lines on three layers, the same for paper, SVG and DXF.

    cut      through the sheet, square: the outline and the openings
    score    shallow, or only drawn: where glazing bars go
    engrave  marks: the other face's outline to bevel to, where walls stand, the up arrow

Takes a `Piece`; gives strokes in its own millimetres, from its datum, seen from outside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from previz.sheets.pieces import Piece

LAYERS = ("cut", "score", "engrave")


@dataclass(frozen=True)
class Stroke:
    """
    One line.

    layer   one of `LAYERS`
    role    "outline" | "opening" | "pane" | "bar" | "bevel" | "walls" | "up"
    name    of the opening, else empty
    points  (k, 2), the first not repeated where closed [mm]
    """

    layer: str
    role: str
    name: str
    points: np.ndarray
    closed: bool


def strokes_of(piece: Piece) -> list[Stroke]:
    """Return every line of a piece: cuts first, the outline before the openings."""
    lines = [*_rings("cut", "outline", "", piece.outline)]
    for cut in piece.inside_cuts:
        name = cut.opening.name
        shapes = [("pane", pane) for pane in cut.panes] if cut.bars_stay else [("opening", cut.hole)]
        lines += [stroke for role, shape in shapes for stroke in _rings("cut", role, name, shape)]
    for cut in piece.cuts:
        if not cut.bars_stay:
            lines += _rings("score", "bar", cut.opening.name, cut.bars)
    for face in (piece.inner, piece.outer):
        if shapely.hausdorff_distance(face.boundary, piece.sheet.boundary) > 1e-3:
            lines += _rings("engrave", "bevel", "", face)
    lines += [Stroke("engrave", "walls", "", np.asarray(line.coords), False) for line in shapely.get_parts(piece.standing_lines) if line.geom_type == "LineString"]
    return lines


def _rings(layer, role, name, shape):
    """The closed rings of a polygon or several."""
    for part in shapely.get_parts(shape):
        if part.geom_type == "Polygon" and part.area > 1e-6:
            for ring in (part.exterior, *part.interiors):
                yield Stroke(layer, role, name, np.asarray(ring.coords)[:-1], True)


def mark_spot(piece: Piece) -> tuple[np.ndarray, float]:
    """Return where the piece's mark fits best, clear of its openings, and the radius that is free there. [mm]"""
    holes = shapely.union_all([cut.hole for cut in piece.cuts]) if piece.cuts else shapely.Polygon()
    solid = max(shapely.get_parts(shapely.difference(piece.outline, holes)), key=lambda part: part.area, default=shapely.Polygon())
    if solid.area < 1:
        return np.array(piece.size) / 2, 0.0
    circle = shapely.maximum_inscribed_circle(solid, tolerance=0.5)
    return np.asarray(circle.coords[0]), float(shapely.length(circle))
