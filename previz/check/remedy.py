"""
Remedies that have been tried: the least change of one number after which a rule is content.

Takes a question ("is it right with this number?") and the numbers to try; gives the first that passes. Knows nothing of
what is changed: each rule asks its own question, on a study as cheap as it can make it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable

import numpy as np

from previz.scene.model import Scene, Shot

STEPS_MM = (2, 4, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80)
"""What a lens is shifted by: steps that a rule laid beside it shows (own choice)."""

STEPS_DEG = (1, 2, 3, 4, 5, 7, 10, 15, 20, 30, 45)
"""What a lens is turned by (own choice)."""


def first_that(passes: Callable, values: Iterable):
    """Return the first of `values` for which `passes` is true; None where there is none."""
    return next((value for value in values if passes(value)), None)


def least_that(passes: Callable, low: float, high: float, step: float) -> float | None:
    """
    Return the least multiple of `step` between two numbers that passes, by halving; None where `high` itself does not.

    Taken for granted: what passes keeps passing farther up. The answer itself has been tried.
    """
    first, last = int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9))
    if first > last or not passes(last * step):
        return None
    while first < last:
        middle = (first + last) // 2
        first, last = (first, middle) if passes(middle * step) else (middle + 1, last)
    return last * step


def shifted(scene: Scene, shot: Shot, by) -> tuple[Scene, Shot]:
    """Return scene and shot with the whole move shifted by (3,). [mm]

    A place along the rail stays; the rail is what is shifted then."""
    by = np.asarray(by, float)
    if isinstance(shot.from_, float):
        slider = scene.slider
        moved = slider.model_copy(update={"from_": tuple((slider.from_ + by).tolist()), "to": tuple((slider.to + by).tolist())})
        return scene.model_copy(update={"slider": moved}), shot
    to = None if shot.to is None else tuple((np.array(shot.to) + by).tolist())
    via = tuple(tuple((np.array(point) + by).tolist()) for point in shot.via)
    return scene, shot.model_copy(update={"from_": tuple((np.array(shot.from_) + by).tolist()), "to": to, "via": via})


def turned(shot: Shot, pan: float, tilt: float) -> Shot | None:
    """Return the shot turned by degrees; None where it looks at a thing, which no number turns it from."""
    if not hasattr(shot.look, "pan"):
        return None
    look = shot.look.model_copy(update={"pan": shot.look.pan + pan, "tilt": float(np.clip(shot.look.tilt + tilt, -90, 90))})
    return shot.model_copy(update={"look": look})


@dataclasses.dataclass(frozen=True)
class Change:
    """One change of a shot, in words, with the scene and the shot as they are with it."""

    words: str
    scene: Scene
    shot: Shot
    size: float


def changes(scene: Scene, shot: Shot, forward, *, turns: bool = True) -> list[Change]:
    """
    Return the small changes that one makes to a camera's place, the smallest first.

    Parameters
    ----------
    forward : (3,) float array
        Where the lens looks at the start; sideways and forward are told from there. [1]
    turns : bool
        False leaves the heading alone.
    """
    ahead = np.array([forward[0], forward[1], 0.0])
    ahead /= np.linalg.norm(ahead) or 1.0
    left = np.array([-ahead[1], ahead[0], 0.0])
    ways = {"raise the lens": (0, 0, 1), "lower the lens": (0, 0, -1), "move the lens forward": ahead, "move the lens back": -ahead, "move the lens left": left, "move the lens right": -left}
    found = [
        Change(f"{words} {step} mm" if "raise" in words or "lower" in words else f"{' '.join(words.split()[:3])} {step} mm {words.split()[3]}", *shifted(scene, shot, step * np.asarray(way, float)), step)
        for step in STEPS_MM
        for words, way in ways.items()
    ]
    if turns and turned(shot, 0, 0) is not None:
        # A degree moves what is 200 mm off by 3.5 mm; so both kinds of change are in one order.
        headings = {"left": (1, 0), "right": (-1, 0), "up": (0, 1), "down": (0, -1)}
        found += [Change(f"turn the lens {step} degree{'s' if step > 1 else ''} {words}", scene, turned(shot, step * pan, step * tilt), 3.5 * step) for step in STEPS_DEG for words, (pan, tilt) in headings.items()]
    return sorted(found, key=lambda change: change.size)
