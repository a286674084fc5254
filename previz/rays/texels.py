"""
Texels: the patches of surface that bounce light is kept on, and how a hit finds them.

Two ways to divide a surface, one look-up.
Faces with an unfolding (everything that previz builds) carry a regular grid over it: neighbours are known, and light
is read bilinearly inside a face and never across an edge. Faces of imported meshes have none, so they are divided by
a grid in space, with up to six texels in a cube, one for each axis that its surface faces; light is read trilinearly
from the cubes around, weighted by how far the surface faces each axis (the squares of the normal, as in the ambient
cube of G. McTaggart, "Half-Life 2 / Valve Source shading", GDC 2004; from memory).

Geometry alone decides all of this: no lamp, no haze.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from previz.build.built import BuiltSet
from previz.rays.compiled import compiled
from previz.rays.tracer import Tracer

PATTERNS = 16
_OUTSIDE_COARSER = 4.0


class Lookup(NamedTuple):
    """
    How a hit finds its texels.

    chart      (m,) int32: the grid of each triangle, -1 for imported meshes
    uv         (m, 3, 2) float32: unfolding of the triangle's corners [mm]
    low, step  (c, 2): lowest corner and cell size of each grid [mm]
    size       (c, 2) int32: columns, rows
    first      (c,) int32: index of the grid's first texel; then row by row
    cube_low   (3,), cube_step float: the grid in space [mm]
    cube       (x, y, z, 6) int32: texel facing +x, -x, +y, -y, +z, -z in each cube, -1 where there is none
    """

    chart: np.ndarray
    uv: np.ndarray
    low: np.ndarray
    step: np.ndarray
    size: np.ndarray
    first: np.ndarray
    cube_low: np.ndarray
    cube_step: float
    cube: np.ndarray


@dataclass(frozen=True)
class Texels:
    """
    Patches of surface.

    position, normal  (n, 3), on the surface, outward unit normal [mm], [1]
    across, upward    (n, 3): the sides of a flat texel, zero where the surface is curved [mm]
    covered           (n,) bool: the centre lies on the face, not in a hole of it or beyond its edge
    pattern           (n,) int32, 0 to 15: neighbours differ, so that together they look in sixteen times as many directions
    side              (n,): how far across a texel is [mm]
    reflectance       (n, 3) linear RGB
    lookup            how a hit finds them
    """

    position: np.ndarray
    normal: np.ndarray
    across: np.ndarray
    upward: np.ndarray
    covered: np.ndarray
    pattern: np.ndarray
    side: np.ndarray
    reflectance: np.ndarray
    lookup: Lookup


def divide(built: BuiltSet, target: int) -> Texels:
    """Return the surfaces of `built` in about `target` texels of even size, the outside of walls four times as coarse."""
    corners = built.vertices[built.triangles]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(cross, axis=1) / 2
    outside = np.array([face.side == "outside" for face in built.faces])[built.face_of]
    weighted = np.where(outside, area / _OUTSIDE_COARSER**2, area)
    side = float(np.sqrt(max(weighted.sum(), 1e-6) / target))
    normal = cross / np.maximum(2 * area, 1e-12)[:, None]
    charted = np.array([face.chart for face in built.faces])[built.face_of]
    grids = _grids(built, charted, side)
    for _ in range(3):
        # Faces narrower than a texel get one all the same; wider texels elsewhere make up for them.
        side *= float(np.sqrt(max(1.0, grids["counts"].sum() / target)))
        grids = _grids(built, charted, side)
    on_grid = _grid_texels(built, grids, corners, normal)
    in_space, cube_low, cube = _cube_texels(built, corners, normal, area, ~charted, side, len(on_grid[0]))
    lookup = Lookup(
        grids["chart_of_face"][built.face_of], built.uv.astype(np.float32), grids["low"], grids["step"], grids["size"],
        grids["first"], cube_low, side, cube,
    )  # fmt: skip
    joined = [np.concatenate(pair) for pair in zip(on_grid, in_space)]
    face = joined.pop()
    by_face = np.array([built.reflectance[f.finish] for f in built.faces]).reshape(-1, 3)
    return Texels(*joined, by_face[face], lookup)


def _grids(built: BuiltSet, charted: np.ndarray, side: float) -> dict:
    """Return the grid of each face that has an unfolding."""
    faces = np.unique(built.face_of[charted])
    chart_of_face = np.full(len(built.faces), -1, np.int32)
    chart_of_face[faces] = np.arange(len(faces))
    low, high = np.full((len(faces), 2), np.inf), np.full((len(faces), 2), -np.inf)
    chart = chart_of_face[built.face_of[charted]]
    np.minimum.at(low, chart, built.uv[charted].min(axis=1))
    np.maximum.at(high, chart, built.uv[charted].max(axis=1))
    sides = side * np.array([_OUTSIDE_COARSER if built.faces[f].side == "outside" else 1.0 for f in faces])
    size = np.maximum(1, np.ceil((high - low) / sides[:, None] - 1e-9)).astype(np.int32).reshape(-1, 2)
    counts = size[:, 0].astype(np.int64) * size[:, 1]
    first = np.concatenate([[0], np.cumsum(counts)])[:-1].astype(np.int32)
    step = np.maximum((high - low) / size, 1e-9)
    return {"faces": faces, "chart_of_face": chart_of_face, "low": low, "size": size, "first": first, "step": step, "counts": counts}


def _grid_texels(built: BuiltSet, grids: dict, corners: np.ndarray, normal: np.ndarray) -> tuple:
    """Return the texels of all grids: each centre is found on its face by a ray into the unfolded set, one sheet a grid."""
    chart = np.repeat(np.arange(len(grids["faces"])), grids["counts"])
    number = np.arange(len(chart)) - grids["first"][chart]
    columns = grids["size"][chart, 0] if len(chart) else np.zeros(0, int)
    column, row = number % np.maximum(columns, 1), number // np.maximum(columns, 1)
    centre = grids["low"][chart] + (np.column_stack([column, row]) + 0.5) * grids["step"][chart]
    face = grids["faces"][chart].astype(np.int64) if len(chart) else np.zeros(0, np.int64)
    chart_of = grids["chart_of_face"][built.face_of]
    on_sheet = np.flatnonzero(chart_of >= 0)
    sheet = np.concatenate([built.uv[on_sheet], np.repeat(chart_of[on_sheet], 3).reshape(-1, 3, 1)], axis=2)
    unfolded = Tracer(sheet.reshape(-1, 3), np.arange(3 * len(on_sheet)).reshape(-1, 3))
    hits = unfolded.hit(np.column_stack([centre, chart + 0.5]), np.tile([0.0, 0.0, -1.0], (len(chart), 1)))
    covered = (hits.triangle >= 0) & (np.abs(hits.distance - 0.5) < 0.25)
    # A centre beside its face stands in the plane of the face's first triangle; it is filled from its neighbours later.
    start = np.full(len(grids["faces"]), len(chart_of))
    np.minimum.at(start, chart_of[on_sheet], on_sheet)
    triangle = np.where(covered, on_sheet[np.maximum(hits.triangle, 0)] if len(on_sheet) else 0, start[chart])
    flat = np.array([f.flat for f in built.faces])[face] if len(face) else np.zeros(0, bool)
    across, upward, position = _unfolded_frame(built.uv[triangle], corners[triangle], centre)
    normals = normal[triangle]
    across, upward = across * grids["step"][chart, :1], upward * grids["step"][chart, 1:]
    keep = (flat & np.isfinite(across).all(axis=1) & np.isfinite(upward).all(axis=1))[:, None]
    pattern = (column % 4 + 4 * (row % 4)).astype(np.int32)
    diagonal = np.linalg.norm(grids["step"], axis=1)[chart]
    return position, normals, np.where(keep, across, 0.0), np.where(keep, upward, 0.0), covered, pattern, diagonal, face


def _unfolded_frame(uv: np.ndarray, corners: np.ndarray, at: np.ndarray) -> tuple:
    """Return, for triangles unfolded to `uv` (n, 3, 2), the (n, 3) change of position for one mm of u and of v, and the position at `at`."""
    a, b = uv[:, 1] - uv[:, 0], uv[:, 2] - uv[:, 0]
    p, q = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    det = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    det = np.where(np.abs(det) < 1e-12, np.nan, det)[:, None]
    per_u = (p * b[:, 1:] - q * a[:, 1:]) / det
    per_v = (q * a[:, :1] - p * b[:, :1]) / det
    off = at - uv[:, 0]
    position = corners[:, 0] + off[:, :1] * per_u + off[:, 1:] * per_v
    centre = corners.mean(axis=1)
    return per_u, per_v, np.where(np.isfinite(position), position, centre)


def _cube_texels(built, corners, normal, area, chosen, side, offset) -> tuple:
    """Return the texels of the triangles `chosen`, by cubes of `side`, and the cubes; their numbers start at `offset`."""
    chosen = np.flatnonzero(chosen & (area > 1e-9))
    if not len(chosen):
        empty = [np.zeros((0, 3))] * 4 + [np.zeros(0, bool), np.zeros(0, np.int32), np.zeros(0), np.zeros(0, np.int64)]
        return tuple(empty), np.zeros(3), np.full((1, 1, 1, 6), -1, np.int32)
    # Points spread over each triangle find all cubes that it passes through, large triangles included.
    count = np.maximum(1, np.ceil(area[chosen] / side**2 * 6)).astype(np.int64)
    triangle = np.repeat(chosen, count)
    number = np.arange(len(triangle)) - np.repeat(np.cumsum(count) - count, count)
    r = np.sqrt((number + 0.5) / np.repeat(count, count))
    w = (number * 0.6180339887498949) % 1.0
    c = corners[triangle]
    points = c[:, 0] + r[:, None] * ((1 - w)[:, None] * (c[:, 1] - c[:, 0]) + w[:, None] * (c[:, 2] - c[:, 0]))
    low = points.min(axis=0) - side
    cubes = np.floor((points - low) / side).astype(np.int64)
    shape = cubes.max(axis=0) + 2
    facing = np.argmax(np.abs(normal[triangle]), axis=1)
    facing = 2 * facing + (np.take_along_axis(normal[triangle], facing[:, None], axis=1)[:, 0] < 0)
    key = np.ravel_multi_index((*cubes.T, facing), (*shape, 6))
    keys, chosen_point, group = np.unique(key, return_index=True, return_inverse=True)
    mean = np.zeros((len(keys), 3))
    np.add.at(mean, group, normal[triangle])
    cube = np.full((*shape, 6), -1, np.int32)
    cube.ravel()[keys] = offset + np.arange(len(keys))
    mean /= np.maximum(np.linalg.norm(mean, axis=1), 1e-9)[:, None]
    flat = np.zeros((len(keys), 3))
    pattern = (cubes[chosen_point].sum(axis=1) * 7 + cubes[chosen_point, 0] * 3) % PATTERNS
    return (
        (points[chosen_point], mean, flat, flat, np.ones(len(keys), bool), pattern.astype(np.int32), np.full(len(keys), 2 * side), built.face_of[triangle[chosen_point]].astype(np.int64)),
        low,
        cube,
    )


@compiled
def nearest_texel(lookup, triangle, u, v, x, y, z, nx, ny, nz):
    """Return the texel of a hit, -1 where the surface has none."""
    chart = lookup.chart[triangle]
    if chart >= 0:
        a, b = _on_grid(lookup, chart, triangle, u, v)
        column = min(max(int(a), 0), lookup.size[chart, 0] - 1)
        row = min(max(int(b), 0), lookup.size[chart, 1] - 1)
        return lookup.first[chart] + row * lookup.size[chart, 0] + column
    i = _between((x - lookup.cube_low[0]) / lookup.cube_step, lookup.cube.shape[0])
    j = _between((y - lookup.cube_low[1]) / lookup.cube_step, lookup.cube.shape[1])
    k = _between((z - lookup.cube_low[2]) / lookup.cube_step, lookup.cube.shape[2])
    if abs(nx) >= abs(ny) and abs(nx) >= abs(nz):
        return lookup.cube[i, j, k, 0 + (nx < 0.0)]
    if abs(ny) >= abs(nz):
        return lookup.cube[i, j, k, 2 + (ny < 0.0)]
    return lookup.cube[i, j, k, 4 + (nz < 0.0)]


@compiled
def _on_grid(lookup, chart, triangle, u, v):
    """Return where on the grid `chart` a hit lies, in cells from its lowest corner."""
    uv = lookup.uv
    w = 1.0 - u - v
    a = w * uv[triangle, 0, 0] + u * uv[triangle, 1, 0] + v * uv[triangle, 2, 0] - lookup.low[chart, 0]
    b = w * uv[triangle, 0, 1] + u * uv[triangle, 1, 1] + v * uv[triangle, 2, 1] - lookup.low[chart, 1]
    a, b = a / lookup.step[chart, 0], b / lookup.step[chart, 1]
    return a, b


@compiled
def _between(place, count):
    return min(max(int(np.floor(place)), 0), count - 1)


@compiled
def _add_from_grid(lookup, chart, a, b, values, out):
    """Add the bilinear blend around (a, b), in cells, to `out` (c,)."""
    columns, rows = lookup.size[chart, 0], lookup.size[chart, 1]
    a = min(max(a - 0.5, 0.0), columns - 1.0)
    b = min(max(b - 0.5, 0.0), rows - 1.0)
    column, row = min(int(a), max(columns - 2, 0)), min(int(b), max(rows - 2, 0))
    fa, fb = a - column, b - row
    right, above = (1 if columns > 1 else 0), (columns if rows > 1 else 0)
    at = lookup.first[chart] + row * columns + column
    for c in range(values.shape[1]):
        low = values[at, c] * (1.0 - fa) + values[at + right, c] * fa
        high = values[at + above, c] * (1.0 - fa) + values[at + above + right, c] * fa
        out[c] += low * (1.0 - fb) + high * fb


@compiled
def _add_from_cubes(lookup, x, y, z, normal, values, blend, out):
    """Add the blend of the cubes around a point, each axis by how far the surface faces it, to `out` (c,); return its weight."""
    shape = lookup.cube.shape
    a = (x - lookup.cube_low[0]) / lookup.cube_step - 0.5
    b = (y - lookup.cube_low[1]) / lookup.cube_step - 0.5
    d = (z - lookup.cube_low[2]) / lookup.cube_step - 0.5
    i, j, k = _between(a, shape[0]), _between(b, shape[1]), _between(d, shape[2])
    total = 0.0
    blend[:] = 0.0
    for corner in range(8):
        di, dj, dk = corner & 1, (corner >> 1) & 1, corner >> 2
        if i + di >= shape[0] or j + dj >= shape[1] or k + dk >= shape[2]:
            continue
        near = max(0.0, 1.0 - abs(a - i - di)) * max(0.0, 1.0 - abs(b - j - dj)) * max(0.0, 1.0 - abs(d - k - dk))
        for axis in range(3):
            texel = lookup.cube[i + di, j + dj, k + dk, 2 * axis + (normal[axis] < 0.0)]
            if texel >= 0:
                share = near * normal[axis] * normal[axis]
                total += share
                for c in range(values.shape[1]):
                    blend[c] += share * values[texel, c]
    if total > 1e-9:
        for c in range(values.shape[1]):
            out[c] += blend[c] / total
    return total


@compiled
def add_smoothly(lookup, values, triangle, u, v, points, normal, out):
    """
    Add the values around each hit, blended so that no texel shows.

    values (t, c), one row a texel; triangle, u, v (n,), points and unit normal (n, 3) of the hits; out (n, c).
    """
    blend = np.empty(values.shape[1])
    for i in range(len(triangle)):
        chart = lookup.chart[triangle[i]]
        if chart >= 0:
            a, b = _on_grid(lookup, chart, triangle[i], u[i], v[i])
            _add_from_grid(lookup, chart, a, b, values, out[i])
            continue
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        if _add_from_cubes(lookup, x, y, z, normal[i], values, blend, out[i]) <= 1e-9:
            texel = nearest_texel(lookup, triangle[i], u[i], v[i], x, y, z, normal[i, 0], normal[i, 1], normal[i, 2])
            if texel >= 0:
                for c in range(values.shape[1]):
                    out[i, c] += values[texel, c]
