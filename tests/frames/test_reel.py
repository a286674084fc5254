"""The reel: a video that can be read back, frames that are kept, and work that goes on where it stopped."""

from dataclasses import replace
from pathlib import Path

import imageio.v3 as imageio
import imageio_ffmpeg
import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.build.assemble import build_set
from previz.frames import reel
from previz.frames.picture import read_picture, write_picture
from previz.frames.reel import even, frame_moments, write_reel, write_video, written_frames
from previz.frames.store import FrameStore, fingerprint
from previz.rays.lit import light_set
from previz.rig.moves import plan_move
from previz.scene.faults import OptionFault, OutsideFault
from previz.scene.model import Scene

SHED = {
    "title": "Shed",
    "room": [{"name": "shed", "plan": [[0, 0], [200, 0], [200, 150], [0, 150]], "walls": ["s", "e", "n", "w"], "open": ["w"], "height": 100}],
    "opening": [{"name": "window", "wall": "shed.e", "at": [50, 40], "size": [40, 40]}],
    "prop": [{"name": "crate", "kind": "box", "size": [30, 30, 30], "at": [120, 75, 0]}],
    "lamp": [{"name": "key", "kind": "disc", "at": [700, 75, 400], "toward": "window", "diameter": 40, "lux_at_1m": 20000}],
    "haze": {"extinction": 1.0},
    "shot": [
        {"name": "in", "clip": 0.25, "move": "slide", "from": [-60, 75, 50], "to": [-10, 75, 50], "look": {"pan": 0}, "subject": "crate"},
        {"name": "still", "clip": 0.25, "from": [-60, 75, 50], "look": "crate"},
    ],
}


def _scene(**changes):
    return Scene.model_validate(SHED | changes)


@pytest.fixture(scope="module")
def lit():
    scene = _scene()
    return light_set(scene, build_set(scene, Path(".")), texels=300, rays=16)


# imageio's reader leaves the closing of its pipes to the garbage collector.
reads_video = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")


def _ramp(count, rows=36, columns=64):
    """Frames that differ: a bright column wanders."""
    for i in range(count):
        frame = np.full((rows, columns, 3), 60, np.uint8)
        frame[:, 4 * i : 4 * i + 4] = 220
        yield frame


class TestVideo:
    """H.264 in MP4."""

    @reads_video
    def test_read_back(self, tmp_path):
        """Frame count, size and rate are what was asked for, and the frames are in order."""
        path = tmp_path / "a.mp4"
        write_video(path, _ramp(9), 24, (64, 36))
        video = imageio.imread(path, plugin="FFMPEG")
        facts = imageio.immeta(path, plugin="FFMPEG")
        assert (9, 36, 64, 3) == video.shape
        assert (24.0, (64, 36)) == (facts["fps"], facts["size"])
        assert facts["codec"] == "h264" and facts["pix_fmt"].startswith("yuv420p")
        middles = [np.average(np.arange(64) + 0.5, weights=frame[18, :, 0] > 140) for frame in video]
        assert_allclose(middles, [4 * i + 2 for i in range(9)], atol=0.5)

    def test_same_frames_same_bytes(self, tmp_path):
        """Nothing of the time or the machine gets into the file."""
        for name in "ab":
            write_video(tmp_path / f"{name}.mp4", _ramp(5), 25, (64, 36))
        assert (tmp_path / "a.mp4").read_bytes() == (tmp_path / "b.mp4").read_bytes()

    def test_odd_sizes_become_even(self):
        """Sides are raised to even numbers, never lowered."""
        assert (482, 270) == even((481, 270))

    def test_no_encoder(self, tmp_path, monkeypatch):
        """Without an encoder the fault is outside, says what to install, and nothing is left behind."""
        monkeypatch.setenv("IMAGEIO_FFMPEG_EXE", str(tmp_path / "nowhere"))
        monkeypatch.setattr(imageio_ffmpeg._utils, "_get_exe", None, raising=False)
        imageio_ffmpeg.get_ffmpeg_exe.cache_clear() if hasattr(imageio_ffmpeg.get_ffmpeg_exe, "cache_clear") else None
        with pytest.raises(OutsideFault) as caught:
            write_video(tmp_path / "a.mp4", _ramp(3), 24, (64, 36))
        assert caught.value.exit_code == 3
        assert [] == list(tmp_path.glob("*.mp4"))

    def test_a_broken_frame_leaves_nothing(self, tmp_path):
        """Where the frames stop with an error, there is no video."""

        def frames():
            yield from _ramp(3)
            raise OutsideFault("a frame could not be read")

        with pytest.raises(OutsideFault, match="a frame could not be read"):
            write_video(tmp_path / "a.mp4", frames(), 24, (64, 36))
        assert [] == list(tmp_path.iterdir())

    def test_not_a_video_has_no_frames(self, tmp_path):
        """A file that is no video counts as none."""
        (tmp_path / "a.mp4").write_bytes(b"no video")
        assert 0 == written_frames(tmp_path / "a.mp4")


class TestPictures:
    """Pictures as files."""

    def test_png_keeps_every_value(self, tmp_path):
        """What is written is read back."""
        rgb = np.random.default_rng(3).integers(0, 256, (20, 30, 3), dtype=np.uint8)
        write_picture(tmp_path / "a.png", rgb)
        assert np.array_equal(rgb, read_picture(tmp_path / "a.png"))

    def test_other_endings_are_refused(self, tmp_path):
        """The message names the endings that are known."""
        with pytest.raises(OptionFault, match=r"ends in \.gif, and must end in \.png, \.jpg, \.jpeg"):
            write_picture(tmp_path / "a.gif", np.zeros((2, 2, 3), np.uint8))


class TestFrameMoments:
    """Which moment each frame of the clip shows."""

    def test_one_frame_every_capture_interval(self, lit):
        """A quarter of a second at 24 shown, 120 taken: 6 frames, 1/120 s apart."""
        shot = lit.scene.shot[0]
        numbers, take_s = frame_moments(shot, plan_move(lit.scene, shot, lit.built))
        assert list(range(6)) == numbers
        assert_allclose(take_s, np.arange(6) / 120)

    def test_nothing_moves_in_a_still(self, lit):
        """A still needs one picture for all its frames."""
        shot = lit.scene.shot[1]
        numbers, _ = frame_moments(shot, plan_move(lit.scene, shot, lit.built))
        assert [0] * 6 == numbers


class TestStore:
    """Frames kept on disk."""

    FRAME = np.full((4, 6, 3), 9, np.uint8)

    def test_kept_while_the_fingerprint_is_the_same(self, tmp_path):
        """The same fingerprint finds its frames again; another one starts anew."""
        FrameStore(tmp_path / "s", "aa", (6, 4))[3] = self.FRAME
        assert 3 in FrameStore(tmp_path / "s", "aa", (6, 4))
        assert 3 not in FrameStore(tmp_path / "s", "bb", (6, 4))
        assert 3 not in FrameStore(tmp_path / "s", "aa", (6, 4))

    def test_broken_frames_are_done_again(self, tmp_path):
        """A cut-off file, one of another size, and a left-over temporary file do not count."""
        store = FrameStore(tmp_path / "s", "aa", (6, 4))
        for i in range(3):
            store[i] = self.FRAME
        whole = (store.folder / "frame-00001.png").read_bytes()
        (store.folder / "frame-00001.png").write_bytes(whole[: len(whole) // 2])
        write_picture(store.folder / "frame-00002.png", np.zeros((5, 5, 3), np.uint8))
        (store.folder / ".frame-00003-x.png").write_bytes(b"")
        again = FrameStore(tmp_path / "s", "aa", (6, 4))
        assert [True, False, False] == [i in again for i in range(3)]
        assert ["fingerprint.txt", "frame-00000.png"] == sorted(file.name for file in again.folder.iterdir())

    def test_clearing_spares_what_is_not_its_own(self, tmp_path):
        """A file that the maker put there stays, and so does the folder then."""
        store = FrameStore(tmp_path / "s", "aa", (6, 4))
        store[0] = self.FRAME
        (store.folder / "notes.txt").write_text("mine")
        store.clear()
        assert ["notes.txt"] == [file.name for file in store.folder.iterdir()]

    def test_a_file_in_the_way(self, tmp_path):
        """Where a file stands in the folder's place, the fault says so."""
        (tmp_path / "s").write_text("in the way")
        with pytest.raises(OutsideFault, match="part of that path is a file, not a folder"):
            FrameStore(tmp_path / "s", "aa", (6, 4))


class TestFingerprint:
    """What makes frames worth nothing."""

    def _of(self, lit, scene=None, **options):
        scene = scene or lit.scene
        return fingerprint(scene, scene.shot[0], lit.built, **options)

    def test_what_counts(self, lit):
        """Light, haze, the shot and the options count; the title and other shots do not."""
        base = self._of(lit, size=[64, 36])
        assert base == self._of(lit, _scene(title="Another name"), size=[64, 36])
        assert base == self._of(lit, _scene(shot=SHED["shot"][:1]), size=[64, 36])
        others = [
            self._of(lit, size=[64, 38]),
            self._of(lit, _scene(haze={"extinction": 1.1}), size=[64, 36]),
            self._of(lit, _scene(lamp=[SHED["lamp"][0] | {"dim": 0.5}]), size=[64, 36]),
            self._of(lit, _scene(shot=[SHED["shot"][0] | {"iso": 400}]), size=[64, 36]),
        ]
        assert len({base, *others}) == 5

    def test_a_moved_vertex_counts(self, lit):
        """A mesh file that changed changes the triangles, and that is enough."""
        moved = replace(lit.built, vertices=lit.built.vertices + [0, 0, 1e-6])
        assert fingerprint(lit.scene, lit.scene.shot[0], moved) != fingerprint(lit.scene, lit.scene.shot[0], lit.built)


class TestReel:
    """The whole of it."""

    @reads_video
    @pytest.mark.parametrize("proxy", [True, False])
    def test_video_and_sheet(self, lit, tmp_path, proxy):
        """A slide gives a video of its frames and a sheet; the frames are cleared away after."""
        shot, shares = lit.scene.shot[0], []
        video, sheet = write_reel(
            lit, shot, plan_move(lit.scene, shot, lit.built), tmp_path / "in.mp4", size=(65, 36), proxy=proxy, progress=shares.append,
            outlines=[np.array([[100.0, 60, 0], [120, 60, 0], [120, 90, 0]])],
        )  # fmt: skip
        assert (6, 36, 66, 3) == imageio.imread(video, plugin="FFMPEG").shape
        assert ["in-contact.png", "in.mp4"] == sorted(file.name for file in tmp_path.iterdir())
        assert sheet.name == "in-contact.png" and read_picture(sheet).shape[1] == 1600
        assert 1.0 == shares[-1] and sorted(shares) == shares

    def test_a_still(self, lit, tmp_path):
        """Nothing moves: one picture on the sheet, all frames in the video."""
        shot = lit.scene.shot[1]
        video, _ = write_reel(lit, shot, plan_move(lit.scene, shot, lit.built), tmp_path / "still.mp4", size=(64, 36), proxy=True)
        assert 6 == written_frames(video)

    def test_resumes(self, lit, tmp_path, monkeypatch):
        """Stopped after four frames, the next run draws the other two; the video is that of one run."""
        shot = lit.scene.shot[0]
        move = plan_move(lit.scene, shot, lit.built)
        write_reel(lit, shot, move, tmp_path / "whole.mp4", size=(64, 36))
        drawn, draw = [], reel.still

        def until_interrupted(*arguments, **options):
            if len(drawn) == 4:
                raise KeyboardInterrupt
            drawn.append(arguments[3])
            return draw(*arguments, **options)

        monkeypatch.setattr(reel, "still", until_interrupted)
        with pytest.raises(KeyboardInterrupt):
            write_reel(lit, shot, move, tmp_path / "cut.mp4", size=(64, 36))
        assert not (tmp_path / "cut.mp4").exists()
        assert 4 == len(list((tmp_path / "cut-frames").glob("frame-*.png")))
        drawn.clear()
        monkeypatch.setattr(reel, "still", lambda *a, **o: drawn.append(a[3]) or draw(*a, **o))
        write_reel(lit, shot, move, tmp_path / "cut.mp4", size=(64, 36))
        assert_allclose(drawn, np.arange(4, 6) / 120)
        assert (tmp_path / "whole.mp4").read_bytes() == (tmp_path / "cut.mp4").read_bytes()
        assert (tmp_path / "whole-contact.png").read_bytes() == (tmp_path / "cut-contact.png").read_bytes()
