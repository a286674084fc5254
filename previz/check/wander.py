"""
Whether light stays on what it is meant for, where a lift moves set and lamps against each other.

Takes the built set, a shot's move and its patches at the start of the take; gives a figure for each lamp that moves against the
set, and the rule that judges them. Light is that of the lamp's centre, as in a patch's crisp outline: what falls on a thing by
lines from points spread over it, what comes into the set by fans of rays through the openings.

    target  what a lamp's light falls on at the start: the shot's subject where that is lit, else what gets most of the lamp's light
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from previz.build.built import BuiltSet
from previz.check.finding import Finding, rule
from previz.check.fit import about, when
from previz.check.remedy import first_that
from previz.check.seen import no_worse
from previz.check.text import millimetres, number
from previz.frames.along import lamp_rises
from previz.light.lamps import Emitter, emitters, intensity
from previz.rays.fans import fan
from previz.rays.tracer import SKIN_MM, Tracer
from previz.rig.moves import Move, plan_move
from previz.scene.model import Scene, Shot
from previz.scene.shots import scene_of

MOMENTS = 21
"""Moments of the take that are looked at: a twentieth of it is as near as a finding names one (own choice)."""

POINTS, RAYS = 2**15, 10_000
"""Spread over a target, and over all openings together (own choice)."""

LEAST_LIT = 0.02
"""A subject lit over less of its surface than this is not what the lamp is for (own choice)."""

LEAST_KEPT = 0.5
"""A target that keeps less of its light than this has lost its patch (own choice)."""


@dataclass(frozen=True)
class Wander:
    """
    How the light of one lamp moves on its target over a take.

    lamp, opening    whose light, and through what most of it comes at the start
    on               the target: the subject, or a part of the set
    moved_mm         how far the middle of its largest patch there goes by the end, on the plane that it starts on; no more than the set is large [mm]
    kept_share       least share of the lamp's light in the set that is on the target over the take, over that at the start [1]
    off_from_take_s  when it first is less than `LEAST_KEPT`; None where it stays on [s]
    """

    lamp: str
    opening: str
    on: str
    moved_mm: float
    kept_share: float
    off_from_take_s: float | None


class Target:
    """Parts of the set that light falls on, as points evenly over them: just off the surface (n, 3) [mm], its outward normals there (n, 3), and the area that each stands for [mm2]."""

    def __init__(self, built: BuiltSet, parts: list[int]):
        corners = built.vertices[built.triangles[built.triangles_of(parts)]]
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        area = np.linalg.norm(normals, axis=1)
        corners, normals, area = corners[area > 0], normals[area > 0], area[area > 0]
        from scipy.stats import qmc  # slow to load, and only a lift that moves light asks

        which, one, other = qmc.Sobol(3, scramble=False).random(POINTS).T
        triangle = np.minimum(np.searchsorted(np.cumsum(area) / area.sum(), which, side="right"), len(area) - 1)
        root = np.sqrt(one)
        weights = np.column_stack([1 - root, root * (1 - other), root * other])
        self.parts, self.normals, self.area = parts, (normals / area[:, None])[triangle], area.sum() / 2 / POINTS
        self.points = np.einsum("ij,ijk->ik", weights, corners[triangle]) + 2 * SKIN_MM * self.normals


class Follower:
    """Follows the light of one scene's lamps as a lift moves them against the set."""

    def __init__(self, built: BuiltSet, tracer: Tracer, scene: Scene):
        self.built, self.tracer, self.scene = built, tracer, scene

    @cached_property
    def _lamps(self) -> dict:
        return {lamp.name: (lamp, rise) for lamp, rise in zip(emitters(self.scene, self.built), lamp_rises(self.scene, self.built))}

    @cached_property
    def _openings(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(aperture.opening for aperture in self.built.apertures))

    def rise(self, lamp: str) -> float:
        """Return how far a lamp rises in the set for each mm of the lift. [1]"""
        return self._lamps[lamp][1]

    def lamp(self, name: str, lift_mm: float) -> Emitter:
        """Return a lamp as it is in the set with the lift at a height. [mm]"""
        lamp, rise = self._lamps[name]
        return replace(lamp, centre=lamp.centre + [0.0, 0.0, rise * lift_mm])

    def light_on(self, lamp: str, target: Target, lift_mm: float) -> float:
        """Return the light that falls straight on a target, with the lift at a height, by the inverse square and the cosine at its surface. [mm], [lm]"""
        there = self.lamp(lamp, lift_mm)
        ways = target.points - there.centre
        length = np.linalg.norm(ways, axis=1)
        cosine = -np.einsum("ij,ij->i", ways, target.normals) / length
        facing = np.flatnonzero(cosine > 0)
        seen = facing[~self.tracer.blocked(target.points[facing], np.broadcast_to(there.centre, (len(facing), 3)))]
        return float(target.area * (intensity(there, ways[seen] / length[seen, None]) * cosine[seen] / length[seen] ** 2).sum())

    def light_in(self, lamp: str, lift_mm: float) -> float:
        """Return the light that comes in through all openings, with the lift at a height. [mm], [lm]"""
        across = int(np.sqrt(RAYS / max(len(self._openings), 1)))
        return float(sum(fan(self.built, self.tracer, self.lamp(lamp, lift_mm), opening, across).light.sum() for opening in self._openings))

    def share_on(self, lamp: str, target: Target, lift_mm: float) -> float:
        """
        Return the share of a lamp's light in the set that falls straight on a target, with the lift at a height. [mm], [1]

        A share, so that light which only comes from farther off or more across the openings has not left its target.
        """
        return self.light_on(lamp, target, lift_mm) / max(self.light_in(lamp, lift_mm), 1e-12)

    def kept(self, lamp: str, target: Target, move: Move, take_s) -> np.ndarray:
        """Return (n,) `share_on` at moments, over that at the start. [s], [1]"""
        heights, of = np.unique(move.lift_mm(take_s), return_inverse=True)
        return np.array([self.share_on(lamp, target, height) for height in heights])[of] / self.share_on(lamp, target, move.lift[0])

    def moved(self, patch, heights: tuple[float, float]) -> float:
        """Return how far the middle of a patch goes on its plane between two heights of the lift, by similar triangles through its pane. [mm]"""
        before, after = (self.lamp(patch.lamp, height).centre for height in heights)
        at = np.asarray(patch.centre_mm)
        met = self.tracer.hit(before[None], (at - before)[None])
        pane = next(a for a in self.built.apertures if a.opening == patch.opening and tuple(a.pane) == tuple(patch.pane))
        middle = pane.origin + pane.thickness / 2 * pane.axes[2]
        through = before + (at - before) * ((middle - before) @ pane.axes[2] / ((at - before) @ pane.axes[2]))
        normal, way = met.normal[0].astype(float), through - after
        size = float(np.linalg.norm(np.ptp(self.built.bounds, axis=0)))
        if abs(way @ normal) < 1e-9 * np.linalg.norm(normal):
            return size
        times = ((at - after) @ normal) / (way @ normal)
        return min(float(np.linalg.norm(after + times * way - at)), size) if times > 0 else size


def wanders(built: BuiltSet, tracer: Tracer, scene: Scene, shot: Shot, move: Move, patches) -> tuple[Wander, ...]:
    """
    Return how the light of each lamp that a lift moves against the set wanders on its target; none where nothing moves.

    Parameters
    ----------
    scene : Scene
        As the shot sees it.
    patches : sequence of previz.rays.patches.Patch
        With the lift where it stands at the start of the take.
    """
    follower = Follower(built, tracer, scene)
    if move.lift[0] == move.lift[1]:
        return ()
    found = (_wander(follower, shot, move, [patch for patch in patches if patch.lamp == lamp.name]) for lamp in scene.lamp if follower.rise(lamp.name))
    return tuple(one for one in found if one is not None)


def _wander(follower: Follower, shot: Shot, move: Move, patches) -> Wander | None:
    """Return how one lamp's light wanders, from its `patches` at the start; None where it has none."""
    if not patches:
        return None
    built, lamp = follower.built, patches[0].lamp
    parts = {face.name: face.part for face in built.faces}
    flux = defaultdict(float)
    for patch in patches:
        flux[parts[patch.on]] += patch.lux * patch.area_mm2
    brightest = max(flux, key=flux.get)
    on, target = built.parts[brightest].name, None
    if shot.subject_name is not None:
        subject = Target(built, built.part_named(shot.subject_name))
        lit = sum(patch.area_mm2 for patch in patches if parts[patch.on] in subject.parts)
        if lit >= LEAST_LIT * POINTS * subject.area:
            on, target = shot.subject_name, subject
    target = target or Target(built, [brightest])
    if not follower.light_on(lamp, target, move.lift[0]):
        return None
    there = [patch for patch in patches if parts[patch.on] in target.parts]
    through = defaultdict(float)
    for patch in there:
        through[patch.opening] += patch.lux * patch.area_mm2
    opening = max(through, key=through.get)
    largest = max((patch for patch in there if patch.opening == opening), key=lambda patch: patch.area_mm2)
    take_s = np.linspace(0, move.take_s, MOMENTS)
    kept = follower.kept(lamp, target, move, take_s)
    off = np.flatnonzero(kept < LEAST_KEPT)
    return Wander(lamp, opening, on, follower.moved(largest, move.lift), float(kept.min()), float(take_s[off[0]]) if len(off) else None)


@rule("patch on its target")
def patch_on_its_target(study):
    """Where a lift moves the light, it stays on what it fell on at the start."""
    for taken in study.shots:
        for found in taken.wanders:
            if found.off_from_take_s is None:
                continue
            low, high = taken.move.lift
            yield Finding(
                "care",
                about(taken),
                f"What {found.lamp} throws through {found.opening} on {found.on} moves {millimetres(found.moved_mm)} mm as the lift goes from {number(low)} to {number(high)} mm: "
                f"less than half of the light on {found.on} is left {when(taken, found.off_from_take_s)}, and {100 * found.kept_share:.0f} % at worst.",
                _kept_on(study, taken, found),
            )


def _kept_on(study, taken, found: Wander) -> str:
    """Return what keeps the light on its target, each tried: a shorter way of the lift, or the lamp going with the set."""
    scene, low = scene_of(study.scene, taken.shot), taken.move.lift[0]
    tracer = Tracer(study.built.vertices, study.built.triangles)
    follower = Follower(study.built, tracer, scene)
    target = Target(study.built, study.built.part_named(found.on))
    ways = []
    end = _lift_end(study, taken, found, follower, target)
    if end is not None:
        ways.append(f"end the lift at {number(end)} mm (lift = [{low:g}, {end:g}])")
    rides = "lift" if follower.rise(found.lamp) < 0 else "floor"
    aboard = tuple(lamp.model_copy(update={"rides": rides}) if lamp.name == found.lamp else lamp for lamp in scene.lamp)
    with_it = Follower(study.built, tracer, scene.model_copy(update={"lamp": aboard}))
    if with_it.rise(found.lamp) == 0 and with_it.share_on(found.lamp, target, low) >= LEAST_KEPT * follower.share_on(found.lamp, target, low):
        ways.append(f'let {found.lamp} stand on the {rides} (rides = "{rides}")')
    if not ways:
        return f"Lift less, or aim {found.lamp} so that its light crosses {found.on} in the middle of the take."
    words = " or ".join(ways)
    return f"{words[0].upper()}{words[1:]}, and it stays on {found.on}."


def _lift_end(study, taken, found: Wander, follower: Follower, target: Target) -> float | None:
    """Return the farthest end of the lift, by whole millimetres of its way, at which the light stays on and nothing else gets worse; None where there is none. [mm]"""
    low, high = taken.move.lift
    spared = no_worse(study, taken)

    def stays(end: float) -> bool:
        shorter = taken.shot.model_copy(update={"lift": (low, end)})
        move = plan_move(follower.scene, shorter, study.built)
        return follower.kept(found.lamp, target, move, np.linspace(0, move.take_s, MOMENTS)).min() >= LEAST_KEPT and spared(follower.scene, shorter, move)

    off = float(taken.move.lift_mm(found.off_from_take_s)[0])
    steps = np.arange(int(abs(off - low)), 0, -1)
    return first_that(stays, [float(low + np.sign(high - low) * step) for step in steps])
