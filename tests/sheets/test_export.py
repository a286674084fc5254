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
        text, told = move_csv(lit, lit, shot, move), json.loads(move_json(lit, lit, shot, move))
        rows = list(csv.reader(line for line in text.splitlines() if not line.startswith("#")))
        assert rows[0] == list(told["columns"]) == list(COLUMNS)
        assert np.allclose(np.array(rows[1:], float), np.array(told["rows"], float))
        assert "millimetres" in told["units"] and "datum corner" in told["set_coordinates"]
        assert "# units: millimetres, degrees, seconds" in text and "# shot: αβγ / 1" in text
        assert told["take_s"] == pytest.approx(shot.take_s)

    def test_no_carriage_without_a_rail(self, scene_file):
        """A cell that nobody knows is empty, not zero."""
        loaded, built = load_set(scene_file)
        shot, lit = loaded.scene.shot[0], light_set(loaded.scene, built, texels=100, rays=1)
        rows = json.loads(move_json(lit, lit, shot, plan_move(loaded.scene, shot, built)))
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
        features = [one for one in told["features"] if one["properties"]["shot"] is None]
        assert len(features) == len(found) > 0
        document = ezdxf.readfile(tmp_path / "patches.dxf")
        assert document.units == ezdxf.units.MM and not document.audit().has_errors
        drawn = [line for line in document.modelspace().query("POLYLINE") if line.dxf.layer == "light of key"]
        # While the set sinks on its lift the patches wander: at the start, the middle and the end of that shot they are told again.
        sunk = [one["properties"]["lift_mm"] for one in told["features"] if one["properties"]["shot"] == "αβγ / 1"]
        assert sorted(set(sunk)) == [-10, -5, 0] and len(sunk) + len(found) == len(told["features"])
        for patch, feature, line in zip(found, features, drawn, strict=True):
            ring = np.array(feature["geometry"]["coordinates"][0])
            assert np.allclose(ring[0], ring[-1]) and np.allclose(ring[:-1], patch.outline_mm, atol=1e-4)
            assert feature["properties"]["lux"] == pytest.approx(patch.lux, rel=1e-4, abs=1e-4)
            assert line.is_closed and np.allclose([tuple(v.dxf.location) for v in line.vertices], patch.outline_mm)

    def test_layers_of_names_that_dxf_cannot_take(self):
        """Signs that it keeps for itself go, and no two lamps share a layer."""
        assert layer_names(["key: 1", "Key; 1", "κλειδί 😀"]) == {"key: 1": "light of key- 1", "Key; 1": "light of Key- 1 2", "κλειδί 😀": "light of κλειδί 😀"}


CHANGED = """
[[lamp]]
name = "fill"
kind = "point"
at = [150, -500, 300]
toward = "table"
candela = 50

[[shot]]
name = "later"
clip = 0.2
from = [150, -60, 60]
look = "table"
lamps = { key = { at = [900, 140, 500], dim = 0.5 }, fill = false }
haze = { extinction = 2, half_life = 60 }
start_after = 60

[[shot]]
name = "later, along"
clip = 0.2
move = "slide"
from = [140, -60, 60]
to = [160, -60, 60]
look = "table"
lamps = { key = { at = [900, 140, 500], toward = "table" } }
haze = { extinction = 0 }
"""


@pytest.fixture
def changed(scene_file):
    """The plain room with shots that have lamps and haze of their own."""
    scene_file.write_text(scene_file.read_text() + CHANGED, encoding="utf-8")
    loaded, built = load_set(scene_file)
    return light_set(loaded.scene, built, texels=100, rays=1)


class TestShotsOfTheirOwn:
    """Lamps and haze that only one shot has."""

    def test_move_files_state_them(self, changed, tmp_path):
        """Where the lamp stands in that shot, half its light at dim 0.5, the lamp that is out, and half of the haze a half-life later."""
        write_open_files(changed, tmp_path, kinds=("csv", "json"))
        told, before = (json.loads((tmp_path / f"{stem}-move.json").read_text()) for stem in ("later", "past-the-table"))
        key, fill = told["lamps"]
        assert key["at_mm"] == [900, 140, 500] and key["dim"] == 0.5 and key["candela"] == pytest.approx(10000, rel=1e-4) and fill == {"name": "fill", "alight": False}
        assert before["lamps"][0]["at_mm"] == [900, 100, 600] and before["lamps"][0]["candela"] == pytest.approx(20000, rel=1e-4) and before["lamps"][1]["alight"]
        assert told["haze"]["extinction_at_roll_per_m"] == pytest.approx(1) and before["haze"]["extinction_at_roll_per_m"] == 0.8
        text = (tmp_path / "later-move.csv").read_text()
        assert "# lamp key: at 900 140 500 mm, toward" in text and "dim 0.5, 10000 candela on its axis" in text and "# lamp fill: out" in text
        assert "# haze: 1 per metre at the roll" in text and "# haze: none" in (tmp_path / "later-along-move.csv").read_text()

    def test_patches_of_a_shot_stand_beside_those_of_the_file(self, changed, tmp_path):
        """As the study finds them for that shot; in DXF on layers of their own."""
        from previz.check.study import take

        write_open_files(changed, tmp_path, kinds=("patches",))
        told = json.loads((tmp_path / "patches.json").read_text())
        own = [one for one in told["features"] if one["properties"]["shot"] == "later"]
        wanted = take(changed, changed.scene.shot[1]).light[0].patches
        assert len(own) == len(wanted) > 0 and {one["properties"]["lamp"] for one in own} == {"key"}
        for feature, patch in zip(own, wanted):
            assert np.allclose(feature["geometry"]["coordinates"][0][:-1], patch.outline_mm, atol=1e-4)
        assert {one["properties"]["shot"] for one in told["features"]} == {None, "later", "later, along"}
        layers = {line.dxf.layer for line in ezdxf.readfile(tmp_path / "patches.dxf").modelspace().query("POLYLINE")}
        assert {"light of key", "light of key in later at 0 s"} <= layers

    def test_gltf_states_them_beside_the_camera(self, changed, tmp_path):
        """And moves the lamp where the shot's camera is animated."""
        write_open_files(changed, tmp_path, kinds=("gltf",))
        data = (tmp_path / "set.glb").read_bytes()
        tree = json.loads(data[20 : 20 + int.from_bytes(data[12:16], "little")])
        cameras = {node["name"]: node for node in tree["nodes"] if "camera" in node}
        assert "extras" not in cameras["camera past the table"]
        own = cameras["camera later"]["extras"]["this_shot_has"]
        assert own["lamps"][0]["at_mm"] == [900, 140, 500] and not own["lamps"][1]["alight"] and own["haze"]["half_life_s"] == 60
        key = next(number for number, node in enumerate(tree["nodes"]) if node["name"] == "key")
        animation = next(one for one in tree["animations"] if one["name"] == "later, along")
        moved = {one["target"]["path"]: one["sampler"] for one in animation["channels"] if one["target"]["node"] == key}
        assert set(moved) == {"translation", "rotation"}
        there = tree["accessors"][animation["samplers"][moved["translation"]]["output"]]
        assert there["min"] == there["max"] == pytest.approx([0.9, 0.5, -0.14])

    def test_usd_states_them_beside_the_camera(self, changed, tmp_path):
        """In the data that the prim carries."""
        Usd = pytest.importorskip("pxr.Usd", reason="usd-core is not installed")
        write_open_files(changed, tmp_path, kinds=("usd",))
        stage = Usd.Stage.Open(str(tmp_path / "set.usda"))
        told = {prim.GetDisplayName(): prim.GetCustomDataByKey("previz") for prim in stage.Traverse() if prim.GetTypeName() == "Camera"}
        assert list(told["later"]["lamps"]["lamp 1"]["at_mm"]) == [900, 140, 500] and told["later"]["lamps"]["lamp 2"]["alight"] is False
        assert told["later"]["haze"]["half_life_s"] == 60 and "lamps" not in told["past the table"]


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
