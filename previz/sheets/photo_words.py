"""
What a photo says, in the maker's words: where camera and lamps stand, how to move a stand, how far patches are off.

Takes what was found; gives text for a person and plain values for a program.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

import numpy as np

from previz.aim.cast import SURELY
from previz.aim.pose import Camera, focal_35
from previz.sheets.photo import FoundLamp, LitCorner, PhotoCheck

LEAST_MM = 1.0
"""Nobody sets a stand nearer than this (own choice)."""
_UPRIGHT, _CHI_SQUARE_3 = 0.1, 7.81
"""Sine under which a beam has no left and right; chi-square of three degrees of freedom that 95 of 100 chance moves stay under (from memory)."""


def photo_text(check: PhotoCheck) -> str:
    """Return it for a terminal of 80 columns."""
    camera, points = check.camera, check.points.points
    at, error = camera.view.position, camera.position_error_mm
    pan, tilt, roll = turned(camera)
    worst = int(np.linalg.norm(camera.off, axis=1).argmax())
    said = [
        f"Camera: at {_place(at)}, within {_place(_at_least(SURELY * error))} mm; pan {pan:.1f}, tilt {tilt:.1f}, roll {roll:.1f} degrees; sees like {focal_35(camera.focal_pixels, check.photo.size):.1f} mm on full frame.",
        f"  {len(points)} points fit; the worst, {points[worst].name}, is {np.linalg.norm(camera.off[worst]):.1f} pixels off.",
    ]
    for lamp in check.lamps:
        said += ["", *_lamp_lines(lamp)]
    if not check.lamps:
        said += ["", "No patch is marked, so no lamp was looked for: add [[patch]] to the points file."]
    said += ["", 'x, y, z from the datum corner, mm. "Within" holds 95 times of 100, for a set that is built as the file says.']
    return "\n".join(line for text in said for line in (textwrap.wrap(text, 79, subsequent_indent="  ", break_long_words=False) or [""])) + "\n"


def _lamp_lines(lamp: FoundLamp) -> Iterator[str]:
    stands = lamp.stands
    low, high = lamp.cast.distance_range_mm
    planned = float(np.linalg.norm(lamp.planned.centre - lamp.cast.from_opening))
    between = f"{low:,.0f} to {high:,.0f} mm" if np.isfinite(high) else f"{low:,.0f} mm or more"
    there = f"{_place(stands.at)}, within {_place(_at_least(SURELY * np.sqrt(np.diag(stands.errors_mm))))} mm; planned at {_place(lamp.planned.centre)}"
    if lamp.distance_as_planned:
        yield f"{lamp.planned.name}: seen by its light it is {between} from the opening, which holds the planned {planned:,.0f}. If that is right, it stands at {there}. A tape tells it better."
    else:
        yield f"{lamp.planned.name}: stands at {there}. From the opening it is {lamp.cast.distance_mm:,.0f} mm away ({between}), planned {planned:,.0f}."
    yield f"  {move_words(lamp)}"
    for patch, corners in lamp.patches:
        yield f"  Patch of {patch.name}: {_off_words(patch_off(corners))}"


def move_of(lamp: FoundLamp) -> tuple[np.ndarray, np.ndarray]:
    """
    Return how the lamp must move to stand as planned, and within what that is known 95 times of 100.

    Returns
    -------
    (3,), (3,) float arrays
        To the left, forward (towards the set) and up, as seen standing behind the lamp and facing the way it points; along
        x, y and z for a lamp that points straight down or up. [mm]
    """
    axes = _sides(lamp)
    return axes @ (lamp.planned.centre - lamp.stands.at), SURELY * np.sqrt(np.maximum(np.diag(axes @ lamp.stands.errors_mm @ axes.T), 0))


def _sides(lamp: FoundLamp) -> np.ndarray:
    ahead = lamp.planned.normal[:2]
    size = float(np.hypot(*ahead))
    if size < _UPRIGHT:
        return np.eye(3)
    x, y = ahead / size
    return np.array([[-y, x, 0.0], [x, y, 0.0], [0.0, 0.0, 1.0]])


def move_words(lamp: FoundLamp) -> str:
    """Return what to do with the stand: all of the move or none, for its parts are known together."""
    (side, ahead, up), known = move_of(lamp)
    move = lamp.planned.centre - lamp.stands.at
    if move @ np.linalg.pinv(lamp.stands.errors_mm, rcond=1e-9, hermitian=True) @ move < _CHI_SQUARE_3 or np.linalg.norm(move) < LEAST_MM:
        return f"It stands as planned, as far as this photo can tell: within {max(LEAST_MM, *known):.0f} mm."
    upright = np.hypot(*lamp.planned.normal[:2]) < _UPRIGHT
    names = (("towards +x", "towards -x"), ("towards +y", "towards -y")) if upright else (("left", "right"), ("forward", "back"))
    stand = [f"{abs(step):.0f} mm {one if step > 0 else other}" for (one, other), step in zip(names, (side, ahead)) if round(abs(step))]
    moves = ([f"move the stand {' and '.join(stand)}"] if stand else []) + ([f"{'raise' if up > 0 else 'lower'} the lamp {abs(up):.0f} mm"] if round(abs(up)) else [])
    x, y, z = move
    facing = "" if upright else "Standing behind the lamp, facing the set: "
    words = f"{facing}{', '.join(moves)} (x {x:+.0f}, y {y:+.0f}, z {z:+.0f})."
    return words[0].upper() + words[1:]


def patch_off(corners: tuple[LitCorner, ...]) -> np.ndarray:
    """Return how far a patch lies from its planned place (3,), the mean of its corners. [mm]"""
    return np.mean([corner.at - corner.planned for corner in corners], axis=0)


def _off_words(off: np.ndarray) -> str:
    ways = ", ".join(f"{axis} {value:+.1f}" for axis, value in zip("xyz", off) if abs(value) >= 0.05)
    return f"{np.linalg.norm(off):.1f} mm from its place{f' ({ways})' if ways else ''}."


def turned(camera: Camera) -> tuple[float, float, float]:
    """Return pan, tilt and roll of a camera, roll clockwise, its right side down. [deg]"""
    ahead, right = camera.view.forward, camera.view.right
    level = np.cross(ahead, (0.0, 0.0, 1.0))
    flat = float(np.linalg.norm(level))
    roll = float(np.degrees(np.arctan2(-right[2], right @ level / flat))) if flat > 1e-9 else 0.0
    return float(np.degrees(np.arctan2(ahead[1], ahead[0]))), float(np.degrees(np.arcsin(np.clip(ahead[2], -1, 1)))), roll


def _place(values: np.ndarray) -> str:
    return ", ".join(f"{value:.0f}" for value in np.asarray(values) + 0.0)


def _at_least(values: np.ndarray) -> np.ndarray:
    return np.maximum(np.ceil(values), 1.0)


def photo_values(check: PhotoCheck) -> dict:
    """Return the same for a program; standard errors are single."""
    camera = check.camera
    pan, tilt, roll = turned(camera)
    return {
        "schema": 1,
        "photo": {"file": str(check.photo.path), "columns": check.photo.size[0], "rows": check.photo.size[1]},
        "camera": {
            "at_mm": _six(camera.view.position),
            "error_mm": _six(camera.position_error_mm),
            "pan_deg": _six([pan])[0],
            "tilt_deg": _six([tilt])[0],
            "roll_deg": _six([roll])[0],
            "focal_35_mm": _six([focal_35(camera.focal_pixels, check.photo.size)])[0],
            "focal_error_mm": _six([focal_35(camera.focal_pixels, check.photo.size) * np.sqrt(camera.covariance[6, 6])])[0],
            "mark_error_pixels": _six([camera.sigma])[0],
            "points": [{"name": point.name, "at_mm": _six(point.at), "off_pixels": _six(off)} for point, off in zip(check.points.points, camera.off)],
        },
        "lamps": [_lamp_values(lamp) for lamp in check.lamps],
    }


def _lamp_values(lamp: FoundLamp) -> dict:
    low, high = lamp.cast.distance_range_mm
    move = lamp.planned.centre - lamp.stands.at
    return {
        "lamp": lamp.planned.name,
        "planned_mm": _six(lamp.planned.centre),
        "at_mm": _six(lamp.cast.at),
        "error_mm": _six(np.sqrt(np.diag(lamp.cast.errors_mm))),
        "distance_mm": _six([lamp.cast.distance_mm])[0],
        "distance_from_mm": _six([low])[0],
        "distance_to_mm": _six([high])[0] if np.isfinite(high) else None,
        "distance_as_planned": lamp.distance_as_planned,
        "stands_mm": _six(lamp.stands.at),
        "move_mm": _six(move),
        "says": move_words(lamp),
        "patches": [
            {
                "opening": patch.opening,
                "pane": None if patch.pane is None else list(patch.pane),
                "on": patch.on,
                "off_mm": _six(patch_off(corners)),
                "corners": [{"corner": c.name, "at_mm": _six(c.at), "planned_mm": _six(c.planned), "off_pixels": _six(c.off)} for c in corners],
            }
            for patch, corners in lamp.patches
        ],
    }


def _six(values) -> list[float]:
    return [float(f"{float(value):.6g}") for value in values]
