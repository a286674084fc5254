"""
Drawing data for the page: plan, section and walls as rings of millimetres, and what stands where, for the page to draw and to drag.

Takes a scene file and its built set; gives plain values. The shapes are those that the printed sheets show; what a solid's
plan and section look like is kept, so an opening that is dragged costs the two or three solids that it changes.

    bounds    [[x, y, z], [x, y, z]] of the set
    plan      seen from above: cut_mm, cut, below, openings
    section   through what one shot focuses on, seen from the side where y is low (along "x"), else from where x is high (along "y"):
              shot, at_mm, and the same with [along, z]
    walls     every panel seen from outside, in the coordinates that openings are typed in
    lamps     where they are, and the keys that `at` and `toward` are typed under
    slider, lift
    shots     where the lens goes; `lamps` as that shot has them, where it has any its own way
"""

from __future__ import annotations

import hashlib
import re

import numpy as np
import shapely

from previz.bench.kept import Kept
from previz.build.built import BuiltSet
from previz.build.inside import in_a_room
from previz.build.places import prop_box
from previz.build.webs import least_web
from previz.camera.view import view_at
from previz.light.lamps import Emitter, emitters
from previz.rig.moves import plan_move
from previz.scene.elevations import Panel, panel_named, panels_of
from previz.scene.model import Opening, Room, Scene, Shot
from previz.scene.outlines import bars_of, outline_of, size_of
from previz.scene.read import SceneFile
from previz.scene.shots import scene_of
from previz.sheets.fields import aim
from previz.sheets.plan import plan_level, section_facing
from previz.sheets.projected import ABOVE, FROM_EAST, FROM_SOUTH, GRID_MM, Apart, apart_at, seen_flat, solid_of

MOMENTS = 41
"""Of a take, for its path; evenly spread (own choice)."""

RIM_POINTS = 24
"""Of a round lamp's rim."""

_KEPT_SOLIDS = 4000
_STRAIGHT_MM = 1e-3
_ROW = re.compile(r"-\d+$")


class Drawer:
    """Makes drawing data, one set after another, and keeps what solids look like from one to the next."""

    def __init__(self):
        self._solids = Kept(_KEPT_SOLIDS)

    def drawing(self, file: SceneFile, built: BuiltSet, through: str | None = None) -> dict:
        """Return the drawing data of a set (module header), its section through the shot of a name, the first where there is none of it. [mm], [s], [degrees]"""
        scene = file.scene
        level = plan_level(scene, built)
        shot = next((shot for shot in scene.shot if shot.name == through), next(iter(scene.shot), None))
        facing, point = _section(scene, shot, built)
        along = int(facing is FROM_EAST)
        homes = _homes(scene)
        return {
            "bounds": _rounded(built.bounds),
            "plan": {"cut_mm": level, **self._cut(scene, built, homes, ABOVE, level)},
            "section": {"shot": shot and shot.name, "along": "xy"[along], "at_mm": round(float(point[1 - along]), 3), **self._cut(scene, built, homes, facing, float(facing[2] @ point))},
            "walls": [_wall(file, homes, room, panel) for room in scene.room for panel in panels_of(room).values()],
            "lamps": _lamps(scene, built),
            "slider": scene.slider and {"from": list(scene.slider.from_), "to": list(scene.slider.to)},
            "lift": scene.lift and {"carries": scene.lift.carries, "range": list(scene.lift.range)},
            "shots": [{**shot_data(scene, shot, built), "lamps": _lamps_of(scene, shot, built)} for shot in scene.shot],
        }

    def _cut(self, scene: Scene, built: BuiltSet, homes: list[Panel | None], facing: np.ndarray, level: float) -> dict:
        """What a plane cuts, what of floors and props lies behind it, and the openings as lines across their walls."""
        cuts, below = [], {}
        for part in built.parts:
            apart = self._apart(built, part, facing, level)
            if apart.cut is not None:
                cuts.append(apart.cut)
            if part.kind in ("prop", "floor") and apart.covered is not None:
                below.setdefault(part.owner if part.kind == "prop" else part.name, []).append(apart.covered)
        cut = shapely.union_all(cuts, grid_size=GRID_MM) if cuts else shapely.Polygon()
        lying = [{"name": name, "rings": _rings(shapely.union_all(shapes, grid_size=GRID_MM))} for name, shapes in below.items()]
        return {"cut": _rings(cut), "below": lying, "openings": [_line(opening, home, facing) for opening, home in zip(scene.opening, homes) if home]}

    def _apart(self, built: BuiltSet, part, facing: np.ndarray, level: float) -> Apart:
        corners, faces = solid_of(built, part)
        digest = hashlib.sha256(f"{facing.tobytes()} {level}".encode() + corners.tobytes())
        digest.update(faces.tobytes())
        found = self._solids.get(digest.digest())
        return self._solids.keep(digest.digest(), apart_at(corners, faces, facing, level)) if found is None else found


def _section(scene: Scene, shot: Shot | None, built: BuiltSet) -> tuple[np.ndarray, np.ndarray]:
    """The facing of the section and a point (3,) of its plane: a shot's, along its axis; without one the middle of the set, the long way."""
    if shot is not None:
        return section_facing(plan_move(scene, shot, built), True)
    size = np.ptp(built.bounds, axis=0)
    return (FROM_SOUTH if size[0] >= size[1] else FROM_EAST), built.bounds.mean(axis=0)


def _homes(scene: Scene) -> list[Panel | None]:
    """The panel that each opening is cut in; None where nothing of that name stands."""
    rooms = {room.name: room for room in scene.room}
    walls = dict.fromkeys((opening.room, opening.panel) for opening in scene.opening)
    found = {wall: panel_named(rooms[wall[0]], wall[1]) if wall[0] in rooms else None for wall in walls}
    return [found[opening.room, opening.panel] for opening in scene.opening]


def _line(opening: Opening, panel: Panel, facing: np.ndarray) -> dict:
    """An opening as a line in the middle of its wall, across its width or up its height, whichever is seen longer."""
    (left, low), (width, height) = opening.at, size_of(opening)
    middle = panel.thickness / 2
    lines = [
        [[left, low + height / 2, middle], [left + width, low + height / 2, middle]],
        [[left + width / 2, low, middle], [left + width / 2, low + height, middle]],
    ]
    seen = [seen_flat(facing, panel.to_set(np.array(line))) for line in lines]
    return {"name": opening.name, "on": opening.wall, "line": _rounded(max(seen, key=lambda ends: np.linalg.norm(ends[1] - ends[0])))}


def _wall(file: SceneFile, homes: list[Panel | None], room: Room, panel: Panel) -> dict:
    """A panel seen from outside with the openings that are cut in it, in (along, up) of its frame."""
    outline = max(shapely.get_parts(panel.outer), key=lambda part: part.area)
    return {
        "name": f"{room.name}.{panel.name}",
        "outline": _rounded(shapely.get_coordinates(outline.exterior)[:-1]),
        "openings": [
            _opening(opening, file.is_repeated("opening", number))
            for number, (opening, home) in enumerate(zip(file.scene.opening, homes))
            if home is not None and (opening.room, home.name) == (room.name, panel.name)
        ],
        "min_web_mm": least_web(panel.thickness),
    }


def _opening(opening: Opening, repeated: bool) -> dict:
    return {
        "name": opening.name,
        "row": _ROW.sub("", opening.name) if repeated else opening.name,
        "shape": opening.shape if isinstance(opening.shape, str) else "outline",
        "at": list(opening.at),
        "size": _rounded(size_of(opening)),
        "outline": _rounded(outline_of(opening)),
        "bars": _rings(bars_of(opening)),
        "repeated": repeated,
    }


def _lamps(scene: Scene, built: BuiltSet) -> list[dict]:
    return [_lamp(lamp, emitter, built) for lamp, emitter in zip(scene.lamp, emitters(scene, built))]


def _lamps_of(scene: Scene, shot: Shot, built: BuiltSet) -> list[dict] | None:
    """All lamps as a shot has them, those that are out in it where the file has them; None where it changes none."""
    if not shot.lamps:
        return None
    own = {lamp["name"]: lamp for lamp in _lamps(scene_of(scene, shot), built)}
    found = []
    for lamp in _lamps(scene, built):
        change = shot.lamps.get(lamp["name"])
        typed = () if change is None or isinstance(change, bool) else change.model_fields_set
        keys = {key: ["shot", shot.name, "lamps", lamp["name"], key] if key in typed else typed_at for key, typed_at in lamp["keys"].items()}
        found.append({**own.get(lamp["name"], {**lamp, "out": True}), "keys": keys})
    return found


def _lamp(lamp, emitter: Emitter, built: BuiltSet) -> dict:
    return {
        "name": lamp.name,
        "at": list(lamp.at),
        "toward": _rounded(aim(lamp, built)),
        "kind": lamp.kind,
        "emits": _rounded(_rim(emitter)),
        "inside": bool(in_a_room(built, lamp.at)),
        "out": False,
        "keys": {key: ["lamp", lamp.name, key] for key in ("at", "toward")},
    }


def _rim(emitter: Emitter) -> np.ndarray:
    """The rim of a lamp's face (n, 3), empty for a point. [mm]"""
    if emitter.shape == "point":
        return np.zeros((0, 3))
    turn = np.linspace(0, 2 * np.pi, RIM_POINTS, endpoint=False)
    at = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) if emitter.shape == "panel" else np.column_stack([np.cos(turn), np.sin(turn)])
    return emitter.centre + at @ np.array([emitter.half_u, emitter.half_v])


def shot_data(scene: Scene, shot: Shot, built: BuiltSet) -> dict:
    """Return where the lens goes in a shot: path, pan and tilt at moments of the take, and which of its ends are points to drag. [mm], [s], [degrees]"""
    move = plan_move(scene, shot, built).steady
    take_s = np.linspace(0, move.take_s, MOMENTS)
    poses = move.poses(take_s)
    view = view_at(scene, poses[MOMENTS // 2], float(move.focus_mm(take_s[MOMENTS // 2])[0]))
    typed = {"from": shot.from_, "to": shot.to, "look": shot.look}
    return {
        "name": shot.name,
        "take_s": shot.take_s,
        "clip_s": shot.clip,
        "move": shot.move,
        "path": _rounded(poses.position),
        "pan": _rounded(np.degrees(poses.pan)),
        "tilt": _rounded(np.degrees(poses.tilt)),
        "take_at": _rounded(take_s, 4),
        "subject": _subject(shot, built),
        "half_width": round(view.half_width, 6),
        "half_height": round(view.half_height, 6),
        "editable": {key: ["shot", shot.name, key] for key, value in typed.items() if isinstance(value, tuple)},
    }


def _subject(shot: Shot, built: BuiltSet) -> dict | None:
    box = prop_box(built, shot.subject_name) if shot.subject_name else None
    return None if box is None else {"name": shot.subject_name, "at": _rounded(box.mean(axis=0))}


def _rings(shape: shapely.Geometry) -> list:
    """All rings of an area, holes too, to be filled by the even-odd rule. [mm]"""
    polygons = [part for part in shapely.get_parts(shapely.simplify(shape, _STRAIGHT_MM)) if part.geom_type == "Polygon"]
    return [_rounded(shapely.get_coordinates(ring)[:-1]) for ring in shapely.get_rings(polygons)]


def _rounded(values, digits: int = 3) -> list:
    return np.round(np.asarray(values, float), digits).tolist()
