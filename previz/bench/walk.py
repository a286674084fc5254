"""
The set packed for walking round it: its triangles with the light on them, and which walls hide it from outside.

Takes a lit set; gives bytes (see `previz.bench.packing`). What is seen is what the surfaces send back, as the engine has it,
without haze before it: a model on the table, not a picture through the lens.
"""

from __future__ import annotations

import numpy as np

from previz.bench.charts import WIDTH, Surfaces
from previz.bench.packing import packed
from previz.build.built import BuiltSet
from previz.camera.tone import KNEE, MIDDLE_GREY, WHITE_STOPS
from previz.light.colour import LUMINANCE_WEIGHTS
from previz.rays.lit import LitSet

FINE_TEXELS = 250_000
"""Of direct light on the whole set: about 1.2 mm in a room of 300 mm (own choice)."""

_SHELL = ("wall", "ceiling", "slope", "bars", "slats", "paper")
_SHOWN_SHARE = 0.9
"""Share of the lit surface that is no brighter than middle grey times `_ABOVE` (own choice): lit walls read as light, patches as bright."""

_ABOVE = 2.0


def walk_pack(lit: LitSet, *, workers: int | None = None) -> bytes:
    """Return a lit set as bytes for the page's walk-round view."""
    built = lit.built
    surfaces = Surfaces(lit, FINE_TEXELS)
    columns = list(range(len(lit.emitters) * len(lit.windows.tints)))
    candela = lit.behind_tints(lit.candela)
    straight = surfaces.direct(lit, columns, workers=workers) @ candela if columns else np.zeros((surfaces.charts.size[1], WIDTH, 3))
    charts = surfaces.charts
    reflectance = np.array([built.reflectance[built.faces[face].finish] for face in built.face_of])
    glowing = lit.glowing(lit.candela)
    arrays = {
        "position": np.ascontiguousarray(built.vertices[built.triangles].reshape(-1, 3), np.float32),
        "coarse_at": _on_picture(charts.place, charts.coarse[charts.triangle], charts.size[0]),
        "fine_at": _on_picture(charts.place, charts.fine[charts.triangle], charts.size[1]),
        "colour": np.repeat(reflectance, 3, axis=0).astype(np.float32),
        "shown": np.repeat(np.zeros((len(built.face_of), 3)) if glowing is None else glowing[built.face_of], 3, axis=0).astype(np.float32),
        "outward": np.repeat(_outward(built), 3, axis=0).astype(np.float32),
        "bounce": _with_alpha(surfaces.bounced(lit, lit.bounced_by(lit.candela)[0])),
        "direct": _with_alpha(straight),
    }
    header = {
        "schema": 1,
        "bounds": built.bounds.tolist(),
        "width": WIDTH,
        "rows": list(charts.size),
        "exposure": _exposure(lit),
        "tone": {"knee": KNEE, "white_excess": (MIDDLE_GREY * 2**WHITE_STOPS - KNEE) / (1 - KNEE)},
    }
    return packed(header, arrays)


def _on_picture(place: np.ndarray, where: np.ndarray, rows: int) -> np.ndarray:
    """Return (3 m, 2) float32: where on a picture the corners of the triangles lie, 0 to 1, no nearer than half a texel to the edge of their chart."""
    at = np.clip(place * where[:, None, 2:], 0.5, where[:, None, 2:] - 0.5) + where[:, None, :2]
    return (at / [WIDTH, rows]).reshape(-1, 2).astype(np.float32)


def _with_alpha(light: np.ndarray) -> np.ndarray:
    """Return (rows, columns, 4) float16: three channels are no texture in every library."""
    out = np.ones((*light.shape[:2], 4), np.float16)
    out[..., :3] = np.minimum(light, np.finfo(np.float16).max)
    return out


def _outward(built: BuiltSet) -> np.ndarray:
    """Return (m, 3): the direction from which a triangle's wall hides the room behind it, zero for what hides nothing."""
    corners = built.vertices[built.triangles]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    side = np.array([face.side for face in built.faces])[built.face_of]
    out = np.zeros((len(built.triangles), 3))
    plates = {}
    for part in built.parts:
        if part.kind not in _SHELL:
            continue
        rows = slice(part.first, part.last)
        outside = side[rows] == "outside"
        normal = cross[rows][outside].sum(axis=0)
        if not np.linalg.norm(normal):
            # Bars and papers go with the wall that they are in, whose name theirs begins with.
            normal = plates.get(part.name.split(":")[0], np.zeros(3))
        else:
            normal = normal / np.linalg.norm(normal)
            plates[part.name] = normal
        out[rows] = normal
    return out


def _exposure(lit: LitSet) -> float:
    """Return what luminance is multiplied by to be shown, so that most of what is lit keeps below the highlights."""
    texel = lit.bounced_by(lit.candela)[0] @ LUMINANCE_WEIGHTS
    luminance = texel * (lit.texels.reflectance @ LUMINANCE_WEIGHTS) / np.pi
    lit_up = luminance[luminance > 0]
    return float(_ABOVE * MIDDLE_GREY / np.quantile(lit_up, _SHOWN_SHARE)) if len(lit_up) else 1.0
