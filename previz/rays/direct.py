"""
Direct light: the illuminance that lamps throw straight on points of a surface, or through points in the air.

A point in a room's air is lit only through an aperture, so a pair of point and lamp sample whose line misses every
aperture needs no ray. All other pairs take one shadow ray against the whole set.
"""

from __future__ import annotations

import math

import numpy as np

from previz.light.units import LUX_PER_CANDELA_MM2, per_mm
from previz.rays.compiled import compiled
from previz.rays.kernels import add_free, any_glass, emission, haze_length, in_any_cell, slanting_share
from previz.rays.packed import Cells, Lamps, Windows, face_corners
from previz.rays.shafts import pane_crossed
from previz.rays.tracer import SKIN_MM, Tracer

_ON_BOUNDS_MM = 0.01


@compiled
def _at_panels(windows, points):
    """Return (n, walls, 3): `points` (n, 3) in each panel's frame: along, up, depth."""
    out = np.empty((len(points), len(windows.thickness), 3))
    for i in range(out.shape[0]):
        for w in range(out.shape[1]):
            for axis in range(3):
                total = 0.0
                for c in range(3):
                    total += windows.axes[w, axis, c] * (points[i, c] - windows.origin[w, c])
                out[i, w, axis] = total
    return out


@compiled
def _panels_between(windows, corners, lamp, x, y, z, margin, here, facing):
    """
    Fill `here` (walls, 3) with the point in each panel's frame and `facing` with the panels that light may come in by; return their number.

    A lamp's face, given by its `corners` (lamps, 4, walls, 3), thrown through the point onto the plane of a panel's rims, lies
    within its corners' box; a panel whose apertures lie beside that box, by more than `margin`, lets nothing in.
    """
    count = 0
    axes, origin, box = windows.axes, windows.origin, windows.wall_box
    for w in range(len(windows.thickness)):
        px, py, pz = x - origin[w, 0], y - origin[w, 1], z - origin[w, 2]
        depth = axes[w, 2, 0] * px + axes[w, 2, 1] * py + axes[w, 2, 2] * pz
        if depth >= margin:
            continue
        along = axes[w, 0, 0] * px + axes[w, 0, 1] * py + axes[w, 0, 2] * pz
        up = axes[w, 1, 0] * px + axes[w, 1, 1] * py + axes[w, 1, 2] * pz
        low_a = low_u = 1e300
        high_a = high_u = -1e300
        behind = 0
        for c in range(4):
            if corners[lamp, c, w, 2] <= windows.thickness[w]:
                behind += 1
                continue
            share = (windows.rim[w] - depth) / (corners[lamp, c, w, 2] - depth)
            a = along + (corners[lamp, c, w, 0] - along) * share
            u = up + (corners[lamp, c, w, 1] - up) * share
            low_a, high_a = min(low_a, a), max(high_a, a)
            low_u, high_u = min(low_u, u), max(high_u, u)
        beside = high_a < box[w, 0] - margin or low_a > box[w, 2] + margin or high_u < box[w, 1] - margin or low_u > box[w, 3] + margin
        if behind == 4 or (behind == 0 and beside):
            continue
        here[w, 0], here[w, 1], here[w, 2] = along, up, depth
        facing[count] = w
        count += 1
    return count


@compiled
def _way_in(windows, facing, count, here, at_panels, lamp, group, sample):
    """
    Return the aperture whose box the line from a point on a lamp to the point `here` crosses, -1 where it crosses none, and
    the share of the line that lies on the panel's inner side.
    """
    for f in range(count):
        w = facing[f]
        s_depth = at_panels[lamp, group, sample, w, 2]
        if s_depth <= windows.thickness[w]:
            continue
        inverse = 1.0 / (s_depth - here[w, 2])
        share = (windows.rim[w] - here[w, 2]) * inverse
        along = here[w, 0] + (at_panels[lamp, group, sample, w, 0] - here[w, 0]) * share
        up = here[w, 1] + (at_panels[lamp, group, sample, w, 1] - here[w, 1]) * share
        if along < windows.wall_box[w, 0] or along > windows.wall_box[w, 2] or up < windows.wall_box[w, 1] or up > windows.wall_box[w, 3]:
            continue
        for pane in range(windows.wall_first[w], windows.wall_first[w + 1]):
            # Four tests at once: a branch for each would be guessed wrongly as often as not.
            inside = (along >= windows.box[pane, 0]) & (along <= windows.box[pane, 2]) & (up >= windows.box[pane, 1]) & (up <= windows.box[pane, 3])
            if inside:
                return pane, -here[w, 2] * inverse
    return -1, 1.0


@compiled
def _fill_may_be_lit(rooms, windows, lamps, corners, points, margin, out):
    here, facing = np.empty((len(windows.thickness), 3)), np.empty(len(windows.thickness), np.int64)
    for i in range(len(points)):
        x, y, z = points[i, 0], points[i, 1], points[i, 2]
        out[i] = False
        for lamp in range(len(lamps.shape)):
            if lamps.inside[lamp] or _panels_between(windows, corners, lamp, x, y, z, margin[i], here, facing) > 0:
                out[i] = True
        # Outside the rooms light needs no aperture.
        if not out[i]:
            out[i] = not in_any_cell(rooms, x, y, z, _ON_BOUNDS_MM)


def may_be_lit(rooms: Cells, windows: Windows, lamps: Lamps, points: np.ndarray, margin: np.ndarray) -> np.ndarray:
    """Return (n,) bool: False where no lamp can shine through an aperture on anything within `margin` (n,) of `points` (n, 3). [mm]"""
    out = np.empty(len(points), np.bool_)
    _fill_may_be_lit(rooms, windows, lamps, _corners_at_panels(windows, lamps), points, np.ascontiguousarray(margin, dtype=np.float64), out)
    return out


def _corners_at_panels(windows: Windows, lamps: Lamps) -> np.ndarray:
    """Return (lamps, 4, walls, 3): the corners around each lamp's face in the panels' frames."""
    corners = face_corners(lamps)
    return _at_panels(windows, corners.reshape(-1, 3)).reshape(len(corners), 4, len(windows.thickness), 3)


@compiled
def _direct_samples(
    points, normals, group, rooms, air, closed_form, windows, lamps, on_lamps, at_panels, corners, extinction, skin,
    start, target, weight, row, column_of,
):  # fmt: skip
    """
    Fill the samples of a batch of points; return their number. A normal of zero length asks for light from all sides.

    at_panels (lamps, groups, samples, walls, 3) and corners (lamps, 4, walls, 3) are points on the lamps in the panels' frames.
    """
    k = 0
    samples = on_lamps.shape[2]
    walls = len(windows.thickness)
    glazed = len(windows.tints) > 1 or any_glass(windows)
    # In one convex room the light is in haze from the panel's inner plane on.
    one_room = len(air.first) == 2
    here, facing = np.empty((walls, 3)), np.empty(walls, np.int64)
    for i in range(len(points)):
        nx, ny, nz = np.float64(normals[i, 0]), np.float64(normals[i, 1]), np.float64(normals[i, 2])
        x = np.float64(points[i, 0]) + skin * nx
        y = np.float64(points[i, 1]) + skin * ny
        z = np.float64(points[i, 2]) + skin * nz
        in_air = nx == 0.0 and ny == 0.0 and nz == 0.0
        indoors = closed_form and in_any_cell(rooms, x, y, z, 0.0)
        for lamp in range(len(lamps.shape)):
            through = indoors and not lamps.inside[lamp]
            count = 0
            if through:
                count = _panels_between(windows, corners, lamp, x, y, z, 0.0, here, facing)
                if count == 0:
                    continue
            for sample in range(samples):
                passed, inside, column = 1.0, 1.0, lamp
                pane = -1
                if through:
                    pane, inside = _way_in(windows, facing, count, here, at_panels, lamp, group[i], sample)
                    if pane < 0 or windows.transmittance[pane] <= 0.0:
                        continue
                sx, sy, sz = on_lamps[lamp, group[i], sample, 0], on_lamps[lamp, group[i], sample, 1], on_lamps[lamp, group[i], sample, 2]
                wx, wy, wz = sx - x, sy - y, sz - z
                square = wx * wx + wy * wy + wz * wz
                distance = math.sqrt(square)
                wx, wy, wz = wx / distance, wy / distance, wz / distance
                cos = 1.0 if in_air else nx * wx + ny * wy + nz * wz
                if cos <= 0.0:
                    continue
                sent = emission(lamps, lamp, -wx, -wy, -wz)
                if sent <= 0.0:
                    continue
                if glazed and not closed_form and not lamps.inside[lamp]:
                    pane = pane_crossed(windows, sx, sy, sz, x, y, z)
                if pane >= 0 and glazed:
                    wall = windows.wall_of[pane]
                    passed = windows.transmittance[pane]
                    column = lamp + len(lamps.shape) * windows.tint_of[pane]
                    if passed < 1.0:
                        passed *= slanting_share(abs(windows.axes[wall, 2, 0] * wx + windows.axes[wall, 2, 1] * wy + windows.axes[wall, 2, 2] * wz))
                if extinction == 0.0 or (through and one_room):
                    path = inside * distance
                else:
                    path = haze_length(air, x, y, z, wx, wy, wz, distance)
                weight[k] = cos * sent * passed * math.exp(-extinction * path) / (square * samples)
                start[k, 0], start[k, 1], start[k, 2] = x, y, z
                target[k, 0], target[k, 1], target[k, 2] = sx, sy, sz
                row[k] = i
                column_of[k] = column
                k += 1
    return k


def direct_light(
    tracer: Tracer, rooms: Cells, air: Cells, closed_form: bool, windows: Windows, lamps: Lamps,
    points, normals, group, on_lamps, *, extinction_per_m: float,
) -> np.ndarray:  # fmt: skip
    """
    Return the illuminance at each point per candela on the axis of each lamp.

    Parameters
    ----------
    points, normals : (n, 3) float arrays
        On surfaces, unit normals towards the light; a normal of zeros asks for the spherical total at a point in air. [mm], [1]
    group, on_lamps : (n,) int array, (lamps, groups, samples, 3) float array
        The group of each point, and the points on each lamp that light the points of each group. [mm]

    Returns
    -------
    (n, tints * lamps) float array
        Times a lamp's candela: lux. First all lamps through clear panes and straight, then through each tint. [1/m2]

    Notes
    -----
    Each point of the face adds I cos(theta) / d^2 (photometric distance law, CIE S 017, 17-25-104), thinned by the
    haze it crosses.
    """
    total = np.zeros((len(points), len(windows.tints) * len(lamps.shape)))
    if not len(lamps.shape) or not len(points):
        return total
    room = len(points) * len(lamps.shape) * on_lamps.shape[2]
    start, target = np.empty((room, 3), np.float32), np.empty((room, 3), np.float32)
    weight, row, column = np.empty(room), np.empty(room, np.int32), np.empty(room, np.int32)
    walls = len(windows.thickness)
    at_panels = _at_panels(windows, on_lamps.reshape(-1, 3)).reshape(*on_lamps.shape[:3], walls, 3)
    count = _direct_samples(
        points, normals, group, rooms, air, closed_form, windows, lamps, on_lamps, at_panels, _corners_at_panels(windows, lamps), per_mm(extinction_per_m), SKIN_MM,
        start, target, weight, row, column,
    )  # fmt: skip
    blocked = tracer.blocked(start[:count], target[:count])
    add_free(total, weight, blocked, row, column, count)
    return total * LUX_PER_CANDELA_MM2
