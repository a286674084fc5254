"""Clearance along a move, certified between samples, against plain distance queries and a fixed-step sweep."""


import fcl
import numpy as np
import pytest
import trimesh

from previz.build.assemble import build_set
from previz.camera.view import axes
from previz.rig.clearance import clearance
from previz.rig.moves import plan_move
from previz.scene.model import Scene

TRIANGLES = 40_000
QUERIES = 5_000
GRAZE_MM = 0.5
STEPS_A_SECOND = 24
PIN_MM = 0.1
START, TRAVEL = np.array([30.0, 400.0, 80.0]), 250.0


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with hills of 40,000 triangles, up to 30 mm high, under the whole move."""
    folder = tmp_path_factory.mktemp("hills")
    side = int(np.ceil(np.sqrt(TRIANGLES / 2))) + 1
    x, y = np.meshgrid(np.linspace(-400, 400, side), np.linspace(-100, 700, side), indexing="ij")
    z = 15 + 10 * np.sin(x / 9) * np.cos(y / 11) + 5 * np.sin(x / 3.1 + y / 4.3)
    index = np.arange(side * side).reshape(side, side)
    a, b, c, d = (corner.ravel() for corner in (index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]))
    hills = trimesh.Trimesh(np.column_stack([x.ravel(), y.ravel(), z.ravel()]), np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]))
    hills.export(folder / "hills.stl")
    return folder


def scene_with(pin_at):
    """Return hills, a slide of 10 s along x with the lens turned 45 degrees, and a pin of 0.1 mm at (x, y)."""
    tables = {
        "mesh": {"file": "hills.stl"},
        "prop": [{"name": "pin", "kind": "box", "size": [PIN_MM, PIN_MM, 100.0], "at": [*pin_at, 10.0]}],
        "shot": [
            {
                "name": "past the pin",
                "clip": 50.0,
                "move": "slide",
                "from": START.tolist(),
                "to": (START + [TRAVEL, 0, 0]).tolist(),
                "look": {"pan": 45.0},
                "fps": 120.0,
                "playback": 24.0,
                "focus": 100.0,
            }
        ],
    }
    return Scene.model_validate(tables)


def planned(scene, folder):
    """Return the built set and the move of the scene's only shot."""
    built = build_set(scene, folder)
    return built, plan_move(scene, scene.shot[0], built)


def graze(folder):
    """
    Return a scene whose pin stands 0.5 mm inside the way of the body's rear corner, half way between two steps of the sweep.

    The body is turned 45 degrees to the travel, so the corner is a right angle whose sides run at 45 degrees to it: a
    pin 0.5 mm inside is touched for 1 mm of the travel, and a step in mid-move is longer.
    """
    scene = scene_with((0.0, 0.0))
    _, move = planned(scene, folder)
    moments = np.arange(0, move.take_s, 1 / STEPS_A_SECOND)
    middle = move.poses(moments[len(moments) // 2 :][:2]).position.mean(axis=0)
    forward, left, _ = axes(np.pi / 4, 0.0)
    behind = sum(length for length, _ in scene.lens.barrel) + scene.body.box[2]
    corner = middle - behind * forward - scene.body.box[0] / 2 * left
    return scene_with((corner[0], corner[1] + GRAZE_MM + PIN_MM / 2))


def rig(scene):
    """Return the lens's barrel and the body as (shape, offset along the lens) of the collision library. [mm]"""
    solids, front = [], scene.lens.pupil
    for length, diameter in scene.lens.barrel:
        solids.append((fcl.Cylinder(diameter / 2, length), front - length / 2))
        front -= length
    width, height, depth = scene.body.box
    # The library's cylinders stand along z, so z points forward here.
    return [*solids, (fcl.Box(height, width, depth), front - depth / 2)]


def placed(solid, offset, pose):
    """Return the solid where the pose puts it."""
    forward, left, up = axes(pose.pan, pose.tilt)
    return fcl.CollisionObject(solid, fcl.Transform(np.column_stack([up, left, forward]) @ np.diag([-1.0, 1.0, 1.0]), pose.position + offset * forward))


def library_set(built):
    """Return the set as the collision library's mesh."""
    mesh = fcl.BVHModel()
    mesh.beginModel(len(built.triangles), len(built.vertices))
    mesh.addSubModel(built.vertices, built.triangles)
    mesh.endModel()
    return fcl.CollisionObject(mesh)


def sweep_touches(scene, built, move):
    """Return True where a sweep by fixed steps finds lens or body touching the set."""
    obstacles, solids = library_set(built), rig(scene)
    moments = np.arange(0, move.take_s, 1 / STEPS_A_SECOND)
    return any(
        fcl.collide(placed(solid, offset, pose), obstacles, fcl.CollisionRequest(), fcl.CollisionResult())
        for pose in map(move.poses(moments).__getitem__, range(len(moments)))
        for solid, offset in solids
    )


def test_graze_between_steps(folder):
    """A contact 0.5 mm deep that falls between two steps of the sweep is found, at its moment and with its names."""
    scene = graze(folder)
    built, move = planned(scene, folder)
    assert not sweep_touches(scene, built, move)
    found = clearance(built, scene, move)
    assert found.min_mm == pytest.approx(0, abs=found.certified_to_mm)
    assert found.between == ("camera body", "pin")
    assert found.at_take_s == pytest.approx(move.take_s / 2, abs=1 / STEPS_A_SECOND)


def test_cost(folder, figures, seconds):
    """10 s against 40,000 triangles: no more than 5,000 plain distance queries of the collision library."""
    scenes = {"free": scene_with((0.0, 690.0)), "graze": graze(folder)}
    built, move = planned(scenes["free"], folder)
    obstacles, solids = library_set(built), rig(scenes["free"])
    moments = np.linspace(0, move.take_s, QUERIES)
    poses = move.poses(moments)
    objects = [placed(*solids[i % len(solids)], poses[i]) for i in range(QUERIES)]

    def plain_queries():
        for body in objects:
            fcl.distance(body, obstacles, fcl.DistanceRequest(), fcl.DistanceResult())

    certified = [(*planned(scene, folder), scene) for scene in scenes.values()]
    plain_s, *spent = seconds(plain_queries, *(lambda one=one: clearance(one[0], one[2], one[1]) for one in certified), times=2)
    spent = dict(zip(scenes, spent))
    figures.keep(
        "clearance",
        triangles=len(built.triangles),
        plain_queries_seconds=plain_s,
        free_seconds=spent["free"],
        graze_seconds=spent["graze"],
        share_free=spent["free"] / plain_s,
        share_graze=spent["graze"] / plain_s,
    )
    assert max(spent.values()) <= plain_s
