"""
A shot as a move: where the entrance pupil is, and where the lens points, at each moment of the take.

Takes the scene, a shot and the built set (for props looked at); gives poses, focused distances and the rig's speeds, all
in set coordinates: a lift under the set moves the lens against it. Knows nothing of the lens's outside or of what stands
in its way.

    track      a straight rail or a spline, by travel s in mm: from 0 to `length`; by hand, s counts milliseconds
    heading    held fixed, or kept on a target
    pupil      = point of the track + rise upward + reach forward along the pan
    still      one point           slide   straight, heading as at the start
    arc        straight, heading kept on the target           path   spline, heading kept on the target
    lift       straight up or down, heading as at the start   hand   a path, shaken
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from previz.build.built import BuiltSet
from previz.build.places import prop_box
from previz.camera.depth import hyperfocal
from previz.camera.exposure import stop_used
from previz.camera.lens import inverse_p
from previz.camera.view import Poses, axes
from previz.rig.kinematics import NO_SLIDER, Rig, lens_rises, rig_of
from previz.rig.motion import SCurve, smooth
from previz.rig.shake import Shake, shake_of
from previz.rig.tracks import Spline, Straight, track_through
from previz.scene.focusing import marks_of
from previz.scene.model import Heading, Scene, Shot, Slider
from previz.scene.moving import FREE_MOVES

A_SECOND = 1000.0
"""Travel of a second by hand, whose moments are as far apart as the clock says, wherever the hand is."""

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
class Pull:
    """
    A focus pull: held on one mark up to its moment, then smoothly on to the next, and held on the last.

    at  (k,) moments, each later than the one before [s]
    on  k focused distances [mm] or (3,) points [mm]
    """

    at: tuple[float, ...]
    on: tuple

    def blended(self, take_s, distances) -> np.ndarray:
        """Return (n,) the distance at each moment from those of the k marks there, (n,) each. [s], [mm] -> [mm]

        Between two marks by the minimum-jerk step (`motion.smooth`): two marks of one distance hold it."""
        found = distances[0]
        for first, last, distance in zip(self.at, self.at[1:], distances[1:]):
            found = found + (distance - found) * smooth(np.clip((take_s - first) / (last - first), 0, 1))
        return found


def _distance(on, poses: Poses) -> np.ndarray:
    """Return (n,) how far the plane of focus lies when it is set to a distance, or to go through a point (3,). [mm]"""
    if np.ndim(on) == 0:
        return np.full(len(poses), float(on))
    forward = axes(poses.pan, poses.tilt)[:, 0]
    return np.maximum(np.einsum("ij,ij->i", on - poses.position, forward), NEAREST_MM)


@dataclass(frozen=True)
class Move:
    """
    A planned move.

    curve        how the travel is spread over the take
    track        of the pan axis, `rise` already added
    target       (3,) point that the heading is kept on, or None: the heading is fixed [mm]
    fixed        (pan, tilt) when there is no target [rad]
    reach, rise  pan axis to entrance pupil, forward and upward [mm]
    focus_on     focused distance [mm], or (3,) point that the plane of focus goes through [mm], or a `Pull` between such
    rail         the track as it is with the lift at 0; None where there is no lift
    lift         height of the lift at the start and at the end, on the same curve as the travel [mm]
    shake        of the hands that hold the camera; None on a rig
    """

    curve: SCurve
    track: Straight | Spline
    target: np.ndarray | None
    fixed: tuple[float, float]
    reach: float
    rise: float
    focus_on: float | np.ndarray | Pull
    rail: Straight | Spline | None = None
    lift: tuple[float, float] = (0.0, 0.0)
    shake: Shake | None = None

    @property
    def take_s(self) -> float:
        """Length of the take. [s]"""
        return self.curve.take_s

    @property
    def length(self) -> float:
        """Travel from the start to the end; 0 where the lens stands still in the set. [mm], by hand [ms]"""
        return A_SECOND * self.take_s if self.shake else self.track.length

    @property
    def changes(self) -> bool:
        """Whether lens or lift move at all during the take."""
        return bool(self.length) or self.lift[0] != self.lift[1]

    @property
    def steady(self) -> "Move":
        """The same move without the shake of the hands."""
        return replace(self, shake=None)

    def travel(self, take_s) -> np.ndarray:
        """Return (n,) how far the move is at moments `take_s` (n,). [s] -> [mm], by hand [ms]"""
        take_s = np.atleast_1d(np.asarray(take_s, float))
        return A_SECOND * np.clip(take_s, 0, self.take_s) if self.shake else self.track.length * self.curve.share(take_s)

    def moment(self, travel: float) -> float:
        """Return when the move is that far. [s]"""
        return travel / A_SECOND if self.shake else float(self.curve.moment(travel / (self.track.length or 1.0)))

    def lift_mm(self, take_s) -> np.ndarray:
        """Return (n,) the height of the lift at moments `take_s` (n,). [s] -> [mm]"""
        return self.lift[0] + (self.lift[1] - self.lift[0]) * self.curve.share(np.atleast_1d(take_s))

    def axis(self, travel) -> np.ndarray:
        """Return the (n, 3) point of the pan axis level with the pupil at places of the move, unshaken. [mm]"""
        return self.track.points(self._on_track(travel))

    def _on_track(self, travel):
        return self.track.length * self.curve.share(np.asarray(travel, float) / A_SECOND) if self.shake else travel

    def bounds(self, first: float, last: float) -> tuple[float, float]:
        """
        Return the greatest slope and second derivative, by travel, of `axis` between two places of the move.

        Returns
        -------
        slope, second : float
            Never less than the truth; by hand ``L r`` and ``|c''| (L r)^2 + |c'| L r'`` from the S-curve's greatest rate r
            and change r' (the chain rule). [1], [1/mm]
        """
        if not self.shake:
            return self.track.bounds(first, last)
        slope, second = self.track.bounds(*self._on_track([first, last]))
        speed = self.track.length * self.curve.peak_rate / A_SECOND
        change = self.track.length * self.curve.peak_change / A_SECOND**2 if self.curve.ramp_s else 0.0
        return slope * speed, second * speed**2 + slope * change

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
        axis = self.axis(travel)
        pan, tilt = (np.full(len(axis), angle) for angle in self.fixed)
        if self.target is not None:
            away = self.target - axis
            pan = np.unwrap(np.arctan2(away[:, 1], away[:, 0]))
            tilt = np.arctan2(away[:, 2], np.hypot(away[:, 0], away[:, 1]) - self.reach)
        if self.shake:
            off = self.shake.at(np.asarray(travel, float) / A_SECOND)
            axis, pan, tilt = axis + off[:3].T, pan + off[3], tilt + off[4]
        return Poses(axis + self.reach * axes(pan, 0.0)[..., 0, :], pan, tilt)

    def poses(self, take_s) -> Poses:
        """Return the poses at moments `take_s` (n,) of the take. [s]"""
        return self.poses_along(self.travel(take_s))

    def carriage(self, take_s) -> np.ndarray:
        """Return (n, 3) where the carriage's pan axis meets the rail at moments `take_s` (n,), the lift at 0. [mm]"""
        rail = self.rail or self.track
        return rail.points(rail.length * self.curve.share(np.atleast_1d(take_s))) - np.array([0, 0, self.rise])

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
        take_s = np.atleast_1d(np.asarray(take_s, float))
        poses = self.poses(take_s)
        if isinstance(self.focus_on, Pull):
            return self.focus_on.blended(take_s, [_distance(on, poses) for on in self.focus_on.on])
        return _distance(self.focus_on, poses)

    def speeds(self) -> Speeds:
        """
        Return what the move asks of the rig.

        Notes
        -----
        Speed is the S-curve's closed form. Acceleration along the track is too; a curved track adds ``v^2 / radius``
        across it. Pan is differenced over 2,001 moments. The lift's travel does not count, nor does the shake of hands.
        """
        rail = self.rail or self.track
        length = rail.length
        take_s = np.linspace(0, self.take_s, 2001)
        along, speed = length * self.curve.change(take_s), length * self.curve.rate(take_s)
        across = speed**2 * rail.curvature(length * self.curve.share(take_s))
        accel = max(np.hypot(along, across).max(), length * self.curve.peak_change) if length else 0.0
        pan = np.degrees(np.abs(np.diff(self.steady.poses(take_s).pan))).max() / (take_s[1] - take_s[0])
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
    if scene.slider is None and any(np.ndim(end) == 0 for end in _ends(shot)):
        raise ValueError("a place on the rail needs a slider")
    free, slider = shot.move in FREE_MOVES, scene.slider if on_rail(scene, shot) else None
    rig = rig_of(NO_SLIDER if free else scene.slider, scene.lift)
    risen = lens_rises(slider, scene.lift, held=shot.move == "hand") * np.multiply.outer(shot.lift_ends, [0.0, 0.0, 1.0])
    target = None if isinstance(shot.look, Heading) else place(built, shot.look)
    fixed = (np.radians(shot.look.pan), np.radians(shot.look.tilt)) if target is None else (0.0, 0.0)
    axis = [_pan_axis(end, rig, target, fixed[0]) for end in _ends(shot)]
    if shot.move in ("slide", "lift") and target is not None:
        fixed, target = _heading(axis[0] + risen[0], target, rig.reach), None
        axis = [_pan_axis(end, rig, None, fixed[0]) for end in _ends(shot)]
    rail = track_through(axis)
    shake = shake_of(scene.hand, scene.seed, shot.name) if shot.move == "hand" else None
    return Move(
        SCurve(shot.take_s, shot.ease), rail.raised(*risen), target, fixed, rig.reach, rig.rise, _focus_on(scene, shot, built),
        rail=rail, lift=shot.lift_ends, shake=shake,
    )  # fmt: skip


def on_rail(scene: Scene, shot: Shot) -> bool:
    """Return whether the slider carries the camera in a shot: it slides, or its place is given along the rail; else the camera stands free, or is held."""
    return scene.slider is not None and (shot.move in ("slide", "arc") or isinstance(shot.from_, float))


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
    if shot.move in FREE_MOVES:
        return [shot.from_, *shot.via, *(() if shot.to is None else (shot.to,))]
    return [shot.from_] if shot.to is None or shot.move == "still" else [shot.from_, shot.to]


def _pan_axis(end, rig: Rig, target, pan: float) -> np.ndarray:
    """Return the (3,) point of the pan axis level with the pupil, the lift at 0, for a pupil position or a place on the rail."""
    if np.ndim(end) == 0:
        return rig.axis_of(end)
    pupil = np.array(end, float)
    if target is not None:
        pan = np.arctan2(*(target - pupil)[1::-1])
    return pupil - rig.reach * axes(pan, 0.0)[0]


def _heading(axis, target, reach: float) -> tuple[float, float]:
    away = target - axis
    return float(np.arctan2(away[1], away[0])), float(np.arctan2(away[2], np.hypot(away[0], away[1]) - reach))


def _focus_on(scene: Scene, shot: Shot, built: BuiltSet):
    if marks := marks_of(shot):
        return Pull(tuple(mark.at for mark in marks), tuple(_focus_at(mark.focus, built) for mark in marks))
    on = shot.focus if shot.focus is not None else shot.subject if shot.subject is not None else shot.look
    if isinstance(on, Heading):
        return hyperfocal(scene.lens.focal, stop_used(scene.lens, shot), scene.body.coc_mm, inverse_p(scene.lens))
    return _focus_at(on, built)


def _focus_at(on, built: BuiltSet):
    return float(on) if isinstance(on, (int, float)) else place(built, on)
