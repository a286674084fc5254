"""
What carries lamps, lens and set, as solids: stands, the rail, its carriage, a lift.

Takes a scene, its built set and a moment of a move; gives bars, in set coordinates. Knows nothing of frames or of light.

The file says where these things stand and how high they reach, not what they look like. The shapes assumed here are straight
bars, thinner than the real ones, so that whatever is seen of a bar is seen of the thing as well. Nothing is assumed of a
place that the file leaves open:

    stand     a column straight below the lamp, from its face down to the floor, and three legs flat on the floor, as wide as
              [stand] base, one of them under the load (common practice); a lamp that rides the set's lift stands on the table's
              top, without legs. Left out for a lamp on a camera's lift, for a lamp in the set, for one above it (no column goes through a set), and where
              [stand] reach lets the lamp hang out from a column that may then be anywhere
    rail      a bar from end to end, its top where [slider] has it. Left out where `rise` is 0, since no rail goes through a lens
    carriage  a post from the rail up to the underside of the body's height, on the pan axis
    lift      under a set: a column from the table's top to the middle of the set's underside, as long as riser and lift leave it.
              Under a camera: a column below the middle of the rail, or of a body without one, down to the table's top or,
              where that is higher, to the floor. Left out below a set's own plan, and below a lens that looks down on it

What else may stand there (the lamp's head behind its face, cables, clamps, the table) is not looked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from previz.build.built import BuiltSet
from previz.build.inside import in_a_room
from previz.build.places import table_z
from previz.camera.view import axes
from previz.light.lamps import Emitter
from previz.rig.kinematics import lens_rises
from previz.rig.moves import Move, on_rail
from previz.scene.model import Scene, Shot

COLUMN_MM = 20.0
"""Thickness of a stand's column and of a carriage's post (own choice: light stands' columns begin at about 25 mm, from memory)."""

LEG_MM = 15.0
"""Thickness of a stand's legs (own choice)."""

RAIL_MM = 15.0
"""Thickness of the rail (own choice)."""

LIFT_MM = 40.0
"""Thickness of a lift's column (own choice)."""

LEAST_MM = 1.0
"""Shorter than this a bar is none."""

STEEP_RAD = np.radians(45)
"""A lens tilted down farther than this looks at what would carry it from below (own choice)."""

BAR_FACES = np.array([[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]])
"""(12, 3) triangles over the corners of a bar."""


@dataclass(frozen=True)
class Bar:
    """A straight bar, square across: first, last (3,) middles of its ends, thick its width. [mm]"""

    first: np.ndarray
    last: np.ndarray
    thick: float

    @property
    def length(self) -> float:
        """From end to end. [mm]"""
        return float(np.linalg.norm(self.last - self.first))

    def corners(self) -> np.ndarray:
        """Return (8, 3). [mm]"""
        along = (self.last - self.first) / self.length
        side = np.cross(along, [0.0, 0.0, 1.0] if abs(along[2]) < 0.9 else [1.0, 0.0, 0.0])
        side *= self.thick / 2 / np.linalg.norm(side)
        up = np.cross(side, along)
        return np.array([end + s * side + u * up for end in (self.first, self.last) for s in (-1, 1) for u in (-1, 1)])

    def points(self, apart_mm: float) -> np.ndarray:
        """Return (n, 3) along its middle, no farther apart than that. [mm]"""
        return np.linspace(self.first, self.last, int(np.ceil(self.length / apart_mm)) + 1)


@dataclass(frozen=True)
class Support:
    """
    One thing that carries another.

    kind   "stand" | "rail" | "carriage" | "lift"
    name   in the maker's words
    lamp   whose stand it is, else None
    bars   what is assumed of it
    """

    kind: str
    name: str
    lamp: str | None
    bars: tuple[Bar, ...]


def supports(scene: Scene, built: BuiltSet, shot: Shot, move: Move, take_s: float, lamps: tuple[Emitter, ...], rises) -> list[Support]:
    """
    Return what stands around at a moment of the take.

    Parameters
    ----------
    scene : Scene
        As the shot sees it.
    lamps : tuple of Emitter
        Of the scene, in file order, the lift at 0.
    rises : (lamps,) float array
        How far each rises, seen from the set, for each mm of the lift.
    """
    lift = float(move.lift_mm(take_s)[0])
    found = [*_stands(scene, built, lamps, np.asarray(rises, float) * lift), *_slider(scene, shot, move, take_s, lift), *_lift(scene, built, shot, move, take_s, lift)]
    kept = ((support, tuple(bar for bar in support.bars if bar.length >= LEAST_MM)) for support in found)
    return [Support(support.kind, support.name, support.lamp, bars) for support, bars in kept if bars]


def _stands(scene, built, lamps, raised) -> Iterator[Support]:
    if scene.stand.reach > 0:
        return
    top = table_z(scene, built)
    for typed, lamp, rise in zip(scene.lamp, lamps, raised):
        at = np.array(typed.at)
        aboard = typed.rides == "lift" and scene.lift is not None
        if in_a_room(built, at) or _above_the_set(built, at) or (aboard and scene.lift.carries == "camera"):
            continue
        below = float(np.hypot(lamp.half_u[2], lamp.half_v[2]))
        foot = top if aboard else top - scene.table.height
        column = Bar(np.array([*at[:2], at[2] - below + rise]), np.array([*at[:2], foot + rise]), COLUMN_MM)
        if column.first[2] > column.last[2]:
            legs = () if aboard else _legs(column.last, lamp.normal, scene.stand.base / 2)
            yield Support("stand", f"the stand of {lamp.name}", lamp.name, (column, *legs))


def _legs(foot, toward, long_mm: float) -> list[Bar]:
    """Three legs on the floor, the first where the lamp points."""
    first = np.arctan2(toward[1], toward[0])
    middle = foot + [0, 0, LEG_MM / 2]
    return [Bar(middle, middle + long_mm * np.array([np.cos(turn), np.sin(turn), 0.0]), LEG_MM) for turn in first + 2 * np.pi / 3 * np.arange(3)]


def _slider(scene, shot, move, take_s, lift) -> Iterator[Support]:
    """The rail where it lies, also for a camera that stands beside it, unless a lift has carried it off with the camera; and the carriage on it."""
    slider = scene.slider
    if slider is None or slider.rise == 0 or (not on_rail(scene, shot) and scene.lift is not None and scene.lift.carries == "camera"):
        return
    raised = np.array([0.0, 0.0, lens_rises(slider, scene.lift) * lift])
    below = np.array([0.0, 0.0, RAIL_MM / 2])
    yield Support("rail", "the rail", None, (Bar(np.array(slider.from_) + raised - below, np.array(slider.to) + raised - below, RAIL_MM),))
    under = slider.rise - scene.body.box[1] / 2
    if on_rail(scene, shot) and under > 0:
        at = move.carriage(take_s)[0] + raised
        yield Support("carriage", "the carriage", None, (Bar(at, at + [0, 0, under], COLUMN_MM),))


def _lift(scene, built, shot, move, take_s, lift) -> Iterator[Support]:
    if scene.lift is None:
        return
    top = table_z(scene, built)
    if scene.lift.carries == "set":
        low, high = built.bounds
        middle = (low + high) / 2
        head, foot = low[2], top - lift
    elif shot.move == "hand" or (middle := _carried(scene, shot, move, take_s, lift)) is None or _above_the_set(built, middle):
        return
    else:
        head, foot = middle[2], top if middle[2] > top else top - scene.table.height
    if head > foot:
        yield Support("lift", "the lift", None, (Bar(np.array([*middle[:2], head]), np.array([*middle[:2], foot]), LIFT_MM),))


def _carried(scene, shot, move, take_s, lift):
    """The (3,) place under which a lift carries the camera: under the rail's middle, or under the body; None where the lens looks down on it."""
    if on_rail(scene, shot):
        return (np.array(scene.slider.from_) + scene.slider.to) / 2 + [0, 0, lift - RAIL_MM]
    pose = move.poses(take_s)
    if pose.tilt[0] < -STEEP_RAD:
        return None
    behind = sum(length for length, _ in scene.lens.barrel) - scene.lens.pupil + scene.body.box[2] / 2
    body = pose.position[0] - behind * axes(pose.pan, pose.tilt)[0, 0]
    return body - [0, 0, np.hypot(scene.body.box[1], scene.body.box[2]) / 2]


def _above_the_set(built: BuiltSet, at) -> bool:
    low, high = built.bounds
    return bool((low[:2] <= at[:2]).all() and (at[:2] <= high[:2]).all())
