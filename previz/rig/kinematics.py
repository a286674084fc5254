"""
Rig kinematics: from where the axes of the rig stand to where the lens is, and back.

Takes a slider and a lift; gives the entrance pupil for axis positions (forward), and axis positions for a pupil wanted
(inverse), or the nearest that the rig can do and how far off that is. Knows nothing of time, set or light.

    rail ----o---- carriage, mm along the rail from its first end
             |  rise, upward
             *---------------> entrance pupil
             pan axis   reach, forward along the pan: a long barrel's tip swings sideways with the pan

The tilt turns about the entrance pupil: `rise` is measured to the pupil with the lens as it is tilted (own choice). The
lift moves all of it up or down, seen from the set: `lifts` is 1 where it carries the camera, -1 where it carries the set.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from previz.camera.view import Poses, axes
from previz.scene.model import Lift, Slider

NO_SLIDER = Slider(**{"from": (0.0, 0.0, 0.0), "to": (1.0, 0.0, 0.0)})
"""Stands in where the scene has none: its pan axis goes through the pupil."""

TURN = 2 * np.pi


@dataclass(frozen=True)
class Axes:
    """
    Where the axes of the rig stand, at n moments; all (n,).

    carriage   along the rail from its first end [mm]
    pan, tilt  [rad]
    lift       height of the lift above its zero [mm]
    """

    carriage: np.ndarray
    pan: np.ndarray
    tilt: np.ndarray
    lift: np.ndarray


@dataclass(frozen=True)
class Reached:
    """
    The nearest that the rig can do.

    axes     where its axes stand
    off_mm   (n,) from the pupil wanted to the one reached [mm]
    off_rad  (n,) between the optical axes, wanted and reached [rad]
    """

    axes: Axes
    off_mm: np.ndarray
    off_rad: np.ndarray


@dataclass(frozen=True)
class Rig:
    """
    The rig's geometry and the room of its axes.

    start, along  (3,) first end of the rail [mm], (3,) unit vector along it
    length        of the rail [mm]
    reach, rise   pan axis to entrance pupil, forward and upward [mm]
    lifts         how far the lens rises, seen from the set, for each mm of the lift: 1, -1 or 0
    lift_range    (low, high) of the lift [mm]
    pan_range     (low, high) [rad]; None is all round
    tilt_range    (low, high) [rad]
    """

    start: np.ndarray
    along: np.ndarray
    length: float
    reach: float
    rise: float
    lifts: float = 0.0
    lift_range: tuple[float, float] = (0.0, 0.0)
    pan_range: tuple[float, float] | None = None
    tilt_range: tuple[float, float] = (-np.pi / 2, np.pi / 2)

    def axis_of(self, carriage, lift=0.0) -> np.ndarray:
        """Return the (n, 3) point of the pan axis level with the pupil, carriage and lift (n,). [mm]"""
        carriage, lift = np.broadcast_arrays(np.asarray(carriage, float), np.asarray(lift, float))
        upward = self.rise + self.lifts * lift
        return self.start + carriage[..., None] * self.along + upward[..., None] * [0.0, 0.0, 1.0]

    def forward(self, at: Axes) -> Poses:
        """Return where the entrance pupil is, in set coordinates, and where the lens points, for axes anywhere."""
        return Poses(self.axis_of(at.carriage, at.lift) + self.reach * axes(at.pan, 0.0)[..., 0, :], np.asarray(at.pan, float), np.asarray(at.tilt, float))

    def inverse(self, wanted: Poses) -> Reached:
        """
        Return the axes that bring the lens where it is wanted, or as near as they can.

        Parameters
        ----------
        wanted : Poses
            n of them, in set coordinates.

        Returns
        -------
        Reached
            Pan and tilt first take the heading, as near as their ranges let them; carriage and lift then bring the pupil
            as near as rail and lift allow.

        Notes
        -----
        With the pan known, the pan axis lies `reach` behind the pupil, and what is left is linear: the point of the
        parallelogram rail x lift nearest to it. It lies inside, or on one of the four sides.
        """
        pan, tilt = _turned(wanted.pan, self.pan_range), np.clip(wanted.tilt, *self.tilt_range)
        offset = wanted.position - self.reach * axes(pan, 0.0)[:, 0] - self.axis_of(0.0)
        carriage, lift = self._nearest(offset)
        at = Axes(carriage, pan, tilt, lift)
        off_mm = np.linalg.norm(self.forward(at).position - wanted.position, axis=1)
        return Reached(at, off_mm, _angle_between(axes(pan, tilt)[:, 0], axes(wanted.pan, wanted.tilt)[:, 0]))

    def _nearest(self, offset) -> tuple[np.ndarray, np.ndarray]:
        """Return carriage and lift, (n,) each, within their ranges, whose sum comes nearest to `offset` (n, 3). [mm]"""
        up, (low, high) = self.lifts * np.array([0.0, 0.0, 1.0]), self.lift_range
        rail = lambda lift: (np.clip((offset - np.multiply.outer(lift, up)) @ self.along, 0, self.length), lift)  # noqa: E731
        still = np.zeros(len(offset))
        if not self.lifts or high <= low:
            return rail(np.full(len(offset), low))
        raised = lambda carriage: (carriage, np.clip((offset - np.multiply.outer(carriage, self.along)) @ up, low, high))  # noqa: E731
        choices = [rail(still + low), rail(still + high), raised(still), raised(still + self.length)]
        level = 1 - self.along[2] ** 2
        if level > 1e-12:
            carriage = np.clip((offset @ self.along - offset[:, 2] * self.along[2]) / level, 0, self.length)
            inside = raised(carriage)
            choices.append(inside)
        off = [np.linalg.norm(np.multiply.outer(s, self.along) + np.multiply.outer(h, up) - offset, axis=1) for s, h in choices]
        best = np.argmin(off, axis=0)
        return tuple(np.choose(best, [choice[part] for choice in choices]) for part in (0, 1))


def rig_of(slider: Slider | None, lift: Lift | None = None) -> Rig:
    """
    Return the rig of a scene's slider and lift.

    Parameters
    ----------
    slider : Slider or None
        Without one the pan axis goes through the pupil.
    lift : Lift or None

    Returns
    -------
    Rig
    """
    slider = slider or NO_SLIDER
    start, away = np.array(slider.from_), np.subtract(slider.to, slider.from_)
    length = float(np.linalg.norm(away))
    return Rig(
        start=start,
        along=away / max(length, 1e-12),
        length=length,
        reach=slider.reach,
        rise=slider.rise,
        lifts=lens_rises(slider, lift),
        lift_range=(0.0, 0.0) if lift is None else lift.range,
        pan_range=None if slider.pan_range is None else tuple(np.radians(slider.pan_range)),
        tilt_range=tuple(np.radians(slider.tilt_range)),
    )


def lens_rises(slider: Slider | None, lift: Lift | None, *, held: bool = False) -> float:
    """
    Return how far the lens rises, seen from the set, for each mm of the lift.

    1 on a lift beside the set, -1 beside a set on a lift, 0 where both or neither are carried. A camera that is `held` in the
    hands is on no lift; one without a slider is where the lift's `carries` says.
    """
    if lift is None:
        return 0.0
    aboard = not held and (lift.carries == "camera" or (slider is not None and slider.rides == "lift"))
    return float(aboard) - float(lift.carries == "set")


def _turned(pan, within) -> np.ndarray:
    """Return pan (n,) turned by whole turns to where it is in range, or nearest to it, and clipped to it. [rad]"""
    pan = np.asarray(pan, float)
    if within is None:
        return pan
    middle = (within[0] + within[1]) / 2
    return np.clip(pan - TURN * np.round((pan - middle) / TURN), *within)


def _angle_between(a, b) -> np.ndarray:
    """Return (n,) the angle between unit vectors (n, 3), good also where it is small: Kahan's half-angle form (from memory). [rad]"""
    return 2 * np.arctan2(np.linalg.norm(a - b, axis=1), np.linalg.norm(a + b, axis=1))
