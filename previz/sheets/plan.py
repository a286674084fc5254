"""
Plan and sections of the set: cut walls, openings and props by name, where the light goes, where the lens goes.

Takes a study; gives drawings as large as a page lying on its side.

    plan             from above, cut at the height that goes through most openings
    section along    cut upright through what the first shot focuses on, along the axis of the set nearest to its heading
    section across   the same place, cut square to that, seen as the lens sees it
"""

from __future__ import annotations

import re

import numpy as np
import shapely

from previz.build.built import BuiltSet
from previz.build.places import opening_centre
from previz.check.study import Study
from previz.rig.moves import Move
from previz.scene.model import Pitch, Scene
from previz.sheets.drawing import Drawing
from previz.sheets.fields import table_z
from previz.sheets.labels import Label
from previz.sheets.leaves import AMBER, INK, LIGHT, SOFT
from previz.sheets.projected import (
    ABOVE,
    FROM_EAST,
    FROM_NORTH,
    FROM_SOUTH,
    FROM_WEST,
    Seen,
    beams,
    edges_of,
    seen_flat,
    seen_set,
)
from previz.sheets.rigged import draw_camera, draw_lamps, ends_of, tip_at
from previz.sheets.running import figure
from previz.sheets.tiles import letters
from previz.sheets.window import (
    Window,
    caption,
    datum,
    figures_below,
    figures_beside,
    name_beside,
    page_for,
    page_window,
)

MOST_BEAMS = 8
"""Openings whose light is drawn: those that let in most (own choice)."""
BRIGHT = "#ecc274"
"""Of patches: darker than shafts in a grey print too."""
_ROW = re.compile(r"-\d+$")
AROUND = 0.015
"""Room left round the set, share of its size."""


def lamp_marks(study: Study) -> dict[str, str]:
    """Return a short mark for each lamp: L1, L2, ..."""
    return {lamp.name: f"L{i + 1}" for i, lamp in enumerate(study.scene.lamp)}


def rows_of(things) -> dict[str, list]:
    """Return things by name, those of a row made with `repeat` ("jar-1", "jar-2") under the name of the row, in order."""
    groups: dict[str, list] = {}
    for thing in things:
        groups.setdefault(_ROW.sub("", thing.name), []).append(thing)
    return {
        (name if len(group) > 1 else group[0].name): group
        for name, group in groups.items()
    }


def opening_marks(study: Study) -> dict[str, str]:
    """Return a letter for each opening of the file, or row of openings: A, B, ..."""
    names = list(rows_of(study.scene.opening))
    return dict(zip(names, letters(len(names))))


def set_drawings(study: Study, page: tuple[float, float]) -> list[Drawing]:
    """Return the plan and the two sections of the set; the sections only where there is a shot to cut by."""
    drawings = [plan_drawing(study, page)]
    if study.shots:
        drawings += [section_drawing(study, page, along) for along in (True, False)]
    return drawings


def plan_drawing(study: Study, page: tuple[float, float]) -> Drawing:
    """Return the plan of the set."""
    drawing = page_for("plan", f"{study.scene.title}: plan of the set", page)
    level = plan_level(study.scene, study.built)
    seen = seen_set(study.built, ABOVE, level)
    window = page_window(drawing, ABOVE, _extent(study, ABOVE), below=True, left=True)
    draw_light(drawing, window, study)
    draw_seen(drawing, window, seen)
    labels = [*_opening_labels(study, window), *_shot_labels(drawing, window, study, study.shots[:1])]
    labels += draw_lamps(drawing, window, study, lamp_marks(study))
    labels += prop_labels(study, window, seen)
    datum(drawing, window)
    name_beside(drawing, window, labels, left=True)
    across, up = _plan_figures(study)
    figures_below(drawing, window, across, "x from the datum")
    figures_beside(drawing, window, up, "y from the datum")
    caption(drawing, window, f"Cut {figure(level)} mm above the set's floor, seen from above; dashed: above the cut. {heights_say(study)}")
    return drawing


def section_drawing(study: Study, page: tuple[float, float], along: bool) -> Drawing:
    """Return a section of the set, along the first shot's axis or across it."""
    taken = study.shots[0]
    facing, point = section_facing(taken.move, along)
    name = "along" if along else "across"
    drawing = page_for(f"section-{name}", f"{study.scene.title}: section {name} the axis of “{taken.shot.name}”", page)
    level = float(facing[2] @ point)
    seen = seen_set(study.built, facing, level)
    window = page_window(drawing, facing, _extent(study, facing), left=True)
    draw_light(drawing, window, study)
    draw_seen(drawing, window, seen, hidden=False)
    labels = [*_opening_labels(study, window, facing, level), *_shot_labels(drawing, window, study, [taken], along)]
    labels += draw_lamps(drawing, window, study, lamp_marks(study))
    labels += prop_labels(study, window, seen, hidden=False)
    datum(drawing, window)
    name_beside(drawing, window, labels, left=True)
    figures_beside(drawing, window, _heights(study, taken), "above z = 0")
    axis = "y" if abs(facing[2, 1]) > 0.5 else "x"
    caption(drawing, window, f"Cut upright at {axis} = {figure(point['xy'.index(axis)])} mm, through what “{taken.shot.name}” focuses on. {heights_say(study)}")
    return drawing


def heights_say(study: Study) -> str:
    """Return how high the set's floor, z = 0, lies."""
    above = -table_z(study.scene, study.built)
    return f"z = 0 lies {figure(above)} mm above the table and {figure(above + study.scene.table.height)} mm above the floor."


def plan_level(scene: Scene, built: BuiltSet) -> float:
    """Return the height at which the plan is cut: one that goes through the most openings of walls below eaves and ceiling, else just below those. [mm]"""
    low, high = built.bounds[:, 2]
    if not scene.room:
        return float((max(low, 0.0) + high) / 2)
    highest = min(room.height for room in scene.room) * 0.98
    walls = [pane for pane in built.apertures if pane.thickness and abs(pane.axes[2, 2]) < 0.1]
    spans = np.array([[z.min(), z.max()] for z in map(_pane_z, walls)]).reshape(-1, 2)
    candidates = spans.mean(axis=1) if len(spans) else spans
    candidates = candidates[candidates < highest]
    if not len(candidates):
        return round(highest, 1)
    through = ((candidates[:, None] > spans[:, 0] + 0.5) & (candidates[:, None] < spans[:, 1] - 0.5)).sum(axis=1)
    return round(float(candidates[np.argmax(through)]), 1)


def _pane_z(pane):
    return (pane.origin + pane.outline @ pane.axes[:2])[:, 2]


def section_facing(move: Move, along: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return the facing of a section, and the (3,) point that it is cut through: what is in focus in the middle of the take. [mm]"""
    middle = move.take_s / 2
    poses = move.steady.poses(middle)
    pan, tilt = float(poses.pan[0]), float(poses.tilt[0])
    forward = np.array([np.cos(tilt) * np.cos(pan), np.cos(tilt) * np.sin(pan), np.sin(tilt)])
    point = poses.position[0] + float(move.focus_mm(middle)[0]) * forward
    x_axis = abs(forward[0]) >= abs(forward[1])
    if along:
        return (FROM_SOUTH if x_axis else FROM_EAST), point
    if x_axis:
        return (FROM_WEST if forward[0] > 0 else FROM_EAST), point
    return (FROM_SOUTH if forward[1] > 0 else FROM_NORTH), point


def _extent(study, facing):
    """The set and a little round it, as it is seen."""
    corners = np.array(np.meshgrid(*study.built.bounds.T)).reshape(3, -1).T
    seen = seen_flat(facing, corners)
    margin = AROUND * np.ptp(seen, axis=0).max()
    return np.array([seen.min(axis=0) - margin, seen.max(axis=0) + margin])


def draw_light(drawing: Drawing, window: Window, study: Study) -> None:
    """Draw shafts and patches of the openings that let in most light; patches of the lift at 0."""
    lamps = {emitter.name: np.asarray(emitter.centre, float) for emitter in study.emitters}
    found = beams(study.patches, lamps, study.built, window.facing, MOST_BEAMS)
    for beam in reversed(found):
        drawing.geometry(window.geometry(beam.shaft), pen=0, fill=LIGHT)
    for beam in reversed(found):
        drawing.geometry(window.geometry(beam.patches), pen=0, fill=BRIGHT)
    for beam in found:
        drawing.geometry(window.geometry(edges_of(beam.shaft)), pen=0.15, colour=AMBER, dash="dashed")
        drawing.geometry(window.geometry(edges_of(beam.patches)), pen=0.3, colour=AMBER)


def draw_seen(drawing: Drawing, window: Window, seen: Seen, *, hidden: bool = True) -> None:
    """Draw the set: what lies before the plane dashed, what is seen thin, what is cut thick and hatched."""
    for shape in seen.hidden.values() if hidden else ():
        drawing.geometry(window.geometry(edges_of(shape)), pen=0.1, colour=SOFT, dash="dashed")
    drawing.geometry(window.geometry(shapely.simplify(seen.lines, 0.05 / window.scale)), pen=0.13)
    drawing.cut(window.geometry(seen.cut))


def _opening_labels(study, window, facing=None, level=0.0) -> list[Label]:
    """Each opening of the file by its letter and name; in a section those at the plane or behind it."""
    found = []
    for name, mark in opening_marks(study).items():
        members = dict.fromkeys(pane.opening for pane in study.built.apertures_named(name))
        centres = [opening_centre(study.built, member) for member in members]
        centres = [c for c in centres if c is not None and (facing is None or facing[2] @ c <= level + 1e-6)]
        if centres:
            count = f" × {len(members)}" if len(members) > 1 else ""
            found.append(Label(f"{mark} {name}{count}", tuple(window.at([centres[0]])[0]), AMBER))
    return found


def prop_labels(study: Study, window: Window, seen: Seen, *, hidden: bool = True) -> list[Label]:
    """Each prop of the file, or row of props, by its number and name where one of it is seen, the largest first."""
    found = []
    for number, (name, group) in enumerate(rows_of(study.scene.prop).items(), 1):
        parts = [study.built.parts[i].name for prop in group for i in study.built.part_named(prop.name)]
        shown = [seen.shown[part] for part in parts if part in seen.shown and not seen.shown[part].is_empty]
        above = [seen.hidden[part] for part in parts if part in seen.hidden and not seen.hidden[part].is_empty] if hidden else []
        if not shown and not above:
            continue
        best = max(shown or above, key=lambda area: area.area)
        spot = window.flat(np.asarray(shapely.point_on_surface(best).coords[0]))
        count = f" × {len(group)}" if len(group) > 1 else ""
        if window.holds(spot):
            found.append((best.area, Label(f"{number} {name}{count}{'' if shown else ', above'}", tuple(spot), INK if shown else SOFT)))
    return [label for _, label in sorted(found, key=lambda one: -one[0])]


def _shot_labels(drawing, window, study, shots, whole=True) -> list[Label]:
    return [label for taken in shots for label in draw_camera(drawing, window, study, taken, whole=whole)]


def _plan_figures(study):
    """Running figures of the plan: the lens tip, the outside of the set, the corners of the rooms, the edges of openings."""
    tips = [(name, tip_at(study, taken, t)[0]) for taken in study.shots[:1] for name, t in ends_of(taken)]
    corners = np.array([point for room in study.scene.room for point in room.plan]).reshape(-1, 2)
    found = []
    for axis in (0, 1):
        entries = [(0.0, "0 datum"), *((tip[axis], f"{figure(tip[axis])} tip, {name}") for name, tip in tips)]
        entries += [(value, figure(value)) for value in np.unique(corners[:, axis])]
        box = study.built.bounds[:, axis]
        entries += [(value, f"{figure(value)} outside") for value in box]
        entries += list(_opening_edges(study, axis))
        found.append([(value, words) for value, words in entries if box[0] - 1 <= value <= box[1] + 1])
    return found


def _opening_edges(study, axis):
    """Both edges of each opening along x or y, where it is as wide along that as its wall is long."""
    for name, mark in opening_marks(study).items():
        members: dict[str, list] = {}
        for pane in study.built.apertures_named(name):
            if pane.thickness and abs(pane.axes[0, axis]) > 0.99:
                members.setdefault(pane.opening, []).append((pane.origin + pane.outline @ pane.axes[:2])[:, axis])
        for places in members.values():
            values = np.concatenate(places)
            yield from ((float(value), f"{figure(value)} {mark}") for value in (values.min(), values.max()))


def _heights(study, taken):
    """Running figures of a section: floor, lens, rooms and openings."""
    tips = [(tip_at(study, taken, t)[0, 2], f"tip, {name}") for name, t in ends_of(taken)]
    entries = [(0.0, "0 datum"), *((z, f"{figure(z)} {words}") for z, words in tips)]
    for room in study.scene.room:
        entries.append((room.height, f"{figure(room.height)} {'eaves' if isinstance(room.roof, Pitch) else 'ceiling'}"))
    entries.append((study.built.bounds[1, 2], f"{figure(study.built.bounds[1, 2])} top"))
    for name, mark in opening_marks(study).items():
        zs = [_pane_z(pane) for pane in study.built.apertures_named(name) if pane.thickness]
        if zs:
            all_z = np.concatenate(zs)
            entries += [(all_z.min(), f"{figure(all_z.min())} {mark} low"), (all_z.max(), f"{figure(all_z.max())} {mark} top")]
    low, high = study.built.bounds[:, 2]
    return [(value, words) for value, words in entries if low - 1 <= value <= high + 1]
