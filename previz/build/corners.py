"""
Corners of the set by name: what a maker can put a finger on, or a mark in a photo.

Takes a scene and its built set; gives points. Also reads points that have no name of their own.

    ROOM.WALL.WALL floor         where two walls meet on the floor; "ceiling", under a pitched roof "eaves"
    ROOM.WALL ridge              the peak of a gable, on its inner face
    OPENING lower left           of its bounding box, seen from outside, on the wall's inner face: upper and right likewise; what is
                                 round or pointed there has none, and what is drawn by an outline has "corner 1", ... as typed
    OPENING lower left outside   the same on the wall's outer face
    PROP top front left          of a box: front is -y and left is -x before it is turned, as its faces are called
    PROP front corner 1          of a cutout, by its outline as typed; lying flat "top corner 1"
    x, y, z                      a point of the set [mm]
    FACE@along,up                a place on a face, as a tape measures it from its lowest corner
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from previz.build.built import BuiltSet
from previz.build.props import turn_axes
from previz.scene.elevations import wall_panel, wall_plans
from previz.scene.model import BoxProp, CutoutProp, Opening, OutlineShape, Pitch, Room, Scene
from previz.scene.outlines import outline_of

MOST_CORNERS = 12
"""A cutout with more of them is round: none can be told from the next (own choice)."""


def named_corners(scene: Scene, built: BuiltSet) -> dict[str, np.ndarray]:
    """Return every corner that has a name, (3,) each, in the order of the file. [mm]"""
    found: dict[str, np.ndarray] = {}
    for room in scene.room:
        found |= dict(_of_room(room))
    for opening in scene.opening:
        found |= dict(_of_opening(opening, built))
    for prop in scene.prop:
        found |= dict(_of_prop(prop))
    return found


def _of_room(room: Room) -> Iterator[tuple[str, np.ndarray]]:
    plans, top = wall_plans(room), "eaves" if isinstance(room.roof, Pitch) else "ceiling"
    for before, wall in zip((plans[-1], *plans[:-1]), plans):
        for level, height in (("floor", 0.0), (top, room.height)):
            yield f"{room.name}.{before.name}.{wall.name} {level}", np.append(wall.start, height)
    for plan in plans:
        panel = wall_panel(room, plan)
        corners = np.array(panel.inner.exterior.coords[:-1])
        peak = corners[corners[:, 1] > corners[:, 1].max() - 1e-6]
        if len(peak) == 1 and isinstance(room.roof, Pitch):
            yield f"{room.name}.{plan.name} ridge", panel.to_set([[*peak[0], 0.0]])[0]


def _of_opening(opening: Opening, built: BuiltSet) -> Iterator[tuple[str, np.ndarray]]:
    pane = built.apertures_named(opening.name)[0]
    outline = outline_of(opening)
    if isinstance(opening.shape, OutlineShape):
        places = {f"corner {i}": np.add(corner, opening.at) for i, corner in enumerate(opening.shape.outline[:MOST_CORNERS], start=1)}
    else:
        (left, low), (right, high) = outline.min(axis=0), outline.max(axis=0)
        box = {"lower left": (left, low), "lower right": (right, low), "upper right": (right, high), "upper left": (left, high)}
        places = {name: place for name, place in box.items() if np.linalg.norm(outline - place, axis=1).min() < 1e-6}
        if opening.shape == "lancet":
            places["top"] = outline[outline[:, 1].argmax()]
    for side, depth in (("", 0.0), (" outside", pane.thickness)):
        for name, place in places.items():
            yield f"{opening.name} {name}{side}", pane.origin + np.append(place, depth) @ pane.axes


def _of_prop(prop) -> Iterator[tuple[str, np.ndarray]]:
    corners: dict[str, np.ndarray] = {}
    if isinstance(prop, BoxProp):
        for level, z in (("top", 1.0), ("bottom", 0.0)):
            for depth, y in (("front", -0.5), ("back", 0.5)):
                corners |= {f"{level} {depth} {side}": np.multiply(prop.size, (x, y, z)) for side, x in (("left", -0.5), ("right", 0.5))}
    elif isinstance(prop, CutoutProp) and len(prop.outline) <= MOST_CORNERS:
        outline = np.asarray(prop.outline, float)
        low, high = outline.min(axis=0), outline.max(axis=0)
        flat, half = outline - (low + high) / 2, prop.thickness / 2
        for side, out in (("front", -half), ("back", half)) if prop.upright else (("top", 2 * half), ("bottom", 0.0)):
            places = [(x, out, y - low[1] + (low[1] + high[1]) / 2) if prop.upright else (x, y, out) for x, y in flat]
            corners |= {f"{side} corner {i}": np.array(place) for i, place in enumerate(places, start=1)}
    for name, corner in corners.items():
        yield f"{prop.name} {name}", prop.at + prop.scale * corner @ turn_axes(prop.turn)
