"""
Hazed frames: what the lens sees of a lit set, in absolute luminance.

A frame is one ray a pixel and pass: surfaces send back direct light (shadow rays to points on each lamp) and bounce
light (looked up), haze dims them and adds shafts (lit intervals) and bounced light (looked up). Passes jitter the ray
in its pixel and go on in the same low-discrepancy sequence, so each adds samples where the others have none.

A tile is a pure function of the lit set, the view and its place, so any number of workers gives the same bytes, and
memory is bounded by tiles, not by the frame.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from previz.camera.view import View
from previz.light.units import per_mm

from previz.rays.compiled import compiled
from previz.rays.kernels import clip_cell, harmonics, hashed
from previz.rays.lit import LitSet
from previz.rays.shafts import shaft_radiance
from previz.rays.texels import add_smoothly
from previz.rays.workers import in_order

_SALT_PIXEL, _SALT_SHAFT, _SALT_DIRECT, _SALT_GLOW = 1, 11, 21, 31
_SAMPLES_A_TILE = 1 << 18
_LARGEST_TILE = 1 << 14
_GLOW_SAMPLES = 2


def hazed_frame(
    lit: LitSet, view: View, *, passes: int = 4, lamp_samples: int = 8, haze_samples: int = 2, workers: int | None = None,
    bounces: bool = True, progress: Callable[[float], None] | None = None, seed: int | None = None,
) -> np.ndarray:  # fmt: skip
    """
    Return the luminance that reaches the lens from each pixel.

    Parameters
    ----------
    lit : LitSet
        The set with its light and its air.
    view : View
        The lens; its columns and rows are the picture's.
    passes : int
        Rays a pixel.
    lamp_samples, haze_samples : int
        Points on each lamp for each ray, and points in lit haze for each of those.
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
    glow = _Glow(lit, bounces)
    picture = np.zeros((view.rows * view.columns, 3), np.float32)
    each = max(1, len(lit.emitters) * lamp_samples * haze_samples)
    size = int(np.clip(_SAMPLES_A_TILE // each, 256, _LARGEST_TILE))
    starts = list(range(0, len(picture), size))

    def tile(first: int) -> np.ndarray:
        pixels = np.arange(first, min(first + size, len(picture)))
        total = np.zeros((len(pixels), 3))
        for number in range(passes):
            total += _rays(lit, glow, view, pixels, number, lamp_samples, haze_samples, seed)
        return (total / passes).astype(np.float32)

    for done, (first, part) in enumerate(zip(starts, in_order(tile, starts, workers)), start=1):
        picture[first : first + len(part)] = part
        if progress:
            progress(done / len(starts))
    return picture.reshape(view.rows, view.columns, 3)


class _Glow:
    """Bounced light of all lamps in their colours, ready to be read along rays, and the air that it passes."""

    def __init__(self, lit: LitSet, bounces: bool):
        texel, cell = lit.bounce_colour
        grid = lit.transport.grid
        self.texel = np.ascontiguousarray(texel) * bounces
        self.cell = np.ascontiguousarray(cell.reshape(*grid.shape, 9, 3)) * bounces
        self.air = lit.scaled if bounces else lit.medium
        self.low, self.step = grid.low, grid.step
        self.reflectance = np.array([lit.built.reflectance[f.finish] for f in lit.built.faces])[lit.built.face_of]


def _rays(lit: LitSet, glow: _Glow, view: View, pixels: np.ndarray, number: int, lamp_samples: int, haze_samples: int, seed: int) -> np.ndarray:
    """One ray through each of `pixels`: (n, 3) linear RGB. [cd/m2]"""
    salt = 1009 * seed
    jitter = np.empty((len(pixels), 2))
    _jitter(pixels, number, salt + _SALT_PIXEL, jitter)
    directions = view.directions(pixels % view.columns + jitter[:, 0], pixels // view.columns + jitter[:, 1])
    origins = np.broadcast_to(view.position, directions.shape)
    hits = lit.tracer.hit(origins, directions)
    far = hits.distance.astype(np.float64)
    found = np.flatnonzero(hits.triangle >= 0)
    origins = np.ascontiguousarray(origins, dtype=np.float64)
    directions = np.ascontiguousarray(directions, dtype=np.float64)
    radiance = np.zeros((len(pixels), 3))
    if len(found):
        radiance[found] = _surface(lit, glow, origins[found], directions[found], far[found], hits, found, pixels[found], number, lamp_samples, salt)
    _through_haze(
        origins, directions, far, pixels, lit.air, glow.cell, glow.low, glow.step, salt + _SALT_GLOW + number, _GLOW_SAMPLES,
        per_mm(glow.air.extinction_per_m), glow.air.albedo, radiance,
    )  # fmt: skip
    shafts = shaft_radiance(
        lit.tracer, lit.air, lit.closed_form, lit.windows, lit.lamps, origins, directions, far, pixels,
        salt=salt + _SALT_SHAFT, first_sample=number * lamp_samples, lamp_samples=lamp_samples, haze_samples=haze_samples,
        extinction_per_m=glow.air.extinction_per_m, scattering_per_m=lit.medium.scattering_per_m, g=lit.medium.g,
    )  # fmt: skip
    return radiance + shafts @ lit.candela


def _surface(lit, glow, origins, directions, far, hits, found, pixels, number, lamp_samples, salt) -> np.ndarray:
    """What the surfaces send back along the rays `found`: (n, 3). [cd/m2]"""
    triangle = hits.triangle[found]
    normal = hits.normal[found].astype(np.float64)
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-30)[:, None]
    points = origins + far[:, None] * directions
    # A matt surface met from behind (an open mesh, the inside of a solid) shows its back like its front.
    behind = np.einsum("ij,ij->i", normal, directions) > 0
    facing = np.where(behind[:, None], -normal, normal)
    arriving = lit.direct(points, facing, pixels, salt=salt + _SALT_DIRECT, first_sample=number * lamp_samples, samples=lamp_samples, extinction_per_m=glow.air.extinction_per_m) @ lit.candela
    add_smoothly(lit.texels.lookup, glow.texel, triangle, hits.u[found], hits.v[found], points, normal, arriving)
    return arriving * glow.reflectance[triangle] / np.pi


@compiled
def _jitter(pixels, number, salt, out):
    """Where in its pixel each ray passes: a shifted low-discrepancy sequence over the passes."""
    for i in range(len(pixels)):
        a = hashed(pixels[i], salt) + 0.7548776662466927 * number
        b = hashed(pixels[i], salt + 1) + 0.5698402909980532 * number
        out[i, 0] = a - np.floor(a)
        out[i, 1] = b - np.floor(b)


@compiled
def _through_haze(origins, directions, far, pixels, air, cell, low, step, salt, samples, extinction, albedo, radiance):
    """Dim `radiance` (n, 3) by the haze on each ray and add the bounced light that the haze scatters to the lens."""
    columns, rows, layers = cell.shape[0], cell.shape[1], cell.shape[2]
    basis = np.empty(9)
    for i in range(len(origins)):
        ox, oy, oz = origins[i, 0], origins[i, 1], origins[i, 2]
        dx, dy, dz = directions[i, 0], directions[i, 1], directions[i, 2]
        length = 0.0
        for c in range(len(air.first) - 1):
            t0, t1 = clip_cell(air, c, ox, oy, oz, dx, dy, dz, 0.0, far[i])
            if t1 > t0 and t1 < 1e30:
                length += t1 - t0
        if length <= 0.0 or extinction <= 0.0:
            continue
        left = np.exp(-extinction * length)
        for c in range(3):
            radiance[i, c] *= left
        harmonics(-dx, -dy, -dz, basis)
        shift = hashed(pixels[i], salt)
        for sample in range(samples):
            # Points are spaced evenly in what is left of the light, so each stands for the same share of it.
            share = (sample + shift) / samples * (1.0 - left)
            wanted = -np.log(1.0 - share) / extinction
            for c in range(len(air.first) - 1):
                t0, t1 = clip_cell(air, c, ox, oy, oz, dx, dy, dz, 0.0, far[i])
                if t1 <= t0 or t1 >= 1e30:
                    continue
                if wanted > t1 - t0:
                    wanted -= t1 - t0
                    continue
                t = t0 + wanted
                a = min(max((ox + t * dx - low[0]) / step[0] - 0.5, 0.0), columns - 1.0)
                b = min(max((oy + t * dy - low[1]) / step[1] - 0.5, 0.0), rows - 1.0)
                d = min(max((oz + t * dz - low[2]) / step[2] - 0.5, 0.0), layers - 1.0)
                ia, ib, id_ = min(int(a), max(columns - 2, 0)), min(int(b), max(rows - 2, 0)), min(int(d), max(layers - 2, 0))
                weight = albedo * (1.0 - left) / samples
                for corner in range(8):
                    ja = min(ia + (corner & 1), columns - 1)
                    jb = min(ib + ((corner >> 1) & 1), rows - 1)
                    jd = min(id_ + (corner >> 2), layers - 1)
                    near = abs(1.0 - (corner & 1) - (a - ia)) * abs(1.0 - ((corner >> 1) & 1) - (b - ib)) * abs(1.0 - (corner >> 2) - (d - id_))
                    for h in range(9):
                        share = weight * near * basis[h]
                        for colour in range(3):
                            radiance[i, colour] += share * cell[ja, jb, jd, h, colour]
                break
