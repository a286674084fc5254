"""
Gear in the picture: a stand, the rail, its carriage or a lift in frame, or their shadows.

Takes the set's geometry, a shot and its move; gives figures and the rules that judge them. What gear looks like is what
`rig/supports.py` assumes. First points along each bar are looked for in the frame; only where one is in sight a finer frame of rays
tells how much of the picture it takes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from previz.build.built import BuiltSet
from previz.build.inside import in_a_room
from previz.build.places import table_z
from previz.camera.view import View, view_at
from previz.check.finding import Finding, rule
from previz.check.fit import about, when
from previz.check.remedy import STEPS_MM, Change, first_that
from previz.check.seen import FACE, GRID, MOMENTS, SHADOW_SHARE, remedied
from previz.check.shade import frame_of, haze, shaded_share, surfaces
from previz.check.text import number
from previz.frames.along import lamp_rises
from previz.haze.medium import medium_at
from previz.light.lamps import emitters, face_points
from previz.rays.packed import pack_cells
from previz.rays.tracer import SKIN_MM, Tracer
from previz.rig.moves import Move, on_rail, plan_move
from previz.rig.supports import BAR_FACES, RAIL_MM, Bar, Support, supports
from previz.scene.model import Scene, Shot
from previz.scene.shots import scene_of

FINE = (192, 108)
"""Rays across and down the frame: a column of 20 mm at 1.5 m is two of them wide through 24 mm (own choice)."""

APART_MM = 5.0
"""Points along a bar that are looked for: narrower gaps in a wall are none to see gear through (own choice)."""

TABLE_SHARE = 0.5
"""How far the table is taken to reach past the set, as a share of its longest side (own choice: past that, floor and stands may be seen over its edge)."""

GEAR_SHARE = 0.001
"""Gear over more of the frame than this is seen: twenty rays (own choice)."""


@dataclass(frozen=True)
class Stray:
    """
    Gear in the frame, at its worst over the take.

    kind, what, lamp  kind, name and lamp of the `Support`
    share        of the frame [1]
    at_take_s    when that is [s]
    from_take_s, to_take_s  first and last moment looked at that it is seen at [s]
    side         "left" | "right" | "top" | "bottom" | "middle" of the frame
    """

    kind: str
    what: str
    lamp: str | None
    share: float
    at_take_s: float
    from_take_s: float
    to_take_s: float
    side: str


@dataclass(frozen=True)
class Cast:
    """
    A shadow of gear in the frame, at its worst over the take.

    kind, what   kind and name of the `Support`
    lamp         whose light it takes
    on           "surfaces" | "haze"
    share        of what the lamp lights of that in frame [1]
    at_take_s    when that is [s]
    """

    kind: str
    what: str
    lamp: str
    on: str
    share: float
    at_take_s: float


@dataclass(frozen=True)
class Gear:
    """What of the gear shows: in frame over more than `GEAR_SHARE`, and in shadows over more than `SHADOW_SHARE`; the worst first."""

    in_frame: tuple[Stray, ...] = ()
    shadows: tuple[Cast, ...] = ()


class Around:
    """Looks for gear from places of a move; one tracer for all that is tried."""

    def __init__(self, built: BuiltSet, tracer: Tracer | None = None):
        self.built = built
        self.tracer = tracer or Tracer(built.vertices, built.triangles)

    def gear(self, scene: Scene, shot: Shot, move: Move) -> Gear:
        """Return what shows of it over the take."""
        return Gear(self.strays(scene, shot, move), self.casts(scene, shot, move))

    def strays(self, scene: Scene, shot: Shot, move: Move) -> tuple[Stray, ...]:
        """Return what is in frame."""
        seen: dict[tuple[str, str, str | None], list[tuple[float, float, str]]] = {}
        for at, view, _, around in self._moments(scene, shot, move, FINE):
            sunk = float(move.lift_mm(at)[0]) if scene.lift is not None and scene.lift.carries == "set" else 0.0
            for support in around:
                share, side = self._in_frame(view, support, scene.lens.pupil, table_z(scene, self.built) - sunk)
                if share > GEAR_SHARE:
                    seen.setdefault((support.kind, support.name, support.lamp), []).append((share, at, side))
        found = []
        for (kind, name, lamp), times in seen.items():
            share, at, side = max(times, key=lambda time: time[0])
            found.append(Stray(kind, name, lamp, share, at, times[0][1], times[-1][1], side))
        return tuple(sorted(found, key=lambda stray: -stray.share))

    def casts(self, scene: Scene, shot: Shot, move: Move) -> tuple[Cast, ...]:
        """Return the shadows in frame. A stand throws none of its own lamp."""
        medium, found = medium_at(scene, self.built), {}
        air = pack_cells(medium.cells) if medium.extinction_per_m > 0 else None
        for at, view, faces, around in self._moments(scene, shot, move, GRID):
            between = [(name, face, support) for name, face in faces.items() for support in around if self._may_shade(view, name, face, support)]
            if not between:
                continue
            frame = frame_of(self.tracer, view)
            places = {"surfaces": surfaces(frame)} | ({} if air is None else {"haze": haze(frame, scene.lens.pupil, air)})
            for name, face, support in between:
                for on, there in places.items():
                    share, key = shaded_share(self.tracer, there, face, tracer_of(support.bars)), (support.name, name, on)
                    if share > SHADOW_SHARE and (key not in found or share > found[key].share):
                        found[key] = Cast(support.kind, support.name, name, on, share, at)
        return tuple(sorted(found.values(), key=lambda cast: -cast.share))

    def _may_shade(self, view: View, name: str, face: np.ndarray, support: Support) -> bool:
        """Return whether a support is not plainly beside all ways from what is in frame to a lamp outside: their boxes meet."""
        if support.lamp == name or in_a_room(self.built, face.mean(axis=0)):
            return False
        bars, ways = np.concatenate([bar.corners() for bar in support.bars]), np.concatenate([self.built.bounds, view.position[None], face])
        return not ((bars.max(axis=0) < ways.min(axis=0)).any() or (bars.min(axis=0) > ways.max(axis=0)).any())

    def _moments(self, scene: Scene, shot: Shot, move: Move, size) -> Iterator[tuple[float, View, dict[str, np.ndarray], list[Support]]]:
        """Give moments of the take [s], the frame as it is seen then, points on the lamps' faces by name, and the gear that stands around."""
        lamps, rises = emitters(scene, self.built), lamp_rises(scene, self.built)
        for at in np.linspace(0, move.take_s, MOMENTS if move.changes else 1):
            lift = float(move.lift_mm(at)[0])
            faces = {lamp.name: face_points(lamp, FACE) + [0, 0, rise * lift] for lamp, rise in zip(lamps, rises)}
            yield float(at), view_at(scene, move.poses(at)[0], float(move.focus_mm(at)[0]), size), faces, supports(scene, self.built, shot, move, float(at), lamps, rises)

    def _in_frame(self, view: View, support: Support, front_mm: float, table: float) -> tuple[float, str]:
        """Return the share of the frame that shows a support with nothing before it, and on which side; the lens's own barrel hides what is behind its front, and the table what is below it."""
        points = np.concatenate([bar.points(APART_MM) for bar in support.bars])
        x, y, depth = view.project(points)
        with np.errstate(invalid="ignore"):
            framed = (depth > front_mm) & (x >= 0) & (x <= view.columns) & (y >= 0) & (y <= view.rows)
        if not framed.any() or not self._free(view, points[framed], support, table).any():
            return 0.0, ""
        frame = frame_of(tracer_of(support.bars), view)
        met = frame.hits.distance
        shown = np.isfinite(met) & (met * (frame.directions @ view.forward) > front_mm)
        ends = frame.origins[shown] + (met[shown, None] - SKIN_MM) * frame.directions[shown]
        shown[shown] = self._free(view, ends, support, table)
        return float(shown.mean()), _side(view, frame.x[shown], frame.y[shown])

    def _free(self, view: View, points: np.ndarray, support: Support, table: float) -> np.ndarray:
        """Return (n,) bool: whether neither the set nor the table, its top at a height, stands between the lens and points of a support (n, 3). [mm]"""
        low, high = self.built.bounds[:, :2]
        # A rail lies where the table is not, so of that no more is sure than what is below the set.
        past = 0.0 if support.kind in ("rail", "carriage") else TABLE_SHARE * (high - low).max()
        drop = view.position[2] - points[:, 2]
        along = (view.position[2] - table) / np.where(drop == 0, np.inf, drop)
        at = view.position[:2] + along[:, None] * (points[:, :2] - view.position[:2])
        below = (along > 0) & (along < 1) & (at >= low - past).all(axis=1) & (at <= high + past).all(axis=1)
        return ~below & ~self.tracer.blocked(np.broadcast_to(view.position, points.shape), points)


def tracer_of(bars: tuple[Bar, ...]) -> Tracer:
    """Return a tracer of bars."""
    return Tracer(np.concatenate([bar.corners() for bar in bars]), np.concatenate([BAR_FACES + 8 * i for i in range(len(bars))]))


def _side(view: View, x, y) -> str:
    """Return the side of the frame that pixels lie on, by their middle; "middle" within the middle third."""
    if not len(x):
        return ""
    across, down = x.mean() / view.columns - 0.5, y.mean() / view.rows - 0.5
    if max(abs(across), abs(down)) < 1 / 6:
        return "middle"
    if abs(across) >= abs(down):
        return "left" if across < 0 else "right"
    return "top" if down < 0 else "bottom"


@rule("gear in frame")
def gear_in_frame(study):
    """No stand, rail or lift stands in the picture."""
    for taken in study.shots:
        for found in taken.gear.in_frame:
            free = _free_of_the_rail(study, taken, found)
            otherwise = f"Stand {found.lamp} where a wall hides its stand and aim it anew, or hang a dark cloth before the stand, out of the beam."
            if found.kind != "stand":
                otherwise = "Take the rail away for this shot." if free else f"Hang a dark cloth or a card before {found.what}."
            yield Finding(
                "care",
                about(taken),
                f"{_first_large(found.what)} stands in the picture: {number(100 * found.share, 2)} % of the frame, {_where(found.side)}{_how_long(taken, found)}.",
                _remedy(study, taken, found, "and it is out of frame" + ("; or take the rail away for this shot" if free else ""), otherwise),
            )


@rule("gear's shadow")
def gears_shadow(study):
    """Stand, rail and lift keep out of the light that the picture is made of."""
    for taken in study.shots:
        for found in taken.gear.shadows:
            what = f"what {found.lamp} lights in frame" if found.on == "surfaces" else f"the haze that {found.lamp} lights in frame"
            yield Finding(
                "care",
                about(taken),
                f"The shadow of {found.what} falls in the picture: it takes {number(100 * found.share, 2)} % of {what}{_most(taken, found.at_take_s)}.",
                _remedy(study, taken, found, "and it is gone", "Take the rail away for this shot." if _free_of_the_rail(study, taken, found) else f"Bring {found.what} out from between {found.lamp} and the set."),
            )


def _free_of_the_rail(study, taken, found: Stray | Cast) -> bool:
    return found.kind == "rail" and not on_rail(study.scene, taken.shot)


def _first_large(words: str) -> str:
    return words[0].upper() + words[1:]


def _where(side: str) -> str:
    return {"left": "on the left", "right": "on the right", "top": "at the top", "bottom": "at the bottom"}.get(side, "in the middle")


def _most(taken, at_take_s: float) -> str:
    return f", {when(taken, at_take_s)}" if taken.move.changes else ""


def _how_long(taken, found: Stray) -> str:
    if not taken.move.changes:
        return ""
    if found.from_take_s <= 0 and found.to_take_s >= taken.move.take_s - 1e-9:
        return f", all through the take and most {when(taken, found.at_take_s)}"
    if found.from_take_s == found.to_take_s:
        return f", {when(taken, found.at_take_s)}"
    return f", from {number(found.from_take_s, 2)} to {number(found.to_take_s, 2)} s of the take and most {when(taken, found.at_take_s)}"


def _remedy(study, taken, found: Stray | Cast, then: str, otherwise: str) -> str:
    """Return what to do, tried: another height of the rail, else another place of the camera; else in words alone. The shadow of what stands by itself falls where it does, wherever the camera is."""
    passes = _mended(study, taken, found)
    tried = _rail_elsewhere(study, taken, passes) if found.kind == "rail" else None
    if tried is None and (isinstance(found, Stray) or (found.kind in ("rail", "carriage") and on_rail(study.scene, taken.shot))):
        tried = remedied(study, taken, passes)
    return otherwise if tried is None else f"{tried}, {then}."


def _mended(study, taken, found: Stray | Cast) -> Callable[[Change, Move], bool]:
    """Return the question whether a change makes one piece of gear, or its shadow, vanish and shows no more of the rest."""
    around, kinds = Around(study.built), (Around.strays, Around.casts)
    before = {_key(one): one.share for one in (*taken.gear.in_frame, *taken.gear.shadows)}

    def passes(change: Change, move: Move) -> bool:
        # What is to vanish is asked for first.
        for look in kinds if isinstance(found, Stray) else reversed(kinds):
            if any(_key(one) == _key(found) or one.share > before.get(_key(one), 0.0) for one in look(around, change.scene, change.shot, move)):
                return False
        return True

    return passes


def _key(one: Stray | Cast) -> tuple:
    return (one.what,) if isinstance(one, Stray) else (one.what, one.lamp, one.on)


def _rail_elsewhere(study, taken, passes) -> str | None:
    """
    Return in words the least step that the rail may go down or up under a camera that stays where it is, tried; None where none helps.

    It comes no nearer to the lens than half the body's height, and not through the table.
    """
    scene, slider, top = scene_of(study.scene, taken.shot), study.scene.slider, table_z(study.scene, study.built)
    low, near = min(slider.from_[2], slider.to[2]) - RAIL_MM, min(abs(slider.rise), study.scene.body.box[1] / 2)

    def answers(step: float) -> bool:
        rise = slider.rise - step
        if rise * slider.rise < 0 or abs(rise) < near or (low < top) != (low + step < top):
            return False
        ends = {key: (*end[:2], end[2] + step) for key, end in (("from_", slider.from_), ("to", slider.to))}
        change = Change("", scene.model_copy(update={"slider": slider.model_copy(update=ends | {"rise": rise})}), taken.shot, abs(step))
        return passes(change, plan_move(change.scene, change.shot, study.built))

    step = first_that(answers, (way * step for step in STEPS_MM for way in (-1, 1)))
    return step and f"{'Lower' if step < 0 else 'Raise'} the rail {abs(step)} mm under a camera that stays where it is (rise = {number(slider.rise - step, 6)})"
