"""
Places by name: where in the set an opening or a prop is, for a lamp or a lens that points at it.

Takes a built set and a name that the maker typed; gives a point or a box. A row made with `repeat` answers to the name of
each of its members ("column-2") and, as a whole, to the name typed ("column"). Also where the table's top is.
"""

from __future__ import annotations

import numpy as np

from previz.build.built import BuiltSet
from previz.scene.model import Scene


def place_of(built: BuiltSet, name: str) -> np.ndarray | None:
    """Return the (3,) centre of the opening, else of the prop, called `name`; None where there is neither. [mm]"""
    opening = opening_centre(built, name)
    if opening is not None:
        return opening
    box = prop_box(built, name)
    return None if box is None else box.mean(axis=0)


def opening_centre(built: BuiltSet, name: str) -> np.ndarray | None:
    """
    Return the (3,) centre of the bounding box of an opening's panes, in the middle of the wall's thickness. [mm]

    None where the set has no such opening.
    """
    panes = built.apertures_named(name)
    if not panes:
        return None
    corners = np.vstack([_corners(pane) for pane in panes])
    origin, axes = panes[0].origin, panes[0].axes
    local = (corners - origin) @ axes.T
    return origin + (local.min(axis=0) + local.max(axis=0)) / 2 @ axes


def prop_box(built: BuiltSet, name: str) -> np.ndarray | None:
    """Return the (2, 3) lowest and highest corner of a prop, or of a row of them; None where the set has none. [mm]"""
    parts = [i for i in built.part_named(name) if built.parts[i].kind == "prop"]
    triangles = built.triangles[built.triangles_of(parts)]
    if not len(triangles):
        return None
    corners = built.vertices[triangles.reshape(-1)]
    return np.array([corners.min(axis=0), corners.max(axis=0)])


def table_z(scene: Scene, built: BuiltSet) -> float:
    """Return the height of the table's top, on which the set stands unless `table` says otherwise. [mm]"""
    return float(built.bounds[0, 2]) if scene.table.riser is None else -scene.table.riser


def _corners(pane) -> np.ndarray:
    """Return the (k, 3) corners of a pane's clear outline, in the middle of the wall's thickness. [mm]"""
    local = np.column_stack([pane.outline, np.full(len(pane.outline), pane.thickness / 2)])
    return pane.origin + local @ pane.axes
