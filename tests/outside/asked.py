"""Random rooms with one window, for questions asked backwards: some that have an answer, some built to have none."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from previz.aim.limits import Ground
from previz.aim.wishes import Wish, wish
from previz.build.assemble import build_set
from previz.camera.view import View
from previz.light.lamps import Emitter, emitters
from previz.rays.tracer import Tracer
from previz.scene.model import Scene

OBSTACLES = ("stand", "near", "prop", "table", "frame", "edge")


@dataclass(frozen=True)
class Case:
    """A question, what it is asked in, and the names of limits that may be in its way."""

    ground: Ground
    lamp: Emitter
    wish: Wish
    obstacles: tuple[str, ...] = ()


def case(seed: int, obstacle: str | None = None) -> Case:
    """Return a random question; with `obstacle`, one that it leaves no answer for."""
    rng = np.random.default_rng(seed)
    depth, width, height = rng.uniform(250, 400), rng.uniform(250, 400), rng.uniform(180, 260)
    wall = rng.uniform(3, 8)
    size = rng.uniform(25, 45, 2)
    at = np.array([rng.uniform(40, width - 40 - size[0]), rng.uniform(height * 0.55, height - size[1] - 15)])
    # The window is in the east wall (along runs from y = 0), the target on the floor, so that the light falls within the room.
    window = np.array([depth, at[0] + size[0] / 2, at[1] + size[1] / 2])
    target = np.array([rng.uniform(0.3, 0.6) * depth, np.clip(window[1] + rng.uniform(-40, 40), 60, width - 60), 0.0])
    table = {
        "room": [{"name": "hall", "plan": [(0, 0), (depth, 0), (depth, width), (0, width)], "walls": ["south", "east", "north", "west"], "height": height, "wall": wall}],
        "opening": [{"name": "window", "wall": "hall.east", "at": tuple(at), "size": tuple(size)}],
        "lamp": [{"kind": "disc", "name": "key", "diameter": 20, "at": tuple(window + (500, 0, 300)), "toward": tuple(window), "lux_at_1m": 1e4}],
        "stand": {"height": (0, 4000), "distance": (200, 2500), "base": 20.0, "reach": 1000.0},
        "prop": [],
    }
    names: tuple[str, ...] = ()
    if obstacle == "stand":
        table["stand"]["height"], names = (0.0, 400.0), ("the height of the stand",)
    elif obstacle == "near":
        # Too far for the room: the floor that stands may use ends before the nearest distance.
        table["stand"] |= {"distance": (800.0, 2500.0), "room": ((0.0, -2000.0), (depth + 300.0, 2000.0))}
        names = ("the room around the table", "the distance of the lamp")
    elif obstacle == "prop":
        middle = 0.5 * (window + target)
        table["prop"], names = [{"kind": "box", "name": "crate", "at": (middle[0], middle[1], middle[2] - 60), "size": (4, 130, 120)}], ("what stands in the light",)
    elif obstacle == "table":
        table["stand"] |= {"distance": (50.0, 300.0), "base": 2000.0, "reach": 0.0}
        names = ("the table",)
    elif obstacle == "edge":
        target[0], names = 2.0, ("the middle of the light on hall.floor",)
    scene = Scene(**table)
    built = build_set(scene, Path("."))
    views = ()
    if obstacle == "frame":
        way = window - target
        way = way / np.linalg.norm(way)
        right = np.cross(way, (0, 0, 1.0))
        right /= np.linalg.norm(right)
        # A lens in the middle of the light, looking up it: wherever the lamp stands, it is seen.
        views = (View(target + 0.6 * (window - target) + 4 * np.cross(right, way), way, right, np.cross(right, way), 0.5, 0.3, 48, 27),)
        scene = scene.model_copy(update={"lens": scene.lens.model_copy(update={"barrel": ((1.0, 0.2),)}), "body": scene.body.model_copy(update={"box": (0.2, 0.2, 0.2)})})
        names = ("the frame",)
    ground = Ground(scene, built, Tracer(built.vertices, built.triangles), views, 10.0)
    onto = f"{target[0]:.4f},{target[1]:.4f},0"
    (lamp,) = emitters(scene, built)
    if obstacle == "edge":
        # The wall beside it takes half of the light: that is cut off, or stands in it.
        names = (f"the middle of the light on {onto}", "what stands in the light")
    return Case(ground, lamp, wish(built, f"window > {onto}"), names)
