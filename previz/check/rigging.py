"""
Rules about the rig: can slider, pan, tilt and lift do the move, and how steady are the hands?

Takes a study; gives findings. A remedy that names a number has been tried: the move was planned again with it, so what is
named is the nearest move that the rig can do.
"""

from __future__ import annotations

import math

import numpy as np

from previz.camera.view import Poses
from previz.check.finding import Finding, rule
from previz.check.fit import CLEAR_MM, about
from previz.check.text import millimetres, number
from previz.rig.demand import demand
from previz.rig.kinematics import rig_of
from previz.rig.moves import Move, on_rail, plan_move
from previz.scene.model import Shot

LONGEST_CLIP_S = 3600
"""As the scene file allows."""

ON_RAIL_MM = 0.5
"""A carriage this near its rail is on it: the width of a tape mark's edge (common practice)."""

TURNED_RAD = 1e-6
"""A heading this near the end of its range is in it: rounding."""

MOMENTS = 201
"""Moments of a take that pan and tilt are looked at."""

SIGMAS = 3.0
"""A shake stays within three standard deviations for all but a blink (common practice)."""

SHAKY_PX = 8.0
"""Wandering more than this from one frame to the next, a picture of 1,920 looks handed from frame to frame, not held (own choice)."""


@rule("rig")
def rig(study):
    """The slider keeps up with the move."""
    for taken in study.shots:
        if taken.shot.move not in ("slide", "arc") or study.scene.slider is None:
            continue
        over = slider_over(study.scene, taken.shot, taken.move)
        if over:
            yield Finding("stop", about(taken), f"The slider cannot keep up: {', '.join(over)}.", _remedy_for_speed(study, taken, slider_over))
        else:
            yield Finding("ok", about(taken), f"The slider peaks at {number(taken.speeds.peak_speed_mm_s)} mm/s and {number(taken.speeds.peak_pan_deg_s)} degrees/s of pan.")


@rule("lift")
def lift(study):
    """The lift keeps up, and how far it carries the light."""
    for taken in study.shots:
        low, high = taken.move.lift
        if study.scene.lift is None or low == high:
            continue
        over = lift_over(study.scene, taken.shot, taken.move)
        if over:
            yield Finding("stop", about(taken), f"The lift cannot keep up: {', '.join(over)}.", _remedy_for_speed(study, taken, lift_over))
        else:
            yield Finding("ok", about(taken), f"The lift peaks at {number(taken.demand.peak_lift_mm_s)} mm/s on its way from {millimetres(low)} to {millimetres(high)} mm.")
        shift = shift_of_the_brightest(taken.light)
        if shift is not None and all(found.off_from_take_s is None for found in taken.wanders):
            mm, patch = shift
            yield Finding("ok", about(taken), f"The light moves as the lift does: what {patch.lamp} throws through {patch.opening} on {patch.on} wanders {millimetres(mm)} mm.")


def shift_of_the_brightest(light):
    """Return how far the patch with the most light wanders from the first to the last moment [mm], and that patch; None where none is in both."""
    if len(light) < 2:
        return None
    key = lambda patch: (patch.lamp, patch.opening, tuple(patch.pane), patch.on)  # noqa: E731
    first, last = ({key(patch): patch for patch in reversed(then.patches)} for then in (light[0], light[-1]))
    brightest = max((one for one in first if one in last), key=lambda one: first[one].lux * first[one].area_mm2, default=None)
    return brightest and (float(np.linalg.norm(np.subtract(last[brightest].centre_mm, first[brightest].centre_mm))), first[brightest])


def _phrases(asked) -> list[str]:
    """Return a phrase for each (unit, found, limit) that is exceeded."""
    # A hair over is rounding: the remedy's own number must pass.
    return [f"{number(found) if math.isfinite(found) else 'endless'} {unit} where it does {number(limit)}" for unit, found, limit in asked if found > limit * (1 + 1e-6)]


def _slider_asked(scene, shot, move: Move):
    """Return (unit, found, limit, power) of each limit of the slider; a take k times longer asks for k^power times less."""
    slider, speeds = scene.slider, move.speeds()
    return (
        ("mm/s", speeds.peak_speed_mm_s, slider.max_speed, 1),
        ("mm/s2", speeds.peak_accel_mm_s2, slider.max_accel, 2),
        ("degrees/s of pan", speeds.peak_pan_deg_s, slider.pan_speed, 1),
        ("degrees/s2 of pan", demand(scene, shot, move).peak_pan_accel_deg_s2, slider.pan_accel, 2),
    )


def _lift_asked(scene, shot, move: Move):
    found = demand(scene, shot, move)
    return (("mm/s", found.peak_lift_mm_s, scene.lift.speed, 1), ("mm/s2", found.peak_lift_mm_s2, scene.lift.accel, 2))


def slider_over(scene, shot: Shot, move: Move) -> list[str]:
    """Return a phrase for each limit of the slider that a move exceeds."""
    return _phrases(asked[:3] for asked in _slider_asked(scene, shot, move))


def lift_over(scene, shot: Shot, move: Move) -> list[str]:
    """Return a phrase for each limit of the lift that a move exceeds."""
    return _phrases(asked[:3] for asked in _lift_asked(scene, shot, move))


def _remedy_for_speed(study, taken, over) -> str:
    if not math.isfinite(taken.speeds.peak_accel_mm_s2) or not math.isfinite(taken.demand.peak_lift_mm_s2):
        return "Set ease to 0.2 or so, so that it can speed up and slow down."
    clip, start = clip_that_fits(study, taken), start_that_fits(study, taken, over)
    shorter = "shorten the travel" if start is None else start
    if clip is None:
        return f"{shorter[0].upper()}{shorter[1:]}: no clip up to an hour is slow enough."
    return f"Make the clip {number(clip, 4)} s, which is a take of {number(clip * taken.shot.playback / taken.shot.fps)} s, or {shorter}."


def clip_that_fits(study, taken) -> float | None:
    """
    Return the shortest clip, in tenths of a second, that slider and lift can do; None if there is none up to an hour. [s]

    Speed and pan fall with the length of the take, acceleration with its square. The answer is tried before it is given.
    """
    scene, shot = study.scene, taken.shot
    asked = [*(_slider_asked(scene, shot, taken.move) if on_rail(study.scene, taken.shot) else ()), *(_lift_asked(scene, shot, taken.move) if scene.lift else ())]
    longer = max((found / limit) ** (1 / power) for _, found, limit, power in asked)
    clip = math.ceil(10 * shot.clip * longer - 1e-6) / 10
    if clip > LONGEST_CLIP_S:
        return None
    tried = shot.model_copy(update={"clip": clip})
    move = plan_move(scene, tried, study.built)
    fits = not (on_rail(study.scene, taken.shot) and slider_over(scene, tried, move)) and not (scene.lift and lift_over(scene, tried, move))
    return clip if fits else None


def start_that_fits(study, taken, over) -> str | None:
    """
    Return in words where the move must start to be short enough for the same clip, in whole millimetres; None if nowhere.

    The end stays. The start is brought nearer to it by halving, and the answer is tried before it is given.
    """
    found = _shortened(study, taken, over)
    if found is None:
        return None
    shot, start = taken.shot, found
    if over is lift_over:
        return f"let the lift start at {number(start.lift_ends[0], 6)} mm"
    if isinstance(start.from_, float):
        return f"start at {number(start.from_, 6)} mm along the rail"
    return f"start {millimetres(math.dist(start.from_, shot.from_))} mm farther along"


def _shortened(study, taken, over) -> Shot | None:
    """Return the shot with the longest travel, of whole millimetres less at its start, that `over` has nothing against."""
    shot = taken.shot
    travel = abs(shot.lift_ends[1] - shot.lift_ends[0]) if over is lift_over else taken.move.rail.length
    least, most = 0, math.floor(travel)
    while least < most:
        cut = (least + most) // 2
        tried = _started_later(shot, over, cut, travel)
        least, most = (least, cut) if not over(study.scene, tried, plan_move(study.scene, tried, study.built)) else (cut + 1, most)
    tried = _started_later(shot, over, least, travel)
    return tried if least < travel and not over(study.scene, tried, plan_move(study.scene, tried, study.built)) else None


def _started_later(shot: Shot, over, cut_mm: float, travel: float) -> Shot:
    """Return the shot, its start brought `cut_mm` towards its end."""
    toward = lambda first, last: first + (last - first) * cut_mm / travel  # noqa: E731
    if over is lift_over:
        return shot.model_copy(update={"lift": (toward(*shot.lift_ends), shot.lift_ends[1])})
    if isinstance(shot.from_, tuple):
        return shot.model_copy(update={"from_": tuple(toward(a, b) for a, b in zip(shot.from_, shot.to))})
    return shot.model_copy(update={"from_": toward(shot.from_, shot.to)})


@rule("rail")
def rail(study):
    """The move stays on the rail."""
    slider = study.scene.slider
    for taken in study.shots:
        if slider is None or taken.off_rail_mm <= ON_RAIL_MM:
            continue
        carriage = taken.move.carriage(np.linspace(0, taken.move.take_s, 33))
        start, end = np.array(slider.from_), np.array(slider.to)
        along = (carriage - start) @ (end - start) / max(np.linalg.norm(end - start), 1e-9)
        past = max(-along.min(), along.max() - np.linalg.norm(end - start), 0.0)
        if past > ON_RAIL_MM:
            remedy = f"The move runs {millimetres(past)} mm past an end: lengthen the rail or shorten the move."
        else:
            remedy = "Lay the rail along the move, or give from and to as millimetres along the rail."
        nearest = nearest_on_rail(study, taken)
        if nearest is not None:
            first, last, off = nearest
            remedy += f" The nearest that the rig can do is from = {number(first, 6)}, to = {number(last, 6)}, which is {millimetres(off)} mm off at worst."
        yield Finding("stop", about(taken), f"The carriage would leave the rail by {millimetres(taken.off_rail_mm)} mm.", remedy)


def nearest_on_rail(study, taken) -> tuple[float, float, float] | None:
    """Return the move of the rail that comes nearest: from and to in whole mm along it, and how far the pupil is off at worst; None where it is no move. [mm]"""
    scene, move = study.scene, taken.move
    rises = rig_of(scene.slider, scene.lift).lifts
    poses = move.poses(np.linspace(0, move.take_s, 33))
    wanted = Poses(poses.position - rises * np.multiply.outer(move.lift_mm(np.linspace(0, move.take_s, 33)), [0.0, 0.0, 1.0]), poses.pan, poses.tilt)
    bare = rig_of(scene.slider)
    carriage = np.clip(np.round(bare.inverse(wanted).axes.carriage), 0, math.floor(bare.length))
    first, last = float(carriage[0]), float(carriage[-1])
    if first == last:
        return None
    tried = plan_move(scene, taken.shot.model_copy(update={"from_": first, "to": last}), study.built)
    off = np.linalg.norm(tried.poses(np.linspace(0, move.take_s, 33)).position - poses.position, axis=1).max()
    return (first, last, float(off)) if tried.off_rail_mm(scene.slider) <= ON_RAIL_MM else None


@rule("pan and tilt")
def pan_and_tilt(study):
    """Pan and tilt stay between their ends."""
    for taken in study.shots:
        if not on_rail(study.scene, taken.shot):
            continue
        off = turned_too_far(study, taken.move)
        if off.max() <= TURNED_RAD:
            continue
        inside = _part_inside(study, taken, off)
        degrees = math.ceil(np.degrees(off.max()))
        if inside is not None:
            remedy = f"The nearest that the rig can do is from = {number(inside[0], 6)}, to = {number(inside[1], 6)}; or turn the head on its mount by {degrees} degrees."
        else:
            remedy = f"Turn the head on its mount by {degrees} degrees, or look that much farther back."
        yield Finding("stop", about(taken), f"Pan or tilt would have to turn {number(float(np.degrees(off.max())), 2)} degrees past its end.", remedy)


def turned_too_far(study, move: Move) -> np.ndarray:
    """Return (MOMENTS,) how far past the ends of pan and tilt the heading lies. [rad]"""
    return rig_of(study.scene.slider, study.scene.lift).inverse(move.poses(np.linspace(0, move.take_s, MOMENTS))).off_rad


def _part_inside(study, taken, off) -> tuple[float, float] | None:
    """Return the longest part of the move that pan and tilt can do, as whole mm along the rail, tried; None where there is none. [mm]"""
    inside = np.concatenate([[False], off <= TURNED_RAD, [False]])
    edges = np.flatnonzero(np.diff(inside.astype(int))).reshape(-1, 2)
    if taken.shot.move != "arc" or not len(edges):
        return None
    first, last = max(edges, key=lambda edge: edge[1] - edge[0])
    moments = np.linspace(0, taken.move.take_s, MOMENTS)[[first, last - 1]]
    rail = rig_of(study.scene.slider)
    ends = (taken.move.carriage(moments) - rail.start) @ rail.along
    inward = np.ceil if ends[1] >= ends[0] else np.floor
    first, last = float(inward(ends[0])), float(-inward(-ends[1]))
    if (last - first) * (ends[1] - ends[0]) <= 0:
        return None
    tried = plan_move(study.scene, taken.shot.model_copy(update={"from_": first, "to": last}), study.built)
    return (first, last) if turned_too_far(study, tried).max() <= TURNED_RAD else None


@rule("hand")
def hand(study):
    """How much the picture wanders, what slowing it down does for it, and how near another take may come."""
    for taken in study.shots:
        held = taken.held
        if held is None:
            continue
        pace, share = taken.shot.fps / taken.shot.playback, study.scene.body.resolution[0] / 1920
        says = f"Held by hand the picture wanders {number(held.px_frame, 2)} pixels from frame to frame"
        if pace > 1:
            says += f"; shot at {number(taken.shot.playback)} it would be {number(held.px_frame_unslowed, 2)}, so slowing it {number(pace)} times calms it {number(held.px_frame_unslowed / max(held.px_frame, 1e-9), 2)} times"
        if held.px_frame > SHAKY_PX * share:
            yield Finding("care", about(taken), f"{says}.", "Brace the elbows on the table, rest the camera on a beanbag, or raise fps.")
        else:
            yield Finding("ok", about(taken), f"{says}.")
        room, sway = held.steady.min_mm, SIGMAS * held.sway_mm
        if room < sway + CLEAR_MM:
            yield Finding(
                "care",
                about(taken),
                f"Another take may come {millimetres(sway)} mm nearer than its path (three standard deviations of the shake at the far end), and the path is {number(room, 2)} mm from {held.steady.between[1]}.",
                f"Keep the path {millimetres(math.ceil(sway + CLEAR_MM - room))} mm farther off, or rest the camera on something.",
            )
