"""
The set as flat pieces to cut: every wall, floor, ceiling and roof slope with its joints, seen from outside.

Takes a checked scene; gives one `Piece` for each panel. Its coordinates are (along, up) from the piece's own datum,
the lower left corner of the sheet that it is cut from, seen from outside. Knows no paper and no file format.

The solids of `previz.build` mitre every corner of walls. Sheets are cut square, so here

    90 degrees    the wall on the left of the corner, seen from outside, runs through; the next one butts against it
    180 degrees   both end at the corner
    else          both are mitred: each edge is bevelled by half of what the corner turns

and the walls together fill the same space. Walls stand on the floor and carry ceiling or slopes.

A piece whose two faces differ is cut square to `sheet`, the larger of both, then bevelled to the dashed line.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity

from previz.scene.elevations import panel_named, panels_of, wall_panel, wall_plans
from previz.scene.model import Opening, Pitch, Scene
from previz.scene.outlines import bars_of, outline_of, panes_of, size_of

SQUARE_DEG = 0.01
"""A corner nearer than this to 90 or 180 degrees is cut square: 0.01 mm over a sheet of 50 mm (own choice)."""
_TOUCH_MM = 1e-4
_GRID_MM = 1e-6


@dataclass(frozen=True)
class Joint:
    """
    How one edge of a piece meets its neighbour.

    edge      "left end", "right end", "top" or "foot", seen from outside
    partner   the other piece's name; empty for a free edge
    how       "runs through" | "butts" | "mitre" | "straight" | "free" | "stands on" | "carries" | "rests on" | "ridge"
    turn_deg  that the walls turn at the corner, left seen from above; 0 where no corner is meant [degrees]
    says      in a maker's words
    """

    edge: str
    partner: str
    how: str
    turn_deg: float
    says: str


@dataclass(frozen=True)
class Bevel:
    """An edge that is not square: the blade leans by `degrees` from square; `larger` is the face that reaches farther."""

    edge: str
    degrees: float
    larger: str
    middle: tuple[float, float]


@dataclass(frozen=True)
class Cut:
    """
    An opening in a piece.

    hole      what is cut away, kept bars included, within the sheet: a polygon or several [mm]
    box       left, low, right, high as typed; of the hole where that is cut by the sheet's edge [mm]
    bars      the glazing bars as seen from outside [mm]
    bars_stay True where the bars are as deep as the sheet is thick: then the panes are cut and the bars stay
    panes     the clear panes [mm]
    """

    opening: Opening
    hole: shapely.Geometry
    box: tuple[float, float, float, float]
    bars: shapely.Geometry
    bars_stay: bool
    panes: tuple[shapely.Polygon, ...]


@dataclass(frozen=True)
class Piece:
    """
    One flat piece.

    name            "room.panel"
    kind            "wall" | "ceiling" | "floor" | "slope"
    origin, axes    where the datum lies in the set on the inner face, and rows along, up, outward
    thickness       [mm]
    inner, outer    its two faces without openings, corner for corner [mm]
    sheet           what both need, without openings: cut square to this [mm]
    standing_lines  where walls stand on a slab, seen through it: a line, several, or empty [mm]
    """

    name: str
    kind: str
    origin: np.ndarray
    axes: np.ndarray
    thickness: float
    inner: shapely.Polygon
    outer: shapely.Polygon
    sheet: shapely.Geometry
    cuts: tuple[Cut, ...]
    joints: tuple[Joint, ...]
    bevels: tuple[Bevel, ...]
    standing_lines: shapely.Geometry

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the sheet. [mm]"""
        return tuple(float(v) for v in self.sheet.bounds[2:])

    @property
    def outline(self) -> shapely.Geometry:
        """The sheet less the openings that reach its edge. [mm]"""
        notches = [cut.hole for cut in self.cuts if _reaches(cut.hole, self.sheet)]
        return shapely.difference(self.sheet, shapely.union_all(notches), grid_size=_GRID_MM) if notches else self.sheet

    @property
    def inside_cuts(self) -> tuple[Cut, ...]:
        """The openings that do not reach the edge."""
        return tuple(cut for cut in self.cuts if not _reaches(cut.hole, self.sheet))


def _reaches(hole, sheet):
    return shapely.distance(hole, sheet.boundary) < _TOUCH_MM


def pieces_of(scene: Scene) -> tuple[Piece, ...]:
    """Return every piece of the set: room by room, walls in plan order, then floor, ceiling or slopes."""
    return tuple(piece for room in scene.room for piece in _room_pieces(scene, room))


def _room_pieces(scene, room):
    openings = [opening for opening in scene.opening if opening.room == room.name]
    homes = [panel_named(room, opening.panel) for opening in openings]
    ends = _ends(room)
    for panel in panels_of(room).values():
        here = [opening for opening, home in zip(openings, homes) if home is not None and home.name == panel.name]
        if panel.kind == "wall":
            yield _wall_piece(room, panel, *ends[panel.name], here)
        else:
            yield _slab_piece(room, panel, here)


def _ends(room):
    """By wall name, its left and right end as (how, partner, turn, length beyond the inner face; None for a mitre)."""
    plans = wall_plans(room)
    ends = {plan.name: [None, None] for plan in plans}
    for i, plan in enumerate(plans):
        before = plans[i - 1]
        a, b = before.along, plan.along
        turn = math.degrees(math.atan2(a[0] * b[1] - a[1] * b[0], a @ b))
        ends[before.name][1], ends[plan.name][0] = _corner(room, before, plan, turn)
    return ends


def _corner(room, before, after, turn):
    """What the wall before the corner and the one after it do there: (how, partner, turn, extra)."""
    if not (before.standing and after.standing):
        return ("free", "", 0.0, 0.0), ("free", "", 0.0, 0.0)
    names = f"{room.name}.{after.name}", f"{room.name}.{before.name}"
    if abs(turn) < SQUARE_DEG:
        return ("straight", names[0], turn, 0.0), ("straight", names[1], turn, 0.0)
    if abs(turn - 90) < SQUARE_DEG:
        return ("runs through", names[0], turn, room.wall), ("butts", names[1], turn, 0.0)
    if abs(turn + 90) < SQUARE_DEG and after.length > 2 * room.wall:
        return ("runs through", names[0], turn, 0.0), ("butts", names[1], turn, -room.wall)
    return ("mitre", names[0], turn, None), ("mitre", names[1], turn, None)


def _wall_piece(room, panel, left, right, openings):
    plan = next(plan for plan in wall_plans(room) if plan.name == panel.name)
    changed = {}
    if left[3] is not None:
        changed |= {"start": plan.start - plan.along * left[3]}
        changed |= {"outer_start": changed["start"] + plan.outward * room.wall}
    if right[3] is not None:
        changed |= {"end": plan.end + plan.along * right[3]}
        changed |= {"outer_end": changed["end"] + plan.outward * room.wall}
    cut = wall_panel(room, dataclasses.replace(plan, **changed))
    joints = [_end_joint("left end", *left, room), _end_joint("right end", *right, room), _foot_joint(room), _top_joint(room)]
    moved = -float(cut.to_local([panel.origin])[0, 0])
    return _piece(room, cut, cut.inner, cut.outer, openings, moved, joints, shapely.Polygon())


def _slab_piece(room, panel, openings):
    outer = panel.outer
    shift = 0.0
    if panel.kind == "slope":
        # the ends of a slope stand upright, as the solids have it: its outer face lies farther up
        shift = panel.thickness * math.hypot(*panel.axes[2, :2]) / panel.axes[2, 2]
    lines = panel.inner.boundary
    return _piece(room, panel, outer, affinity.translate(outer, 0, shift), openings, 0.0, _slab_joints(room, panel), lines)


def _piece(room, panel, inner, outer, openings, moved, joints, lines):
    """Shift everything so that the sheet's lower left corner is the datum."""
    sheet = shapely.union_all([inner, outer], grid_size=_GRID_MM).simplify(_TOUCH_MM)
    left, low = sheet.bounds[:2]

    def place(shape, moved=0.0):
        return affinity.translate(shape, -left - moved, -low)

    inner, outer, sheet = place(inner), place(outer), shapely.orient_polygons(place(sheet))
    cuts = tuple(_cut(opening, sheet, panel.thickness, lambda shape: place(shape, moved)) for opening in openings)
    origin = panel.to_set(np.array([[left, low, 0.0]]))[0]
    bevels = _bevels(inner, outer, panel.thickness)
    return Piece(
        f"{room.name}.{panel.name}", panel.kind, origin, panel.axes, panel.thickness, inner, outer, sheet, cuts, tuple(joints), bevels, place(lines)
    )


def _cut(opening, sheet, thickness, place):
    whole = place(shapely.Polygon(outline_of(opening)))
    hole = shapely.intersection(whole, sheet, grid_size=_GRID_MM)
    typed = place(shapely.box(*opening.at, *np.add(opening.at, size_of(opening)))).bounds
    box = typed if hole.area > whole.area * (1 - 1e-6) else hole.bounds
    bars = place(bars_of(opening))
    stay = opening.bars is not None and not bars.is_empty and opening.bars.depth > thickness - 0.05
    return Cut(opening, shapely.orient_polygons(hole), box, bars, stay, tuple(place(pane) for _, pane in panes_of(opening)))


def _bevels(inner, outer, thickness):
    """The edges where one face reaches farther than the other."""
    found = []
    for a, b in zip(shapely.get_parts(inner), shapely.get_parts(outer)):
        low, high = np.asarray(a.exterior.coords), np.asarray(b.exterior.coords)
        for i in range(min(len(low), len(high)) - 1):
            step = low[i + 1] - low[i]
            length = float(np.hypot(*step))
            if length < 0.5:
                continue
            normal = np.array([step[1], -step[0]]) / length
            reach = float(normal @ ((high[i] + high[i + 1]) / 2 - (low[i] + low[i + 1]) / 2))
            degrees = math.degrees(math.atan2(abs(reach), thickness))
            if degrees > SQUARE_DEG:
                middle = (low[i] + low[i + 1]) / 2
                found.append(Bevel(edge_name(normal), degrees, "outside" if reach > 0 else "inside", (float(middle[0]), float(middle[1]))))
    return tuple(found)


def edge_name(normal) -> str:
    """Return "left end", "right end", "top" or "foot" for an edge whose normal points out of the piece."""
    x, y = normal
    if abs(x) > abs(y) * 2.5:
        return "right end" if x > 0 else "left end"
    return "top" if y > 0 else "foot"


def _end_joint(edge, how, partner, turn, extra, room):
    t = f"{room.wall:g} mm"
    says = {
        "free": "free, nothing meets it",
        "straight": f"meets {partner} in line: butt the square ends",
        "runs through": f"runs through: {partner} butts against its {'inside face' if turn > 0 else 'outside face'}",
        "butts": f"butts against the {'inside' if turn > 0 else 'outside'} face of {partner}, which runs through and covers this end by {t}",
        "mitre": f"mitred with {partner}: the walls turn by {abs(turn):.2f} degrees, so bevel by {abs(turn) / 2:.2f} degrees from square",
    }[how]
    return Joint(edge, partner, how, turn, says)


def _foot_joint(room):
    if room.floor:
        return Joint("foot", f"{room.name}.floor", "stands on", 0.0, f"stands on {room.name}.floor, outside faces flush")
    return Joint("foot", "", "free", 0.0, "stands on the table: the room has no floor")


def _top_joint(room):
    if isinstance(room.roof, Pitch):
        return Joint("top", f"{room.name}.slope", "carries", 0.0, f"carries the roof, pitched {room.roof.pitch:g} degrees: the top lies flat under the slopes")
    if room.ceiling:
        return Joint("top", f"{room.name}.ceiling", "carries", 0.0, f"carries {room.name}.ceiling")
    return Joint("top", "", "free", 0.0, "free, the room has no ceiling")


def _slab_joints(room, panel):
    if panel.kind == "floor":
        return [Joint("foot", "", "carries", 0.0, "the walls stand on it, their outside faces flush with its edges; dashed: their inside faces")]
    if panel.kind == "ceiling":
        return [Joint("foot", "", "rests on", 0.0, "rests on the walls, flush with their outside faces; dashed: their inside faces")]
    return [
        Joint("foot", "", "rests on", 0.0, f"rests on the walls; its lower edge stands plumb, so bevel by {room.roof.pitch:g} degrees from square"),
        Joint("top", "", "ridge", 0.0, f"meets the other slope at the ridge, plumb: bevel by {room.roof.pitch:g} degrees from square"),
    ]
