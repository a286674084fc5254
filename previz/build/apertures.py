"""
Apertures: every flat convex way for light into a room.

Takes rooms, openings and panels; gives the panes with the depths of their rims, and the gaps of walls left off.
Knows no light: what shines through is the rays' business.
"""

from __future__ import annotations

import numpy as np
import shapely

from previz.build.built import Aperture, Paper
from previz.build.colours import shares_of
from previz.build.convex import convex_pieces
from previz.build.panels import bar_depths, paper_face
from previz.scene.elevations import Panel, ceiling_panel, floor_panel, wall_panel, wall_plans
from previz.scene.model import Opening, Pitch, Room
from previz.scene.outlines import outline_of, panes_of

_TOUCH_MM = 1e-5


def opening_apertures(room: Room, panel: Panel, opening: Opening) -> list[Aperture]:
    """
    Return the panes of an opening, from the lower left as seen from outside.

    Each edge of a convex pane keeps its rims: a bar's, or the whole thickness of the panel. A pane that is not convex
    comes in convex pieces of one number, cut at the inner face, without rims: the solids themselves must shade it.
    """
    hole = shapely.Polygon(outline_of(opening)).exterior
    bars = bar_depths(panel.thickness, opening.bars.depth) if opening.bars else (0.0, 0.0)
    straight = opening.glass if opening.diffuser is None else 0.0
    found = []
    for number, pane in panes_of(opening):
        pieces, tint = convex_pieces(pane), _tint(opening, number)
        for outline in pieces:
            depths = _rims(outline, hole, bars, panel.thickness) if len(pieces) == 1 else np.zeros((len(outline), 2))
            found.append(_aperture(opening.name, number, room, panel, panel.thickness, outline, depths, straight, tint))
    return found


def opening_paper(room: Room, panel: Panel, opening: Opening) -> list[Paper]:
    """Return the tracing paper over an opening, if it has one. Behind glass or tints it gets what they let through straight on, on average."""
    if opening.diffuser is None:
        return []
    tints = [opening.tint] if isinstance(opening.tint, str) else [tint for row in opening.tint for tint in row]
    share = opening.diffuser * opening.glass * np.mean([shares_of(tint) for tint in tints], axis=0)
    return [Paper(opening.name, paper_face(room, panel, opening), panel.origin, panel.axes, np.asarray(outline_of(opening), dtype=float), share)]


def _tint(opening: Opening, pane: tuple[int, int]) -> tuple[float, float, float]:
    """What the pane (column, row from below) lets through of red, green and blue."""
    tint = opening.tint if isinstance(opening.tint, str) else opening.tint[-1 - pane[1]][pane[0]]
    return tuple(shares_of(tint).tolist())


def _rims(outline, hole, bars, thickness):
    middles = shapely.points((outline + np.roll(outline, -1, axis=0)) / 2)
    on_hole = shapely.distance(hole, middles) < _TOUCH_MM
    return np.where(on_hole[:, None], (0.0, thickness), bars)


def _aperture(name, number, room, panel, thickness, outline, depths, transmittance, tint=(1.0, 1.0, 1.0)):
    step = np.roll(outline, -1, axis=0) - outline
    normal = np.stack([-step[:, 1], step[:, 0]], axis=1) / np.hypot(*step.T)[:, None]
    edges = np.c_[normal, np.sum(normal * outline, axis=1)]
    return Aperture(name, number, room.name, panel.origin, panel.axes, thickness, outline, edges, depths, transmittance, tint)


def gap_apertures(room: Room) -> list[Aperture]:
    """Return what the room leaves open: walls left off, a missing ceiling, a missing floor, in convex pieces without rims."""
    gaps = [wall_panel(room, plan) for plan in wall_plans(room) if not plan.standing]
    if not room.floor:
        gaps.append(floor_panel(room))
    if not room.ceiling and not isinstance(room.roof, Pitch):
        gaps.append(ceiling_panel(room))
    return [
        _aperture(f"{room.name}.{panel.name}", (0, 0), room, panel, 0.0, outline, np.zeros((len(outline), 2)), 1.0)
        for panel in gaps
        for part in shapely.get_parts(panel.inner)
        for outline in convex_pieces(part)
    ]
