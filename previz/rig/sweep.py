"""
What a solid of the rig sweeps between two places of its move, enclosed.

Takes a move, a solid and a piece of the travel; gives places whose convex hull holds the sweep, but for a known stray.
Knows nothing of the set. Exact for a straight track with a fixed heading: the hull of the two ends is then the sweep.

Each point q of the rig is  q(s) = axis(s) + Rz(pan(s)) (reach x + Ry(tilt(s)) q),  s the travel. Between two
places it stays within  max|q''| (s1 - s0)^2 / 8  of the chord between them (the error bound of linear interpolation,
e.g. C. de Boor, A Practical Guide to Splines, 1978, ch. 3; from memory), and the hull holds every chord.
"""

from __future__ import annotations

import math

import numpy as np

from previz.camera.view import axes
from previz.rig.moves import A_SECOND, Move
from previz.rig.solids import RigPart

STRAY_MM = 0.005
"""Enough places are taken for the sweep to stray no farther than this outside their hull: a quarter of what is certified."""


def placed(move: Move, part: RigPart, travel) -> np.ndarray:
    """
    Return a solid's corners where the move puts them.

    Parameters
    ----------
    move : Move
    part : RigPart
    travel : (n,) float array
        [mm]

    Returns
    -------
    (n, k, 3) float array
        In set coordinates. [mm]
    """
    poses = move.poses_along(np.asarray(travel, float))
    return part.corners @ axes(poses.pan, poses.tilt) + poses.position[:, None, :]


def enclosing(move: Move, part: RigPart, first: float, last: float, most: int) -> tuple[np.ndarray, float]:
    """
    Return places of a solid whose convex hull encloses all that it sweeps over a piece of the travel.

    Parameters
    ----------
    move : Move
    part : RigPart
    first, last : float
        Travel. [mm]
    most : int
        Places, at least 2.

    Returns
    -------
    corners : (n, k, 3) float array
        Of n places from first to last, more where the sweep bends more. [mm]
    stray : float
        How far the sweep may reach outside their hull: `STRAY_MM` or less where that many places allow. [mm]
    """
    gaps = 1
    stray = stray_mm(move, part, np.array([first, last]))
    while stray > STRAY_MM and 2 * gaps < most:
        gaps *= 2
        stray = stray_mm(move, part, np.linspace(first, last, gaps + 1))
    return placed(move, part, np.linspace(first, last, gaps + 1)), stray


def stray_mm(move: Move, part: RigPart, travel) -> float:
    """
    Return how far a solid can reach outside the hull of some of its places, between them.

    Parameters
    ----------
    move : Move
    part : RigPart
    travel : (n,) float array
        Two places or more, in order. [mm]

    Returns
    -------
    float
        Never less than the truth; infinite where the pan axis may pass over the target. [mm]

    Notes
    -----
    With v the track's slope, k its second derivative, p the least plan distance from pan axis to target and r the least
    distance from pupil to target: ``|pan'| <= v/p``, ``|pan''| <= v^2/p^2 + k/p``, ``|tilt'| <= v/r``,
    ``|tilt''| <= (v^2/p + k)/r + v^2/r^2``, from differentiating ``atan2`` of the line to the target. A point h from the
    pan axis and l from the pupil then has ``|q''| <= k + h hypot(pan'^2, pan'') + l hypot(tilt'^2, tilt'') + 2 l pan' tilt'``.
    The shake of hands adds its own bounds to each of them.
    """
    slope, second = move.bounds(travel[0], travel[-1])
    gap = np.diff(travel)
    if move.target is None and move.shake is None:
        return float(second * gap.max() ** 2 / 8)
    pan1 = pan2 = tilt1 = tilt2 = np.zeros(len(gap))
    if move.target is not None:
        plan, sight = _least_distances(move, travel, slope * gap)
        if plan.min() <= 0 or sight.min() <= 0:
            return math.inf
        pan1, pan2 = slope / plan, slope**2 / plan**2 + second / plan
        tilt1, tilt2 = slope / sight, (slope**2 / plan + second) / sight + slope**2 / sight**2
    if move.shake is not None:
        speed, bent = (bound / A_SECOND**order for order, bound in enumerate(move.shake.bounds(), start=1))
        second = second + np.linalg.norm(bent[:3])
        pan1, pan2, tilt1, tilt2 = pan1 + speed[3], pan2 + bent[3], tilt1 + speed[4], tilt2 + bent[4]
    lever = np.linalg.norm(part.corners, axis=1).max()
    arm = _arms(move, part, travel) + lever * tilt1 * gap
    bend = second + arm * np.hypot(pan1**2, pan2) + lever * np.hypot(tilt1**2, tilt2) + 2 * lever * pan1 * tilt1
    return float((bend * gap**2).max() / 8)


def _arms(move: Move, part: RigPart, travel: np.ndarray) -> np.ndarray:
    """Return (n - 1,) the greatest plan distance of any corner from the pan axis, at either end of each gap. [mm]"""
    tilt = move.poses_along(travel).tilt[:, None]
    ahead = move.reach + part.corners[:, 0] * np.cos(tilt) - part.corners[:, 2] * np.sin(tilt)
    arm = np.hypot(ahead, part.corners[:, 1]).max(axis=1)
    return np.maximum(arm[:-1], arm[1:])


def _least_distances(move: Move, travel: np.ndarray, moved: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (n - 1,) lower bounds of plan distance, axis to target, and of distance, pupil to target: neither changes faster than the axis moves."""
    away = move.target - move.axis(travel)
    plan = np.hypot(away[:, 0], away[:, 1])
    sight = np.hypot(plan - move.reach, away[:, 2])
    return (plan[:-1] + plan[1:] - moved) / 2, (sight[:-1] + sight[1:] - moved) / 2
