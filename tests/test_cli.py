"""The verbs on a set that is in order: what they write, what they print, how they leave."""

import json
import re
from pathlib import Path

import imageio.v3 as imageio
import numpy as np
import pytest
import trimesh

from previz.build.load import load_set
from previz.cli import app, run
from previz.scene.files import replacing

ROOT = Path(__file__).parents[1]
VERBS = [command.callback.__name__ for command in app.registered_commands]


@pytest.fixture(autouse=True)
def in_its_own_folder(tmp_path, monkeypatch):
    """Outputs go where the command is run."""
    monkeypatch.chdir(tmp_path)


class TestHelp:
    """Each verb explains itself."""

    @pytest.mark.parametrize("verb", VERBS)
    def test_every_verb_has_an_example(self, verb, capsys):
        """In 80 columns."""
        assert run([verb, "--help"]) == 0
        shown = capsys.readouterr().out
        assert f"Example: previz {verb}" in shown
        assert max(map(len, shown.splitlines())) <= 80

    def test_without_arguments(self, capsys):
        """The list of verbs."""
        assert run([]) == 0
        shown = capsys.readouterr().out
        assert all(re.search(rf"^  {verb} ", shown, re.M) for verb in VERBS)

    def test_version(self, capsys):
        """As installed."""
        assert run(["--version"]) == 0
        assert re.fullmatch(r"\d+\.\d+\.\d+\n", capsys.readouterr().out)


class TestNew:
    """A file to start from."""

    def test_is_in_order(self, capsys):
        """What previz writes, previz accepts, and has nothing to stop for."""
        assert run(["new", "mine.toml"]) == 0
        assert capsys.readouterr().out == "mine.toml\n"
        file, built = load_set("mine.toml")
        assert file.scene.shot and built.apertures

    def test_writes_over_nothing(self, capsys):
        """A maker's file stays as it is."""
        Path("mine.toml").write_text("mine")
        assert run(["new", "mine.toml"]) == 2
        assert Path("mine.toml").read_text() == "mine"
        assert capsys.readouterr().err == "mine.toml is there already, and previz new writes over nothing\n  Give another name: previz new another-set.toml\n"


class TestCheck:
    """The report, for a person and for a program."""

    def test_text_and_json_are_one_report(self, scene_file, capsys):
        """The same findings, and the same exit code."""
        assert run(["check", str(scene_file), "--json", "-o", "report.json"]) == run(["check", str(scene_file)]) == 0
        shown = capsys.readouterr().out
        report = json.loads(Path("report.json").read_text())
        words = " ".join(shown.split())
        assert all(finding["says"] in words for finding in report["findings"])
        assert max(map(len, shown.splitlines())) <= 80 and "\x1b" not in shown

    def test_workers_change_nothing(self, scene_file):
        """The same bytes from one worker and from three."""
        for workers in ("1", "3"):
            assert run(["check", str(scene_file), "--json", "--workers", workers, "-o", f"{workers}.json"]) == 0
        assert Path("1.json").read_bytes() == Path("3.json").read_bytes()

    def test_a_stop_leaves_with_1(self, scene_file, capsys):
        """A lamp that lands nowhere."""
        scene_file.write_text(scene_file.read_text().replace("at = [900, 100, 600]", "at = [-900, 100, 600]"))
        assert run(["check", str(scene_file)]) == 1
        assert "None of its light lands in the set" in " ".join(capsys.readouterr().out.split())


class TestSetFromAMesh:
    """A whole set scanned or drawn elsewhere."""

    def test_everything_but_patches(self, scene_file, capsys):
        """The same room as a mesh: figures of the shot are the same, and the missing list of patches is owned up to."""
        _, built = load_set(scene_file)
        trimesh.Trimesh(built.vertices, built.triangles, process=False).export("set.stl")
        typed = scene_file.read_text()
        camera = typed[typed.index("[[lamp]]") :].replace('"window"', "[300, 100, 105]").replace('subject = "table"\nfocus = "table"', "focus = [150, 100, 15]")
        Path("mesh.toml").write_text('[mesh]\nfile = "set.stl"\n\n' + camera)
        for name in ("plain", "mesh"):
            assert run(["check", f"{name}.toml", "--json", "-o", f"{name}.json"]) == 0
        rooms, mesh = (json.loads(Path(f"{name}.json").read_text()) for name in ("plain", "mesh"))
        assert mesh["patches"] == [] and any("a mesh has no openings" in finding["says"] for finding in mesh["findings"])
        assert mesh["shots"][0]["clearance"]["min_mm"] == pytest.approx(rooms["shots"][0]["clearance"]["min_mm"], abs=0.05)
        assert mesh["shots"][0]["rig"] == rooms["shots"][0]["rig"]


class TestFrame:
    """One picture through the lens."""

    def test_picture_and_luminance(self, scene_file, capsys):
        """The same luminance in both formats, and a picture of the size asked for."""
        for kind in ("npy", "exr"):
            assert run(["frame", str(scene_file), "--size", "64x36", "--quality", "draft", "--linear", f"frame.{kind}", "-o", "frame.png"]) == 0
        import OpenEXR

        luminance = np.load("frame.npy")
        with OpenEXR.File("frame.exr") as file:
            assert np.array_equal(file.channels()["RGB"].pixels, luminance)
        assert luminance.shape == (36, 64, 3) and luminance.dtype == np.float32 and luminance.max() > 0
        assert imageio.imread("frame.png").shape == (36, 64, 3)
        assert capsys.readouterr().out.split() == ["frame.npy", "frame.png", "frame.exr", "frame.png"]

    def test_the_same_moment_by_either_clock(self, scene_file):
        """0.25 s of the clip is 0.05 s of the take."""
        run(["frame", str(scene_file), "--size", "64x36", "--proxy", "--at", "0.1", "-o", "a.png"])
        run(["frame", str(scene_file), "--size", "64x36", "--proxy", "--take", "0.02", "-o", "b.png"])
        run(["frame", str(scene_file), "--size", "64x36", "--proxy", "--take", "0.1", "-o", "c.png"])
        assert Path("a.png").read_bytes() == Path("b.png").read_bytes() != Path("c.png").read_bytes()

    def test_goes_into_renders_by_itself(self, scene_file, capsys):
        """Named by scene, shot and moment."""
        assert run(["frame", str(scene_file), "--size", "64x36", "--proxy"]) == 0
        assert capsys.readouterr().out == "renders/plain/past-the-table-proxy-0.25s.png\n"

    @pytest.mark.parametrize(
        "options, says",
        [
            (["--shot", "nowhere"], '--shot "nowhere": plain.toml has no shot of that name\n  It has past the table.\n'),
            (["--at", "0.6"], '--at 0.6: the clip of shot "past the table" lasts 0.5 s\n  Give 0 to 0.5.\n'),
            (["--take", "-1"], '--take -1: the take of shot "past the table" lasts 0.1 s\n  Give 0 to 0.1.\n'),
            (["--at", "nan"], '--at nan: the clip of shot "past the table" lasts 0.5 s\n  Give 0 to 0.5.\n'),
            (["--at", "0", "--take", "0"], "--at and --take both name the moment\n  Leave one of them out: --at is in screen seconds, --take in real ones.\n"),
            (["--size", "960"], "--size 960: it must be width x height in pixels, each 16 to 8192\n  Write it like --size 960x540.\n"),
            (["--size", "1e3x9"], "--size 1e3x9: it must be width x height in pixels, each 16 to 8192\n  Write it like --size 960x540.\n"),
            (["--workers", "0"], "--workers 0: it must be from 1 to 1024\n  Leave it out to use all cores.\n"),
            (["--workers", "two"], "previz frame: --workers: it must be a whole number\n  See previz frame --help.\n"),
            (["--quality", "best"], "previz frame: --quality: 'best' is not one of 'draft', 'good', 'fine'\n  See previz frame --help.\n"),
            (["--shoot", "a"], "previz frame has no option --shoot; the nearest is --shot\n  See previz frame --help.\n"),
            (["--linear", "a.tif"], "--linear a.tif: the name ends in .tif, and must end in .npy or .exr\n  Name it like frame.npy or frame.exr.\n"),
            (["--linear", "a.npy", "--proxy"], "--linear and --proxy do not go together: plain shapes have no luminance\n  Leave one of them out.\n"),
        ],
    )
    def test_options_that_are_wrong(self, options, says, scene_file, capsys):
        """In whole sentences, with what to do."""
        assert run(["frame", "plain.toml", *options]) == 2
        assert capsys.readouterr().err == says
        assert [path.name for path in Path(".").iterdir()] == ["plain.toml"]


class TestMake:
    """Everything in one folder."""

    def test_page_and_files(self, scene_file, capsys):
        """The page needs nothing but the files beside it."""
        assert run(["make", str(scene_file), "--size", "64x36", "-o", "out"]) == 0
        assert capsys.readouterr().out == "out/index.html\n"
        page = Path("out/index.html").read_text(encoding="utf-8")
        linked = set(re.findall(r'(?:src|href|poster)="([^"]+)"', page))
        assert {"past-the-table-middle.png", "past-the-table.mp4", "past-the-table-contact.png", "templates.pdf", "report.json", "report.txt"} <= linked
        assert all((Path("out") / name).is_file() for name in linked)
        assert not re.search(r"https?:|//|<script|@import", page)
        assert {path.name for path in Path("out").iterdir()} == linked | {"index.html"}
        assert imageio.improps("out/past-the-table.mp4", plugin="FFMPEG").shape[1:] == (270, 480, 3)

    def test_the_readme_ends_in_a_set_that_is_in_order(self):
        """Its pieces of file, joined, with the prop that they name."""
        pieces = re.findall(r"^```toml\n(.*?)^```", (ROOT / "README.md").read_text(encoding="utf-8"), re.M | re.S)
        prop = '[[prop]]\nname = "mantel clock"\nkind = "box"\nsize = [40, 20, 50]\nat = [240, 125, 0]\n'
        with replacing(Path("readme.toml")) as path:
            path.write_text("\n".join([*pieces, prop]), encoding="utf-8")
        file, built = load_set("readme.toml")
        assert file.scene.lamp[0].name == "evening sun" and len(built.apertures) > 3


class TestDemoSets:
    """Every set in scenes/ can be built and looked at."""

    @pytest.mark.parametrize("path", sorted((ROOT / "scenes").glob("*.toml")), ids=lambda path: path.stem)
    def test_proxy_of_each_shot(self, path):
        """Plain shapes of every shot, none of them empty."""
        for shot in load_set(path)[0].scene.shot:
            assert run(["frame", str(path), "--shot", shot.name, "--proxy", "--size", "64x36", "-o", "frame.png"]) == 0
            assert imageio.imread("frame.png").std() > 2
