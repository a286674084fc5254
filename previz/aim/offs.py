"""
What is off: a lamp, a cut, the haze or the rail a little away from the plan, and what that does to the figures.

Takes a scene, its built set, a wish and a shot; gives the quantities that a maker sets by hand, and for each figure a
function of how far they are off. An opening is cut anew in the solids for each deviation of its cut; a lamp or haze
that is off is lit with the stored transport, so nothing is baked again.

    lamp     moved with its stand, turned on it: the stand is not aimed anew
    cut      at and size as in the file: the lower left corner is off by at, the far edges by size as well
    rail     moved with everything on it; motors do what was planned
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from shapely.errors import GEOSException

from previz.aim.landing import Course
from previz.aim.tolerance import Bound, Figures, Quantity
from previz.aim.wishes import wish
from previz.build.assemble import build_set
from previz.build.built import BuiltSet
from previz.camera.view import Poses, axes
from previz.check import shaft
from previz.check.meter import metered
from previz.frames.along import lit_at_moment
from previz.frames.still import lit_at_roll, view_of
from previz.haze.medium import extinction_at
from previz.light.lamps import Emitter, emitters, stood
from previz.rays.lit import light_set, relit
from previz.rig.clearance import clearance
from previz.rig.moves import Move, plan_move
from previz.scene.draft import Draft
from previz.scene.faults import OptionFault
from previz.scene.model import Opening, Scene, Shot
from previz.scene.plane import openings_apart, openings_on_walls, panes_open
from previz.scene.shots import scene_of

SHIFT_MM, SHIFT_SHARE = 5.0, 0.1
"""The middle of the light may be off by so much, or by this share of the opening's smaller side where that is less (own choice)."""
CONTRAST_STOPS, CONTRAST_SHARE = 0.5, 0.5
"""A shaft may lose so much contrast, or this share of what it has where that is less (own choice)."""
EXPOSURE_STOPS = 1 / 3
"""The smallest step of most cameras (common practice)."""
CLEAR_MM = 3.0
"""Lens and body may come no nearer to the set (own choice)."""
CUT_MOST_MM = 10.0
"""No allowance for a cut is told beyond this (own choice)."""
_TRIES, _LIGHT_TRIES = 120, 24
_TEXELS, _RAYS, _METER, _LOOK = 8000, 64, (64, 36), (80, 45)

LAMP = tuple(Quantity(f"lamp, {what}", "mm", 4.0, 200.0) for what in ("along x", "along y", "height"))
TURNED = tuple(Quantity(f"lamp, {what}", "deg", 1.0, 20.0) for what in ("pan", "tilt"))
AIR = Quantity("haze, how dense", "%", 5.0, 50.0)
RAIL = (*(Quantity(f"rail, {what}", "mm", 0.5, 50.0) for what in ("along x", "along y", "height")), Quantity("lens, pan", "deg", 0.25, 10.0))


def cut(opening: Opening) -> tuple[Quantity, ...]:
    """Return what may be off in the cutting of an opening: place and, where its outline is not drawn freely, size, by half of it at most."""
    size = () if opening.size is None else ("diameter",) if np.ndim(opening.size) == 0 else ("width", "height")
    sides = (CUT_MOST_MM, CUT_MOST_MM, *np.minimum(CUT_MOST_MM, np.ravel(opening.size) / 2)) if size else (CUT_MOST_MM,) * 2
    return tuple(Quantity(f"{opening.name}, {what}", "mm", 0.5, float(most)) for what, most in zip(("along", "up", *size), sides))


def cuttable(scene: Scene) -> bool:
    """Return whether each opening lies whole on its wall, apart from the others, with panes that a knife can cut."""
    draft = Draft({}, {"room": list(enumerate(scene.room)), "opening": list(enumerate(scene.opening))})
    return not any(True for rule in (openings_on_walls, openings_apart, panes_open) for _ in rule(draft))


@dataclass(frozen=True)
class Off:
    """
    The quantities, the figures, and where things are by the plan.

    miss_mm       from the target to where the light lands by the plan
    clearance_mm  None without a shot
    """

    quantities: tuple[Quantity, ...]
    figures: tuple[Figures, ...]
    miss_mm: float
    clearance_mm: float | None


def off(scene: Scene, built: BuiltSet, text: str, lamp: int, shot: Shot | None, within_mm: float | None = None, *, workers: int | None = None, progress=None) -> Off:
    """
    Return what may be off, and the figures of it, for a wish and a lamp of the scene.

    Parameters
    ----------
    text : str
        The wish as typed.
    shot : Shot or None
        Whose light, lens and rail are looked at; without one only where the light lands.
    within_mm : float, optional
        How far the middle of the light may be off.

    Raises
    ------
    OptionFault
        Where no light lands by the plan, or the lamp is out in that shot.
    """
    name = scene.lamp[lamp].name
    seen = scene if shot is None else scene_of(scene, shot)
    number = next((i for i, row in enumerate(seen.lamp) if row.name == name), None)
    if number is None:
        raise OptionFault(f'lamp "{name}" is out in shot "{shot.name}"', "Name another --shot or --lamp.")
    cutting = _Cutting(seen, built, text, emitters(seen, built)[number])
    quantities = (*LAMP, *cutting.quantities)
    where = _numbered(quantities)
    figures = [Figures((Bound("middle of the light", "mm", within_mm or cutting.shift_mm),), tuple(where.values()), cutting.shift, _TRIES)]
    clear = None
    if shot is not None:
        quantities = (*quantities, *TURNED)
        if extinction_at(seen.haze) > 0:
            quantities = (*quantities, AIR)
        light = _Light(scene, built, shot, name, cutting.way_in, _numbered(quantities), workers, progress)
        depends = tuple(i for q, i in _numbered(quantities).items() if q in (*(x.name for x in (*LAMP, *TURNED)), AIR.name))
        if light.bounds:
            figures.append(Figures(light.bounds, depends, light.changes, _LIGHT_TRIES))
        move = plan_move(seen, shot, built)
        start = len(quantities)
        quantities = (*quantities, *RAIL)
        clear = clearance(built, seen, move).min_mm

        def nearer(deviation: np.ndarray) -> tuple[np.ndarray]:
            return (np.array([clearance(built, seen, set_off(move, deviation[start : start + 3], np.radians(deviation[start + 3]))).min_mm - clear]),)

        figures.append(Figures((Bound("clearance", "mm", clear - CLEAR_MM, one_way=True),), tuple(range(start, start + 4)), nearer, _TRIES))
    return Off(quantities, tuple(figures), cutting.miss_mm, clear)


def _numbered(quantities) -> dict[str, int]:
    return {q.name: i for i, q in enumerate(quantities)}


class _Cutting:
    """Where the light lands, with lamp and cut off; the lamp's three numbers come first, then those of the cut."""

    def __init__(self, scene: Scene, built: BuiltSet, text: str, emitter: Emitter):
        self._scene, self._built, self._text, self._emitter = scene, built, text, emitter
        plan = wish(built, text)
        self._course = Course.of(built, plan)
        self._lands = self._course.landing(emitter)
        if self._lands is None:
            raise OptionFault(f'"{text}": no light of {emitter.name} lands there as it stands', "Ask previz aim without --tolerance where it must stand.")
        self.miss_mm = float(np.linalg.norm(self._lands - plan.onto.point))
        found = [i for i, o in enumerate(scene.opening) if o.name in (plan.panes[0].opening, plan.panes[0].opening.rpartition("-")[0])]
        if not found:
            raise OptionFault(f'"{plan.through}" is no opening that is cut', "Name one of the scene's openings.")
        self._row = found[0]
        self.opening, self.way_in = scene.opening[self._row], plan.panes[0].opening
        self.quantities = cut(self.opening)
        sides = np.ptp(np.concatenate([pane.outline for pane in plan.panes]), axis=0)
        self.shift_mm = min(SHIFT_MM, SHIFT_SHARE * float(sides.min()))

    def shift(self, deviation: np.ndarray) -> tuple[np.ndarray]:
        """Return the (3,) shift of the middle of the light; not a number where it cannot be cut so. [mm]"""
        lamp, cut_off = deviation[:3], deviation[3 : 3 + len(self.quantities)]
        course = self._course if not cut_off.any() else self._cut_anew(cut_off)
        landing = course and course.landing(moved(self._emitter, lamp))
        return (np.full(3, np.nan) if landing is None else landing - self._lands,)

    def _cut_anew(self, deviation: np.ndarray) -> Course | None:
        rows = list(self._scene.opening)
        rows[self._row] = cut_off(self.opening, deviation)
        scene = self._scene.model_copy(update={"opening": tuple(rows)})
        if not cuttable(scene):
            return None
        try:
            built = build_set(scene, self._built.folder)
        except GEOSException:  # A hair from the edge of its wall or from another opening: the faces between have no area, and no knife cuts that.
            return None
        plan = wish(built, self._text)
        # The target stays where it was in the set; a face may be another number there.
        return Course.of(built, replace(plan, onto=replace(self._course.wish.onto, face=plan.onto.face)))


def cut_off(opening: Opening, deviation: np.ndarray) -> Opening:
    """Return an opening cut off its marks: `at` by two numbers, its size by the others. [mm]"""
    update = {"at": tuple(np.add(opening.at, deviation[:2]))}
    if len(deviation) == 3:
        update["size"] = opening.size + deviation[2]
    elif len(deviation) == 4:
        update["size"] = tuple(np.add(opening.size, deviation[2:]))
    return opening.model_copy(update=update)


def moved(emitter: Emitter, shift: np.ndarray, pan_deg: float = 0.0, tilt_deg: float = 0.0) -> Emitter:
    """Return a lamp moved by `shift` (3,) with its stand, and turned on it. [mm], [deg]"""
    x, y, z = emitter.normal
    pan, tilt = np.arctan2(y, x) + np.radians(pan_deg), np.arctan2(z, np.hypot(x, y)) + np.radians(tilt_deg)
    at = emitter.centre + shift
    return stood(emitter, at, at + 1000.0 * axes(pan, tilt)[0])


class _Light:
    """Exposure of the subject and contrast of the shaft in the middle of the shot, relative to the plan."""

    def __init__(self, scene, built, shot: Shot, lamp: str, opening: str, where: dict[str, int], workers, progress):
        self._lamp, self._opening, self._where, self._workers = lamp, opening, where, workers
        self._move = plan_move(scene, shot, built)
        middle = self._move.take_s / 2
        baked = light_set(scene, built, texels=_TEXELS, rays=_RAYS, workers=workers, progress=progress)
        self._lit = lit_at_moment(lit_at_roll(baked, shot), self._move, middle)
        self._meter, self._look = (view_of(self._lit, self._move, middle, size) for size in (_METER, _LOOK))
        focus = float(self._move.focus_mm(middle)[0])
        self._point = self._meter.position + focus * self._meter.forward
        self._parts = built.part_named(shot.subject_name) if shot.subject_name else []
        self._plan = self._figures(self._lit)
        self._has = np.array([np.isfinite(self._plan[0]), self._plan[1] > 0])
        bounds = (Bound("exposure", "stops", EXPOSURE_STOPS), Bound("contrast of the shaft", "stops", min(CONTRAST_STOPS, CONTRAST_SHARE * float(self._plan[1])), one_way=True))
        self.bounds = tuple(bound for bound, has in zip(bounds, self._has) if has)

    def changes(self, deviation: np.ndarray) -> tuple[np.ndarray, ...]:
        """Return the change of each figure that there is. [stops]"""

        def by(quantity) -> float:
            return float(deviation[self._where[quantity.name]]) if quantity.name in self._where else 0.0

        shift = np.array([by(q) for q in LAMP])
        lamps = tuple(moved(e, shift, *(by(q) for q in TURNED)) if e.name == self._lamp else e for e in self._lit.emitters)
        air = self._lit.medium if not by(AIR) else replace(self._lit.medium, extinction_per_m=self._lit.medium.extinction_per_m * (1 + by(AIR) / 100))
        change = self._figures(relit(self._lit, lamps=lamps, medium=air)) - self._plan
        return tuple(np.array([one]) for one, has in zip(change, self._has) if has)

    def _figures(self, lit) -> np.ndarray:
        luminance = metered(lit, self._meter, self._parts, self._point, passes=2, workers=self._workers)
        contrast = shaft.contrast_of(lit, self._look, self._lamp, self._opening, self._workers) if lit.medium.extinction_per_m > 0 else 0.0
        return np.array([np.log2(luminance) if luminance > 0 else np.nan, contrast])


@dataclass(frozen=True)
class _SetOff(Move):
    """A move whose rail stands off its marks; what the motors do stays as planned."""

    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    turned: float = 0.0

    def poses_along(self, travel) -> Poses:
        """Return the poses at places of the track (n,). [mm]"""
        planned = super().poses_along(travel)
        axis = planned.position - self.reach * axes(planned.pan, 0.0)[..., 0, :]
        pan = planned.pan + self.turned
        return Poses(axis + self.reach * axes(pan, 0.0)[..., 0, :] + np.array(self.shift), pan, planned.tilt)


def set_off(move: Move, shift: np.ndarray, turned: float = 0.0) -> Move:
    """Return `move` with the whole rig shifted by (3,) and the pan zeroed so far beside its mark. [mm], [rad]"""
    return _SetOff(**{one.name: getattr(move, one.name) for one in fields(move)}, shift=tuple(map(float, shift)), turned=float(turned))
