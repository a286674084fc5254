"""
Cells: each room's air as convex pieces.

Takes rooms; gives half-spaces. A camera ray cuts each cell in one interval, which is where the haze can be.
"""

from __future__ import annotations

import numpy as np
import shapely

from previz.build.built import Cell
from previz.build.convex import convex_pieces
from previz.scene.elevations import ridge_line
from previz.scene.model import Pitch, Room


def room_cells(room: Room) -> list[Cell]:
    """Return the room's air: the plan in convex pieces, each from the floor up to the ceiling or to both slopes. [mm]"""
    caps = _caps(room)
    return [Cell(room.name, np.vstack([_sides(piece), caps])) for piece in convex_pieces(shapely.Polygon(room.plan))]


def box_cell(name: str, bounds: np.ndarray) -> Cell:
    """Return a box (2, 3) as one cell. [mm]"""
    low, high = np.asarray(bounds, float)
    return Cell(name, np.vstack([np.c_[np.eye(3), high], np.c_[-np.eye(3), -low]]))


def _sides(piece):
    step = np.roll(piece, -1, axis=0) - piece
    normal = np.stack([step[:, 1], -step[:, 0]], axis=1) / np.hypot(*step.T)[:, None]
    return np.c_[normal, np.zeros(len(piece)), np.sum(normal * piece, axis=1)]


def _caps(room):
    floor = [0.0, 0.0, -1.0, 0.0]
    if not isinstance(room.roof, Pitch):
        return np.array([floor, [0.0, 0.0, 1.0, room.height]])
    middle, across, half_span = ridge_line(room)
    angle = np.radians(room.roof.pitch)
    slopes = []
    for away in (across, -across):
        normal = np.array([*(away * np.sin(angle)), np.cos(angle)])
        eaves = np.array([*(middle + away * half_span), room.height])
        slopes.append([*normal, normal @ eaves])
    return np.array([floor, *slopes])
