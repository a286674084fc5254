"""
Glances: the lens picture at once and small, from a coarse bake, while something is dragged.

Takes a stage, a scene file, a shot and a moment; gives a picture. It is the engine's own, with fewer texels and rays: what any
finer picture of the same file tends to.
"""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from previz.bench.stage import Stage, solids_key
from previz.frames.still import still
from previz.rig.moves import plan_move
from previz.scene.model import Scene, Shot
from previz.scene.read import SceneFile

COARSE = (6_000, 32)
"""Texels and rays of the bake that glances are drawn from: a thirtieth of the whole one's time (own choice)."""

MANY_WAYS = 40
"""Panes through which lamps are looked at for each ray: more, and a glance makes do with one point on each lamp (own choice)."""

WIDTH = 320
"""Of a glance, at most: shafts are far wider than its pixels (own choice). [pixel]"""

WIDEST = 1280
"""Of any picture on the bench: a wider one is stretched (own choice). [pixel]"""


def coarse_stage(workers: int | None) -> Stage:
    """Return a stage for glances."""
    return Stage(*COARSE, workers)


def size_of(scene: Scene, width: int) -> tuple[int, int]:
    """Return columns and rows of a picture `width` wide, at most `WIDEST`, in the shape of the body's frames. [pixel]"""
    columns, rows = scene.body.resolution
    width = min(width, WIDEST)
    return width, max(1, round(width * rows / columns))


def glance(stage: Stage, file: SceneFile, shot: Shot, take_s: float, width: int) -> tuple[bytes, tuple[int, int]]:
    """Return the lens picture of a shot at a moment as PNG, and its size. [s], [pixel]"""
    lit, size = stage.rolled(file, shot), size_of(file.scene, min(width, WIDTH))
    quality = "glimpse" if len(lit.windows.box) * len(lit.emitters) > MANY_WAYS else "glance"
    picture = still(lit, shot, plan_move(file.scene, shot, lit.built), take_s, size, quality=quality, workers=stage.workers)
    return png(picture.rgb), size


def png(rgb: np.ndarray) -> bytes:
    """Return a picture (rows, columns, 3) uint8 as PNG, packed quickly rather than small."""
    into = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(rgb)).save(into, format="PNG", compress_level=1)
    return into.getvalue()


def picture_key(file: SceneFile, shot: Shot, take_s: float, size: tuple[int, int], quality: str) -> str:
    """Return a text that is the same for two pictures only if they are: of everything that a picture depends on."""
    scene = file.scene.model_dump_json(exclude={"title", "shot", "table", "stand"})
    return f"{solids_key(file)} {scene} {shot.model_dump_json()} {take_s!r} {size} {quality}"
