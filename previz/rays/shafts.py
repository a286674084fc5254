"""
Shafts: the light of lamps, scattered once by haze towards the lens.

For a point s on a lamp's face, a convex pane with an outer and an inner rim lets light into an intersection of
half-spaces through s. Seen in the panel's frame a rim edge n . q >= c at depth e admits a point x on the inside when

    (n . s - c) (s_depth - x_depth) + (s_depth - e) n . (x - s) >= 0

a plane through s. Of an edge's two rims only one binds: the inner where s itself is on the edge's clear side, the
outer where it is not. So each edge cuts a ray once, and a pane's lit interval is found in closed form. Samples are
spaced evenly in the angle seen from s, which takes the 1/d^2 of the lamp out of the sum (C. Kulla and M. Fajardo,
"Importance sampling techniques for path tracing in participating media", EGSR 2012). One shadow ray against the whole
set decides each sample.

Only apertures that face the open count as ways in (see `packed.entries`), so a line from a lamp crosses two of them
only where it leaves the rooms and comes back; such a sample is shared between them.

Where the air is not that of rooms (a set from a mesh, a box of haze) and for a lamp inside a room the same samples
are taken along all of the ray in haze.

Speed: neighbouring rays are dealt into groups, and all rays of a group look at the same points of a lamp (interleaved
sampling: A. Keller and W. Heidrich, "Interleaved sampling", EGWR 2001; from memory). So one pane's planes serve many
rays, and cutting them is a loop without branches that the processor does several rays at a time. Panes that no ray of
a tile can see lit are left out beforehand.
"""

from __future__ import annotations

import math

import numpy as np

from previz.light.units import LUX_PER_CANDELA_MM2, per_mm
from previz.rays.compiled import compiled
from previz.rays.kernels import add_free, any_glass, clip_cell, emission, haze_length, hashed, scattering_share, slanting_share
from previz.rays.packed import Cells, Lamps, Windows, face_corners
from previz.rays.tracer import Tracer
from previz.rays.uneven import Swirled, weigh_uneven

_BEHIND = 1e-9
_GOLDEN = 0.6180339887498949


@compiled
def _local(windows, wall, x, y, z):
    """Return along, up and depth of a point in the frame of `wall`."""
    axes = windows.axes
    rx, ry, rz = x - windows.origin[wall, 0], y - windows.origin[wall, 1], z - windows.origin[wall, 2]
    return (
        axes[wall, 0, 0] * rx + axes[wall, 0, 1] * ry + axes[wall, 0, 2] * rz,
        axes[wall, 1, 0] * rx + axes[wall, 1, 1] * ry + axes[wall, 1, 2] * rz,
        axes[wall, 2, 0] * rx + axes[wall, 2, 1] * ry + axes[wall, 2, 2] * rz,
    )


@compiled
def _clear(windows, edge, s_along, s_up):
    """Return how far s lies on the clear side of the line of `edge`, in its panel's plane."""
    return windows.edges[edge, 0] * s_along + windows.edges[edge, 1] * s_up - windows.edges[edge, 2]


@compiled
def _rim_plane(windows, wall, edge, rim, s_along, s_up, s_depth):
    """Return the world gradient of the half-space that rim 3 (inner) or 4 (outer) of `edge` leaves lit by s; it vanishes at s."""
    axes = windows.axes
    clear = _clear(windows, edge, s_along, s_up)
    ahead = s_depth - windows.edges[edge, rim]
    n_along, n_up = ahead * windows.edges[edge, 0], ahead * windows.edges[edge, 1]
    return (
        n_along * axes[wall, 0, 0] + n_up * axes[wall, 1, 0] - clear * axes[wall, 2, 0],
        n_along * axes[wall, 0, 1] + n_up * axes[wall, 1, 1] - clear * axes[wall, 2, 1],
        n_along * axes[wall, 0, 2] + n_up * axes[wall, 1, 2] - clear * axes[wall, 2, 2],
    )


@compiled
def _binding_plane(windows, wall, edge, s_along, s_up, s_depth):
    """Return the gradient of the rim of `edge` that binds: the inner where s is on its clear side, else the outer."""
    rim = 3 if _clear(windows, edge, s_along, s_up) >= 0.0 else 4
    return _rim_plane(windows, wall, edge, rim, s_along, s_up, s_depth)


@compiled
def _in_sight(windows, wall, pane, corners, hull):
    """
    Return False where no point of `hull` (h, 3), nor between them, is lit through `pane` from within `corners` (c, 3).

    What one rim edge hides is a half-space, both of lamp points for a fixed place and of places for a fixed lamp point;
    so an edge that hides all corners of the hull from all corners of the lamp hides everything between as well.
    """
    for edge in range(windows.edge_first[pane], windows.edge_first[pane + 1]):
        for rim in (3, 4):
            hides = True
            for c in range(len(corners)):
                sx, sy, sz = corners[c, 0], corners[c, 1], corners[c, 2]
                a, u, depth = _local(windows, wall, sx, sy, sz)
                gx, gy, gz = _rim_plane(windows, wall, edge, rim, a, u, depth)
                for h in range(len(hull)):
                    if gx * (hull[h, 0] - sx) + gy * (hull[h, 1] - sy) + gz * (hull[h, 2] - sz) >= 0.0:
                        hides = False
                        break
                if not hides:
                    break
            if hides:
                return False
    return True


@compiled
def _bounds_through(s, hull, out):
    """
    Fill `out` (m, 3) with the planes through s that bound `hull` (h, 3), normals towards it; return their number.

    Each holds two of its points and has all others on one side.
    """
    count = 0
    for a in range(len(hull)):
        for b in range(a + 1, len(hull)):
            ax, ay, az = hull[a, 0] - s[0], hull[a, 1] - s[1], hull[a, 2] - s[2]
            bx, by, bz = hull[b, 0] - s[0], hull[b, 1] - s[1], hull[b, 2] - s[2]
            nx, ny, nz = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
            low = high = 0.0
            for c in range(len(hull)):
                if c != a and c != b:
                    side = nx * (hull[c, 0] - s[0]) + ny * (hull[c, 1] - s[1]) + nz * (hull[c, 2] - s[2])
                    low, high = min(low, side), max(high, side)
            if count < len(out) and (low == 0.0) != (high == 0.0):
                sign = 1.0 if low == 0.0 else -1.0
                out[count, 0], out[count, 1], out[count, 2] = sign * nx, sign * ny, sign * nz
                count += 1
    return count


@compiled
def _beside(windows, pane, s, bounds, count):
    """Return True where one of the planes `bounds` through s has the whole pane on its far side: no light from s through it meets the hull."""
    for i in range(count):
        outside = True
        for e in range(windows.edge_first[pane], windows.edge_first[pane + 1]):
            cx, cy, cz = windows.corner[e, 0] - s[0], windows.corner[e, 1] - s[1], windows.corner[e, 2] - s[2]
            if bounds[i, 0] * cx + bounds[i, 1] * cy + bounds[i, 2] * cz >= 0.0:
                outside = False
                break
        if outside:
            return True
    return False


@compiled
def _cut(gx, gy, gz, above, x, y, z, t0, t1):
    """
    Cut [t0, t1] of rays by above + t g . (x, y, z) >= 0, where `above` is how far their common origin lies inside.

    A loop so plain that the processor does several rays at once.
    """
    for r in range(len(t0)):
        rise = gx * x[r] + gy * y[r] + gz * z[r] + 1e-300
        t = -above / rise
        low, high = t0[r], t1[r]
        t0[r] = t if (rise > 0.0 and t > low) else low
        t1[r] = t if (rise < 0.0 and t < high) else high


@compiled
def _any_left(t0, t1):
    longest = -1.0
    for r in range(len(t0)):
        longest = max(longest, t1[r] - t0[r])
    return longest > 0.0


@compiled
def _copy(low, high, t0, t1):
    for r in range(len(t0)):
        t0[r] = low[r]
        t1[r] = high[r]


@compiled
def _brightening(x):
    """Return exp(x) for 0 <= x, to 1e-9 of itself up to 2 and to 1e-5 up to 8: a polynomial and four squarings, cheaper than a call."""
    q = min(x, 40.0) * 0.0625
    p = 1.0 + q * (1.0 + q * (0.5 + q * (1.0 / 6.0 + q * (1.0 / 24.0 + q * (1.0 / 120.0 + q * (1.0 / 720.0 + q / 5040.0))))))
    p *= p
    p *= p
    p *= p
    return p * p


@compiled
def _pane_between(windows, wall, sx, sy, sz, x, y, z):
    """Return the pane of the panel `wall` that the line from s to x passes, -1 where it passes none."""
    a, u, s_depth = _local(windows, wall, sx, sy, sz)
    if s_depth <= windows.thickness[wall] + _BEHIND:
        return -1
    b, v, depth = _local(windows, wall, x, y, z)
    if depth > 0.0:
        return -1
    share = (s_depth - windows.rim[wall]) / (s_depth - depth)
    b, v = a + (b - a) * share, u + (v - u) * share
    box = windows.wall_box
    if b < box[wall, 0] or b > box[wall, 2] or v < box[wall, 1] or v > box[wall, 3]:
        return -1
    for pane in range(windows.wall_first[wall], windows.wall_first[wall + 1]):
        lit = True
        for edge in range(windows.edge_first[pane], windows.edge_first[pane + 1]):
            gx, gy, gz = _binding_plane(windows, wall, edge, a, u, s_depth)
            if gx * (x - sx) + gy * (y - sy) + gz * (z - sz) < 0.0:
                lit = False
                break
        if lit:
            return pane
    return -1


@compiled
def pane_crossed(windows, sx, sy, sz, x, y, z):
    """Return the first pane of any panel that the line from s to x passes, -1 where it passes none."""
    for wall in range(len(windows.thickness)):
        pane = _pane_between(windows, wall, sx, sy, sz, x, y, z)
        if pane >= 0:
            return pane
    return -1


@compiled
def _other_ways_in(windows, own, sx, sy, sz, x, y, z):
    """Return through how many panes of other panels than `own` the line from s to x passes."""
    ways = 0
    for wall in range(len(windows.thickness)):
        if wall != own and _pane_between(windows, wall, sx, sy, sz, x, y, z) >= 0:
            ways += 1
    return ways


@compiled
def _gather_lit(d, jitter, t0, t1, enter, first, last, ray, rows):
    """Pack the rays first .. last that are lit: their numbers into `ray`, what is known of them into `rows`; return how many."""
    m = 0
    for r in range(first, last):
        if t1[r] > t0[r]:
            ray[m] = r
            rows[_T0, m], rows[_T1, m], rows[_ENTER, m], rows[_JITTER, m] = t0[r], t1[r], enter[r], jitter[r]
            rows[_DX, m], rows[_DY, m], rows[_DZ, m] = d[0, r], d[1, r], d[2, r]
            m += 1
    return m


@compiled
def _view_from(m, lx, ly, lz, dx, dy, dz, t0, t1, middle, inverse_off, low, angle):
    """
    Fill in how each lit interval looks from s, which lies at (lx, ly, lz) from the rays' origin; return the widest angle's tangent.

    middle: where a ray passes s nearest; inverse_off: 1 / how near; low: tangent at which the interval begins; angle: how wide it is.
    """
    square = lx * lx + ly * ly + lz * lz
    for r in range(m):
        middle[r] = lx * dx[r] + ly * dy[r] + lz * dz[r]
    for r in range(m):
        inverse_off[r] = 1.0 / math.sqrt(max(square - middle[r] * middle[r], 1e-12))
    for r in range(m):
        low[r] = (t0[r] - middle[r]) * inverse_off[r]
    widest = 0.0
    for r in range(m):
        high = (t1[r] - middle[r]) * inverse_off[r]
        below = 1.0 + low[r] * high
        t = (high - low[r]) / max(below, 1e-12)
        widest = max(widest, t)
        q = t * t
        angle[r] = t * (1.0 - q * (1.0 / 3.0 - q * (0.2 - q * (1.0 / 7.0 - q / 9.0))))
    return widest


@compiled
def _places(m, h, haze_samples, offset, jitter, angle, low, inverse_off, middle, place):
    """Fill `place` with where along each ray sample h lies: evenly in the angle seen from s, for narrow angles."""
    for r in range(m):
        shift = jitter[r] + offset
        shift = shift - 1.0 if shift >= 1.0 else shift
        x = (h + shift) / haze_samples * angle[r]
        q = x * x
        tangent = x * (1.0 + q * (1.0 / 3.0 + q * (2.0 / 15.0 + q * 17.0 / 315.0)))
        place[r] = middle[r] + (low[r] + tangent) / ((1.0 - low[r] * tangent) * inverse_off[r])


@compiled
def _wide_places(m, h, haze_samples, offset, rows):
    """The same for any angle."""
    for r in range(m):
        shift = (rows[_JITTER, r] + offset) % 1.0
        high = (rows[_T1, r] - rows[_MIDDLE, r]) * rows[_OFF, r]
        low = math.atan(rows[_LOW, r])
        rows[_ANGLE, r] = math.atan(high) - low
        rows[_PLACE, r] = rows[_MIDDLE, r] + math.tan(low + (h + shift) / haze_samples * rows[_ANGLE, r]) / rows[_OFF, r]


@compiled
def _kept_within(m, t0, t1, place):
    for r in range(m):
        place[r] = min(max(place[r], t0[r]), t1[r])


@compiled
def _weigh(m, lx, ly, lz, nx, ny, nz, even, hx, hy, hz, s_depth, extinction, phase, each, place, dx, dy, dz, enter, angle, inverse_off, share):
    """Fill `share` with the radiance per candela that a sample at each `place` adds when nothing blocks it."""
    for r in range(m):
        wx, wy, wz = place[r] * dx[r] - lx, place[r] * dy[r] - ly, place[r] * dz[r] - lz
        distance = math.sqrt(wx * wx + wy * wy + wz * wz)
        # Of the way from s, which falls s_depth to the inner plane, the rest is in haze.
        fall = max(1e-12, -(hx * wx + hy * wy + hz * wz))
        both = 1.0 / (distance * fall)
        inverse = fall * both
        path = place[r] - enter[r] + distance * distance * both * max(0.0, fall - s_depth)
        scattered = scattering_share(-(wx * dx[r] + wy * dy[r] + wz * dz[r]) * inverse, phase)
        sent = even + max(0.0, nx * wx + ny * wy + nz * wz) * inverse
        share[r] = each * angle[r] * inverse_off[r] * sent * scattered / _brightening(extinction * path)


# What is known of lit rays, one row each of a small table that stays in the processor's cache.
_T0, _T1, _ENTER, _JITTER, _DX, _DY, _DZ, _MIDDLE, _OFF, _LOW, _ANGLE, _PLACE, _SHARE = range(13)
_NARROW = 0.1


@compiled
def _place_samples(
    ox, oy, oz, d, jitter, t0, t1, first, last, enter, s, offset, windows, lamps, lamp, pane, extinction, scattering, phase,
    haze_samples, rows, lit, k, start, target, share, ray, column, pane_of,
):  # fmt: skip
    """
    Place `haze_samples` samples on each lit interval, with the radiance per candela that each adds when nothing blocks it.

    `enter` (n,) is where each ray comes into the haze. Both legs are dimmed as in one convex room: the lens's is in haze
    from there on, the lamp's from the inner plane of the panel of `pane`; with `extinction` 0 they are not, and `_put_right` does it.
    Returns the new number of samples, -1 where there is no room for them. A sample lies `jitter` (n,) + `offset`, less
    than 1 each, along its share of the interval.

    Each step is a plain loop over the rows of a table, so that the processor does several rays at a time.
    """
    m = _gather_lit(d, jitter, t0, t1, enter, first, last, lit, rows)
    if m == 0:
        return k
    if k + m * haze_samples > len(ray):
        return -1
    lx, ly, lz = s[0] - ox, s[1] - oy, s[2] - oz
    # Lambert's cosine; any other beam is taken as even here, and `_put_right` gives it its shape.
    nx = ny = nz = 0.0
    even = 1.0
    if lamps.lambertian[lamp]:
        nx, ny, nz, even = lamps.normal[lamp, 0], lamps.normal[lamp, 1], lamps.normal[lamp, 2], 0.0
    hx = hy = hz = 0.0
    s_depth = 1.0
    transmittance = 1.0
    if pane >= 0:
        wall = windows.wall_of[pane]
        transmittance = windows.transmittance[pane]
        hx, hy, hz = windows.axes[wall, 2, 0], windows.axes[wall, 2, 1], windows.axes[wall, 2, 2]
        s_depth = hx * (s[0] - windows.origin[wall, 0]) + hy * (s[1] - windows.origin[wall, 1]) + hz * (s[2] - windows.origin[wall, 2])
    each = scattering * transmittance / haze_samples
    dx, dy, dz, low, angle, off, middle = rows[_DX], rows[_DY], rows[_DZ], rows[_LOW], rows[_ANGLE], rows[_OFF], rows[_MIDDLE]
    widest = _view_from(m, lx, ly, lz, dx, dy, dz, rows[_T0], rows[_T1], middle, off, low, angle)
    for h in range(haze_samples):
        if widest < _NARROW:
            _places(m, h, haze_samples, offset, rows[_JITTER], angle, low, off, middle, rows[_PLACE])
        else:
            _wide_places(m, h, haze_samples, offset, rows)
        _kept_within(m, rows[_T0], rows[_T1], rows[_PLACE])
        _weigh(m, lx, ly, lz, nx, ny, nz, even, hx, hy, hz, s_depth, extinction, phase, each, rows[_PLACE], dx, dy, dz, rows[_ENTER], angle, off, rows[_SHARE])
        for r in range(m):
            t = rows[_PLACE, r]
            start[k, 0], start[k, 1], start[k, 2] = ox + t * rows[_DX, r], oy + t * rows[_DY, r], oz + t * rows[_DZ, r]
            target[k, 0], target[k, 1], target[k, 2] = s[0], s[1], s[2]
            share[k] = rows[_SHARE, r]
            ray[k] = lit[r]
            column[k] = lamp
            pane_of[k] = pane
            k += 1
    return k


@compiled
def _shaft_samples(
    o, d, jitter, segments, group_first, closed_form, windows, lamps, points, offsets, corners, hull, extinction, scattering, phase,
    haze_samples, t0, t1, start, target, share, ray, column, pane_of,
):  # fmt: skip
    """
    Fill the samples of a tile; return their number, -1 where there is no room for them.

    o (groups, 3) where the rays of each group begin, d (3, n) their directions, group by group; segments (cells, 2, n) where each lies in haze; points (lamps, groups, samples, 3) on
    the lamps, corners (lamps, 4, 3) around them; start, target (k, 3) float32 ends of the shadow rays; share (k,) what a
    sample adds when nothing blocks it.
    """
    k = 0
    inner0, inner1, bounds = np.empty(len(t0)), np.empty(len(t0)), np.empty((16, 3))
    sights = np.empty(len(windows.box), np.bool_)
    rows, lit = np.empty((13, len(t0))), np.empty(len(t0), np.int64)
    enter = segments[0, 0]
    for cell in range(len(segments)):
        low, high = segments[cell, 0], segments[cell, 1]
        for lamp in range(len(lamps.shape)):
            if lamps.inside[lamp] or not closed_form:
                for group in range(len(o)):
                    for sample in range(points.shape[2]):
                        k = _place_samples(
                            o[group, 0], o[group, 1], o[group, 2], d, jitter, low, high, group_first[group], group_first[group + 1], enter,
                            points[lamp, group, sample], offsets[sample], windows, lamps, lamp, np.int64(-1), 0.0, scattering, phase,
                            haze_samples, rows, lit, k, start, target, share, ray, column, pane_of,
                        )  # fmt: skip
                        if k < 0:
                            return k
                continue
            for wall in range(len(windows.thickness)):
                # Light that came in stands on the panel's inner side.
                inx, iny, inz = -windows.axes[wall, 2, 0], -windows.axes[wall, 2, 1], -windows.axes[wall, 2, 2]
                panes = range(windows.wall_first[wall], windows.wall_first[wall + 1])
                for pane in panes:
                    sights[pane] = windows.transmittance[pane] > 0.0 and _in_sight(windows, wall, pane, corners[lamp], hull)
                for group in range(len(o)):
                    first, last = group_first[group], group_first[group + 1]
                    if first == last:
                        continue
                    ox, oy, oz = o[group, 0], o[group, 1], o[group, 2]
                    dx, dy, dz = d[0, first:last], d[1, first:last], d[2, first:last]
                    a0, a1, b0, b1 = t0[first:last], t1[first:last], inner0[first:last], inner1[first:last]
                    _copy(low[first:last], high[first:last], b0, b1)
                    above = inx * (ox - windows.origin[wall, 0]) + iny * (oy - windows.origin[wall, 1]) + inz * (oz - windows.origin[wall, 2])
                    _cut(inx, iny, inz, above, dx, dy, dz, b0, b1)
                    for sample in range(points.shape[2]):
                        s = points[lamp, group, sample]
                        a, u, depth = _local(windows, wall, s[0], s[1], s[2])
                        if depth <= windows.thickness[wall] + _BEHIND:
                            continue
                        sides = _bounds_through(s, hull, bounds)
                        for pane in panes:
                            if not sights[pane] or _beside(windows, pane, s, bounds, sides):
                                continue
                            _copy(b0, b1, a0, a1)
                            for edge in range(windows.edge_first[pane], windows.edge_first[pane + 1]):
                                gx, gy, gz = _binding_plane(windows, wall, edge, a, u, depth)
                                _cut(gx, gy, gz, gx * (ox - s[0]) + gy * (oy - s[1]) + gz * (oz - s[2]), dx, dy, dz, a0, a1)
                                if not _any_left(a0, a1):
                                    break
                            k = _place_samples(
                                ox, oy, oz, d, jitter, t0, t1, first, last, enter, s, offsets[sample], windows,
                                lamps, lamp, pane, extinction if len(segments) == 1 else 0.0, scattering, phase, haze_samples,
                                rows, lit, k, start, target, share, ray, column, pane_of,
                            )  # fmt: skip
                            if k < 0:
                                return k
    return k


@compiled
def _put_right(air, windows, lamps, lens, segments, extinction, count, start, target, ray, column, pane_of, share):
    """
    Correct samples, seen from `lens` (n, 3), for what `_place_samples` takes to be simple: beams that are no Lambert's, air in
    several cells or without panels, several ways in, glass; and give those behind a tint its column of the lamp.
    """
    one_cell = len(segments) == 1
    # A line from outside enters one convex room once; only several cells can be entered again.
    several = len(segments) > 1 and len(windows.thickness) > 1
    glazed = len(windows.tints) > 1 or any_glass(windows)
    for k in range(count):
        r, lamp, pane = ray[k], column[k], pane_of[k]
        simple = one_cell and pane >= 0
        if share[k] == 0.0 or (simple and lamps.lambertian[lamp] and not several and not glazed):
            continue
        x, y, z = np.float64(start[k, 0]), np.float64(start[k, 1]), np.float64(start[k, 2])
        sx, sy, sz = np.float64(target[k, 0]), np.float64(target[k, 1]), np.float64(target[k, 2])
        wx, wy, wz = x - sx, y - sy, z - sz
        distance = math.sqrt(wx * wx + wy * wy + wz * wz)
        wx, wy, wz = wx / distance, wy / distance, wz / distance
        if not lamps.lambertian[lamp]:
            share[k] *= emission(lamps, lamp, wx, wy, wz)
        if not simple:
            t = math.sqrt((x - lens[r, 0]) ** 2 + (y - lens[r, 1]) ** 2 + (z - lens[r, 2]) ** 2)
            path = haze_length(air, x, y, z, -wx, -wy, -wz, distance)
            for cell in range(len(segments)):
                path += max(0.0, min(segments[cell, 1, r], t) - segments[cell, 0, r])
            share[k] *= math.exp(-extinction * path)
        if several and pane >= 0:
            share[k] /= 1 + _other_ways_in(windows, windows.wall_of[pane], sx, sy, sz, x, y, z)
        if glazed and pane < 0 and not lamps.inside[lamp]:
            pane = pane_crossed(windows, sx, sy, sz, x, y, z)
            if pane >= 0:
                share[k] *= windows.transmittance[pane]
        if pane < 0:
            continue
        wall = windows.wall_of[pane]
        if windows.transmittance[pane] < 1.0:
            share[k] *= slanting_share(abs(windows.axes[wall, 2, 0] * wx + windows.axes[wall, 2, 1] * wy + windows.axes[wall, 2, 2] * wz))
        column[k] = lamp + len(lamps.shape) * windows.tint_of[pane]


@compiled
def _segments(air, lens, directions, far, out):
    """Fill `out` (cells, 2, n) with the part of each ray that lies in each cell of air; start after end where none does."""
    for r in range(len(far)):
        x, y, z, dx, dy, dz = lens[r, 0], lens[r, 1], lens[r, 2], directions[r, 0], directions[r, 1], directions[r, 2]
        for cell in range(len(air.first) - 1):
            t0, t1 = clip_cell(air, cell, x, y, z, dx, dy, dz, 0.0, far[r])
            if t1 > 1e30:
                t0, t1 = 1.0, 0.0
            out[cell, 0, r] = t0
            out[cell, 1, r] = t1


@compiled
def _jitters(pixels, salt, out):
    for i in range(len(pixels)):
        out[i] = hashed(pixels[i], salt)


def shaft_radiance(
    tracer: Tracer, air: Cells, closed_form: bool, windows: Windows, lamps: Lamps, origins, directions, far, pixels, group_first, points,
    *, hull=None, salt: int, turn: int = 0, haze_samples: int, extinction_per_m: float, scattering_per_m: float, phase: np.ndarray,
    swirls: Swirled | None = None,
) -> np.ndarray:  # fmt: skip
    """
    Return the radiance that haze sends along each ray per candela on the axis of each lamp, by one scattering.

    Parameters
    ----------
    origins, directions : (groups, 3), (n, 3) float arrays
        Rays come group by group, all of a group from one point; unit directions. [mm], [1]
    far : (n,) float array
        Where each ray ends; inf where it leaves the set. [mm]
    pixels : (n,) int array
        A number for each ray that chance depends on.
    closed_form : bool
        True where all light enters `air` through `windows`; False takes samples along all of the ray.
    group_first, points : (groups + 1,) int array, (lamps, groups, samples, 3) float array
        The first ray of each group, and the points on each lamp that its rays look at. [mm]
    hull : (h, 3) float array or None
        Points whose convex hull holds all rays up to `far`; found from the rays where it is None. [mm]
    turn, haze_samples : int
        How many times the same rays were asked before; points on each lit interval.
    extinction_per_m, scattering_per_m : float
        Of the air on both legs; of the air where light scatters. [1/m]
    phase : (nodes,) float32 array
        The table of the air's phase function, see `previz.haze.phase.Phase`. [1/sr]
    swirls : Swirled or None
        What swirls make of light that scatters towards where the rays begin; None where the haze is even.

    Returns
    -------
    (n, tints * lamps) float array
        Times a lamp's candela: luminance. First all lamps through clear panes and straight, then through each tint. [1/m2]
    """
    total = np.zeros((len(far), len(windows.tints) * len(lamps.shape)))
    cells = len(air.first) - 1
    if scattering_per_m <= 0 or not len(lamps.shape) or not cells:
        return total
    lens = np.repeat(origins, np.diff(group_first), axis=0)
    jitter, segments = np.empty(len(far)), np.empty((cells, 2, len(far)))
    _jitters(pixels, salt, jitter)
    _segments(air, lens, directions, far, segments)
    d = np.ascontiguousarray(directions.T)
    if hull is None:
        ends = np.concatenate([lens.T + segments[:, end, None] * d for end in (0, 1)])[:, :, (segments[:, 1] > segments[:, 0]).any(axis=0)]
        ends = ends.transpose(0, 2, 1).reshape(-1, 3)
        if not len(ends):
            return total
        hull = np.array(np.meshgrid(*zip(ends.min(axis=0), ends.max(axis=0)))).reshape(3, -1).T.copy()
    # The weights are per point on a lamp; a tile meets few panes at once, and one that meets more takes the points in turns.
    extinction, scattering = per_mm(extinction_per_m), per_mm(scattering_per_m) / points.shape[2]
    room = 6 * len(far) * len(lamps.shape) * points.shape[2] * haze_samples
    # Successive points on a lamp look at successive places of the interval, by the golden ratio.
    offsets = (0.6180339887498949 * (turn * points.shape[2] + np.arange(points.shape[2]))) % 1.0
    t0, t1 = np.empty(len(far)), np.empty(len(far))
    start, target, share = np.empty((room, 3), np.float32), np.empty((room, 3), np.float32), np.empty(room)
    ray, column, pane_of = np.empty(room, np.int32), np.empty(room, np.int32), np.empty(room, np.int32)
    turns = [(0, points.shape[2])]
    while turns:
        a, b = turns.pop()
        count = _shaft_samples(
            origins, d, jitter, segments, group_first, closed_form, windows, lamps, np.ascontiguousarray(points[:, :, a:b]), offsets[a:b],
            face_corners(lamps), hull, extinction, scattering, phase, haze_samples, t0, t1, start, target, share, ray, column, pane_of,
        )  # fmt: skip
        if count < 0 and b - a > 1:
            turns += [((a + b) // 2, b), (a, (a + b) // 2)]
            continue
        if count < 0:
            # One point's light comes through more panes than there is room for.
            room *= 2
            start, target, share = np.empty((room, 3), np.float32), np.empty((room, 3), np.float32), np.empty(room)
            ray, column, pane_of = np.empty(room, np.int32), np.empty(room, np.int32), np.empty(room, np.int32)
            turns.append((a, b))
            continue
        _put_right(air, windows, lamps, lens, segments, extinction, count, start, target, ray, column, pane_of, share)
        if swirls is not None:
            weigh_uneven(swirls.factor, swirls.low, swirls.step, start, column, count, share)
        add_free(total, share, tracer.blocked(start[:count], target[:count]), ray, column, count)
    return total * LUX_PER_CANDELA_MM2
