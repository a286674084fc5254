"""A lamp from the corners of its patches."""

from dataclasses import replace

import numpy as np
import pytest
import tomlkit

from previz.aim.cast import Marked, lamp_from, pane_corners, shading_part
from previz.aim.pose import camera_from
from previz.aim.wishes import panes_named
from previz.build.load import load_set
from previz.camera.view import View, axes
from previz.light.lamps import emitters
from previz.rays.panes import panels
from previz.rays.patches import landed
from previz.rays.shadows import Surface
from previz.rays.tracer import Tracer

SIZE = (1600, 1200)
POINTS = np.array([[0, 0, 0], [300, 0, 0], [300, 200, 0], [0, 200, 0], [300, 200, 180], [0, 200, 180], [120, 80, 30], [180, 120, 30.0]])


@pytest.fixture
def room(scene_file):
    """The plain room and its lamp's centre."""
    loaded, built = load_set(scene_file)
    return built, emitters(loaded.scene, built)[0]


@pytest.fixture(scope="module")
def camera():
    """A camera that looks in from the open side."""
    return camera_from(POINTS, seen_at(POINTS), SIZE, None)


def seen_at(points):
    """Return the pixels (n, 2) of points."""
    forward, left, up = axes(np.radians(78), np.radians(-25))
    x, y, _ = View(np.array([90.0, -260, 230]), forward, -left, up, 0.62, 0.465, *SIZE).project(points)
    return np.column_stack([x, y])


def lit(built, lamp, *panes, level=0.0):
    """Return the corners of panes as a lamp throws them on the plane z = level, exactly marked."""
    marked = []
    for pane in panes:
        for corner in pane_corners(list(panes_named(built, pane))).values():
            one = Marked(corner, None, np.array([0.0, 0, level]), np.array([0.0, 0, 1]))
            at = one.thrown(np.asarray(lamp, float))
            marked.append(Marked(corner, seen_at(at[None])[0], at, one.normal))
    return marked


@pytest.mark.parametrize("lamp", [(900, 100, 600), (700, 300, 500), (650, -150, 900)])
def test_thrown_corners_are_those_of_the_patches(room, lamp):
    """The report's own polygons, clipped in the plane, have the same corners: whichever rim of reveal or bar binds."""
    built, emitter = room
    emitter = replace(emitter, centre=np.array(lamp, float))
    floor = next(i for i, face in enumerate(built.faces) if face.name == "room.floor" and built.vertices[built.triangles[built.face_of == i]][..., 2].max() > -1e-6)
    panel = next(panel for panel in panels(built.apertures) if panel.apertures[0].opening == "window")
    checked = 0
    for patch in landed(Surface.of(built), panel, emitter, face=floor):
        column, row = patch.fields["pane"]
        if patch.fields["lit_share"] < 0.9999:
            continue
        for one in lit(built, lamp, f"window[{column},{row}]"):
            if not (0 < one.at[0] < 300 and 0 < one.at[1] < 200):
                continue  # Beyond the floor, where the patch goes on up a wall.
            assert np.linalg.norm(patch.fields["outline_mm"] - one.at, axis=1).min() < 1e-3
            checked += 1
    assert checked >= 4


@pytest.mark.parametrize("lamp", [(900, 100, 600), (560, 250, 420), (1500, -400, 1400)])
def test_a_lamp_is_found_again(room, camera, lamp):
    """From exact corners of two panes, to a hundredth of a millimetre, and so is the lamp if its distance is told."""
    found = lamp_from(camera, lit(room[0], lamp, "window[0,0]", "window[1,2]"))
    assert found.at == pytest.approx(lamp, abs=0.01)
    assert np.abs(found.off).max() < 1e-4
    assert found.at_distance(found.distance_mm).at == pytest.approx(lamp, abs=0.01)
    low, high = found.distance_range_mm
    assert low < found.distance_mm < high


def test_two_corners_are_enough(room, camera):
    """Two lines that meet."""
    found = lamp_from(camera, lit(room[0], (900, 100, 600), "window[0,0]")[::2])
    assert found.at == pytest.approx((900, 100, 600), abs=0.01)


def test_a_lamp_far_off_has_an_open_end(room, camera):
    """Lines nearly parallel: the direction is known, the distance is this or more."""
    way = np.array([0.75, 0.1, 0.65])
    found = lamp_from(camera, lit(room[0], (300, 100, 100) + 60_000 * way, "window[0,0]", "window[1,0]"))
    assert np.isinf(found.distance_range_mm[1]) and 500 < found.distance_range_mm[0] < 60_000
    assert np.degrees(np.arccos(found.basis[2] @ way / np.linalg.norm(way))) < 0.05


def test_what_is_known_grows_with_the_distance_told(room, camera):
    """Errors of the whole place are mostly along the light; at a distance that is told they are those across alone."""
    found = lamp_from(camera, lit(room[0], (900, 100, 600), "window[0,0]", "window[1,0]"))
    whole, told = np.trace(found.errors_mm), np.trace(found.at_distance(found.distance_mm).errors_mm)
    assert told < 0.2 * whole
    assert found.basis[2] @ found.errors_mm @ found.basis[2] > 0.8 * whole


def test_names_of_corners(scene_file):
    """A rectangle has four, a lancet two and its point, a quarter of a round window three, a round one none."""
    more = [
        {"name": "lancet", "wall": "room.north", "shape": "lancet", "at": [20, 40], "size": [40, 80]},
        {"name": "eye", "wall": "room.west", "shape": "round", "at": [40, 60], "size": 60},
        {"name": "rose", "wall": "room.north", "shape": "round", "at": [120, 60], "size": 80, "bars": {"columns": 2, "rows": 2, "width": 6, "depth": 4}},
    ]
    document = tomlkit.parse(scene_file.read_text())
    for row in more:
        document["opening"].append(tomlkit.item(row))
    scene_file.write_text(tomlkit.dumps(document))
    built = load_set(scene_file)[1]
    names = {text: set(pane_corners(list(panes_named(built, text)))) for text in ("window", "window[0,1]", "lancet", "eye", "rose[1,1]", "rose")}
    four = {"lower left", "lower right", "upper right", "upper left"}
    assert names["window"] == names["window[0,1]"] == four
    assert names["lancet"] == {"lower left", "lower right", "top"}
    assert names["eye"] == names["rose"] == set()
    assert {"lower left", "lower right", "upper left"} <= names["rose[1,1]"] and "upper right" not in names["rose[1,1]"]


def test_a_corner_in_the_shadow_of_a_prop_is_told(room):
    """The table stands in the light of the lowest panes, and nothing in that which lands before it."""
    built, emitter = room
    tracer = Tracer(built.vertices, built.triangles)
    through_table = Marked(pane_corners(list(panes_named(built, "window")))["lower left"], None, np.array([0.0, 0, 0]), np.array([0.0, 0, 1]))
    shadowed = [shading_part(tracer, built, one, np.array([900.0, y, 400])) for y in (60.0, 100.0, 140.0) for one in lit(built, (900, y, 400), "window[0,0]", "window[1,0]")]
    assert "table" in shadowed
    assert shading_part(tracer, built, through_table, np.array([460.0, 100, 800])) is None
