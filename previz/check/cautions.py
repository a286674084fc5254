"""
Cautions: what people can be hurt by on the day, said once, where it applies.

No limits of our own: each defers to the label, the local code or a licensed person. All are common practice.
"""

from __future__ import annotations

import numpy as np

from previz.check.finding import Finding, rule
from previz.check.text import millimetres


@rule("spray and hot lamps")
def spray_and_hot_lamps(study):
    """Propellant of spray haze burns, and lamps are hot."""
    if study.has_haze and study.scene.lamp:
        name, away = nearest_lamp(study)
        yield Finding(
            "care",
            "safety, spray",
            f"Spray propellant can catch fire on a hot lamp or a spark; {name} is the nearest, {'inside the set' if away == 0 else f'{millimetres(away)} mm from it'}.",
            "Read the can's label, spray with lamps and other sparks away from the set, and let the propellant clear before they come back.",
        )


def nearest_lamp(study) -> tuple[str, float]:
    """Return the lamp nearest to a box around the set, the way that spray goes, and how far off it is; 0 inside it. [mm]"""
    low, high = study.built.bounds
    away = {lamp.name: float(np.linalg.norm(np.maximum(np.maximum(low - lamp.at, np.array(lamp.at) - high), 0))) for lamp in study.scene.lamp}
    name = min(away, key=away.get)
    return name, away[name]


@rule("ventilation and smoke detectors")
def ventilation_and_detectors(study):
    """Haze is breathed, and detectors take it for smoke."""
    if study.has_haze:
        yield Finding(
            "care",
            "safety, air",
            "Haze is breathed by everyone in the room, and a smoke detector may take it for fire.",
            "Air the room as the haze's label asks; leave detectors on, or have whoever is responsible for the building cover them by its rules.",
        )


@rule("mains and damp haze")
def mains_and_damp_haze(study):
    """Haze condenses on what it meets."""
    if study.has_haze and study.scene.lamp:
        yield Finding(
            "care",
            "safety, mains",
            "Haze settles as a damp film, also on plugs and lamp heads.",
            "Keep mains connections off the floor and out of the haze, behind a residual-current device as the local code asks, and have a licensed electrician look at doubtful ones.",
        )


@rule("bright lamps and eyes")
def bright_lamps_and_eyes(study):
    """The lamp is at eye height of whoever works at the set."""
    if study.scene.lamp:
        yield Finding(
            "care",
            "safety, eyes",
            "A lamp strong enough for shafts is too bright to look into, and it sits at the height of a face bent over the set.",
            "Aim with the lamp dimmed, never look into it, and heed the risk group on its label.",
        )


@rule("stands and ballast")
def stands_and_ballast(study):
    """A lamp on a stand falls over."""
    if any(not study.inside_set(lamp.at) for lamp in study.scene.lamp):
        yield Finding(
            "care",
            "safety, stands",
            "A lamp on a tall stand tips over when someone meets its cable.",
            "Weigh the stand down as its maker says, set a leg under the load, and tape the cable to the floor.",
        )


@rule("pinch points of a lift")
def pinch_points_of_a_lift(study):
    """What a lift moves closes on what stands still."""
    if study.scene.lift is None or not any(taken.move.lift[0] != taken.move.lift[1] for taken in study.shots):
        return
    within = any(study.inside_set(taken.move.poses(t).position[0]) for taken in study.shots if taken.move.lift[0] != taken.move.lift[1] for t in (0.0, taken.shot.take_s))
    lens = ", and the lens inside the set with it" if within else ""
    yield Finding(
        "care",
        "safety, lift",
        f"A moving lift pinches: fingers and cables between set, stand and table{lens}.",
        "Keep hands and cables clear while it runs, rehearse at its slowest, and have its stop within reach of whoever watches.",
    )
