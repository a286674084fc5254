"""
The light in the air as grids that a graphics card reads: what lamps throw through it, and what it sends to the lens.

Takes a lit set; gives the shafts of each source of light, how much haze lies between the air and each lamp, the bounced light
that the haze cells send towards places of the lens, and swirls. Density, colour and level are factors on all of it, so the card mixes
them anew in every frame.

A shaft is the same all along its light but for what stands in the way, and its edges across are sharp. So the grid of a lamp outside
is laid as seen from its middle: fine across, coarse along. The grid of a lamp in the room is upright. Of either, only tiles that are lit are kept.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

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

ALONG, UPRIGHT = 24, 64
"""Layers of the grid of a lamp outside, along its light, and of one inside, from the floor up (own choice)."""

TILE = 14
"""Cells of a tile, across and up: few enough to follow a shaft, many enough that its rim of one cell costs little. [1]"""

_STORED = TILE + 2
_LOOKED_FOR = 4 / 7
"""Places across where light is looked for before tiles are laid, over the cells that are kept across (own choice)."""

_MOST_ACROSS, _LEAST_ACROSS = 400, 96
_PROBES = 40
_LAMP_SAMPLES = 8
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
    tiles     (columns, rows) of `TILE` by `TILE` cells across
    first, layers  which of the layers of `light` it takes
    scale     what a full byte means: illuminance per candela times the square of the distance to the lamp [1]
    """

    seen: bool
    centre: np.ndarray
    axes: np.ndarray
    low: np.ndarray
    size: np.ndarray
    tiles: tuple[int, int]
    first: int
    layers: int
    scale: float


def shafts_in_air(lit: LitSet, sources: list[int], *, cells: int = CELLS, workers: int | None = None) -> tuple[list[Shaft], np.ndarray, np.ndarray]:
    """
    Return the light that `sources`, columns of `lit.direct`, throw through the haze in clear air.

    Returns
    -------
    list of Shaft
        Where the grid of each source lies.
    (layers, n, n) uint8 array
        Illuminance from all sides times the square of the distance to the lamp's middle, in units of the grid's `scale`; only lit tiles
        are kept, each with a rim of one cell, beside one another.
    (sources, rows, columns, 2) uint8 array
        Where in `n` cells each tile is kept: column and row, in tiles, from 1; 0 where no light falls.
    """
    lamps = [column % len(lit.emitters) for column in sources]
    inside = [bool(lit.lamps.inside[lamp]) for lamp in lamps]
    layers = [UPRIGHT if indoors else ALONG for indoors in inside]
    kept = int(np.clip(np.sqrt(cells / max(1, sum(layers))), _LEAST_ACROSS, _MOST_ACROSS)) // _STORED
    looked_for = int(_LOOKED_FOR * kept * _STORED)
    shafts, places, light = [], [], np.zeros((max(1, sum(layers)), kept * _STORED, kept * _STORED), np.uint8)
    probes, lit_by = _probed(lit, sources, workers)
    reach = 1.5 * float(np.max(lit.transport.grid.step * lit.transport.grid.shape / _PROBES))
    for number, (column, lamp) in enumerate(zip(sources, lamps)):
        first = sum(layers[:number])
        met = probes[lit_by[:, number]]
        box = _grid_of(lit.lamps.centre[lamp], met, reach, inside[number], first, layers[number])
        shaft, place = _tiled(box, _lit_across(lit, column, box, looked_for, workers), looked_for, kept)
        places.append(place)
        tiles = np.argwhere(place[..., 0] > 0)
        if not len(tiles):
            shafts.append(shaft)
            continue
        values = _worked_out(lit, column, shaft, tiles, workers)
        scale = float(values.max()) or 1.0
        levels = np.rint(255 * values / scale).astype(np.uint8)
        for (row, left), tile in zip(tiles, levels):
            x, y = (place[row, left].astype(int) - 1) * _STORED
            light[first : first + layers[number], y : y + _STORED, x : x + _STORED] = tile
        shafts.append(replace(shaft, scale=scale))
    index = np.zeros((max(1, len(places)), *(max([place.shape[axis] for place in places], default=1) for axis in (0, 1)), 2), np.uint8)
    for number, place in enumerate(places):
        index[number, : place.shape[0], : place.shape[1]] = place
    return shafts, light, index


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
        return Shaft(False, np.zeros(3), np.eye(3), np.zeros(3), np.ones(3), (1, 1), first, layers, 1.0)
    low, high = met.min(axis=0) - reach, met.max(axis=0) + reach
    ahead = (low + high) / 2 - centre
    ahead /= max(np.linalg.norm(ahead), 1e-9)
    level = np.array([-ahead[1], ahead[0], 0.0]) if np.hypot(*ahead[:2]) > 0.1 else np.array([1.0, 0.0, 0.0])
    right = level - (level @ ahead) * ahead
    right /= np.linalg.norm(right)
    axes = np.array([right, np.cross(ahead, right), ahead])
    x, y, w = ((met - centre) @ axes.T).T
    if inside or w.min() < _NEAR_MM + reach:
        return Shaft(False, np.zeros(3), np.eye(3), low, high - low, (1, 1), first, layers, 1.0)
    near = w.min() - reach
    at = np.array([x / w, y / w])
    # A probe lies up to `reach` from the edge of what it stands for.
    margin = reach / w.min()
    low, high = np.array([*(at.min(axis=1) - margin), near]), np.array([*(at.max(axis=1) + margin), w.max() + reach])
    return Shaft(True, centre, axes, low, high - low, (1, 1), first, layers, 1.0)


def _at(shaft: Shaft, share: np.ndarray) -> np.ndarray:
    """Return points (n, 3) of a grid, given as shares (n, 3) of its size. [mm]"""
    at = shaft.low + share * shaft.size
    if shaft.seen:
        at[:, :2] *= at[:, 2:]
    return shaft.centre + at @ shaft.axes


def _lit_across(lit: LitSet, column: int, shaft: Shaft, across: int, workers) -> np.ndarray:
    """Return (n, 2), across and up in shares of a grid's size, where light falls in any of its layers: middles of `across` by `across` cells."""
    on_lamps = lamp_points(lit.lamps, GROUPS, 4)
    layers = shaft.layers // 2
    count = across * across * layers

    def batch(a: int) -> np.ndarray:
        layer, row, left = np.unravel_index(np.arange(a, min(a + _BATCH, count)), (layers, across, across))
        points = _at(shaft, (np.column_stack([left, row, layer]) + 0.5) / [across, across, layers])
        rows = np.flatnonzero(in_cells(points, lit.air))
        found = lit.direct(points[rows], np.zeros((len(rows), 3)), (left + 4 * row + 2 * layer)[rows] % GROUPS, on_lamps, extinction_per_m=0.0)[:, column] > 0
        return (row * across + left)[rows[found]]

    row, left = np.divmod(np.unique(np.concatenate(list(in_order(batch, list(range(0, count, _BATCH)), workers)))), across)
    return (np.column_stack([left, row]) + 0.5) / across


def _tiled(shaft: Shaft, lit_at: np.ndarray, looked_for: int, kept: int) -> tuple[Shaft, np.ndarray]:
    """
    Return a grid with cells as fine as `kept` by `kept` tiles hold the light at `lit_at` (n, 2) of `looked_for` places across, and (rows, columns, 2) uint8 where each is kept.

    Shafts of a pierced wall fill a small part of the air that they cross, so what is dark takes no place.
    """
    if not len(lit_at):
        return shaft, np.zeros((1, 1, 2), np.uint8)
    # Between points where light was looked for, it may reach as far as the next.
    gap = shaft.size[:2] / looked_for
    around = (lit_at[:, None] * shaft.size[:2] + gap * [[-1, -1], [-1, 1], [1, -1], [1, 1]]).reshape(-1, 2)
    side = 2 * float(gap.max())
    while True:
        columns, rows = (int(np.ceil(size / side)) for size in shaft.size[:2])
        column, row = np.clip((around // side).astype(int), 0, [columns - 1, rows - 1]).T
        numbers = np.unique(row * columns + column)
        if len(numbers) <= kept * kept:
            break
        side *= 1.02
    place = np.zeros((rows * columns, 2), np.uint8)
    place[numbers] = np.column_stack([np.arange(len(numbers)) % kept, np.arange(len(numbers)) // kept]) + 1
    size = np.array([columns * side, rows * side, shaft.size[2]])
    return replace(shaft, size=size, tiles=(columns, rows)), place.reshape(rows, columns, 2)


def _worked_out(lit: LitSet, column: int, shaft: Shaft, tiles: np.ndarray, workers) -> np.ndarray:
    """Return (tiles, layers, n, n) illuminance per candela of one source in the cells of `tiles` (tiles, 2) row and column, times the square of the distance to the lamp. [1]"""
    on_lamps = lamp_points(lit.lamps, GROUPS, _LAMP_SAMPLES)
    centre = lit.lamps.centre[column % len(lit.emitters)]
    shape = (len(tiles), shaft.layers, _STORED, _STORED)
    count = int(np.prod(shape))
    across = TILE * np.array(shaft.tiles)

    def batch(a: int) -> tuple[np.ndarray, np.ndarray]:
        tile, layer, row, left = np.unravel_index(np.arange(a, min(a + _BATCH, count)), shape)
        row, left = TILE * tiles[tile, 0] + row - 1, TILE * tiles[tile, 1] + left - 1
        points = _at(shaft, (np.column_stack([left, row, layer]) + 0.5) / [*across, shaft.layers])
        inside = in_cells(points, lit.air)
        out, rows = np.zeros(len(points), np.float32), np.flatnonzero(inside)
        # Neighbours look at other points of the lamp; rims are as what they repeat.
        group = (left % 4 + 4 * ((row + 2 * layer) % 4))[rows]
        arriving = lit.direct(points[rows], np.zeros((len(rows), 3)), group, on_lamps, extinction_per_m=0.0)[:, column]
        out[rows] = arriving * np.sum((points[rows] - centre) ** 2, axis=1)
        return out, inside

    values, inside = (np.concatenate(part).reshape(shape) for part in zip(*in_order(batch, list(range(0, count, _BATCH)), workers)))
    return _into_walls(values, inside)


def _into_walls(values: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """Give cells whose middle lies in a wall the light of the air before or after it in their tile, or shafts would be dim where they meet a wall."""
    if inside.all() or not inside.any():
        return values
    # Light goes on along a shaft: the nearest layer of the same column has it. A column with no air at all is as its neighbour.
    layer = np.arange(inside.shape[1])[:, None, None]
    before = np.maximum.accumulate(np.where(inside, layer, -len(layer)), axis=1)
    after = np.flip(np.minimum.accumulate(np.flip(np.where(inside, layer, 2 * len(layer)), 1), axis=1), 1)
    nearest = np.clip(np.where(layer - before <= after - layer, before, after), 0, len(layer) - 1)
    filled = np.take_along_axis(values, nearest, axis=1)
    tile, row, column = distance_transform_edt(~inside.any(axis=1), sampling=(1e4, 1, 1), return_distances=False, return_indices=True)
    return np.moveaxis(filled, 1, -1)[tile, row, column].transpose(0, 3, 1, 2)


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
