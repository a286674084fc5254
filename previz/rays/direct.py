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
from previz.rays.kernels import add_free, emission, hashed, haze_length, in_any_cell, lamp_point
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
def _direct_samples(
    points, normals, numbers, rooms, air, closed_form, windows, lamps, salt, first_sample, samples, extinction, skin,
    start, target, weight, row, lamp_of,
):  # fmt: skip
    """Fill the samples of a batch of points; return their number. A normal of zero length asks for light from all sides."""
    k = 0
    for i in range(len(points)):
        nx, ny, nz = np.float64(normals[i, 0]), np.float64(normals[i, 1]), np.float64(normals[i, 2])
        x = np.float64(points[i, 0]) + skin * nx
        y = np.float64(points[i, 1]) + skin * ny
        z = np.float64(points[i, 2]) + skin * nz
        in_air = nx == 0.0 and ny == 0.0 and nz == 0.0
        indoors = closed_form and in_any_cell(rooms, x, y, z)
        shift_u = hashed(numbers[i], salt)
        shift_v = hashed(numbers[i], salt + 1)
        for lamp in range(len(lamps.shape)):
            for sample in range(samples):
                sx, sy, sz = lamp_point(lamps, lamp, first_sample + sample, shift_u, shift_v)
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
                passed = 1.0
                if indoors and not lamps.inside[lamp]:
                    passed = _way_in(windows, sx, sy, sz, x, y, z)
                    if passed <= 0.0:
                        continue
                path = haze_length(air, x, y, z, wx, wy, wz, distance) if extinction > 0.0 else 0.0
                weight[k] = cos * sent * passed * math.exp(-extinction * path) / (square * samples)
                start[k, 0], start[k, 1], start[k, 2] = x, y, z
                target[k, 0], target[k, 1], target[k, 2] = sx, sy, sz
                row[k] = i
                lamp_of[k] = lamp
                k += 1
    return k


def direct_light(
    tracer: Tracer, rooms: Cells, air: Cells, closed_form: bool, windows: Windows, lamps: Lamps,
    points, normals, numbers, *, salt: int, first_sample: int, samples: int, extinction_per_m: float,
) -> np.ndarray:  # fmt: skip
    """
    Return the illuminance at each point per candela on the axis of each lamp.

    Parameters
    ----------
    points, normals : (n, 3) float arrays
        On surfaces, unit normals towards the light; a normal of zeros asks for the spherical total at a point in air. [mm], [1]
    numbers : (n,) int array
        A number for each point that chance depends on.
    first_sample, samples : int
        Number in the sequence of the first point on a lamp; points on each lamp.

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
    room = len(points) * len(lamps.shape) * samples
    start, target = np.empty((room, 3), np.float32), np.empty((room, 3), np.float32)
    weight, row, lamp_of = np.empty(room), np.empty(room, np.int32), np.empty(room, np.int32)
    count = _direct_samples(
        points, normals, numbers, rooms, air, closed_form, windows, lamps, salt, first_sample, samples,
        per_mm(extinction_per_m), SKIN_MM, start, target, weight, row, lamp_of,
    )  # fmt: skip
    blocked = tracer.blocked(start[:count], target[:count])
    add_free(total, weight, blocked, row, lamp_of, count)
    return total * LUX_PER_CANDELA_MM2
