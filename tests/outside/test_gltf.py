"""
The glTF file against readers of others: the Khronos validator (npm gltf-validator 2.0.0-dev.3.10), and trimesh.

The validator runs where node is and the package lies in a folder that NODE_PATH names, or in the one of GLTF_VALIDATOR:
    npm install gltf-validator && GLTF_VALIDATOR=$PWD/node_modules/gltf-validator pytest tests/outside/test_gltf.py
"""

import io
import json
import os
import shutil
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from previz.build.load import load_set
from previz.camera.view import axes
from previz.rays.lit import light_set
from previz.rig.moves import plan_move
from previz.sheets.export_gltf import set_glb, spot_cone
from previz.sheets.export_move import frame_times

SCENES = sorted((Path(__file__).parents[2] / "scenes").glob("*.toml"))
VALIDATE = """
const validator = require(process.env.GLTF_VALIDATOR || 'gltf-validator');
validator.validateBytes(new Uint8Array(require('fs').readFileSync(0))).then(r => console.log(JSON.stringify(r)));
"""


@pytest.fixture(scope="module", params=SCENES, ids=lambda path: path.stem)
def exported(request):
    """A demo set, lit, with its moves and its file."""
    loaded, built = load_set(request.param)
    lit = light_set(loaded.scene, built, texels=100, rays=1)
    moves = [(shot, plan_move(loaded.scene, shot, built)) for shot in loaded.scene.shot]
    return lit, moves, set_glb(lit, moves)


def parted(glb):
    """Return the JSON and the data of a GLB, read by the layout in section 4 of the specification."""
    magic, version, length = struct.unpack_from("<4sII", glb)
    assert (magic, version, length) == (b"glTF", 2, len(glb))
    size, kind = struct.unpack_from("<I4s", glb, 12)
    assert kind == b"JSON"
    return json.loads(glb[20 : 20 + size]), glb[28 + size :]


def numbers(tree, data, accessor):
    """Return the floats of an accessor."""
    entry = tree["accessors"][accessor]
    wide = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[entry["type"]]
    return np.frombuffer(data, np.float32, entry["count"] * wide, tree["bufferViews"][entry["bufferView"]]["byteOffset"]).reshape(-1, wide)


def back(points):
    """Return glTF metres as the set's millimetres, z up: the words of asset.extras, undone by hand."""
    x, y, z = np.asarray(points, float).T
    return 1000 * np.column_stack([x, -z, y])


def test_the_khronos_validator_finds_nothing(exported):
    """No error, no warning."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed, so the Khronos validator cannot run")
    result = subprocess.run([node, "-e", VALIDATE], input=exported[2], capture_output=True, env=os.environ)
    if b"Cannot find module" in result.stderr:
        pytest.skip("the Khronos validator is not installed: npm install gltf-validator, and name its folder in GLTF_VALIDATOR")
    issues = json.loads(result.stdout)["issues"]
    assert (issues["numErrors"], issues["numWarnings"]) == (0, 0), issues["messages"]


def test_trimesh_reads_the_set(exported):
    """Every part by its name, with its corners to a micrometre and its volume to a part in 10,000."""
    lit, _, glb = exported
    read = trimesh.load(io.BytesIO(glb), file_type="glb")
    tree, _ = parted(glb)
    for part, mesh in zip(lit.built.parts, tree["meshes"], strict=True):
        assert mesh["name"] == part.name
        own = [read.geometry[name] for name in read.geometry if name == part.name or (name.startswith(f"{part.name}_") and len(mesh["primitives"]) > 1)]
        triangles = lit.built.triangles[part.first : part.last]
        assert sum(len(one.faces) for one in own) >= len(triangles)
        corners = lit.built.vertices[triangles.reshape(-1)]
        low, high = np.min([back(one.vertices).min(axis=0) for one in own], axis=0), np.max([back(one.vertices).max(axis=0) for one in own], axis=0)
        assert np.allclose([low, high], [corners.min(axis=0), corners.max(axis=0)], atol=1e-3)
    solid = sum(one.area for one in read.geometry.values())
    wanted = trimesh.Trimesh(lit.built.vertices, lit.built.triangles, process=False).area
    assert solid * 1e6 == pytest.approx(wanted, rel=1e-4)


def test_the_camera_is_where_the_lens_is(exported):
    """At each captured frame: the entrance pupil to a micrometre, the optical axis to a thousandth of a degree, by take time."""
    lit, moves, glb = exported
    tree, data = parted(glb)
    for shot, move in moves:
        node = next(i for i, entry in enumerate(tree["nodes"]) if entry["name"] == f"camera {shot.name}")
        if not move.changes:
            continue
        animation = next(entry for entry in tree["animations"] if entry["name"] == shot.name)
        tracks = {c["target"]["path"]: animation["samplers"][c["sampler"]] for c in animation["channels"] if c["target"]["node"] == node}
        take_s = numbers(tree, data, tracks["translation"]["input"])[:, 0]
        assert np.allclose(take_s, frame_times(shot), atol=1e-6)
        assert animation["extras"]["screen_seconds_per_second"] * shot.take_s == pytest.approx(shot.clip)
        poses = move.poses(frame_times(shot))
        assert np.allclose(back(numbers(tree, data, tracks["translation"]["output"])), poses.position, atol=1e-3)
        turns = Rotation.from_quat(numbers(tree, data, tracks["rotation"]["output"]))
        forward = axes(poses.pan, poses.tilt)
        # Unit vectors, so the thousandth of `back` is undone.
        assert np.abs(back(turns.apply([0, 0, -1])) / 1000 - forward[:, 0]).max() < 1.7e-5
        assert np.abs(back(turns.apply([0, 1, 0])) / 1000 - forward[:, 2]).max() < 1.7e-5


def test_lamps_in_candela(exported):
    """Luminance of colour times intensity is the lamp's candela to 1e-4; it stands and points as the file of the set says."""
    lit, _, glb = exported
    tree, _ = parted(glb)
    lights = tree["extensions"]["KHR_lights_punctual"]["lights"]
    for lamp, light in zip(lit.scene.lamp, lights, strict=True):
        given = (lamp.lux_at_1m or lamp.candela) * 2.0**-lamp.gel_stops * lamp.dim
        assert np.dot(light["color"], [0.2126, 0.7152, 0.0722]) * light["intensity"] == pytest.approx(given, rel=1e-4)
        assert light["extras"]["candela_on_axis"] == pytest.approx(given, rel=1e-4)
        node = next(entry for entry in tree["nodes"] if entry["name"] == lamp.name and "extensions" in entry)
        assert np.allclose(back([node["translation"]]), [lamp.at], atol=1e-3)
        emitter = next(one for one in lit.emitters if one.name == lamp.name)
        assert np.allclose(back(Rotation.from_quat(node["rotation"]).apply([[0, 0, -1]])) / 1000, [emitter.normal], atol=1e-6)


@pytest.mark.parametrize("beam_deg, field_deg", [(120, 168.5), (30, 54), (5, 9.1), (170, 179.9)])
def test_a_spot_keeps_its_beam(beam_deg, field_deg):
    """By the falloff that KHR_lights_punctual recommends (from memory), half the light is left at half the beam."""
    inner, outer = spot_cone(beam_deg / 2, field_deg / 2)
    assert 0 <= inner < outer <= np.pi / 2
    scale = 1 / (np.cos(inner) - np.cos(outer))
    left = np.clip((np.cos(np.radians(beam_deg / 2)) - np.cos(outer)) * scale, 0, 1) ** 2
    assert left == pytest.approx(0.5, abs=0.02)
