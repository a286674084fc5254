"""
The set for other programs as glTF 2.0, in one binary file: solids by part, finishes, lamps, and a camera for each shot.

Takes the scene, the built set, its lamps and the moves; gives bytes. glTF is in metres with y up; `gltf_points` is the one
place that turns the set's millimetres, z up, into that, and the file says so in `asset.extras`.

    set (x, y, z) mm   ->   glTF (x, z, -y) / 1000 m

Sources: glTF 2.0 specification (Khronos; ISO/IEC 12113:2022), sections on GLB, accessors, cameras and animations; extension
KHR_lights_punctual. The container is written here: it is twelve bytes and two chunks, and the library that writes it with
animations has had no release in a year.
"""

from __future__ import annotations

import json
import struct
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.transform import Rotation

from previz import __version__
from previz.build.built import BuiltSet
from previz.camera.view import axes
from previz.frames.along import lamp_rises
from previz.frames.still import lit_at_roll, view_of
from previz.light.colour import luminance
from previz.light.distribution import BEAM_SHARE, FIELD_SHARE
from previz.light.lamps import intensity, width_deg
from previz.light.units import metres
from previz.rig.moves import Move
from previz.scene.model import Shot
from previz.sheets.export_lamps import has_its_own, haze_of, lamps_of
from previz.sheets.export_move import frame_times
from previz.sheets.fields import heading

LIGHTS = "KHR_lights_punctual"
NEAR_MM = 1.0
"""Clipping distance of the cameras: nothing of a set comes nearer to a pupil (own choice)."""
_FLOAT, _UINT32, _VERTICES, _INDICES = 5126, 5125, 34962, 34963
_WIDEST = np.radians(89.9)
_TURN = np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]])


def gltf_points(mm) -> np.ndarray:
    """Return points of the set (..., 3) as glTF has them. [mm] -> [m]"""
    return metres(np.asarray(mm, float) @ _TURN.T)


def gltf_rotations(forward, up) -> np.ndarray:
    """
    Return rotations (n, 4), as x, y, z, w, of nodes that look along `forward` with `up` above, unit vectors (n, 3) of the set.

    Notes
    -----
    Cameras and lights look along their own -z with y up. Of q and -q, the same turn, the one nearer to the rotation before is
    taken: programs blend the numbers.
    """
    forward, up = np.atleast_2d(forward) @ _TURN.T, np.atleast_2d(up) @ _TURN.T
    found = Rotation.from_matrix(np.stack([np.cross(forward, up), up, -forward], axis=-1)).as_quat()
    turned = np.sign(np.einsum("ij,ij->i", found[1:], found[:-1]))
    found[1:] *= np.cumprod(np.where(turned == 0, 1, turned))[:, None]
    return found


@dataclass
class _File:
    """The file while it is put together."""

    data: bytearray = field(default_factory=bytearray)
    views: list = field(default_factory=list)
    accessors: list = field(default_factory=list)
    nodes: list = field(default_factory=list)

    def numbers(self, values, target: int | None = None) -> int:
        """Keep numbers, (n,) whole or (n,) or (n, k) of float, and return their accessor."""
        whole = target == _INDICES
        values = np.ascontiguousarray(values, np.uint32 if whole else np.float32)
        view = {"buffer": 0, "byteOffset": len(self.data), "byteLength": values.nbytes} | ({"target": target} if target else {})
        self.views.append(view)
        self.data += values.tobytes()
        kind = {1: "SCALAR"}.get(values.ndim) or f"VEC{values.shape[1]}"
        low, high = (np.atleast_1d(edge(axis=0)).tolist() for edge in (values.min, values.max))
        self.accessors.append({"bufferView": len(self.views) - 1, "componentType": _UINT32 if whole else _FLOAT, "count": len(values), "type": kind, "min": low, "max": high})
        return len(self.accessors) - 1

    def node(self, **keys) -> int:
        """Keep a node and return its number."""
        self.nodes.append(keys)
        return len(self.nodes) - 1


def set_glb(lit, moves: list[tuple[Shot, Move]]) -> bytes:
    """
    Return the file.

    Parameters
    ----------
    lit : LitSet
        Asked for its scene, its built set and its lamps.
    moves : list of (Shot, Move)
        Each shot's camera; one that moves has an animation, named like the shot, by real seconds of the take.
    """
    file, scene, built = _File(), lit.scene, lit.built
    meshes, materials = _solids(file, built)
    lamps = lit.emitters[: len(scene.lamp)]
    lights = [_light(lamp) for lamp in lamps]
    lamp_nodes = [_lamp_node(file, number, lamp) for number, lamp in enumerate(lamps)]
    solids = list(range(len(meshes)))
    root = file.node(name="set", children=solids, extras={"title": scene.title})
    cameras, animations, camera_nodes = [], [], []
    for shot, move in moves:
        cameras.append(_camera(lit, shot, move))
        camera_nodes.append(_camera_node(file, len(cameras) - 1, lit, shot, move))
        if move.changes:
            animations.append(_animation(file, lit, shot, move, camera_nodes[-1], lamp_nodes))
    tree = {
        "asset": {"version": "2.0", "generator": f"previz {__version__}", "extras": _stated(scene)},
        "extensionsUsed": [LIGHTS] if lights else [],
        "extensions": {LIGHTS: {"lights": lights}} if lights else {},
        "scene": 0,
        "scenes": [{"name": scene.title, "nodes": [root, *lamp_nodes, *camera_nodes]}],
        "nodes": file.nodes, "meshes": meshes, "materials": materials, "cameras": cameras, "animations": animations,
        "accessors": file.accessors, "bufferViews": file.views, "buffers": [{"byteLength": len(file.data)}],
    }  # fmt: skip
    # glTF allows no empty lists.
    return _container({key: value for key, value in tree.items() if value or value == 0}, bytes(file.data))


def _container(tree: dict, data: bytes) -> bytes:
    """Return the GLB: header, JSON padded with spaces, data padded with zeros, each to four bytes."""
    text = json.dumps(tree, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-len(text) % 4)
    data += b"\0" * (-len(data) % 4)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(data), b"BIN\0") + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def _stated(scene) -> dict:
    return {
        "units": "metres of the model, seconds, radians, candela",
        "axes": "right-handed, y up; the set's (x, y, z) in mm, z up from its datum corner, is (x, z, -y) / 1000 here",
        "scale": f"1:{scene.scale:g}",
        "time": "animations run in real seconds of the take; each states its screen seconds in extras",
        "light": "colour times intensity is the lamp's linear RGB in candela on its axis, whose luminance is candela_on_axis in extras",
    }


def _solids(file: _File, built: BuiltSet) -> tuple[list, list]:
    """Make a mesh and a node for each part, split by finish; return meshes and materials."""
    finishes = sorted({face.finish for face in built.faces})
    of_face = np.array([finishes.index(face.finish) for face in built.faces])
    materials = [_material(name, built.reflectance[name]) for name in finishes]
    meshes = []
    for part in built.parts:
        triangles, finish = built.triangles[part.first : part.last], of_face[built.face_of[part.first : part.last]]
        primitives = [_primitive(file, built.vertices, triangles[finish == number], int(number)) for number in np.unique(finish)]
        meshes.append({"name": part.name, "primitives": primitives})
        file.node(name=part.name, mesh=len(meshes) - 1, extras={"kind": part.kind, "owner": part.owner})
    return meshes, materials


def _primitive(file: _File, vertices, triangles, material: int) -> dict:
    """
    Flat, as the set is lit here, with a normal at each corner: without them glTF means flat too, but some viewers round every
    edge off. Triangles of one plane share their corners.
    """
    across = np.cross(vertices[triangles[:, 1]] - vertices[triangles[:, 0]], vertices[triangles[:, 2]] - vertices[triangles[:, 0]])
    size = np.linalg.norm(across, axis=1, keepdims=True)
    # A triangle without area faces nowhere; any unit vector will do.
    normals = np.where(size > 0, across / np.where(size > 0, size, 1.0), [0.0, 0.0, 1.0])
    planes, plane = np.unique(normals.round(5) + 0.0, axis=0, return_inverse=True)
    corners = np.column_stack([triangles.reshape(-1), np.repeat(plane.reshape(-1), 3)])
    used, index = np.unique(corners, axis=0, return_inverse=True)
    facing = planes[used[:, 1]] @ _TURN.T
    attributes = {
        "POSITION": file.numbers(gltf_points(vertices[used[:, 0]]), _VERTICES),
        "NORMAL": file.numbers(facing / np.linalg.norm(facing, axis=1, keepdims=True), _VERTICES),
    }
    return {"attributes": attributes, "indices": file.numbers(index.reshape(-1), _INDICES), "material": material}


def _material(name: str, reflectance) -> dict:
    """Matt: the base colour of a rough surface that is no metal is its diffuse reflectance."""
    base = [*np.clip(reflectance, 0, 1).round(6).tolist(), 1.0]
    return {"name": name, "doubleSided": True, "pbrMetallicRoughness": {"baseColorFactor": base, "metallicFactor": 0.0, "roughnessFactor": 1.0}}


def spot_cone(half_deg: float, tenth_deg: float) -> tuple[float, float]:
    """
    Return the inner and outer angle of a glTF spot for the half-angles at which a lamp gives half and a tenth of its light. [deg] -> [rad]

    Notes
    -----
    The extension's recommended falloff is ``((cos a - cos outer) / (cos inner - cos outer))^2``. The outer angle is where a
    tenth is left, and the inner one is chosen so that a half is left at half the beam.
    """
    outer = min(np.radians(tenth_deg), _WIDEST)
    half = np.cos(min(np.radians(half_deg), 0.99 * outer))
    inner = np.arccos(np.clip(np.cos(outer) + np.sqrt(2) * (half - np.cos(outer)), -1, 1))
    return float(min(inner, 0.999 * outer)), float(outer)


def _light(lamp) -> dict:
    on_axis = np.asarray(lamp.candela, float) * intensity(lamp, [lamp.normal])[0]
    strongest = float(on_axis.max())
    inner, outer = spot_cone(width_deg(lamp, BEAM_SHARE) / 2, width_deg(lamp, FIELD_SHARE) / 2)
    sides = [round(float(2 * np.linalg.norm(half)), 4) for half in (lamp.half_u, lamp.half_v)]
    note = "the emitting face has a size, which this kind of light has not: edges of light are sharper here than they are"
    told = {"shape": lamp.shape, "face_mm": sides, "candela_on_axis": float(luminance(on_axis)), "beam_deg": width_deg(lamp, BEAM_SHARE)}
    return {
        "name": lamp.name, "type": "spot", "intensity": strongest, "color": (on_axis / strongest).tolist() if strongest else [1.0, 1.0, 1.0],
        "spot": {"innerConeAngle": inner, "outerConeAngle": outer}, "extras": told | ({"note": note} if lamp.shape != "point" else {}),
    }  # fmt: skip


def _lamp_node(file: _File, number: int, lamp) -> int:
    return file.node(name=lamp.name, translation=gltf_points(lamp.centre).tolist(), rotation=_pointed(lamp)[0].tolist(), extensions={LIGHTS: {"light": number}})


def _pointed(lamp) -> np.ndarray:
    """Return (1, 4) how the node of a lamp is turned."""
    return gltf_rotations(lamp.normal, axes(*np.radians(heading(lamp.normal)))[2])


def _camera(lit, shot: Shot, move: Move) -> dict:
    """A lens that focuses nearer sees less; glTF has one angle a camera, so it is that of the middle of the take."""
    columns, rows = lit.scene.body.resolution
    high = [2 * float(np.arctan(view_of(lit, move, take_s, (columns, rows)).half_height)) for take_s in (0.0, move.take_s / 2, move.take_s)]
    told = {"yfov_along_the_take": high, "focus_mm": float(move.focus_mm(move.take_s / 2)[0]), "stands_at": "the entrance pupil"}
    return {"name": shot.name, "type": "perspective", "perspective": {"yfov": high[1], "aspectRatio": columns / rows, "znear": metres(NEAR_MM)}, "extras": told}


def _camera_node(file: _File, number: int, lit, shot: Shot, move: Move) -> int:
    """Lights belong to the whole file: what a shot has else is stated beside its camera, in the set's own coordinates."""
    places, turns = _flown(move, np.zeros(1))
    own = {"lamps": lamps_of(lit, lit_at_roll(lit, shot), shot), "haze": haze_of(lit.scene, shot)} if has_its_own(shot) else {}
    extras = {"extras": {"this_shot_has": own, "coordinates": "millimetres of the set, z up"}} if own else {}
    return file.node(name=f"camera {shot.name}", camera=number, translation=places[0].tolist(), rotation=turns[0].tolist(), **extras)


def _flown(move: Move, take_s) -> tuple[np.ndarray, np.ndarray]:
    """Return translations (n, 3) and rotations (n, 4) of the camera at moments (n,). [s]"""
    poses = move.poses(take_s)
    ways = axes(poses.pan, poses.tilt)
    return gltf_points(poses.position), gltf_rotations(ways[:, 0], ways[:, 2])


def _animation(file: _File, lit, shot: Shot, move: Move, camera: int, lamp_nodes) -> dict:
    """
    The camera at every captured frame, and lamps: where a lift moves set and lamps against each other, and where the shot has
    a lamp stand or point elsewhere than the file.
    """
    take_s = frame_times(shot)
    clock = file.numbers(take_s)
    tracks = [(camera, path, file.numbers(values)) for path, values in zip(("translation", "rotation"), _flown(move, take_s))]
    height = move.lift_mm(take_s)
    rolled = lit_at_roll(lit, shot)
    own = {lamp.name: lamp for lamp in rolled.emitters}
    rises = dict(zip((lamp.name for lamp in rolled.scene.lamp), lamp_rises(rolled.scene, lit.built)))
    for node, lamp in zip(lamp_nodes, lit.emitters):
        there = own.get(lamp.name, lamp)
        risen = np.multiply.outer(height * rises.get(lamp.name, 0.0), [0.0, 0.0, 1.0])
        if risen.any() or not np.allclose(there.centre, lamp.centre):
            tracks.append((node, "translation", file.numbers(gltf_points(there.centre + risen))))
        if not np.allclose(there.normal, lamp.normal):
            tracks.append((node, "rotation", file.numbers(np.repeat(_pointed(there), len(take_s), axis=0))))
    told = {"time": "real seconds of the take", "take_s": shot.take_s, "clip_s": shot.clip, "screen_seconds_per_second": shot.fps / shot.playback, "capture_fps": shot.fps}
    samplers = [{"input": clock, "output": values, "interpolation": "LINEAR"} for _, _, values in tracks]
    channels = [{"sampler": i, "target": {"node": node, "path": path}} for i, (node, path, _) in enumerate(tracks)]
    return {"name": shot.name, "channels": channels, "samplers": samplers, "extras": told}
