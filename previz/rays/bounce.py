"""
Bounce light: what surfaces and haze throw back and forth, from the stored transport.

Takes direct light on texels and haze cells; gives the light that has bounced, on the same texels and cells. No rays:
a lamp that moves, a finish, haze that thins change only numbers that are multiplied here.

    E   illuminance of a texel, B = reflectance x E what it sends back [lux], [lm/m2]
    L   luminance that passes a haze cell, by direction of travel, as nine spherical harmonics [cd/m2]

Lamps' own light in the haze has one direction, so its first scattering keeps nearly all of the phase function; so does the last, towards a
lens, for which the light that comes to each haze cell is kept ray by ray. In between:

A ray from a texel or a cell brings ``exp(-s h) B / pi`` from what it meets behind the haze length h, and
``w s h exp(-s n)`` times what the haze on the way scatters towards it (one point at haze length n, evenly chosen;
extinction s and albedo w, both scaled, see `previz.haze.scaling`). Scattering multiplies the
harmonics of order l by the l-th moment of the phase function, so it costs nothing to keep its direction.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from previz.haze.scaling import ORDER, Scaled, Trimmed
from previz.light.units import per_mm
from previz.rays.compiled import compiled
from previz.rays.kernels import harmonics, scattering_share
from previz.rays.texels import Texels
from previz.rays.transport import DROPPED, Transport, Ways
from previz.rays.workers import worker_count

# The first bounce comes from small bright patches and shafts and takes every ray; later ones come from all over and take
# a few, others each time. Haze cells gather from all sides into nine harmonics, which need fewer rays at first.
_LATER_SHARE = 12
_CELL_SHARE, _LATER_CELL_SHARE, _LATER_HAZE_RAYS = 4, 16, 2
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
    all_ways       all that haze cells see
    once           factor on `Sight.haze` for light that scatters for the first time, by the trimmed medium
    moments        (9,) float32: the phase function's moment that each harmonic is scattered with
    table          (nodes,) float32: phase function of light that scatters for the first time [1/sr]
    """

    texels: tuple[Sight, ...]
    cells: tuple[Sight, ...]
    all_ways: Sight
    once: float
    moments: np.ndarray
    table: np.ndarray


@dataclass(frozen=True)
class Bounced:
    """
    Bounced light of each lamp, per candela of white light on its axis.

    texel  (lamps, n, 4) float32: illuminance on texels in linear RGB, smoothed for reading; the fourth is padding [lux]
    cell   (lamps, 3, cells, k) float32: luminance that comes to haze cells along their k rays, in linear RGB; what comes straight
           from the lamps is left out [cd/m2]
    """

    texel: np.ndarray
    cell: np.ndarray


def weights(transport: Transport, medium: Scaled, first: Trimmed) -> Weights:
    """Return the transport's weights in one medium: scaled between, trimmed where lamps' light scatters first."""
    texels, cells = _sight(transport.of_texels, medium), _sight(transport.of_cells, medium)
    moments = medium.moments[_ORDER_OF].astype(np.float32)
    once = first.scattering_per_m / max(medium.albedo * medium.extinction_per_m, 1e-30)
    later = range(_ROUNDS - 1)
    few = Sight(texels.texel, texels.surface, *(a[:, : _LATER_SHARE * _LATER_HAZE_RAYS] for a in (texels.cell, texels.haze, texels.way)))
    return Weights(
        (texels, *(few.thinned(_LATER_SHARE, i) for i in later)), (cells.thinned(_CELL_SHARE, 0), *(cells.thinned(_LATER_CELL_SHARE, i) for i in later)), cells,
        once, moments, first.table
    )


def _sight(ways: Ways, medium: Scaled) -> Sight:
    extinction = np.float32(per_mm(medium.extinction_per_m))
    haze = np.float32(medium.albedo) * extinction * ways.haze_mm[:, : ways.cell.shape[1]] * np.exp(-extinction * ways.near_mm)
    return Sight(ways.texel, np.exp(-extinction * ways.haze_mm, dtype=np.float32), ways.cell, haze, ways.way)


# Red, green, blue and one idle place: four numbers are one register, so each step below does all colours at once.
_COLOURS = 4


class FirstLight(NamedTuple):
    """
    Light straight from one lamp in the haze, which scatters it for the first time.

    lit      (cells,) float32: spherical illuminance of the cells [lux]
    heading  (cells, 3) float32: where it travels there
    once     float32: factor on the weight of haze on a ray, see `Weights`
    table    (nodes,) float32: phase function [1/sr]
    """

    lit: np.ndarray
    heading: np.ndarray
    once: float
    table: np.ndarray


@compiled
def _of_lamp(i, cell, haze, way, lit, heading, once, table, out):
    """
    Fill `out` (h,) with what haze on each ray of row i scatters against it of a `FirstLight`; return the sum. [cd/m2]

    A row at a time: a call for each ray would cost more than its work. Most haze is not in a lamp's light, so that is asked first.
    """
    whole = np.float32(0.0)
    for k in range(cell.shape[1]):
        at = cell[i, k]
        out[k] = 0.0
        if at >= 0 and lit[at] > 0.0:
            cos = -(heading[at, 0] * way[i, k, 0] + heading[at, 1] * way[i, k, 1] + heading[at, 2] * way[i, k, 2])
            out[k] = once * haze[i, k] * lit[at] * scattering_share(cos, table)
            whole += out[k]
    return whole


@compiled
def _of_haze(glow, cell, wx, wy, wz, weight, basis, total):
    """Add to `total` (4,) the luminance that `cell` scatters against the ray (wx, wy, wz)."""
    harmonics(-wx, -wy, -wz, basis)
    for h in range(9):
        share = np.float32(weight * basis[h])
        for c in range(_COLOURS):
            total[c] += share * glow[cell, h, c]


@compiled
def _to_texels(first, last, texel, surface, cell, haze, way, shines, sent, lit, heading, once, table, glow, glows, arriving):
    """One bounce to texels first .. last: `sent` (n, 4) lm/m2 where `shines` (n,), a `FirstLight` or else a `glow` (cells, 9, 4) cd/m2 in, illuminance (n, 4) out."""
    total, veil, basis = np.empty(_COLOURS, np.float32), np.empty(_COLOURS, np.float32), np.empty(9, np.float32)
    once_scattered = np.empty(cell.shape[1], np.float32)
    for i in range(first, last):
        total[:] = 0.0
        count = 0
        for k in range(texel.shape[1]):
            count += texel[i, k] != DROPPED
        for k in range(texel.shape[1]):
            met = texel[i, k]
            # At first few texels shine, and this is asked of all rays: one byte each, so that all answers are at hand.
            if met >= 0 and shines[met]:
                share = surface[i, k]
                for c in range(_COLOURS):
                    total[c] += share * sent[met, c]
        hazy = 0
        for k in range(cell.shape[1]):
            hazy += texel[i, k] != DROPPED
        veil[:] = 0.0
        if glows:
            for k in range(cell.shape[1]):
                if cell[i, k] >= 0:
                    _of_haze(glow, cell[i, k], way[i, k, 0], way[i, k, 1], way[i, k, 2], haze[i, k], basis, veil)
        else:
            veil[:] = _of_lamp(i, cell, haze, way, lit, heading, once, table, once_scattered)
        for c in range(_COLOURS):
            arriving[i, c] = total[c] / max(count, 1) + math.pi * veil[c] / max(hazy, 1)


@compiled
def _along_rays(i, texel, surface, cell, haze, way, sent, lit, heading, once, table, glow, glows, basis, once_scattered, out):
    """Fill `out` (k, 4) with the luminance that comes to haze cell i along its rays. [cd/m2]"""
    total = np.empty(_COLOURS, np.float32)
    _of_lamp(i, cell, haze, way, lit, heading, once, table, once_scattered)
    for k in range(texel.shape[1]):
        total[:] = once_scattered[k]
        met = texel[i, k]
        if met >= 0:
            share = np.float32(surface[i, k] / math.pi)
            for c in range(_COLOURS):
                total[c] += share * sent[met, c]
        if glows and cell[i, k] >= 0:
            _of_haze(glow, cell[i, k], way[i, k, 0], way[i, k, 1], way[i, k, 2], haze[i, k], basis, total)
        for c in range(_COLOURS):
            out[k, c] = total[c]


@compiled
def _to_cells(first, last, texel, surface, cell, haze, way, sent, lit, heading, once, table, glow, glows, passing):
    """One bounce to haze cells first .. last: the luminance that passes each, as harmonics (cells, 9, 4) of its direction of travel."""
    rays = texel.shape[1]
    basis, once_scattered, incoming = np.empty(9, np.float32), np.empty(rays, np.float32), np.empty((rays, _COLOURS), np.float32)
    total = np.empty((9, _COLOURS), np.float32)
    for i in range(first, last):
        _along_rays(i, texel, surface, cell, haze, way, sent, lit, heading, once, table, glow, glows, basis, once_scattered, incoming)
        total[:] = 0.0
        for k in range(rays):
            harmonics(-way[i, k, 0], -way[i, k, 1], -way[i, k, 2], basis)
            for h in range(9):
                for c in range(_COLOURS):
                    total[h, c] += basis[h] * incoming[k, c]
        for h in range(9):
            for c in range(_COLOURS):
                passing[i, h, c] = total[h, c] * np.float32(4.0 * math.pi / rays)


@compiled
def _to_each_ray(first, last, texel, surface, cell, haze, way, sent, lit, heading, once, table, glow, glows, incoming):
    """All light that comes to haze cells first .. last, kept by colour and ray (3, cells, k). [cd/m2]"""
    rays = texel.shape[1]
    basis, once_scattered, each = np.empty(9, np.float32), np.empty(rays, np.float32), np.empty((rays, _COLOURS), np.float32)
    for i in range(first, last):
        _along_rays(i, texel, surface, cell, haze, way, sent, lit, heading, once, table, glow, glows, basis, once_scattered, each)
        for c in range(3):
            for k in range(rays):
                incoming[c, i, k] = each[k, c]


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
    texels: Texels, transport: Transport, weight: Weights, direct: np.ndarray, passing: np.ndarray, heading: np.ndarray, *, workers: int | None = None
) -> Bounced:
    """
    Return the light after one bounce and more, for each lamp.

    Parameters
    ----------
    direct : (n, lamps) float array
        Illuminance straight from each lamp on each texel. [lux]
    passing : (cells, lamps) float array
        Spherical illuminance of the same light in each haze cell. [lux]
    heading : (lamps, cells, 3) float array
        Unit vector along which it travels there.

    Notes
    -----
    A few bounces are taken one by one. By then light is spread as evenly as it will be and each bounce is the one before
    it times a number below 1, so the rest is the sum of a geometric series.
    """
    n, (cells, rays) = len(direct), transport.of_cells.texel.shape
    texel = np.zeros((direct.shape[1], n, _COLOURS), np.float32)
    cell = np.zeros((direct.shape[1], 3, cells, rays), np.float32)
    # The haze that a ray crosses next to a wall may lie in a cube whose centre is in the wall: it borrows its neighbours' light.
    passing = passing.astype(np.float32)[transport.grid.borrowed]
    for i in range(direct.shape[1]):
        if direct[:, i].any() or passing[:, i].any():
            lamp = FirstLight(passing[:, i].copy(), heading[i].astype(np.float32), np.float32(weight.once), weight.table)
            _of_one_lamp(texels, transport, weight, direct[:, i].astype(np.float32), lamp, worker_count(workers), texel[i], cell[i])
    return Bounced(texel, cell)


def _of_one_lamp(texels, transport, weight, direct, lamp, threads, read, incoming) -> None:
    """Fill `read` (n, 4) and `incoming` (3, cells, k) with the bounced light of one lamp."""
    n, cells = len(direct), len(lamp.lit)
    reflectance = np.zeros((n, _COLOURS), np.float32)
    reflectance[:, :3] = texels.reflectance
    reflectance[~transport.valid[:n]] = 0
    borrow, moments = transport.grid.borrowed, weight.moments[:, None]
    straight = sent = reflectance * direct[:, None]
    shines, after = sent.any(axis=1), reflectance.any(axis=1)
    glow = np.zeros((cells, HARMONICS, _COLOURS), np.float32)
    total, total_glow = np.zeros((n, _COLOURS), np.float32), np.zeros_like(glow)
    scattered_before = lamp._replace(lit=np.zeros_like(lamp.lit))
    with ThreadPoolExecutor(threads) as pool:

        def banded(kernel, rows: int, pieces: int, *arrays) -> list:
            return [pool.submit(kernel, a, b, *arrays) for a, b in _bands(rows, pieces)]

        for number in range(_ROUNDS):
            arriving, through = np.empty_like(total), np.empty_like(total_glow)
            light = sent, *(scattered_before if number else lamp), glow, number > 0
            jobs = banded(_to_texels, n, 2 * threads, *weight.texels[number].arrays, shines, *light, arriving)
            jobs += banded(_to_cells, cells, threads, *weight.cells[number].arrays, *light, through)
            _done(jobs)
            before, sent, glow = sent, reflectance * arriving, moments * through[borrow]
            shines = after
            total += arriving
            total_glow += glow
        every = np.ones(n, np.float32)
        left = every @ sent / np.maximum(every @ before, np.float32(1e-30))
        rest = np.minimum(left, np.float32(0.98)) / (1 - np.minimum(left, np.float32(0.98)))
        blend, whole = transport.reading, total + rest * arriving
        _done(banded(_read, n, threads, blend.indptr, blend.indices, blend.data, whole, read))
        light = straight + reflectance * read, *lamp, total_glow + rest * glow, True
        _done(banded(_to_each_ray, cells, threads, *weight.all_ways.arrays, *light, incoming))


def _done(jobs: list) -> None:
    for job in jobs:
        job.result()


@compiled
def _towards(incoming, way, heading, table, out):
    """Fill `out` (cells, 3) with what cells scatter along unit vectors `heading` (cells, 3) of the light `incoming` (3, cells, k) against `way` (cells, k, 3)."""
    for i in range(len(out)):
        whole = red = green = blue = 0.0
        for k in range(way.shape[1]):
            cos = -(way[i, k, 0] * heading[i, 0] + way[i, k, 1] * heading[i, 1] + way[i, k, 2] * heading[i, 2])
            share = scattering_share(cos, table)
            whole += share
            red += share * incoming[0, i, k]
            green += share * incoming[1, i, k]
            blue += share * incoming[2, i, k]
        # Divided by the shares' own sum: an even light stays as it is, however few the rays.
        out[i, 0], out[i, 1], out[i, 2] = red / whole, green / whole, blue / whole


def scattered_towards(transport: Transport, incoming: np.ndarray, place: np.ndarray, table: np.ndarray) -> np.ndarray:
    """
    Return the luminance that haze cells scatter towards `place`, per unit of scattering.

    Parameters
    ----------
    incoming : (3, cells, k) float32 array
        Luminance that comes to each cell along its rays, linear RGB. [cd/m2]
    place : (3,) float array
        [mm]
    table : (nodes,) float32 array
        The phase function. [1/sr]

    Returns
    -------
    (cells, 3) float array
        [cd/m2]
    """
    travel = np.asarray(place, float) - transport.grid.centre
    travel /= np.maximum(np.linalg.norm(travel, axis=1, keepdims=True), 1e-9)
    out = np.empty((len(travel), 3))
    _towards(incoming, transport.of_cells.way, travel, table, out)
    return out[transport.grid.borrowed]


def _bands(rows: int, count: int) -> list[tuple[int, int]]:
    """Return `count` ranges that cover `rows`. Rows do not touch each other, so any cut gives the same numbers."""
    edges = np.linspace(0, rows, count + 1).astype(int)
    return list(zip(edges[:-1], edges[1:]))
