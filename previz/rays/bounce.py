"""
Bounce light: what surfaces and haze throw back and forth, from the stored transport.

Takes direct light on texels and haze cells; gives the light that has bounced, on the same texels and cells. No rays:
a lamp that moves, a finish, haze that thins change only numbers that are multiplied here.

    E   illuminance of a texel, B = reflectance x E what it sends back [lux], [lm/m2]
    L   luminance that passes a haze cell, by direction of travel, as nine spherical harmonics [cd/m2]

A ray from a texel or a cell brings ``exp(-s h) B / pi`` from what it meets behind the haze length h, and
``w s h exp(-s n)`` times what the haze on the way scatters towards it (one point at haze length n, evenly chosen;
extinction s and albedo w, both scaled, see `previz.haze.scaling`). Scattering multiplies the
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

# The first bounce comes from small bright patches and shafts and takes every ray; later ones come from all over and take
# a few, others each time. Haze cells gather from all sides into nine harmonics, which need fewer rays at first.
_LATER_SHARE = 12
_CELL_SHARE, _LATER_CELL_SHARE = 2, 8
_ROUNDS = 4
HARMONICS = (ORDER + 1) ** 2
_ORDER_OF = np.array([0, 1, 1, 1, 2, 2, 2, 2, 2])


@dataclass(frozen=True)
class Sight:
    """
    What rows see and at what weight, in one medium; h of their k rays look for haze as well.

    texel    (rows, k) int32: texel met, or `MISSED`, or `DROPPED`
    surface  (rows, k) float32: share of the light of that texel
    cell     (rows, h) int32: haze cell on the way, -1 where there is none
    haze     (rows, h) float32: share of what that cell scatters
    way      (rows, k or h, 3) float32: direction of the rays
    """

    texel: np.ndarray
    surface: np.ndarray
    cell: np.ndarray
    haze: np.ndarray
    way: np.ndarray

    @property
    def arrays(self) -> tuple[np.ndarray, ...]:
        """All five, for compiled loops."""
        return self.texel, self.surface, self.cell, self.haze, self.way

    def thinned(self, share: int, part: int) -> "Sight":
        """Return every row with the `part`-th of `share` equal parts of its rays, packed closely: later bounces read memory, not numbers."""
        k, h = max(1, self.texel.shape[1] // share), max(1, self.cell.shape[1] // share)
        rays = np.s_[:, part * k : (part + 1) * k] if (part + 1) * k <= self.texel.shape[1] else np.s_[:, :k]
        hazy = np.s_[:, part * h : (part + 1) * h] if (part + 1) * h <= self.cell.shape[1] else np.s_[:, :h]
        way = self.way[rays] if self.way.shape[1] == self.texel.shape[1] else self.way[hazy]
        return Sight(*(np.ascontiguousarray(a) for a in (self.texel[rays], self.surface[rays], self.cell[hazy], self.haze[hazy], way)))


@dataclass(frozen=True)
class Weights:
    """
    The transport in one medium.

    texels, cells  what texels and haze cells see, for each bounce that is taken
    moments        (9,) float32: the phase function's moment that each harmonic is scattered with
    """

    texels: tuple[Sight, ...]
    cells: tuple[Sight, ...]
    moments: np.ndarray


@dataclass(frozen=True)
class Bounced:
    """
    Bounced light of each lamp, per candela of white light on its axis.

    texel  (lamps, n, 4) float32: illuminance on texels in linear RGB, smoothed for reading; the fourth is padding [lux]
    cell   (lamps, cells, 9, 4) float32: luminance scattered by haze cells, by direction, per unit of scattering; what haze
           scatters once, straight from the lamps, is left out [cd/m2]
    """

    texel: np.ndarray
    cell: np.ndarray


def weights(transport: Transport, medium: Scaled) -> Weights:
    """Return the transport's weights in one medium."""
    extinction, n = np.float32(per_mm(medium.extinction_per_m)), transport.texels
    surface = np.exp(-extinction * transport.haze_mm, dtype=np.float32)
    haze = np.float32(medium.albedo) * extinction * transport.haze_mm[:, : transport.cell.shape[1]] * np.exp(-extinction * transport.near_mm)
    texels = Sight(transport.texel[:n], surface[:n], transport.cell[:n], haze[:n], transport.way)
    cells = Sight(transport.texel[n:], surface[n:], transport.cell[n:], haze[n:], transport.cell_way)
    moments = medium.moments[_ORDER_OF].astype(np.float32)
    later = range(_ROUNDS - 1)
    return Weights(
        (texels, *(texels.thinned(_LATER_SHARE, i) for i in later)), (cells.thinned(_CELL_SHARE, 0), *(cells.thinned(_LATER_CELL_SHARE, i) for i in later)), moments
    )


# Red, green, blue and one idle place: four numbers are one register, so each step below does all colours at once.
_COLOURS = 4


@compiled
def _from_haze(glow, cell, wx, wy, wz, weight, basis, total):
    """Add to `total` (4,) the luminance that `cell` scatters against the ray (wx, wy, wz)."""
    harmonics(-wx, -wy, -wz, basis)
    for h in range(9):
        share = np.float32(weight * basis[h])
        for c in range(_COLOURS):
            total[c] += share * glow[cell, h, c]


@compiled
def _to_texels(first, last, texel, surface, cell, haze, way, sent, glow, arriving):
    """One bounce to texels first .. last: `sent` (n, 4) lm/m2 and `glow` (cells, 9, 4) cd/m2 in, illuminance (n, 4) out."""
    total, veil, basis = np.empty(_COLOURS, np.float32), np.empty(_COLOURS, np.float32), np.empty(9, np.float32)
    for i in range(first, last):
        total[:] = 0.0
        veil[:] = 0.0
        count = 0
        for k in range(texel.shape[1]):
            met = texel[i, k]
            count += met != DROPPED
            if met >= 0:
                share = surface[i, k]
                for c in range(_COLOURS):
                    total[c] += share * sent[met, c]
        hazy = 0
        for k in range(cell.shape[1]):
            hazy += texel[i, k] != DROPPED
            if cell[i, k] >= 0:
                _from_haze(glow, cell[i, k], way[i, k, 0], way[i, k, 1], way[i, k, 2], haze[i, k], basis, veil)
        for c in range(_COLOURS):
            arriving[i, c] = total[c] / max(count, 1) + math.pi * veil[c] / max(hazy, 1)


@compiled
def _to_cells(first, last, texel, surface, cell, haze, way, sent, glow, passing):
    """One bounce to haze cells first .. last: the luminance that passes each, as harmonics (cells, 9, 4) of its direction of travel."""
    rays, haze_rays = texel.shape[1], cell.shape[1]
    total, basis = np.empty(_COLOURS, np.float32), np.empty(9, np.float32)
    for i in range(first, last):
        passing[i] = 0.0
        for k in range(rays):
            met = texel[i, k]
            total[:] = 0.0
            if met >= 0:
                share = np.float32(surface[i, k] / math.pi)
                for c in range(_COLOURS):
                    total[c] += share * sent[met, c]
            wx, wy, wz = way[i, k, 0], way[i, k, 1], way[i, k, 2]
            if k < haze_rays and cell[i, k] >= 0:
                _from_haze(glow, cell[i, k], wx, wy, wz, np.float32(haze[i, k] * rays / haze_rays), basis, total)
            harmonics(-wx, -wy, -wz, basis)
            for h in range(9):
                share = np.float32(basis[h] * 4.0 * math.pi / rays)
                for c in range(_COLOURS):
                    passing[i, h, c] += share * total[c]


@compiled
def _read(first, last, starts, columns, weights, values, out):
    """Rows first .. last of a sparse matrix (starts, columns, weights) times `values` (n, 4)."""
    total = np.empty(_COLOURS, np.float32)
    for i in range(first, last):
        total[:] = 0.0
        for k in range(starts[i], starts[i + 1]):
            for c in range(_COLOURS):
                total[c] += weights[k] * values[columns[k], c]
        for c in range(_COLOURS):
            out[i, c] = total[c]


def bounced(
    texels: Texels, transport: Transport, weight: Weights, direct: np.ndarray, passing: np.ndarray, *, workers: int | None = None
) -> Bounced:
    """
    Return the light after one bounce and more, for each lamp.

    Parameters
    ----------
    direct : (n, lamps) float array
        Illuminance straight from each lamp on each texel. [lux]
    passing : (cells, 9, lamps) float array
        Luminance of the same light through each haze cell, as harmonics of its direction of travel. [cd/m2]

    Notes
    -----
    A few bounces are taken one by one. By then light is spread as evenly as it will be and each bounce is the one before
    it times a number below 1, so the rest is the sum of a geometric series.
    """
    n, cells = len(direct), len(passing)
    dark = np.zeros((n, _COLOURS)), np.zeros((cells, HARMONICS, _COLOURS))
    lamps = [
        _of_one_lamp(texels, transport, weight, direct[:, i], passing[:, :, i], workers) if direct[:, i].any() or passing[:, :, i].any() else dark
        for i in range(direct.shape[1])
    ]
    texel = np.array([t for t, _ in lamps], np.float32).reshape(-1, n, _COLOURS)
    return Bounced(texel, np.array([c for _, c in lamps], np.float32).reshape(-1, cells, HARMONICS, _COLOURS))


def _of_one_lamp(texels, transport, weight, direct, passing, workers) -> tuple[np.ndarray, np.ndarray]:
    n, cells = len(direct), len(passing)
    reflectance = np.zeros((n, _COLOURS), np.float32)
    reflectance[:, :3] = texels.reflectance
    reflectance[~transport.valid[:n]] = 0
    # The haze that a ray crosses next to a wall may lie in a cube whose centre is in the wall: it borrows its neighbours' light.
    borrow, moments = transport.grid.borrowed, weight.moments[:, None]
    sent = reflectance * direct[:, None].astype(np.float32)
    glow = moments * np.repeat(passing.astype(np.float32)[borrow, :, None], _COLOURS, axis=2)
    total, total_glow = np.zeros((n, _COLOURS), np.float32), np.zeros((cells, HARMONICS, _COLOURS), np.float32)
    threads = worker_count(workers)
    with ThreadPoolExecutor(threads) as pool:
        for number in range(_ROUNDS):
            arriving, through = np.empty_like(total), np.empty_like(total_glow)
            jobs = [pool.submit(_to_texels, a, b, *weight.texels[number].arrays, sent, glow, arriving) for a, b in _bands(n, 2 * threads)]
            jobs += [pool.submit(_to_cells, a, b, *weight.cells[number].arrays, sent, glow, through) for a, b in _bands(cells, threads)]
            for job in jobs:
                job.result()
            before = sent.sum(axis=0)
            sent, glow = reflectance * arriving, moments * through[borrow]
            total += arriving
            total_glow += glow
        left = sent.sum(axis=0) / np.maximum(before, np.float32(1e-30))
        rest = np.minimum(left, np.float32(0.98)) / (1 - np.minimum(left, np.float32(0.98)))
        blend, whole, read = transport.reading, total + rest * arriving, np.empty_like(total)
        for job in [pool.submit(_read, a, b, blend.indptr, blend.indices, blend.data, whole, read) for a, b in _bands(n, threads)]:
            job.result()
    return read, total_glow + rest * glow


def _bands(rows: int, count: int) -> list[tuple[int, int]]:
    """Return `count` ranges that cover `rows`. Rows do not touch each other, so any cut gives the same numbers."""
    edges = np.linspace(0, rows, count + 1).astype(int)
    return list(zip(edges[:-1], edges[1:]))
