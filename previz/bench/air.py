"""
The light in the air as grids that a graphics card reads: what lamps throw through it, and what it sends to the lens.

Takes a lit set; gives the shafts of each source of light, how much haze lies between the air and each lamp, the bounced light
that the haze cells send towards places of the lens, and swirls. Density, colour and level are factors on all of it, so the card mixes
them anew in every frame.

A shaft is the same all along its light but for what stands in the way, and its edges across are sharp. So the grid of a lamp outside
is laid as seen from its middle: fine across, coarse along. The grid of a lamp in the room is upright.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import distance_transform_edt

from previz.frames.lens_rays import GROUPS
from previz.rays.bounce import scattered_towards
from previz.rays.compiled import compiled
from previz.rays.kernels import haze_length, lamp_points
from previz.rays.lit import LitSet
from previz.rays.packed import in_cells
from previz.rays.uneven import Uneven
from previz.rays.workers import in_order

CELLS = 6_000_000
"""Points at which shafts are worked out, of all sources together (own choice)."""

ALONG, UPRIGHT = 28, 64
"""Layers of the grid of a lamp outside, along its light, and of one inside, from the floor up (own choice)."""

_MOST_ACROSS, _LEAST_ACROSS = 448, 96
_PROBES = 40
_LAMP_SAMPLES = 16
_BATCH = 8192
_NEAR_MM = 20.0


@dataclass(frozen=True)
class Shaft:
    """
    The grid of one source in the light of all.

    seen      True where it is laid as seen from the lamp: a point p has coordinates (x . right / w, x . up / w, w), x = p - centre, w = x . ahead
    centre    (3,) of the lamp, or the set's origin [mm]
    axes      (3, 3): right, up, ahead
    low, size (3,) of the grid in these coordinates [1, 1, mm], upright [mm]
    first, layers  which of the layers of `light` it takes
    scale     what a full byte means: illuminance per candela times the square of the distance to the lamp [1]
    """

    seen: bool
    centre: np.ndarray
    axes: np.ndarray
    low: np.ndarray
    size: np.ndarray
    first: int
    layers: int
    scale: float


def shafts_in_air(lit: LitSet, sources: list[int], *, cells: int = CELLS, workers: int | None = None) -> tuple[list[Shaft], np.ndarray]:
    """
    Return the light that `sources`, columns of `lit.direct`, throw through the haze in clear air: their grids, and (layers, n, n) uint8.

    A byte is illuminance from all sides times the square of the distance to the lamp's middle, in units of the grid's `scale`.
    """
    lamps = [column % len(lit.emitters) for column in sources]
    inside = [bool(lit.lamps.inside[lamp]) for lamp in lamps]
    layers = [UPRIGHT if indoors else ALONG for indoors in inside]
    across = int(np.clip(np.sqrt(cells / max(1, sum(layers))), _LEAST_ACROSS, _MOST_ACROSS)) if sources else 1
    shafts, light = [], np.zeros((max(1, sum(layers)), across, across), np.uint8)
    probes, lit_by = _probed(lit, sources, workers)
    reach = 1.5 * float(np.max(lit.transport.grid.step * lit.transport.grid.shape / _PROBES))
    for number, (column, lamp) in enumerate(zip(sources, lamps)):
        first = sum(layers[:number])
        met = probes[lit_by[:, number]]
        shaft = _grid_of(lit.lamps.centre[lamp], met, reach, inside[number], first, layers[number])
        values, inside_air = _worked_out(lit, column, shaft, across, workers)
        values = _into_walls(values, inside_air, (layers[number], across, across))
        scale = float(values.max()) or 1.0
        light[first : first + layers[number]] = np.rint(255 * values / scale).reshape(layers[number], across, across)
        shafts.append(Shaft(shaft.seen, shaft.centre, shaft.axes, shaft.low, shaft.size, first, layers[number], scale))
    return shafts, light


def _probed(lit: LitSet, sources: list[int], workers) -> tuple[np.ndarray, np.ndarray]:
    """Return points spread through the air (n, 3), and (n, sources) bool: which are lit by each."""
    grid = lit.transport.grid
    places = [low + (np.arange(_PROBES) + 0.5) * step * count / _PROBES for low, step, count in zip(grid.low, grid.step, grid.shape)]
    points = np.stack(np.meshgrid(*places, indexing="ij"), axis=-1).reshape(-1, 3)
    points = points[in_cells(points, lit.air)]
    on_lamps = lamp_points(lit.lamps, GROUPS, 4)

    def batch(a: int) -> np.ndarray:
        part = points[a : a + _BATCH]
        return lit.direct(part, np.zeros((len(part), 3)), np.arange(a, a + len(part)) % GROUPS, on_lamps, extinction_per_m=0.0)[:, sources] > 0

    return points, np.concatenate([np.zeros((0, len(sources)), bool), *in_order(batch, list(range(0, len(points), _BATCH)), workers)])


def _grid_of(centre: np.ndarray, met: np.ndarray, reach: float, inside: bool, first: int, layers: int) -> Shaft:
    """Return the grid around the points `met` (n, 3) that a lamp lights, `reach` wider; upright where they lie around the lamp."""
    if not len(met):
        return Shaft(False, np.zeros(3), np.eye(3), np.zeros(3), np.ones(3), first, layers, 1.0)
    low, high = met.min(axis=0) - reach, met.max(axis=0) + reach
    ahead = (low + high) / 2 - centre
    ahead /= max(np.linalg.norm(ahead), 1e-9)
    level = np.array([-ahead[1], ahead[0], 0.0]) if np.hypot(*ahead[:2]) > 0.1 else np.array([1.0, 0.0, 0.0])
    right = level - (level @ ahead) * ahead
    right /= np.linalg.norm(right)
    axes = np.array([right, np.cross(ahead, right), ahead])
    x, y, w = ((met - centre) @ axes.T).T
    if inside or w.min() < _NEAR_MM + reach:
        return Shaft(False, np.zeros(3), np.eye(3), low, high - low, first, layers, 1.0)
    near = w.min() - reach
    at = np.array([x / w, y / w])
    # A probe lies up to `reach` from the edge of what it stands for.
    margin = reach / w.min()
    low, high = np.array([*(at.min(axis=1) - margin), near]), np.array([*(at.max(axis=1) + margin), w.max() + reach])
    return Shaft(True, centre, axes, low, high - low, first, layers, 1.0)


def _points(shaft: Shaft, across: int, cells: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the middles of some of a grid's `cells` (n,), numbered with columns running fastest, (n, 3) [mm], and the group of each."""
    layer, row, column = np.unravel_index(cells, (shaft.layers, across, across))
    at = shaft.low + (np.column_stack([column, row, layer]) + 0.5) / [across, across, shaft.layers] * shaft.size
    if shaft.seen:
        at[:, :2] *= at[:, 2:]
    return shaft.centre + at @ shaft.axes, column % 4 + 4 * ((row + 2 * layer) % 4)


def _worked_out(lit: LitSet, column: int, shaft: Shaft, across: int, workers) -> tuple[np.ndarray, np.ndarray]:
    """Return (n,) illuminance per candela of one source in the cells of a grid, times the square of the distance to the lamp, 0 beyond the air [1], and (n,) bool: which lie in the air."""
    on_lamps = lamp_points(lit.lamps, GROUPS, _LAMP_SAMPLES)
    centre = lit.lamps.centre[column % len(lit.emitters)]
    count = shaft.layers * across * across

    def batch(a: int) -> tuple[np.ndarray, np.ndarray]:
        points, group = _points(shaft, across, np.arange(a, min(a + _BATCH, count)))
        inside = in_cells(points, lit.air)
        out, rows = np.zeros(len(points), np.float32), np.flatnonzero(inside)
        arriving = lit.direct(points[rows], np.zeros((len(rows), 3)), group[rows], on_lamps, extinction_per_m=0.0)[:, column]
        out[rows] = arriving * np.sum((points[rows] - centre) ** 2, axis=1)
        return out, inside

    values, inside = zip(*in_order(batch, list(range(0, count, _BATCH)), workers))
    return np.concatenate(values), np.concatenate(inside)


def _into_walls(values: np.ndarray, inside: np.ndarray, shape) -> np.ndarray:
    """Give cells whose middle lies in a wall the light of the air before or after it, or shafts would be dim where they meet a wall."""
    inside = inside.reshape(shape)
    if inside.all() or not inside.any():
        return values
    # Light goes on along a shaft, so a layer is nearer than a column.
    layer, row, column = distance_transform_edt(~inside, sampling=(1, 8, 8), return_distances=False, return_indices=True)
    return values.reshape(shape)[layer, row, column].ravel()


def haze_to_lamps(lit: LitSet, lamps: list[int]) -> np.ndarray:
    """Return (z, y, x, lamps) float32: the length of haze between the centres of the haze cells, and the middle of each of `lamps`. [mm]"""
    grid = lit.transport.grid
    lengths = np.empty((len(lamps), len(grid.centre)))
    for length, lamp in zip(lengths, lamps):
        _fill_haze_between(lit.air, grid.centre, lit.lamps.centre[lamp], length)
    return np.ascontiguousarray(lengths.reshape(len(lamps), *grid.shape).T, np.float32)


@compiled
def _fill_haze_between(air, points, place, out):
    """Fill `out` (n,) with how much of the straight way from `points` (n, 3) to `place` (3,) lies in haze. [mm]"""
    for i in range(len(points)):
        x, y, z = place[0] - points[i, 0], place[1] - points[i, 1], place[2] - points[i, 2]
        far = max(math.sqrt(x * x + y * y + z * z), 1e-9)
        out[i] = haze_length(air, points[i, 0], points[i, 1], points[i, 2], x / far, y / far, z / far, far)


def glow_towards(lit: LitSet, candela: np.ndarray, places: np.ndarray) -> np.ndarray:
    """
    Return (places, z, y, x, 3) float32: luminance that the haze cells send towards each of `places` (k, 3) of light that has bounced or
    scattered before, of lamps of `candela` (lamps, 3), for each unit of scattering. [cd], [mm] -> [cd/m2]
    """
    cell, grid = lit.bounced_by(candela)[1], lit.transport.grid
    sent = [scattered_towards(lit.transport, cell, place, lit.trimmed.table).reshape(*grid.shape, 3) for place in places]
    return np.ascontiguousarray(np.array(sent).transpose(0, 3, 2, 1, 4), np.float32)


def swirled(uneven: Uneven, lamps: list[int]) -> np.ndarray:
    """Return (z, y, x, 4) float32: density over its mean [1], and the excess of haze on the way to each of the first three of `lamps` [mm]."""
    out = np.zeros((*uneven.density.values.shape[::-1], 4), np.float32)
    out[..., 0] = uneven.density.values.T
    for channel, lamp in enumerate(lamps[:3], start=1):
        out[..., channel] = uneven.excess[lamp].T
    return out
