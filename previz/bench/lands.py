"""
Where the light lands at one moment: the patches of the report, and the shafts on their way there as lines.

Takes a lit set; gives plain values for the page's drawings. A line runs from where a ray passes the outer face of the wall, the
lamp's side of the pane, to a corner of the patch. Knows no clients.
"""

from __future__ import annotations

import numpy as np

from previz.check.report import patch_entry, plain
from previz.rays.lit import LitSet
from previz.rays.patches import Patch, patches

MOST_LINES = 8
"""Of one patch: more would only blacken a drawing (own choice)."""


def light_data(lit: LitSet) -> dict:
    """Return `lift_mm`, `patches` as the report has them, and `shafts`: lamp, opening, pane and lines [[x, y, z], [x, y, z]]. [mm]"""
    found = patches(lit.built, lit.emitters, lit)
    lamps = {emitter.name: np.asarray(emitter.centre, float) for emitter in lit.emitters}
    shafts = [_shaft(patch, lamps[patch.lamp], lit) for patch in found]
    return plain({"lift_mm": lit.lift_mm, "patches": [patch_entry(patch) for patch in found], "shafts": shafts})


def _shaft(patch: Patch, lamp: np.ndarray, lit: LitSet) -> dict:
    corners = np.asarray(patch.outline_mm, float)
    corners = corners[np.unique(np.linspace(0, len(corners), MOST_LINES, endpoint=False).astype(int))]
    lines = np.stack([_entered(patch, lamp, corners, lit), corners], axis=1)
    return {"lamp": patch.lamp, "opening": patch.opening, "pane": patch.pane, "lines": np.round(lines, 2)}


def _entered(patch: Patch, lamp: np.ndarray, corners: np.ndarray, lit: LitSet) -> np.ndarray:
    """Return the points (n, 3) where rays to `corners` pass the outer face of the opening's wall; the lamp itself where it has none. [mm]"""
    panes = lit.built.apertures_named(patch.opening)
    if not panes:
        return np.broadcast_to(lamp, corners.shape)
    outward, outside = panes[0].axes[2], panes[0].origin + panes[0].axes[2] * panes[0].thickness
    share = (outward @ (outside - lamp)) / ((corners - lamp) @ outward)
    return lamp + np.clip(share, 0, 1)[:, None] * (corners - lamp)
