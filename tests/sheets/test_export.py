"""Open files: what is in them, that they say what they mean, and that nothing is half-written."""

import csv
import json

import ezdxf
import numpy as np
import pytest

from previz.build.load import load_set
from previz.camera.view import axes
from previz.cli import run
from previz.rays.lit import light_set
from previz.rig.kinematics import Axes, rig_of
from previz.rig.moves import plan_move
from previz.sheets.export import KINDS, wanted_kinds, write_open_files
from previz.sheets.export_move import COLUMNS, frame_times, move_csv, move_json, move_table
from previz.sheets.export_patches import layer_names
from previz.scene.faults import OptionFault

LIFTED = """
[slider]
from = [100, -300, 20]
to = [200, -300, 20]
reach = 270
rise = 40

[lift]
carries = "set"
range = [-30, 30]

[[shot]]
name = "αβγ / 1"
clip = 0.5
move = "slide"
from = 10
to = 60
lift = [0, -10]
look = { pan = 90, tilt = -10 }
focus = 120
playback = 24
"""


@pytest.fixture
def lit(scene_file):
    """The plain room with a second shot on a slider, while the set sinks on a lift."""
    scene_file.write_text(scene_file.read_text() + LIFTED, encoding="utf-8")
    loaded, built = load_set(scene_file)
    return light_set(loaded.scene, built, texels=100, rays=1)


def moved(lit, number):
    """Return scene, shot and move of a shot."""
    shot = lit.scene.shot[number]
    return lit.scene, shot, plan_move(lit.scene, shot, lit.built)


class TestMoves:
    """The table of a move."""

    def test_a_row_for_each_captured_frame(self, lit):
        """From the roll to the end of the take, in real and in screen seconds."""
        scene, shot, move = moved(lit, 1)
        rows = move_table(scene, shot, move)
        assert len(rows) == 1 + round(shot.take_s * shot.fps)
        assert rows[-1, 1] == pytest.approx(shot.take_s)
        assert rows[-1, 2] == pytest.approx(shot.clip)
        assert np.allclose(np.diff(rows[:, 1]), 1 / shot.fps)

    def test_the_rig_brings_the_lens_there(self, lit):
        """Rig coordinates, put through the rig's own geometry, are the set coordinates beside them; forward is the heading."""
        scene, shot, move = moved(lit, 1)
        rows = dict(zip(COLUMNS, move_table(scene, shot, move).T))
        assert rows["carriage_mm"][[0, -1]] == pytest.approx([10, 60])
        assert rows["lift_mm"][[0, -1]] == pytest.approx([0, -10])
        pan, tilt = np.radians(rows["pan_deg"]), np.radians(rows["tilt_deg"])
        reached = rig_of(scene.slider, scene.lift).forward(Axes(rows["carriage_mm"], pan, tilt, rows["lift_mm"]))
        assert np.allclose(reached.position, np.column_stack([rows[f"pupil_{axis}_mm"] for axis in "xyz"]), atol=1e-6)
        assert np.allclose(axes(pan, tilt)[:, 0], np.column_stack([rows[f"forward_{axis}"] for axis in "xyz"]))

    def test_csv_and_json_say_the_same(self, lit):
        """Read by the standard library: a header of remarks, a line of names, the same rows; units and axes are stated inside."""
        scene, shot, move = moved(lit, 1)
        text, told = move_csv(scene, shot, move), json.loads(move_json(scene, shot, move))
        rows = list(csv.reader(line for line in text.splitlines() if not line.startswith("#")))
        assert rows[0] == list(told["columns"]) == list(COLUMNS)
        assert np.allclose(np.array(rows[1:], float), np.array(told["rows"], float))
        assert "millimetres" in told["units"] and "datum corner" in told["set_coordinates"]
        assert "# units: millimetres, degrees, seconds" in text and "# shot: αβγ / 1" in text
        assert told["take_s"] == pytest.approx(shot.take_s)

    def test_no_carriage_without_a_rail(self, scene_file):
        """A cell that nobody knows is empty, not zero."""
        loaded, built = load_set(scene_file)
        shot = loaded.scene.shot[0]
        rows = json.loads(move_json(loaded.scene, shot, plan_move(loaded.scene, shot, built)))
        assert {row[list(COLUMNS).index("carriage_mm")] for row in rows["rows"]} == {None}

    def test_a_take_shorter_than_a_frame(self, lit):
        """Has one frame."""
        shot = lit.scene.shot[0].model_copy(update={"clip": 1e-3})
        assert frame_times(shot).tolist() == [0.0]


class TestPatches:
    """Where light lands, for others."""

    def test_json_and_dxf_hold_the_outlines(self, lit, tmp_path):
        """Closed rings, anticlockwise or not as in the report, within a tenth of a micrometre; DXF in millimetres, a layer a lamp, clean."""
        from previz.rays.patches import patches

        found = patches(lit.built, lit.emitters, lit)
        write_open_files(lit, tmp_path, kinds=("patches",))
        told = json.loads((tmp_path / "patches.json").read_text())
        assert told["type"] == "FeatureCollection" and "millimetres" in told["coordinates_are"]
        assert len(told["features"]) == len(found) > 0
        document = ezdxf.readfile(tmp_path / "patches.dxf")
        assert document.units == ezdxf.units.MM and not document.audit().has_errors
        drawn = [line for line in document.modelspace().query("POLYLINE") if line.dxf.layer == "light of key"]
        for patch, feature, line in zip(found, told["features"], drawn, strict=True):
            ring = np.array(feature["geometry"]["coordinates"][0])
            assert np.allclose(ring[0], ring[-1]) and np.allclose(ring[:-1], patch.outline_mm, atol=1e-4)
            assert feature["properties"]["lux"] == pytest.approx(patch.lux, rel=1e-4, abs=1e-4)
            assert line.is_closed and np.allclose([tuple(v.dxf.location) for v in line.vertices], patch.outline_mm)

    def test_layers_of_names_that_dxf_cannot_take(self):
        """Signs that it keeps for itself go, and no two lamps share a layer."""
        assert layer_names(["key: 1", "Key; 1", "κλειδί 😀"]) == {"key: 1": "light of key- 1", "Key; 1": "light of Key- 1 2", "κλειδί 😀": "light of κλειδί 😀"}


class TestFiles:
    """All of them."""

    def test_the_same_bytes_again(self, lit, tmp_path):
        """Every kind, nothing else left behind."""
        kinds = wanted_kinds(None)
        for folder in ("a", "b"):
            write_open_files(lit, tmp_path / folder, kinds=kinds)
        names = sorted(path.name for path in (tmp_path / "a").iterdir())
        assert {"set.glb", "patches.json", "patches.dxf", "past-the-table-move.csv", "αβγ-1-move.json"} <= set(names)
        for name in names:
            assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()

    def test_only_what_is_asked_for(self, scene_file, tmp_path, capsys):
        """From the command line, which prints each path."""
        assert run(["export", str(scene_file), "-o", str(tmp_path / "out"), "--only", "csv"]) == 0
        assert [path.name for path in (tmp_path / "out").iterdir()] == ["past-the-table-move.csv"]
        assert capsys.readouterr().out.strip().endswith("past-the-table-move.csv")

    def test_kinds_that_are_none(self):
        """Say which there are."""
        with pytest.raises(OptionFault, match=", ".join(KINDS)):
            wanted_kinds("gltf,step")


class TestUsd:
    """USD, where its library is."""

    def test_read_back(self, lit, tmp_path):
        """Millimetres, z up, the set's points, a camera where the lens is, and a lamp's candela by its luminance and area."""
        Usd = pytest.importorskip("pxr.Usd", reason="usd-core is not installed")
        from pxr import UsdGeom, UsdLux

        write_open_files(lit, tmp_path, kinds=("usd",))
        stage = Usd.Stage.Open(str(tmp_path / "set.usda"))
        assert UsdGeom.GetStageMetersPerUnit(stage) == 0.001 and UsdGeom.GetStageUpAxis(stage) == "Z"
        meshes = [UsdGeom.Mesh(prim) for prim in stage.Traverse() if prim.IsA(UsdGeom.Mesh)]
        assert [mesh.GetPrim().GetDisplayName() for mesh in meshes] == [part.name for part in lit.built.parts]
        for mesh, part in zip(meshes, lit.built.parts):
            points = np.array(mesh.GetPointsAttr().Get())[np.array(mesh.GetFaceVertexIndicesAttr().Get())]
            assert np.allclose(points, lit.built.vertices[lit.built.triangles[part.first : part.last].reshape(-1)], atol=1e-3)
        scene, shot, move = moved(lit, 1)
        camera = next(UsdGeom.Camera(prim) for prim in stage.Traverse() if prim.IsA(UsdGeom.Camera) and prim.GetDisplayName() == shot.name)
        for take_s in frame_times(shot)[[0, 5, -1]]:
            placed = camera.ComputeLocalToWorldTransform(Usd.TimeCode(round(1000 * take_s, 6)))
            pose = move.poses(take_s)
            assert np.allclose(placed.ExtractTranslation(), pose.position[0], atol=1e-6)
            assert np.allclose(placed.TransformDir((0, 0, -1)), axes(pose.pan, pose.tilt)[0, 0])
        disc = next(UsdLux.DiskLight(prim) for prim in stage.Traverse() if prim.IsA(UsdLux.DiskLight))
        area_m2 = np.pi * (disc.GetRadiusAttr().Get() / 1000) ** 2
        assert disc.GetIntensityAttr().Get() * area_m2 == pytest.approx(20000, rel=1e-5)
