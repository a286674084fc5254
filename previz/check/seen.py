"""
What light and camera do to each other: the lens's shadow in lit places, a lamp in the frame, edges of the set in the frame.

Takes the lit set's geometry, a shot and its move; gives the figures and the rules that judge them. All of it is straight
lines on arrays: a coarse frame at some moments of the take, and lines to the lamps' faces. Knows nothing of how bright
anything is. Stands, rail and lift are looked for in `gear.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from previz.build.built import BuiltSet
from previz.camera.view import axes, view_at
from previz.check.finding import Finding, rule
from previz.check.fit import CLEAR_MM, HIDDEN_SHARE, about, when
from previz.check.fit import EDGE_SHARE as EDGE_OF_FRAME
from previz.check.remedy import Change, changes, first_that
from previz.check.shade import Frame, Places, frame_of, haze, shaded_share, surfaces
from previz.check.text import number
from previz.haze.medium import medium_at
from previz.light.lamps import emitters, face_points
from previz.rays.packed import pack_cells
from previz.rays.tracer import SKIN_MM, Tracer
from previz.rig.clearance import clearance
from previz.rig.framing import Framing, framing
from previz.rig.moves import Move, plan_move
from previz.rig.solids import rig_parts
from previz.scene.model import Scene, Shot
from previz.scene.shots import scene_of

MOMENTS = 9
"""Moments of the take that are looked at (own choice)."""

GRID = (48, 27)
"""Rays across and down the frame (own choice)."""

FACE = np.stack(np.meshgrid((np.arange(4) + 0.5) / 4, (np.arange(4) + 0.5) / 4), axis=-1).reshape(-1, 2)
"""Points on a lamp's face, on the unit square."""

SHADOW_SHARE = 0.02
"""A shadow over more than this share of the lit surface, or of the lit haze, in frame is seen (own choice)."""

EDGE_SHARE = 0.002
"""More of the frame than this past the set is seen: about two rays of the grid (own choice)."""

LIMITS = {"shadow": SHADOW_SHARE, "shafts": SHADOW_SHARE, "lamp": 0.0, "beyond": EDGE_SHARE}
"""The most of each figure that nothing is said of."""

_SIDES = ("outside", "edge")
_SHELL = ("wall", "floor", "ceiling", "slope")


@dataclass(frozen=True)
class Worst:
    """The greatest share over the take, when, and where or whose. [1], [s]"""

    share: float
    at_take_s: float
    what: str


@dataclass(frozen=True)
class Seen:
    """
    What is in the frame that should not be.

    shadow   of lens and body, as a share of the lit surface in frame, and the lamp that throws it; None where there is none
    shafts   the same as a share of the lit haze in frame
    lamp     share of a lamp's face that the lens sees in frame, and its name; None the same
    beyond   share of the frame that looks past the set, or at its cut edges and outside, and where; None the same
    """

    shadow: Worst | None
    lamp: Worst | None
    beyond: Worst | None
    shafts: Worst | None = None


class Looker:
    """Looks at a set from places of a move; one tracer for all that is tried."""

    def __init__(self, built: BuiltSet, tracer: Tracer | None = None):
        self.built = built
        self.tracer = tracer or Tracer(built.vertices, built.triangles)
        shell = np.array([face.side in _SIDES and built.parts[face.part].kind in _SHELL for face in built.faces])
        self.cut = shell[built.face_of]

    def seen(self, scene: Scene, move: Move, *, lamps=None) -> Seen:
        """Return the worst of the take, lamps and lift where the move has them."""
        from previz.frames.along import lamp_rises

        lamps = tuple(emitters(scene, self.built)) if lamps is None else lamps
        take_s = np.linspace(0, move.take_s, MOMENTS if move.changes else 1)
        poses, focus, lift = move.poses(take_s), move.focus_mm(take_s), move.lift_mm(take_s)
        rises = lamp_rises(scene, self.built)
        medium = medium_at(scene, self.built)
        air = pack_cells(medium.cells) if medium.extinction_per_m > 0 else None
        found: dict[str, list[Worst]] = {kind: [] for kind in LIMITS}
        for i, at in enumerate(take_s):
            view = view_at(scene, poses[i], focus[i], GRID)
            faces = [face_points(lamp, FACE) + [0, 0, rise * lift[i]] for lamp, rise in zip(lamps, rises)]
            outside = [not self._inside(face.mean(axis=0)) for face in faces]
            frame, rig = frame_of(self.tracer, view), _rig_at(scene, view, poses[i])
            found["shadow"] += self._shadow(surfaces(frame), rig, lamps, faces, outside, at)
            found["shafts"] += [] if air is None else self._shadow(haze(frame, scene.lens.pupil, air), rig, lamps, faces, outside, at)
            found["lamp"] += self._lamp(view, lamps, faces, outside, at)
            found["beyond"] += self._beyond(frame, at)
        return Seen(**{kind: max(worst, key=lambda one: one.share, default=None) for kind, worst in found.items()})

    def _inside(self, point) -> bool:
        return any((cell.planes[:, :3] @ point <= cell.planes[:, 3]).all() for cell in self.built.cells)

    def _shadow(self, places: Places, rig: Tracer, lamps, faces, outside, at) -> list[Worst]:
        """Share of what is lit at `places` whose way to a lamp outside is blocked by lens or body and nothing else."""
        found = [Worst(shaded_share(self.tracer, places, face, rig), float(at), lamp.name) for lamp, face, out in zip(lamps, faces, outside) if out]
        return [worst for worst in found if worst.share]

    def _lamp(self, view, lamps, faces, outside, at) -> list[Worst]:
        """Share of a lamp's face that is in frame with nothing before it."""
        found = []
        for lamp, face, out in zip(lamps, faces, outside):
            x, y, _ = view.project(face)
            with np.errstate(invalid="ignore"):
                framed = (x >= 0) & (x <= view.columns) & (y >= 0) & (y <= view.rows)
            if out and framed.any():
                seen = framed.copy()
                seen[framed] = ~self.tracer.blocked(np.broadcast_to(view.position, (framed.sum(), 3)), face[framed])
                if seen.any():
                    found.append(Worst(float(seen.mean()), float(at), lamp.name))
        return found

    def _beyond(self, frame: Frame, at) -> list[Worst]:
        """Share of the frame that leaves the set through no opening, or meets its outside or a cut edge."""
        x, y, view, met = frame.x, frame.y, frame.view, frame.hits.triangle
        bad = (met < 0) & ~self._through_opening(frame.origins, frame.directions)
        bad |= (met >= 0) & self.cut[met]
        if not bad.any():
            return []
        sides = {"left": (x < view.columns / 3), "right": (x > 2 * view.columns / 3), "top": (y < view.rows / 3), "bottom": (y > 2 * view.rows / 3)}
        side = max(sides, key=lambda name: (bad & sides[name]).sum() / sides[name].sum())
        return [Worst(float(bad.mean()), float(at), side)]

    def _through_opening(self, origins, directions) -> np.ndarray:
        """Return (n,) bool: rays that pass through an opening that the maker cut, from inside out; a wall left off is none."""
        through = np.zeros(len(origins), dtype=bool)
        for aperture in self.built.apertures:
            if "." in aperture.opening:
                continue
            local_o, local_d = (origins - aperture.origin) @ aperture.axes.T, directions @ aperture.axes.T
            with np.errstate(divide="ignore", invalid="ignore"):
                t = (aperture.thickness / 2 - local_o[:, 2]) / local_d[:, 2]
            at = local_o[:, :2] + np.where(np.isfinite(t), t, 0)[:, None] * local_d[:, :2]
            inside = ((at @ aperture.edges[:, :2].T) >= aperture.edges[:, 2] - SKIN_MM).all(axis=1)
            through |= inside & (t > 0) & (local_d[:, 2] > 0)
        return through


def _rig_at(scene: Scene, view, pose) -> Tracer:
    """Return a tracer of lens and body as they stand at a pose."""
    turn = axes(np.reshape(pose.pan, ()), np.reshape(pose.tilt, ()))
    return _tracer_of([(part.corners @ turn + view.position, part.faces()) for part in rig_parts(scene.lens, scene.body)])


def _tracer_of(solids) -> Tracer:
    vertices, triangles, first = [], [], 0
    for corners, faces in solids:
        vertices.append(corners)
        triangles.append(faces + first)
        first += len(corners)
    return Tracer(np.concatenate(vertices), np.concatenate(triangles))


def remedied(study, taken, passes: Callable[[Change, Move], bool] = lambda change, move: True, *, mends: str | None = None) -> str | None:
    """
    Return the smallest change of the camera's place that mends a shot, tried; None where none does.

    Parameters
    ----------
    study : Study
    taken : Taken
        The shot's figures before.
    passes : callable
        Whether a rule's own question is answered with a change and the move that comes of it.
    mends : str, optional
        The figure of `Seen` that must come down to its limit.
    """
    scene, shot, spared = scene_of(study.scene, taken.shot), taken.shot, no_worse(study, taken, mends)

    def mended(change) -> bool:
        move = plan_move(change.scene, change.shot, study.built)
        return passes(change, move) and spared(change.scene, change.shot, move)

    forward = axes(*(np.reshape(angle, ()) for angle in (taken.move.poses(0.0).pan[0], taken.move.poses(0.0).tilt[0])))[0]
    found = first_that(mended, changes(scene, shot, forward))
    return None if found is None else found.words[0].upper() + found.words[1:]


def no_worse(study, taken, mends: str | None = None) -> Callable[[Scene, Shot, Move], bool]:
    """
    Return the question whether a changed shot spoils nothing: its figures stay within their limits or as they are, and so do the
    subject's framing and the air round the lens. The one that it `mends` must be within its limit.
    """
    looker = Looker(study.built)
    allowed = {name: limit if name == mends else max(share(getattr(taken.seen, name)), limit) for name, limit in LIMITS.items()}
    room = min(CLEAR_MM, taken.clearance.min_mm if taken.clearance else 0.0)

    def spared(scene: Scene, shot: Shot, move: Move) -> bool:
        after = looker.seen(scene, move)
        if any(share(getattr(after, name)) > most for name, most in allowed.items()):
            return False
        return _keeps_framing(looker, scene, shot, move, taken.framing) and clearance(study.built, scene, move).min_mm >= room

    return spared


def _keeps_framing(looker: Looker, scene: Scene, shot: Shot, move: Move, before: Framing | None) -> bool:
    """Return whether the subject sits in the frame as well as before, or well enough."""
    if before is None:
        return True
    after = framing(looker.built, looker.tracer, scene, shot, move)
    return after.worst_margin >= min(before.worst_margin, EDGE_OF_FRAME) and after.hidden_share <= max(before.hidden_share, HIDDEN_SHARE)


def share(worst: Worst | None) -> float:
    """Return a figure as a number; nothing seen is 0. [1]"""
    return 0.0 if worst is None else worst.share


@rule("lens shadow")
def lens_shadow(study):
    """Lens and body keep out of the light that the picture is made of."""
    for taken in study.shots:
        for kind, what in (("shadow", "what {} lights in frame"), ("shafts", "the haze that {} lights in frame")):
            found = getattr(taken.seen, kind)
            if share(found) <= LIMITS[kind]:
                continue
            yield Finding(
                "care",
                about(taken),
                f"The camera's own shadow falls in the picture: it takes {number(100 * found.share, 2)} % of {what.format(found.what)}, {when(taken, found.at_take_s)}.",
                _try(remedied(study, taken, mends=kind), "and it is gone", f"Come in from the other side of {found.what}, or raise the lamp."),
            )


@rule("lamp in frame")
def lamp_in_frame(study):
    """The lens does not look into a lamp outside."""
    for taken in study.shots:
        found = taken.seen.lamp
        if found is None:
            continue
        yield Finding(
            "care",
            about(taken),
            f"The lens looks into {found.what} {when(taken, found.at_take_s)}: {'all' if found.share > 0.99 else f'{100 * found.share:.0f} %'} of its face is in the picture, and it will glare.",
            _try(remedied(study, taken, mends="lamp"), "and it is out of sight", f"Stand {found.what} farther out to a side, where the wall hides it, or keep it if it is meant to be the sun."),
        )


@rule("edge of the set")
def edge_of_the_set(study):
    """Nothing is seen past the set, and none of its cut edges."""
    for taken in study.shots:
        found = taken.seen.beyond
        if share(found) <= EDGE_SHARE:
            continue
        yield Finding(
            "care",
            about(taken),
            f"The picture looks past the set, or on a cut edge of it: {number(100 * found.share, 2)} % of the frame, most at the {found.what}, {when(taken, found.at_take_s)}.",
            _try(remedied(study, taken, mends="beyond"), "and it is out of frame", "Hang a dark cloth or a card behind that side, or use a longer lens."),
        )


def _try(words: str | None, then: str, otherwise: str) -> str:
    return otherwise if words is None else f"{words}, {then}."
