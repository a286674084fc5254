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
from previz.scene.model import Room, Scene
from previz.scene.outlines import outline_of, panes_of

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


def geometric_faults(scene: Scene, built: BuiltSet) -> list[Unsound]:
    """
    Return what is wrong with a set as it stands.

    Openings that a neighbour's wall blocks, lamps and lens positions inside a solid. A lamp is judged by the centre of
    its face: a face let into a wall is fine. A prop outside every room is no fault.
    """
    return [*_blocked_openings(scene), *_buried_lamps(scene, built), *_buried_lenses(scene, built)]


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
