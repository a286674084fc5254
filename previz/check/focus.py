"""
Focus: what of the subject is sharp at each moment, where the marks are, and whether the motor keeps up.

Takes the lit set's geometry, a shot and its move; gives the figures, and the rules that judge them. Looks at what the lens
sees of the subject, through a grid of rays, so the far side of a boat need not be sharp. Knows nothing of light.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from previz.build.built import BuiltSet
from previz.build.places import prop_box
from previz.camera.depth import blur_mm, hyperfocal, limits
from previz.camera.diffraction import airy_mm, balanced_stop
from previz.camera.exposure import effective_stop, stop_used, working_stop
from previz.camera.lens import inverse_p, magnification, magnification_limited
from previz.camera.view import view_at
from previz.check.finding import Finding, rule
from previz.check.fit import about, when
from previz.check.remedy import first_that, least_that
from previz.check.text import millimetres, number
from previz.rays.tracer import Tracer
from previz.rig.moves import Move, Pull, plan_move
from previz.scene.focusing import marks_of
from previz.scene.model import FocusMark, Scene, Shot

MOMENTS = 25
"""Moments of the take at which the subject is looked at (own choice)."""

GRID = (32, 18)
"""Rays across and down the frame (own choice)."""

SHARP_SHARE = 0.75
"""As much of what is seen of a subject should be sharp at every moment; the rest may fall off, as it does to an eye (own choice)."""

WHOLE = 0.98
"""From this share on the whole of it is sharp: the rest is a grazed edge (own choice)."""

SOFT = 1.5
"""A stop whose Airy disc is wider than this many circles of confusion is no remedy: what it brings in is soft (own choice)."""

DISTANCES = 60
"""Distances that a remedy tries, through the depth of the subject."""

HELD_SHARE = 0.1
"""Focus that wanders by less than this share of what is sharp is held (own choice)."""

PULL_MOMENTS = 401
"""Moments between which the pull's speed is taken."""

LEAST_MM = 1.0
"""A lens that is said to focus on its own front is taken to focus this near, so that its ring has an end."""

LONGEST_S = 3600.0
"""No clip is longer in the scene file."""

MARKED = (2.8, 4, 5.6, 8, 11, 14, 16, 22, 32, 45, 64)
"""Stops as marked on rings (common practice)."""


@dataclass(frozen=True)
class Mark:
    """A focus mark: when in the take, and where the plane of focus is then, from the pupil and from the front of the barrel. [s], [mm]"""

    at_take_s: float
    distance_mm: float
    from_front_mm: float


@dataclass(frozen=True)
class Sharpness:
    """
    How a shot is in focus.

    take_s, distance_mm, near_mm, far_mm   (n,) at each moment: focus, sharp from and to, from the entrance pupil [s], [mm]
    subject_mm     (n, 2) nearest and farthest of what is seen of the subject; NaN where nothing is, or there is none [mm]
    sharp_share    (n,) share of what is seen of it that is sharp; NaN the same [1]
    stop           as marked; effective_stop, magnification where focus is nearest [1]
    hyperfocal_mm  [mm]
    airy_mm        Airy disc where focus is nearest; coc_mm and pixel_mm to hold it against [mm]
    balanced_stop  at which the subject's defocus at worst equals the Airy disc; None without subject [1]
    pull           marks, where focus changes
    pull_mm_s      fastest change of the focused distance [mm/s]
    pull_s         the shortest time from endless to closest focus that would keep up with the pull; 0 where focus is held [s]
    """

    take_s: np.ndarray
    distance_mm: np.ndarray
    near_mm: np.ndarray
    far_mm: np.ndarray
    subject_mm: np.ndarray
    sharp_share: np.ndarray
    stop: float
    effective_stop: float
    magnification: float
    hyperfocal_mm: float
    airy_mm: float
    coc_mm: float
    pixel_mm: float
    balanced_stop: float | None
    pull: tuple[Mark, ...]
    pull_mm_s: float
    pull_s: float
    depths: tuple = ()

    @property
    def worst(self) -> int | None:
        """The moment at which least of the subject is sharp; None where it is never seen."""
        return None if np.isnan(self.sharp_share).all() else int(np.nanargmin(self.sharp_share))


def sharpness(built: BuiltSet, tracer: Tracer, scene: Scene, shot: Shot, move: Move) -> Sharpness:
    """Return how a shot is in focus, over its whole take."""
    lens, body, stop = scene.lens, scene.body, stop_used(scene.lens, shot)
    take_s = np.linspace(0, move.take_s, MOMENTS if move.changes or isinstance(move.focus_on, Pull) else 1)
    distance, over_p = move.focus_mm(take_s), inverse_p(lens)
    near, far = limits(lens.focal, stop, body.coc_mm, distance, over_p)
    depths = _depths(built, tracer, scene, shot, move, take_s)
    seen = np.array([(d.min(), d.max()) if len(d) else (np.nan, np.nan) for d in depths])
    share = np.array([((d >= a) & (d <= b)).mean() if len(d) else np.nan for d, a, b in zip(depths, near, far)])
    closest = float(distance.min())
    return Sharpness(
        take_s, distance, near, far, seen, share, stop, float(effective_stop(lens, shot, closest)),
        float(magnification(lens.focal, closest, over_p)), float(hyperfocal(lens.focal, stop, body.coc_mm, over_p)),
        float(airy_mm(working_stop(lens, stop, closest))), body.coc_mm, body.sensor[0] / body.crop / body.resolution[0],
        _balance(lens, distance, seen), _marks(scene, shot, move), *_pull_speed(scene, move), depths,
    )  # fmt: skip


def _depths(built, tracer, scene, shot, move, take_s) -> tuple[np.ndarray, ...]:
    """Return, for each moment, how far along the axis each seen point of the subject lies, (k,). [mm]"""
    if shot.subject_name is None:
        return tuple(np.zeros(0) for _ in take_s)
    subject = np.isin(built.part_of, built.part_named(shot.subject_name))
    poses, focus = move.poses(take_s), move.focus_mm(take_s)
    box = prop_box(built, shot.subject_name)
    return tuple(_seen(view_at(scene, poses[i], focus[i], GRID), tracer, subject, box) for i in range(len(take_s)))


def _seen(view, tracer, subject, box) -> np.ndarray:
    corners = np.array([[x, y, z] for x in box[:, 0] for y in box[:, 1] for z in box[:, 2]])
    x, y, depth = view.project(corners)
    low, high = np.zeros(2), np.array([view.columns, view.rows], float)
    if (depth > 0).all():
        low, high = np.clip([[x.min(), y.min()], [x.max(), y.max()]], 0, high)
    steps = [low[k] + (high[k] - low[k]) * (np.arange(GRID[k]) + 0.5) / GRID[k] for k in (0, 1)]
    directions = view.directions(*(grid.ravel() for grid in np.meshgrid(*steps)))
    hits = tracer.hit(np.broadcast_to(view.position, directions.shape), directions)
    on = (hits.triangle >= 0) & subject[hits.triangle]
    return hits.distance[on].astype(float) * (directions[on] @ view.forward)


def _balance(lens, distance, seen) -> float | None:
    """Return the stop that draws the subject's worst point best, at the moment when it is worst."""
    with np.errstate(invalid="ignore"):
        worst = np.nanmax(blur_mm(lens.focal, 1.0, distance[:, None], seen, inverse_p(lens)), initial=0.0)
    return balanced_stop(float(worst), float(airy_mm(working_stop(lens, 1.0, distance.min())))) if worst > 0 else None


def _marks(scene, shot, move) -> tuple[Mark, ...]:
    """The maker's own marks, else start, middle and end where focus follows something; hands shake faster than anyone pulls."""
    when_s = np.array([mark.at for mark in marks_of(shot)] or [0, move.take_s / 2, move.take_s])
    distance = move.focus_mm(when_s)
    move = move.steady
    along = move.focus_mm(np.linspace(0, move.take_s, PULL_MOMENTS))
    near, far = limits(scene.lens.focal, stop_used(scene.lens, shot), scene.body.coc_mm, along.min(), inverse_p(scene.lens))
    if np.ptp(along) < HELD_SHARE * (far - near):
        return ()
    return tuple(Mark(float(s), float(d), float(d - scene.lens.pupil)) for s, d in zip(when_s, distance))


def _pull_speed(scene, move) -> tuple[float, float]:
    """
    Return the fastest change of focus [mm/s], and the motor's time over the whole ring that keeps up with it [s].

    Notes
    -----
    The ring's travel is taken as even in 1/u, as a lens on an even thread moves out by nearly f^2/u (thin lens; S. F. Ray,
    Applied Photographic Optics, 3rd ed. 2002, from memory). All of it is that of closest focus.
    """
    take_s = np.linspace(0, move.take_s, PULL_MOMENTS)
    distance, step = move.steady.focus_mm(take_s), take_s[1] - take_s[0]
    ring = max(scene.lens.near + scene.lens.pupil, LEAST_MM) / distance
    fastest = float(np.abs(np.diff(ring)).max() / step)
    return float(np.abs(np.diff(distance)).max() / step), (1 / fastest if fastest > 1e-9 else 0.0)


@rule("focus")
def focus(study):
    """The lens focuses no nearer than it can, and as much of the subject as it takes is sharp."""
    lens = study.scene.lens
    for taken in study.shots:
        found = taken.sharpness
        nearest = float(found.distance_mm.min()) - lens.pupil
        if nearest < lens.near - 1e-6:
            yield Finding(
                "stop",
                about(taken),
                f"Focus lies {number(nearest)} mm from the front of the barrel, and the lens focuses no nearer than {number(lens.near)} mm.",
                f"Keep the lens {millimetres(math.ceil(lens.near - nearest))} mm farther from what is in focus, or focus farther off.",
            )
            continue
        if np.any(magnification_limited(lens.focal, found.distance_mm, inverse_p(lens))):
            yield Finding(
                "care",
                about(taken),
                f"Focus comes to {number(float(found.distance_mm.min()))} mm of the entrance pupil, within a focal length of {number(lens.focal)} mm "
                "or nearly so, where frame and exposure of a thin lens mean nothing.",
                'Measure how large the lens draws there and write it as macro in [lens], or set focusing = "internal" if its glass moves inside.',
            )
        yield from _sharp(study, taken)


def _sharp(study, taken):
    found = taken.sharpness
    i = int(np.argmin(found.distance_mm))
    says = f"Sharp from {number(found.near_mm[i])} mm to {_far(found.far_mm[i])} of the entrance pupil where focus is nearest"
    worst = found.worst
    if worst is None or found.sharp_share[worst] >= SHARP_SHARE:
        least = "" if worst is None else f"; {_how_much(found.sharp_share[worst])} of what is seen of {taken.shot.subject_name} is within"
        yield Finding("ok", about(taken), f"{says}{least}.")
        return
    low, high = found.subject_mm[worst]
    yield Finding(
        "care",
        about(taken),
        f"{f'Only {100 * found.sharp_share[worst]:.0f} %' if found.sharp_share[worst] >= 0.005 else 'Nothing'} of what is seen of {taken.shot.subject_name} is sharp {when(taken, found.take_s[worst])}: it lies from "
        f"{number(low)} to {number(high)} mm of the entrance pupil, and sharp is {number(found.near_mm[worst])} to {_far(found.far_mm[worst])}.",
        sharper(study, taken),
    )


def _far(mm: float) -> str:
    return "endless" if math.isinf(mm) else f"{number(mm)} mm"


def _how_much(share: float) -> str:
    return "all" if share >= WHOLE else f"{100 * share:.0f} %"


def sharper(study, taken) -> str:
    """Return what would make enough of the subject sharp: another distance, a pull, another stop, each tried by looking anew; else what comes nearest to it."""
    found, scene, shot = taken.sharpness, study.scene, taken.shot
    tracer = Tracer(study.built.vertices, study.built.triangles)

    def share(**change) -> float:
        tried = shot.model_copy(update=change)
        again = sharpness(study.built, tracer, scene, tried, plan_move(scene, tried, study.built))
        return 0.0 if again.worst is None else float(again.sharp_share[again.worst])

    anew = [(share(focus=focus), words) for focus, words in _focused_anew(scene, found)]
    enough = first_that(lambda one: one[0] >= SHARP_SHARE, anew)
    if enough:
        return f"Set {enough[1]}: {_how_much(enough[0])} of what is seen is then sharp throughout."
    stop = first_that(lambda stop: share(stop=stop) >= SHARP_SHARE, (stop for stop in MARKED if stop > found.stop and _drawn(scene, found, stop) <= SOFT * found.coc_mm))
    if stop:
        return f"Stop down to f/{number(stop)}: {_how_much(share(stop=stop))} is then sharp throughout."
    nearest = max(anew, default=(0.0, ""))
    if nearest[0] > found.sharp_share[found.worst] + 0.05:
        return f"Set {nearest[1]}, which makes {100 * nearest[0]:.0f} % of it sharp at worst; for more, stand farther back."
    return f"Neither another distance nor a stop brings {shot.subject_name} in: stand farther back, or let only a part of it be sharp."


def _focused_anew(scene: Scene, found: Sharpness):
    """Yield (focus, words): the best single distance, then the best pull from start to end, as what was seen has it. [mm]"""
    lens, last = scene.lens, len(found.take_s) - 1
    candidates = np.unique(np.linspace(max(np.nanmin(found.subject_mm), lens.near + lens.pupil), np.nanmax(found.subject_mm), DISTANCES).round())
    if candidates[0] < lens.near + lens.pupil:
        return
    best = candidates[_middle_of_best([least_share(scene, found, u, found.stop) for u in candidates])]
    yield float(best), f"focus = {best:g}, held"
    if last and len(found.depths[0]) and len(found.depths[last]):
        ends = [candidates[_middle_of_best([_share_at(scene, found, u, i) for u in candidates])] for i in (0, last)]
        marks = tuple(FocusMark(at=round(float(at), 3), focus=float(u)) for at, u in zip(found.take_s[[0, last]], ends))
        if ends[0] != ends[1]:
            yield marks, f"focus = [{', '.join(f'{{ at = {mark.at:g}, focus = {mark.focus:g} }}' for mark in marks)}]"


def _middle_of_best(shares) -> int:
    """Return the middle one of those that are as good as the best, so that there is room on both sides."""
    best = np.flatnonzero(np.asarray(shares) >= max(shares) - 1e-9)
    return int(best[len(best) // 2])


def _share_at(scene, found, u, i) -> float:
    near, far = limits(scene.lens.focal, found.stop, scene.body.coc_mm, u, inverse_p(scene.lens))
    return float(((found.depths[i] >= near) & (found.depths[i] <= far)).mean())


def least_share(scene: Scene, found: Sharpness, distance, stop: float) -> float:
    """Return the least share of what is seen of the subject that would be sharp over the take, focused at one distance and at a stop. [mm], [1]"""
    near, far = limits(scene.lens.focal, stop, scene.body.coc_mm, distance, inverse_p(scene.lens))
    return min(float(((d >= near) & (d <= far)).mean()) for d in found.depths if len(d))


@rule("diffraction")
def diffraction(study):
    """Stopped down too far a lens is soft all over."""
    for taken in study.shots:
        found = taken.sharpness
        if found.airy_mm <= found.coc_mm:
            continue
        wider = first_that(lambda stop: _drawn(study.scene, found, stop) <= found.coc_mm, (stop for stop in reversed(MARKED) if study.scene.lens.widest <= stop < found.stop))
        said = f"At f/{number(found.stop)}, effectively f/{number(found.stop * _loss(study.scene, found))} this near, diffraction draws a point {number(1000 * found.airy_mm, 2)} um wide, "
        yield Finding(
            "care",
            about(taken),
            f"{said}{number(found.airy_mm / found.coc_mm, 2)} times the circle of confusion and {number(found.airy_mm / found.pixel_mm, 2)} pixels.",
            (f"Open to f/{number(wider)}" if wider else f"Open to f/{number(study.scene.lens.widest)}, as wide as it goes, and stand farther back")
            + (f"; defocus and diffraction of {taken.shot.subject_name} balance at f/{number(found.balanced_stop, 2)}." if found.balanced_stop else "."),
        )


def _loss(scene, found) -> float:
    return float(working_stop(scene.lens, 1.0, found.distance_mm.min()))


def _drawn(scene, found, stop: float) -> float:
    return float(airy_mm(stop * _loss(scene, found)))


@rule("focus pull")
def focus_pull(study):
    """The motor keeps up with the pull."""
    for taken in study.shots:
        found = taken.sharpness
        if not found.pull:
            continue
        said = f"Focus goes {', '.join(number(mark.distance_mm) for mark in found.pull)} mm at {', '.join(number(mark.at_take_s, 2) for mark in found.pull)} s, {number(found.pull_mm_s, 2)} mm/s at its fastest"
        motor = study.scene.lens.pull_time
        if motor is None or motor <= found.pull_s * (1 + 1e-6):
            yield Finding("ok", about(taken), f"{said}.")
            continue
        yield Finding("stop", about(taken), f"{said}: the focus motor takes {number(motor)} s over its whole ring, and this asks for {number(found.pull_s, 2)}.", slower(study, taken))


def slower(study, taken) -> str:
    """Return the shortest clip in which the motor keeps up, its marks stretched with it; tried before it is given."""
    motor, shot = study.scene.lens.pull_time, taken.shot

    def keeps_up(clip: float) -> bool:
        longer = stretched(shot, clip / shot.clip)
        return _pull_speed(study.scene, plan_move(study.scene, longer, study.built))[1] >= motor

    clip = least_that(keeps_up, shot.clip, LONGEST_S, 0.1)
    if clip is None:
        return "Hold the focus at one distance: no clip up to an hour is slow enough."
    marks = ", ".join(number(mark.at, 3) for mark in marks_of(stretched(shot, clip / shot.clip)))
    moved = f", with the marks at {marks} s" if marks else ""
    return f"Make the clip {number(clip, 4)} s, which is a take of {number(clip * shot.playback / shot.fps)} s{moved}; or hold the focus."


def stretched(shot: Shot, times: float) -> Shot:
    """Return the shot in a clip `times` as long, its focus marks stretched with it."""
    marks = tuple(mark.model_copy(update={"at": mark.at * times}) for mark in marks_of(shot))
    return shot.model_copy(update={"clip": shot.clip * times} | ({"focus": marks} if marks else {}))
