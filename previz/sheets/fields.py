"""
The fields of a shooting day: what a maker measures on the bench and writes beside what was planned.

Takes a scene and its built set; gives each field's name, unit, planned value and words for paper. The paper for the day
prints them and `previz asshot` reads them back, so both have the same names:

    opening.NAME.along, .up  lower left corner of the cut, and `width`, `height` or `diameter`
    lamp.NAME.x, .y, .z      middle of the emitting face, from the datum corner and above the set's floor
    lamp.NAME.above table    the same height from the top of the table, and `above floor` from the floor, as a tape finds it
    lamp.NAME.from A ... D   tape pulled straight from a corner of the set's floor to the middle of the face; any two with a height
    lamp.NAME.pan, .tilt     where its axis points
    lamp.NAME.lux.SUBJECT    this lamp alone, clear air, the meter on top of the subject and facing the lamp
    rail.start.x ...         the ends of the rail, as for a lamp
    shot.NAME.stop, .iso, .fps, .shutter, .start after
    shot.NAME.start, .end    marks on the rail; `start x` ... where the shot gives points
    shot.NAME.pan, .tilt     of a shot that looks in a fixed direction
    shot.NAME.lift start, .lift end
    shot.NAME.white          kelvin set on the body
    shot.NAME.focus          where it is a distance; of a pull `focus 1`, `focus 1 at` ... for each mark
    shot.NAME.lamp.LAMP.x ...  of a lamp that stands or points elsewhere in this shot, as for a lamp
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from previz.build.built import BuiltSet
from previz.build.places import place_of, prop_box, table_z
from previz.rig.moves import plan_move
from previz.scene.focusing import marks_of
from previz.scene.model import Heading, Scene, Seconds
from previz.scene.shots import changed

METER_ABOVE_MM = 5.0
"""Of a meter that lies on top of the subject (own choice)."""
CORNERS = "ABCD"
SCREEN_WHITE_K = 6504.0
"""Of a shot that names no white: the screen's own (CIE standard illuminant D65, correlated colour temperature)."""


@dataclass(frozen=True)
class Field:
    """
    One thing to measure.

    name     unique in the scene: "lamp.key.x", "shot.past the clock.iso"
    group    what it belongs to, in the maker's words: "lamp key", "rail, start", "shot past the clock"
    says     what to measure, for paper: "from the datum corner along x"
    unit     "mm" | "deg" | "lux" | "f" | "ISO" | "fps" | "s" | "K"
    planned  as the scene has it; None where that takes light to work out
    at       (3,) of a meter, for lux [mm]
    """

    name: str
    group: str
    says: str
    unit: str
    planned: float | None
    at: tuple[float, float, float] | None = None

    @property
    def key(self) -> str:
        """What is measured of it: "x", "from A", "lux"."""
        parts = self.name.split(".")
        return parts[4] if parts[0] == "shot" and parts[2] == "lamp" else parts[2]


def corners(scene: Scene, built: BuiltSet) -> dict[str, np.ndarray]:
    """
    Return the four corners of the set's floor that a tape is held to, by letter.

    Returns
    -------
    dict of (3,) float array
        A is the lowest in x and y (the datum corner, where the set begins there), then anticlockwise seen from above: of
        the rectangle around the rooms' inner plans, or around a set that comes as a mesh. [mm]
    """
    if scene.room:
        plan = np.array([point for room in scene.room for point in room.plan], float)
        (x0, y0), (x1, y1), z = plan.min(axis=0), plan.max(axis=0), 0.0
    else:
        (x0, y0, z), (x1, y1, _) = built.bounds
    places = [(x0, y0, z), (x1, y0, z), (x1, y1, z), (x0, y1, z)]
    return {letter: np.array(place) for letter, place in zip(CORNERS, places)}


def fields(scene: Scene, built: BuiltSet) -> tuple[Field, ...]:
    """Return every field of a scene: openings, lamps, rail, shots, each in file order."""
    return (*_openings(scene), *_lamps(scene, built), *_rail(scene, built), *_shots(scene, built))


def _openings(scene) -> Iterator[Field]:
    for opening in scene.opening:
        stem, group = f"opening.{opening.name}", f"opening {opening.name}"
        yield Field(f"{stem}.along", group, "lower left corner of the cut seen from outside, along the wall", "mm", opening.at[0])
        yield Field(f"{stem}.up", group, "lower edge of the cut, up the wall", "mm", opening.at[1])
        if isinstance(opening.size, tuple):
            yield Field(f"{stem}.width", group, "of the cut", "mm", opening.size[0])
            yield Field(f"{stem}.height", group, "of the cut", "mm", opening.size[1])
        elif opening.size is not None:
            yield Field(f"{stem}.diameter", group, "of the cut", "mm", opening.size)


def _lamps(scene, built) -> Iterator[Field]:
    for lamp in scene.lamp:
        stem, group = f"lamp.{lamp.name}", f"lamp {lamp.name}"
        yield from _stands(stem, group, lamp, scene, built)
        yield from (Field(f"{stem}.lux.{name}", group, f"on top of {name}, facing the lamp, this lamp alone, clear air", "lux", None, at) for name, at in meters(scene, built).items())


def _stands(stem, group, lamp, scene, built) -> Iterator[Field]:
    """Where a lamp stands and points."""
    yield from _place(stem, group, np.array(lamp.at, float), "middle of the emitting face", scene, built)
    pan, tilt = heading(aim(lamp, built) - np.array(lamp.at, float))
    yield Field(f"{stem}.pan", group, "where its axis points, anticlockwise from x seen from above", "deg", pan)
    yield Field(f"{stem}.tilt", group, "of its axis, up is positive", "deg", tilt)


def moved_lamps(scene: Scene, shot) -> dict:
    """Return the lamps that stand or point elsewhere in a shot, as they are in it, by name."""
    moved = {name: change for name, change in shot.lamps.items() if not isinstance(change, bool) and {"at", "toward"} & change.model_fields_set}
    return {lamp.name: changed("lamp", lamp, moved[lamp.name]) for lamp in scene.lamp if lamp.name in moved}


def meters(scene: Scene, built: BuiltSet) -> dict[str, tuple[float, float, float]]:
    """Return where a meter lies for each subject of the shots, by its name. [mm]"""
    found = {}
    for shot in scene.shot:
        box = prop_box(built, shot.subject_name) if shot.subject_name else None
        if box is not None:
            middle = box.mean(axis=0)
            found[shot.subject_name] = (float(middle[0]), float(middle[1]), float(box[1, 2] + METER_ABOVE_MM))
    return found


def aim(lamp, built: BuiltSet) -> np.ndarray:
    """Return the (3,) point that a lamp is pointed at. [mm]"""
    return np.array(place_of(built, lamp.toward) if isinstance(lamp.toward, str) else lamp.toward, float)


def heading(away) -> tuple[float, float]:
    """Return pan and tilt of a direction (3,) of any length. [deg]"""
    return float(np.degrees(np.arctan2(away[1], away[0]))), float(np.degrees(np.arctan2(away[2], np.hypot(away[0], away[1]))))


def _place(stem, group, at, what, scene, built) -> Iterator[Field]:
    """The ways to measure one place."""
    for axis, value in zip("xyz", at):
        says = f"{what}, above the set's floor" if axis == "z" else f"{what}, from the datum corner along {axis}"
        yield Field(f"{stem}.{axis}", group, says, "mm", float(value))
    above = float(at[2] - table_z(scene, built))
    yield Field(f"{stem}.above table", group, f"{what}, above the table's top", "mm", above)
    yield Field(f"{stem}.above floor", group, f"{what}, above the floor", "mm", above + scene.table.height)
    for letter, corner in corners(scene, built).items():
        yield Field(f"{stem}.from {letter}", group, f"{what}, tape straight from corner {letter} of the set's floor", "mm", float(np.linalg.norm(at - corner)))


def _rail(scene, built) -> Iterator[Field]:
    if scene.slider is not None:
        for name, end in (("start", scene.slider.from_), ("end", scene.slider.to)):
            yield from _place(f"rail.{name}", f"rail, {name}", np.array(end, float), "end of the rail", scene, built)


def _shots(scene, built) -> Iterator[Field]:
    for shot in scene.shot:
        stem, group = f"shot.{shot.name}", f"shot {shot.name}"
        yield Field(f"{stem}.stop", group, "f-number set", "f", shot.stop or scene.lens.stop or scene.lens.widest)
        yield Field(f"{stem}.iso", group, "ISO set", "ISO", shot.iso)
        yield Field(f"{stem}.fps", group, "frames a second shot", "fps", shot.fps)
        timed = isinstance(shot.shutter, Seconds)
        yield Field(f"{stem}.shutter", group, "exposure time" if timed else "shutter angle", "s" if timed else "deg", shot.shutter.seconds if timed else shot.shutter)
        yield Field(f"{stem}.start after", group, "from the spray to the roll", "s", shot.start_after)
        for name, end in (("start", shot.from_), ("end", shot.to)):
            if isinstance(end, float):
                yield Field(f"{stem}.{name}", group, f"mark on the rail, {name} of the move", "mm", end)
            elif end is not None:
                yield from (Field(f"{stem}.{name} {axis}", group, f"entrance pupil at the {name}, along {axis}", "mm", value) for axis, value in zip("xyz", end))
        if isinstance(shot.look, Heading):
            yield Field(f"{stem}.pan", group, "where the lens points, anticlockwise from x seen from above", "deg", shot.look.pan)
            yield Field(f"{stem}.tilt", group, "of the lens, up is positive", "deg", shot.look.tilt)
        if not isinstance(shot.white, str):
            yield Field(f"{stem}.white", group, "white balance set", "K", shot.white or SCREEN_WHITE_K)
        yield from _focus(stem, group, shot, scene, built)
        for name, lamp in moved_lamps(scene, shot).items():
            yield from _stands(f"{stem}.lamp.{name}", f"{group}, lamp {name}", lamp, scene, built)
        if scene.lift is not None:
            yield from (Field(f"{stem}.lift {name}", group, f"height of the lift at the {name}", "mm", at) for name, at in zip(("start", "end"), shot.lift_ends))


def _focus(stem, group, shot, scene, built) -> Iterator[Field]:
    """A distance that stays, or the marks of a pull. Focus that follows a thing is nothing that was set."""
    says = "from the entrance pupil along the optical axis"
    if isinstance(shot.focus, float):
        yield Field(f"{stem}.focus", group, f"focus, {says}", "mm", shot.focus)
    marks = marks_of(shot)
    move = plan_move(scene, shot, built) if marks else None
    for number, mark in enumerate(marks, start=1):
        yield Field(f"{stem}.focus {number}", group, f"focus mark {number}, {says}", "mm", float(move.focus_mm(mark.at)[0]))
        yield Field(f"{stem}.focus {number} at", group, f"focus mark {number}, from the roll on", "s", mark.at)
