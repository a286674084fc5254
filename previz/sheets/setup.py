"""
The whole setup: set on its table, lamps on their stands, rail and camera, as a tape finds them.

Takes a study; gives a plan and an elevation as large as a page lying on its side, and a plan for each shot.
Running dimensions begin at one datum (ISO 129-1), so that no error of a tape adds up. A lamp so far off that the set
would be too small to see is drawn at the window's edge behind a break, with its distance.
"""

from __future__ import annotations

import numpy as np
import shapely

from previz.check.study import Study, Taken
from previz.sheets.drawing import Drawing
from previz.sheets.fields import aim, heading, table_z
from previz.sheets.labels import Column, Label, place_labels
from previz.sheets.leaves import SOFT
from previz.sheets.plan import (
    draw_light,
    draw_seen,
    heights_say,
    lamp_marks,
    plan_level,
)
from previz.sheets.projected import ABOVE, FROM_SOUTH, FROM_WEST, seen_flat, seen_set
from previz.sheets.rigged import draw_camera, draw_lamps, draw_rail, lens_corners
from previz.sheets.running import figure
from previz.sheets.window import (
    caption,
    datum,
    figures_below,
    figures_beside,
    name_beside,
    page_for,
    page_window,
    window_on,
)

FARTHEST_SETS = 6.0
"""A lamp farther from the set than this many times its size is broken off (own choice)."""
AROUND = 0.04
LEG_MM = (60.0, 150.0)
"""How far a stand's legs are drawn to reach, sideways and up: a sign, no stand's size. [mm]"""


def setup_drawings(study: Study, page: tuple[float, float]) -> list[Drawing]:
    """Return the plan and the elevation of the whole setup."""
    return [setup_plan(study, page), setup_elevation(study, page)]


def setup_plan(study: Study, page: tuple[float, float]) -> Drawing:
    """Return the setup from above, with every lamp and both ends of the rail measured from the datum."""
    drawing = page_for("setup-plan", f"{study.scene.title}: setup from above", page)
    window = page_window(drawing, ABOVE, _padded(seen_flat(ABOVE, _everything(study))), below=True, left=True)
    seen = seen_set(study.built, ABOVE, plan_level(study.scene, study.built))
    draw_light(drawing, window, study)
    drawing.geometry(window.geometry(seen.lines), pen=0.1, colour=SOFT)
    drawing.cut(window.geometry(seen.cut), pen=0.25)
    labels = draw_rail(drawing, window, study, study.shots[:1])
    for taken in study.shots[:1]:
        labels += draw_camera(drawing, window, study, taken)
    labels += draw_lamps(drawing, window, study, lamp_marks(study))
    datum(drawing, window)
    labels.append(Label("datum", tuple(window.at([[0, 0, 0]])[0])))
    name_beside(drawing, window, labels, left=True)
    figures_below(drawing, window, _along(study, window, 0), "x from the datum")
    figures_beside(drawing, window, _along(study, window, 1), "y from the datum")
    caption(drawing, window, f"Seen from above. Figures run from the datum corner. {heights_say(study)}")
    return drawing


def setup_elevation(study: Study, page: tuple[float, float]) -> Drawing:
    """Return the setup from one side, the long one, from the floor up."""
    points = _everything(study)
    facing = FROM_SOUTH if np.ptp(points[:, 0]) >= np.ptp(points[:, 1]) else FROM_WEST
    side = "from the side where y is low, x to the right" if facing is FROM_SOUTH else "from the side where x is low, y to the left"
    drawing = page_for("setup-elevation", f"{study.scene.title}: setup from the side", page)
    top = table_z(study.scene, study.built)
    floor = top - study.scene.table.height
    points = np.concatenate([points, [[*points[0, :2], floor]]])
    window = page_window(drawing, facing, _padded(seen_flat(facing, points)), left=True, right=True)
    seen = seen_set(study.built, facing, float("inf"))
    _table(drawing, window, study, top, floor)
    draw_seen(drawing, window, seen, hidden=False)
    labels = draw_rail(drawing, window, study)
    for taken in study.shots[:1]:
        labels += draw_camera(drawing, window, study, taken)
    _stands(drawing, window, study, top, floor)
    labels += _aims(window, study)
    labels += draw_lamps(drawing, window, study, lamp_marks(study))
    datum(drawing, window)
    name_beside(drawing, window, labels, left=True, right=True)
    heights = _upward(study, window)
    figures_beside(drawing, window, [(z, f"{figure(z - top)} {words}") for z, words in heights if z >= top - 1e-6], "above the table")
    figures_beside(drawing, window, [(z, f"{figure(z - floor)} {words}") for z, words in heights], "above the floor", right=True)
    caption(drawing, window, f"Seen {side}. Left: above the table, right: above the floor. {heights_say(study)}")
    return drawing


def shot_plan(study: Study, taken: Taken, size: tuple[float, float]) -> tuple[Drawing, Window]:
    """Return, with its window, a small plan of one shot: set, rail with its marks, camera at both ends, light, and where the lamps stand."""
    drawing = Drawing(f"shot-{taken.shot.name}", taken.shot.name, size)
    column = 42.0
    low, high = (column + 4, 5.0), (size[0] - column - 4, size[1] - 1)
    window = window_on(ABOVE, _padded(seen_flat(ABOVE, _around_shot(study, taken))), low, high)
    seen = seen_set(study.built, ABOVE, plan_level(study.scene, study.built))
    draw_light(drawing, window, study)
    draw_seen(drawing, window, seen, hidden=False)
    labels = draw_rail(drawing, window, study, [taken])
    labels += draw_camera(drawing, window, study, taken)
    subject = study.built.part_named(taken.shot.subject_name) if taken.shot.subject_name else []
    if subject:
        corners = study.built.vertices[study.built.triangles[study.built.triangles_of(subject)].reshape(-1)]
        labels.append(Label(taken.shot.subject_name, tuple(window.at([corners.mean(axis=0)])[0])))
    labels += draw_lamps(drawing, window, study, lamp_marks(study))
    columns = (Column(column, 0.0, 0.0, size[1]), Column(size[0] - column, size[0], 0.0, size[1]))
    place_labels(drawing, labels, columns)
    return drawing, window


def _around_shot(study, taken):
    """The set and the camera at both ends; the rail's marks lie under the camera."""
    camera = [corners for t in (0.0, taken.move.take_s) for corners in lens_corners(study, taken, t)]
    return np.concatenate([study.built.bounds, *camera, taken.move.carriage([0.0, taken.move.take_s])])


def _everything(study):
    """(n, 3) points that the setup must show: set, camera, rail, and lamps that are not too far off."""
    box = study.built.bounds
    points = [box]
    for taken in study.shots[:1]:
        points += [corners for t in (0.0, taken.move.take_s) for corners in lens_corners(study, taken, t)]
    if study.scene.slider:
        points.append(np.array([study.scene.slider.from_, study.scene.slider.to]))
    middle = box.mean(axis=0)
    size = np.linalg.norm(np.ptp(np.concatenate(points), axis=0))
    near = [lamp.at for lamp in study.scene.lamp if np.linalg.norm(np.asarray(lamp.at) - middle) <= FARTHEST_SETS * size]
    return np.concatenate([*points, *(np.array([at]) for at in near)])


def _padded(seen):
    margin = AROUND * np.ptp(seen, axis=0).max()
    return np.array([seen.min(axis=0) - margin, seen.max(axis=0) + margin])


def _along(study, window, axis):
    """Running figures of lamps, rail and the set's outer edges along x or y, those in the window."""
    marks = lamp_marks(study)
    entries = [(0.0, "0 datum")]
    entries += [(lamp.at[axis], f"{figure(lamp.at[axis])} {marks[lamp.name]}") for lamp in study.scene.lamp]
    if study.scene.slider:
        entries += _rail_ends(study.scene.slider, axis)
    entries += [(value, f"{figure(value)} set") for value in study.built.bounds[:, axis]]
    low, high = window.low[axis], window.low[axis] + (window.top - window.base)[axis] / window.scale
    return [(value, words) for value, words in entries if low <= value <= high]


def _rail_ends(slider, axis):
    """Both ends of the rail along an axis with words, or one where they are level."""
    first, second = slider.from_[axis], slider.to[axis]
    if first == second:
        return [(first, f"{figure(first)} rail")]
    return [(first, f"{figure(first)} rail start"), (second, f"{figure(second)} rail end")]


def _upward(study, window):
    """Heights of lamps, rail, lens and set, as the file has them [mm], with words."""
    marks = lamp_marks(study)
    entries = [(lamp.at[2], marks[lamp.name]) for lamp in study.scene.lamp]
    if study.scene.slider:
        entries += [(value, words.split(" ", 1)[1]) for value, words in _rail_ends(study.scene.slider, 2)]
    entries += [(float(taken.move.steady.poses(0.0).position[0, 2]), "lens") for taken in study.shots[:1]]
    entries += [(0.0, "datum"), (study.built.bounds[1, 2], "set"), (table_z(study.scene, study.built), "table")]
    low, high = window.low[1], window.low[1] + (window.top - window.base)[1] / window.scale
    return [(value, words) for value, words in entries if low <= value <= high]


def _table(drawing, window, study, top, floor):
    """The table's top under the set, and the floor."""
    seen = seen_flat(window.facing, study.built.bounds)
    margin = 0.25 * np.ptp(seen, axis=0).max()
    left, right = seen[:, 0].min() - margin, seen[:, 0].max() + margin
    depth = 30.0
    drawing.geometry(window.geometry(shapely.box(left, top - depth, right, top)), pen=0.3)
    for x in (left + depth, right - depth):
        drawing.geometry(window.geometry(shapely.LineString([(x, top - depth), (x, floor)])), pen=0.3)
    a, b = window.base[0], window.top[0]
    y = window.flat([[0, floor]])[0, 1]
    drawing.line([(a, y), (b, y)], pen=0.4)


def _aims(window, study):
    """Where each lamp in the window is turned, in degrees."""
    for lamp in study.scene.lamp:
        at = window.at([lamp.at])[0]
        if window.holds(at):
            pan, tilt = heading(aim(lamp, study.built) - lamp.at)
            yield Label(f"{lamp_marks(study)[lamp.name]} tilt {tilt:.1f}°, pan {pan:.1f}°", tuple(at))


def _stands(drawing, window, study, top, floor):
    """A pole from the floor to each lamp outside the set; from the table where it rides the lift."""
    for lamp in study.scene.lamp:
        if study.inside_set(lamp.at):
            continue
        foot = top if lamp.rides == "lift" else floor
        at = seen_flat(window.facing, [lamp.at])[0]
        legs = [[(at[0] - LEG_MM[0], foot), (at[0], foot + LEG_MM[1]), (at[0] + LEG_MM[0], foot)]]
        drawing.geometry(window.geometry(shapely.MultiLineString([[(at[0], foot), at], *legs])), pen=0.25)
