"""
The reel: the moving preview of a shot as H.264 video at playback rate, and its contact sheet.

Takes a lit set and a shot's move; gives two files. Frames that are done are kept on disk until both are written, so an
interrupted reel goes on where it stopped. Knows nothing of findings.
"""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Callable, Iterable
from pathlib import Path

import imageio.v2 as imageio
import imageio_ffmpeg
import numpy as np

from previz.frames.along import drifts, lit_at_moment
from previz.frames.contact import Moment, contact_sheet, picture_size, resized
from previz.frames.outlines import with_outlines
from previz.frames.picture import write_picture
from previz.frames.proxy import Proxies
from previz.frames.still import lit_at_roll, still, view_of
from previz.frames.store import FrameStore, fingerprint
from previz.rays.lit import LitSet
from previz.rays.patches import patches
from previz.rig.clearance import clearance_at
from previz.rig.moves import Move
from previz.scene.faults import OutsideFault
from previz.scene.files import replacing
from previz.scene.model import Shot
from previz.scene.shots import scene_of

SHEET_PICTURES = 12
REEL_QUALITY = "draft"

_FULL_DISK = 1 << 20
_ENCODING = ["-preset", "medium", "-crf", "17", "-threads", "2", "-movflags", "+faststart", "-fflags", "+bitexact", "-flags:v", "+bitexact"]
"""Nothing here depends on the machine, so the same frames give the same bytes: two encoder threads, no version stamps."""


def write_reel(
    lit: LitSet, shot: Shot, move: Move, path: Path, *, size: tuple[int, int], proxy: bool = False, outlines: list[np.ndarray] = (),
    workers: int | None = None, progress: Callable[[float], None] | None = None,
) -> tuple[Path, Path]:  # fmt: skip
    """
    Write the reel of a shot, and its contact sheet beside it.

    Parameters
    ----------
    lit : LitSet
    shot, move
        The shot and its planned move.
    path : Path
        Of the video; ends in .mp4. The sheet is named like it, with -contact.png.
    size : (columns, rows)
        Of a frame; made even, as the encoding wants it. [pixel]
    proxy : bool
        True for plain shapes instead of light and haze.
    outlines : list of (k, 3) float arrays
        Patches to be drawn on the sheet's pictures, as they lie with the lift at 0. [mm]
    progress : callable, optional
        Called with the share of the frames that are done.

    Returns
    -------
    (Path, Path)
        Of the video and of the sheet.

    Raises
    ------
    OutsideFault
        If something cannot be written, or there is no video encoder.
    """
    path, size = Path(path), even(size)
    find_encoder()
    store = FrameStore(
        path.with_name(f"{path.stem}-frames"), fingerprint(lit.scene, shot, lit.built, size=size, quality="proxy" if proxy else REEL_QUALITY), size
    )
    numbers, take_s = frame_moments(shot, move, not proxy and drifts(scene_of(lit.scene, shot)))
    with Proxies(lit.built, lit.tracer, workers=workers) as proxies:
        draw = (lambda t: proxies.frame(view_of(lit, move, t, size)).rgb) if proxy else _hazed(lit_at_roll(lit, shot), shot, move, size, workers)
        for done, number in enumerate(sorted(set(numbers)), start=1):
            if number not in store:
                store[number] = draw(take_s[number])
            if progress:
                progress(done / len(set(numbers)))
        write_video(path, (store[number] for number in numbers), shot.playback, size)
        sheet = path.with_name(f"{path.stem}-contact.png")
        write_picture(sheet, _sheet(lit, shot, move, store, numbers, take_s, proxies, size, outlines))
    store.clear()
    return path, sheet


def even(size: tuple[int, int]) -> tuple[int, int]:
    """Return a picture's size with odd numbers raised by one: yuv420p keeps colour for two by two pixels."""
    return size[0] + size[0] % 2, size[1] + size[1] % 2


def frame_moments(shot: Shot, move: Move, haze_drifts: bool = False) -> tuple[list[int], np.ndarray]:
    """
    Return which picture each frame of the clip shows, and the moment of each picture.

    Parameters
    ----------
    haze_drifts : bool
        Whether the picture changes even where camera and light stand still.

    Returns
    -------
    numbers : list of int
        One for each frame: 0, 1, 2 ...; all 0 where nothing moves, since one picture is then enough.
    take_s : (frames,) float array
        The camera takes a frame every 1 / fps. [s]
    """
    count = max(1, round(shot.clip * shot.playback))
    return [number if move.changes or haze_drifts else 0 for number in range(count)], np.minimum(np.arange(count) / shot.fps, move.take_s)


def _hazed(lit, shot, move, size, workers):
    return lambda take_s: still(lit, shot, move, take_s, size, quality=REEL_QUALITY, workers=workers).rgb


def _sheet(lit, shot, move, store, numbers, take_s, proxies, size, outlines):
    """The contact sheet, from frames that are done."""
    # Where the lens stands still, one picture stands for the whole take.
    different = sorted(set(numbers))
    chosen = sorted({different[round(share)] for share in np.linspace(0, len(different) - 1, SHEET_PICTURES)})
    clear = clearance_at(lit.built, lit.scene, move, take_s[chosen])
    moments, shown = [], picture_size(len(chosen), size)
    for number, clearance_mm in zip(chosen, clear):
        view = view_of(lit, move, take_s[number], shown)
        crisp = outlines_at(lit, move, take_s[number]) if outlines else []
        rgb = with_outlines(resized(store[number], shown), view, proxies.frame(view).depth_mm, list(outlines) if crisp is None else crisp)
        moments.append(Moment(rgb, number / shot.playback, take_s[number], float(clearance_mm)))
    figures = f"1:{lit.scene.scale:g}, {shot.move_called}, clip {shot.clip:g} s at {shot.playback:g} frames a second, take {shot.take_s:g} s at {shot.fps:g}"
    return contact_sheet(moments, f"{lit.scene.title}: {shot.name}", figures)


def outlines_at(lit: LitSet, move: Move, take_s: float) -> list[np.ndarray] | None:
    """Return the patches' outlines where the lift has them at a moment, list of (k, 3) [mm]; None where no lift has moved the light. [s]"""
    there = lit_at_moment(lit, move, take_s)
    return None if there is lit else [patch.outline_mm for patch in patches(there.built, there.emitters, there)]


def find_encoder() -> str:
    """Return the path of the video encoder; OutsideFault where there is none."""
    try:
        return imageio_ffmpeg.get_ffmpeg_exe()
    except RuntimeError as error:
        raise OutsideFault("there is no video encoder: ffmpeg was not found", "Run pip install imageio-ffmpeg, which brings one, or install ffmpeg.") from error


def write_video(path: Path, frames: Iterable[np.ndarray], fps: float, size: tuple[int, int]) -> None:
    """
    Write frames as H.264 in an MP4 file, whole or not at all.

    Parameters
    ----------
    path : Path
        Ends in .mp4.
    frames : iterable of (rows, columns, 3) uint8 arrays
        sRGB; one is held at a time.
    fps : float
        Frames a second on screen. [1/s]
    size : (columns, rows)
        Of the frames, both even. [pixel]

    Raises
    ------
    OutsideFault
        If there is no encoder, or it or the disk fails.
    """
    find_encoder()
    with replacing(path) as temporary:
        count = 0
        try:
            writer = imageio.get_writer(
                temporary, format="FFMPEG", mode="I", fps=fps, codec="libx264", quality=None, pixelformat="yuv420p", macro_block_size=2,
                ffmpeg_log_level="error", output_params=_ENCODING,
            )  # fmt: skip
            # Its own `with` leaves the encoder running where the block fails.
            with contextlib.closing(writer):
                for count, frame in enumerate(frames, start=1):
                    writer.append_data(frame)
        except (OSError, RuntimeError) as error:
            raise _encoder_failed(path, error) from error
        # The encoder can fail at its very end, when nobody asks it how it went.
        if written_frames(temporary) != count:
            raise _encoder_failed(path, None)


def written_frames(path: Path) -> int:
    """Return how many frames a video holds; 0 where it cannot be read."""
    try:
        return imageio_ffmpeg.count_frames_and_secs(path)[0]
    except (OSError, RuntimeError):
        return 0


def _encoder_failed(path, error):
    if shutil.disk_usage(Path(path).parent).free < _FULL_DISK:
        return OutsideFault(f"could not write {path}: the disk is full", "Free some space, or write elsewhere with -o, and run the command again: the frames are kept.")
    last = (str(error).strip().splitlines() or [""])[-1][:200] if error else "the video that it wrote is not whole"
    return OutsideFault(f"could not write {path}: the video encoder failed: {last}", "Run the command again: the frames are kept. If it fails again, reinstall imageio-ffmpeg.")
