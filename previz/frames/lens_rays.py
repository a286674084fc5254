"""
Rays through the lens: from where in the entrance pupil, and when within the exposure, each pixel of a frame is looked at.

Takes views of one frame, at moments spread evenly over its exposure; gives the rays of a tile's pixels and points
whose hull holds them. Knows nothing of light.

Pixels are dealt into the groups of a four by four pattern. In each pass all pixels of a group look from one point of the
pupil at one moment, since shafts are quick for rays that begin at one point; neighbours look from other points, and
every group from others in each pass, by a low-discrepancy sequence over both. So a few passes dither what is out of
focus or on the move, and many converge.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from previz.camera.view import View
from previz.light.lamps import disc_points
from previz.rays.compiled import compiled
from previz.rays.kernels import hashed

# Neighbouring pixels look at different points of a lamp, from different points of the pupil: a four by four ordered
# pattern (B. E. Bayer, ICC 1973; from memory).
_PATTERN = np.array([[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]])
GROUPS = _PATTERN.size

_BEYOND_MM = 1e6
# Steps of additive recurrences over the groups and over the passes: across the pupil's square, and in time. Chosen, among
# the plastic and golden numbers and square roots, for a low discrepancy at 2, 8 and 32 passes, in all and in each group.
_GROUP_STEPS = np.array([0.7548776662466927, 0.5698402909980532, 0.6180339887498949])
_PASS_STEPS = np.sqrt([2.0, 5.0, 3.0]) % 1


class Looks(NamedTuple):
    """
    Where each group of pixels looks from in one pass, and how: (x, y) of the picture along ``corner + x right + y down``.

    origin               (groups, 3) [mm]
    corner, right, down  (groups, 3) [1], [1/pixel]
    """

    origin: np.ndarray
    corner: np.ndarray
    right: np.ndarray
    down: np.ndarray


def pattern_group(row, column) -> np.ndarray:
    """Return the group, 0 to `GROUPS` - 1, of the pixels at (n,) rows and columns."""
    return _PATTERN[row % 4, column % 4]


def looks(views: Sequence[View], number: int, salt: int) -> Looks:
    """
    Return where each group looks from in pass `number`.

    Parameters
    ----------
    views : sequence of View
        The frame at moments spread evenly over its exposure; one, where nothing moves.
    number : int
        Of the pass, from 0.
    salt : int
        Shifts the sequence by chance.
    """
    shift = np.array([hashed(axis, salt) for axis in range(3)])
    unit = (shift + np.arange(GROUPS)[:, None] * _GROUP_STEPS + number * _PASS_STEPS) % 1
    pupil, moment = disc_points(2 * unit[:, :2] - 1), (unit[:, 2] * len(views)).astype(int)
    return Looks(*(np.array(part) for part in zip(*(views[when].window(*at) for when, at in zip(moment, pupil)))))


@compiled
def pixel_rays(looks, row, column, group, pixels, number, salt, origins, directions):
    """
    Fill in the ray of each pixel: `origins` (n, 3) [mm] and unit `directions` (n, 3).

    Where in its pixel a ray passes is a shifted low-discrepancy sequence over the passes.
    """
    for i in range(len(pixels)):
        a = hashed(pixels[i], salt) + 0.7548776662466927 * number
        b = hashed(pixels[i], salt + 1) + 0.5698402909980532 * number
        x, y = column[i] + a - np.floor(a), row[i] + b - np.floor(b)
        g = group[i]
        square = 0.0
        for axis in range(3):
            origins[i, axis] = looks.origin[g, axis]
            ray = looks.corner[g, axis] + x * looks.right[g, axis] + y * looks.down[g, axis]
            directions[i, axis] = ray
            square += ray * ray
        scale = 1.0 / np.sqrt(square)
        for axis in range(3):
            directions[i, axis] *= scale


def tile_hull(looks: Looks, rows, columns, far) -> np.ndarray:
    """
    Return points whose hull holds all rays of a tile: an apex and four beyond its end.

    Parameters
    ----------
    looks : Looks
    rows, columns : (r,), (c,) int arrays
        The tile's, ascending.
    far : (n,) float array
        Where its rays end; inf where they leave the set. [mm]

    Returns
    -------
    (5, 3) float array
        [mm]

    Notes
    -----
    The rays of one group lie in a pyramid. One with the widest of the groups' slopes, moved out until all of them are
    in, holds those of all groups; its apex is a little behind the pupil.
    """
    x = np.array([columns[0], columns[-1] + 1, columns[0], columns[-1] + 1], dtype=float)
    y = np.array([rows[0], rows[0], rows[-1] + 1, rows[-1] + 1], dtype=float)
    corners = looks.corner[:, None] + x[:, None] * looks.right[:, None] + y[:, None] * looks.down[:, None]
    corners /= np.linalg.norm(corners, axis=2, keepdims=True)
    middle = corners.mean(axis=1)
    middle /= np.linalg.norm(middle, axis=1, keepdims=True)
    reach = far.max(initial=0.0) if np.isfinite(far).all() else _BEYOND_MM
    # A ray ends within the pyramid as long as each corner reaches as far along the tile's axis as the longest ray.
    ends = looks.origin[:, None] + corners * (reach / np.einsum("gcx,gx->gc", corners, middle))[..., None]
    if not any(np.ptp(part, axis=0).any() for part in looks):
        return np.concatenate([looks.origin[:1], ends[0]])
    return _pyramid(looks, corners, np.concatenate([looks.origin, ends.reshape(-1, 3)]))


def _pyramid(looks: Looks, corners, points) -> np.ndarray:
    """Return the five corners, apex first, of a pyramid that holds `points` (n, 3), its slopes about those of the rays `corners` (groups, 4, 3)."""
    right = looks.right.mean(axis=0)
    forward = np.cross(right, looks.down.mean(axis=0))
    axes = np.array([right, np.cross(forward, right), forward])
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    centre = looks.origin.mean(axis=0)
    *places, depth = axes @ (points - centre).T
    slopes = corners @ axes.T
    slopes = (slopes[..., :2] / slopes[..., 2:]).reshape(-1, 2)
    low, high = slopes.min(axis=0), slopes.max(axis=0)
    # Two planes for each direction across, moved out until all points are between them: place = offset + slope depth.
    from_low = np.array([(place - slope * depth).min() for place, slope in zip(places, low)])
    from_high = np.array([(place - slope * depth).max() for place, slope in zip(places, high)])
    # They meet behind the pupil; an apex no nearer than the farther of the two meetings leaves no point out.
    back, end = -((from_high - from_low) / (high - low)).max(), depth.max()
    apex = [*((from_low + low * back + from_high + high * back) / 2), back]
    far_low, far_high = from_low + low * end, from_high + high * end
    far = [(x, y, end) for x in (far_low[0], far_high[0]) for y in (far_low[1], far_high[1])]
    return centre + np.array([apex, *far]) @ axes
