"""
What one part of the scene file says of another: names that must exist, keys that exclude or need each other.

Takes a Draft; gives Problems. Names are looked up from and among all that was typed, so that a fault elsewhere in a
table neither hides a wrong name nor makes a right one unknown; rules on values see the sound tables only. One small
function a rule; `RULES` lists them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

from previz.scene.draft import ENOUGH, MOST_THINGS, Draft, Problem, is_name, listed, mm, nearest, point, quoted
from previz.scene.elevations import eaves_walls
from previz.scene.model import COOLEST_K, DAYLIGHT_FROM_K, HOTTEST_K, Finish, Heading, LampTable, Lens, OutlineShape, Pitch, Room, Seconds, Temperature
from previz.scene.focusing import RULES as FOCUSING, marks_of
from previz.scene.moving import RULES as MOVING
from previz.scene.outlines import LANCET_HEAD, size_of
from previz.scene.rings import ring_is_sound
from previz.scene.shots import RULES as CHANGES
from previz.scene.swirling import RULES as SWIRLING

ROOM_PARTS = ("walls", "floor", "ceiling", "slopes", "reveals")
_RESERVED = ("ceiling", "floor", "slope", *ROOM_PARTS)
_LEVELS = ("lux_at_1m", "candela", "lumens")
_NEAR_MM = 1e-3
_MOST_COMPARED = 500


def crossref_problems(draft: Draft) -> list[Problem]:
    """Return what is wrong between the tables of a draft."""
    problems = (problem for rule in RULES for problem in rule(draft))
    return list(itertools.islice(problems, ENOUGH))


def room_or_mesh(draft: Draft) -> Iterator[Problem]:
    """A scene has rooms or one mesh, not both, not neither."""
    rooms, mesh = draft.typed.get("room"), draft.typed.get("mesh")
    if mesh is not None and rooms:
        yield Problem(("mesh",), "a scene has either rooms or one mesh, and this has both", "Remove [mesh], or every [[room]].", "", True)
    if mesh is None and not rooms:
        yield Problem((), "one [[room]] or one [mesh] is missing", "Add [[room]] with name, plan and height; `previz new` writes an example.", "")


def not_too_many(draft: Draft) -> Iterator[Problem]:
    """Repeats and bars may not add up to more things than a set can hold."""
    things = 0
    for table in ("opening", "prop"):
        for i, row in draft.rows.get(table, []):
            bars = getattr(row, "bars", None)
            things += (row.repeat.count if row.repeat else 1) * (bars.columns * bars.rows if bars else 1)
            if things > MOST_THINGS:
                says = f"with this the set has more than {MOST_THINGS:,} props and panes"
                yield Problem((table, i), says, "Lower count of repeat, or columns and rows of bars.", "", True)
                return


def names_differ(draft: Draft) -> Iterator[Problem]:
    """Names tell things apart in the report: rooms, openings and props share one list; lamps and shots have their own."""
    for tables in (("room", "opening", "prop"), ("lamp",), ("shot",)):
        seen: dict[str, str] = {}
        for table, i, names in draft.names_by_row(*tables):
            taken = next((name for name in names if name in seen), None)
            if taken is not None:
                owner = "another" if seen[taken] == table else "an" if seen[taken] == "opening" else "a"
                of_row = "" if taken == names[0] else f' (its repeat makes "{taken}")'
                yield Problem((table, i, "name"), f"{owner} {seen[taken]} has this name already{of_row}", "Give each its own name.", "" if of_row else None)
            for name in names:
                seen.setdefault(name, table)


def room_walls(draft: Draft) -> Iterator[Problem]:
    """Wall names: one for each edge of the plan, all different; those in `open` exist."""
    for i, room in draft.rows.get("room", []):
        edges, names = len(room.plan), room.wall_names
        if len(names) != edges:
            says = f"must have {edges} names, one for each edge of plan"
            yield Problem(("room", i, "walls"), says, "Name the walls in the plan's order, or leave walls out.", f"{len(names)}")
            continue
        for k, name in enumerate(names):
            if name in names[:k]:
                yield Problem(("room", i, "walls", k), "another wall of this room has this name", "Give each wall its own name.")
            elif name in _RESERVED:
                yield Problem(("room", i, "walls", k), "this word is kept for another part of the room", "Give the wall another name.")
        for k, name in enumerate(room.open):
            if name not in names:
                yield Problem(("room", i, "open", k), f"must be a wall of this room: {quoted(names)}", _did_you_mean(name, names))


def finishes_exist(draft: Draft) -> Iterator[Problem]:
    """Each finish that a room, prop or mesh names is in the file; "plain" needs no table."""
    typed = draft.typed.get("finish")
    known = ["plain", *(typed if isinstance(typed, dict) else [])]
    for path, name in _finishes_named(draft):
        if name not in known:
            remedy = _did_you_mean(name, known) if nearest(name, known) else f"Add [finish.{name}] with reflect or colour."
            yield Problem(path, "there is no such finish", remedy)
    for i, room in draft.rows.get("room", []):
        parts = [*ROOM_PARTS, *room.wall_names]
        for part in room.finish if isinstance(room.finish, dict) else ():
            if part not in parts:
                yield Problem(("room", i, "finish", part), f"must be a wall's name or {listed(ROOM_PARTS)}", _did_you_mean(part, parts), "", True)


def _finishes_named(draft):
    for i, room in draft.typed_rows("room"):
        finish = room.get("finish")
        named = finish.items() if isinstance(finish, dict) else ()
        yield from ((("room", i, "finish", part), name) for part, name in named if is_name(name))
    for table in ("room", "prop"):
        for i, row in draft.typed_rows(table):
            if is_name(row.get("finish")):
                yield (table, i, "finish"), row["finish"]
    mesh = draft.typed.get("mesh")
    if isinstance(mesh, dict) and is_name(mesh.get("finish")):
        yield ("mesh", "finish"), mesh["finish"]


def finish_says_one(draft: Draft) -> Iterator[Problem]:
    """A finish is given by reflect or by colour."""
    typed = draft.typed.get("finish")
    for name, finish in typed.items() if isinstance(typed, dict) else ():
        if isinstance(finish, dict):
            yield from _exactly_one(("finish", name), finish, Finish, ("reflect", "colour"))


def opening_walls(draft: Draft) -> Iterator[Problem]:
    """Each opening is in a wall, ceiling, floor or slope that stands."""
    names = draft.names_typed("room")
    rooms = {room.name: room for _, room in draft.rows.get("room", [])}
    for i, opening in draft.typed_rows("opening"):
        path, wall = ("opening", i, "wall"), opening.get("wall")
        if not isinstance(wall, str) or not wall:
            continue
        room, _, panel = wall.partition(".")
        if room not in names:
            yield Problem(path, "there is no such room", _room_remedy(wall, names, rooms))
        elif room in rooms and (problem := _panel_problem(panel, rooms[room], path)):
            yield problem


def _room_remedy(wall, names, rooms):
    owners = [f'"{name}.{wall}"' for name, room in rooms.items() if wall in (*room.wall_names, "ceiling", "floor", "slope")]
    if owners:
        return f"Write the room in front: {listed(owners)}."
    room, _, panel = wall.partition(".")
    close = nearest(room, names)
    if close:
        return f'Did you mean "{close}.{panel}"?' if panel else f'Write room and wall: "{close}.WALL".'
    return f"Rooms here: {quoted(names)}." if names else "Add a [[room]] of that name."


def _panel_problem(panel: str, room: Room, path):
    """Why nothing that could be cut has this name, or None."""
    walls, pitched = room.wall_names, isinstance(room.roof, Pitch)
    name = room.name
    if panel in walls:
        return Problem(path, f'wall "{panel}" is left off (open), so there is nothing to cut', "Take it out of open, or move the opening.") if panel in room.open else None
    if panel == "ceiling" and pitched:
        return Problem(path, "this room has a pitched roof and no flat ceiling", f'Cut a slope: "{name}.slope.WALL".')
    if panel in ("ceiling", "floor"):
        return None if getattr(room, panel) else Problem(path, f"this room has no {panel} ({panel} = false)", f"Set {panel} = true, or remove the opening.")
    if panel.split(".")[0] == "slope":
        return _slope_problem(panel, room, path, pitched)
    parts = [*walls, "floor", *(["slope"] if pitched else ["ceiling"])]
    close = nearest(panel, parts) if panel else None
    remedy = f'Did you mean "{name}.{close}"?' if close else f"Walls of {name}: {quoted(walls)}; also floor and {parts[-1]}."
    return Problem(path, "this room has no such wall" if panel else "must name room and wall", remedy)


def _slope_problem(panel, room, path, pitched):
    if not pitched:
        return Problem(path, "this room has a flat roof and no slope", f'Cut the ceiling: "{room.name}.ceiling", or set roof = {{pitch, ridge}}.')
    if not ring_is_sound(room.plan):
        return None
    eaves = eaves_walls(room)
    if panel == "slope" and eaves or panel.removeprefix("slope.") in eaves:
        return None
    return Problem(path, "no slope rises from that wall", f"Eaves walls here: {quoted(eaves)}." if eaves else "Set ridge along two of the walls.")


def opening_sizes(draft: Draft) -> Iterator[Problem]:
    """The size suits the shape."""
    for i, opening in draft.rows.get("opening", []):
        path, size, shape = ("opening", i, "size"), opening.size, opening.shape
        if isinstance(shape, OutlineShape):
            if size is not None:
                yield Problem(path, "an outline has its own size", "Remove size.", None, True)
        elif size is None:
            wanted = "the diameter" if shape == "round" else "[width, height]"
            yield Problem(("opening", i), "size is missing", f"Add size = {wanted} in mm.", "", True)
        elif problem := _size_problem(opening, path):
            yield problem


def _size_problem(opening, path):
    shape = opening.shape
    if shape != "round" and not isinstance(opening.size, tuple):
        return Problem(path, f"must be [width, height] for {shape}", f"Write size = [{mm(opening.size)}, height].")
    width, height = size_of(opening)
    if shape == "round" and abs(width - height) > _NEAR_MM:
        return Problem(path, "a round opening has one diameter", f"Write size = {mm(width)}.")
    if shape == "arch" and height < width / 2 - _NEAR_MM:
        says = f"an arch {mm(width)} mm wide has a head {mm(width / 2)} mm high and must be at least that high"
        return Problem(path, says, f"Make it {mm(width / 2)} mm high or more, or at most {mm(2 * height)} mm wide.")
    lowest = width * LANCET_HEAD
    if shape == "lancet" and height < lowest - _NEAR_MM:
        says = f"a lancet {mm(width)} mm wide has a head {mm(lowest)} mm high and must be at least that high"
        return Problem(path, says, f"Make it {mm(math.ceil(lowest))} mm high or more, or at most {mm(math.floor(height / LANCET_HEAD * 10) / 10)} mm wide.")
    return None


def opening_tints(draft: Draft) -> Iterator[Problem]:
    """A list of tints has one for each pane."""
    for i, opening in draft.rows.get("opening", []):
        if isinstance(opening.tint, str):
            continue
        columns, rows = (opening.bars.columns, opening.bars.rows) if opening.bars else (1, 1)
        if [len(row) for row in opening.tint] != [columns] * rows:
            row = _some("colour", columns)
            says = f"must have one colour for each pane: {rows} {'row' if rows == 1 else 'rows'} of {columns}"
            yield Problem(("opening", i, "tint"), says, f"Write {_some(row, rows)}, the top row first, or one colour for all panes.")


def _some(word: str, count: int) -> str:
    """Return a list of `count` words as it is typed, its first three written out."""
    return f"[{', '.join([word] * min(count, 3))}{', ...' if count > 3 else ''}]"


def repeats_step(draft: Draft) -> Iterator[Problem]:
    """A repeated row has a step that moves it, with a number for each direction."""
    for table, numbers, words in (("opening", 2, "[along, up]"), ("prop", 3, "[dx, dy, dz]")):
        for i, row in draft.rows.get(table, []):
            path = (table, i, "repeat", "step")
            if row.repeat is None:
                continue
            if len(row.repeat.step) != numbers:
                yield Problem(path, f"must be {words}", f"Write {numbers} numbers, in mm.")
            elif row.repeat.count > 1 and not any(row.repeat.step):
                yield Problem(path, "must move each from the one before", "Write the distance from one to the next, in mm.")


def lamp_levels(draft: Draft) -> Iterator[Problem]:
    """A lamp's level is given once; a photometric file has one, and a beam, already, and readings need none."""
    for i, lamp in draft.typed_rows("lamp"):
        measured = lamp.get("kind") == "ies"
        if not (measured or lamp.get("measured")) or any(key in lamp for key in _LEVELS):
            yield from _exactly_one(("lamp", i), lamp, LampTable, _LEVELS)
        if measured and "beam" in lamp:
            yield Problem(("lamp", i, "beam"), "the photometric file says this already", "Take beam out.", None, True)


def lamp_colours(draft: Draft) -> Iterator[Problem]:
    """A lamp's colour is one that light can have, behind its gel too."""
    for i, lamp in draft.rows.get("lamp", []):
        path, kelvin = ("lamp", i, "colour"), lamp.kelvin
        if lamp.colour == "#000000":
            yield Problem(path, "black is no colour of light", "Give the colour of the light; dim = 0 puts the lamp out.")
        if kelvin is None and lamp.gel_mired:
            says = "mired shift a colour given in kelvin, and this lamp's is not"
            yield Problem(("lamp", i, "gel", "mired"), says, "Write the lamp's colour in kelvin, colour = 5600, or leave mired out and give the colour behind the gel.")
        if kelvin is not None and not COOLEST_K <= kelvin <= HOTTEST_K:
            says = f"leaves no white from {COOLEST_K:,.0f} to {HOTTEST_K:,.0f} K behind the gel"
            yield Problem(("lamp", i, "gel", "mired"), says, "Positive mired are warmer: give a smaller shift, or the other sign.")
        elif isinstance(lamp.colour, Temperature) and lamp.colour.locus == "daylight" and kelvin < DAYLIGHT_FROM_K:
            yield Problem(path, f"daylight begins at {DAYLIGHT_FROM_K:,.0f} K, and this is {kelvin:,.0f} behind the gel", 'Write locus = "planckian", or a higher kelvin.')


def lamp_pulses(draft: Draft) -> Iterator[Problem]:
    """A lamp pulses with the mains or by its dimmer, and ripples on the mains alone."""
    for i, lamp in draft.rows.get("lamp", []):
        if lamp.mains and lamp.pulse:
            yield Problem(("lamp", i, "pulse"), "mains says this already", "Keep one of mains and pulse.", None, True)
        elif "ripple" in lamp.model_fields_set and not lamp.mains:
            yield Problem(("lamp", i, "ripple"), "ripple is of light on the mains", "Add mains = 50 or 60, or take ripple out.", None, True)


def lamps_measured(draft: Draft) -> Iterator[Problem]:
    """A meter stands somewhere else than the lamp and what it looks at, and a lamp that is dimmed to nothing gives it nothing."""
    for i, lamp in draft.rows.get("lamp", []):
        for k, reading in enumerate(lamp.measured):
            if math.dist(reading.at, lamp.at if reading.facing is None else reading.facing) < _NEAR_MM:
                key = "at" if reading.facing is None else "facing"
                says = "this is where the lamp itself is" if reading.facing is None else "this is where the meter itself is"
                yield Problem(("lamp", i, "measured", k, key), says, "Give the place of the meter as at, and leave facing out if it looked at the lamp.")
        if lamp.measured and lamp.dim == 0:
            yield Problem(("lamp", i, "dim"), "a lamp that is out cannot have been measured", "Write the dim at which the readings were taken, or take measured out.")


def lamps_aim(draft: Draft) -> Iterator[Problem]:
    """A lamp points at a place that is not its own, or at an opening or prop that exists."""
    names = draft.names_typed("opening", "prop")
    for i, lamp in draft.typed_rows("lamp"):
        if is_name(lamp.get("toward")):
            yield from _must_exist(lamp["toward"], names, ("lamp", i, "toward"), "opening or prop")
    for i, lamp in draft.rows.get("lamp", []):
        path = ("lamp", i, "toward")
        if isinstance(lamp.toward, tuple) and math.dist(lamp.toward, lamp.at) < _NEAR_MM:
            yield Problem(path, "this is where the lamp itself is", "Give the point that it shines at, or a name.")


def haze_level(draft: Draft) -> Iterator[Problem]:
    """Haze is given by extinction or by visibility, by g or by droplets; its box has a low corner and a high one."""
    haze = draft.tables.get("haze")
    if haze is None:
        return
    if haze.extinction is not None and haze.visibility is not None:
        yield Problem(("haze", "visibility"), "extinction says this already", "Keep one of extinction and visibility.", None, True)
    if haze.droplets is not None and "g" in haze.model_fields_set:
        yield Problem(("haze", "g"), "droplets say this already", "Keep one of g and droplets.", None, True)
    if isinstance(haze.fills, tuple) and any(a >= b for a, b in zip(*haze.fills)):
        low, high = (tuple(pick(a, b) for a, b in zip(*haze.fills)) for pick in (min, max))
        remedy = "Give the box some size in all three directions."
        if all(a < b for a, b in zip(low, high)):
            remedy = f"Write fills = [{point(low)}, {point(high)}]."
        yield Problem(("haze", "fills"), "must be the lowest corner, then the highest", remedy)


def lens_stops(draft: Draft) -> Iterator[Problem]:
    """No stop is wider than the lens's widest, and no T-number below its f-number."""
    lens = draft.tables.get("lens") or (None if "lens" in draft.typed else Lens())
    if lens is None:
        return
    owned = [("lens", "stop", lens.stop)] if lens.stop is not None else []
    owned += [("shot", i, "stop", shot.stop) for i, shot in draft.rows.get("shot", []) if shot.stop is not None]
    for *path, stop in owned:
        if stop < lens.widest:
            says = f"the lens opens no wider than f/{lens.widest:g}"
            yield Problem(tuple(path), says, f"Write {lens.widest:g} or more, or lower widest in [lens].")
    used = lens.stop or lens.widest
    if lens.t_stop is not None and lens.t_stop < used:
        yield Problem(("lens", "t_stop"), f"a T-number is never below the f-number, here {used:g}", "Put the T-number that belongs to this stop, or leave t_stop out.")


def barrel_holds_pupil(draft: Draft) -> Iterator[Problem]:
    """The entrance pupil lies inside the barrel."""
    lens = draft.tables.get("lens")
    if lens is not None and lens.pupil > (length := sum(part[0] for part in lens.barrel)):
        yield Problem(("lens", "pupil"), f"must lie inside the barrel, at most {mm(length)}", "pupil is measured from the front of the barrel back.")


def shots_refer(draft: Draft) -> Iterator[Problem]:
    """What a shot looks at, keeps in frame and focuses on exists."""
    names = draft.names_typed("prop")
    for i, shot in draft.typed_rows("shot"):
        for key in ("look", "subject", "focus"):
            if is_name(shot.get(key)):
                yield from _must_exist(shot[key], names, ("shot", i, key), "prop")


def shots_white(draft: Draft) -> Iterator[Problem]:
    """The white balance of a shot goes by a lamp of the set."""
    lamps = [lamp.name for _, lamp in draft.rows.get("lamp", [])]
    for i, shot in draft.rows.get("shot", []):
        if isinstance(shot.white, str) and shot.white not in lamps:
            remedy = _did_you_mean(shot.white, lamps) if lamps else "Give kelvin, like white = 5600."
            yield Problem(("shot", i, "white"), "there is no lamp of that name", remedy)


def shots_look(draft: Draft) -> Iterator[Problem]:
    """The lens does not look at, or focus on, the point where it stands."""
    for i, shot in draft.rows.get("shot", []):
        for key in ("look", "focus"):
            aim = getattr(shot, key)
            if key == "focus" and marks_of(shot):
                continue
            if isinstance(aim, tuple) and isinstance(shot.from_, tuple) and math.dist(aim, shot.from_) < _NEAR_MM:
                yield Problem(("shot", i, key), "this is where the lens itself is", "Give a point in front of the lens, or a prop's name.")


def shots_expose(draft: Draft) -> Iterator[Problem]:
    """No frame is exposed for longer than it lasts."""
    for i, shot in draft.rows.get("shot", []):
        if isinstance(shot.shutter, Seconds) and shot.shutter.seconds > 1 / shot.fps * (1 + 1e-9):
            says = f"at {shot.fps:g} frames a second a frame lasts {1 / shot.fps:.4g} s, and the exposure must not be longer"
            yield Problem(("shot", i, "shutter", "seconds"), says, f"Write {1 / shot.fps:.4g} or less, or lower fps.")


def _exactly_one(path, typed, model, keys):
    """Exactly one of `keys` is given."""
    given = [key for key in keys if key in typed]
    if not given and not any(nearest(key, keys) for key in typed if key not in model.model_fields):
        meant = [f"{key} ({model.model_fields[key].description})" for key in keys]
        yield Problem(path, f"{listed(keys)} is missing", f"Add one of {listed(meant)}.", "", True)
    for key in given[1:]:
        yield Problem((*path, key), f"{given[0]} says this already", f"Keep one of {listed(keys, ' and')}.", None, True)


def _must_exist(name, names, path, what):
    if name not in names:
        remedy = _did_you_mean(name, names) if names else f"Give a point [x, y, z], or add a {what.split(' or ')[-1]} of that name."
        yield Problem(path, f"there is no {what} of that name", remedy)


def _did_you_mean(name, known):
    known = list(dict.fromkeys(known))[:_MOST_COMPARED]
    close = nearest(name, known)
    return f'Did you mean "{close}"?' if close else f"Names here: {quoted(known)}."


RULES = (
    room_or_mesh,
    not_too_many,
    names_differ,
    room_walls,
    finishes_exist,
    finish_says_one,
    opening_walls,
    opening_sizes,
    opening_tints,
    repeats_step,
    lamp_levels,
    lamp_colours,
    lamp_pulses,
    lamps_measured,
    lamps_aim,
    haze_level,
    lens_stops,
    barrel_holds_pupil,
    *SWIRLING,
    *FOCUSING,
    *MOVING,
    *CHANGES,
    shots_refer,
    shots_white,
    shots_look,
    shots_expose,
)
