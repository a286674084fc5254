"""
A reel against as many single frames: the light is baked once, and nothing is lost from frame to frame.

Of a reel of 5 s, 120 frames at 480 x 270, every fifth frame stands for five: the same take and the same exposure time at a
fifth of the frame rate, written by the reel's own code, contact sheet included; a video of 120 frames is written besides. Single
frames from the middle of the take are drawn in between, so that both meet the same load.
"""

import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from previz.build.assemble import build_set
from previz.frames.picture import read_picture, write_picture
from previz.frames.reel import REEL_QUALITY, frame_moments, write_reel, write_video
from previz.frames.still import lit_at_roll, still
from previz.rays.lit import light_set
from previz.rig.moves import plan_move
from previz.scene.read import read_scene

ATTIC = Path(__file__).parents[2] / "scenes" / "clockmakers-attic.toml"
SIZE = (480, 270)
FRAMES, EVERY = 120, 5
SINGLE_AFTER = 3
GOAL = 1.0


def test_bake_paid_once(figures, tmp_path):
    """A reel costs at most its bake and, for each frame, what a single frame costs beyond its own bake."""
    scene = read_scene(ATTIC).scene
    shot, thinned = _five_seconds(scene.shot[0])
    built = build_set(scene, ATTIC.parent)
    start = time.perf_counter()
    lit = light_set(scene, built)
    bake_s = time.perf_counter() - start
    move, thin_move = (plan_move(scene, s, built) for s in (shot, thinned))
    assert np.allclose(frame_moments(shot, move)[1][::EVERY], frame_moments(thinned, thin_move)[1])
    assert thinned.exposure_s == shot.exposure_s
    _single(lit, shot, move, tmp_path)

    singles, spent = [], []
    start = time.perf_counter()

    def between(share):
        nonlocal start
        spent.append(time.perf_counter() - start)
        if len(spent) % SINGLE_AFTER == 0:
            singles.append(_single(lit, shot, move, tmp_path))
        start = time.perf_counter()

    write_reel(replace(lit), thinned, thin_move, tmp_path / "reel.mp4", size=SIZE, progress=between)
    assert len(spent) == FRAMES // EVERY
    sheet_s = time.perf_counter() - start
    film_s = _film(tmp_path, shot)
    # The first frame comes with the light as it is at the roll.
    frame_s = np.mean(spent[1:])
    reel_s = bake_s + spent[0] + (FRAMES - 1) * frame_s + sheet_s + film_s
    (relight_s, bare_s), single_s = np.mean(singles, axis=0), np.mean(singles, axis=0).sum()
    figures.keep(
        "reel",
        counted=f"every {EVERY}th of {FRAMES} frames, {SIZE[0]} x {SIZE[1]}, quality {REEL_QUALITY}; video and contact sheet included",
        bake_seconds=bake_s,
        reel_frame_seconds=float(frame_s),
        video_and_sheet_seconds=sheet_s + film_s,
        single_frame_seconds=float(bare_s),
        light_at_roll_seconds=float(relight_s),
        ratio=float(reel_s / (bake_s + FRAMES * single_s)),
        ratio_with_light_at_roll_paid_once=float(reel_s / (bake_s + relight_s + FRAMES * bare_s)),
    )
    assert reel_s <= GOAL * (bake_s + FRAMES * single_s)


def _film(folder, shot) -> float:
    """Return the seconds of writing a video as long as the reel, of pictures of the set that differ."""
    picture = read_picture(folder / "single.png")
    start = time.perf_counter()
    write_video(folder / "film.mp4", (np.roll(picture, k, axis=1) for k in range(FRAMES)), shot.playback, SIZE)
    return time.perf_counter() - start


def _five_seconds(shot):
    """Return the shot cut to 120 frames, and the same take and exposure time with every fifth frame alone."""
    whole = shot.model_copy(update={"clip": FRAMES / shot.playback})
    thin = {"clip": FRAMES / EVERY / shot.playback, "fps": shot.fps / EVERY, "shutter": shot.shutter / EVERY}
    return whole, shot.model_copy(update=thin)


def _single(lit, shot, move, folder) -> tuple[float, float]:
    """Return the seconds of one frame from the middle of the take beyond the bake: the light as it is at the roll, then drawing and writing."""
    start = time.perf_counter()
    rolled = lit_at_roll(replace(lit), shot)
    lit_s = time.perf_counter() - start
    write_picture(folder / "single.png", still(rolled, shot, move, move.take_s / 2, SIZE, quality=REEL_QUALITY).rgb)
    return lit_s, time.perf_counter() - start - lit_s
