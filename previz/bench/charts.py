"""
The light on surfaces as flat pictures that a graphics card reads: each face of the set is a rectangle of texels.

Takes a lit set; gives the pictures, where each face lies in them, and the triangles with their places on the faces. Two
pictures hold two kinds of light: bounced light, which is smooth, on the texels that the engine keeps it on; light
straight from the lamps, which has edges, on texels several times finer, each worked out by the engine at its centre.
Faces of imported meshes have no unfolding: each of their triangles is a chart of 2 x 2 texels, read in a straight line
between its corners.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import distance_transform_edt

from previz.frames.lens_rays import GROUPS
from previz.rays.direct import may_be_lit
from previz.rays.kernels import lamp_points
from previz.rays.lit import LitSet
from previz.rays.texels import add_smoothly, divide
from previz.rays.workers import in_order

LAMP_SAMPLES = 32
"""Points on each lamp for each of them (own choice)."""

WIDTH = 2048
"""Of the pictures: the least that every WebGL 2 device takes as a texture. [texel]"""

_BATCH = 4096
_INSET = 0.02
_CORNERS = np.array([[0.25, 0.25], [0.75, 0.25], [0.25, 0.75]], np.float32)


@dataclass(frozen=True)
class Charts:
    """
    Where each chart lies.

    triangle  (m,) int32: the chart of each triangle
    place     (m, 3, 2) float32: where on its chart each corner lies, 0 to 1 across and up
    coarse    (c, 4) float32: left, bottom, columns, rows of each chart in the picture of bounced light [texel]
    fine      (c, 4) float32: the same in the picture of direct light
    size      (rows of the coarse picture, rows of the fine one)
    """

    triangle: np.ndarray
    place: np.ndarray
    coarse: np.ndarray
    fine: np.ndarray
    size: tuple[int, int]


class Surfaces:
    """The charts of one set, and the engine's light on them in any light."""

    def __init__(self, lit: LitSet, fine_texels: int):
        self._lookup = lit.texels.lookup
        self._fine = divide(lit.built, fine_texels)
        chart = self._lookup.chart.astype(np.int64)
        self._loose = np.flatnonzero(chart < 0)
        grids = len(self._lookup.first)
        chart[self._loose] = grids + np.arange(len(self._loose))
        loose = np.full((len(self._loose), 2), 2)
        coarse, coarse_rows = _shelved(np.concatenate([self._lookup.size, loose]))
        fine, fine_rows = _shelved(np.concatenate([self._fine.lookup.size, loose]))
        with np.errstate(invalid="ignore"):
            place = (self._lookup.uv - self._lookup.low[chart % max(grids, 1), None]) / (self._lookup.step * self._lookup.size)[chart % max(grids, 1), None] if grids else np.zeros_like(self._lookup.uv)
        place[self._loose] = _CORNERS
        self.charts = Charts(chart.astype(np.int32), np.ascontiguousarray(place, np.float32), coarse, fine, (coarse_rows, fine_rows))

    def bounced(self, lit: LitSet, texel: np.ndarray) -> np.ndarray:
        """Return the picture (rows, WIDTH, 3) float32 of bounced light (texels, 3) as the engine reads it. [lux]"""
        picture = np.zeros((self.charts.size[0], WIDTH, 3), np.float32)
        x, y = _texels_at(self.charts.coarse, self._lookup)
        picture[y, x] = texel[: len(x)]
        points, normals, triangle, u, v = self._corners(lit)
        values = np.zeros((len(points), 3))
        add_smoothly(self._lookup, np.ascontiguousarray(texel), triangle, u, v, points, normals, values)
        self._put_loose(picture, self.charts.coarse, values)
        return picture

    def direct(self, lit: LitSet, sources: list[int], *, workers: int | None = None) -> np.ndarray:
        """Return the picture (rows, WIDTH, sources) float32 of the illuminance in clear air straight from `sources`, columns of `lit.direct`, per candela. [1/m2]"""
        fine = self._fine
        on_lamps = lamp_points(lit.lamps, GROUPS, LAMP_SAMPLES)
        usable = fine.covered.copy()
        if lit.closed_form:
            usable &= may_be_lit(lit.rooms, lit.windows, lit.lamps, fine.position, fine.side)
        corners, corner_normals, *_ = self._corners(lit)
        rows = np.flatnonzero(usable[: self._texels])
        points, normals = np.concatenate([fine.position[rows], corners]), np.concatenate([fine.normal[rows], corner_normals])
        group = np.concatenate([fine.pattern[rows], np.arange(len(corners)) % GROUPS])

        def batch(a: int) -> np.ndarray:
            part = slice(a, a + _BATCH)
            return lit.direct(points[part], normals[part], group[part], on_lamps, extinction_per_m=0.0)[:, sources]

        light = np.concatenate([np.zeros((0, len(sources))), *in_order(batch, list(range(0, len(points), _BATCH)), workers)])
        picture = np.zeros((self.charts.size[1], WIDTH, len(sources)), np.float32)
        x, y = _texels_at(self.charts.fine, fine.lookup)
        picture[y[rows], x[rows]] = light[: len(rows)]
        self._filled(picture, x, y)
        self._put_loose(picture, self.charts.fine, light[len(rows) :])
        return picture

    @property
    def _texels(self) -> int:
        lookup = self._fine.lookup
        return int((lookup.size[:, 0].astype(np.int64) * lookup.size[:, 1]).sum())

    def _filled(self, picture: np.ndarray, x: np.ndarray, y: np.ndarray) -> None:
        """Give texels whose centre is beside their face the light of the nearest on it, chart by chart, so that edges are as bright as what they end."""
        covered = self._fine.covered[: len(x)]
        lookup = self._fine.lookup
        counts = lookup.size[:, 0].astype(np.int64) * lookup.size[:, 1]
        chart = np.repeat(np.arange(len(counts)), counts)
        for number in np.unique(chart[~covered]):
            columns, rows = lookup.size[number]
            first = lookup.first[number]
            on_face = covered[first : first + counts[number]].reshape(rows, columns)
            if not on_face.any():
                continue
            nearest = distance_transform_edt(~on_face, return_distances=False, return_indices=True)
            left, bottom = self.charts.fine[number, :2].astype(int)
            block = picture[bottom : bottom + rows, left : left + columns]
            block[:] = block[nearest[0], nearest[1]]

    def _corners(self, lit: LitSet):
        """The corners of triangles without a grid, a little inside them: points, unit normals, triangles, barycentric u and v."""
        built, n = lit.built, len(self._loose)
        corners = built.vertices[built.triangles[self._loose]]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
        weight = np.eye(3) * (1 - 3 * _INSET) + _INSET
        points = np.einsum("kc,ncx->nkx", weight, corners).reshape(-1, 3)
        return points, np.repeat(normal, 3, axis=0), np.repeat(self._loose, 3), np.tile(weight[:, 1], n), np.tile(weight[:, 2], n)

    def _put_loose(self, picture: np.ndarray, place: np.ndarray, values: np.ndarray) -> None:
        """Write (3 k, c) values of corners as charts of 2 x 2: the fourth texel makes the blend between the other three straight."""
        k = len(self._loose)
        if not k:
            return
        a, b, c = np.moveaxis(values.reshape(k, 3, -1), 1, 0)
        left, bottom = place[len(place) - k :, :2].astype(int).T
        for (dx, dy), value in zip(((0, 0), (1, 0), (0, 1), (1, 1)), (a, b, c, b + c - a)):
            picture[bottom + dy, left + dx] = value


def _texels_at(place: np.ndarray, lookup) -> tuple[np.ndarray, np.ndarray]:
    """Return the column and row in a picture of every texel of the grids."""
    counts = lookup.size[:, 0].astype(np.int64) * lookup.size[:, 1]
    chart = np.repeat(np.arange(len(counts)), counts)
    number = np.arange(len(chart)) - np.repeat(np.cumsum(counts) - counts, counts)
    columns = lookup.size[chart, 0]
    return place[chart, 0].astype(int) + number % columns, place[chart, 1].astype(int) + number // columns


def _shelved(size: np.ndarray) -> tuple[np.ndarray, int]:
    """Return where rectangles (c, 2) go in a picture of `WIDTH`, (c, 4) left, bottom, columns, rows, and its height: shelves of like height, the highest first."""
    place = np.zeros((len(size), 4), np.float32)
    place[:, 2:] = size
    left = bottom = shelf = 0
    for number in np.lexsort((size[:, 0], -size[:, 1])):
        columns, rows = size[number]
        if columns > WIDTH:
            raise ValueError(f"a face of {columns} texels is wider than the picture")
        if left + columns > WIDTH:
            left, bottom, shelf = 0, bottom + shelf, 0
        place[number, :2] = left, bottom
        left, shelf = left + columns, max(shelf, rows)
    return place, int(bottom + shelf) or 1
