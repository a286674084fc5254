"""
A shot as a move: where the entrance pupil is, and where the lens points, at each moment of the take.

Takes the scene, a shot and the built set (for props looked at); gives poses, focused distances and the rig's speeds.
Knows nothing of the lens's outside or of what stands in its way.

    track      a straight rail or a spline, by travel s in mm: from 0 to `length`
    heading    held fixed, or kept on a target
    pupil      = point of the track + rise upward + reach forward along the pan
    still      one point           slide   straight, heading as at the start
    arc        straight, heading kept on the target           path   spline, heading kept on the target
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from previz.build.built import BuiltSet
from previz.build.places import prop_box
from previz.camera.depth import hyperfocal
from previz.camera.exposure import stop_used
from previz.camera.view import Poses, axes
from previz.rig.motion import SCurve
from previz.rig.tracks import Spline, Straight, track_through
from previz.scene.model import Heading, Scene, Shot, Slider

NO_SLIDER = Slider(**{"from": (0.0, 0.0, 0.0), "to": (1.0, 0.0, 0.0)})
"""Stands in where the scene has none: its pan axis goes through the pupil."""

NEAREST_MM = 0.1
"""A point to focus on that passes behind the entrance pupil is taken this far ahead of it."""


@dataclass(frozen=True)
class Speeds:
    """
    What the move asks of the rig.

    peak_speed_mm_s, peak_accel_mm_s2, travel_mm   of the carriage (of the entrance pupil for a path); the acceleration
                                                   is infinite for a move without ease
    peak_pan_deg_s                                 fastest pan
    """

    peak_speed_mm_s: float
    peak_accel_mm_s2: float
    peak_pan_deg_s: float
    travel_mm: float


@dataclass(frozen=True)
class Move:
    """
    A planned move.

    curve        how the travel is spread over the take
    track        of the pan axis, `rise` already added
    target       (3,) point that the heading is kept on, or None: the heading is fixed [mm]
    fixed        (pan, tilt) when there is no target [rad]
    reach, rise  pan axis to entrance pupil, forward and upward [mm]
    focus_on     focused distance [mm], or (3,) point that the plane of focus goes through [mm]
    """

    curve: SCurve
    track: Straight | Spline
    target: np.ndarray | None
    fixed: tuple[float, float]
    reach: float
    rise: float
    focus_on: float | np.ndarray

    @property
    def take_s(self) -> float:
        """Length of the take. [s]"""
        return self.curve.take_s

    def poses_along(self, travel) -> Poses:
        """
        Return the poses at places of the track.

        Parameters
        ----------
        travel : (n,) float array
            0 to `track.length`. [mm]

        Returns
        -------
        Poses
            The pan axis, the pupil ahead of it and the target are in one line seen from above, so
            ``pan = atan2(target - axis)``; the tilt is then that of the target from the pupil.
        """
        axis = self.track.points(travel)
        pan, tilt = (np.full(len(axis), angle) for angle in self.fixed)
        if self.target is not None:
            away = self.target - axis
            pan = np.unwrap(np.arctan2(away[:, 1], away[:, 0]))
            tilt = np.arctan2(away[:, 2], np.hypot(away[:, 0], away[:, 1]) - self.reach)
        return Poses(axis + self.reach * axes(pan, 0.0)[..., 0, :], pan, tilt)

    def poses(self, take_s) -> Poses:
        """Return the poses at moments `take_s` (n,) of the take. [s]"""
        return self.poses_along(self.track.length * self.curve.share(np.atleast_1d(take_s)))

    def carriage(self, take_s) -> np.ndarray:
        """Return (n, 3) where the carriage's pan axis meets the rail at moments `take_s` (n,). [mm]"""
        axis = self.track.points(self.track.length * self.curve.share(np.atleast_1d(take_s)))
        return axis - np.array([0, 0, self.rise])

    def focus_mm(self, take_s) -> np.ndarray:
        """
        Return the focused distance at each moment.

        Parameters
        ----------
        take_s : (n,) float array
            [s]

        Returns
        -------
        (n,) float array
            From the entrance pupil along the optical axis to the plane of focus, at least `NEAREST_MM`. A shot without
            a point to focus on is set to the hyperfocal distance. [mm]
        """
        poses = self.poses(take_s)
        if np.ndim(self.focus_on) == 0:
            return np.full(len(poses), float(self.focus_on))
        forward = axes(poses.pan, poses.tilt)[:, 0]
        return np.maximum(np.einsum("ij,ij->i", self.focus_on - poses.position, forward), NEAREST_MM)

    def speeds(self) -> Speeds:
        """
        Return what the move asks of the rig.

        Notes
        -----
        Speed is the S-curve's closed form. Acceleration along the track is too; a curved track adds ``v^2 / radius``
        across it. Pan is differenced over 2,001 moments.
        """
        length = self.track.length
        take_s = np.linspace(0, self.take_s, 2001)
        along, speed = length * self.curve.change(take_s), length * self.curve.rate(take_s)
        across = speed**2 * self.track.curvature(length * self.curve.share(take_s))
        accel = max(np.hypot(along, across).max(), length * self.curve.peak_change) if length else 0.0
        pan = np.degrees(np.abs(np.diff(self.poses(take_s).pan))).max() / (take_s[1] - take_s[0])
        return Speeds(length * self.curve.peak_rate, float(accel), float(pan), length)

    def off_rail_mm(self, slider: Slider) -> float:
        """Return how far the carriage strays from the slider's rail at worst; 0 when it stays on it. [mm]"""
        start, along = np.array(slider.from_), np.subtract(slider.to, slider.from_)
        offset = self.carriage(np.linspace(0, self.take_s, 33)) - start
        share = np.clip(offset @ along / max(along @ along, 1e-12), 0, 1)
        return float(np.linalg.norm(offset - share[:, None] * along, axis=1).max())


def plan_move(scene: Scene, shot: Shot, built: BuiltSet) -> Move:
    """
    Return the move of a shot.

    Parameters
    ----------
    scene : Scene
        Its slider and lens.
    shot : Shot
        One of the scene's.
    built : BuiltSet
        Where the props are.

    Returns
    -------
    Move

    Raises
    ------
    ValueError
        If the shot names a prop that is not there, or a place on the rail of a scene without slider.
    """
    slider = scene.slider or NO_SLIDER
    target = None if isinstance(shot.look, Heading) else place(built, shot.look)
    fixed = (np.radians(shot.look.pan), np.radians(shot.look.tilt)) if target is None else (0.0, 0.0)
    if scene.slider is None and any(np.ndim(end) == 0 for end in _ends(shot)):
        raise ValueError("a place on the rail needs a slider")
    axis = [_pan_axis(end, slider, target, fixed[0]) for end in _ends(shot)]
    reach, rise = slider.reach, slider.rise
    if shot.move == "slide" and target is not None:
        fixed, target = _heading(axis[0], target, reach), None
        axis = [_pan_axis(end, slider, None, fixed[0]) for end in _ends(shot)]
    if shot.move == "path":
        # Nothing but the pupil is known of what carries the lens along a free path.
        pans = [_heading(point, target, reach)[0] if target is not None else fixed[0] for point in axis]
        axis, reach, rise = [point + reach * axes(pan, 0.0)[0] for point, pan in zip(axis, pans)], 0.0, 0.0
    return Move(SCurve(shot.take_s, shot.ease), track_through(axis), target, fixed, reach, rise, _focus_on(scene, shot, built))


def place(built: BuiltSet, what) -> np.ndarray:
    """Return the (3,) point that a shot means: the point itself, or the centre of a prop's bounding box; ValueError if none. [mm]"""
    if not isinstance(what, str):
        return np.array(what, float)
    box = prop_box(built, what)
    if box is None:
        raise ValueError(f"there is no prop named {what!r}")
    return box.mean(axis=0)


def _ends(shot: Shot) -> list:
    """Return the places that the shot goes through, as typed."""
    if shot.move == "still" or shot.to is None:
        return [shot.from_]
    return [shot.from_, *(shot.via if shot.move == "path" else ()), shot.to]


def _pan_axis(end, slider: Slider, target, pan: float) -> np.ndarray:
    """Return the (3,) point of the pan axis level with the pupil, for a pupil position or a place on the rail."""
    if np.ndim(end) == 0:
        along = np.subtract(slider.to, slider.from_)
        return slider.from_ + along / max(np.linalg.norm(along), 1e-12) * end + [0, 0, slider.rise]
    pupil = np.array(end, float)
    if target is not None:
        pan = np.arctan2(*(target - pupil)[1::-1])
    return pupil - slider.reach * axes(pan, 0.0)[0]


def _heading(axis, target, reach: float) -> tuple[float, float]:
    away = target - axis
    return float(np.arctan2(away[1], away[0])), float(np.arctan2(away[2], np.hypot(away[0], away[1]) - reach))


def _focus_on(scene: Scene, shot: Shot, built: BuiltSet):
    on = shot.focus if shot.focus is not None else shot.subject if shot.subject is not None else shot.look
    if isinstance(on, Heading):
        return hyperfocal(scene.lens.focal, stop_used(scene.lens, shot), scene.body.coc_mm)
    return float(on) if isinstance(on, (int, float)) else place(built, on)
