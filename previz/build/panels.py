"""
Room panels as solids: walls, floors, ceilings and slopes with their openings cut, and the bars and slats in them.

Takes a room, its openings and the panels of `previz.scene.elevations`; gives solids in set coordinates.
Knows no light and no props.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import affinity

from previz.build.solids import Label, Prism, Solid, box
from previz.scene.elevations import Panel
from previz.scene.model import Opening, Room
from previz.scene.outlines import bars_of, outline_of

_GRID_MM = 1e-6
PAPER_MM = 0.1
"""Thickness of tracing paper (own choice). [mm]"""
_TOUCH_MM = 1e-5
_SLIVER_MM = 0.02


def panel_solid(room: Room, panel: Panel, openings: list[Opening]) -> Solid:
    """Return the panel with its openings cut, named "room.panel"."""
    name = f"{room.name}.{panel.name}"
    finish = room.finish_of(panel.name, *_FINISHES[panel.kind])
    inside, outside = Label(name, "inside", finish), Label(f"{name} outside", "outside", finish)
    edge = Label(f"{name} edge", "edge", finish)
    holes = [shapely.Polygon(outline_of(opening)) for opening in openings]
    regions = _wall_regions(panel, holes, inside) if panel.kind == "wall" else _slab_regions(panel, holes, inside, edge)
    reveal_finish = room.finish_of("reveals", panel.name, *_FINISHES[panel.kind])
    reveals = [(hole, Label(f"{name}: {o.name} reveal", "reveal", reveal_finish)) for hole, o in zip(holes, openings)]
    prism = Prism(tuple(regions), _lift(panel, holes), (0.0, panel.thickness), outside, edge, tuple(reveals))
    return prism.solid(name, panel.kind, room.name).placed(panel.axes, panel.origin)


_FINISHES = {"wall": ("walls",), "floor": ("floor", "walls"), "ceiling": ("ceiling", "walls"), "slope": ("slopes", "ceiling", "walls")}


def _wall_regions(panel, holes, inside):
    """The inner face less its openings; those that touch an edge or one another leave a notch, or part the wall."""
    rims = [panel.inner.exterior, *(hole.exterior for hole in holes)]
    if not _touching(rims):
        return [(shapely.Polygon(panel.inner.exterior, [hole.exterior for hole in holes]), inside)]
    stops = [edge.buffer(_SLIVER_MM, cap_style="square") for edge in _slanting_edges(panel)]
    stops += [edge.buffer(_SLIVER_MM, cap_style="square") for edge in _edges(panel.inner) if any(_only_kisses(hole, edge) for hole in holes)]
    cut = shapely.difference(_merged(holes), shapely.union_all(stops), grid_size=_GRID_MM)
    return [(piece, inside) for piece in _polygons(shapely.difference(panel.inner, cut, grid_size=_GRID_MM))]


def _merged(holes):
    """All holes as one shape. Those that touch in a point are joined by a neck, since no solid can hang on a point."""
    necks = []
    for i, j in _touching(holes):
        shared = shapely.intersection(holes[i].buffer(_TOUCH_MM), holes[j].buffer(_TOUCH_MM))
        necks += [p.centroid.buffer(_SLIVER_MM, cap_style="square") for p in shapely.get_parts(shared) if p.length < 10 * _SLIVER_MM]
    return shapely.union_all([*holes, *necks], grid_size=_GRID_MM)


def _touching(shapes):
    """Pairs (i, j), i < j, of shapes that touch."""
    first, second = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=_TOUCH_MM)
    return [(i, j) for i, j in zip(first.tolist(), second.tolist()) if i < j]


def _edges(face):
    corners = np.asarray(face.exterior.coords)
    return [shapely.LineString(pair) for pair in zip(corners, corners[1:])]


def _only_kisses(hole, edge):
    """Whether a hole touches an edge in a point: a round one on the floor."""
    shared = shapely.intersection(hole.buffer(_TOUCH_MM), edge)
    return not shared.is_empty and shared.length < 5 * _SLIVER_MM


def _slanting_edges(panel):
    """
    Edges of both faces of a wall that do not lie straight behind one another: mitred ends, tops under a pitched roof.

    An opening that reaches one would leave a knife edge; it stops a sliver short instead.
    """
    inner, outer = (np.asarray(face.exterior.coords) for face in (panel.inner, panel.outer))
    for a, b, c, d in zip(inner, inner[1:], outer, outer[1:]):
        if not _in_line(a, b, c, d):
            yield shapely.LineString([a, b])
            yield shapely.LineString([c, d])


def _in_line(a, b, c, d):
    """Whether c and d lie on the line through a and b."""
    step = (b - a) / np.hypot(*(b - a))
    return max(abs(step[0] * (p - a)[1] - step[1] * (p - a)[0]) for p in (c, d)) < _TOUCH_MM


def _slab_regions(panel, holes, inside, edge):
    """What the room sees of the slab, and its rim that lies on the walls; both snapped to one grid, so that they meet."""
    cut = _merged(holes) if holes else shapely.Polygon()
    # what collapses to a line on the grid must not go into the next step
    body = shapely.multipolygons(_polygons(shapely.difference(panel.outer, cut, grid_size=_GRID_MM)))
    # corners that differ by the grid alone become one, or crumbs of a step of the grid are left between the two
    inner = shapely.snap(panel.inner, body, _TOUCH_MM)
    seen = shapely.intersection(body, inner, grid_size=_GRID_MM)
    rim = shapely.difference(body, inner, grid_size=_GRID_MM)
    return [(piece, label) for shape, label in ((seen, inside), (rim, edge)) for piece in _polygons(shape)]


def _polygons(shape):
    return [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and p.area > _GRID_MM]


def _lift(panel, holes):
    """From corners of the inner face to those of the outer face; what is cut in a slope is cut square to it."""
    if panel.kind == "wall":
        inner, outer = (np.asarray(face.exterior.coords)[:-1] for face in (panel.inner, panel.outer))
        return lambda corners: _moved(corners, inner, outer)
    rise, run = panel.axes[2, 2], math.hypot(*panel.axes[2, :2])
    # the ends of a slope stand upright: a step of thickness outward takes the outer face tan(pitch) further up the slope
    shift = np.array([0.0, panel.thickness * run / abs(rise)])
    square = [hole.exterior for hole in holes if _clear_of_ends(hole, panel, shift[1])] if run else []
    if not square:
        return lambda corners: corners + shift
    rims = shapely.union_all(square)
    return lambda corners: corners + shift * (shapely.distance(rims, shapely.points(corners)) > _TOUCH_MM)[:, None]


def _clear_of_ends(hole, panel, shift):
    """Whether no slanting end of a slope passes under the hole on its way out; one that does leans with the end."""
    return shapely.contains_properly(panel.inner, shapely.union_all([hole, affinity.translate(hole, 0.0, -shift)]).convex_hull)


def _moved(corners, inner, outer):
    moved = corners.copy()
    for a, b in zip(inner, outer):
        moved[np.hypot(*(corners - a).T) < _TOUCH_MM] = b
    return moved


def bars_solid(room: Room, panel: Panel, opening: Opening) -> Solid | None:
    """Return the glazing bars of an opening, centred in the panel's thickness; None where it has none."""
    shape = bars_of(opening)
    if shape.is_empty:
        return None
    name = f"{room.name}.{panel.name}: {opening.name} bars"
    label = Label(name, "bars", room.finish_of("bars", "reveals", "walls"))
    depths = bar_depths(panel.thickness, opening.bars.depth)
    regions = tuple((piece, label) for piece in _polygons(shape))
    prism = Prism(regions, lambda corners: corners, depths, label, label)
    return prism.solid(name, "bars", room.name).placed(panel.axes, panel.origin)


def bar_depths(thickness: float, depth: float) -> tuple[float, float]:
    """Return the depths of the inner and the outer face of bars centred in a wall. [mm]"""
    return (thickness - depth) / 2, (thickness + depth) / 2


def slats_solid(room: Room, panel: Panel, opening: Opening) -> Solid | None:
    """Return the slats of an opening as one solid of boards, each as long as the opening is wide where it sits."""
    if opening.slats is None:
        return None
    name = f"{room.name}.{panel.name}: {opening.name} slats"
    finish = room.finish_of("slats", "reveals", "walls")
    boards = [_board(name, room.name, finish, opening.slats, *span, panel.thickness / 2) for span in _board_spans(opening)]
    return joined(name, "slats", room.name, boards).placed(panel.axes, panel.origin)


def paper_face(room: Room, panel: Panel, opening: Opening) -> str:
    """Return the name of the side of an opening's tracing paper that the room sees."""
    return f"{room.name}.{panel.name}: {opening.name} paper"


def paper_solid(room: Room, panel: Panel, opening: Opening) -> Solid | None:
    """Return the tracing paper over an opening, in its inner end; None where it has none."""
    if opening.diffuser is None:
        return None
    name, finish = paper_face(room, panel, opening), paper_finish(opening.diffuser)
    inner, outer = Label(name, "paper", finish), Label(f"{name} outside", "paper", finish)
    prism = Prism(((shapely.Polygon(outline_of(opening)), inner),), lambda corners: corners, (0.0, PAPER_MM), outer, outer)
    return prism.solid(name, "paper", room.name).placed(panel.axes, panel.origin)


def paper_finish(transmittance: float) -> str:
    """Return the name of the finish of tracing paper that lets that much through."""
    return f"tracing paper, {100 * transmittance:g} %"


def _board_spans(opening):
    """(left, right, middle height) of each slat."""
    hole = shapely.Polygon(outline_of(opening))
    left, low, right, high = hole.bounds
    count, angle = opening.slats.count, math.radians(opening.slats.angle)
    middles = low + (high - low) * (np.arange(count) + 0.5) / count
    reach = (opening.slats.width * abs(math.sin(angle)) + opening.slats.thickness * math.cos(angle)) / 2
    for middle in middles:
        strip = shapely.intersection(hole, shapely.box(left, middle - reach, right, middle + reach))
        yield strip.bounds[0], strip.bounds[2], middle


def _board(name, owner, finish, slats, left, right, middle, depth):
    angle = math.radians(slats.angle)
    board = box(name, owner, (right - left, slats.width, slats.thickness), finish, "slats", "slats")
    # board x runs along, board y (its width) outward and down by the angle, board z is its lower face
    axes = np.array([(1, 0, 0), (0, -math.sin(angle), math.cos(angle)), (0, -math.cos(angle), -math.sin(angle))])
    centre = np.array([(left + right) / 2, middle, depth]) - axes[2] * slats.thickness / 2
    return board.placed(axes, centre)


def joined(name: str, kind: str, owner: str, solids: list[Solid]) -> Solid:
    """Return several solids that do not touch as one."""
    starts = np.cumsum([0, *(len(s.vertices) for s in solids[:-1])])
    sides = [side.moved(start) for s, start in zip(solids, starts) for side in s.sides]
    return Solid(name, kind, owner, np.concatenate([s.vertices for s in solids]), tuple(sides), all(s.closed for s in solids))
