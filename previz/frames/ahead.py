"""
Compile every loop ahead of its use: a small set is lit and looked at once, in each way that uses other loops.

Run by the package's build (`python -m previz.frames.ahead`), so that no command has to wait for it. Knows nothing of
where the results are kept; see `previz.rays.compiled`.
"""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import trimesh

from previz.build.assemble import build_set
from previz.camera.view import View
from previz.frames.hazed import hazed_frame
from previz.frames.layers import shown
from previz.haze.drift import Density
from previz.rays.lit import light_set, relit
from previz.rays.uneven import uneven
from previz.scene.model import Scene

_LAMP = {"name": "key", "kind": "disc", "diameter": 40.0, "at": [-500.0, 80.0, 300.0], "toward": [50.0, 50.0, 20.0], "candela": 1000.0}
_ROOM = {
    "room": [{"name": "room", "plan": [[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]], "height": 80.0}],
    "opening": [{"name": "window", "wall": "room.4", "at": [30.0, 20.0], "size": [40.0, 40.0]}],
    "lamp": [_LAMP],
}


def compile_all() -> None:
    """Light and draw a small room, and the same room as a mesh, so that every compiled loop has run once."""
    view = View((50.0, 10.0, 30.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), 0.5, 0.3, 24, 14)
    room = Scene.model_validate(_ROOM)
    lit = _drawn(room, Path(), view)
    relit(lit, lamps=lit.emitters, medium=lit.medium)
    _uneven(lit, view)
    with tempfile.TemporaryDirectory() as folder:
        trimesh.Trimesh(lit.built.vertices, lit.built.triangles, process=False).export(Path(folder) / "room.stl")
        _drawn(Scene.model_validate({"mesh": {"file": "room.stl"}, "lamp": [_LAMP]}), Path(folder), view)


def _uneven(lit, view: View) -> None:
    """Draw the same in swirls of haze."""
    grid = lit.transport.grid
    density = Density(np.ones((2, 2, 2), np.float32), grid.low, grid.step * grid.shape / 2)
    swirled = replace(lit, uneven=uneven(density, lit.lamps.centre))
    hazed_frame(swirled, view, passes=1, lamp_samples=2, haze_samples=1, workers=1)
    shown(swirled, view)


def _drawn(scene: Scene, folder: Path, view: View):
    lit = light_set(scene, build_set(scene, folder), texels=200, rays=8, workers=1)
    lit.illuminance([[50.0, 50.0, 0.0]], [[0.0, 0.0, 1.0]], samples=4)
    hazed_frame(lit, view, passes=1, lamp_samples=2, haze_samples=1, workers=1)
    return lit


if __name__ == "__main__":
    compile_all()
