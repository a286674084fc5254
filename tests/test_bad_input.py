"""
What goes wrong at the command line, as its users meet it: a sentence with a way out, the right exit code, no traceback,
nothing half-written, nothing lost.
"""

import contextlib
import os
import re
import signal
import subprocess
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


def refused(result, code, *words):
    """Check that a command refused in plain words, with nothing on standard output."""
    assert result.returncode == code, result
    assert "Traceback" not in result.stderr and "fault of previz" not in result.stderr, result.stderr
    assert result.stdout == ""
    assert len(result.stderr.strip().splitlines()) >= 2, result.stderr
    for word in words:
        assert word in result.stderr, result.stderr


def everything(folder):
    """Return the names of all files and folders in `folder`."""
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


class TestFiles:
    """Things that are no scene file."""

    @pytest.mark.parametrize("verb", ["check", "frame", "reel", "make"])
    def test_missing(self, verb, previz, tmp_path):
        """Every verb says so in the same way."""
        refused(previz(verb, "nowhere.toml"), 2, "nowhere.toml")
        assert everything(tmp_path) == []

    def test_directory(self, previz, tmp_path):
        """A folder is no scene."""
        refused(previz("check", "."), 2, "folder")

    @pytest.mark.parametrize(
        "content",
        [b"", b"# nothing but a remark\n", bytes(range(256)) * 40, b"\xff\xfe\x00t", b"title = \n", b"[" * 20_000, b"a = " + b"[" * 100_000, b"a." * 50_000 + b"a = 1"],
        ids=["empty", "remark", "binary", "utf16", "cut", "brackets", "deep list", "deep key"],
    )
    def test_content(self, content, previz, tmp_path):
        """Read as far as it goes, then a fault with its file."""
        (tmp_path / "odd.toml").write_bytes(content)
        refused(previz("check", "odd.toml"), 2, "odd.toml")
        assert everything(tmp_path) == ["odd.toml"]

    def test_a_hundred_megabytes(self, previz, tmp_path):
        """Refused by its size, before it is read for minutes."""
        with open(tmp_path / "huge.toml", "wb") as file:
            file.write(b'title = "a"\n' * (100_000_000 // 12))
        began = time.monotonic()
        refused(previz("check", "huge.toml"), 2, "huge.toml")
        assert time.monotonic() - began < 60

    @pytest.mark.parametrize("number", ["nan", "inf", "1e300", "-1e300", "1e-300", "0", "-5", '"5"', "true", "[]", "9" * 400])
    def test_numbers(self, number, previz, scene_file):
        """In places of different kinds at once: every fault of the file in one go, each with its line."""
        text = scene_file.read_text()
        for old in ("height = 180", "diameter = 60", "lux_at_1m = 20000", "clip = 0.5"):
            text = text.replace(old, f"{old.split('=')[0]}= {number}")
        scene_file.write_text(text)
        result = previz("check", "plain.toml")
        refused(result, 2)
        assert len(re.findall(r"^plain\.toml:\d+: ", result.stderr, re.M)) >= (1 if number == "1e-300" else 4), result.stderr


class TestMeshes:
    """Mesh files that are none."""

    @pytest.mark.parametrize(
        "name, content",
        [("a.stl", b""), ("a.stl", b"solid nothing\nendsolid\n"), ("a.stl", bytes(range(256)) * 9), ("a.glb", b"glTF\x02\x00\x00\x00\xff\xff\xff\xff"), ("a.obj", b"v 1 2\nf 1 2 3\n"),
         ("a.obj", b"v nan 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"), ("a.ply", b"ply\nformat ascii 1.0\nelement vertex 9\n"), ("a.xyz", b"1 2 3\n")],
    )  # fmt: skip
    def test_mesh(self, name, content, previz, scene_file, tmp_path):
        """The line that names it, and what is wrong with it."""
        (tmp_path / name).write_bytes(content)
        with open(scene_file, "a") as file:
            file.write(f'\n[[prop]]\nname = "statue"\nkind = "mesh"\nfile = "{name}"\nat = [60, 100, 0]\n')
        refused(previz("check", "plain.toml"), 2, "plain.toml:", name)

    def test_missing_mesh(self, previz, scene_file):
        """As for the scene file itself."""
        with open(scene_file, "a") as file:
            file.write('\n[[prop]]\nname = "statue"\nkind = "mesh"\nfile = "nowhere.stl"\nat = [60, 100, 0]\n')
        refused(previz("check", "plain.toml"), 2, "nowhere.stl")


@contextlib.contextmanager
def small_disk(folder):
    """A disk of 8 KiB at `folder`; skips where this machine lets nobody mount one."""
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8k", "tmpfs", folder], capture_output=True).returncode:
        pytest.skip("mounting a small disk is not permitted here")
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", folder], check=True)


class TestOutputs:
    """Places where nothing can be written."""

    @pytest.mark.parametrize("place", ["/proc/previz/frame.png", "plain.toml/frame.png"], ids=["proc", "under a file"])
    def test_no_such_place(self, place, previz, scene_file, tmp_path):
        """The scene file stays as it is, even where its name is taken for a folder."""
        if place.startswith("/proc") and not Path("/proc/self").exists():
            pytest.skip("no /proc on this system")
        before = scene_file.read_bytes()
        refused(previz("frame", "plain.toml", "--proxy", "--size", "64x36", "-o", place), 3, place)
        assert scene_file.read_bytes() == before and everything(tmp_path) == ["plain.toml"]

    def test_no_permission(self, previz, scene_file, tmp_path):
        """A folder that may not be written to."""
        if os.geteuid() == 0:
            pytest.skip("root may write anywhere; the places above stand for it")
        (tmp_path / "locked").mkdir(mode=0o500)
        refused(previz("frame", "plain.toml", "--proxy", "--size", "64x36", "-o", "locked/frame.png"), 3, "permission")

    def test_a_picture_that_is_no_picture(self, previz, scene_file, tmp_path):
        """Said before any work is done."""
        refused(previz("frame", "plain.toml", "-o", "frame.docx"), 2, ".docx")
        refused(previz("reel", "plain.toml", "-o", "reel.avi"), 2, ".mp4")
        assert everything(tmp_path) == ["plain.toml"]

    def test_a_folder_in_the_way(self, previz, scene_file, tmp_path):
        """Its content is kept."""
        (tmp_path / "frame.png").mkdir()
        (tmp_path / "frame.png" / "mine").write_text("mine")
        refused(previz("frame", "plain.toml", "--proxy", "--size", "64x36", "-o", "frame.png"), 2, "folder")
        assert (tmp_path / "frame.png" / "mine").read_text() == "mine"

    def test_full_disk(self, previz, scene_file, tmp_path):
        """What was there before is still there, and nothing else."""
        disk = tmp_path / "disk"
        disk.mkdir()
        with small_disk(disk):
            (disk / "report.json").write_text("mine")
            refused(previz("check", "plain.toml", "--json", "-o", "disk/report.json"), 3, "disk is full")
            assert everything(disk) == ["report.json"] and (disk / "report.json").read_text() == "mine"

    def test_full_disk_under_standard_output(self, previz, scene_file):
        """A report that cannot be written is not taken for one that was."""
        if not Path("/dev/full").exists():
            pytest.skip("no /dev/full on this system")
        with open("/dev/full", "w") as full:
            result = previz("check", "plain.toml", stdout=full)
        assert result.returncode == 3 and "Traceback" not in result.stderr and "No space left" in result.stderr

    def test_a_reader_that_has_gone(self, previz_started, scene_file):
        """previz check ... | head says nothing more."""
        with previz_started("check", "plain.toml", "--json") as process:
            process.stdout.close()
            assert process.stderr.read() == "" and process.wait(60) == 0


class TestInterrupt:
    """Ctrl-C in the middle of a reel."""

    def test_frames_are_kept_and_the_rest_follows(self, previz, previz_started, scene_file, tmp_path):
        """No video, no half picture; the next run keeps what was done and ends with the same video as one run."""
        scene_file.write_text(scene_file.read_text().replace("clip = 0.5", "clip = 1"))
        frames = tmp_path / "reel-frames"
        first = frames / "frame-00000.png"

        def until_there_are(count):
            process = previz_started("reel", "plain.toml", "--size", "160x90", "-o", "reel.mp4")
            while len(list(frames.glob("frame-*.png"))) < count and process.poll() is None:
                time.sleep(0.01)
            process.send_signal(signal.SIGINT)
            return process, process.communicate(timeout=300)

        process, (shown, said) = until_there_are(2)
        assert (process.returncode, shown) == (130, "") and "Traceback" not in said
        assert said.splitlines()[-2].startswith("Interrupted. Nothing is left half-written. The frames that were done are kept")
        assert said.splitlines()[-1] == "  Type it again: previz reel plain.toml --size 160x90 -o reel.mp4"
        assert everything(tmp_path) == sorted(["plain.toml", "reel-frames", *(f"reel-frames/{path.name}" for path in frames.iterdir())])
        kept = first.stat().st_mtime_ns
        process, _ = until_there_are(len(list(frames.glob("frame-*.png"))) + 1)
        assert process.returncode == 130 and first.stat().st_mtime_ns == kept

        for name in ("reel.mp4", "whole.mp4"):
            assert previz("reel", "plain.toml", "--size", "160x90", "-o", name).returncode == 0
        assert (tmp_path / "reel.mp4").read_bytes() == (tmp_path / "whole.mp4").read_bytes()
        assert everything(tmp_path) == ["plain.toml", "reel-contact.png", "reel.mp4", "whole-contact.png", "whole.mp4"]
