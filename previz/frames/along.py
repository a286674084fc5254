"""
Light along the take: a lift moves set and lamps against each other, so shafts and patches wander while the camera rolls.

Takes a lit set and a height of the lift, or a shot's move; gives the set as it is lit there. All is in set coordinates:
lamps that stay on the floor sink past a set that rises. The transport is kept, so each picture is lit anew: that takes a
fraction of the time of drawing it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from previz.build.built import BuiltSet
from previz.rays.lit import LitSet, relit
from previz.rig.moves import Move
from previz.scene.model import Scene


def lamp_rises(scene: Scene, built: BuiltSet) -> np.ndarray:
    """Return (lamps,) how far each lamp rises, seen from the set, for each mm of the lift: 1, 0 or -1."""
    if scene.lift is None:
        return np.zeros(len(scene.lamp))
    set_rises = float(scene.lift.carries == "set")
    aboard = [lamp.rides == "lift" or (lamp.rides is None and set_rises > 0 and _inside(built, lamp.at)) for lamp in scene.lamp]
    return np.array(aboard, float) - set_rises


def _inside(built: BuiltSet, point) -> bool:
    return any((cell.planes[:, :3] @ np.asarray(point, float) <= cell.planes[:, 3]).all() for cell in built.cells)


def light_moves(lit: LitSet, move: Move) -> bool:
    """Return whether any lamp moves against the set during the take."""
    return move.lift[0] != move.lift[1] and bool(lamp_rises(lit.scene, lit.built).any())


def lit_at_height(lit: LitSet, height_mm: float) -> LitSet:
    """Return `lit` with its lift at a height: `lit` itself where it stands there, or where no lamp moves against the set. [mm]"""
    lamps = _lamps_at(lit, height_mm)
    return lit if lamps is None else replace(relit(lit, lamps=lamps), lift_mm=height_mm)


def lit_at_moment(lit: LitSet, move: Move, take_s: float) -> LitSet:
    """Return `lit` with its lift where the move has it at one moment of the take. [s]"""
    return lit_at_height(lit, float(move.lift_mm(take_s)[0]))


def _lamps_at(lit: LitSet, height_mm: float):
    """Return the scene's lamps with the lift at a height; None where they stand so already. [mm]"""
    rises = lamp_rises(lit.scene, lit.built) * (height_mm - lit.lift_mm)
    if not rises.any():
        return None
    return tuple(replace(lamp, centre=lamp.centre + [0.0, 0.0, rise]) for lamp, rise in zip(lit.emitters, rises))
