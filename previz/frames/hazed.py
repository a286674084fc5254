"""
Hazed frames: what the lens sees of a lit set, in absolute luminance.

A frame is one ray a pixel and pass, from points of the entrance pupil at moments of the exposure (see `lens_rays`).
Surfaces send back direct light (shadow rays to points on each lamp) and bounce light (looked up), haze dims them and
adds shafts (lit intervals) and bounced light (looked up). Passes go on in the same low-discrepancy sequences, so each
adds samples where the others have none.

A tile is a pure function of the lit set, the view and its place, so any number of workers gives the same bytes, and
memory is bounded by tiles, not by the frame.

`hazed_frame` is the picture; `light_layers` is the same rays with the light kept apart by lamp and by the way it came.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from previz.camera.view import View
from previz.frames.faces import faces_ahead, met, shine
from previz.frames.lens_rays import GROUPS, Looks, looks, pattern_group, pixel_rays, tile_hull
from previz.light.units import per_mm

from previz.rays.bounce import scattered_towards
from previz.rays.compiled import compiled
from previz.rays.kernels import clip_cell, haze_length, lamp_points
from previz.rays.lit import LitSet
from previz.rays.shafts import shaft_radiance
from previz.rays.texels import add_smoothly
from previz.rays.uneven import Swirled, read
from previz.rays.workers import in_order

_SALT_PIXEL, _SALT_SHAFT, _SALT_PUPIL = 1, 11, 21
_TILE = 96
_GLOW_SAMPLES = 4
_GOLDEN = 0.6180339887498949


def hazed_frame(
    lit: LitSet, view: View | Sequence[View], *, passes: int = 4, lamp_samples: int = 8, haze_samples: int = 2, workers: int | None = None,
    bounces: bool = True, progress: Callable[[float], None] | None = None, seed: int | None = None,
) -> np.ndarray:  # fmt: skip
    """
    Return the luminance that reaches the lens from each pixel.

    Parameters
    ----------
    lit : LitSet
        The set with its light and its air.
    view : View or sequence of View
        The lens; its columns and rows are the picture's. Several are the lens at moments spread evenly over the
        exposure, in order: what moves in the picture is smeared.
    passes : int
        Rays a pixel.
    lamp_samples, haze_samples : int
        Points on each lamp for each ray, and for each of those points in haze on each lit interval.
    bounces : bool
        False leaves out all light that has bounced or scattered more than once, and its forward peak with it.
    progress : callable or None
        Called with the share of the work done, 0 to 1.
    seed : int or None
        Of every random choice; None takes the scene's.

    Returns
    -------
    (rows, columns, 3) float32 array
        Linear RGB, Rec. 709 primaries; 0.2126 R + 0.7152 G + 0.0722 B is the luminance. [cd/m2]
    """
    seed = lit.scene.seed if seed is None else seed
    views = [view] if isinstance(view, View) else list(view)
    glow = [_Glow(lit, _middle(views), lit.candela, bounces)]
    return _tiled(lit, glow, views, passes, lamp_samples, haze_samples, workers, progress, seed, whole=True)[0, 0]


@dataclass(frozen=True)
class Layers:
    """
    The light of a frame, kept apart; each (lamps, rows, columns, 3) float32, linear RGB. [cd/m2]

    direct  what surfaces send back of light straight from a lamp, dimmed by the haze before the lens
    bounce  the same of light that has bounced or scattered before
    haze    what haze sends to the lens: shafts, and bounced light that it scatters
    """

    direct: np.ndarray
    bounce: np.ndarray
    haze: np.ndarray

    def mixed(self, level) -> np.ndarray:
        """Return the picture (rows, columns, 3) float32 with the light of each lamp times `level` (lamps,); all ones give the frame. [cd/m2]"""
        level = np.asarray(level, np.float32)
        return np.einsum("l,lrcx->rcx", level, self.direct) + np.einsum("l,lrcx->rcx", level, self.bounce) + np.einsum("l,lrcx->rcx", level, self.haze)


def light_layers(
    lit: LitSet, view: View | Sequence[View], *, passes: int = 4, lamp_samples: int = 8, haze_samples: int = 2, workers: int | None = None,
    progress: Callable[[float], None] | None = None, seed: int | None = None, once: bool = False,
) -> Layers:  # fmt: skip
    """
    Return the light of a frame lamp by lamp, from the same rays as `hazed_frame` with the same parameters: the picture is the sum of its layers.

    `once` leaves out light that has bounced or scattered before, in the same air: haze is then the shafts and nothing else.
    """
    seed = lit.scene.seed if seed is None else seed
    alone = np.eye(len(lit.emitters))[:, :, None] * lit.candela
    views = [view] if isinstance(view, View) else list(view)
    glow = [_Glow(lit, _middle(views), candela, True, dark=once) for candela in alone]
    parts = _tiled(lit, glow, views, passes, lamp_samples, haze_samples, workers, progress, seed, whole=False)
    return Layers(*np.moveaxis(parts, 1, 0))


def _middle(views: Sequence[View]) -> View:
    return views[len(views) // 2]


def _tiled(lit, glow, views, passes, lamp_samples, haze_samples, workers, progress, seed, *, whole: bool) -> np.ndarray:
    """Return (glows, 1 or 3, rows, columns, 3) float32: the light of each of `glow`, `whole` or as direct, bounce and haze."""
    view = views[0]
    through = [looks(views, number, 1009 * seed + _SALT_PUPIL) for number in range(passes)]
    picture = np.zeros((len(glow), 1 if whole else 3, view.rows, view.columns, 3), np.float32)
    # The pupil is small against a swirl, and so is its way within a frame.
    swirled = lit.uneven and lit.uneven.seen_from(_middle(views).position, glow[0].air.extinction_per_m)
    in_frame = faces_ahead(lit, views)
    places = [(row, column) for row in range(0, view.rows, _TILE) for column in range(0, view.columns, _TILE)]
    given_up = threading.Event()

    def tile(place: tuple[int, int]) -> np.ndarray:
        rows = np.arange(place[0], min(place[0] + _TILE, view.rows))
        columns = np.arange(place[1], min(place[1] + _TILE, view.columns))
        total = np.zeros((*picture.shape[:2], len(rows) * len(columns), 3))
        for number in range(passes):
            if given_up.is_set():
                # Interrupted, or told to stop: what is begun ends with the pass that it is at, not with the last.
                break
            total += _rays(lit, glow, view, through[number], rows, columns, number, lamp_samples, haze_samples, seed, whole, swirled, in_frame)
        return (total / passes).astype(np.float32).reshape(*picture.shape[:2], len(rows), len(columns), 3)

    drawn = in_order(tile, places, workers, given_up)
    for done, ((row, column), part) in enumerate(zip(places, drawn), start=1):
        picture[:, :, row : row + part.shape[2], column : column + part.shape[3]] = part
        if progress:
            progress(done / len(places))
    return picture


class _Glow:
    """Lamps of given intensities (lamps, 3) [cd] and their bounced light, ready to be read along the rays of one view, and the air that it passes."""

    def __init__(self, lit: LitSet, view: View, candela: np.ndarray, bounces: bool, dark: bool = False):
        self.candela = lit.behind_tints(candela)
        self.glowing = lit.glowing(candela)
        texel, cell = lit.bounced_by(candela)
        grid = lit.transport.grid
        self.texel = np.ascontiguousarray(texel) * (bounces and not dark)
        # Cells are far wider than the pupil and than its way within a frame, so each scatters towards one place.
        self.cell = scattered_towards(lit.transport, cell, view.position, lit.trimmed.table).reshape(*grid.shape, 3) * (bounces and not dark)
        self.low, self.step = grid.low, grid.step
        self.air = lit.trimmed if bounces else lit.medium
        self.reflectance = np.array([lit.built.reflectance[f.finish] for f in lit.built.faces])[lit.built.face_of]


def _rays(
    lit: LitSet, glow: list[_Glow], view: View, through: Looks, rows, columns, number: int, lamp_samples: int, haze_samples: int, seed: int,
    whole: bool, swirled: Swirled | None, in_frame: list[int],
) -> np.ndarray:  # fmt: skip
    """One ray through each pixel of a tile: (glows, 1 or 3, n, 3) linear RGB, row by row. [cd/m2]"""
    salt = 1009 * seed
    row, column = (a.ravel() for a in np.meshgrid(rows, columns, indexing="ij"))
    group = pattern_group(row, column)
    # Rays are made group by group, as the shafts want them, and put back at the end.
    order = np.argsort(group, kind="stable")
    row, column, group = row[order], column[order], group[order]
    pixels = row * view.columns + column
    origins, directions = np.empty((len(pixels), 3)), np.empty((len(pixels), 3))
    pixel_rays(through, row, column, group, pixels, number, salt + _SALT_PIXEL, origins, directions)
    hits = lit.tracer.hit(origins, directions)
    far = hits.distance.astype(np.float64)
    hits, shining = _end_on_faces(lit, in_frame, origins, directions, far, hits)
    on_lamps = lamp_points(lit.lamps, GROUPS, lamp_samples, turn=number, salt=salt)
    # How light is dimmed does not depend on whose it is.
    air = glow[0].air
    surfaces = _surfaces(lit, glow, origins, directions, hits, group, on_lamps)
    shafts = shaft_radiance(
        lit.tracer, lit.air, lit.closed_form, lit.windows, lit.lamps, through.origin, directions, far, pixels,
        np.searchsorted(group, np.arange(GROUPS + 1)), on_lamps,
        hull=tile_hull(through, rows, columns, far), salt=salt + _SALT_SHAFT, turn=number, haze_samples=haze_samples,
        extinction_per_m=air.extinction_per_m, scattering_per_m=lit.medium.albedo * lit.medium.extinction_per_m, phase=lit.medium.phase.table, swirls=swirled,
    )  # fmt: skip
    picture = np.empty((len(glow), 1 if whole else 3, len(pixels), 3))
    for one, (direct, bounce), out in zip(glow, surfaces, picture):
        left, haze = np.ones(len(pixels)), np.zeros((len(pixels), 3))
        _through_haze(
            origins, directions, far, lit.air, one.cell, one.low, one.step, per_mm(air.extinction_per_m), air.albedo, *_swirls(swirled),
            (0.5 + number * _GOLDEN) % 1, left, haze,
        )  # fmt: skip
        haze += shafts @ one.candela
        for rays, light in shining:
            direct[rays] = light @ one.candela
        direct, bounce = direct * left[:, None], bounce * left[:, None]
        out[:, order] = direct + bounce + haze if whole else (direct, bounce, haze)
    return picture


def _end_on_faces(lit, in_frame, origins, directions, far, hits):
    """Shorten `far` (n,) where rays end on the faces of lamps; return `hits` without what lies behind, and (rays, luminance per candela) of each face."""
    shining = []
    for number in in_frame:
        rays, distance, cos = met(lit, number, origins, directions, far)
        if len(rays):
            far[rays] = distance
            hits = replace(hits, triangle=np.where(np.isin(np.arange(len(far)), rays), -1, hits.triangle))
            shining.append((rays, shine(lit, number, origins[rays], directions[rays], distance, cos)))
    return hits, shining


def _surfaces(lit, glow, origins, directions, hits, group, on_lamps) -> list[tuple[np.ndarray, np.ndarray]]:
    """What the surfaces send back along the rays of direct and of bounced light, for each of `glow`: (n, 3) each. [cd/m2]"""
    parts = [(np.zeros((len(origins), 3)), np.zeros((len(origins), 3))) for _ in glow]
    found = np.flatnonzero(hits.triangle >= 0)
    if not len(found):
        return parts
    triangle = hits.triangle[found]
    points, normal, facing = (np.empty((len(found), 3)) for _ in range(3))
    _meet(found, origins, directions, hits.distance, hits.normal, points, normal, facing)
    arriving = lit.direct(points, facing, group[found], on_lamps, extinction_per_m=glow[0].air.extinction_per_m)
    if lit.uneven is not None:
        lit.uneven.dim(arriving, points, glow[0].air.extinction_per_m)
    for one, (direct, bounce) in zip(glow, parts):
        sent_back = one.reflectance[triangle] / np.pi
        bounced = np.zeros((len(found), 3))
        add_smoothly(lit.texels.lookup, one.texel, triangle, hits.u[found], hits.v[found], points, normal, bounced)
        direct[found], bounce[found] = arriving @ one.candela * sent_back, bounced * sent_back
        if one.glowing is not None:
            direct[found] += one.glowing[lit.built.face_of[triangle]]
    return parts


@compiled
def _meet(found, origins, directions, distance, outward, points, normal, facing):
    """
    Where rays meet surfaces, the surfaces' unit normals, and the same turned towards the lens.

    A matt surface met from behind (an open mesh, the inside of a solid) shows its back like its front.
    """
    for k in range(len(found)):
        i = found[k]
        length = 0.0
        along = 0.0
        for axis in range(3):
            n = np.float64(outward[i, axis])
            length += n * n
            along += n * directions[i, axis]
            points[k, axis] = origins[i, axis] + np.float64(distance[i]) * directions[i, axis]
        scale = 1.0 / max(np.sqrt(length), 1e-30)
        sign = -1.0 if along > 0.0 else 1.0
        for axis in range(3):
            normal[k, axis] = outward[i, axis] * scale
            facing[k, axis] = sign * normal[k, axis]


_EVEN = (np.zeros((1, 0, 0, 0), np.float32), np.zeros(3), np.ones(3))


def _swirls(swirled: Swirled | None) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the excess of haze on the way to the lens as loops read it, and its grid; an empty one where haze is even."""
    return _EVEN if swirled is None else (swirled.lens, swirled.low, swirled.step)


@compiled
def _through_haze(origins, directions, far, air, glow, low, step, extinction, albedo, excess, excess_low, excess_step, start, passed_on, scattered):
    """
    Dim `passed_on` (n,) by the haze on each ray and add to `scattered` (n, 3) the bounced light that the haze sends to the lens.

    The light in haze cells is smooth, so a few points on the ray, each for an equal length of it, are enough. All rays of a pass have them the
    same share `start` of these lengths on, which leaves no grain, and every pass elsewhere, so that none is missed by a picture of many passes.
    Where haze is uneven, each length is as thick as `excess` (1, columns, rows, layers) tells: that of haze on the way to the lens, from each
    piece of its grid.
    """
    if extinction <= 0.0:
        return
    added = np.empty(3)
    swirls = excess.size > 0
    ex, ey, ez = excess_low[0], excess_low[1], excess_low[2]
    sx, sy, sz = 1.0 / excess_step[0], 1.0 / excess_step[1], 1.0 / excess_step[2]
    nearer = 0.0
    for i in range(len(origins)):
        ox, oy, oz = origins[i, 0], origins[i, 1], origins[i, 2]
        dx, dy, dz = directions[i, 0], directions[i, 1], directions[i, 2]
        left = 1.0
        added[:] = 0.0
        for c in range(len(air.first) - 1):
            t0, t1 = clip_cell(air, c, ox, oy, oz, dx, dy, dz, 0.0, far[i])
            if t1 <= t0 or t1 >= 1e30:
                continue
            # Cells come in no order of depth: what lies before this one is counted from the start of the ray.
            before = 1.0 if len(air.first) == 2 else np.exp(-extinction * haze_length(air, ox, oy, oz, dx, dy, dz, t0))
            step_t = (t1 - t0) / _GLOW_SAMPLES
            passed = np.exp(-extinction * step_t)
            if swirls:
                nearer = read(excess, 0, (ox + t0 * dx - ex) * sx, (oy + t0 * dy - ey) * sy, (oz + t0 * dz - ez) * sz)
                before *= np.exp(-extinction * nearer)
            for sample in range(_GLOW_SAMPLES):
                t = t0 + (sample + start) * step_t
                if swirls:
                    b = t0 + (sample + 1.0) * step_t
                    farther = read(excess, 0, (ox + b * dx - ex) * sx, (oy + b * dy - ey) * sy, (oz + b * dz - ez) * sz)
                    passed = np.exp(-extinction * (step_t + farther - nearer))
                    left *= np.exp(-extinction * (farther - nearer))
                    nearer = farther
                x, y, z = (ox + t * dx - low[0]) / step[0], (oy + t * dy - low[1]) / step[1], (oz + t * dz - low[2]) / step[2]
                _blend_cells(glow, x, y, z, before * (1.0 - passed), added)
                before *= passed
            left *= np.exp(-extinction * (t1 - t0))
        passed_on[i] *= left
        for colour in range(3):
            scattered[i, colour] += albedo * added[colour]


@compiled
def _blend_cells(glow, x, y, z, weight, added):
    """Add `weight` times the values around a point of the grid `glow` (x, y, z, 3), in cells from its lowest corner, to `added`."""
    columns, rows, layers = glow.shape[0], glow.shape[1], glow.shape[2]
    a = min(max(x - 0.5, 0.0), columns - 1.0)
    b = min(max(y - 0.5, 0.0), rows - 1.0)
    d = min(max(z - 0.5, 0.0), layers - 1.0)
    ia, ib, id_ = min(int(a), max(columns - 2, 0)), min(int(b), max(rows - 2, 0)), min(int(d), max(layers - 2, 0))
    for corner in range(8):
        ja = min(ia + (corner & 1), columns - 1)
        jb = min(ib + ((corner >> 1) & 1), rows - 1)
        jd = min(id_ + (corner >> 2), layers - 1)
        near = weight * abs(1.0 - (corner & 1) - (a - ia)) * abs(1.0 - ((corner >> 1) & 1) - (b - ib)) * abs(1.0 - (corner >> 2) - (d - id_))
        for colour in range(3):
            added[colour] += near * glow[ja, jb, jd, colour]
