"""
Converged pictures of the room with six panes by Mitsuba's `volpath`, kept as the means of blocks of 5 x 5 pixels.

A block is known to about 1 % after four thousand rays a pixel, minutes on two cores (to 2 % in the two thickest hazes), so the means lie beside this file with the
standard error of each. `python tests/outside/converged.py` makes them anew: after a change of `rooms.py` they are of another room.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

FILE = Path(__file__).with_name("converged.npz")
BLOCK = 5
RUNS = {0.0: (16, 256), 0.8: (16, 256), 1.5: (6, 160), 3.0: (6, 256)}
"""By extinction [per metre], how many runs and rays a pixel of each."""
LONGEST = {0.0: 16, 0.8: 16, 1.5: 24, 3.0: 48}
"""By extinction [per metre], the longest path: what is longer carries less than a thousandth of the light."""


def block_means(luminance: np.ndarray) -> np.ndarray:
    """Return the means (rows / 5, columns / 5) of blocks of a picture (rows, columns)."""
    rows, columns = luminance.shape
    return luminance.reshape(rows // BLOCK, BLOCK, columns // BLOCK, BLOCK).mean(axis=(1, 3))


def converged(extinction: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the means of blocks (27, 48) of the room in haze of `extinction` [per metre] and their standard errors. [cd/m2]"""
    with np.load(FILE) as kept:
        return kept[f"mean_{extinction}"], kept[f"error_{extinction}"]


def block_error(luminance: np.ndarray, extinction: float) -> float:
    """Return the root mean square, over all blocks, of a picture's relative error, the converged picture's own noise taken off."""
    mean, error = converged(extinction)
    squares = np.mean((block_means(luminance) / mean - 1) ** 2) - np.mean((error / mean) ** 2)
    return float(np.sqrt(max(0.0, squares)))


def _make() -> None:
    import mitsuba
    from reference_renderer import llvm_library, reference_scene, render
    from rooms import plain_room, view_across

    from previz.build.assemble import build_set
    from previz.haze.medium import medium_at
    from previz.light.colour import luminance
    from previz.light.lamps import emitters

    os.environ.setdefault("DRJIT_LIBLLVM_PATH", llvm_library() or "")
    mitsuba.set_variant("llvm_ad_rgb")
    kept = {}
    for extinction, longest in LONGEST.items():
        scene = plain_room(extinction)
        built = build_set(scene, folder=None)
        reference = reference_scene(mitsuba, built, emitters(scene, built), medium_at(scene, built), view_across(), longest)
        count, rays = RUNS[extinction]
        runs = np.array([block_means(luminance(render(mitsuba, reference, rays, seed))) for seed in range(count)])
        kept |= {f"mean_{extinction}": runs.mean(axis=0), f"error_{extinction}": runs.std(axis=0, ddof=1) / np.sqrt(count)}
    np.savez_compressed(FILE, **kept)


if __name__ == "__main__":
    _make()
