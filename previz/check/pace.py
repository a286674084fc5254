"""
Pace: frame rate and scale. How fast things seem in the clip, what the lens does in the scale's own world, and how far the
picture moves from frame to frame.

Takes a scene, a shot and its move; gives figures, and rules that judge them. Hands are taken as steady: their shake is looked
at elsewhere. Knows nothing of light.

    take s = clip s x playback / fps              slow-down = fps / playback
    speed at full size = speed of the take x scale / slow-down
    believable frame rate = playback x sqrt(scale): what falls or drifts in a model takes sqrt(scale) less time (The VES
        Handbook of Visual Effects, 2010, appendix A, Miniatures, excerpt seen)
    picture width in seven seconds on the screen: no faster, or it judders (common practice)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from previz.camera.lens import half_tangent, inverse_p
from previz.camera.view import axes
from previz.check.finding import Finding, rule
from previz.check.text import number, span
from previz.haze.medium import extinction_at
from previz.light.units import MM_PER_M
from previz.rig.moves import Move, plan_move
from previz.scene.model import Scene, Shot
from previz.scene.shots import scene_of

WIDTH_S = 7.0
"""Screen seconds that something takes across the picture, at least, for a pan that does not judder (common practice)."""

NEAR_ENOUGH = 0.8
"""A frame rate of this share of the believable one is let pass (own choice: a third of a stop)."""

LONGEST_CLIP_S = 3600
_MOMENTS = 121
_STILL_PX = 1e-3
_MM_S_TO_KM_H = 3600 / MM_PER_M**2


@dataclass(frozen=True)
class Pace:
    """
    The pace of a shot.

    believable_fps     at which haze seems as large as the scale says [1/s]
    too_fast           how many times faster than that it drifts; under 1 is slower [1]
    lens_mm_s          peak speed of the entrance pupil during the take [mm/s]
    clip_mm_s          the same as the clip shows it [mm/s]
    full_size_km_h     the same at full size [km/h]
    eye_m              (lowest, highest) of the entrance pupil above z = 0 at full size [m]
    pan_screen_deg_s   fastest pan as the clip shows it [degree/s]
    crosses_in_s       screen seconds in which what is in focus would cross the picture, at its fastest; None where it stands still [s]
    step_px, smear_px  from frame to frame, and while the shutter is open, at its fastest [pixel]
    """

    believable_fps: float
    too_fast: float
    lens_mm_s: float
    clip_mm_s: float
    full_size_km_h: float
    eye_m: tuple[float, float]
    pan_screen_deg_s: float
    crosses_in_s: float | None
    step_px: float
    smear_px: float


def believable_fps(scale: float, base_fps: float) -> float:
    """Return ``base sqrt(scale)``, the frame rate at which what falls or drifts in a model of 1:scale looks full size. [1/s]"""
    return base_fps * math.sqrt(scale)


def full_size_mm_s(speed_mm_s: float, scale: float, slowdown: float) -> float:
    """Return a speed of the take as the clip shows it, at full size. [mm/s]"""
    return speed_mm_s * scale / slowdown


def pace(scene: Scene, shot: Shot, move: Move) -> Pace:
    """Return the pace of one shot."""
    move = move.steady
    slowdown, believable = shot.fps / shot.playback, believable_fps(scene.scale, shot.playback)
    moments = np.linspace(0, move.take_s, _MOMENTS)
    poses = move.poses(moments)
    speed = float(np.linalg.norm(np.diff(poses.position, axis=0), axis=1).max() / (move.take_s / (_MOMENTS - 1)))
    step = picture_step(scene, shot, move)
    columns = scene.body.resolution[0]
    heights = poses.position[:, 2] * scene.scale / MM_PER_M
    return Pace(
        believable_fps=believable,
        too_fast=believable / shot.fps,
        lens_mm_s=speed,
        clip_mm_s=speed / slowdown,
        full_size_km_h=full_size_mm_s(speed, scene.scale, slowdown) * _MM_S_TO_KM_H,
        eye_m=(float(heights.min()), float(heights.max())),
        pan_screen_deg_s=move.speeds().peak_pan_deg_s / slowdown,
        crosses_in_s=columns / (step * shot.playback) if step else None,
        step_px=step,
        smear_px=step * min(shot.exposure_s * shot.fps, 1.0),
    )


def picture_step(scene: Scene, shot: Shot, move: Move) -> float:
    """
    Return how far the point in focus in the middle of the frame moves on the picture from one frame to the next, at its fastest. [pixel]

    Notes
    -----
    Pinhole geometry: the point is put ahead of one pose at the focused distance and seen from the next one.
    """
    if move.take_s <= 1 / shot.fps:
        return 0.0
    before = np.linspace(0, move.take_s - 1 / shot.fps, _MOMENTS)
    now, then = move.poses(before), move.poses(before + 1 / shot.fps)
    focus = move.focus_mm(before)
    point = now.position + focus[:, None] * axes(now.pan, now.tilt)[:, 0]
    forward, left, up = np.moveaxis(axes(then.pan, then.tilt), 1, 0)
    offset = point - then.position
    ahead = np.einsum("ij,ij->i", offset, forward)
    sideways = np.hypot(np.einsum("ij,ij->i", offset, left), np.einsum("ij,ij->i", offset, up))
    half = half_tangent(scene.body.sensor[0] / scene.body.crop, scene.lens.focal, focus, inverse_p(scene.lens))
    step = float((sideways / np.maximum(ahead, 1e-6) / half).max() * scene.body.resolution[0] / 2)
    return step if step > _STILL_PX else 0.0


@rule("frame rate")
def frame_rate(study):
    """Haze drifts as slowly as its size in the scale's world asks."""
    for taken in study.shots:
        yield from frame_rate_findings(scene_of(study.scene, taken.shot), taken.shot)


def frame_rate_findings(scene: Scene, shot: Shot):
    """Yield what is to be said of one shot's frame rate. Slower than shown is said elsewhere; clear air may run at any rate."""
    if extinction_at(scene.haze) <= 0 or shot.fps < shot.playback:
        return
    wanted = believable_fps(scene.scale, shot.playback)
    about, model = f"shot {shot.name}", f"1:{number(scene.scale)}"
    if shot.fps >= NEAR_ENOUGH * wanted:
        yield Finding("ok", about, f"At {model} haze looks its size from about {number(wanted)} frames a second up; this is {number(shot.fps)}.")
        return
    fps = math.ceil(wanted)
    yield Finding(
        "care", about,
        f"At {model} and {number(shot.fps)} frames a second haze drifts {number(wanted / shot.fps, 2)} times too fast for its size.",
        f"Set fps = {fps}, or as near as the camera goes (playback x the root of the scale); the same clip is then a take of {number(shot.clip * shot.playback / fps)} s.",
    )  # fmt: skip


@rule("picture motion")
def picture_motion(study):
    """The picture moves slowly enough from frame to frame that it does not judder."""
    for taken in study.shots:
        yield from motion_findings(study.scene, study.built, taken.shot, taken.move)


def motion_findings(scene: Scene, built, shot: Shot, move: Move):
    """Yield what is to be said of how one shot's picture moves, and of the lens in the scale's own world."""
    found, about = pace(scene, shot, move), f"shot {shot.name}"
    if found.crosses_in_s is not None and found.crosses_in_s < WIDTH_S * (1 - 1e-6):
        clip = clip_without_judder(scene, built, shot, found)
        longer = f"Make the clip {number(clip, 4)} s" if clip else "Make the move shorter"
        yield Finding(
            "care", about,
            f"At its fastest what is in focus would cross the picture in {number(found.crosses_in_s, 2)} s of the clip, {number(found.step_px, 2)} pixels a frame, and may judder.",
            f"{longer}: {number(WIDTH_S)} s across the picture is the slowest that is called smooth (common practice).",
        )  # fmt: skip
    if found.lens_mm_s > 0:
        smear = f"what is in focus smears {number(found.smear_px, 2)} pixels a frame" if found.smear_px >= 0.1 else "what is in focus holds its place in the frame"
        yield Finding("ok", about, f"At full size the lens moves at {number(found.full_size_km_h, 2)} km/h, {span(found.eye_m)} m up; {smear}.")


def clip_without_judder(scene: Scene, built, shot: Shot, found: Pace) -> float | None:
    """Return the shortest clip, in tenths of a second, in which the picture moves slowly enough; planned anew and looked at. None up to an hour. [s]"""
    clip = math.ceil(10 * shot.clip * WIDTH_S / found.crosses_in_s - 1e-6) / 10
    while clip <= LONGEST_CLIP_S:
        tried = shot.model_copy(update={"clip": clip})
        crosses = pace(scene, tried, plan_move(scene, tried, built)).crosses_in_s
        if crosses is None or crosses >= WIDTH_S * (1 - 1e-6):
            return clip
        clip = round(clip + max(0.1, math.ceil(clip) / 100), 1)
    return None
