"""
Lamps, rail, lens and camera as drawings show them.

Takes a study and a window; draws what stands around and inside the set, and gives the names that belong to it.
"""

from __future__ import annotations

import numpy as np
import shapely

from previz.camera.view import axes
from previz.check.study import Study, Taken
from previz.rig.moves import on_rail
from previz.rig.solids import rig_parts
from previz.sheets.drawing import Drawing
from previz.sheets.fields import aim
from previz.sheets.labels import Label
from previz.sheets.leaves import AMBER, INK, SOFT
from previz.sheets.projected import seen_flat
from previz.sheets.running import figure
from previz.sheets.window import Window, dot

PATH_POINTS = 60
LAMP_MM = 1.6
"""Least radius of a lamp on paper. [mm]"""


def lens_corners(study: Study, taken: Taken, take_s: float) -> list[np.ndarray]:
    """Return the corners (k, 3) of each part of lens and camera at a moment of the take, in the set. [mm]"""
    poses = taken.move.steady.poses(take_s)
    turned = axes(poses.pan, poses.tilt)[0]
    return [poses.position[0] + part.corners @ turned for part in rig_parts(study.scene.lens, study.scene.body)]


def tip_at(study: Study, taken: Taken, take_s) -> np.ndarray:
    """Return (n, 3) the middle of the front of the barrel at moments (n,). [s] -> [mm]"""
    poses = taken.move.steady.poses(take_s)
    return poses.position + study.scene.lens.pupil * axes(poses.pan, poses.tilt)[:, 0]


def ends_of(taken: Taken) -> list[tuple[str, float]]:
    """Return the moments at which the camera is drawn: start and end, or one where it stands still. [s]"""
    return [("start", 0.0), ("end", taken.move.take_s)] if taken.move.changes else [("camera", 0.0)]


def draw_camera(drawing: Drawing, window: Window, study: Study, taken: Taken, *, whole: bool = True) -> list[Label]:
    """
    Draw lens and camera at both ends of the take, the path of the tip, and the reach from the pan axis; return their names.

    Without `whole` only the tip's path, for a view along the lens, where the camera would hide the set.
    """
    labels = []
    for (name, take_s), dash in zip(ends_of(taken), ("", "dashed")):
        for corners in lens_corners(study, taken, take_s) if whole else ():
            hull = shapely.convex_hull(shapely.MultiPoint(seen_flat(window.facing, corners)))
            drawing.geometry(window.geometry(hull), pen=0.25, dash=dash, fill="#ffffff" if not dash else "")
        tip = window.at(tip_at(study, taken, take_s))[0]
        if window.holds(tip):
            labels.append(Label(f"lens tip, {name}", tuple(tip)))
    path = shapely.LineString(seen_flat(window.facing, tip_at(study, taken, np.linspace(0, taken.move.take_s, PATH_POINTS))))
    drawing.geometry(window.geometry(path), pen=0.3)
    return labels + (_reach(drawing, window, study, taken) if whole else [])


def _reach(drawing, window, study, taken):
    """The line from the pan axis to the tip at the start, on a rig that has one."""
    if not taken.move.reach or not on_rail(study.scene, taken.shot):
        return []
    tip = tip_at(study, taken, 0.0)[0]
    axis = taken.move.axis(taken.move.travel(0.0))[0]
    ends = window.at([axis, tip])
    drawing.geometry(shapely.intersection(shapely.LineString(ends), shapely.box(*window.base, *window.top)), pen=0.13, dash="dotted")
    if not window.holds(ends[0]):
        return []
    dot(drawing, ends[0], 0.9, pen=0.25, fill="#ffffff")
    return [Label(f"pan axis, {figure(float(np.linalg.norm(tip - axis)))} to the tip", tuple(ends[0]))]


def draw_rail(drawing: Drawing, window: Window, study: Study, shots=()) -> list[Label]:
    """Draw the rail with its ends, and a mark for each end of the moves of `shots` on it; return their names."""
    slider = study.scene.slider
    if slider is None:
        return []
    ends = np.array([slider.from_, slider.to], float)
    line = shapely.LineString(seen_flat(window.facing, ends))
    if line.length < 1e-6:
        return []
    for pen, colour in ((1.3, INK), (0.8, "#ffffff")):
        drawing.geometry(window.geometry(line), pen=pen, colour=colour)
    labels = [Label(f"rail, {name}", tuple(at)) for name, at in zip(("start", "end"), window.at(ends)) if window.holds(at)]
    length = float(np.linalg.norm(ends[1] - ends[0]))
    for taken in shots:
        if not on_rail(study.scene, taken.shot):
            continue
        for name, take_s in ends_of(taken):
            point = taken.move.carriage(take_s)[0]
            at = window.at([point])[0]
            drawing.line([at - (1.2, 1.2), at + (1.2, 1.2)], pen=0.3)
            drawing.line([at - (1.2, -1.2), at + (1.2, -1.2)], pen=0.3)
            along = float((point - ends[0]) @ (ends[1] - ends[0])) / length
            labels.append(Label(f"mark {name}, {figure(along)} on the rail", tuple(at)))
    return labels


def draw_lamps(drawing: Drawing, window: Window, study: Study, marks: dict[str, str]) -> list[Label]:
    """Draw each lamp as its face with its axis; one outside the window as an arrow from its edge, with how far away it is."""
    labels = []
    for lamp in study.scene.lamp:
        at, target = window.at([lamp.at])[0], window.at([aim(lamp, study.built)])[0]
        inside = shapely.intersection(shapely.LineString([at, target]), shapely.box(*window.base, *window.top))
        if not inside.is_empty:
            drawing.geometry(inside, pen=0.25, colour=AMBER, dash="dashed")
        name = f"{marks[lamp.name]} {lamp.name}"
        if window.holds(at):
            size = getattr(lamp, "diameter", None) or max(getattr(lamp, "size", (0.0,)))
            dot(drawing, at, max(size / 2 * window.scale, LAMP_MM), pen=0.3, fill="#ffffff")
            dot(drawing, at, 0.7, pen=0, fill=AMBER)
            labels.append(Label(name, tuple(at), AMBER))
        else:
            edge = _on_edge(window, at)
            _break(drawing, edge, at - edge)
            away = np.linalg.norm(np.asarray(lamp.at) - aim(lamp, study.built))
            labels.append(Label(f"{marks[lamp.name]}, {away / 1000:.2f} m off: {lamp.name}", tuple(edge), AMBER))
    return labels


def _on_edge(window, at):
    """Where the straight line from the window's middle to a place outside leaves the window."""
    middle = (window.base + window.top) / 2
    away = at - middle
    reach = np.min(np.where(np.abs(away) > 1e-9, (window.top - window.base) / 2 / np.maximum(np.abs(away), 1e-9), np.inf))
    return middle + away * reach


def _break(drawing, at, away):
    """A line broken off: the sign of ISO 128 for what goes on beyond the drawing, a zigzag across its end."""
    along = away / max(np.linalg.norm(away), 1e-9)
    across = np.array([-along[1], along[0]])
    steps = [(-2.4, 0), (-0.8, 0), (-0.4, 1.2), (0.4, -1.2), (0.8, 0), (2.4, 0)]
    drawing.line([at + across * s + along * (t - 1.2) for s, t in steps], pen=0.2, colour=SOFT)
