"""
A shot packed for playing: everything that a graphics card needs to draw its frames as the engine would.

Takes a lit set and a shot; gives bytes (see `previz.bench.packing`): the set's triangles, the light on them and in the air, and what the lens does along the
take. All light is the engine's; the card adds it up along its rays as `previz.frames.hazed` does.

What the card does not know: faces of lamps in frame and diffraction; swirls between the air and lamps after the
third. More than eight sources of light are too many for it: the weakest are left out, and the header says so.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from previz.bench.air import CELLS, TILE, glow_towards, haze_to_lamps, shafts_in_air, swirled
from previz.bench.charts import WIDTH, Surfaces
from previz.bench.packing import packed
from previz.camera.exposure import effective_stop, luminance_metered, stop_used
from previz.camera.tone import KNEE, MIDDLE_GREY, WHITE_STOPS
from previz.camera.view import view_at
from previz.frames.along import drawn_at_moment, drifts, has_swirls, light_moves, lit_at_moment
from previz.frames.still import lit_at_roll, white_of
from previz.light.colour import LUMINANCE_WEIGHTS
from previz.light.units import per_mm
from previz.rays.lit import LitSet
from previz.rays.papers import lamp_of
from previz.rig.moves import Move, plan_move
from previz.scene.model import Shot

SOURCES = 8
"""Sources of light that are kept apart: lamps, their light through each tint, and papers that they shine on. What two textures of four channels hold."""

FINE_TEXELS = 1_200_000
"""Of direct light on the whole set: 0.6 mm in a room of 300 mm (own choice)."""

LENS_PLACES = 9
"""Places of the lens along a move for which the haze's own light is worked out (own choice)."""

LIGHT_MOMENTS = 7
"""Moments of a take whose lift moves the light (own choice)."""

SWIRL_MOMENTS = 12
"""Moments of a take in drifting haze; between them swirls go over into each other (own choice)."""

_MOST_FRAMES = 720


def play_pack(lit: LitSet, shot: Shot, *, workers: int | None = None, progress: Callable[[float], None] | None = None, detail: float = 1.0) -> bytes:
    """
    Return a shot as bytes for the page's player.

    Parameters
    ----------
    lit : LitSet
        The file's own light; a shot's changes are made here.
    progress : callable or None
        Called with the share of the work done, 0 to 1; what it raises ends the work.
    detail : float
        Share of the usual number of points at which light is worked out. [1]
    """
    tick = progress or (lambda share: None)
    rolled = lit_at_roll(lit, shot)
    scene, built = rolled.scene, rolled.built
    move = plan_move(scene, shot, built)
    moments = np.linspace(0, move.take_s, LIGHT_MOMENTS) if light_moves(rolled, move) else np.array([0.0])
    start = lit_at_moment(rolled, move, 0.0)
    sources, left_out = _sources(start)
    arrays: dict[str, np.ndarray] = {}
    # A set lit at several moments is lit more coarsely at each, or a take would not fit a tablet.
    share = detail if len(moments) == 1 else detail / 4
    surfaces = Surfaces(start, int(share * FINE_TEXELS))
    tick(0.1)
    places = move.poses(np.linspace(0, move.take_s, LENS_PLACES if move.length else 1)).position
    lights = []
    for number, take_s in enumerate(moments):
        now = lit_at_moment(rolled, move, take_s)
        lights.append(_light(now, surfaces, sources, places, int(share * CELLS), number, arrays, workers))
        tick(0.1 + 0.8 * (number + 1) / len(moments))
    swirls = _swirls(rolled, shot, move, sources, arrays)
    tick(1.0)
    _triangles(start, surfaces, arrays)
    air = start.trimmed
    arrays["phase"] = start.medium.phase.table.astype(np.float32)
    arrays["planes"] = np.ascontiguousarray(start.air.planes, np.float32)
    header = {
        "schema": 1,
        "shot": shot.name,
        "lamps": [lamp.name for lamp in scene.lamp],
        "sources": [{"lamp": _lamp_number(start, column), "rgb": _rounded(_candela(start)[column])} for column in sources],
        "left_out": left_out,
        "swirls": swirls,
        "chart_width": WIDTH,
        "chart_rows": list(surfaces.charts.size),
        "charts": len(surfaces.charts.coarse),
        "cells_first": start.air.first.tolist(),
        "haze": {
            "extinction_per_mm": per_mm(air.extinction_per_m),
            "scattering_per_mm": per_mm(start.medium.albedo * start.medium.extinction_per_m),
            "albedo": air.albedo,
            "low": _rounded(start.transport.grid.low),
            "step": _rounded(start.transport.grid.step),
            "shape": list(start.transport.grid.shape),
        },
        "moments_s": _rounded(moments),
        "lights": lights,
        "lens_places": len(places),
        "tile": TILE,
        "tone": {"middle": MIDDLE_GREY, "knee": KNEE, "white_stops": WHITE_STOPS},
        **_lens(start, shot, move, arrays),
    }
    return packed(header, arrays)


def _sources(lit: LitSet) -> tuple[list[int], list[str]]:
    """Return the columns of direct light that are kept apart, the strongest, and the names of lamps of which some is left out."""
    candela = _candela(lit) @ LUMINANCE_WEIGHTS
    light = candela * lit.bounce.texel[..., :3].sum(axis=(1, 2), dtype=np.float64)
    ranked = [int(column) for column in np.argsort(-light, kind="stable") if light[column] > 0]
    left_out = {lit.scene.lamp[_lamp_number(lit, column)].name for column in ranked[SOURCES:]}
    return ranked[:SOURCES], sorted(left_out)


def _candela(lit: LitSet) -> np.ndarray:
    return lit.behind_tints(lit.candela)


def _lamp_number(lit: LitSet, column: int) -> int:
    """Return the lamp of the scene that a column of direct light belongs to."""
    name = lamp_of(lit.emitters[column % len(lit.emitters)])
    return next(number for number, lamp in enumerate(lit.scene.lamp) if lamp.name == name)


def _light(lit: LitSet, surfaces: Surfaces, sources: list[int], places: np.ndarray, cells: int, number: int, arrays: dict, workers) -> dict:
    """Work out the light of one moment and put it among `arrays`; return what the header says of it."""
    shafts, air, tiles = shafts_in_air(lit, sources, cells=cells, workers=workers)
    bounce, glow, shown = [], [], []
    for lamp in lit.scene.lamp:
        own = np.array([lamp_of(emitter) == lamp.name for emitter in lit.emitters])
        candela = lit.candela * own[:, None]
        bounce.append(surfaces.bounced(lit, lit.bounced_by(candela)[0]))
        glow.append(glow_towards(lit, candela, places))
        glowing = lit.glowing(candela)
        shown.append(np.zeros((len(lit.built.faces), 3)) if glowing is None else glowing)
    none = (0, surfaces.charts.size[0], WIDTH, 3)
    arrays[f"bounce{number}"] = np.array(bounce, np.float16).reshape(-1, *none[1:])
    arrays[f"direct{number}"] = _in_fours(surfaces.direct(lit, sources, workers=workers))
    arrays[f"shafts{number}"], arrays[f"tiles{number}"] = air, tiles
    arrays[f"to_lamps{number}"] = _in_fours(haze_to_lamps(lit, [column % len(lit.emitters) for column in sources]))
    arrays[f"glow{number}"] = np.array(glow, np.float16).reshape(-1, *lit.transport.grid.shape[::-1], 3)
    faces = np.zeros(len(surfaces.charts.coarse), np.int64)
    faces[surfaces.charts.triangle] = lit.built.face_of
    arrays[f"shown{number}"] = np.array(shown, np.float32).reshape(-1, len(lit.built.faces), 3)[:, faces]
    centres = [_rounded(lit.lamps.centre[column % len(lit.emitters)]) for column in sources]
    grids = [
        {"seen": shaft.seen, "centre": _rounded(shaft.centre), "axes": _rounded(shaft.axes.ravel()), "low": _rounded(shaft.low), "size": _rounded(shaft.size), "tiles": list(shaft.tiles), "first": shaft.first, "layers": shaft.layers, "scale": shaft.scale}
        for shaft in shafts
    ]
    return {"centres": centres, "shafts": grids}


def _swirls(lit: LitSet, shot: Shot, move: Move, sources: list[int], arrays: dict) -> dict | None:
    """Put the swirls of moments of the take among `arrays`; return when they are, and their grid. None for even haze."""
    if not has_swirls(lit.scene):
        return None
    when = np.linspace(0, move.take_s, SWIRL_MOMENTS if drifts(lit.scene) else 1)
    lamps = [column % len(lit.emitters) for column in sources]
    there = [drawn_at_moment(lit, shot, move, take_s).uneven for take_s in when]
    arrays["swirls"] = np.array([swirled(uneven, lamps) for uneven in there], np.float16)
    density = there[0].density
    return {"moments_s": _rounded(when), "low": _rounded(density.low), "size": _rounded(density.step * density.values.shape)}


def _in_fours(light: np.ndarray) -> np.ndarray:
    """Return (..., sources) as half floats in groups of 1, 2 or 4 channels: (groups, ..., channels)."""
    sources = light.shape[-1]
    channels = 4 if sources > 2 else max(1, sources)
    groups = max(1, -(-sources // channels))
    out = np.zeros((groups, *light.shape[:-1], channels), np.float16)
    for source in range(sources):
        out[source // channels, ..., source % channels] = np.minimum(light[..., source], np.finfo(np.float16).max)
    return out


def _triangles(lit: LitSet, surfaces: Surfaces, arrays: dict) -> None:
    """Put the triangles, corner by corner, and the charts among `arrays`."""
    built, charts = lit.built, surfaces.charts
    arrays["position"] = np.ascontiguousarray(built.vertices[built.triangles].reshape(-1, 3), np.float32)
    arrays["place"] = charts.place.reshape(-1, 2)
    arrays["chart"] = np.repeat(charts.triangle, 3).astype(np.float32)
    arrays["coarse"], arrays["fine"] = charts.coarse, charts.fine
    reflectance = np.zeros((len(charts.coarse), 3), np.float32)
    reflectance[charts.triangle] = np.array([built.reflectance[built.faces[face].finish] for face in built.face_of])
    arrays["reflectance"] = reflectance


def _lens(lit: LitSet, shot: Shot, move: Move, arrays: dict) -> dict:
    """Put what the lens does, frame by frame of the clip, among `arrays`; return what stays the same."""
    scene = lit.scene
    count = int(np.clip(round(shot.clip * shot.playback) + 1, 2, _MOST_FRAMES))
    take_s = np.linspace(0, move.take_s, count)
    poses, focus = move.poses(take_s), move.focus_mm(take_s)
    views = [view_at(scene, poses[i], float(focus[i]), stop=stop_used(scene.lens, shot)) for i in range(count)]
    stop = [float(effective_stop(scene.lens, shot, mm)) for mm in focus]
    arrays["frames"] = np.array(
        [
            [*view.position, *view.forward, *view.right, *view.up, view.half_width, view.half_height, view.pupil_radius, min(view.focus_mm, 1e9), MIDDLE_GREY / luminance_metered(shot.iso, n, shot.exposure_s)]
            for view, n in zip(views, stop)
        ],
        np.float32,
    )
    white = white_of(scene, shot)
    return {"take_s": move.take_s, "clip_s": shot.clip, "exposure_s": shot.exposure_s, "size": list(scene.body.resolution), "cos4": scene.lens.falloff == "cos4", "white": _rounded((np.eye(3) if white is None else white).ravel())}


def _rounded(values) -> list:
    return np.round(np.asarray(values, float), 9).tolist()
