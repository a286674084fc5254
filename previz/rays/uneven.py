"""
Uneven haze for rays: what the swirls of one moment make of light on its ways.

Takes a grid of density (`previz.haze.drift`); gives factors on light that was computed in even haze of the same mean. For each piece of
the grid the excess of haze on the straight way to each lamp, and to the lens, is added up once, over the swirls alone:

    excess = integral of (density - 1) along the way [mm]

so a sample in a shaft costs one look-up: density times exp(-extinction (excess to the lamp + excess to the lens)), kept as one
number for each piece and lamp. What it takes to be simple: a lamp's light comes from its middle, and light that bounces or scatters
again goes through the mean.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from previz.haze.drift import Density
from previz.light.units import per_mm
from previz.rays.compiled import compiled

_STRIDE = 0.75
"""Length of a step along a way, in pieces of the grid (own choice)."""

_ENDLESS_MM = 1e9


@dataclass(frozen=True, eq=False)
class Uneven:
    """
    Uneven haze at one moment, with lamps where they are.

    density  over the mean
    excess   (lamps, columns, rows, layers) float32: of haze on the way to the middle of each lamp [mm]
    """

    density: Density
    excess: np.ndarray

    def seen_from(self, place, extinction_per_m: float) -> "Swirled":
        """Return what the swirls make of light that haze scatters towards `place` (3,), in air of that mean extinction. [mm], [1/m]"""
        lens = excess_towards(self.density, place)
        factor = self.density.values * np.exp(-per_mm(extinction_per_m) * (self.excess + lens))
        return Swirled(factor.astype(np.float32), lens[None], self.density.low, self.density.step)

    def along(self, place, directions: np.ndarray, far: np.ndarray) -> np.ndarray:
        """Return (n,) the excess of haze on rays from `place` (3,) along unit vectors (n, 3), as far as `far` (n,). [mm]"""
        out = np.empty(len(far))
        far = np.minimum(np.asarray(far, np.float64), _ENDLESS_MM)
        _along(self.density.values[None], self.density.low, self.density.step, np.asarray(place, np.float64), np.asarray(directions, np.float64), far, out)
        return out

    def dim(self, light: np.ndarray, points: np.ndarray, extinction_per_m: float) -> None:
        """Dim `light` (n, tints * lamps), which came to `points` (n, 3) straight from lamps through even haze, by the swirls on its way. [mm], [1/m]"""
        dim_uneven(self.excess, self.density.low, self.density.step, per_mm(extinction_per_m), points, light)


@dataclass(frozen=True, eq=False)
class Swirled:
    """
    Light scattered once towards one place, over that of even haze.

    factor     (lamps, columns, rows, layers) float32: density, times what the excess on both ways leaves [1]
    lens       (1, columns, rows, layers) float32: the excess of haze on the way to that place [mm]
    low, step  of the grid, see `Density` [mm]
    """

    factor: np.ndarray
    lens: np.ndarray
    low: np.ndarray
    step: np.ndarray


def uneven(density: Density, centres: np.ndarray) -> Uneven:
    """Return `density` with the ways to lamps whose middles are `centres` (lamps, 3). [mm]"""
    ways = [excess_towards(density, centre) for centre in centres]
    return Uneven(density, np.array(ways, np.float32).reshape(-1, *density.values.shape))


def excess_towards(density: Density, place) -> np.ndarray:
    """Return (columns, rows, layers) float32: the excess of haze on the way from each piece of the grid to `place` (3,). [mm]"""
    out = np.empty(density.values.shape, np.float32)
    _excess(density.values[None], density.low, density.step, np.asarray(place, np.float64), out)
    return out


@compiled
def _face(values, n, i, j, k, y, z):
    lower = values[n, i, j, k] * (1.0 - z) + values[n, i, j, k + 1] * z
    return lower * (1.0 - y) + (values[n, i, j + 1, k] * (1.0 - z) + values[n, i, j + 1, k + 1] * z) * y


@compiled
def read(values, which, x, y, z):
    """
    Return one of the grids `values` (grids, columns, rows, layers) at a point: straight lines between the middles of its pieces.

    The point is in pieces from the lowest corner. It takes the number of a grid, not the grid, which would be a view.
    """
    columns, rows, layers = values.shape[1], values.shape[2], values.shape[3]
    x = min(max(x - 0.5, 0.0), columns - 1.0)
    y = min(max(y - 0.5, 0.0), rows - 1.0)
    z = min(max(z - 0.5, 0.0), layers - 1.0)
    i, j, k = min(int(x), columns - 2), min(int(y), rows - 2), min(int(z), layers - 2)
    x, y, z = x - i, y - j, z - k
    return _face(values, which, i, j, k, y, z) * (1.0 - x) + _face(values, which, i + 1, j, k, y, z) * x


@compiled
def excess_along(values, low, step, ox, oy, oz, dx, dy, dz, far):
    """Return the excess of haze, of densities `values` (1, columns, rows, layers), along o + t d, 0 <= t <= far, in the grid's box; d is a unit vector. [mm]"""
    t0, t1 = 0.0, far
    for axis in range(3):
        o = ox if axis == 0 else (oy if axis == 1 else oz)
        d = dx if axis == 0 else (dy if axis == 1 else dz)
        near, back = low[axis] - o, low[axis] + values.shape[axis + 1] * step[axis] - o
        if abs(d) < 1e-12:
            if near > 0.0 or back < 0.0:
                return 0.0
            continue
        near, back = near / d, back / d
        t0, t1 = max(t0, min(near, back)), min(t1, max(near, back))
    if not t1 > t0:
        return 0.0
    count = int(math.ceil((t1 - t0) / (_STRIDE * min(step[0], min(step[1], step[2])))))
    each = (t1 - t0) / count
    x, y, z = (ox - low[0]) / step[0], (oy - low[1]) / step[1], (oz - low[2]) / step[2]
    dx, dy, dz = dx / step[0], dy / step[1], dz / step[2]
    total = 0.0
    for k in range(count):
        t = t0 + (k + 0.5) * each
        total += read(values, 0, x + t * dx, y + t * dy, z + t * dz) - 1.0
    return total * each


@compiled
def _along(values, low, step, place, directions, far, out):
    for r in range(len(far)):
        dx, dy, dz = directions[r, 0], directions[r, 1], directions[r, 2]
        out[r] = excess_along(values, low, step, place[0], place[1], place[2], dx, dy, dz, far[r])


@compiled
def _excess(values, low, step, place, out):
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            for k in range(out.shape[2]):
                x, y, z = low[0] + (i + 0.5) * step[0], low[1] + (j + 0.5) * step[1], low[2] + (k + 0.5) * step[2]
                wx, wy, wz = place[0] - x, place[1] - y, place[2] - z
                far = math.sqrt(wx * wx + wy * wy + wz * wz)
                if far < 1e-9:
                    out[i, j, k] = 0.0
                    continue
                out[i, j, k] = excess_along(values, low, step, x, y, z, wx / far, wy / far, wz / far, far)


@compiled
def weigh_uneven(factor, low, step, start, column, count, share):
    """Multiply the first `count` samples at `start` (k, 3) by `factor` (lamps, columns, rows, layers) of the lamp of their `column`."""
    for k in range(count):
        if share[k] != 0.0:
            x, y, z = (start[k, 0] - low[0]) / step[0], (start[k, 1] - low[1]) / step[1], (start[k, 2] - low[2]) / step[2]
            share[k] *= read(factor, column[k] % len(factor), x, y, z)


@compiled
def dim_uneven(excess, low, step, extinction, points, light):
    """Multiply `light` (n, tints * lamps) that comes straight from lamps to `points` (n, 3) by what more or less haze on the way leaves of it."""
    for k in range(len(points)):
        x, y, z = (points[k, 0] - low[0]) / step[0], (points[k, 1] - low[1]) / step[1], (points[k, 2] - low[2]) / step[2]
        for lamp in range(len(excess)):
            passed = math.exp(-extinction * read(excess, lamp, x, y, z))
            for column in range(lamp, light.shape[1], len(excess)):
                light[k, column] *= passed
