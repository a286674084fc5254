"""
Small compiled steps that shafts and direct light share: chance, points on a lamp, lengths of haze, the phase function.

All lengths are millimetres and extinctions per millimetre; the callers convert.

Chance is a low-discrepancy sequence (the additive recurrence with the plastic number, M. Roberts, "The unreasonable
effectiveness of quasirandom sequences", 2018; from memory) and, where neighbours must differ, a hash. No state: the
same numbers give the same point on every thread.
"""

from __future__ import annotations

import math

import numpy as np

from previz.light.glass import INDEX, sheet_transmittance
from previz.rays.compiled import compiled
from previz.rays.packed import DISC, POINT

_R1, _R2 = 0.7548776662466927, 0.5698402909980532


@compiled
def hashed(a, b):
    """Return a number in [0, 1) that looks random, from two whole numbers (integer mixing after T. Mueller's lowbias32; from memory)."""
    x = np.uint32((np.uint32(a) * np.uint32(0x9E3779B9)) ^ np.uint32(b) * np.uint32(0x85EBCA6B))
    x = np.uint32(x ^ (x >> np.uint32(16))) * np.uint32(0x7FEB352D)
    x = np.uint32(x ^ (x >> np.uint32(15))) * np.uint32(0x846CA68B)
    x = np.uint32(x ^ (x >> np.uint32(16)))
    return float(x) * 2.3283064365386963e-10


@compiled
def _lamp_point(lamps, lamp, a, b, out):
    """
    Fill `out` (3,) with the point of the face of `lamp` that (a, b) in the unit square stands for. [mm]

    The square is mapped to the disc by P. Shirley and K. Chiu, "A low distortion map between disk and square",
    J. Graphics Tools 2(3), 1997 (from memory): it keeps areas and neighbours.
    """
    shape = lamps.shape[lamp]
    a = 2.0 * a - 1.0
    b = 2.0 * b - 1.0
    if shape == POINT:
        a = b = 0.0
    elif shape == DISC and (a != 0.0 or b != 0.0):
        if abs(a) > abs(b):
            radius = a
            angle = 0.25 * math.pi * b / a
        else:
            radius = b
            angle = 0.5 * math.pi - 0.25 * math.pi * a / b
        a = radius * math.cos(angle)
        b = radius * math.sin(angle)
    for axis in range(3):
        out[axis] = lamps.centre[lamp, axis] + a * lamps.half_u[lamp, axis] + b * lamps.half_v[lamp, axis]


@compiled
def _fill_lamp_points(lamps, first, salt, out):
    for lamp in range(out.shape[0]):
        for group in range(out.shape[1]):
            place = 2 * (lamp * out.shape[1] + group)
            shift_u, shift_v = hashed(place, salt), hashed(place + 1, salt)
            for sample in range(out.shape[2]):
                a = shift_u + _R1 * (first + sample)
                b = shift_v + _R2 * (first + sample)
                _lamp_point(lamps, lamp, a - math.floor(a), b - math.floor(b), out[lamp, group, sample])


def lamp_points(lamps, groups: int, samples: int, *, turn: int = 0, salt: int = 0) -> np.ndarray:
    """
    Return points on each lamp's face, (lamps, groups, samples, 3), spread evenly within each group and over its turns. [mm]

    The n-th `turn` goes on in a group's sequence where the one before it stopped. Groups, and salts, are shifted by chance.
    """
    out = np.empty((len(lamps.shape), groups, samples, 3))
    _fill_lamp_points(lamps, turn * samples, salt, out)
    return out


@compiled
def _tabled(lamps, lamp, cos, wx, wy, wz):
    """Read the table of `lamp` along the unit vector w, linear between its angles; see `Distribution`."""
    rows, columns, begin = lamps.rows[lamp], lamps.columns[lamp], lamps.begins[lamp]
    down = math.acos(min(1.0, max(-1.0, cos))) / math.pi * (rows - 1)
    i = min(int(down), rows - 2)
    down -= i
    begin += i * columns
    if columns == 1:
        return lamps.table[begin] * (1.0 - down) + lamps.table[begin + 1] * down
    x = lamps.first[lamp, 0] * wx + lamps.first[lamp, 1] * wy + lamps.first[lamp, 2] * wz
    y = lamps.second[lamp, 0] * wx + lamps.second[lamp, 1] * wy + lamps.second[lamp, 2] * wz
    turn = math.atan2(y, x) / (2.0 * math.pi)
    turn = (turn - math.floor(turn)) * (columns - 1)
    j = min(int(turn), columns - 2)
    turn -= j
    begin += j
    near = lamps.table[begin] * (1.0 - turn) + lamps.table[begin + 1] * turn
    far = lamps.table[begin + columns] * (1.0 - turn) + lamps.table[begin + columns + 1] * turn
    return near * (1.0 - down) + far * down


@compiled
def emission(lamps, lamp, wx, wy, wz):
    """Return the share of its candela that `lamp` sends along the unit vector w: by its table, else cos^n of the angle off its axis, 0 behind."""
    cos = lamps.normal[lamp, 0] * wx + lamps.normal[lamp, 1] * wy + lamps.normal[lamp, 2] * wz
    if lamps.rows[lamp] > 0:
        return _tabled(lamps, lamp, cos, wx, wy, wz)
    if cos <= 0.0:
        return 0.0
    exponent = lamps.exponent[lamp]
    if exponent == 1.0:
        return cos
    return cos**exponent


@compiled
def any_glass(windows):
    """Return True where some pane dims light."""
    for pane in range(len(windows.transmittance)):
        if windows.transmittance[pane] < 1.0:
            return True
    return False


@compiled
def clip_cell(cells, cell, ox, oy, oz, dx, dy, dz, t0, t1):
    """Return the part [t0, t1] of o + t d that lies in `cell`; t0 > t1 where none does."""
    for p in range(cells.first[cell], cells.first[cell + 1]):
        nx, ny, nz = cells.planes[p, 0], cells.planes[p, 1], cells.planes[p, 2]
        room = cells.planes[p, 3] - nx * ox - ny * oy - nz * oz
        speed = nx * dx + ny * dy + nz * dz
        if speed > 1e-12:
            t1 = min(t1, room / speed)
        elif speed < -1e-12:
            t0 = max(t0, room / speed)
        elif room < 0.0:
            return 1.0, 0.0
        if t0 > t1:
            return 1.0, 0.0
    return t0, t1


@compiled
def haze_length(cells, ox, oy, oz, dx, dy, dz, far):
    """Return how much of o + t d, 0 <= t <= far, lies in `cells`, which do not overlap; d is a unit vector. [mm]"""
    length = 0.0
    for cell in range(len(cells.first) - 1):
        t0, t1 = clip_cell(cells, cell, ox, oy, oz, dx, dy, dz, 0.0, far)
        if t1 > t0:
            length += t1 - t0
    return length


@compiled
def in_any_cell(cells, x, y, z, slack):
    """Return True where the point lies in one of `cells`, or no farther than `slack` outside each of its planes. [mm]"""
    for cell in range(len(cells.first) - 1):
        inside = True
        for p in range(cells.first[cell], cells.first[cell + 1]):
            if cells.planes[p, 0] * x + cells.planes[p, 1] * y + cells.planes[p, 2] * z > cells.planes[p, 3] + slack:
                inside = False
                break
        if inside:
            return True
    return False


@compiled
def scattering_share(cos, table):
    """Return the phase function kept in `table` at the cosine between travel before and after; see `previz.haze.phase.coordinate`. [1/sr]"""
    root = math.sqrt(max(0.0, 1.0 - abs(cos)))
    place = (root if cos >= 0.0 else 2.0 - root) * (0.5 * (len(table) - 1))
    node = min(np.int32(place), np.int32(len(table) - 2))
    return table[node] + (place - node) * (table[node + 1] - table[node])
_sheet = compiled(sheet_transmittance)
_STRAIGHT_THROUGH = float(sheet_transmittance(1.0))


@compiled
def slanting_share(cos):
    """Return what a pane lets through of light at an angle of that cosine to its normal, as a share of what it lets through straight on."""
    return _sheet(cos, INDEX) / _STRAIGHT_THROUGH


@compiled
def add_free(total, weight, blocked, row, column, count):
    """Add `weight` to `total[row, column]` for the first `count` samples that nothing blocks."""
    for k in range(count):
        if not blocked[k]:
            total[row[k], column[k]] += weight[k]


@compiled
def harmonics(x, y, z, out):
    """Fill `out` (9,) with the real spherical harmonics of orders 0 to 2 at the unit vector (x, y, z)."""
    out[0] = 0.28209479177387814
    out[1] = 0.4886025119029199 * y
    out[2] = 0.4886025119029199 * z
    out[3] = 0.4886025119029199 * x
    out[4] = 1.0925484305920792 * x * y
    out[5] = 1.0925484305920792 * y * z
    out[6] = 0.31539156525252005 * (3.0 * z * z - 1.0)
    out[7] = 1.0925484305920792 * x * z
    out[8] = 0.5462742152960396 * (x * x - y * y)

