"""
Bounce light: what surfaces and haze throw back and forth, from the stored transport.

Takes direct light on texels and haze cells; gives the light that has bounced, on the same texels and cells. No rays:
a lamp that moves, a finish, haze that thins change only numbers that are multiplied here.

    E   illuminance of a texel, B = reflectance x E what it sends back [lux], [lm/m2]
    L   luminance that passes a haze cell, by direction of travel, as nine spherical harmonics [cd/m2]

A ray from a texel or a cell brings ``exp(-s h) B / pi`` from what it meets behind the haze length h, and
``w s h exp(-s n)`` times what the haze on the way scatters towards it (one point at haze length n, evenly chosen;
extinction s and albedo w, both scaled, see `previz.haze.scaling`). Scattering by Henyey and Greenstein multiplies the
harmonics of order l by the l-th moment of the phase function, so it costs nothing to keep its direction.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from previz.haze.scaling import ORDER, Scaled
from previz.light.units import per_mm
from previz.rays.compiled import compiled
from previz.rays.kernels import harmonics
from previz.rays.texels import Texels
from previz.rays.transport import DROPPED, Transport
from previz.rays.workers import worker_count

# The first bounce comes from small bright patches and shafts and takes every ray; later ones come from all over and take a quarter.
_LATER_SHARE = 4
HARMONICS = (ORDER + 1) ** 2
_ORDER_OF = np.array([0, 1, 1, 1, 2, 2, 2, 2, 2])
_SMALLEST_GAIN = 1e-3
_WIDEST_BLUR = 5


@dataclass(frozen=True)
class Weights:
    """
    The transport at one haze density. Rows and rays as in `Transport`.

    surface  (rows, k) float32: share of the light of the texel that a ray meets
    haze     (rows, h) float32: share of what the cell on the way scatters
    moments  (9,) float32: the phase function's moment that each harmonic is scattered with
    """

    surface: np.ndarray
    haze: np.ndarray
    moments: np.ndarray


@dataclass(frozen=True)
class Bounced:
    """
    Bounced light per unit of each source column (lamp and colour).

    texel  (n, c) float32: illuminance on texels, smoothed for reading [lux]
    cell   (cells, 9, c) float32: luminance scattered by haze cells, by direction, per unit of scattering; what haze
           scatters once, straight from the lamps, is left out [cd/m2]
    rounds number of bounces taken
    """

    texel: np.ndarray
    cell: np.ndarray
    rounds: int


def weights(transport: Transport, medium: Scaled) -> Weights:
    """Return the transport's weights in one medium."""
    extinction = np.float32(per_mm(medium.extinction_per_m))
    surface = np.exp(-extinction * transport.haze_mm)
    haze = np.float32(medium.albedo) * extinction * transport.haze_mm[:, : transport.cell.shape[1]] * np.exp(-extinction * transport.near_mm)
    return Weights(surface.astype(np.float32), haze.astype(np.float32), medium.moments[_ORDER_OF].astype(np.float32))


@compiled
def _from_haze(glow, cell, wx, wy, wz, weight, basis, total):
    """Add to `total` (c,) the luminance that `cell` scatters against the ray (wx, wy, wz)."""
    harmonics(-wx, -wy, -wz, basis)
    for h in range(len(basis)):
        share = weight * basis[h]
        for c in range(len(total)):
            total[c] += share * glow[cell, h, c]


@compiled
def _to_texels(first, last, texel, cell, surface, haze, way, rays, haze_rays, sent, glow, arriving):
    """One bounce to texels first .. last: `sent` (n, c) lm/m2 and `glow` (cells, 9, c) cd/m2 in, illuminance out."""
    columns = sent.shape[1]
    total, veil, basis = np.empty(columns), np.empty(columns), np.empty(9)
    for i in range(first, last):
        total[:] = 0.0
        veil[:] = 0.0
        count = 0
        hazy = 0
        for k in range(rays):
            met = texel[i, k]
            if met == DROPPED:
                continue
            count += 1
            if met >= 0:
                share = surface[i, k]
                for c in range(columns):
                    total[c] += share * sent[met, c]
            if k < haze_rays:
                hazy += 1
                if cell[i, k] >= 0:
                    _from_haze(glow, cell[i, k], way[i, k, 0], way[i, k, 1], way[i, k, 2], haze[i, k], basis, veil)
        for c in range(columns):
            arriving[i, c] = total[c] / max(count, 1) + math.pi * veil[c] / max(hazy, 1)


@compiled
def _to_cells(first, last, texels, texel, cell, surface, haze, way, sent, glow, passing):
    """One bounce to haze cells first .. last: the luminance that passes each, as harmonics of its direction of travel."""
    columns = sent.shape[1]
    rays, haze_rays = texel.shape[1], cell.shape[1]
    total, basis = np.empty(columns), np.empty(9)
    for i in range(first, last):
        row = texels + i
        passing[i] = 0.0
        for k in range(rays):
            met = texel[row, k]
            total[:] = 0.0
            if met >= 0:
                share = surface[row, k] / math.pi
                for c in range(columns):
                    total[c] += share * sent[met, c]
            wx, wy, wz = way[i, k, 0], way[i, k, 1], way[i, k, 2]
            if k < haze_rays and cell[row, k] >= 0:
                _from_haze(glow, cell[row, k], wx, wy, wz, np.float32(haze[row, k] * rays / haze_rays), basis, total)
            harmonics(-wx, -wy, -wz, basis)
            for h in range(9):
                share = basis[h] * 4.0 * math.pi / rays
                for c in range(columns):
                    passing[i, h, c] += share * total[c]


def bounced(
    texels: Texels, transport: Transport, weight: Weights, direct: np.ndarray, passing: np.ndarray, *, rounds: int, workers=None
) -> Bounced:
    """
    Return the light after one bounce and more.

    Parameters
    ----------
    direct : (n, c) float array
        Illuminance straight from the sources on each texel; c columns, three (linear RGB) for each lamp. [lux]
    passing : (cells, 9, c) float array
        Luminance of the same light through each haze cell, as harmonics of its direction of travel. [cd/m2]
    rounds : int
        The most bounces taken; fewer where the next would add less than a thousandth.
    """
    n, columns = direct.shape
    cells = len(passing)
    reflectance = np.tile(texels.reflectance, (1, columns // 3)).astype(np.float32)
    reflectance[~transport.valid[:n]] = 0
    # The haze that a ray crosses next to a wall may lie in a cube whose centre is in the wall: it borrows its neighbours' light.
    borrow = _borrowed(transport.grid, transport.valid[n:])
    moments = weight.moments[:, None]
    sent = (reflectance * direct).astype(np.float32)
    glow = moments * passing.astype(np.float32)[borrow]
    total, total_glow = np.zeros((n, columns), np.float32), np.zeros(passing.shape, np.float32)
    start = float(sent.sum()) + 1e-30
    done = 0
    k, hazy = transport.texel.shape[1], transport.cell.shape[1]
    with ThreadPoolExecutor(worker_count(workers)) as pool:
        for done in range(1, rounds + 1):
            share = 1 if done == 1 else _LATER_SHARE
            arriving, through = np.empty_like(total), np.empty_like(total_glow)
            jobs = [
                pool.submit(
                    _to_texels, a, b, transport.texel, transport.cell, weight.surface, weight.haze, transport.way,
                    max(1, k // share), max(1, hazy // share), sent, glow, arriving,
                )
                for a, b in _bands(n)
            ] + [
                pool.submit(
                    _to_cells, a, b, n, transport.texel, transport.cell, weight.surface, weight.haze, transport.cell_way, sent, glow, through
                )
                for a, b in _bands(cells)
            ]  # fmt: skip
            for job in jobs:
                job.result()
            sent, glow = reflectance * arriving, moments * through[borrow]
            total += arriving
            total_glow += glow
            if float(sent.sum()) < _SMALLEST_GAIN * start:
                break
    return Bounced(_smoothed(texels, transport, total), total_glow, done)


def _bands(rows: int) -> list[tuple[int, int]]:
    """Return eight ranges that cover `rows`."""
    edges = np.linspace(0, rows, 9).astype(int)
    return list(zip(edges[:-1], edges[1:]))


def _borrowed(grid, valid: np.ndarray) -> np.ndarray:
    """Return for each haze cell the nearest cell in open air (itself, where it is)."""
    from scipy.ndimage import distance_transform_edt

    open_air = valid.reshape(grid.shape)
    if not open_air.any():
        return np.arange(valid.size)
    nearest = distance_transform_edt(~open_air, sampling=grid.step, return_distances=False, return_indices=True)
    return np.ravel_multi_index(nearest, grid.shape).ravel()


def _smoothed(texels: Texels, transport: Transport, values: np.ndarray) -> np.ndarray:
    lookup = texels.lookup
    n = len(values)
    out = values.copy()
    _smooth(
        lookup.first, lookup.size, lookup.step.astype(np.float64), transport.valid[:n], transport.openness[:n].astype(np.float64), values, out
    )
    if lookup.cube.size > 6:
        _smooth_cubes(lookup.cube, lookup.cube_step, transport.valid[:n], transport.openness[:n].astype(np.float64), values, out)
    return out


@compiled
def _smooth(first, size, step, valid, openness, values, out):
    """
    Blur each grid, each texel as wide as the room around it allows, and fill texels that see nothing from their neighbours.

    Bounced light changes over lengths in proportion to the harmonic mean distance of what is seen (G. Ward, F. Rubinstein
    and R. Clear, "A ray tracing solution for diffuse interreflection", SIGGRAPH 1988; from memory), so a tenth of that
    takes away grain without moving light.
    """
    columns = values.shape[1]
    total = np.empty(columns)
    for chart in range(len(first)):
        wide, high = size[chart, 0], size[chart, 1]
        du, dv = step[chart, 0], step[chart, 1]
        for row in range(high):
            for column in range(wide):
                here = first[chart] + row * wide + column
                reach = 0.1 * openness[here] if valid[here] else 0.0
                across = int(min(max(2.0 * reach / du, 1.0), _WIDEST_BLUR))
                upward = int(min(max(2.0 * reach / dv, 1.0), _WIDEST_BLUR))
                while True:
                    total[:] = 0.0
                    weight = 0.0
                    width = max(reach, 0.7 * min(du, dv)) if valid[here] else max(across * du, upward * dv) * 0.5
                    for j in range(max(0, row - upward), min(high, row + upward + 1)):
                        for i in range(max(0, column - across), min(wide, column + across + 1)):
                            at = first[chart] + j * wide + i
                            if not valid[at]:
                                continue
                            x, y = (i - column) * du, (j - row) * dv
                            share = math.exp(-0.5 * (x * x + y * y) / (width * width))
                            weight += share
                            for c in range(columns):
                                total[c] += share * values[at, c]
                    if weight > 0.0 or (across >= wide and upward >= high):
                        break
                    across, upward = 2 * across, 2 * upward
                for c in range(columns):
                    out[here, c] = total[c] / weight if weight > 0.0 else 0.0


@compiled
def _smooth_cubes(cube, step, valid, openness, values, out):
    """The same for texels of imported meshes, over neighbouring cubes that face the same way."""
    columns = values.shape[1]
    total = np.empty(columns)
    for i in range(cube.shape[0]):
        for j in range(cube.shape[1]):
            for k in range(cube.shape[2]):
                for facing in range(6):
                    here = cube[i, j, k, facing]
                    if here < 0:
                        continue
                    reach = int(min(max(0.2 * openness[here] / step, 1.0), 3.0)) if valid[here] else 3
                    width = max(0.5 * reach, 0.7)
                    total[:] = 0.0
                    weight = 0.0
                    for a in range(max(0, i - reach), min(cube.shape[0], i + reach + 1)):
                        for b in range(max(0, j - reach), min(cube.shape[1], j + reach + 1)):
                            for c in range(max(0, k - reach), min(cube.shape[2], k + reach + 1)):
                                at = cube[a, b, c, facing]
                                if at < 0 or not valid[at]:
                                    continue
                                square = (a - i) ** 2 + (b - j) ** 2 + (c - k) ** 2
                                share = math.exp(-0.5 * square / (width * width))
                                weight += share
                                for column in range(columns):
                                    total[column] += share * values[at, column]
                    for column in range(columns):
                        out[here, column] = total[column] / weight if weight > 0.0 else 0.0
