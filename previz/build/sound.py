"""
Whether the set as built can be lit and entered: the faults that show only on its solids.

Takes a scene and what was built from it; gives faults in the maker's words. Each rule is one function.
Knows no file and no lines.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from previz.build.built import BuiltSet
from previz.build.inside import solids_around, ways_out
from previz.scene.draft import mm, point
from previz.scene.elevations import Panel, panel_named, panels_of
from previz.scene.model import CutoutProp, LatheProp, MeshProp, Room, Scene, Slab
from previz.scene.values import FARTHEST_MM
from previz.scene.outlines import outline_of, panes_of

# Rays start 0.01 mm off the surface that they leave: what is thinner would let them through.
THINNEST_MM = 0.01
SMALLEST_MESH_MM = 0.1
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


def unbuildable(scene: Scene) -> list[Unsound]:
    """Return what is too thin to be a solid at all; a set with such faults must not be built."""
    return [
        Unsound(path, None, f"must come out {THINNEST_MM:g} mm or more, and is {size:g} mm", "Lengths are in mm; scale multiplies them.")
        for path, size in (*_room_sizes(scene), *_opening_sizes(scene), *_prop_sizes(scene))
        if size < THINNEST_MM
    ]


def geometric_faults(scene: Scene, built: BuiltSet) -> list[Unsound]:
    """
    Return what is wrong with a set as it stands.

    Mesh files in the wrong unit, openings that a neighbour's wall blocks, lamps and lens positions inside a solid. A lamp is judged by the centre of
    its face: a face let into a wall is fine. A prop outside every room is no fault.
    """
    return [*_mesh_sizes(scene, built), *_blocked_openings(scene), *_buried_lamps(scene, built), *_buried_lenses(scene, built)]


def _room_sizes(scene):
    for i, room in enumerate(scene.room):
        yield ("room", i, "wall"), room.wall
        yield ("room", i, "height"), room.height
        for key in ("ceiling", "floor"):
            if isinstance(slab := getattr(room, key), Slab):
                yield ("room", i, key, "thickness"), slab.thickness


def _opening_sizes(scene):
    for i, opening in enumerate(scene.opening):
        for table, keys in (("bars", ("width", "depth")), ("slats", ("width", "thickness"))):
            for key in keys if getattr(opening, table) else ():
                yield ("opening", i, table, key), getattr(getattr(opening, table), key)


def _prop_sizes(scene):
    """Sizes as they come out of the scale; of a profile or an outline the extent."""
    for i, prop in enumerate(scene.prop):
        if isinstance(prop, CutoutProp):
            yield ("prop", i, "thickness"), prop.thickness * prop.scale
            yield ("prop", i, "outline"), float(np.ptp(prop.outline, axis=0).min()) * prop.scale
        elif isinstance(prop, LatheProp):
            yield ("prop", i, "profile"), float(min(np.max(prop.profile, axis=0)[0], np.ptp(prop.profile, axis=0)[1])) * prop.scale
        elif not isinstance(prop, MeshProp):
            yield ("prop", i, "size"), float(np.min(prop.size)) * prop.scale


def _mesh_sizes(scene, built):
    """Mesh files that come out as a speck or as a mountain: their unit is most likely another."""
    users = [(("prop", i), prop.units, prop.name) for i, prop in enumerate(scene.prop) if isinstance(prop, MeshProp)]
    users += [(("mesh",), scene.mesh.units, "mesh")] if scene.mesh else []
    for path, units, name in users:
        triangles = built.triangles[built.triangles_of(built.part_named(name))]
        if not len(triangles):
            continue
        size = float(np.ptp(built.vertices[triangles.reshape(-1)], axis=0).max())
        if not SMALLEST_MESH_MM <= size <= FARTHEST_MM:
            says = f"comes out {size:.3g} mm across, and must be from {SMALLEST_MESH_MM:g} to {FARTHEST_MM:,.0f}"
            yield Unsound((*path, "file"), None, says, f'Its numbers are read as "{units}": set units to "mm", "cm", "m" or "inch", and scale.')


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
        ways = ways_out(built, part, np.array(place))
        deep = float(np.linalg.norm(ways[0] - place))
        clear = [way + (way - place) / np.linalg.norm(way - place) * _CLEAR_MM for way in ways]
        free = next((spot for spot in clear if not solids_around(built, spot)), None)
        remedy = "Move it out." if free is None else f"Move it out: the nearest way is to {point(free)}."
        yield Unsound(path, None, f"must {must}, but is {mm(deep)} mm deep inside {built.parts[part].name}", remedy)
