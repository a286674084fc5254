"""
The room that the agreement tests and the benchmarks look into.

One room of 310 x 205 x 185 mm, a window of six panes in its west wall, a disc lamp of 60 mm that stands 0.8 m from the
window, haze, a crate and a post in the light, and a camera by the south wall that looks across the shafts.

Gives `Scene` objects made from plain tables, as a file would hold them, and the view from the south wall.
"""

from __future__ import annotations

import numpy as np

from previz.camera.view import View
from previz.scene.model import Scene

STANDS, LOOKS_AT = (160.0, 12.0, 85.0), (165.0, 205.0, 45.0)


def plain_tables(extinction: float = 0.8) -> dict:
    """Return the room's tables with every finish at 0.5 and the haze at `extinction` [per metre]."""
    return {
        "title": "room with six panes",
        "room": [
            {
                "name": "room",
                "plan": [[0.0, 0.0], [310.0, 0.0], [310.0, 205.0], [0.0, 205.0]],
                "height": 185.0,
                "wall": 6.0,
                "walls": ["south", "east", "north", "west"],
                "finish": "card",
            }
        ],
        "opening": [
            {
                "name": "window",
                "wall": "room.west",
                "shape": "rect",
                "at": [47.0, 85.0],
                "size": [96.0, 72.0],
                "bars": {"columns": 3, "rows": 2, "width": 4.0, "depth": 4.0},
            }
        ],
        "prop": [
            {"name": "crate", "kind": "box", "size": [40.0, 40.0, 30.0], "at": [215.0, 150.0, 0.0], "turn": 20.0, "finish": "card"},
            {"name": "post", "kind": "box", "size": [14.0, 14.0, 120.0], "at": [110.0, 140.0, 0.0], "turn": 30.0, "finish": "card"},
        ],
        "finish": {"card": {"reflect": 0.5}},
        "lamp": [
            {"name": "key", "kind": "disc", "diameter": 60.0, "at": [-685.0, -10.0, 521.0], "toward": [0.0, 110.0, 121.0], "lux_at_1m": 2000.0}
        ],
        "haze": {"extinction": extinction, "g": 0.7},
        "body": {"sensor": [36.0, 20.25], "resolution": [240, 135]},
        "lens": {"focal": 24.0},
        "shot": [{"name": "across", "from": list(STANDS), "look": list(LOOKS_AT), "focus": 140.0}],
    }


def plain_room(extinction: float = 0.8) -> Scene:
    """Return the room with every finish at 0.5."""
    return Scene.model_validate(plain_tables(extinction))


def black_room(extinction: float = 0.8) -> Scene:
    """Return the room with surfaces that reflect nothing: a picture of haze alone."""
    return Scene.model_validate(plain_tables(extinction) | {"finish": {"card": {"reflect": 0.0}}})


def painted_room(extinction: float = 0.8) -> Scene:
    """Return the room with coloured finishes and a warm lamp, so that a mix-up of channels shows."""
    tables = plain_tables(extinction)
    tables["finish"] = {"card": {"colour": "#c8b89a"}, "boards": {"colour": "#8a5a3c"}, "blue": {"colour": "#3c6ea0"}}
    tables["room"][0]["finish"] = {"walls": "card", "floor": "boards", "ceiling": "card"}
    tables["prop"][0]["finish"] = "blue"
    tables["lamp"][0]["colour"] = "#ffd9a0"
    return Scene.model_validate(tables)


def lamp_inside(extinction: float = 0.8) -> Scene:
    """Return the room with its window closed and a panel lamp under the ceiling: a closed box, where bounces matter most."""
    panel = {"name": "panel", "kind": "panel", "size": [60.0, 40.0], "at": [155.0, 100.0, 170.0], "toward": [155.0, 100.0, 0.0], "lux_at_1m": 20.0}
    return Scene.model_validate(plain_tables(extinction) | {"opening": [], "lamp": [panel]})


def many_panes(columns: int, rows: int) -> Scene:
    """Return the room with an opening over most of the west wall, cut into columns x rows panes."""
    tables = plain_tables()
    bars = {"columns": columns, "rows": rows, "width": 1.5, "depth": 2.0}
    tables["opening"][0] |= {"at": [6.0, 25.0], "size": [192.0, 144.0], "bars": bars}
    tables["lamp"][0]["toward"] = [0.0, 103.0, 97.0]
    return Scene.model_validate(tables)


def room_with_mesh(file: str) -> Scene:
    """Return the room with the mesh in `file` [mm] in place of crate and post."""
    mesh = {"name": "find", "kind": "mesh", "file": file, "at": [180.0, 130.0, 0.0], "finish": "card"}
    return Scene.model_validate(plain_tables() | {"prop": [mesh]})


def view_across(columns: int = 240, rows: int = 135) -> View:
    """Return the view across the shafts, 74 degrees wide."""
    forward = np.subtract(LOOKS_AT, STANDS)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    forward, right = forward / np.linalg.norm(forward), right / np.linalg.norm(right)
    return View(np.array(STANDS), forward, right, np.cross(right, forward), 0.75, 0.75 * rows / columns, columns, rows)
