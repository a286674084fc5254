"""
Cautions: what people can be hurt by on the day, said once, where it applies in any of the shots.

No limits of our own: each defers to the label, the local code or a licensed person. All are common practice.
"""

from __future__ import annotations

import numpy as np

from previz.camera.view import axes
from previz.check.finding import Finding, rule
from previz.check.text import millimetres, number
from previz.haze.medium import extinction_at
from previz.rig.kinematics import lens_rises
from previz.rig.moves import on_rail
from previz.scene.shots import scene_of


def scenes_of_the_day(study) -> list:
    """Return the scene as each shot sees it; the file's own where there is none."""
    return [scene_of(study.scene, taken.shot) for taken in study.shots] or [study.scene]


def is_sprayed(study) -> bool:
    """Return whether any shot has haze."""
    return any(extinction_at(scene.haze) > 0 for scene in scenes_of_the_day(study))


def lamps_alight(study) -> list:
    """Return the lamps of all shots as they stand in each, those left out or dimmed to nothing apart."""
    return [lamp for scene in scenes_of_the_day(study) for lamp in scene.lamp if lamp.dim > 0]


@rule("spray and hot lamps")
def spray_and_hot_lamps(study):
    """Propellant of spray haze burns, and lamps are hot."""
    if is_sprayed(study) and lamps_alight(study):
        name, away = nearest_lamp(study)
        yield Finding(
            "care",
            "safety, spray",
            f"Spray propellant can catch fire on a hot lamp or a spark; {name} is the nearest, {'inside the set' if away == 0 else f'{millimetres(away)} mm from it'}.",
            "Read the can's label, spray with lamps and other sparks away from the set, and let the propellant clear before they come back.",
        )


def nearest_lamp(study) -> tuple[str, float]:
    """Return the lamp that comes nearest to a box around the set in any shot, the way that spray goes, and how far off it is; 0 inside it. [mm]"""
    low, high = study.built.bounds
    away = [(float(np.linalg.norm(np.maximum(np.maximum(low - lamp.at, np.array(lamp.at) - high), 0))), lamp.name) for lamp in lamps_alight(study)]
    nearest, name = min(away, key=lambda one: one[0])
    return name, nearest


@rule("ventilation and smoke detectors")
def ventilation_and_detectors(study):
    """Haze is breathed, and detectors take it for smoke."""
    if is_sprayed(study):
        yield Finding(
            "care",
            "safety, air",
            "Haze is breathed by everyone in the room, and a smoke detector may take it for fire.",
            "Air the room as the haze's label asks; leave detectors on, or have whoever is responsible for the building cover them by its rules.",
        )


@rule("mains and damp haze")
def mains_and_damp_haze(study):
    """Haze condenses on what it meets."""
    if is_sprayed(study) and lamps_alight(study):
        yield Finding(
            "care",
            "safety, mains",
            "Haze settles as a damp film, also on plugs and lamp heads.",
            "Keep mains connections off the floor and out of the haze, behind a residual-current device as the local code asks, and have a licensed electrician look at doubtful ones.",
        )


@rule("bright lamps and eyes")
def bright_lamps_and_eyes(study):
    """The lamp is at eye height of whoever works at the set."""
    if lamps_alight(study):
        yield Finding(
            "care",
            "safety, eyes",
            "A lamp strong enough for shafts is too bright to look into, and it sits at the height of a face bent over the set.",
            "Aim with the lamp dimmed, never look into it, and heed the risk group on its label.",
        )


def lamps_on_stands(study) -> list:
    """Return the lamps outside the set, as they stand in each shot."""
    return [lamp for scene in scenes_of_the_day(study) for lamp in scene.lamp if not study.inside_set(lamp.at)]


@rule("stands and ballast")
def stands_and_ballast(study):
    """A lamp on a stand falls over."""
    if lamps_on_stands(study):
        yield Finding(
            "care",
            "safety, stands",
            "A lamp on a tall stand tips over when someone meets its cable.",
            "Weigh the stand down as its maker says, set a leg under the load, and tape the cable to the floor.",
        )


@rule("lamp beyond its stand's base")
def lamp_beyond_its_base(study):
    """A lamp that hangs out past the feet pulls its stand over."""
    stand = study.scene.stand
    names = sorted({lamp.name for lamp in lamps_on_stands(study) if lamp.rides != "lift"})
    if names and stand.reach > stand.base / 2:
        yield Finding(
            "care",
            "safety, stands",
            f"The stand of {' and of '.join(names)} may carry its lamp {number(stand.reach, 4)} mm out from the column, past feet that reach {number(stand.base / 2, 4)} mm ([stand] reach, base): hung out like that, the lamp pulls it over.",
            "Hang the counterweight that the stand's maker asks for on the other side, stay within the load on its label, and set a leg under the lamp.",
        )


@rule("pinch points of a lift")
def pinch_points_of_a_lift(study):
    """What a lift moves closes on what stands still."""
    if study.scene.lift is None or len({height for taken in study.shots for height in taken.shot.lift_ends}) < 2:
        return
    within = any(study.inside_set(tip) for taken in study.shots if _lens_rises(study.scene, taken) for tip in _tips(study.scene, taken))
    lens = ", and the lens inside the set with it" if within else ""
    yield Finding(
        "care",
        "safety, lift",
        f"A moving lift pinches: fingers and cables between set, stand and table{lens}.",
        "Keep hands and cables clear while it runs, rehearse at its slowest, and have its stop within reach of whoever watches.",
    )


def _lens_rises(scene, taken) -> bool:
    """Return whether the lift moves the lens against the set while the camera rolls."""
    slider = scene.slider if on_rail(scene, taken.shot) else None
    return taken.move.lift[0] != taken.move.lift[1] and lens_rises(slider, scene.lift, held=taken.shot.move == "hand") != 0


def _tips(scene, taken) -> np.ndarray:
    """Return (2, 3) the front of the lens at the start and at the end. [mm]"""
    poses = taken.move.poses(np.array([0.0, taken.move.take_s]))
    return poses.position + scene.lens.pupil * axes(poses.pan, poses.tilt)[:, 0]
