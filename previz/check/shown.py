"""
Whether the shaft that a shot is about is shown: how much of it the frame takes in, and what stands before it.

Takes the built set, a shot's move and its shafts as they were measured; gives a figure, and the rule that judges it. All of it
is straight lines on arrays: rays from the lamp's centre through points spread over the opening, and points along each of
them. Of the light it knows only where it goes. A set whose openings are not known by name has no such figure.

    lit length  of the rays, from the opening to what they meet, as far as it runs through haze
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import shapely

from previz.build.built import BuiltSet
from previz.camera.view import View, view_at
from previz.check.finding import Finding, rule
from previz.check.fit import about, when
from previz.check.seen import MOMENTS, remedied
from previz.check.text import number
from previz.frames.along import lamp_rises
from previz.haze.medium import medium_at
from previz.light.lamps import emitters
from previz.rays.fans import fan
from previz.rays.packed import in_cells, pack_cells
from previz.rays.tracer import SKIN_MM, Tracer
from previz.rig.moves import Move
from previz.scene.model import Scene

ACROSS, ALONG = 12, 32
"""Rays across and up an opening's bounding box, and points on each ray (own choice)."""

LEAST_FRAMED = 0.25
"""Less of its lit length in frame than this, and the frame cuts a shaft off (own choice) ..."""

LEAST_RUN, LEAST_COVER = 1 / 3, 0.1
"""... unless what is in frame runs over this share of the frame's height, or covers this share of the frame: it crosses the picture then, however
long it is (own choice)."""

MOST_HIDDEN = 0.5
"""More of what is in frame than this behind other things, and a shaft is hidden (own choice)."""

BEHIND_THE_LENS = "behind the lens"


@dataclass(frozen=True)
class Shown:
    """
    How the plainest shaft of a shot sits in the frame, at its best over the take.

    lamp, opening     whose light, and through what
    framed_share      greatest share of its lit length in frame [1]
    framed_at_take_s  when that is [s]
    run               greatest way across the picture that a quarter of its rays go at least, as a share of the frame's height [1]
    cover             greatest share of the frame that it covers, as its outline there [1]
    past              where most of the rest lies, over the take: past the "left", "right", "top" or "bottom" edge or `BEHIND_THE_LENS`; None where nothing is left
    hidden_share      of all that is in frame over the take, the share that other things hide [1]
    hidden_at_take_s  when most of it is hidden; None where nothing is [s]
    behind            the part of the set that hides most; None the same
    """

    lamp: str
    opening: str
    framed_share: float
    framed_at_take_s: float
    run: float
    cover: float
    past: str | None
    hidden_share: float
    hidden_at_take_s: float | None
    behind: str | None

    @property
    def cut_off(self) -> bool:
        """Whether the frame has too little of it."""
        return self.framed_share < LEAST_FRAMED and self.run < LEAST_RUN and self.cover < LEAST_COVER

    @property
    def hidden(self) -> bool:
        """Whether too much of what the frame has stands behind something."""
        return self.hidden_share > MOST_HIDDEN


class Rays(NamedTuple):
    """Light of a lamp's centre through an opening: points (n, ALONG, 3) and the lit length (n, ALONG) that each stands for, 0 outside the haze [mm]; light (n,) that each stands for, as in a `Fan`."""

    points: np.ndarray
    lengths: np.ndarray
    light: np.ndarray


class Shafts:
    """Looks at the shafts of one scene from places of a move."""

    def __init__(self, built: BuiltSet, tracer: Tracer, scene: Scene):
        self.built, self.tracer, self.scene = built, tracer, scene
        self._lamps = {lamp.name: (lamp, rise) for lamp, rise in zip(emitters(scene, built), lamp_rises(scene, built))}
        self._haze = pack_cells(medium_at(scene, built).cells)
        self._size = float(np.linalg.norm(np.ptp(built.bounds, axis=0)))
        self._part_of = built.part_of

    def rays(self, lamp: str, opening: str, lift_mm: float = 0.0) -> Rays:
        """Return the light of a lamp through an opening with the lift at a height; no rays where none comes through. [mm]"""
        emitter, rise = self._lamps[lamp]
        start, way, reach, _, light = fan(self.built, self.tracer, replace(emitter, centre=emitter.centre + [0.0, 0.0, rise * lift_mm]), opening, ACROSS)
        reach = np.minimum(reach, self._size)
        share = (np.arange(ALONG) + 0.5) / ALONG
        points = start[:, None] + (share * reach[:, None])[:, :, None] * way[:, None]
        hazed = in_cells(points.reshape(-1, 3), self._haze).reshape(points.shape[:2])
        return Rays(points, hazed * reach[:, None] / ALONG, light)

    def strongest(self, names) -> tuple[str, str] | None:
        """Return which of (lamp, opening) lights up most haze, whether it is in frame or not; None where none lights any."""
        found = {name: self.rays(*name) for name in names}
        lit = {name: float(rays.lengths.sum(axis=1) @ rays.light) for name, rays in found.items()}
        best = max(lit, key=lit.get, default=None)
        return best if best and lit[best] > 0 else None

    def shown(self, move: Move, lamp: str, opening: str) -> Shown | None:
        """Return how one shaft sits in the frame over a move; None where no light comes through at any moment."""
        take_s = np.linspace(0, move.take_s, MOMENTS if move.changes else 1)
        poses, focus, lift = move.poses(take_s), move.focus_mm(take_s), move.lift_mm(take_s)
        heights, height_of = np.unique(lift if self._lamps[lamp][1] else 0 * lift, return_inverse=True)
        light = [self.rays(lamp, opening, height) for height in heights]
        if not any(rays.lengths.any() for rays in light):
            return None
        found = [self._moment(view_at(self.scene, poses[i], focus[i]), light[height_of[i]]) for i in range(len(take_s))]
        framed, hidden = (np.array([getattr(moment, name) for moment in found]) for name in ("framed", "hidden"))
        total = np.array([light[i].lengths.sum() for i in height_of])
        shares = framed / np.maximum(total, 1e-9)
        past, behind = ({name: sum(getattr(moment, kind).get(name, 0.0) for moment in found) for moment in found for name in getattr(moment, kind)} for kind in ("past", "behind"))
        best, seen = int(shares.argmax()), framed.sum() > 0 and hidden.sum() > 0
        worst = int((hidden / np.maximum(framed, 1e-9)).argmax())
        return Shown(
            lamp,
            opening,
            float(shares[best]),
            float(take_s[best]),
            max(moment.run for moment in found),
            max(moment.cover for moment in found),
            max(past, key=past.get, default=None),
            float(hidden.sum() / framed.sum()) if seen else 0.0,
            float(take_s[worst]) if seen else None,
            self.built.parts[max(behind, key=behind.get)].name if seen else None,
        )

    def _moment(self, view: View, rays: Rays) -> _Moment:
        points, lengths = rays.points.reshape(-1, 3), rays.lengths.ravel()
        x, y, depth = view.project(points)
        beyond = {"left": x < 0, "right": x > view.columns, "top": y < 0, "bottom": y > view.rows, BEHIND_THE_LENS: ~(depth > 0)}
        inside = ~np.any(list(beyond.values()), axis=0) & (lengths > 0)
        ways = points[inside] - view.position
        met = self.tracer.hit(np.broadcast_to(view.position, ways.shape), ways)
        blocked = met.distance < 1 - SKIN_MM / np.linalg.norm(ways, axis=1)
        part = self._part_of[met.triangle[blocked]]
        behind = np.bincount(part, lengths[inside][blocked], len(self.built.parts))
        past = {name: float(lengths[out].sum()) for name, out in beyond.items()}
        return _Moment(
            float(lengths[inside].sum()),
            _run(x, y, inside, rays.lengths.shape) / view.rows,
            shapely.MultiPoint(np.column_stack([x, y])[inside]).convex_hull.area / (view.columns * view.rows),
            {name: length for name, length in past.items() if length > 0},
            float(lengths[inside][blocked].sum()),
            {int(i): float(behind[i]) for i in np.flatnonzero(behind)},
        )


class _Moment(NamedTuple):
    """One moment: lit length in frame; `run` and `cover` as of `Shown`; lit length past each edge; lit length in frame that is hidden, and by which parts. [mm]"""

    framed: float
    run: float
    cover: float
    past: dict[str, float]
    hidden: float
    behind: dict[int, float]


def _run(x, y, inside, shape) -> float:
    """Return how far across the picture a quarter of the rays go at least, between their first and their last point in frame. [pixel]"""
    inside, x, y = inside.reshape(shape), x.reshape(shape), y.reshape(shape)
    row, first, last = np.arange(shape[0]), inside.argmax(axis=1), shape[1] - 1 - inside[:, ::-1].argmax(axis=1)
    runs = np.hypot(x[row, last] - x[row, first], y[row, last] - y[row, first])
    # A single ray across a corner is not the shaft.
    return float(np.quantile(np.where(inside.any(axis=1), runs, 0.0), 0.75)) if shape[0] else 0.0


def shown(built: BuiltSet, tracer: Tracer, scene: Scene, move: Move, shafts) -> Shown | None:
    """
    Return how the plainest shaft of a shot sits in the frame.

    Parameters
    ----------
    scene : Scene
        As the shot sees it.
    shafts : sequence of previz.check.shaft.Shaft
        Of the shot, plainest first. Where none of them shows, the one that lights up most haze is looked for: it may be just out of frame.

    Returns
    -------
    Shown or None
        None where there is no haze to show a shaft, or no opening by name that light comes through.
    """
    names = [(one.lamp, one.opening) for one in shafts if one.opening is not None]
    if not names:
        return None
    looker = Shafts(built, tracer, scene)
    plainest = names[0] if shafts[0].frame_share > 0 else looker.strongest(names)
    return plainest and looker.shown(move, *plainest)


@rule("shaft shown")
def shaft_shown(study):
    """The frame takes in the shaft that the picture is about, and nothing hides it."""
    for taken in study.shots:
        found = taken.shown
        if found is None or not (found.cut_off or found.hidden):
            continue
        whose = f"the shaft of {found.lamp} through {found.opening}"
        if found.cut_off:
            says = f"The frame cuts off {whose}: {_at_most(taken, found)}, and most of {'it' if found.framed_share == 0 else 'the rest'} lies {_past(found.past)}."
            then, otherwise = "and a quarter of it or more is in the picture", "Frame it wider: stand farther back, take a shorter lens, or turn towards it."
        else:
            says = f"{'Over the take ' if taken.move.changes else ''}{100 * found.hidden_share:.0f} % of what the frame has of {whose} is hidden, most of it behind {found.behind}{_moment(taken, found.hidden_at_take_s)}."
            then, otherwise = "and it stands free", f"Move {found.behind} aside, or bring the lens round it."
        tried = remedied(study, taken, _shows(study, found))
        yield Finding("care", about(taken), says, otherwise if tried is None else f"{tried}, {then}.")


def _at_most(taken, found: Shown) -> str:
    if found.framed_share == 0:
        return "none of it comes into the picture"
    return f"{'no more than ' if taken.move.changes else 'only '}{number(100 * found.framed_share, 2)} % of its length is in the picture{_moment(taken, found.framed_at_take_s)}"


def _moment(taken, at_take_s: float) -> str:
    return f", {when(taken, at_take_s)}" if taken.move.changes else ""


def _past(side: str) -> str:
    return side if side == BEHIND_THE_LENS else f"past the {side} edge"


def _shows(study, before: Shown):
    """Return the question whether a change of the camera shows the same shaft; each is looked at anew."""
    tracer = Tracer(study.built.vertices, study.built.triangles)

    def passes(change, move: Move) -> bool:
        after = Shafts(study.built, tracer, change.scene).shown(move, before.lamp, before.opening)
        return after is not None and not after.hidden and (after.framed_share >= LEAST_FRAMED or not (before.cut_off or after.cut_off))

    return passes
