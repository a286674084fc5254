"""
Shafts: the light of lamps, scattered once by haze towards the lens.

For a point s on a lamp's face, a convex pane with an outer and an inner rim lets light into an intersection of
half-spaces through s. Seen in the panel's frame a rim edge n . q >= c at depth e admits a point x on the inside when

    (n . s - c) (s_depth - x_depth) + (s_depth - e) n . (x - s) >= 0

which is linear along a ray. Of an edge's two rims only one binds: the inner where s itself is on the edge's clear
side, the outer where it is not. So each edge cuts the ray once and a pane's lit interval is found in closed form.
Intervals of different panes are made disjoint, and samples are spaced evenly in the angle seen from s, which takes
the 1/d^2 of the lamp out of the sum (C. Kulla and M. Fajardo, "Importance sampling techniques for path tracing in
participating media", EGSR 2012). One shadow ray against the whole set decides each sample.

Where the air is not that of rooms (a set from a mesh, a box of haze) and for a lamp inside a room the same samples
are taken along all of the ray in haze.
"""

from __future__ import annotations

import math

import numpy as np

from previz.light.units import LUX_PER_CANDELA_MM2, per_mm
from previz.rays.compiled import compiled
from previz.rays.kernels import add_free, clip_cell, emission, hashed, haze_length, lamp_point, scattering_share
from previz.rays.packed import Cells, Lamps, Windows
from previz.rays.tracer import Tracer

# A ray meets few panes at once; more than this many lit intervals on one ray are cut off at the nearest ones.
_MOST_INTERVALS = 256


@compiled
def _pane_interval(windows, pane, s, s_depth, o, d, t0, t1):
    """Return the part of [t0, t1] of the ray o + t d (panel frame) that s lights through `pane`."""
    for e in range(windows.edge_first[pane], windows.edge_first[pane + 1]):
        edge = windows.edges[e]
        clear = edge[0] * s[0] + edge[1] * s[1] - edge[2]
        depth = edge[3] if clear >= 0.0 else edge[4]
        start = clear * (s_depth - o[2]) + (s_depth - depth) * (edge[0] * (o[0] - s[0]) + edge[1] * (o[1] - s[1]))
        slope = -clear * d[2] + (s_depth - depth) * (edge[0] * d[0] + edge[1] * d[1])
        if slope > 1e-12:
            t0 = max(t0, -start / slope)
        elif slope < -1e-12:
            t1 = min(t1, -start / slope)
        elif start < 0.0:
            return 1.0, 0.0
        if t0 >= t1:
            return 1.0, 0.0
    return t0, t1


@compiled
def _panel_intervals(windows, wall, sx, sy, sz, o, d, t0, t1, out, count):
    """Append to `out` the intervals (start, end, transmittance) that s lights through the panes of `wall`; return the new count."""
    origin = windows.origin[wall]
    axes = windows.axes[wall]
    rx, ry, rz = sx - origin[0], sy - origin[1], sz - origin[2]
    s_depth = axes[2, 0] * rx + axes[2, 1] * ry + axes[2, 2] * rz
    if s_depth <= windows.thickness[wall] + 1e-6:
        return count
    # Light that came in stands on the panel's inner side: depth <= 0.
    if d[2] > 1e-12:
        t1 = min(t1, -o[2] / d[2])
    elif d[2] < -1e-12:
        t0 = max(t0, -o[2] / d[2])
    elif o[2] > 0.0:
        return count
    if t0 >= t1:
        return count
    s = (axes[0, 0] * rx + axes[0, 1] * ry + axes[0, 2] * rz, axes[1, 0] * rx + axes[1, 1] * ry + axes[1, 2] * rz)
    # The ray's shadow on the plane of the rims, thrown by s, is a straight segment; panes beside it are not lit.
    ahead = s_depth - windows.rim[wall]
    near = ahead / (s_depth - o[2] - t0 * d[2])
    far = ahead / (s_depth - o[2] - t1 * d[2])
    a0 = s[0] + (o[0] + t0 * d[0] - s[0]) * near
    a1 = s[0] + (o[0] + t1 * d[0] - s[0]) * far
    u0 = s[1] + (o[1] + t0 * d[1] - s[1]) * near
    u1 = s[1] + (o[1] + t1 * d[1] - s[1]) * far
    a_low, a_high = min(a0, a1), max(a0, a1)
    u_low, u_high = min(u0, u1), max(u0, u1)
    box = windows.wall_box[wall]
    if a_high < box[0] or a_low > box[2] or u_high < box[1] or u_low > box[3]:
        return count
    for pane in range(windows.wall_first[wall], windows.wall_first[wall + 1]):
        box = windows.box[pane]
        if a_high < box[0] or a_low > box[2] or u_high < box[1] or u_low > box[3]:
            continue
        p0, p1 = _pane_interval(windows, pane, s, s_depth, o, d, t0, t1)
        if p1 > p0 and count < len(out):
            out[count, 0] = p0
            out[count, 1] = p1
            out[count, 2] = windows.transmittance[pane]
            count += 1
    return count


@compiled
def _made_disjoint(intervals, first, count):
    """Sort rows first .. count by their start and cut away overlaps, in place; return the new count."""
    for i in range(first + 1, count):
        a, b, c = intervals[i, 0], intervals[i, 1], intervals[i, 2]
        j = i - 1
        while j >= first and intervals[j, 0] > a:
            intervals[j + 1] = intervals[j]
            j -= 1
        intervals[j + 1, 0] = a
        intervals[j + 1, 1] = b
        intervals[j + 1, 2] = c
    kept = first
    end = -np.inf
    for i in range(first, count):
        start = max(intervals[i, 0], end)
        stop = intervals[i, 1]
        if stop > start:
            intervals[kept, 0] = start
            intervals[kept, 1] = stop
            intervals[kept, 2] = intervals[i, 2]
            kept += 1
            end = stop
    return kept


@compiled
def _shaft_samples(
    origins, directions, far, pixels, air, closed_form, windows, lamps, salt, first_sample, lamp_samples, haze_samples,
    extinction, scattering, g, start, target, weight, ray, lamp_of,
):  # fmt: skip
    """
    Fill the samples of a batch of rays; return their number.

    origins, directions (n, 3), far (n,), pixels (n,) int; start, target (k, 3) float32 ends of the shadow rays,
    weight (k,) radiance per candela that the sample adds when free, ray, lamp_of (k,) what it belongs to.
    """
    walls = len(windows.thickness)
    local_o = np.empty((walls, 3))
    local_d = np.empty((walls, 3))
    segments = np.empty((len(air.first), 2))
    intervals = np.empty((_MOST_INTERVALS, 3))
    angles = np.empty((_MOST_INTERVALS, 2))
    k = 0
    for i in range(len(origins)):
        ox, oy, oz = np.float64(origins[i, 0]), np.float64(origins[i, 1]), np.float64(origins[i, 2])
        dx, dy, dz = np.float64(directions[i, 0]), np.float64(directions[i, 1]), np.float64(directions[i, 2])
        n_segments = 0
        for cell in range(len(air.first) - 1):
            t0, t1 = clip_cell(air, cell, ox, oy, oz, dx, dy, dz, 0.0, np.float64(far[i]))
            if t1 > t0 and t1 < 1e30:
                segments[n_segments, 0] = t0
                segments[n_segments, 1] = t1
                n_segments += 1
        if n_segments == 0:
            continue
        for w in range(walls):
            for a in range(3):
                axis = windows.axes[w, a]
                local_o[w, a] = axis[0] * (ox - windows.origin[w, 0]) + axis[1] * (oy - windows.origin[w, 1]) + axis[2] * (oz - windows.origin[w, 2])
                local_d[w, a] = axis[0] * dx + axis[1] * dy + axis[2] * dz
        shift_u = hashed(pixels[i], salt)
        shift_v = hashed(pixels[i], salt + 1)
        shift_t = hashed(pixels[i], salt + 2)
        for lamp in range(len(lamps.shape)):
            for sample in range(lamp_samples):
                number = first_sample + sample
                sx, sy, sz = lamp_point(lamps, lamp, number, shift_u, shift_v)
                count = np.int64(0)
                for j in range(n_segments):
                    if lamps.inside[lamp] or not closed_form:
                        intervals[count, 0] = segments[j, 0]
                        intervals[count, 1] = segments[j, 1]
                        intervals[count, 2] = 1.0
                        count += 1
                        continue
                    first = count
                    for w in range(walls):
                        count = _panel_intervals(
                            windows, w, sx, sy, sz, local_o[w], local_d[w], segments[j, 0], segments[j, 1], intervals, count
                        )
                    if count > first + 1:
                        count = _made_disjoint(intervals, first, count)
                if count == 0:
                    continue
                middle = (sx - ox) * dx + (sy - oy) * dy + (sz - oz) * dz
                fx, fy, fz = ox + middle * dx - sx, oy + middle * dy - sy, oz + middle * dz - sz
                off = max(math.sqrt(fx * fx + fy * fy + fz * fz), 1e-6)
                total = 0.0
                for j in range(count):
                    angles[j, 0] = math.atan((intervals[j, 0] - middle) / off)
                    angles[j, 1] = math.atan((intervals[j, 1] - middle) / off) - angles[j, 0]
                    total += angles[j, 1]
                jitter = shift_t + 0.6180339887498949 * number
                jitter -= math.floor(jitter)
                j = 0
                passed = 0.0
                for h in range(haze_samples):
                    share = (h + jitter) / haze_samples * total
                    while j < count - 1 and share > passed + angles[j, 1]:
                        passed += angles[j, 1]
                        j += 1
                    t = middle + off * math.tan(angles[j, 0] + min(share - passed, angles[j, 1]))
                    x, y, z = ox + t * dx, oy + t * dy, oz + t * dz
                    wx, wy, wz = x - sx, y - sy, z - sz
                    distance = math.sqrt(wx * wx + wy * wy + wz * wz)
                    wx, wy, wz = wx / distance, wy / distance, wz / distance
                    sent = emission(lamps, lamp, wx, wy, wz)
                    if sent <= 0.0:
                        continue
                    view = 0.0
                    for q in range(n_segments):
                        view += max(0.0, min(segments[q, 1], t) - segments[q, 0])
                    path = view + haze_length(air, x, y, z, -wx, -wy, -wz, distance)
                    phase = scattering_share(-(wx * dx + wy * dy + wz * dz), g)
                    weight[k] = (
                        scattering * phase * sent * math.exp(-extinction * path) * intervals[j, 2]
                        * total / (off * haze_samples * lamp_samples)
                    )  # fmt: skip
                    start[k, 0], start[k, 1], start[k, 2] = x, y, z
                    target[k, 0], target[k, 1], target[k, 2] = sx, sy, sz
                    ray[k] = i
                    lamp_of[k] = lamp
                    k += 1
    return k


def shaft_radiance(
    tracer: Tracer, air: Cells, closed_form: bool, windows: Windows, lamps: Lamps,
    origins, directions, far, pixels, *, salt: int, first_sample: int, lamp_samples: int, haze_samples: int,
    extinction_per_m: float, scattering_per_m: float, g: float,
) -> np.ndarray:  # fmt: skip
    """
    Return the radiance that haze sends along each ray per candela on the axis of each lamp, by one scattering.

    Parameters
    ----------
    origins, directions : (n, 3) float arrays
        Rays; unit directions. [mm], [1]
    far : (n,) float array
        Where each ray ends; inf where it leaves the set. [mm]
    pixels : (n,) int array
        A number for each ray that chance depends on.
    closed_form : bool
        True where all light enters `air` through `windows`; False takes samples along all of the ray.
    extinction_per_m, scattering_per_m, g : float
        Of the air on both legs; of the air where light scatters; mean cosine of scattering. [1/m], [1/m], [1]
    first_sample, lamp_samples, haze_samples : int
        Number in the sequence of the first point on a lamp; points on each lamp; points in haze for each of those.

    Returns
    -------
    (n, lamps) float array
        Times a lamp's candela: luminance. [1/m2]
    """
    total = np.zeros((len(origins), len(lamps.shape)))
    if scattering_per_m <= 0 or not len(lamps.shape) or not len(air.first[1:]):
        return total
    room = len(origins) * len(lamps.shape) * lamp_samples * haze_samples
    start, target = np.empty((room, 3), np.float32), np.empty((room, 3), np.float32)
    weight, ray, lamp_of = np.empty(room), np.empty(room, np.int32), np.empty(room, np.int32)
    count = _shaft_samples(
        origins, directions, far, pixels, air, closed_form, windows, lamps, salt, first_sample, lamp_samples, haze_samples,
        per_mm(extinction_per_m), per_mm(scattering_per_m), g, start, target, weight, ray, lamp_of,
    )  # fmt: skip
    blocked = tracer.blocked(start[:count], target[:count])
    add_free(total, weight, blocked, ray, lamp_of, count)
    return total * LUX_PER_CANDELA_MM2
