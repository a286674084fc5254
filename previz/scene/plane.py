"""
Geometry of the scene that can be judged flat: plans seen from above, openings on their walls.

Takes a Draft; gives Problems, each with how many millimetres are amiss and the fix. What needs solids (a lamp inside a
wall, a lens inside a prop) is found on the built set. One small function a rule; `RULES` lists them.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Iterator

import numpy as np
import shapely
from shapely.geometry import Polygon

from previz.scene.draft import ENOUGH, MOST_THINGS, Draft, Problem, mm, point
from previz.scene.elevations import Panel, eaves_walls, panel_named, ridge_line, slab_thickness, underside, wall_plans
from previz.scene.model import CutoutProp, LatheProp, OutlineShape, Pitch
from previz.scene.outlines import LANCET_HEAD, outline_of, pane_size, size_of
from previz.scene.rings import NEAREST_MM, ring_faults, ring_is_sound

SMALLEST_PANE_MM = 0.5
_CLOSE_MM = 0.02

DRAWN = ("room", "opening", "prop")
"""The tables that these rules look at."""

_SPECK_MM2 = 1e-3


def plane_problems(draft: Draft) -> list[Problem]:
    """Return what is wrong with the geometry of a draft's sound tables."""
    if len(draft.expanded("opening")) >= MOST_THINGS:
        return []
    problems = (problem for rule in RULES for problem in rule(draft))
    return list(itertools.islice(problems, ENOUGH))


def outlines_close(draft: Draft) -> Iterator[Problem]:
    """Plans and outlines are simple; plans run anticlockwise."""
    for i, room in draft.rows.get("room", []):
        for problem in _ring_problems(room.plan, ("room", i, "plan"), "plan", True):
            turned = room.walls and "clockwise" in problem.allowed
            names = f" The names in walls then run the other way too: {', '.join(room.walls[::-1])}." if turned else ""
            yield problem._replace(remedy=problem.remedy + names)
    for i, opening in draft.rows.get("opening", []):
        if isinstance(opening.shape, OutlineShape):
            yield from _ring_problems(opening.shape.outline, ("opening", i, "shape", "outline"), "outline", False)
            yield from _outline_start(opening.shape.outline, ("opening", i, "shape", "outline"))
    for i, prop in draft.rows.get("prop", []):
        if isinstance(prop, CutoutProp):
            yield from _ring_problems(prop.outline, ("prop", i, "outline"), "outline", False)


def _ring_problems(points, path, key, anticlockwise):
    for fault in ring_faults(points, key=key, anticlockwise=anticlockwise):
        where = path if fault.corner is None else (*path, fault.corner)
        yield Problem(where, fault.says, fault.remedy, "" if fault.corner is None else None)


def _outline_start(points, path):
    """`at` is the lower left corner of the outline's box, so the outline begins at 0, 0."""
    low = np.min(points, axis=0)
    if np.abs(low).max() > _CLOSE_MM:
        says = f"must have 0 as its lowest along and up, and has {point(low)}"
        yield Problem(path, says, f"Subtract {point(low)} from each corner, and add it to at.", "")


def lathes_turn(draft: Draft) -> Iterator[Problem]:
    """A lathe's profile has some width, some height, and does not cross itself."""
    for i, prop in draft.rows.get("prop", []):
        if not isinstance(prop, LatheProp):
            continue
        path, profile = ("prop", i, "profile"), np.array(prop.profile)
        steps = np.linalg.norm(np.diff(profile, axis=0), axis=1)
        for k in np.flatnonzero(steps < 1e-6):
            yield Problem((*path, int(k) + 1), "repeats the point before it", "Leave one of the two out.")
        if profile[:, 0].max() < NEAREST_MM or np.ptp(profile[:, 1]) < NEAREST_MM:
            yield Problem(path, "must have a radius and a height above 0 somewhere", "Write [[radius, height], ...] from the bottom up, in mm.")
        elif steps.min() >= 1e-6 and not shapely.LineString(profile).is_simple:
            yield Problem(path, "crosses itself", "Put its points in order from the bottom up.", "")


def rooms_build(draft: Draft) -> Iterator[Problem]:
    """Walls are not thicker than their corners allow; a pitched roof has eaves and stays above the floor."""
    for i, room in _sound_rooms(draft):
        yield from _thick_walls(room, i)
        if isinstance(room.roof, Pitch):
            yield from _roof_problems(room, i)


def _thick_walls(room, i):
    """The first wall whose outer face has no length left, else walls that grow into the room or into one another."""
    path, inside = ("room", i, "wall"), Polygon(room.plan)
    walls = [plan for plan in wall_plans(room) if plan.standing]
    for plan in walls:
        outer = float((plan.outer_end - plan.outer_start) @ plan.along)
        if outer < NEAREST_MM:
            limit = room.wall * plan.length / (plan.length - outer)
            says = f'is too thick for wall "{plan.name}", {mm(plan.length)} mm long: its mitred ends cross'
            yield Problem(path, says, f"Make it less than {mm(limit)} mm, or that side of the plan longer.")
            return
    feet = [plan.footprint for plan in walls]
    for a, b in zip(*map(list, shapely.STRtree(feet).query([*feet, inside], predicate="intersects"))) if feet else ():
        grown = inside if a == len(feet) else feet[a]
        if a > b and shapely.intersection(grown, feet[b]).area > _SPECK_MM2:
            into = "back into the room" if a == len(feet) else f'into wall "{walls[a].name}"'
            yield Problem(path, f'is too thick for its plan: wall "{walls[b].name}" grows {into}', "Make it thinner, or the notch in the plan wider.")
            return


def _roof_problems(room, i):
    _, across, _ = ridge_line(room)
    plans = {plan.name: plan for plan in wall_plans(room)}
    sides = {bool(plans[name].outward @ across > 0) for name in eaves_walls(room)}
    if len(sides) < 2:
        says = f"a ridge along {room.roof.ridge} needs a wall along {room.roof.ridge} on each side of it"
        yield Problem(("room", i, "roof"), says, 'Turn the ridge, change the plan, or set roof = "flat".')
    walls = [plan for plan in plans.values() if plan.standing]
    lowest = min((float(underside(room, [plan.outer_start, plan.outer_end]).min()) for plan in walls), default=room.height)
    if lowest < NEAREST_MM:
        where = "to the floor" if abs(lowest) < NEAREST_MM else f"{mm(-lowest)} mm below the floor"
        says = f"the roof comes down {where} at the walls' outer corners"
        yield Problem(("room", i, "roof"), says, "Make the pitch flatter, the walls thinner or the room higher.")


def rooms_apart(draft: Draft) -> Iterator[Problem]:
    """No room reaches into another."""
    rooms = _sound_rooms(draft)
    plans = [Polygon(room.plan) for _, room in rooms]
    first, second = shapely.STRtree(plans).query(plans, predicate="intersects") if plans else ((), ())
    for a, b in sorted({(min(p), max(p)) for p in zip(map(int, first), map(int, second)) if p[0] != p[1]}):
        shared = shapely.intersection(plans[a], plans[b])
        low, high = np.array(shared.bounds).reshape(2, 2)
        if shared.area > _SPECK_MM2 and (high - low).min() > _CLOSE_MM:
            says = f'lies inside room "{rooms[a][1].name}" by {mm(high[0] - low[0])} x {mm(high[1] - low[1])} mm, from {point(low)} to {point(high)}'
            yield Problem(("room", rooms[b][0], "plan"), says, "Move one of the two plans.", "")


def openings_on_walls(draft: Draft) -> Iterator[Problem]:
    """Each opening lies on its wall, whole."""
    told, typed = set(), {i: row.name for i, row in draft.rows.get("opening", [])}
    for i, opening, panel in _placed(draft):
        who = "" if opening.name == typed[i] else f'"{opening.name}" '
        if i not in told and (problem := _off_panel(opening, panel, ("opening", i, "at"), who)):
            told.add(i)
            yield problem


def _off_panel(opening, panel: Panel, path, who):
    outline = outline_of(opening)
    # walls too thick for their corners are a fault of their own; their outer face is no polygon
    free = shapely.intersection(panel.inner, panel.outer) if panel.outer.is_valid else panel.inner
    if free.is_empty or shapely.difference(Polygon(outline), shapely.buffer(free, _CLOSE_MM * 4)).area <= _SPECK_MM2:
        return None
    width, height = size_of(opening)
    (along, up), (left, low, right, high) = opening.at, free.bounds
    what = panel.name if panel.kind != "wall" else f'wall "{panel.name}"'
    told = [
        (left - along, "before the start", along, left, right - width, 0),
        (along + width - right, "past the end", along, left, right - width, 0),
        (low - up, "below the foot", up, low, high - height, 1),
        (up + height - high, "above the top", up, low, high - height, 1),
    ]
    over, edge, _, first, last, axis = max(told, key=lambda row: row[0])
    size = f"{point((left, low))} to {point((right, high))}"
    if over > _CLOSE_MM:
        remedy = "Lower count or step of its repeat, or move the first of the row." if who else _move_in(first, last, axis)
        return Problem(path, f"{who}reaches {mm(over)} mm {edge} of {what}, which runs from {size}", remedy, point(opening.at))
    over = _above_slope(outline, free) if panel.kind == "wall" else _outside(outline, free)
    edge = "above the slanting top" if panel.kind == "wall" else "outside the edge"
    lower = f"Set up (the second number of at) to {mm(math.floor((up - over) * 10) / 10)} or less, or move it along towards the higher part."
    remedy = lower if panel.kind == "wall" and up - over >= low else "Make it smaller, or move it along."
    return Problem(path, f"{who}reaches {mm(over)} mm {edge} of {what}", remedy, point(opening.at))


def _move_in(first, last, axis):
    """The values that one coordinate of `at` may take."""
    word, size = (("along", "narrower"), ("up", "lower"))[axis]
    if last < first:
        return f"Make it at least {mm(math.ceil((first - last) * 100) / 100)} mm {size}."
    return f"Set {word} (the {('first', 'second')[axis]} number of at) from {mm(math.ceil(first * 100) / 100)} to {mm(math.floor(last * 100) / 100)}, or make it {size}."


def _above_slope(outline, free):
    """How far the outline stands above a wall's slanting top, measured straight down. [mm]"""
    over = [0.0]
    for along, up in outline:
        below = shapely.intersection(free, shapely.LineString([(along, up), (along, free.bounds[1] - 1)]))
        over.append(up - below.bounds[3] if not below.is_empty else _outside([(along, up)], free))
    return max(over)


def _outside(outline, free):
    """How far the outline's farthest corner lies from a panel. [mm]"""
    return float(shapely.distance(free, shapely.points(outline)).max())


def openings_apart(draft: Draft) -> Iterator[Problem]:
    """No two openings of a panel share any of it."""
    by_panel = defaultdict(list)
    for i, opening, panel in _placed(draft):
        by_panel[opening.room, panel.name].append((i, opening))
    told, typed = set(), {i: row.name for i, row in draft.rows.get("opening", [])}
    for placed in by_panel.values():
        holes = [Polygon(outline_of(opening)) for _, opening in placed]
        first, second = shapely.STRtree(holes).query(holes, predicate="intersects")
        for a, b in sorted((int(a), int(b)) for a, b in zip(first, second) if a < b):
            pair = placed[a][0], placed[b][0]
            shared = shapely.intersection(holes[a], holes[b])
            if pair not in told and shared.area > _SPECK_MM2:
                told.add(pair)
                yield _overlap(placed[a], placed[b], shared, typed[pair[1]])


def _overlap(first, second, shared, typed):
    (i, one), (j, other) = first, second
    left, low, right, high = shared.bounds
    wide, tall = right - left, high - low
    if i == j:
        says = f'"{one.name}" and "{other.name}" overlap by {mm(wide)} x {mm(tall)} mm'
        return Problem(("opening", j, "repeat", "step"), says, "Make the step longer than the opening is wide, or than it is high.")
    who = "" if other.name == typed else f'"{other.name}" '
    says = f'{who}overlaps opening "{one.name}" by {mm(wide)} x {mm(tall)} mm'
    move = f"along by {mm(math.ceil(wide * 100) / 100)}" if wide <= tall else f"up or down by {mm(math.ceil(tall * 100) / 100)}"
    return Problem(("opening", j, "at"), says, f"Move one of the two {move} mm or more.", point(other.at))


def panes_open(draft: Draft) -> Iterator[Problem]:
    """Bars and slats leave panes that a knife can cut, and bars lie within the wall."""
    rooms = {room.name: room for _, room in draft.rows.get("room", [])}
    for i, opening in draft.rows.get("opening", []):
        if not _has_size(opening):
            continue
        yield from _small_panes(opening, ("opening", i))
        if opening.slats is not None:
            yield from _slats_fit(opening, ("opening", i, "slats"))
        room = rooms.get(opening.room)
        if opening.bars is not None and room is not None:
            thickness = _thickness(opening.panel, room)
            if opening.bars.depth > thickness + 1e-9:
                yield Problem(("opening", i, "bars", "depth"), f"must not be deeper than the {mm(thickness)} mm that it sits in", f"Write {mm(thickness)} or less.")


def _small_panes(opening, path):
    clear, bars = pane_size(opening), opening.bars
    for value, key, word, total in zip(clear, ("columns", "rows"), ("wide", "high"), size_of(opening)):
        if value >= SMALLEST_PANE_MM:
            continue
        if bars is None or getattr(bars, key) == 1:
            yield Problem((*path, "size"), f"is only {mm(value)} mm {word}, and must be {SMALLEST_PANE_MM:g} mm or more", "Make the opening larger: lengths are in mm.")
            continue
        count = getattr(bars, key)
        left = f"only {mm(value)} mm {word}" if value > 0 else f"nothing of {mm(total)} mm"
        fits = (total + bars.width) / (SMALLEST_PANE_MM + bars.width)
        says = f"{count} {key} with bars {mm(bars.width)} mm wide leave panes {left}" if value > 0 else f"{count} {key} with bars {mm(bars.width)} mm wide leave {left}"
        yield Problem((*path, "bars", key), f"{says}; a pane must be {SMALLEST_PANE_MM:g} mm or more", f"Write {max(math.floor(fits), 1)} or fewer, or make the bars narrower.")


def _slats_fit(opening, path):
    height, slats = size_of(opening)[1], opening.slats
    tall = abs(slats.width * math.sin(math.radians(slats.angle))) + slats.thickness * math.cos(math.radians(slats.angle))
    if slats.count * slats.thickness >= height:
        says = f"{slats.count} slats {mm(slats.thickness)} mm thick fill the opening, {mm(height)} mm high"
        yield Problem((*path, "count"), says, "Write fewer slats, or make them thinner.")
    elif tall >= height:
        yield Problem((*path, "width"), f"a slat tilted like this is {mm(tall)} mm high, and the opening {mm(height)} mm", "Make the slats narrower, or lay them flatter.")


def _thickness(panel, room):
    if panel == "floor":
        return slab_thickness(room.floor, room)
    return slab_thickness(room.ceiling, room) if panel == "ceiling" or panel.startswith("slope") else room.wall


def _sound_rooms(draft):
    """Rooms whose plan can be built."""
    return [
        (i, room)
        for i, room in draft.rows.get("room", [])
        if len(room.wall_names) == len(room.plan) and not ring_faults(room.plan, anticlockwise=True)
    ]


def _has_size(opening):
    if isinstance(opening.shape, OutlineShape):
        return ring_is_sound(opening.shape.outline)
    if opening.size is None or (opening.shape != "round" and not isinstance(opening.size, tuple)):
        return False
    width, height = size_of(opening)
    return not (opening.shape == "round" and width != height)


def _placed(draft):
    """Each single opening that has a shape and a panel to be on: (number in the file, opening, panel)."""
    rooms = {room.name: room for _, room in _sound_rooms(draft)}
    stepped = {i for i, row in draft.rows.get("opening", []) if row.repeat is None or len(row.repeat.step) == 2}
    panels: dict[tuple[str, str], Panel | None] = {}
    placed = []
    for i, opening in draft.expanded("opening"):
        key = opening.room, opening.panel
        if i not in stepped or opening.room not in rooms or not _has_size(opening) or not _fits_head(opening):
            continue
        if key not in panels:
            panels[key] = panel_named(rooms[opening.room], opening.panel)
        if panels[key] is not None:
            placed.append((i, opening, panels[key]))
    return placed


def _fits_head(opening):
    """Whether an arch or lancet is as high as its head."""
    width, height = size_of(opening)
    head = {"arch": 0.5, "lancet": LANCET_HEAD}.get(opening.shape if isinstance(opening.shape, str) else "", 0.0)
    return height >= width * head - 1e-3


RULES = (outlines_close, lathes_turn, rooms_build, rooms_apart, openings_on_walls, openings_apart, panes_open)
