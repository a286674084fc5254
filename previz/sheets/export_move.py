"""
A move as a table for a rig's controller or another program: one row a captured frame, as CSV and as JSON.

Takes the scene, a shot and its move; gives text. The rig's axes (carriage, pan, tilt, lift) and the lens in set coordinates
stand side by side; units and axes are stated in the file itself. What the set knows nothing of is left empty: a camera that
slides on no rail has no carriage.
"""

from __future__ import annotations

import json
import math

import numpy as np

from previz.camera.view import axes
from previz.rig.moves import Move, on_rail
from previz.scene.model import Scene, Shot
from previz.sheets.export_lamps import haze_of, haze_says, lamp_says, lamps_of

DECIMALS = 5
"""Kept of each figure: a hundredth of a micrometre, far under any rig's step (own choice)."""

COLUMNS = {
    "frame": "number of the captured frame, from 0",
    "take_s": "real seconds since the camera rolled",
    "clip_s": "screen seconds since the clip began",
    "carriage_mm": "along the rail from its first end, empty where no slider carries the camera",
    "pan_deg": "anticlockwise seen from above, 0 along the set's x, whole turns kept",
    "tilt_deg": "up is positive",
    "lift_mm": "height of the lift above its 0",
    "pupil_x_mm": "entrance pupil, set coordinates",
    "pupil_y_mm": "entrance pupil, set coordinates",
    "pupil_z_mm": "entrance pupil, set coordinates",
    "forward_x": "unit vector along the optical axis, set coordinates",
    "forward_y": "unit vector along the optical axis, set coordinates",
    "forward_z": "unit vector along the optical axis, set coordinates",
    "focus_mm": "from the entrance pupil along the optical axis",
}
STATED = {
    "units": "millimetres, degrees, seconds",
    "set_coordinates": "right-handed, z up, origin at the set's datum corner; under a lift they go with the set",
    "rig_coordinates": "carriage along the rail from its first end, pan, tilt, lift",
}


def frame_times(shot: Shot) -> np.ndarray:
    """Return the moments (n,) of the captured frames, the first when the camera rolls and the last at the end of the take or just before. [s]"""
    return np.arange(math.floor(shot.take_s * shot.fps + 1e-6) + 1) / shot.fps


def move_table(scene: Scene, shot: Shot, move: Move) -> np.ndarray:
    """Return the table (frames, `COLUMNS`), nan where a cell is empty."""
    take_s = frame_times(shot)
    poses = move.poses(take_s)
    forward = axes(poses.pan, poses.tilt)[:, 0]
    carriage = _carriage(scene, move, take_s) if on_rail(scene, shot) else np.full(len(take_s), np.nan)
    rows = [
        np.arange(len(take_s)), take_s, take_s * shot.fps / shot.playback, carriage, np.degrees(poses.pan), np.degrees(poses.tilt),
        move.lift_mm(take_s), *poses.position.T, *forward.T, move.focus_mm(take_s),
    ]  # fmt: skip
    return np.column_stack(rows)


def _carriage(scene, move, take_s) -> np.ndarray:
    """Return where the carriage stands (n,), along the rail from its first end. [mm]"""
    start, along = np.array(scene.slider.from_, float), np.subtract(scene.slider.to, scene.slider.from_)
    return (move.carriage(take_s) - start) @ along / np.linalg.norm(along)


def _about(scene, shot) -> dict:
    return {
        "scene": scene.title, "shot": shot.name, "scale": scene.scale, **STATED,
        "capture_fps": shot.fps, "playback_fps": shot.playback, "take_s": shot.take_s, "clip_s": shot.clip,
    }  # fmt: skip


def move_csv(lit, rolled, shot: Shot, move: Move) -> str:
    """Return the table as CSV (RFC 4180 but for the line ends), with what it holds, the shot's lamps and its haze in lines that begin with #."""
    scene = lit.scene
    lines = [f"# {key}: {_on_a_line(value)}" for key, value in _about(scene, shot).items()]
    lines += [f"# lamp {_on_a_line(one['name'])}: {lamp_says(one)}" for one in lamps_of(lit, rolled, shot)]
    lines.append(f"# haze: {haze_says(haze_of(scene, shot))}")
    lines += [f"# column {name}: {says}" for name, says in COLUMNS.items()]
    lines.append(",".join(COLUMNS))
    for row in move_table(scene, shot, move):
        lines.append(",".join([str(int(row[0])), *("" if math.isnan(value) else f"{value + 0.0:.{DECIMALS}f}" for value in row[1:])]))
    return "\n".join(lines) + "\n"


def _on_a_line(value) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def move_json(lit, rolled, shot: Shot, move: Move) -> str:
    """Return the table as JSON: `lamps` and `haze` of the shot, `columns` by name with what each means, `rows` one list a frame, null where a cell is empty."""
    scene = lit.scene
    rows = [[int(row[0]), *(None if math.isnan(value) else round(float(value), DECIMALS) + 0.0 for value in row[1:])] for row in move_table(scene, shot, move)]
    head = json.dumps({"schema": 1, **_about(scene, shot), "lamps": lamps_of(lit, rolled, shot), "haze": haze_of(scene, shot), "columns": COLUMNS}, indent=1, ensure_ascii=False, allow_nan=False)
    body = ",\n  ".join(json.dumps(row) for row in rows)
    return f'{head[:-2]},\n "rows": [\n  {body}\n ]\n}}\n'
