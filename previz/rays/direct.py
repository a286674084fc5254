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
from previz.rays.kernels import add_free, emission, haze_length, in_any_cell
from previz.rays.packed import Cells, Lamps, Windows
from previz.rays.tracer import SKIN_MM, Tracer


@compiled
def _way_in(windows, sx, sy, sz, x, y, z):
    """Return the transmittance of the aperture whose box the line from s to a point inside crosses; -1 where it crosses none."""
    for w in range(len(windows.thickness)):
        origin = windows.origin[w]
        axes = windows.axes[w]
        rx, ry, rz = sx - origin[0], sy - origin[1], sz - origin[2]
        s_depth = axes[2, 0] * rx + axes[2, 1] * ry + axes[2, 2] * rz
        if s_depth <= windows.thickness[w]:
            continue
        px, py, pz = x - origin[0], y - origin[1], z - origin[2]
        depth = axes[2, 0] * px + axes[2, 1] * py + axes[2, 2] * pz
        if depth >= 0.0:
            continue
        share = (s_depth - windows.rim[w]) / (s_depth - depth)
        qx, qy, qz = rx + (px - rx) * share, ry + (py - ry) * share, rz + (pz - rz) * share
        along = axes[0, 0] * qx + axes[0, 1] * qy + axes[0, 2] * qz
        up = axes[1, 0] * qx + axes[1, 1] * qy + axes[1, 2] * qz
        box = windows.wall_box[w]
        if along < box[0] or along > box[2] or up < box[1] or up > box[3]:
            continue
        for pane in range(windows.wall_first[w], windows.wall_first[w + 1]):
            box = windows.box[pane]
            if along >= box[0] and along <= box[2] and up >= box[1] and up <= box[3]:
                return windows.transmittance[pane]
    return -1.0


@compiled
def _may_shine_in(windows, lamps, lamp, x, y, z):
    """Return False where no line from the face of `lamp` to a point inside can cross an aperture: the face, thrown through the point, misses all boxes."""
    for w in range(len(windows.thickness)):
        origin, axes = windows.origin[w], windows.axes[w]
        px, py, pz = x - origin[0], y - origin[1], z - origin[2]
        depth = axes[2, 0] * px + axes[2, 1] * py + axes[2, 2] * pz
        if depth >= 0.0:
            continue
        along = axes[0, 0] * px + axes[0, 1] * py + axes[0, 2] * pz
        up = axes[1, 0] * px + axes[1, 1] * py + axes[1, 2] * pz
        low_a = low_u = 1e300
        high_a = high_u = -1e300
        unsure = False
        for c in range(4):
            cx = lamps.centre[lamp, 0] + (1 - 2 * (c & 1)) * lamps.half_u[lamp, 0] + (1 - (c & 2)) * lamps.half_v[lamp, 0] - origin[0]
            cy = lamps.centre[lamp, 1] + (1 - 2 * (c & 1)) * lamps.half_u[lamp, 1] + (1 - (c & 2)) * lamps.half_v[lamp, 1] - origin[1]
            cz = lamps.centre[lamp, 2] + (1 - 2 * (c & 1)) * lamps.half_u[lamp, 2] + (1 - (c & 2)) * lamps.half_v[lamp, 2] - origin[2]
            s_depth = axes[2, 0] * cx + axes[2, 1] * cy + axes[2, 2] * cz
            if s_depth <= windows.thickness[w]:
                unsure = True
                continue
            share = (windows.rim[w] - depth) / (s_depth - depth)
            a = along + (axes[0, 0] * cx + axes[0, 1] * cy + axes[0, 2] * cz - along) * share
            u = up + (axes[1, 0] * cx + axes[1, 1] * cy + axes[1, 2] * cz - up) * share
            low_a, high_a = min(low_a, a), max(high_a, a)
            low_u, high_u = min(low_u, u), max(high_u, u)
        if high_a < low_a:
            continue
        box = windows.wall_box[w]
        if unsure or not (high_a < box[0] or low_a > box[2] or high_u < box[1] or low_u > box[3]):
            return True
    return False


@compiled
def _direct_samples(
    points, normals, group, rooms, air, closed_form, windows, lamps, on_lamps, extinction, skin, start, target, weight, row, lamp_of
):
    """Fill the samples of a batch of points; return their number. A normal of zero length asks for light from all sides."""
    k = 0
    samples = on_lamps.shape[2]
    for i in range(len(points)):
        nx, ny, nz = np.float64(normals[i, 0]), np.float64(normals[i, 1]), np.float64(normals[i, 2])
        x = np.float64(points[i, 0]) + skin * nx
        y = np.float64(points[i, 1]) + skin * ny
        z = np.float64(points[i, 2]) + skin * nz
        in_air = nx == 0.0 and ny == 0.0 and nz == 0.0
        indoors = closed_form and in_any_cell(rooms, x, y, z)
        for lamp in range(len(lamps.shape)):
            through = indoors and not lamps.inside[lamp]
            if through and not _may_shine_in(windows, lamps, lamp, x, y, z):
                continue
            for sample in range(samples):
                s = on_lamps[lamp, group[i], sample]
                wx, wy, wz = s[0] - x, s[1] - y, s[2] - z
                square = wx * wx + wy * wy + wz * wz
                distance = math.sqrt(square)
                wx, wy, wz = wx / distance, wy / distance, wz / distance
                cos = 1.0 if in_air else nx * wx + ny * wy + nz * wz
                if cos <= 0.0:
                    continue
                sent = emission(lamps, lamp, -wx, -wy, -wz)
                if sent <= 0.0:
                    continue
                passed = 1.0
                if through:
                    passed = _way_in(windows, s[0], s[1], s[2], x, y, z)
                    if passed <= 0.0:
                        continue
                path = haze_length(air, x, y, z, wx, wy, wz, distance) if extinction > 0.0 else 0.0
                weight[k] = cos * sent * passed * math.exp(-extinction * path) / (square * samples)
                start[k, 0], start[k, 1], start[k, 2] = x, y, z
                target[k, 0], target[k, 1], target[k, 2] = s[0], s[1], s[2]
                row[k] = i
                lamp_of[k] = lamp
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
    (n, lamps) float array
        Times a lamp's candela: lux. [1/m2]

    Notes
    -----
    Each point of the face adds I cos(theta) / d^2 (photometric distance law, CIE S 017, 17-25-104), thinned by the
    haze it crosses.
    """
    total = np.zeros((len(points), len(lamps.shape)))
    if not len(lamps.shape) or not len(points):
        return total
    room = len(points) * len(lamps.shape) * on_lamps.shape[2]
    start, target = np.empty((room, 3), np.float32), np.empty((room, 3), np.float32)
    weight, row, lamp_of = np.empty(room), np.empty(room, np.int32), np.empty(room, np.int32)
    count = _direct_samples(
        points, normals, group, rooms, air, closed_form, windows, lamps, on_lamps, per_mm(extinction_per_m), SKIN_MM,
        start, target, weight, row, lamp_of,
    )  # fmt: skip
    blocked = tracer.blocked(start[:count], target[:count])
    add_free(total, weight, blocked, row, lamp_of, count)
    return total * LUX_PER_CANDELA_MM2
