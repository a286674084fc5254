"""
Patch outlines drawn over a picture: where the crisp edge of the light lies.

Takes outlines in the set, the view and the depth behind each pixel; gives the picture with the parts of the outlines that
the lens sees. Knows nothing of light.
"""

from __future__ import annotations

import numpy as np
from scipy.ndimage import binary_closing, binary_erosion, binary_opening, distance_transform_edt, maximum_filter

from previz.camera.view import View

AMBER = (255, 176, 32)
LINE_PIXELS = 1.0
HALO_PIXELS = 0.8
HALO_SHARE = 0.5
"""The line has a dark rim, so that it can be told from the light that it surrounds."""

NEAREST_MM = 1.0
_STEPS_A_PIXEL = 2
_LONGEST_PIXELS = 20_000
_BEHIND_SHARE, _BEHIND_MM = 0.004, 0.5


def with_outlines(rgb: np.ndarray, view: View, depth_mm: np.ndarray, outlines: list[np.ndarray], colour: tuple[int, int, int] = AMBER) -> np.ndarray:
    """
    Return a picture with outlines drawn over it, where nothing hides them.

    Parameters
    ----------
    rgb : (rows, columns, 3) uint8 array
        The picture of `view`.
    depth_mm : (rows, columns) float array
        Along the axis, inf for nothing. [mm]
    outlines : list of (k, 3) float arrays
        Corners, not closed. [mm]
    colour : (int, int, int)
        sRGB.

    Returns
    -------
    (rows, columns, 3) uint8 array
    """
    seen = _hollow(visible_outlines(view, depth_mm, outlines))
    if not seen.any():
        return rgb
    away = distance_transform_edt(~seen)
    line = np.clip(LINE_PIXELS / 2 + 0.5 - away, 0, 1)[..., None]
    rim = HALO_SHARE * np.clip(LINE_PIXELS / 2 + HALO_PIXELS + 0.5 - away, 0, 1)[..., None]
    return np.rint(rgb * (1 - rim) * (1 - line) + np.array(colour) * line).astype(np.uint8)


def visible_outlines(view: View, depth_mm: np.ndarray, outlines: list[np.ndarray]) -> np.ndarray:
    """Return (rows, columns) bool: the pixels that an outline passes through, seen by the lens. Parameters as `with_outlines`."""
    x, y, depth = _points_along(view, outlines)
    column, row = np.floor(x), np.floor(y)
    inside = (column >= 0) & (column < view.columns) & (row >= 0) & (row < view.rows)
    column, row, depth = column[inside].astype(int), row[inside].astype(int), depth[inside]
    # The surface under the line fills its pixel with a range of depths; the farthest around it is surely not in front.
    farthest = maximum_filter(depth_mm, size=3)
    seen = depth <= farthest[row, column] * (1 + _BEHIND_SHARE) + _BEHIND_MM
    drawn = np.zeros(depth_mm.shape, dtype=bool)
    drawn[row[seen], column[seen]] = True
    return drawn


def _hollow(drawn):
    """Lines so close together that they would run into a blot, as the border of the blot: many small panes far away."""
    blot = binary_opening(binary_closing(drawn, np.ones((3, 3))), np.ones((3, 3)))
    return drawn & ~blot | blot & ~binary_erosion(blot, np.ones((3, 3)))


def _points_along(view, outlines):
    """Pixel coordinates and depths (n,) of points along all edges ahead of the lens, evenly spaced in the picture."""
    if not outlines:
        return np.zeros(0), np.zeros(0), np.zeros(0)
    start = np.concatenate([np.asarray(o, float) for o in outlines])
    end = np.concatenate([np.roll(np.asarray(o, float), -1, axis=0) for o in outlines])
    start, end = _ahead(view, start, end)
    (x0, y0, z0), (x1, y1, z1) = view.project(start), view.project(end)
    length = np.minimum(np.hypot(x1 - x0, y1 - y0), _LONGEST_PIXELS)
    count = np.ceil(length * _STEPS_A_PIXEL).astype(int) + 1
    share = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    share = share / np.repeat(np.maximum(count - 1, 1), count)
    each = [np.repeat(values, count) for values in (x0, x1, y0, y1, 1 / z0, 1 / z1)]
    # One over the depth is linear along a line in the picture.
    x, y, nearness = (a + share * (b - a) for a, b in zip(each[::2], each[1::2]))
    return x, y, 1 / nearness


def _ahead(view, start, end):
    """The pieces of edges (n, 3) that lie at least NEAREST_MM ahead of the lens. [mm]"""
    a, b = (start - view.position) @ view.forward - NEAREST_MM, (end - view.position) @ view.forward - NEAREST_MM
    kept = (a > 0) | (b > 0)
    start, end, a, b = start[kept], end[kept], a[kept], b[kept]
    crossing = (a / np.where(a == b, 1, a - b))[:, None]
    cut = start + crossing * (end - start)
    return np.where((a < 0)[:, None], cut, start), np.where((b < 0)[:, None], cut, end)
