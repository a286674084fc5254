"""
The study of a set: every figure that the rules judge and the report prints.

Takes a checked scene, its built set and its light; gives one `Study`. Asks the rows before for each figure and
judges none of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from previz.build.built import BuiltSet
from previz.build.inside import in_a_room
from previz.camera.depth import limits
from previz.camera.exposure import effective_stop, ev100, iso_needed, stop_used, stops_over
from previz.camera.lens import inverse_p
from previz.check import shaft
from previz.check.day import Day, day_of
from previz.check.clock import Clock, clock
from previz.check.focus import Sharpness, sharpness
from previz.check.flicker import Flicker, flicker
from previz.check.gear import Around, Gear
from previz.check.meter import SIZE, metered
from previz.check.pace import Pace, pace
from previz.check.seen import Looker, Seen
from previz.check.shaft import Shaft, shafts
from previz.check.shown import Shown, shown
from previz.check.thickness import Thickness, thickness
from previz.check.wander import Wander, wanders
from previz.check.ways import Way, ways
from previz.frames.along import light_moves, lit_at_moment
from previz.frames.still import lit_at_roll, view_of
from previz.haze.medium import extinction_at
from previz.rig.clearance import Clearance, clearance
from previz.rig.demand import Demand, demand
from previz.rig.framing import Framing, framing
from previz.rig.moves import Move, Speeds, plan_move
from previz.rig.solids import rig_parts
from previz.scene.model import Scene, Shot

FOCUS_MOMENTS = 5
"""Focused distances reported: start, quarters and end of the take."""


@dataclass(frozen=True)
class Exposure:
    """
    What the meter says in the middle of the take.

    metered_cd_m2       luminance of the subject, or of the point in focus [cd/m2]
    ev100               None where it is dark [stops]
    iso_needed          for the subject as mid-tone; None where it is dark [ISO]
    stops_over_iso_max  negative is to spare; None where it is dark [stops]
    ways                where that is positive: what would buy it back, each worked out anew
    """

    metered_cd_m2: float
    ev100: float | None
    iso_needed: float | None
    stops_over_iso_max: float | None
    ways: tuple[Way, ...] = ()

    def stops_under(self, iso: float) -> float | None:
        """Return how far the subject falls under the mid-tone at `iso`; negative is over. [stops]"""
        return None if self.iso_needed is None else float(stops_over(self.iso_needed, iso))


@dataclass(frozen=True)
class LightThen:
    """Where the light lands at one moment of a take whose lift moves it. [s], [mm]"""

    at_take_s: float
    lift_mm: float
    patches: tuple


@dataclass(frozen=True)
class Held:
    """
    How a hand-held take shakes.

    px_frame           what the middle of the picture wanders from one frame to the next, root mean square [pixel]
    px_frame_unslowed  the same if it were shot at the playback rate [pixel]
    steady             clearance of the same path without shake
    sway_mm            one standard deviation of the part of the rig that sways most, in any one direction [mm]
    """

    px_frame: float
    px_frame_unslowed: float
    steady: Clearance
    sway_mm: float


@dataclass(frozen=True)
class Taken:
    """
    The figures of one shot.

    lamps                      alight in this shot, by name
    pace                       in the clip and at full size
    flicker                    None where all lamps are steady
    focus_mm                   (FOCUS_MOMENTS,) from the entrance pupil, evenly through the take [mm]
    near_mm, far_mm            sharp from and to, at the nearest of them; far may be infinite [mm]
    sharpness                  what of the subject is sharp over the take, and the pull
    exposure                   None where there is no lamp
    shafts                     in the middle of the take, plainest first; empty where the air is clear
    extinction_at_roll_per_m   of the haze when the camera rolls [1/m]
    thickness                  optical depths of the same
    off_rail_mm                how far the carriage would leave the rail; 0 for a shot that does not ride on it [mm]
    demand                     what is asked of each axis of the rig
    light                      where the lift moves the light: at the start, in the middle and at the end; where it only stands
                               higher, once; else empty
    held                       None on a rig
    clock                      None where the haze stands, or no shaft crosses the frame
    seen                       what is in the frame that should not be
    gear                       stands, rail and lift in frame, and their shadows
    shown                      how the plainest shaft sits in the frame; None where the air is clear, or no opening is known by name
    wanders                    how the light of each lamp that the lift moves against the set moves on what it falls on
    """

    shot: Shot
    lamps: tuple[str, ...]
    pace: Pace
    flicker: Flicker | None
    move: Move
    speeds: Speeds
    clearance: Clearance | None
    framing: Framing | None
    focus_mm: np.ndarray
    near_mm: float
    far_mm: float
    sharpness: Sharpness
    exposure: Exposure | None
    shafts: tuple[Shaft, ...]
    extinction_at_roll_per_m: float
    thickness: Thickness
    off_rail_mm: float
    demand: Demand
    light: tuple[LightThen, ...] = ()
    held: Held | None = None
    clock: Clock | None = None
    seen: Seen = Seen(None, None, None)
    gear: Gear = Gear()
    shown: Shown | None = None
    wanders: tuple[Wander, ...] = ()


@dataclass(frozen=True)
class Study:
    """Everything that is known about a set before it is cut."""

    scene: Scene
    built: BuiltSet
    patches: tuple
    shots: tuple[Taken, ...]
    emitters: tuple = ()
    calibrations: tuple = ()

    @property
    def fresh_extinction_per_m(self) -> float:
        """Of the haze right after the spray. [1/m]"""
        return extinction_at(self.scene.haze)

    @property
    def day(self) -> Day | None:
        """The order of the shots that moves least, and what changes between them; None where there are not two."""
        return day_of(self.scene, self.built, [taken.move for taken in self.shots])

    @property
    def has_haze(self) -> bool:
        """Whether anything is sprayed at all."""
        return self.fresh_extinction_per_m > 0

    def inside_set(self, point) -> bool:
        """Return whether `point` (3,) lies in the air of a room. [mm]"""
        return in_a_room(self.built, point)


def study_set(lit, *, workers: int | None = None, watch: Callable | None = None) -> Study:
    """
    Return every figure of a lit set.

    Parameters
    ----------
    lit : LitSet
        Scene, built set and light.
    workers : int, optional
        Threads; all cores by default.
    watch : callable, optional
        Given a label, returns a function called with the share done.
    """
    from previz.rays.patches import patches

    scene, built = lit.scene, lit.built
    tick = watch("shots") if watch else lambda share: None
    taken = []
    for shot in scene.shot:
        taken.append(take(lit, shot, workers=workers))
        tick(len(taken) / len(scene.shot))
    return Study(scene, built, tuple(patches(built, lit.emitters, lit)), tuple(taken), lit.emitters, lit.calibrations)


def take(lit, shot: Shot, *, workers: int | None = None) -> Taken:
    """Return the figures of one shot."""
    whole, rolled = lit, lit_at_roll(lit, shot)
    scene, built = rolled.scene, rolled.built
    move = plan_move(scene, shot, built)
    lit = lit_at_moment(rolled, move, move.take_s / 2)
    moments = np.linspace(0, move.take_s, FOCUS_MOMENTS)
    focus = move.focus_mm(moments)
    near, far = limits(scene.lens.focal, stop_used(scene.lens, shot), scene.body.coc_mm, focus.min(), inverse_p(scene.lens))
    light = light_along(rolled, shot, move)
    seen = _shafts(lit, move, workers) if scene.lamp and lit.medium.extinction_per_m > 0 else ()
    return Taken(
        shot=shot,
        lamps=tuple(lamp.name for lamp in scene.lamp),
        pace=pace(scene, shot, move),
        flicker=flicker(scene.lamp, shot),
        move=move,
        speeds=move.speeds(),
        clearance=clearance(built, scene, move),
        framing=framing(built, lit.tracer, scene, shot, move),
        focus_mm=focus,
        near_mm=float(near),
        far_mm=float(far),
        sharpness=sharpness(built, lit.tracer, scene, shot, move),
        exposure=_exposure(lit, shot, move, workers) if scene.lamp else None,
        shafts=seen,
        extinction_at_roll_per_m=extinction_at(scene.haze, shot.start_after),
        thickness=thickness(lit, [view_of(lit, move, t, SIZE) for t in moments], focus),
        off_rail_mm=move.off_rail_mm(scene.slider) if scene.slider and shot.move in ("slide", "arc") else 0.0,
        demand=demand(scene, shot, move),
        light=light,
        held=_held(lit, shot, move) if move.shake else None,
        clock=clock(whole, shot, move, seen, workers=workers),
        seen=Looker(built, lit.tracer).seen(scene, move),
        gear=Around(built, lit.tracer).gear(scene, shot, move),
        shown=shown(built, lit.tracer, scene, move, seen),
        wanders=wanders(built, lit.tracer, scene, shot, move, light[0].patches) if light else (),
    )


def light_along(lit, shot: Shot, move: Move) -> tuple[LightThen, ...]:
    """Return where the light lands in a shot, from `lit` as the camera rolls on it, at the moments that differ from the file's own or from each other; else none."""
    from previz.rays.patches import patches

    when = [0.0, move.take_s / 2, move.take_s] if light_moves(lit, move) else [0.0]
    there = [(take_s, lit_at_moment(lit, move, take_s)) for take_s in when]
    if len(there) == 1 and there[0][1] is lit and not shot.lamps:
        return ()
    return tuple(LightThen(take_s, float(move.lift_mm(take_s)[0]), tuple(patches(now.built, now.emitters, now))) for take_s, now in there)


def _held(lit, shot: Shot, move: Move) -> Held:
    """Look at the shake: on the screen, where focus is nearest in the middle of the take, and at the far end of the rig."""
    focus = float(move.focus_mm(move.take_s / 2)[0])
    view = view_of(lit, move, move.take_s / 2, lit.scene.body.resolution)
    wander = [_wander_px(move.shake.step_rms(1 / fps), focus, view) for fps in (shot.fps, shot.playback)]
    lever = max(np.linalg.norm(part.corners, axis=1).max() for part in rig_parts(lit.scene.lens, lit.scene.body))
    size = move.shake.rms()
    return Held(*wander, clearance(lit.built, lit.scene, move.steady), float(np.hypot(size[:3].max(), lever * size[3:].max())))


def _wander_px(step, focus_mm: float, view) -> float:
    """Return how far a step of the shake (5,) moves what is in focus on the picture: across by pan, up by tilt, each also by the lens's own way. [pixel]"""
    sideways = step[:3].mean() / focus_mm
    return float(np.sqrt((step[3:] ** 2).sum() + 2 * sideways**2) * view.columns / 2 / view.half_width)


def _shafts(lit, move: Move, workers) -> tuple[Shaft, ...]:
    """Look at the shafts in the middle of the take."""
    view = view_of(lit, move, move.take_s / 2, shaft.SIZE)
    return tuple(shafts(lit, view, extinction_at(lit.scene.haze), workers=workers))


def _exposure(lit, shot: Shot, move: Move, workers) -> Exposure:
    """Meter the subject in the middle of the take."""
    scene, middle = lit.scene, move.take_s / 2
    view, focus = view_of(lit, move, middle, SIZE), float(move.focus_mm(middle)[0])
    parts = lit.built.part_named(shot.subject_name) if shot.subject_name else []

    def meter(lit) -> float:
        return metered(lit, view, parts, view.position + focus * view.forward, workers=workers)

    luminance = meter(lit)
    if luminance <= 0:
        return Exposure(0.0, None, None, None)
    iso = float(iso_needed(luminance, effective_stop(scene.lens, shot, focus), shot.exposure_s))
    over = float(stops_over(iso, scene.body.iso_max))
    bring = ways(lit, shot, focus, over, meter, extinction_at(scene.haze)) if over > 0 else ()
    return Exposure(luminance, float(ev100(luminance)), iso, over, tuple(bring))
