"""
Rooms as flat panels: every wall, ceiling, floor and roof slope with its own plane coordinates.

Takes a checked `Room`; gives frames and outlines that the openings' checks, the solids and the wall templates share.
Knows no openings and no triangles.

    panel frame   origin (3,) on the inner face, axes (3, 3) whose rows are along, up, outward (right-handed, unit).
                  A point x of the set has local coordinates axes @ (x - origin) = (along, up, depth) [mm].

    wall          along its plan edge, left to right seen from outside; origin at its first plan corner, floor level
    ceiling       along +x, up +y, outward +z; origin at the lowest x and lowest y of the plan's bounding box
    floor         along +x, up -y, outward -z; origin at the lowest x and highest y
    slope.WALL    along WALL, up the slope, outward its normal; origin on the inner eaves line, at the start of the
                  bounding box along WALL. "slope" alone is the first eaves wall's.

                        ridge, midway over the bounding box
                       /\\        underside = height + (half span - distance from ridge line) * tan(pitch)
          height  ___ /  \\ ___   at the inner face of an eaves wall on the bounding box's edge
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon

from previz.scene.model import Pitch, Room, Slab

_PARALLEL = 1e-6
_GRID_MM = 1e-6
_SLIT_MM = 1e-4


@dataclass(frozen=True)
class Panel:
    """
    One flat panel of a room.

    name       "floor", "ceiling", "slope.south", or the wall's name
    kind       "wall" | "ceiling" | "floor" | "slope"
    origin, axes  panel frame (module header)
    thickness  inner to outer face [mm]
    inner      the inner face as the room sees it, (along, up): a polygon, for a slab over a cut-up room several [mm]
    outer      a wall's outer face, corner for corner with `inner`; a slab's whole footprint on the plane of its inner
               face, out to the walls' outer faces [mm]
    """

    name: str
    kind: str
    origin: np.ndarray
    axes: np.ndarray
    thickness: float
    inner: shapely.Geometry
    outer: shapely.Geometry

    def to_set(self, local: np.ndarray) -> np.ndarray:
        """Return (n, 3) set coordinates of (n, 3) local ones. [mm]"""
        return self.origin + np.asarray(local) @ self.axes

    def to_local(self, points: np.ndarray) -> np.ndarray:
        """Return (n, 3) local (along, up, depth) of (n, 3) points of the set. [mm]"""
        return (np.asarray(points) - self.origin) @ self.axes.T


@dataclass(frozen=True)
class WallPlan:
    """
    A wall seen from above.

    start, end              (2,) its plan corners, on the inner face [mm]
    outer_start, outer_end  (2,) where its outer face ends: mitred with the neighbour, or cut square where that is left off
    standing                False for a wall named in `open`
    """

    name: str
    start: np.ndarray
    end: np.ndarray
    outer_start: np.ndarray
    outer_end: np.ndarray
    standing: bool

    @property
    def length(self) -> float:
        """Of the inner face. [mm]"""
        return float(np.hypot(*(self.end - self.start)))

    @property
    def along(self) -> np.ndarray:
        """(2,) unit vector from start to end."""
        return (self.end - self.start) / self.length

    @property
    def outward(self) -> np.ndarray:
        """(2,) unit normal, away from the room."""
        return np.array([self.along[1], -self.along[0]])

    @property
    def footprint(self) -> Polygon:
        """The wall as a flat piece seen from above. [mm]"""
        return Polygon([self.start, self.outer_start, self.outer_end, self.end])


def wall_plans(room: Room) -> tuple[WallPlan, ...]:
    """Return each edge of the plan as a wall with its outer corners, those left off included."""
    corners = np.asarray(room.plan, dtype=float)
    along = np.roll(corners, -1, axis=0) - corners
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    before = np.roll(normal, 1, axis=0)
    mitre = (normal + before) / (1 + np.sum(normal * before, axis=1, keepdims=True)) * room.wall
    names, count = room.wall_names, len(corners)
    standing = [name not in room.open for name in names]
    plans = []
    for i in range(count):
        j = (i + 1) % count
        square = normal[i] * room.wall
        first = corners[i] + (mitre[i] if standing[i - 1] else square)
        last = corners[j] + (mitre[j] if standing[j] else square)
        plans.append(WallPlan(names[i], corners[i], corners[j], first, last, standing[i]))
    return tuple(plans)


def outer_plan(room: Room) -> shapely.Geometry:
    """Return what floor and roof cover: the plan and every standing wall's footprint, seen from above. [mm]"""
    walls = [shapely.make_valid(plan.footprint) for plan in wall_plans(room) if plan.standing]
    return shapely.orient_polygons(_without_slits(_polygons(shapely.union_all([Polygon(room.plan), *walls], grid_size=_GRID_MM))))


def _without_slits(area):
    """Close holes no wider than the grid leaves between a plan and its walls; no solid can have them."""
    shells = [Polygon(part.exterior, [ring for ring in part.interiors if not Polygon(ring).buffer(-_SLIT_MM).is_empty]) for part in shapely.get_parts(area)]
    return shapely.multipolygons(shells) if len(shells) > 1 else shells[0]


def ridge_line(room: Room) -> tuple[np.ndarray, np.ndarray, float]:
    """
    Return a point (2,) under the ridge, the unit direction (2,) across it, and half the span. [mm]

    Raises
    ------
    ValueError
        If the roof is flat.
    """
    if not isinstance(room.roof, Pitch):
        raise ValueError(f"room {room.name!r} has a flat roof")
    low, high = np.min(room.plan, axis=0), np.max(room.plan, axis=0)
    across = np.array([0.0, 1.0]) if room.roof.ridge == "x" else np.array([1.0, 0.0])
    return (low + high) / 2, across, float(across @ (high - low) / 2)


def underside(room: Room, points: np.ndarray) -> np.ndarray:
    """
    Return the height of the ceiling, or of the roof's underside, over points of the plan.

    Parameters
    ----------
    points : (n, 2) float array
        Seen from above. [mm]

    Returns
    -------
    (n,) float array
        Height above the floor; the walls' tops follow it. [mm]
    """
    points = np.asarray(points, dtype=float)
    if not isinstance(room.roof, Pitch):
        return np.full(len(points), float(room.height))
    middle, across, half_span = ridge_line(room)
    distance = np.abs((points - middle) @ across)
    return room.height + (half_span - distance) * math.tan(math.radians(room.roof.pitch))


def eaves_walls(room: Room) -> tuple[str, ...]:
    """
    Return the walls that a slope rises from, in plan order: parallel to the ridge and facing away from it.

    Walls left off count too: their slope is there all the same.
    """
    if not isinstance(room.roof, Pitch):
        return ()
    middle, across, _ = ridge_line(room)
    return tuple(
        plan.name
        for plan in wall_plans(room)
        if abs(plan.along @ across) < _PARALLEL and (plan.start - middle) @ across * (plan.outward @ across) > _PARALLEL
    )


def slab_thickness(slab: bool | Slab, room: Room) -> float:
    """Return the thickness of a ceiling or floor: its own, or the walls'. [mm]"""
    return slab.thickness if isinstance(slab, Slab) else room.wall


def panels_of(room: Room) -> dict[str, Panel]:
    """
    Return every panel that stands, by name: the walls in plan order, then floor, ceiling or slopes.

    A slope comes once for each side of the ridge, named after its first eaves wall (`panel_named` knows the others).
    """
    plans = wall_plans(room)
    panels = {plan.name: wall_panel(room, plan) for plan in plans if plan.standing}
    if room.floor:
        panels["floor"] = floor_panel(room)
    if isinstance(room.roof, Pitch):
        panels |= {panel.name: panel for panel in slope_panels(room)}
    elif room.ceiling:
        panels["ceiling"] = ceiling_panel(room)
    return panels


def panel_named(room: Room, name: str) -> Panel | None:
    """
    Return the panel that an opening calls `name`, or None where nothing of that name stands.

    "slope" is the slope over the first eaves wall; "slope.WALL" the one over that wall.
    """
    panels = panels_of(room)
    if name in panels:
        return panels[name]
    eaves = eaves_walls(room)
    wanted = eaves[0] if name == "slope" and eaves else name.removeprefix("slope.")
    if not name.startswith("slope") or wanted not in eaves:
        return None
    side = next(plan for plan in wall_plans(room) if plan.name == wanted).outward
    return next(p for p in panels.values() if p.kind == "slope" and p.axes[0, :2] @ (-side[1], side[0]) > 0)


def wall_panel(room: Room, plan: WallPlan) -> Panel:
    """Return a wall's panel. Its two faces have the same corners in the same order: floor, then the top from end to start."""
    axes = np.array([[*plan.along, 0.0], [0.0, 0.0, 1.0], [*plan.outward, 0.0]])
    shares = _ridge_share(room, plan.start, plan.end)
    outer_shares = _ridge_share(room, plan.outer_start, plan.outer_end)
    if len(shares) != len(outer_shares):
        # the ridge meets one face only, near its end: a corner on the other's straight top keeps the count
        near = min(max((shares or outer_shares)[0], 0.02), 0.98)
        shares, outer_shares = shares or [near], outer_shares or [near]
    inner = _elevation(room, plan, plan.start, plan.end, shares)
    outer = _elevation(room, plan, plan.outer_start, plan.outer_end, outer_shares)
    return Panel(plan.name, "wall", np.array([*plan.start, 0.0]), axes, room.wall, inner, outer)


def floor_panel(room: Room) -> Panel:
    """Return the floor's panel; its inner face is at z = 0."""
    low, high = np.min(room.plan, axis=0), np.max(room.plan, axis=0)
    axes = np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]])
    origin = np.array([low[0], high[1], 0.0])
    return _slab("floor", "floor", room, origin, axes, slab_thickness(room.floor, room), None)


def ceiling_panel(room: Room) -> Panel:
    """Return a flat ceiling's panel; its inner face is at the room's height."""
    low = np.min(room.plan, axis=0)
    return _slab("ceiling", "ceiling", room, np.array([*low, room.height]), np.eye(3), slab_thickness(room.ceiling, room), None)


def slope_panels(room: Room) -> tuple[Panel, ...]:
    """Return one panel for each side of a pitched roof that has an eaves wall, else none for that side."""
    middle, across, half_span = ridge_line(room)
    plans = {plan.name: plan for plan in wall_plans(room)}
    sides: dict[float, Panel] = {}
    for name in eaves_walls(room):
        sign = float(np.sign(plans[name].outward @ across))
        if sign not in sides:
            sides[sign] = _slope(f"slope.{name}", room, middle, across * sign, half_span)
    return tuple(sides.values())


def _slope(name, room, middle, away, half_span):
    """The slope on the `away` side of the ridge."""
    angle = math.radians(room.roof.pitch)
    along = np.array([-away[1], away[0]])
    corners = np.array([np.min(room.plan, axis=0), np.max(room.plan, axis=0)])
    half_length = abs(along @ (corners[1] - corners[0])) / 2
    start = middle + away * half_span - along * half_length
    axes = np.array(
        [
            [*along, 0.0],
            [*(-away * math.cos(angle)), math.sin(angle)],
            [*(away * math.sin(angle)), math.cos(angle)],
        ]
    )
    reach = 4 * (half_span + half_length + room.wall * 100)
    ends = [middle - along * reach, middle + along * reach]
    side = Polygon([*ends, ends[1] + away * reach, ends[0] + away * reach])
    return _slab(name, "slope", room, np.array([*start, room.height]), axes, slab_thickness(room.ceiling, room), side)


def _slab(name, kind, room, origin, axes, thickness, side):
    """A slab whose faces are the plan, and the plan with its walls, seen along z and laid onto the panel."""
    plan, footprint = Polygon(room.plan), outer_plan(room)
    if side is not None:
        plan, footprint = _polygons(shapely.intersection(plan, side)), _polygons(shapely.intersection(footprint, side))
    return Panel(name, kind, origin, axes, thickness, _laid(plan, origin, axes), _laid(footprint, origin, axes))


def _polygons(geometry):
    """Drop the lines and points that a cut or the grid leaves behind."""
    return shapely.union_all([part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon"])


def _laid(geometry, origin, axes):
    """Project a shape seen from above along z onto the panel: up is stretched by 1 / cos(pitch)."""
    flat = axes[:2, :2].copy()
    flat[1] /= flat[1] @ flat[1]
    (a, b), (d, e) = flat
    x, y = -flat @ origin[:2]
    return shapely.orient_polygons(affinity.affine_transform(geometry, [a, b, d, e, x, y]))


def _ridge_share(room, start, end):
    """Where along start to end the ridge passes, as a list of at most one share strictly between 0 and 1."""
    if not isinstance(room.roof, Pitch):
        return []
    middle, across, _ = ridge_line(room)
    a, b = (start - middle) @ across, (end - middle) @ across
    return [a / (a - b)] if a * b < 0 and abs(a - b) > 1e-9 and 1e-9 < a / (a - b) < 1 - 1e-9 else []


def _elevation(room, plan, start, end, shares):
    """A wall's face from start to end (seen from above): its foot, then its top back again."""
    top = np.array([end, *(start + share * (end - start) for share in shares), start])
    heights = underside(room, top)
    foot = np.array([start, end])
    along = (np.concatenate([foot, top]) - plan.start) @ plan.along
    return Polygon(np.column_stack([along, np.concatenate([[0.0, 0.0], heights])]))
