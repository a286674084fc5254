"""
What a solid of the rig sweeps between two places of its move, enclosed.

Takes a move, a solid and a piece of the travel; gives a convex hull and how far the true sweep can reach outside it.
Knows nothing of the set. Exact for a straight track with a fixed heading: the hull of the two ends is then the sweep.

Each point q of the rig is  q(s) = axis(s) + Rz(pan(s)) (reach x + Ry(tilt(s)) q),  s the travel in mm. Between two
places it stays within  max|q''| (s1 - s0)^2 / 8  of the chord between its ends (the error bound of linear interpolation,
e.g. C. de Boor, A Practical Guide to Splines, 1978, ch. 3; from memory), and the hull holds every chord.
"""

from __future__ import annotations

import math

import numpy as np

from previz.camera.view import axes
from previz.rig.moves import Move
from previz.rig.solids import RigPart


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


def stray_mm(move: Move, part: RigPart, first: float, last: float) -> float:
    """
    Return how far the solid can reach outside the hull of its places at `first` and `last`.

    Parameters
    ----------
    move : Move
    part : RigPart
    first, last : float
        Travel. [mm]

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
    """
    slope, second = move.track.bounds(first, last)
    span = last - first
    if move.target is None:
        return second * span**2 / 8
    plan, sight = _least_distances(move, first, last, slope * span)
    if plan <= 0 or sight <= 0:
        return math.inf
    pan1, pan2 = slope / plan, slope**2 / plan**2 + second / plan
    tilt1, tilt2 = slope / sight, (slope**2 / plan + second) / sight + slope**2 / sight**2
    lever = np.linalg.norm(part.corners, axis=1).max()
    from_axis = placed(move, part, [first, last]) - move.track.points(np.array([first, last]))[:, None]
    arm = np.linalg.norm(from_axis[..., :2], axis=-1).max() + lever * tilt1 * span
    bend = second + arm * math.hypot(pan1**2, pan2) + lever * math.hypot(tilt1**2, tilt2) + 2 * lever * pan1 * tilt1
    return bend * span**2 / 8


def _least_distances(move: Move, first: float, last: float, moved: float) -> tuple[float, float]:
    """Return a lower bound of plan distance, axis to target, and distance, pupil to target: neither changes faster than the axis moves."""
    away = move.target - move.track.points(np.array([first, last]))
    plan = np.hypot(away[:, 0], away[:, 1])
    sight = np.hypot(plan - move.reach, away[:, 2])
    return (plan.sum() - moved) / 2, (sight.sum() - moved) / 2
