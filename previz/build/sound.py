"""
Whether what the maker typed can be built and stood in: the faults that show only when walls have thickness.

Takes a scene and what was built from it; gives faults in the maker's words. Each rule is one function.
Knows no file and no lines.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from previz.build.built import BuiltSet
from previz.build.inside import solids_around, way_out
from previz.scene.draft import mm, point
from previz.scene.elevations import Panel, WallPlan, panel_named, panels_of, wall_plans
from previz.scene.model import Room, Scene
from previz.scene.outlines import outline_of, panes_of

_SPECK_MM2 = 1e-3
_GAP_MM = 1.0
_CLEAR_MM = 1.0


class Unsound(NamedTuple):
    """
    One thing wrong, as `SceneFile.fault` takes it.

    key_path  in the scene, rows counted with each `repeat` written out
    found     what stands there; None to quote the file
    allowed   what must stand there, or what is wrong with it
    remedy    what to do about it
    """

    key_path: tuple
    found: str | None
    allowed: str
    remedy: str


def plan_faults(scene: Scene) -> list[Unsound]:
    """Return what keeps the rooms' walls from being built: rooms over one another, and walls too thick for their plan."""
    return [*_thick_walls(scene), *_rooms_over_rooms(scene)]


def geometric_faults(scene: Scene, built: BuiltSet) -> list[Unsound]:
    """
    Return what is wrong with a set as it stands.

    Openings that a neighbour's wall blocks, lamps and lens positions inside a solid, props without volume. A lamp is
    judged by the centre of its face: a face let into a wall is fine. A prop outside every room is no fault.
    """
    return [*_blocked_openings(scene), *_hollow_props(scene, built), *_buried_lamps(scene, built), *_buried_lenses(scene, built)]


def _thick_walls(scene):
    for number, room in enumerate(scene.room):
        plans = [plan for plan in wall_plans(room) if plan.standing]
        for plan in plans:
            grown = (plan.outer_end - plan.outer_start) @ plan.along
            if grown <= 0:
                limit = room.wall * plan.length / (plan.length - grown)
                says = f'is too thick for its plan: the mitred ends of wall "{plan.name}" ({mm(plan.length)} mm long) cross'
                yield Unsound(("room", number, "wall"), None, says, f"Make it less than {mm(limit)} mm, or that wall longer.")
        if not any((p.outer_end - p.outer_start) @ p.along <= 0 for p in plans):
            yield from _walls_in_the_way(number, room, plans)


def _walls_in_the_way(number: int, room: Room, plans: list[WallPlan]):
    """Walls that grow into the room itself, or into one another across a narrow notch."""
    inside = shapely.Polygon(room.plan)
    for i, plan in enumerate(plans):
        if shapely.intersection(inside, plan.footprint).area > _SPECK_MM2:
            says = f'is too thick for its plan: wall "{plan.name}" grows back into the room'
            yield Unsound(("room", number, "wall"), None, says, "Make it thinner, or the notch in the plan wider.")
        for other in plans[i + 1 :]:
            if shapely.intersection(plan.footprint, other.footprint).area > _SPECK_MM2:
                says = f'is too thick for its plan: walls "{plan.name}" and "{other.name}" grow into one another'
                yield Unsound(("room", number, "wall"), None, says, "Make it thinner, or the space between them wider.")


def _rooms_over_rooms(scene):
    plans = [shapely.Polygon(room.plan) for room in scene.room]
    for j, plan in enumerate(plans):
        for i in range(j):
            both = shapely.intersection(plans[i], plan)
            if both.area > _SPECK_MM2:
                left, low, right, high = both.bounds
                size = f"{mm(right - left)} x {mm(high - low)} mm"
                says = f'lies over the plan of room "{scene.room[i].name}", on {size} from {point((left, low))}'
                yield Unsound(("room", j, "plan"), None, says, "Move one of the plans: rooms stand side by side, a wall's thickness apart.")


def _blocked_openings(scene):
    walls = [(room, panel) for room in scene.room for panel in panels_of(room).values() if panel.kind == "wall"]
    rooms = {room.name: room for room in scene.room}
    for number, opening in enumerate(scene.opening):
        panel = panel_named(rooms[opening.room], opening.panel) if opening.room in rooms else None
        if panel is None or panel.kind != "wall":
            continue
        clear = shapely.union_all([pane for _, pane in panes_of(opening)])
        for room, wall in walls:
            if room.name != opening.room and _covered(scene, clear, panel, room, wall) > clear.area / 2:
                says = f'is blocked: wall "{wall.name}" of room "{room.name}" stands in the same place'
                remedy = f'Leave that wall off: open = ["{wall.name}"] in room "{room.name}"; or cut the same opening in it.'
                yield Unsound(("opening", number, "wall"), None, says, remedy)


def _covered(scene: Scene, clear, panel: Panel, room: Room, wall: Panel) -> float:
    """How much of a clear shape in `panel` a parallel wall of another room stands in front of, where the two touch. [mm2]"""
    turn = float(panel.axes[2] @ wall.axes[2])
    if abs(turn) < 1 - 1e-9:
        return 0.0
    inner = float(panel.to_local(wall.origin[None])[0, 2])
    low, high = sorted((inner, inner + turn * wall.thickness))
    if high < -_GAP_MM or low > panel.thickness + _GAP_MM:
        return 0.0
    holes = [shapely.Polygon(outline_of(o)) for o in scene.opening if o.room == room.name and o.panel == wall.name]
    solid = wall.inner.difference(shapely.union_all(holes)) if holes else wall.inner
    return shapely.intersection(clear, shapely.transform(solid, lambda flat: _seen_from(panel, wall, flat))).area


def _seen_from(panel, wall, flat):
    return panel.to_local(wall.to_set(np.c_[flat, np.zeros(len(flat))]))[:, :2]


def _hollow_props(scene, built):
    for number, prop in enumerate(scene.prop):
        key = {"lathe": "profile", "cutout": "outline"}.get(prop.kind)
        parts = [i for i, part in enumerate(built.parts) if part.kind == "prop" and part.owner == prop.name]
        if key and abs(_volume(built, parts)) < 1e-6:
            yield Unsound(("prop", number, key), None, "encloses nothing", "Give it points that go around something solid.")


def _volume(built, parts):
    a, b, c = np.moveaxis(built.vertices[built.triangles[built.triangles_of(parts)]], 1, 0)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def _buried_lamps(scene, built):
    for number, lamp in enumerate(scene.lamp):
        yield from _buried(built, ("lamp", number, "at"), lamp.at, "stand in the open")


def _buried_lenses(scene, built):
    for number, shot in enumerate(scene.shot):
        stops = [(("from",), shot.from_), *((("via", i), stop) for i, stop in enumerate(shot.via)), (("to",), shot.to)]
        for key, place in stops:
            if isinstance(place, tuple):
                yield from _buried(built, ("shot", number, *key), place, "be in the open")


def _buried(built, path, place, must):
    """A fault for each solid that a place is inside of."""
    for part in solids_around(built, np.array(place)):
        out = way_out(built, part, np.array(place))
        deep = float(np.linalg.norm(out - place))
        clear = out + (out - place) / deep * _CLEAR_MM
        remedy = "Move it out." if solids_around(built, clear) else f"Move it out: the nearest way is to {point(clear)}."
        yield Unsound(path, None, f"must {must}, but is {mm(deep)} mm deep inside {built.parts[part].name}", remedy)
