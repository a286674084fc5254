"""
The transport matrix: which texel or haze cell each bit of surface and of air sees, and how far off. Geometry alone.

One pass of rays over the hemisphere of each texel, spread by the cosine, and over the sphere of each haze cell
(the zonal method of H. C. Hottel and A. F. Sarofim, Radiative Transfer, 1967; from memory). For each ray it keeps the texel that
it meets, the length of haze on the way, and one point of haze on the way with the cell that it lies in. Extinction
turns lengths into weights (`weights`), so a change of haze density casts no ray; lamps never enter.

Light from a texel's surroundings changes fast with direction, light from the haze does not: of a texel's rays only the
first `HAZE_RAYS` look for haze cells.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np
from scipy.ndimage import distance_transform_edt
from scipy.sparse import csr_array

from previz.rays.compiled import compiled
from previz.rays.kernels import clip_cell, haze_length, hashed
from previz.rays.packed import Cells, in_cells
from previz.rays.smoothing import reading
from previz.rays.texels import Texels, nearest_texel
from previz.rays.tracer import SKIN_MM, Tracer
from previz.rays.workers import in_order

HAZE_RAYS = 32
CELL_RAYS = 2
"""Times as many rays from a haze cell as from a texel: it looks all round, and a lens sees what it scatters almost straight on (own choice)."""
MISSED, DROPPED = -1, -2
_ROWS_A_BATCH = 512
_R1, _R2 = 0.7548776662466927, 0.5698402909980532


@dataclass(frozen=True)
class HazeGrid:
    """
    Haze cells: a regular grid of cubes over the air.

    low, step  (3,): lowest corner and side of the cubes [mm]
    shape      cubes along x, y, z
    centre     (c, 3), z running fastest [mm]
    in_air     (c,) bool: the centre lies in the air
    borrowed   (c,) the nearest cell in open air of each: itself, where it is
    """

    low: np.ndarray
    step: np.ndarray
    shape: tuple[int, int, int]
    centre: np.ndarray
    in_air: np.ndarray
    borrowed: np.ndarray


@dataclass(frozen=True)
class Ways:
    """
    What the rays of receivers meet: rows of k rays, of which the first h look for haze cells.

    texel    (rows, k) int32: texel met, MISSED where the ray leaves the set, DROPPED where it began inside a solid
    haze_mm  (rows, k) float32: length of haze up to what it meets
    cell     (rows, h) int32: haze cell of one point on the way, -1 where there is none
    near_mm  (rows, h) float32: length of haze up to that point
    way      (rows, h, 3) float32: direction
    """

    texel: np.ndarray
    haze_mm: np.ndarray
    cell: np.ndarray
    near_mm: np.ndarray
    way: np.ndarray


@dataclass(frozen=True)
class Transport:
    """
    What each receiver sees: first texels, then haze cells, which have `CELL_RAYS` as many rays and look for haze cells with all of them.

    of_texels, of_cells  what each of them sees
    valid     (rows,) bool: most of its rays began in the open
    openness  (rows,) float32: harmonic mean of the distances to what it sees [mm]
    texels    how many of the rows are texels
    grid      the haze cells
    reading   (texels, texels) sparse: blends gathered light so that it reads without grain
    rays      number of rays cast
    """

    of_texels: Ways
    of_cells: Ways
    valid: np.ndarray
    openness: np.ndarray
    texels: int
    grid: HazeGrid
    reading: csr_array
    rays: int


def haze_grid(air: Cells, bounds: np.ndarray, across: int) -> HazeGrid:
    """Return a grid over `bounds` (2, 3) of the air with about `across` cubes along its longest side. [mm]"""
    size = np.maximum(bounds[1] - bounds[0], 1e-3)
    shape = tuple(int(n) for n in np.maximum(1, np.round(size / size.max() * across)))
    step = size / shape
    index = np.stack(np.meshgrid(*(np.arange(n) for n in shape), indexing="ij"), axis=-1).reshape(-1, 3)
    centre = bounds[0] + (index + 0.5) * step
    return HazeGrid(bounds[0], step, shape, centre, in_cells(centre, air), np.arange(len(centre)))


@compiled
def _spread_rays(first, position, normal, across, upward, pattern, turn, texels, rays, skin, origin, direction):
    """Fill origins and directions of `rays` rays from each receiver of a batch that begins at row `first`."""
    for i in range(len(position)):
        nx, ny, nz = normal[i, 0], normal[i, 1], normal[i, 2]
        # A frame around the normal without a branch at the poles (Duff et al., J. Computer Graphics Techniques 6(1), 2017; from memory).
        sign = 1.0 if nz >= 0.0 else -1.0
        a = -1.0 / (sign + nz)
        b = nx * ny * a
        tx, ty, tz = 1.0 + sign * nx * nx * a, sign * b, -sign * nx
        bx, by, bz = b, sign + ny * ny * a, -ny
        on_surface = first + i < texels
        for k in range(rays):
            number = pattern[i] * rays + k
            u = 0.5 + _R1 * number + turn[i, 0]
            v = 0.5 + _R2 * number + turn[i, 1]
            u -= math.floor(u)
            v -= math.floor(v)
            angle = 2.0 * math.pi * u
            if on_surface:
                radius = math.sqrt(v)
                height = math.sqrt(max(0.0, 1.0 - v))
            else:
                height = 1.0 - 2.0 * v
                radius = math.sqrt(max(0.0, 1.0 - height * height))
            c, s = radius * math.cos(angle), radius * math.sin(angle)
            row = i * rays + k
            direction[row, 0] = c * tx + s * bx + height * nx
            direction[row, 1] = c * ty + s * by + height * ny
            direction[row, 2] = c * tz + s * bz + height * nz
            ju = hashed(number, 3 * first + 3 * i) - 0.5
            jv = hashed(number, 3 * first + 3 * i + 1) - 0.5
            for axis in range(3):
                origin[row, axis] = position[i, axis] + skin * normal[i, axis] + ju * across[i, axis] + jv * upward[i, axis]


@compiled
def _record(
    first, rays, lookup, air, low, step, shape, origin, direction, triangle, u, v, distance, normal,
    texel, haze, cell, near, valid, openness,
):  # fmt: skip
    """Turn the hits of a batch of receivers into rows of the matrix."""
    for i in range(len(texel)):
        dropped = 0
        closeness = 0.0
        for k in range(rays):
            row = i * rays + k
            ox, oy, oz = np.float64(origin[row, 0]), np.float64(origin[row, 1]), np.float64(origin[row, 2])
            dx, dy, dz = np.float64(direction[row, 0]), np.float64(direction[row, 1]), np.float64(direction[row, 2])
            far = np.float64(distance[row])
            texel[i, k] = MISSED
            if k < cell.shape[1]:
                cell[i, k] = -1
            if triangle[row] >= 0:
                nx, ny, nz = np.float64(normal[row, 0]), np.float64(normal[row, 1]), np.float64(normal[row, 2])
                if nx * dx + ny * dy + nz * dz > 0.0:
                    texel[i, k] = DROPPED
                    dropped += 1
                    continue
                scale = 1.0 / math.sqrt(nx * nx + ny * ny + nz * nz)
                texel[i, k] = nearest_texel(
                    lookup, triangle[row], u[row], v[row], ox + far * dx, oy + far * dy, oz + far * dz, nx * scale, ny * scale, nz * scale
                )
                closeness += 1.0 / max(far, 0.1)
            far = min(far, 1e9)
            length = haze_length(air, ox, oy, oz, dx, dy, dz, far)
            haze[i, k] = length
            if length <= 0.0 or k >= cell.shape[1]:
                continue
            # One point of haze on the way, evenly chosen along its length.
            wanted = length * hashed(first + i, k + 500000)
            near[i, k] = wanted
            for c in range(len(air.first) - 1):
                t0, t1 = clip_cell(air, c, ox, oy, oz, dx, dy, dz, 0.0, far)
                if t1 <= t0:
                    continue
                if wanted <= t1 - t0:
                    t = t0 + wanted
                    a = min(max(int((ox + t * dx - low[0]) / step[0]), 0), shape[0] - 1)
                    b = min(max(int((oy + t * dy - low[1]) / step[1]), 0), shape[1] - 1)
                    d = min(max(int((oz + t * dz - low[2]) / step[2]), 0), shape[2] - 1)
                    cell[i, k] = (a * shape[1] + b) * shape[2] + d
                    break
                wanted -= t1 - t0
        valid[i] = 2 * dropped <= rays
        openness[i] = rays / max(closeness, 1e-6)


def transport(tracer: Tracer, texels: Texels, air: Cells, grid: HazeGrid, rays: int, *, workers=None, progress=None) -> Transport:
    """
    Cast `rays` rays from each texel and haze cell and return what they see.

    Parameters
    ----------
    progress : callable or None
        Called with the share of the work done, 0 to 1.
    """
    n, cells = len(texels.position), len(grid.centre)
    none = np.zeros((cells, 3))
    position = np.concatenate([texels.position, grid.centre])
    normal = np.concatenate([texels.normal, np.tile([0.0, 0.0, 1.0], (cells, 1))])
    across, upward = np.concatenate([texels.across, none]), np.concatenate([texels.upward, none])
    # Neighbouring cells differ like neighbouring texels do: what is read between eight of them looks in eight times as many
    # directions. Each eight are turned by chance, or all cells of the grid would miss the same light.
    x, y, z = np.unravel_index(np.arange(cells), grid.shape)
    pattern = np.concatenate([texels.pattern, (4 * (x % 2) + 2 * (y % 2) + z % 2).astype(np.int32)])
    turn = np.concatenate([np.zeros((n, 2)), np.random.default_rng(rays).random((*(np.array(grid.shape) // 2 + 1), 2))[x // 2, y // 2, z // 2]])
    rows, over, all_round = n + cells, rays, CELL_RAYS * rays

    def batch(first: int) -> tuple:
        rays = all_round if first >= n else over
        last = min(first + _ROWS_A_BATCH, n) if first < n else min(first + _ROWS_A_BATCH, rows)
        haze_rays = min(HAZE_RAYS, rays) if first < n else rays
        count = last - first
        origin, direction = np.empty((count * rays, 3), np.float32), np.empty((count * rays, 3), np.float32)
        _spread_rays(
            first, position[first:last], normal[first:last], across[first:last], upward[first:last], pattern[first:last], turn[first:last], n,
            rays, SKIN_MM, origin, direction,
        )  # fmt: skip
        hits = tracer.hit(origin, direction)
        texel, cell = np.empty((count, rays), np.int32), np.empty((count, haze_rays), np.int32)
        haze, near = np.zeros((count, rays), np.float32), np.zeros((count, haze_rays), np.float32)
        valid, openness = np.empty(count, np.bool_), np.empty(count, np.float32)
        _record(
            first, rays, texels.lookup, air, grid.low, grid.step, np.array(grid.shape), origin, direction,
            hits.triangle, hits.u, hits.v, hits.distance, hits.normal, texel, haze, cell, near, valid, openness,
        )  # fmt: skip
        way = direction.reshape(count, rays, 3)
        return Ways(texel, haze, cell, near, way[:, :haze_rays].copy()), valid, openness

    parts = []
    for part in in_order(batch, [*range(0, n, _ROWS_A_BATCH), *range(n, rows, _ROWS_A_BATCH)], workers):
        parts.append(part)
        if progress:
            progress(min(1.0, len(parts) * _ROWS_A_BATCH / rows))
    ways, valid, openness = zip(*parts)
    split = -(-n // _ROWS_A_BATCH)
    valid, openness = np.concatenate(valid), np.concatenate(openness)
    valid &= np.concatenate([texels.covered, grid.in_air])
    grid = replace(grid, borrowed=_borrowed(grid, valid[n:]))
    blend = reading(texels, valid[:n], openness[:n])
    return Transport(_stacked(ways[:split]), _stacked(ways[split:]), valid, openness, n, grid, blend, n * over + cells * all_round)


def _stacked(ways) -> Ways:
    return Ways(*(np.concatenate([getattr(part, field.name) for part in ways]) for field in fields(Ways)))


def _borrowed(grid: HazeGrid, valid: np.ndarray) -> np.ndarray:
    """Return for each haze cell the nearest that is valid."""
    if not valid.any():
        return np.arange(valid.size)
    nearest = distance_transform_edt(~valid.reshape(grid.shape), sampling=grid.step, return_distances=False, return_indices=True)
    return np.ravel_multi_index(nearest, grid.shape).ravel()
