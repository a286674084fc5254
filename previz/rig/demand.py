"""
What a move asks of each axis of the rig, and where it takes the tip of the lens.

Takes a scene and a move; gives figures. Knows nothing of whether the rig can do it: rules judge that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from previz.camera.view import axes
from previz.rig.moves import Move, on_rail
from previz.scene.model import Scene, Shot

FINE = 2001
"""Moments that pan and tilt are differenced over."""

PATH_POINTS = 33
"""Points of the tip's path."""


@dataclass(frozen=True)
class Demand:
    """
    What a move asks of the axes; hands shake on top of it.

    carriage_mm            (from, to) along the rail; None off the rail [mm]
    pan_deg, tilt_deg      (from, to) [degree]
    pan_range_deg          (lowest, highest) on the way [degree]
    tilt_range_deg         the same of the tilt [degree]
    peak_pan_accel_deg_s2  infinite for a pan without ease [degree/s2]
    axis_mm, tip_mm        (PATH_POINTS, 3) where the pan axis, level with the pupil, and the front of the barrel are, evenly
                           through the take, in set coordinates [mm]
    tip_swing_mm           how far the tip goes sideways, square to the rail seen from above; None off the rail [mm]
    lift_mm                (from, to) of the lift [mm]
    peak_lift_mm_s         [mm/s]
    peak_lift_mm_s2        infinite without ease [mm/s2]
    """

    carriage_mm: tuple[float, float] | None
    pan_deg: tuple[float, float]
    tilt_deg: tuple[float, float]
    pan_range_deg: tuple[float, float]
    tilt_range_deg: tuple[float, float]
    peak_pan_accel_deg_s2: float
    axis_mm: np.ndarray
    tip_mm: np.ndarray
    tip_swing_mm: float | None
    lift_mm: tuple[float, float]
    peak_lift_mm_s: float
    peak_lift_mm_s2: float


def demand(scene: Scene, shot: Shot, move: Move) -> Demand:
    """
    Return what a move asks of the rig.

    Parameters
    ----------
    scene : Scene
        Its slider and lens.
    shot : Shot
    move : Move
        Of that shot.

    Returns
    -------
    Demand
    """
    steady, take_s = move.steady, np.linspace(0, move.take_s, FINE)
    poses = steady.poses(take_s)
    pan, tilt = np.degrees(poses.pan), np.degrees(poses.tilt)
    path_s = np.linspace(0, move.take_s, PATH_POINTS)
    tip = _tip(scene, steady, path_s)
    along = _along(scene.slider) if on_rail(scene, shot) else None
    rise = abs(move.lift[1] - move.lift[0])
    return Demand(
        carriage_mm=None if along is None else tuple((steady.carriage([0.0, move.take_s]) - scene.slider.from_) @ along),
        pan_deg=(pan[0], pan[-1]),
        tilt_deg=(tilt[0], tilt[-1]),
        pan_range_deg=(pan.min(), pan.max()),
        tilt_range_deg=(tilt.min(), tilt.max()),
        peak_pan_accel_deg_s2=_peak_bend(pan, take_s, steady),
        axis_mm=steady.axis(steady.travel(path_s)),
        tip_mm=tip,
        tip_swing_mm=None if along is None else float(np.ptp(tip[:, :2] @ _aside(along))),
        lift_mm=move.lift,
        peak_lift_mm_s=rise * move.curve.peak_rate,
        peak_lift_mm_s2=rise * move.curve.peak_change if rise else 0.0,
    )


def _tip(scene: Scene, move: Move, take_s) -> np.ndarray:
    """Return (n, 3) where the front of the barrel is. [mm]"""
    poses = move.poses(take_s)
    return poses.position + scene.lens.pupil * axes(poses.pan, poses.tilt)[:, 0]


def _along(slider) -> np.ndarray:
    away = np.subtract(slider.to, slider.from_)
    return away / max(np.linalg.norm(away), 1e-12)


def _aside(along) -> np.ndarray:
    """Return (2,) the direction square to the rail seen from above; any for a rail that stands upright."""
    plan = np.array([-along[1], along[0]])
    return plan / max(np.linalg.norm(plan), 1e-12)


def _peak_bend(pan, take_s, move: Move) -> float:
    """Return the greatest change of the pan's speed: second differences, endless where it starts at full speed. [degree/s2]"""
    step = take_s[1] - take_s[0]
    if not move.curve.ramp_s and np.ptp(pan) > 1e-9:
        return math.inf
    return float(np.abs(np.diff(pan, 2)).max() / step**2)
