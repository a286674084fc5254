"""
The shots as a day: in which order stand and rig are moved least, and what changes from each shot to the next.

Takes a scene, its built set and the move of each shot; gives a `Day`, and a finding. What a change costs is in minutes of the crew, and all of it is own choice: the
figures stand below, once. Decides nothing about light or lens.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from previz.build.built import BuiltSet
from previz.build.places import place_of
from previz.check.finding import Finding, rule
from previz.check.order import EXACT, cheapest_order, path_cost
from previz.check.text import millimetres, number
from previz.haze.medium import extinction_at
from previz.light.units import MM_PER_M
from previz.rig.moves import Move
from previz.scene.draft import listed
from previz.scene.model import Scene, Shot
from previz.scene.shots import scene_of

STAND_MIN, STAND_MIN_A_METRE = 2.0, 1.0
"""A lamp's stand moved: unload, lift, weigh down again; and the way. (own choice, like all below)"""
AIM_MIN = 1.0
"""A lamp turned where it stands."""
FRONT_MIN = 1.0
"""A gel or a sheet put before a lamp, or taken away; a beam made narrower."""
LEVEL_MIN = 0.25
"""A lamp dimmed, lit or put out at its switch."""
RAIL_MIN = 5.0
"""The camera on its rail or off it."""
CAMERA_MIN, CAMERA_MIN_A_METRE = 1.0, 1.0
"""A camera off the rail stood somewhere else; and the way."""
LIFT_MIN = 0.5
"""The lift run to another height, and everything looked at again."""
SETTING_MIN = 0.25
"""Frame rate, shutter, ISO or stop changed, each."""
AIR_MIN = 5.0
"""Haze let out where nothing says how fast it thins, or where it has to go altogether."""

WORTH_MIN = 1.0
"""Another order is worth saying when it saves this much."""

_MOVED_MM, _TURNED_DEG = 1.0, 0.5
_ON_RAIL = ("slide", "arc")


@dataclass(frozen=True)
class Step:
    """What changes from one shot to the next: their names, minutes of work, and each change in words."""

    before: str
    after: str
    minutes: float
    changes: tuple[str, ...]


@dataclass(frozen=True)
class Day:
    """
    The day's shots in the order that moves least.

    order               names of the shots
    minutes             of all changes in this order
    minutes_as_written  in the order of the file
    exact               whether no order is cheaper; else it was found by trying
    steps               what changes
    """

    order: tuple[str, ...]
    minutes: float
    minutes_as_written: float
    exact: bool
    steps: tuple[Step, ...]


def day_of(scene: Scene, built: BuiltSet, moves: list[Move]) -> Day | None:
    """Return the day of a scene whose shots move as `moves`, one each; None where there are not two."""
    shots = list(zip(scene.shot, moves))
    if len(shots) < 2:
        return None
    changes = [[changes_between(scene, built, a, b) if a is not b else [] for b in shots] for a in shots]
    cost = np.array([[sum(minutes for _, minutes in row) for row in rows] for rows in changes])
    order = cheapest_order(cost)
    names = [shot.name for shot in scene.shot]
    steps = tuple(Step(names[a], names[b], float(cost[a, b]), tuple(words for words, _ in changes[a][b])) for a, b in zip(order, order[1:]))
    return Day(tuple(names[i] for i in order), path_cost(cost, order), path_cost(cost, range(len(shots))), len(shots) <= EXACT, steps)


def changes_between(scene: Scene, built: BuiltSet, before: tuple[Shot, Move], after: tuple[Shot, Move]) -> list[tuple[str, float]]:
    """Return each change from one shot to the next in words, with its minutes."""
    one, other = (scene_of(scene, shot) for shot, _ in (before, after))
    return [
        *_lamp_changes(built, scene, one, other),
        *_camera_changes(*before, *after),
        *_lift_changes(before[1], after[1]),
        *_haze_changes(one.haze, before[0], other.haze, after[0]),
        *_setting_changes(scene.lens, before[0], after[0]),
    ]


def _lamp_changes(built, written, one, other):
    """Lamps from one scene to the next; one that was out is taken to stand as it is `written` in the file."""
    kept, old, new = ({lamp.name: lamp for lamp in scene.lamp} for scene in (written, one, other))
    for name in kept:
        if name in old and name not in new:
            yield f"put {name} out", LEVEL_MIN
        elif name in new:
            if name not in old:
                yield f"light {name}", LEVEL_MIN
            yield from _lamp_change(built, name, old.get(name, kept[name]), new[name])


def _lamp_change(built, name, old, new):
    """One lamp from as it stood to as it is needed."""
    moved = np.subtract(new.at, old.at)
    if (far := float(np.linalg.norm(moved))) >= _MOVED_MM:
        yield f"move {name} {_way(moved, _axis(built, old))}, as it looks", STAND_MIN + STAND_MIN_A_METRE * far / MM_PER_M
    pan, tilt = _turn(_axis(built, old), _axis(built, new))
    turns = [f"{number(abs(angle), 2)} degrees {words[int(angle > 0)]}" for angle, words in ((pan, ("right", "left")), (tilt, ("down", "up"))) if abs(angle) >= _TURNED_DEG]
    if turns:
        yield f"turn {name} {' and '.join(turns)}", AIM_MIN
    if new.dim != old.dim:
        yield f"dim {name} to {100 * new.dim:.0f} %", LEVEL_MIN
    if _level(new) != _level(old):
        yield f"set {name} to {_level(new)}", LEVEL_MIN
    if (new.gel, new.colour) != (old.gel, old.colour):
        yield f"change the {'gel' if new.gel != old.gel else 'colour'} of {name}" + (f" to {number(new.gel_stops)} stops" if new.gel != old.gel else ""), FRONT_MIN
    if new.diffusion != old.diffusion:
        sheet = new.diffusion
        yield (f"put a sheet of {number(sheet.size[0])} x {number(sheet.size[1])} mm before {name}, {number(sheet.distance)} mm off" if sheet else f"take the sheet off {name}"), FRONT_MIN
    if new.beam != old.beam:
        yield f"set the beam of {name} to {number(new.beam)} degrees", FRONT_MIN


def _level(lamp) -> str:
    """The level that a lamp is set to, in words."""
    for key, words in (("lux_at_1m", "lux at 1 m"), ("candela", "candela"), ("lumens", "lumens")):
        if (value := getattr(lamp, key)) is not None:
            return f"{number(value)} {words}"
    return ""


def _axis(built, lamp) -> np.ndarray:
    """(3,) unit vector that a lamp looks along."""
    target = np.array(lamp.toward, float) if isinstance(lamp.toward, tuple) else np.asarray(place_of(built, lamp.toward), float)
    along = target - lamp.at
    return along / np.linalg.norm(along)


def _way(moved, axis) -> str:
    """A way (3,) in words, as one who stands behind the lamp and looks along it has it: "420 mm left and 30 mm up". [mm]"""
    level = np.array([axis[0], axis[1], 0.0])
    forward = level / np.linalg.norm(level) if np.linalg.norm(level) > 1e-6 else np.array([1.0, 0.0, 0.0])
    left = np.array([-forward[1], forward[0], 0.0])
    parts = ((moved @ left, ("right", "left")), (moved @ forward, ("back", "forward")), (moved[2], ("down", "up")))
    return listed([f"{millimetres(abs(far))} mm {words[int(far > 0)]}" for far, words in parts if abs(far) >= _MOVED_MM], " and")


def _turn(old, new) -> tuple[float, float]:
    """Return pan (left) and tilt (up) from one axis to another. [degrees]"""
    pan = math.degrees(math.atan2(new[1], new[0]) - math.atan2(old[1], old[0]))
    return (pan + 180) % 360 - 180, math.degrees(math.asin(np.clip(new[2], -1, 1)) - math.asin(np.clip(old[2], -1, 1)))


def _camera_changes(shot, move, next_shot, next_move):
    """The camera on its rail, off it, or stood somewhere else."""
    on_rail = [one.move in _ON_RAIL or isinstance(one.from_, float) for one in (shot, next_shot)]
    there = next_move.steady.poses(0.0).position[0]
    to = f"its pupil to [{', '.join(f'{x:.0f}' for x in there)}]"
    if on_rail == [True, False]:
        yield f"take the camera off the rail, {to}", RAIL_MIN
    elif on_rail == [False, True]:
        yield "put the camera on the rail", RAIL_MIN
    elif not any(on_rail) and (far := float(np.linalg.norm(there - move.steady.poses(move.take_s).position[0]))) >= _MOVED_MM:
        yield f"move the camera {millimetres(far)} mm, {to}", CAMERA_MIN + CAMERA_MIN_A_METRE * far / MM_PER_M


def _lift_changes(move, next_move):
    rise = next_move.lift[0] - move.lift[1]
    if abs(rise) >= _MOVED_MM:
        yield f"lift {'up' if rise > 0 else 'down'} {millimetres(abs(rise))} mm, to {number(next_move.lift[0])}", LIFT_MIN


def _haze_changes(one, before, other, after):
    """Thicker haze is sprayed with the take; thinner has to be waited for."""
    fresh, left = extinction_at(other), extinction_at(one, before.start_after + before.take_s)
    if one.droplets != other.droplets and left > 0:
        yield "let the haze out, and spray the other kind", AIR_MIN
    elif fresh < left * (1 - 1e-9):
        waits = fresh > 0 and one.half_life is not None
        minutes = one.half_life * math.log2(left / fresh) / 60 if waits else AIR_MIN
        yield f"wait until the haze is down to {number(fresh, 2)} per metre" if fresh > 0 else "let the haze out", minutes
    if fresh > 0 and fresh != extinction_at(one):
        yield f"spray to {number(fresh, 2)} per metre", 0.0


def _setting_changes(lens, before, after):
    stops = [shot.stop or lens.stop or lens.widest for shot in (before, after)]
    pairs = (
        (before.fps != after.fps, f"set {number(after.fps)} frames a second"),
        (before.exposure_s != after.exposure_s, f"open the shutter for 1/{number(1 / after.exposure_s)} s"),
        (before.iso != after.iso, f"set ISO {number(after.iso)}"),
        (stops[0] != stops[1], f"stop down to f/{number(stops[1])}" if stops[1] > stops[0] else f"open to f/{number(stops[1])}"),
    )
    yield from ((words, SETTING_MIN) for differs, words in pairs if differs)


@rule("day")
def order_of_the_day(study):
    """Shots in an order that moves stand and rig least."""
    found = study.day
    if found is None or not found.minutes_as_written:
        return
    listed = ", ".join(found.order)
    if found.minutes_as_written - found.minutes >= WORTH_MIN:
        says = f"In the order of the file the changes between shots take about {number(found.minutes_as_written, 2)} min, and {number(found.minutes, 2)} would do."
        yield Finding("care", "the day", says, f"Shoot in this order: {listed}.")
    else:
        yield Finding("ok", "the day", f"The order {listed} costs about {number(found.minutes, 2)} min of changes between them.")
