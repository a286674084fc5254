"""
Light along the take: a lift moves set and lamps against each other, so shafts and patches wander while the camera rolls, and
uneven haze drifts.

Takes a lit set and a height of the lift, or a shot's move; gives the set as it is lit there. All is in set coordinates:
lamps that stay on the floor sink past a set that rises. The transport is kept, so each picture is lit anew: that takes a
fraction of the time of drawing it.
"""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np

from previz.build.built import BuiltSet, Cell
from previz.build.inside import in_a_room
from previz.haze.drift import Density, swirls_at
from previz.haze.medium import extinction_at
from previz.rays.lit import LitSet, relit
from previz.rays.uneven import uneven
from previz.rig.moves import Move
from previz.scene.model import Scene, Shot, Swirls


def lamp_rises(scene: Scene, built: BuiltSet) -> np.ndarray:
    """Return (lamps,) how far each lamp rises, seen from the set, for each mm of the lift: 1, 0 or -1."""
    if scene.lift is None:
        return np.zeros(len(scene.lamp))
    set_rises = float(scene.lift.carries == "set")
    aboard = [lamp.rides == "lift" or (lamp.rides is None and set_rises > 0 and in_a_room(built, lamp.at)) for lamp in scene.lamp]
    return np.array(aboard, float) - set_rises


def light_moves(lit: LitSet, move: Move) -> bool:
    """Return whether any lamp moves against the set during the take."""
    return move.lift[0] != move.lift[1] and bool(lamp_rises(lit.scene, lit.built).any())


def lit_at_height(lit: LitSet, height_mm: float) -> LitSet:
    """Return `lit` with its lift at a height: `lit` itself where it stands there, or where no lamp moves against the set. [mm]"""
    lamps = _lamps_at(lit, height_mm)
    return lit if lamps is None else replace(relit(lit, lamps=lamps), lift_mm=height_mm)


def lit_at_moment(lit: LitSet, move: Move, take_s: float) -> LitSet:
    """Return `lit` with its lift where the move has it at one moment of the take; haze stays as it is. [s]"""
    return lit_at_height(lit, float(move.lift_mm(take_s)[0]))


def drawn_at_moment(lit: LitSet, shot: Shot, move: Move, take_s: float) -> LitSet:
    """Return `lit` as pictures show it at one moment of the take: the lift where it is then, and the haze as it has drifted since the spray. [s]"""
    lit = lit_at_moment(lit, move, take_s)
    if not has_swirls(lit.scene):
        return lit
    grid = lit.transport.grid
    box = np.array([grid.low, grid.low + grid.step * grid.shape])
    cells = tuple((cell.room, cell.planes.astype(float).tobytes()) for cell in lit.medium.cells)
    density = _drifted(lit.scene.haze.uneven, lit.scene.seed, cells, box.tobytes(), shot.start_after + take_s)
    return replace(lit, uneven=uneven(density, lit.lamps.centre))


@functools.lru_cache(maxsize=4)
def _drifted(swirls: Swirls, seed: int, cells: tuple[tuple[str, bytes], ...], box: bytes, after_spray_s: float) -> Density:
    """The haze at one moment, kept for the next picture of that moment: no lamp changes it."""
    there = tuple(Cell(room, np.frombuffer(planes).reshape(-1, 4)) for room, planes in cells)
    return swirls_at(swirls, seed, there, np.frombuffer(box).reshape(2, 3), after_spray_s)


def has_swirls(scene: Scene) -> bool:
    """Return whether the haze is thicker in one place than in another."""
    return scene.haze.uneven is not None and scene.haze.uneven.contrast > 0 and extinction_at(scene.haze) > 0


def drifts(scene: Scene) -> bool:
    """Return whether the haze changes the picture where all else stands still."""
    return has_swirls(scene) and scene.haze.uneven.drift > 0


def _lamps_at(lit: LitSet, height_mm: float):
    """Return the scene's lamps with the lift at a height; None where they stand so already. [mm]"""
    rises = lamp_rises(lit.scene, lit.built) * (height_mm - lit.lift_mm)
    if not rises.any():
        return None
    return tuple(replace(lamp, centre=lamp.centre + [0.0, 0.0, rise]) for lamp, rise in zip(lit.emitters, rises))
