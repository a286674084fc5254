"""
Limits: what keeps a lamp from standing at a place, each with how far the place is inside or beyond it.

Takes places for a lamp (n, 3) and what must not be in its way; gives one signed figure a place and limit, in mm, so that
what is in the way can be named and the nearest miss told. Casts rays in one go; solves nothing.

    slack   how far inside a limit a place is; negative where it is beyond it [mm]
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from previz.aim.landing import Course
from previz.aim.wishes import Target
from previz.build.built import BuiltSet
from previz.build.places import table_z
from previz.camera.view import View, view_at
from previz.light.lamps import Emitter
from previz.rays.tracer import SKIN_MM, Tracer
from previz.rig.moves import plan_move
from previz.rig.solids import rig_parts
from previz.scene.model import Scene, Shot

NO_LIMIT_MM = 1e6
MOMENTS = 9
"""Of a shot that moves, for what the lens sees and where it stands (own choice)."""
LIT_SHARE = 0.25
"""Of the light through the opening at least this share gets to its target: less is no shaft, but scraps of one (own choice)."""
_BLOCKED_MM = 1.0
"""Light where none shall be counts as this far beyond its limit: rays do not tell how far something would have to move."""
_ACROSS = 9


@dataclass(frozen=True)
class Limit:
    """
    One limit at n places.

    name    in the maker's words
    slack   (n,) [mm]
    says    (n,) of str, or one str for all: what is wrong where the slack is negative
    remedy  what to do about it
    """

    name: str
    slack: np.ndarray
    says: object
    remedy: str

    def said(self, place: int) -> str:
        """Return what is wrong at one place."""
        return self.says if isinstance(self.says, str) else str(self.says[place])


@dataclass(frozen=True)
class Ground:
    """
    What a lamp's place is judged against.

    scene, built, tracer  the set
    views                 what the lens sees at some moments of the shot, none without a shot
    radius_mm             of the lamp's face
    """

    scene: Scene
    built: BuiltSet
    tracer: Tracer
    views: tuple[View, ...]
    radius_mm: float

    @classmethod
    def of(cls, scene: Scene, built: BuiltSet, lamp: Emitter, shots: Sequence[Shot]) -> Ground:
        """Return the ground for a lamp, with what the lens sees at `MOMENTS` of each of `shots`, evenly through the take."""
        moves = [plan_move(scene, shot, built) for shot in shots]
        moments = [np.linspace(0, move.take_s, MOMENTS if move.changes else 1) for move in moves]
        views = tuple(view_at(scene, move.poses(t)[0], float(move.focus_mm(t)[0])) for move, times in zip(moves, moments) for t in times)
        radius = float(max(np.linalg.norm(lamp.half_u), np.linalg.norm(lamp.half_v)))
        return cls(scene, built, Tracer(built.vertices, built.triangles), views, radius)

    @property
    def top_z(self) -> float:
        """z of the table's top. [mm]"""
        return table_z(self.scene, self.built)

    @property
    def floor_z(self) -> float:
        """z of the floor that stands are put on. [mm]"""
        return self.top_z - self.scene.table.height


def standing(ground: Ground, places: np.ndarray, opening: np.ndarray) -> list[Limit]:
    """Return the limits that the stand sets: height, distance from `opening` (3,), room, table and set. [mm]"""
    stand, (low, high) = ground.scene.stand, ground.built.bounds
    up = places[:, 2] - ground.floor_z
    distance = np.linalg.norm(places - opening, axis=1)
    beside = _outside(places[:, :2], low[:2], high[:2])
    limits = [
        Limit("the height of the stand", _between(up, stand.height), _each("the lamp would be {:.0f} mm above the floor", up), f"[stand] height is {_range(stand.height)} mm."),
        Limit("the distance of the lamp", _between(distance, stand.distance), _each("the lamp would be {:.0f} mm from the opening", distance), f"[stand] distance is {_range(stand.distance)} mm."),
        Limit(
            "the table",
            stand.reach - (stand.base / 2 - beside),
            "the stand's feet would be under the set's table",
            f"The feet are {stand.base:g} mm wide and the lamp hangs out {stand.reach:g} mm ([stand] base, reach).",
        ),
        Limit("the set", _outside(places, low, high) - ground.radius_mm, "the lamp would be inside the set or touch it", "Nothing can stand there."),
    ]
    if stand.room is not None:
        a, b = np.sort(np.array(stand.room), axis=0)
        within = np.minimum(places[:, :2] - a, b - places[:, :2]).min(axis=1)
        limits.append(Limit("the room around the table", within, "the stand would be outside the floor that it may use", f"[stand] room is {a[0]:g}, {a[1]:g} to {b[0]:g}, {b[1]:g}."))
    return limits


def in_the_light(ground: Ground, course: Course, places: np.ndarray) -> list[Limit]:
    """Return what stands between places (n, 3) and the target: the wall, props, and the lens. [mm]"""
    target, middle = course.wish.onto, course.middle
    before = (places - middle) @ course.outward
    behind = float((target.point - middle) @ course.outward)
    sides = np.minimum(before, -behind)
    starts, ends, counts = _lines(course, places)
    hits = _first_met(ground, starts, ends)
    reached = counts & ((hits < 0) | np.isin(hits, _own_parts(ground, target)))
    share = reached.reshape(len(places), -1).sum(axis=1) / np.maximum(counts.reshape(len(places), -1).sum(axis=1), 1)
    limits = [
        Limit(f'the opening "{course.wish.through}"', sides, f"lamp and {target.name} would not be on either side of {course.wish.through}", "Choose another opening or target."),
        Limit(
            "what stands in the light",
            np.where(sides > 0, (share - LIT_SHARE) * _size(course), NO_LIMIT_MM),
            _Blocker(ground, np.where(counts & ~reached, hits, -1).reshape(len(places), -1), share),
            "Move it, ask for one pane of the opening by its number, or choose another target.",
        ),
    ]
    if ground.views:
        limits.append(Limit("the lens", _lens_clear(ground, places, target.point), "lens or camera would stand in the light", "Move the camera, or choose another opening."))
    return limits


def _size(course: Course) -> float:
    points = course.points_within(_ACROSS)
    return float(np.linalg.norm(np.ptp(points, axis=0)))


def _lines(course: Course, places: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Return straight lines of light from each place: starts and ends (n * k, 3), and which of them count.

    Onto a prop they end at points of its surface that are turned to the lamp, and count where they cross a pane; onto a face or a
    point they cross the panes evenly, and end in the face, or level with the point.
    """
    target = course.wish.onto
    if target.turned is not None:
        starts = np.repeat(places, len(target.samples), axis=0)
        ends = np.tile(target.samples, (len(places), 1))
        facing = np.einsum("ij,ij->i", starts - ends, np.tile(target.turned, (len(places), 1))) > 0
        return starts, ends, facing & course.in_a_pane(course.crossing(starts, ends))
    points = course.points_within(_ACROSS)
    starts, through = np.repeat(places, len(points), axis=0), np.tile(points, (len(places), 1))
    normal = target.normal if target.normal is not None else course.outward
    fall = np.einsum("ij,j->i", through - starts, normal)
    far = np.divide((target.point - starts) @ normal, fall, out=np.full(len(fall), np.inf), where=np.abs(fall) > 1e-9)
    counts = np.isfinite(far) & (far > 1)
    far = np.where(counts, far, 2.0)
    reach = np.linalg.norm(through - starts, axis=1) * far
    return starts, starts + (far * (1 - 4 * SKIN_MM / np.maximum(reach, 1)))[:, None] * (through - starts), counts


def _first_met(ground: Ground, starts: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Return (n,) the part that lies first on each segment; -1 where none does."""
    hits = ground.tracer.hit(starts, ends - starts)
    return np.where((hits.triangle >= 0) & (hits.distance < 1), ground.built.part_of[np.maximum(hits.triangle, 0)], -1)


def _own_parts(ground: Ground, target: Target) -> list[int]:
    return ground.built.part_named(target.name) if target.turned is not None else []


def out_of_frame(ground: Ground, places: np.ndarray) -> list[Limit]:
    """Return how far outside the frame, or hidden behind the set, lamps at places (n, 3) are at every moment. [mm]"""
    if not ground.views:
        return []
    slack = np.full(len(places), NO_LIMIT_MM)
    for view in ground.views:
        offset = places - view.position
        depth = offset @ view.forward
        across = np.abs(offset @ view.right) - view.half_width * depth
        upward = np.abs(offset @ view.up) - view.half_height * depth
        beyond = np.where(depth > 0, np.maximum(across, upward) - ground.radius_mm, NO_LIMIT_MM)
        seen = np.flatnonzero(beyond < 0)
        hidden = ground.tracer.blocked(np.broadcast_to(view.position, (len(seen), 3)), places[seen])
        beyond[seen[hidden]] = NO_LIMIT_MM
        slack = np.minimum(slack, beyond)
    return [Limit("the frame", slack, "the lens would look into the lamp", "Move the lamp out of the frame, or hide it behind a wall.")]


def left_dark(ground: Ground, target: Target, places: np.ndarray) -> Limit:
    """Return whether lamps at places (n, 3) leave all of a target dark; beyond the limit by a millimetre and the share of it that is lit."""
    samples = target.samples
    ends = np.tile(samples, (len(places), 1))
    free = ~ground.tracer.blocked(ends, np.repeat(places, len(samples), axis=0)).reshape(len(places), len(samples))
    share = free.mean(axis=1)
    return Limit(f"the dark on {target.name}", np.where(share > 0, -_BLOCKED_MM - share, NO_LIMIT_MM), _each(f"{target.name} would be lit, {{:.0%}} of it", share), "Shade it, or let it be lit.")


def _between(value: np.ndarray, ends) -> np.ndarray:
    return np.minimum(value - ends[0], ends[1] - value)


def _range(ends) -> str:
    return f"{ends[0]:g} to {ends[1]:g}"


class _each:
    """A sentence with the number of one place in it, put together only where it is asked for."""

    def __init__(self, sentence: str, values: np.ndarray):
        self._sentence, self._values = sentence, values

    def __getitem__(self, place: int) -> str:
        return self._sentence.format(self._values[place])


class _Blocker:
    """Names what stands most in the light to one place."""

    def __init__(self, ground: Ground, parts: np.ndarray, share: np.ndarray):
        self._ground, self._parts, self._share = ground, parts, share

    def __getitem__(self, place: int) -> str:
        met = self._parts[place][self._parts[place] >= 0]
        if not len(met):
            return "none of the light would reach it"
        name = self._ground.built.parts[np.bincount(met).argmax()].name
        return f"{name} stands in the light, of which {self._share[place]:.0%} gets past"


def _outside(points: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Return (n,) the distance of points from a box, negative inside it. [mm]"""
    beyond = np.maximum(low - points, points - high)
    inner = beyond.max(axis=1)
    return np.where(inner > 0, np.linalg.norm(np.maximum(beyond, 0), axis=1), inner)


def _lens_clear(ground: Ground, places: np.ndarray, point: np.ndarray) -> np.ndarray:
    """Return (n,) how far the straight light from places (n, 3) to `point` passes beside barrel and body, at its nearest. [mm]"""
    slack = np.full(len(places), NO_LIMIT_MM)
    for part in rig_parts(ground.scene.lens, ground.scene.body):
        radius = np.abs(part.corners[:, 1:]).max()
        front, back = part.corners[:, 0].max(), part.corners[:, 0].min()
        for view in ground.views:
            start, end = view.position + front * view.forward, view.position + back * view.forward
            slack = np.minimum(slack, between_segments(places, np.broadcast_to(point, places.shape), start, end) - radius)
    return slack


def between_segments(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> np.ndarray:
    """
    Return (n,) the least distance between segments a-b (n, 3) and c-d (3,). [mm]

    Notes
    -----
    The nearest points of two lines, clamped to the segments one after the other (C. Ericson, Real-Time Collision
    Detection, 2005, section 5.1.9; from memory).
    """
    u, v, w = b - a, d - c, a - c
    uu, uv, vv = np.einsum("ij,ij->i", u, u), u @ v, float(v @ v)
    uw, vw = np.einsum("ij,ij->i", u, w), w @ v
    span = uu * vv - uv**2
    s = np.clip(np.divide(uv * vw - vv * uw, span, out=np.zeros_like(span), where=span > 1e-12 * uu * vv), 0, 1)
    t = np.clip((uv * s + vw) / vv, 0, 1)
    s = np.clip((uv * t - uw) / np.maximum(uu, 1e-12), 0, 1)
    return np.linalg.norm(w + s[:, None] * u - t[:, None] * v, axis=1)
