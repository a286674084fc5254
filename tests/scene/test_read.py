"""Reading a scene file: from bytes to a checked scene."""

import os
import time
import tomllib
from pathlib import Path

import pytest

from previz.scene.faults import SHOWN, Fault, OptionFault, OutsideFault, PrevizError, SceneFaults
from previz.scene.model import Scene
from previz.scene.read import read_scene, scene_from
from previz.scene.starter import STARTER
from previz.scene.tables import ROWS, SINGLES
from previz.scene.text import LARGEST_BYTES

SCENES = sorted((Path(__file__).parents[2] / "scenes").glob("*.toml"))


def said(path):
    """Return what reading a file says, with the folder's name left out."""
    with pytest.raises(SceneFaults) as caught:
        read_scene(path)
    return str(caught.value).replace(f"{path.parent}{os.sep}", "")


class TestBytes:
    """What may be found where a scene file should be."""

    @pytest.mark.parametrize(
        ("data", "message"),
        [
            (b"", "s.toml: the file is empty\n  `previz new` writes a commented starter file."),
            (b"\xef\xbb\xbf", "s.toml: the file is empty\n  `previz new` writes a commented starter file."),
            (b"\x89PNG\r\n\x1a\n\0\0", "s.toml: this is a binary file, not a scene file\n  A scene file is plain text; `previz new` writes one."),
            ("scale = 12".encode("utf-16"), "s.toml: the text is saved as UTF-16\n  Open it in a text editor and save it as UTF-8."),
            (
                'scale = 12\ntitle = "é"'.encode("latin-1"),
                "s.toml:2: a character is not UTF-8 (byte 0xE9)\n  Open it in a text editor and save it as UTF-8.",
            ),
        ],
        ids=["empty", "only a mark", "binary", "UTF-16", "Latin-1"],
    )
    def test_not_a_scene(self, tmp_path, data, message):
        """Each said plainly."""
        path = tmp_path / "s.toml"
        path.write_bytes(data)
        assert message == said(path)

    def test_byte_order_mark_is_let_pass(self, tmp_path):
        """Some editors write one; it changes nothing."""
        path = tmp_path / "s.toml"
        path.write_bytes(b"\xef\xbb\xbf" + STARTER.encode())
        assert scene_from(STARTER, path).scene == read_scene(path).scene

    def test_windows_line_ends(self, tmp_path):
        """Carriage returns change nothing either, lines included."""
        path = tmp_path / "s.toml"
        path.write_bytes(STARTER.replace("\n", "\r\n").encode())
        plain, windows = scene_from(STARTER, path), read_scene(path)
        assert plain.scene == windows.scene
        assert plain.line_of(("shot", 0, "iso")) == windows.line_of(("shot", 0, "iso"))

    def test_too_large(self, tmp_path):
        """100 MB are refused before they are read."""
        path = tmp_path / "s.toml"
        with path.open("wb") as file:
            file.truncate(100_000_000)
        begin = time.perf_counter()
        assert (
            "s.toml: the file is too large for a scene file: 100.0 MB, at most 1 MB are read\n  "
            "Keep large shapes in mesh files and name them with file = ..." == said(path)
        )
        assert time.perf_counter() - begin < 1

    def test_largest_is_read(self, tmp_path):
        """A file of the largest size is read, and soon."""
        path = tmp_path / "s.toml"
        path.write_text(STARTER + "#" * (LARGEST_BYTES - len(STARTER.encode())), encoding="utf-8")
        assert "my first set" == read_scene(path).scene.title

    def test_folder(self, tmp_path):
        """A folder, with and without scenes."""
        folder = tmp_path / "scenes"
        folder.mkdir()
        assert "scenes: this is a folder, not a scene file\n  Give the name of a scene file, ending in .toml." == said(folder)
        (folder / "attic.toml").write_text("")
        assert "scenes: this is a folder, not a scene file\n  Give one of its files: attic.toml." == said(folder)

    def test_missing(self, tmp_path):
        """The nearest name of that folder; else where to begin; else the folder is missing."""
        assert "attic.toml: there is no such file\n  Check the name; `previz new` writes a starter file." == said(tmp_path / "attic.toml")
        (tmp_path / "attik.toml").write_text("")
        assert "attic.toml: there is no such file\n  Did you mean attik.toml?" == said(tmp_path / "attic.toml")
        gone = tmp_path / "gone" / "attic.toml"
        assert f"attic.toml: there is no such file\n  There is no folder {tmp_path / 'gone'} either." == said(gone)

    @pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
    def test_pipe(self, tmp_path):
        """Nothing that would wait for ever."""
        os.mkfifo(tmp_path / "s.toml")
        assert "s.toml: this is not an ordinary file\n  Give the name of a scene file." == said(tmp_path / "s.toml")

    @pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything")
    def test_no_permission(self, tmp_path):
        """Locked away."""
        path = tmp_path / "s.toml"
        path.write_text(STARTER)
        path.chmod(0)
        assert "s.toml: there is no permission to read it\n  Change the file's permissions, or copy it elsewhere." == said(path)

    @pytest.mark.parametrize("name", ["a\0b", "x" * 5000], ids=["zero byte", "too long"])
    def test_impossible_name(self, name):
        """No name of any file."""
        with pytest.raises(SceneFaults, match="it cannot be read: "):
            read_scene(name)


class TestScene:
    """What comes out of a good file."""

    @pytest.mark.parametrize("path", SCENES, ids=lambda path: path.stem)
    def test_demo_sets_read(self, path):
        """Every set of the repository."""
        assert read_scene(path).scene.room

    def test_starter_reads(self):
        """The starter file is a scene with a window, a lamp, haze, props and a shot."""
        scene = scene_from(STARTER, Path("s.toml")).scene
        assert all([scene.opening, scene.lamp, scene.haze.extinction, scene.prop, scene.slider, scene.shot])

    def test_starter_shows_every_table(self):
        """A maker meets each table that a set without a scan needs."""
        assert {*ROWS, *SINGLES, "finish"} - {"mesh"} <= set(tomllib.loads(STARTER))

    def test_starter_is_readable(self):
        """No line is wider than a printed page."""
        assert max(map(len, STARTER.splitlines())) <= 100

    def test_repeats_are_written_out(self):
        """name-1, name-2, ... a step apart."""
        row = '[[prop]]\nname = "post"\nkind = "cylinder"\nsize = [5, 20]\nat = [10, 20, 0]\nrepeat = {count = 3, step = [30, 1, 0]}\n'
        scene = scene_from(STARTER + row, Path("s.toml")).scene
        posts = [prop for prop in scene.prop if prop.name.startswith("post")]
        assert [("post-1", (10, 20, 0)), ("post-2", (40, 21, 0)), ("post-3", (70, 22, 0))] == [(post.name, post.at) for post in posts]
        assert all(post.repeat is None for post in posts)

    def test_members_and_rows_answer_to_their_names(self):
        """A shot may look at one of a row, or at the row."""
        row = '[[prop]]\nname = "post"\nkind = "sphere"\nsize = 5\nat = [10, 20, 0]\nrepeat = {count = 3, step = [30, 0, 0]}\n'
        for name in ("post", "post-3"):
            assert name == scene_from(STARTER.replace('look = "jug"', f'look = "{name}"') + row, Path("s.toml")).scene.shot[0].look

    def test_defaults(self):
        """One room is enough."""
        text = '[[room]]\nname = "hall"\nplan = [[0, 0], [9, 0], [9, 9]]\nheight = 9\nwall = 1\n'
        room = {"name": "hall", "plan": [[0, 0], [9, 0], [9, 9]], "height": 9, "wall": 1}
        assert Scene(room=[room]) == scene_from(text, Path("s.toml")).scene


class TestLines:
    """Faults found later, on the built set, still know their line."""

    ROW = '[[prop]]\nname = "post"\nkind = "sphere"\nsize = 5\nat = [10, 20, 0]\nrepeat = {count = 3, step = [30, 0, 0]}\n'
    FILE = scene_from(STARTER + ROW + ROW.replace("post", "last"), Path("s.toml"))
    LINES = (STARTER + ROW + ROW).splitlines()

    @pytest.mark.parametrize(
        ("path", "line"),
        [
            (("title",), 'title = "my first set"'),
            (("lamp", 0, "at"), "at = [1300, 190, 620]"),
            (("lamp", 0), "[[lamp]]"),
            (("shot", 0, "from_"), "from = 60"),
            (("slider", "from_"), "from = [100, -150, 110]"),
            (("opening", 0, "bars", "rows"), "bars = "),
            (("haze", "g"), "[haze]"),
            (("finish", "oak", "colour"), 'colour = "#8a6542"'),
        ],
    )
    def test_line_of(self, path, line):
        """Keys by their line, defaults by their table's."""
        assert self.LINES[self.FILE.line_of(path) - 1].startswith(line)

    def test_rows_are_counted_as_written_out(self):
        """Two props, then three posts of one row, then three of the next."""
        names = [prop.name for prop in self.FILE.scene.prop]
        first = self.FILE.line_of(("prop", names.index("post-1"), "at"))
        assert first == self.FILE.line_of(("prop", names.index("post-3"), "at"))
        assert first + 6 == self.FILE.line_of(("prop", names.index("last-2"), "at"))

    def test_not_in_the_file(self):
        """What has no table has no line."""
        assert 0 == self.FILE.line_of(("mesh", "file"))

    def test_fault(self):
        """A fault of the built set reads like any other."""
        fault = self.FILE.fault(("lamp", 0, "at"), None, "lies inside a wall", "Move it outward by 5 mm.")
        line = self.FILE.line_of(("lamp", 0, "at"))
        assert (
            f's.toml:{line}: [[lamp]] "key" at: lies inside a wall (got [1300, 190, 620])\n'
            "    at = [1300, 190, 620]\n         ^^^^^^^^^^^^^^^^\n  Move it outward by 5 mm." == str(fault)
        )


class TestFaults:
    """The tree, and how a list of faults prints."""

    def test_exit_codes(self):
        """2 for the maker's file and options, 3 for the world outside."""
        assert (2, 2, 2, 3) == tuple(kind.exit_code for kind in (PrevizError, SceneFaults, OptionFault, OutsideFault))

    def test_in_the_order_of_the_file(self):
        """By line, and counted."""
        faults = [Fault(Path("s.toml"), line, "scale", "", "is wrong", "Mend it.") for line in (9, 2)]
        assert "s.toml:2: scale: is wrong\n  Mend it.\ns.toml:9: scale: is wrong\n  Mend it.\n2 faults in s.toml." == str(SceneFaults(faults))

    def test_very_many(self):
        """The first are shown, the rest are counted."""
        faults = [Fault(Path("s.toml"), line, "scale", "", "is wrong", "") for line in range(1, SHOWN + 1235)]
        assert ["... and 1,234 more. Put these right first.", "1,334 faults in s.toml."] == str(SceneFaults(faults)).splitlines()[-2:]

    def test_control_characters_are_not_printed(self):
        """A file cannot drive the reader's terminal."""
        fault = Fault(Path("s.toml"), 1, "a", "", "is wrong", "", "a = '\x1b[31m'", (4, 11))
        assert "s.toml:1: a: is wrong\n    a = '?[31m'\n        ^^^^^^^" == str(fault)

    def test_long_lines_are_cut_around_the_mark(self):
        """The mark stays in view."""
        fault = Fault(Path("s.toml"), 1, "a", "", "is wrong", "", "x" * 500 + "HERE" + "y" * 500, (500, 504))
        quoted, marked = str(fault).splitlines()[1:]
        assert "HERE" == quoted[marked.index("^") : marked.rindex("^") + 1]
        assert len(quoted) < 110
