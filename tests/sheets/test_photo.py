"""A photo of the set: what a maker marks in it, what comes of it, and what is refused."""

import copy
import json
import shutil
import time

import numpy as np
import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from previz.aim.cast import Marked, pane_corners
from previz.aim.wishes import panes_named
from previz.build.corners import named_corners
from previz.build.load import load_set
from previz.camera.view import View, axes
from previz.cli import run
from previz.frames.outlines import AMBER
from previz.frames.picture import write_picture
from previz.frames.proxy import Proxies
from previz.rays.tracer import Tracer
from previz.scene.faults import SceneFaults
from previz.sheets.marked import blank_points, points_from
from previz.sheets.photo import read_photo

SIZE = (960, 720)
NAMES = [
    "room.south.east floor", "room.east.north floor", "room.north.west floor", "room.west.south floor", "room.north.west ceiling", "room.east.north ceiling",
    "table top front left", "table top front right", "table top back right", "window lower left",
]  # fmt: skip
REAL = (942.0, 75.0, 588.0)
"""Where the lamp really stands; the file has it at 900, 100, 600."""


def bench_view():
    """Return what a camera on the bench sees, from before the open side, a little rolled."""
    forward, left, up = axes(np.radians(80), np.radians(-22))
    roll = np.radians(2)
    right, up = np.cos(roll) * -left + np.sin(roll) * up, np.sin(roll) * left + np.cos(roll) * up
    return View(np.array([110.0, -300, 230]), forward, right, up, 0.6, 0.45, *SIZE)


@pytest.fixture(scope="module")
def photographed(tmp_path_factory, scene_text):
    """The plain room, its table by the west wall, photographed with its lamp displaced: the scene file, and what is marked in the photo."""
    scene_file = tmp_path_factory.mktemp("bench") / "plain.toml"
    scene_file.write_text(scene_text.replace("at = [150, 100, 0]", "at = [60, 150, 0]"))
    loaded, built = load_set(scene_file)
    view = bench_view()
    with Proxies(built, Tracer(built.vertices, built.triangles)) as proxies:
        write_picture(scene_file.with_name("photo.png"), proxies.frame(view).rgb)
    rng = np.random.default_rng(4)
    corners = named_corners(loaded.scene, built)

    def pixel(at):
        x, y, _ = view.project(np.atleast_2d(at))
        return [round(float(v), 1) for v in (np.array([x[0], y[0]]) - 0.5 + rng.normal(0, 0.3, 2))]

    patches = []
    for pane in ([0, 2], [1, 1]):
        row = {"opening": "window", "pane": pane, "on": "room.floor"}
        for name, corner in pane_corners(list(panes_named(built, f"window[{pane[0]},{pane[1]}]"))).items():
            row[name.replace(" ", "_")] = pixel(Marked(corner, None, np.zeros(3), np.array([0.0, 0, 1])).thrown(np.array(REAL)))
        patches.append(row)
    return scene_file, {"points": {name: pixel(corners[name]) for name in NAMES}, "patch": patches}


@pytest.fixture
def bench(photographed, tmp_path):
    """A copy of the scene file with its photo beside it, and the marks, to change at will."""
    scene_file, marks = photographed
    for path in (scene_file, scene_file.with_name("photo.png")):
        shutil.copy(path, tmp_path)
    return tmp_path / scene_file.name, copy.deepcopy(marks)


def asked(scene_file, marks, *options):
    """Run asshot on marks; return its exit code."""
    scene_file.with_name("points.toml").write_text(tomlkit.dumps(marks))
    return run(["asshot", str(scene_file), "--photo", str(scene_file.with_name("photo.png")), "--points", str(scene_file.with_name("points.toml")), "-o", str(scene_file.with_name("marked.png")), *options])


class TestFound:
    """A lamp that stands 50 mm off, and a camera that nobody measured."""

    def test_camera_and_lamp(self, bench, capsys):
        """Marked to a third of a pixel: both within what is said of them, and so is the focal length."""
        scene_file, marks = bench
        assert asked(scene_file, marks, "--json") == 0
        said = json.loads(capsys.readouterr().out)
        camera, lamp = said["camera"], said["lamps"][0]
        assert np.all(np.abs(np.subtract(camera["at_mm"], bench_view().position)) < 3 * np.array(camera["error_mm"]))
        assert max(camera["error_mm"]) < 2
        assert abs(camera["focal_35_mm"] - 800 * np.hypot(36, 24) / 1200) < 3 * camera["focal_error_mm"]
        assert camera["roll_deg"] == pytest.approx(-2, abs=0.3)
        assert np.all(np.abs(np.subtract(lamp["at_mm"], REAL)) < 3 * np.array(lamp["error_mm"]))
        assert lamp["distance_from_mm"] < np.linalg.norm(np.subtract(REAL, (302.5, 100, 105))) < lamp["distance_to_mm"]

    def test_the_move_is_the_way_back(self, bench, capsys):
        """Across the light, which is what a patch shows, the stand comes back to within 3 mm; patches are as far off as similar triangles have them."""
        scene_file, marks = bench
        assert asked(scene_file, marks, "--json") == 0
        lamp = json.loads(capsys.readouterr().out)["lamps"][0]
        way = np.subtract(REAL, (302.5, 100, 105))
        way /= np.linalg.norm(way)
        wrong = np.subtract(lamp["stands_mm"], REAL)
        assert np.linalg.norm(wrong - (wrong @ way) * way) < 3
        assert np.subtract(lamp["planned_mm"], lamp["stands_mm"]) == pytest.approx(lamp["move_mm"], abs=0.01)
        loaded, built = load_set(scene_file)
        corner = pane_corners(list(panes_named(built, "window[0,2]")))["lower left"]
        here, there = (Marked(corner, None, np.zeros(3), np.array([0.0, 0, 1])).thrown(np.array(at)) for at in (REAL, (900.0, 100, 600)))
        found = next(c for c in lamp["patches"][0]["corners"] if c["corner"] == "lower left")
        assert np.subtract(found["at_mm"], found["planned_mm"]) == pytest.approx(here - there, abs=1.0)

    def test_in_the_makers_words(self, bench, capsys):
        """Left and right as one stands behind the lamp: it looks along -x, so +y is to its right."""
        assert asked(*bench) == 0
        text = capsys.readouterr().out
        assert all(len(line) < 80 for line in text.splitlines()[:-1])
        said = " ".join(text.split())
        assert "Standing behind the lamp, facing the set: move the stand" in said and "mm right" in said and "raise the lamp" in said
        assert "10 points fit" in said and "Patch of window [0, 2] on room.floor:" in said

    def test_a_lamp_that_stands_right(self, bench, capsys):
        """Nothing to move where the file says what is."""
        scene_file, marks = bench
        text = scene_file.read_text().replace("at = [900, 100, 600]", f"at = {list(REAL)}")
        scene_file.write_text(text)
        assert asked(scene_file, marks) == 0
        assert "It stands as planned, as far as this photo can tell" in " ".join(capsys.readouterr().out.split())

    def test_without_patches_the_camera_alone(self, bench, capsys):
        """And the reader is told how to go on."""
        scene_file, marks = bench
        assert asked(scene_file, {"points": marks["points"]}) == 0
        assert "add [[patch]]" in capsys.readouterr().out

    def test_four_points_with_a_focal_length(self, bench, capsys):
        """--focal stands in for two points."""
        scene_file, marks = bench
        few = dict(list(marks["points"].items())[i] for i in (0, 2, 5, 6))
        assert asked(scene_file, {"points": few}) == 2
        assert "4 points are marked, and 6 or more are needed here" in capsys.readouterr().err
        assert asked(scene_file, {"points": few}, "--focal", "28.8", "--json") == 0
        camera = json.loads(capsys.readouterr().out)["camera"]
        assert np.all(np.abs(np.subtract(camera["at_mm"], bench_view().position)) < 3 * np.array(camera["error_mm"]) + 0.5)

    def test_the_marked_copy(self, bench):
        """As wide as the photo, with a strip of words below, and amber where corners of patches are marked."""
        scene_file, marks = bench
        assert asked(scene_file, marks) == 0
        drawn = np.array(Image.open(scene_file.with_name("marked.png")))
        assert drawn.shape[1] == SIZE[0] and drawn.shape[0] > SIZE[1] + 100
        for key in ("lower_left", "upper_right"):
            x, y = (int(v) for v in marks["patch"][0][key])
            near = drawn[y - 3 : y + 4, x - 3 : x + 4].reshape(-1, 3).astype(int)
            assert np.abs(near - AMBER).sum(axis=1).min() < 60


class TestRefused:
    """What does not fit is said by its name, all at once, and nothing is written."""

    def refused(self, bench, marks, capsys):
        """Return what is said of marks that are refused."""
        assert asked(bench[0], marks) == 2
        assert not bench[0].with_name("marked.png").exists()
        return capsys.readouterr().err

    def test_a_point_that_is_off(self, bench, capsys):
        """The one that the others do not bear out, and where they have it."""
        marks = bench[1]
        x, y = marks["points"]["table top front right"]
        marks["points"]["table top front right"] = [x + 60, y]
        said = self.refused(bench, marks, capsys)
        assert '[points] "table top front right": is 60 pixels from where the other points have it' in said
        assert "By the others it appears near [" in said and "mark it anew" in said

    def test_left_and_right_exchanged_in_a_patch(self, bench, capsys):
        """Named as they appear, not as seen from outside."""
        marks = bench[1]
        patch = marks["patch"][0]
        for level in ("lower", "upper"):
            patch[f"{level}_left"], patch[f"{level}_right"] = patch[f"{level}_right"], patch[f"{level}_left"]
        assert "[[patch]] number 1: its corners fit a lamp only with left and right exchanged" in self.refused(bench, marks, capsys)

    def test_one_corner_of_a_patch(self, bench, capsys):
        """By its key."""
        marks = bench[1]
        marks["patch"][1]["upper_left"][0] += 70
        assert "[[patch]] number 2 upper_left: does not fit the other corners of this lamp" in self.refused(bench, marks, capsys)

    def test_a_corner_that_a_prop_shades(self, bench, capsys):
        """What is seen there is the prop's shadow, not the pane's corner."""
        scene_file, marks = bench
        scene_file.write_text(scene_file.read_text().replace("at = [60, 150, 0]", "at = [150, 100, 0]"))
        marks["points"] = {name: pixel for name, pixel in marks["points"].items() if "table" not in name}
        said = self.refused((scene_file, marks), marks, capsys)
        assert 'by the file "table" stands in the light of this corner' in said and "Leave this corner out" in said

    def test_everything_in_one_go(self, bench, capsys):
        """Names, pixels, panes, faces, keys: each with its line and what to do."""
        marks = {
            "points": {"room.south.east flor": [10, 10], "window lower left": [10, 1000], "table top front left": "here", "1, 2, 3": [5, 5]},
            "patch": [
                {"opening": "windw", "on": "room.floor", "lower_left": [1, 2], "lower_right": [3, 4]},
                {"lamp": "sun", "opening": "window", "pane": [5, 5], "on": "room.flor", "lower_left": [1, 2], "colour": 3},
            ],
            "lamp": 3,
        }
        said = self.refused(bench, {key: marks[key] for key in ("lamp", "points", "patch")}, capsys)
        for words in (
            'Did you mean "room.south.east floor"?', "lies outside the photo, which is 960 x 720 pixels", "must be [across, down] in pixels", "4 points are marked, and 6 or more",
            'Did you mean "window"?', "there is no lamp of that name alight", "the opening has no such pane", "there is no flat face and no prop of that name",
            "a patch has no such key", "two corners or more must be marked", "a points file holds [points] and [[patch]]",
        ):  # fmt: skip
            assert words in said, words

    def test_no_photo_and_no_points(self, scene_file, capsys):
        """Both are said."""
        assert run(["asshot", str(scene_file), "--photo", "none.jpg", "--points", "none.toml"]) == 2
        said = capsys.readouterr().err
        assert "none.jpg: there is no such photo" in said and "none.toml: there is no such file" in said

    @pytest.mark.parametrize(
        "options, says",
        [
            (["--photo", "a.png"], "--photo goes with --points"),
            (["--points", "a.toml", "--marks", "b.csv"], "--points goes with --photo"),
            (["--photo", "a.png", "--points", "a.toml", "--marks", "b.csv"], "asshot needs one of --marks, --photo and --blank"),
            (["--photo", "a.png", "--points", "a.toml", "--focal", "1"], "--focal 1: that is no focal length"),
            (["--photo", "a.png", "--points", "a.toml", "--shot", "other"], "the scene has no shot of that name"),
        ],
    )
    def test_options_that_do_not_go_together(self, scene_file, capsys, options, says):
        """Each says what to do."""
        assert run(["asshot", str(scene_file), *options]) == 2
        assert says in capsys.readouterr().err


class TestPhotos:
    """Photos as cameras write them."""

    def test_upright_as_the_camera_noted(self, tmp_path):
        """EXIF orientation 6 is a quarter turn; its 35 mm focal length is read, and left aside once the photo has been cropped."""
        rgb = np.zeros((100, 160, 3), np.uint8)
        rgb[:20, :20] = 255
        image, exif = Image.fromarray(rgb), Image.Exif()
        exif[0x0112] = 6
        exif.get_ifd(0x8769).update({0xA405: 26, 0xA002: 1600, 0xA003: 1000})
        image.save(tmp_path / "turned.jpg", exif=exif)
        photo = read_photo(tmp_path / "turned.jpg")
        assert photo.size == (100, 160) and photo.focal_35 == 26
        assert photo.rgb[:10, -10:].min() > 200 and photo.rgb[-30:].max() < 60
        image.crop((0, 0, 100, 100)).save(tmp_path / "cropped.jpg", exif=exif)
        assert read_photo(tmp_path / "cropped.jpg").focal_35 is None

    def test_what_is_no_photo(self, tmp_path):
        """A text, a cut-off file, a speck: each by its name with a remedy."""
        (tmp_path / "text.png").write_text("no picture")
        Image.fromarray(np.zeros((300, 300, 3), np.uint8)).save(tmp_path / "whole.png")
        (tmp_path / "half.png").write_bytes((tmp_path / "whole.png").read_bytes()[:150])
        Image.fromarray(np.zeros((20, 30, 3), np.uint8)).save(tmp_path / "speck.png")
        for name, says in (("text.png", "no JPEG and no PNG"), ("half.png", "cannot be read"), ("speck.png", "only 30 x 20 pixels"), (".", "cannot be read")):
            with pytest.raises(SceneFaults, match=says):
                read_photo(tmp_path / name)

    def test_too_many_pixels(self, tmp_path, monkeypatch):
        """Beyond what the reader of pictures takes for honest."""
        Image.fromarray(np.zeros((300, 300, 3), np.uint8)).save(tmp_path / "large.png")
        monkeypatch.setattr(Image, "MAX_IMAGE_PIXELS", 80_000)
        with pytest.raises(SceneFaults, match="too many pixels"):
            read_photo(tmp_path / "large.png")


def test_the_blank_file_names_every_corner(scene_file, capsys):
    """It is TOML as it stands, and filled in it reads."""
    blank = scene_file.with_name("blank.toml")
    assert run(["asshot", str(scene_file), "--blank", str(blank)]) == 0
    loaded, built = load_set(scene_file)
    text = blank.read_text()
    assert tomlkit.parse(text) == {"points": {}}
    filled = text.replace("[, ]", "[10, 20]")
    filled = "\n".join(line.removeprefix("# ") if "[10, 20]" in line or line.startswith(("# [[", "# lamp", "# opening", "# pane", "# on")) else line for line in filled.split("\n"))
    filled = filled.replace("\ntop = [10, 20]", "")
    read = points_from(filled, blank, loaded.scene, built, (100, 100), 6)
    assert {point.name for point in read.points} == set(named_corners(loaded.scene, built))
    assert len(read.patches) == 1 and len(read.patches[0].corners) == 4
    assert blank_points(loaded.scene, built) == text


@pytest.fixture
def room_built(scene_file):
    """The plain room and its solids."""
    loaded, built = load_set(scene_file)
    return loaded.scene, built


words = st.one_of(st.sampled_from(["points", "patch", "lamp", "opening", "pane", "on", "lower_left", "top", "window", "key", "room.floor", "table", "window lower left", "1, 2, 3", "room.floor@10,10", "a@b"]), st.text(max_size=8))
plain_values = st.one_of(st.integers(-5, 400), st.integers(-(10**400), 10**400), st.floats(), st.booleans(), words, st.datetimes())
values = st.recursive(plain_values, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(words, inner, max_size=4), max_leaves=15)
tables = st.dictionaries(words, values, max_size=4)


@given(st.one_of(tables, st.fixed_dictionaries({"points": st.dictionaries(words, st.one_of(values, st.lists(st.integers(0, 99), min_size=2, max_size=2)), max_size=6), "patch": st.lists(st.dictionaries(words, values, max_size=8), max_size=2)})))
@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_whatever_a_points_file_holds(room_built, data):
    """It reads, or is refused with what to do, soon."""
    try:
        text = tomlkit.dumps(data)
    except (ValueError, TypeError, tomlkit.exceptions.TOMLKitError):
        return
    survives(text, room_built)


@given(st.text(max_size=120))
@settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_is_typed(room_built, text):
    """Text that is no TOML at all too."""
    survives(text, room_built)


def survives(text, room_built):
    """Read a text; only SceneFaults may come of it, and soon."""
    begin = time.perf_counter()
    try:
        points_from(text, "points.toml", *room_built, (100, 100), 4)
    except SceneFaults as faults:
        assert faults.faults and str(faults)
        assert all(fault.remedy and fault.allowed for fault in faults.faults)
    assert time.perf_counter() - begin < 5
