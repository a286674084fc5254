"""
Openings as outlines: the hole that the maker cuts, its panes and its glazing bars, flat in the wall.

Takes a checked `Opening`; gives polygons in wall coordinates (along, up), millimetres, anticlockwise seen from outside.
Templates, solids and light all ask here, so that what is cut is what is lit. Knows no wall thickness and no room.

    arch     half-round head of radius width / 2 on straight jambs
    lancet   two-centred pointed head; each arc is struck from the opposite springing point with radius = width
             (the equilateral pointed arch, common practice), so the head is width * sqrt(3) / 2 high

Arcs become chords. Their ends stay where the true curve has them; the corners between lie a hair outside the curve,
so that the area is the true curve's. No chord's midpoint strays more than SAGITTA_MM from the curve.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from previz.scene.model import Opening, OutlineShape

SAGITTA_MM = 0.1
LANCET_HEAD = math.sqrt(3) / 2
_SPECK_MM2 = 1e-8


def size_of(opening: Opening) -> tuple[float, float]:
    """
    Return width and height of the opening's bounding box. [mm]

    Raises
    ------
    ValueError
        If the opening has neither a size nor an outline.
    """
    if isinstance(opening.shape, OutlineShape):
        points = np.asarray(opening.shape.outline, dtype=float)
        width, height = np.ptp(points, axis=0)
        return float(width), float(height)
    if opening.size is None:
        raise ValueError(f"opening {opening.name!r} has no size")
    if isinstance(opening.size, tuple):
        return opening.size
    return opening.size, opening.size


def outline_of(opening: Opening) -> np.ndarray:
    """
    Return the outline of the hole.

    Returns
    -------
    (k, 2) float array
        Corners (along, up), anticlockwise seen from outside, the first not repeated. [mm]
    """
    if isinstance(opening.shape, OutlineShape):
        return _anticlockwise(np.asarray(opening.shape.outline, dtype=float)) + opening.at
    width, height = size_of(opening)
    return _SHAPES[opening.shape](width, height) + opening.at


def bars_of(opening: Opening) -> shapely.Geometry:
    """Return the glazing bars as seen from outside, clipped to the outline: a polygon, several, or an empty one. [mm]"""
    if opening.bars is None:
        return Polygon()
    hole = Polygon(outline_of(opening))
    columns, rows = _clear_spans(opening)
    (left, low, right, high) = hole.bounds
    upright = [box(a, low - 1, b, high + 1) for a, b in _gaps(columns)]
    level = [box(left - 1, a, right + 1, b) for a, b in _gaps(rows)]
    return shapely.intersection(shapely.union_all(upright + level), hole)


def panes_of(opening: Opening) -> list[tuple[tuple[int, int], Polygon]]:
    """
    Return the clear panes between the bars.

    Returns
    -------
    list of ((column, row), Polygon)
        Counted from the lower left as seen from outside, row by row from the bottom. A pane that the outline cuts in
        several pieces comes once for each; one that lies outside the outline does not come at all. [mm]
    """
    hole = Polygon(outline_of(opening))
    if opening.bars is None:
        return [((0, 0), hole)]
    columns, rows = (_stretched(spans) for spans in _clear_spans(opening))
    return [
        ((column, row), shapely.orient_polygons(piece))
        for row, (low, high) in enumerate(rows)
        for column, (left, right) in enumerate(columns)
        for piece in _pieces(shapely.intersection(box(left, low, right, high), hole))
    ]


def pane_size(opening: Opening) -> tuple[float, float]:
    """Return the clear width and height of one pane; zero or less where the bars leave nothing. [mm]"""
    width, height = size_of(opening)
    if opening.bars is None:
        return width, height
    bars = opening.bars
    return (width - (bars.columns - 1) * bars.width) / bars.columns, (height - (bars.rows - 1) * bars.width) / bars.rows


def _clear_spans(opening):
    """(columns, 2) and (rows, 2): from and to of each clear span, along and up."""
    bar = opening.bars.width
    spans = []
    for start, clear, count in zip(opening.at, pane_size(opening), (opening.bars.columns, opening.bars.rows)):
        first = start + np.arange(count) * (clear + bar)
        spans.append(np.column_stack([first, first + clear]))
    return spans


def _gaps(spans):
    """The bars between neighbouring clear spans."""
    return zip(spans[:-1, 1], spans[1:, 0])


def _stretched(spans):
    """Let the outermost spans reach past the outline: the corners of a chorded arc lie a hair outside its box."""
    spans = spans.copy()
    spans[0, 0] -= 1
    spans[-1, 1] += 1
    return spans


def _pieces(geometry):
    return [part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon" and part.area > _SPECK_MM2]


def _anticlockwise(points):
    x, y = points.T
    return points if np.dot(x, np.roll(y, -1)) >= np.dot(y, np.roll(x, -1)) else points[::-1]


def _chords(radius, sweep):
    """How many chords keep within SAGITTA_MM of an arc: the sagitta is r (1 - cos(step / 2))."""
    step = 2 * math.acos(max(1 - SAGITTA_MM / radius, 0.5))
    return max(math.ceil(sweep / step), 4)


def _arc(centre, radius, start, stop):
    """
    Points of an arc, ends exact, the corners between at the radius whose polygon has the sector's area.

    With n chords of step d and inner radius q, twice the area is 2 r q sin d + (n - 2) q^2 sin d = r^2 n d.
    """
    count = _chords(radius, stop - start)
    step = (stop - start) / count
    a, b, c = (count - 2) * math.sin(step), 2 * radius * math.sin(step), -(radius**2) * count * step
    inner = (-b + math.sqrt(b * b - 4 * a * c)) / (2 * a)
    radii = np.full(count + 1, inner)
    radii[[0, -1]] = radius
    angles = start + step * np.arange(count + 1)
    return np.asarray(centre) + radii[:, None] * np.column_stack([np.cos(angles), np.sin(angles)])


def _rect(width, height):
    return np.array([(0, 0), (width, 0), (width, height), (0, height)], dtype=float)


def _arch(width, height):
    radius = width / 2
    head = _arc((radius, height - radius), radius, 0.0, math.pi)
    return _on_jambs(width, height - radius, head)


def _lancet(width, height):
    springing = height - LANCET_HEAD * width
    right = _arc((0, springing), width, 0.0, math.pi / 3)
    left = _arc((width, springing), width, math.pi * 2 / 3, math.pi)
    return _on_jambs(width, springing, np.concatenate([right, left[1:]]))


def _on_jambs(width, springing, head):
    """Stand a head on its jambs; a head as high as the opening has none."""
    head[[0, -1]] = (width, max(springing, 0.0)), (0.0, max(springing, 0.0))
    if springing < 1e-6:
        return head
    return np.concatenate([[(0.0, 0.0), (width, 0.0)], head])


def _round(width, height):
    radius = width / 2
    count = _chords(radius, 2 * math.pi)
    step = 2 * math.pi / count
    angles = step * np.arange(count)
    corner = radius * math.sqrt(step / math.sin(step))
    return radius + corner * np.column_stack([np.cos(angles), np.sin(angles)])


_SHAPES = {"rect": _rect, "arch": _arch, "lancet": _lancet, "round": _round}
