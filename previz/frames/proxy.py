"""
Proxy frames: the set as plain matt shapes, with the depth and the part behind each pixel.

Takes a built set and views; gives pictures that show framing and what stands where, not light. A GL device draws them
where one answers, the ray engine otherwise, in the same picture language:

    colour   of a triangle: its finish, lifted so that dark sets can be read, under one soft light from above left
    line     a dark pixel on the nearer side wherever one part ends before another
    nothing  paper

depth  along the lens's axis from the entrance pupil, inf where there is nothing [mm]
part   index into the built set's parts, -1 where there is nothing
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from previz.build.built import BuiltSet
from previz.camera.tone import encode_srgb
from previz.camera.view import View
from previz.frames.gl import NoDevice, Painter
from previz.rays.tracer import Tracer
from previz.rays.workers import in_order
from previz.scene.faults import OutsideFault

PAPER = (238, 236, 230)
SOFT_LIGHT = np.array([-0.36, -0.48, 0.8])
LINE_SHARE = 0.45
RAYS_AT_ONCE = 1 << 19
"""Rays in one piece of work; it bounds memory whatever the size of the frame."""

_SUBPIXELS = np.array([[0.375, 0.125], [0.875, 0.375], [0.125, 0.625], [0.625, 0.875]])
"""Where a pixel is looked at for its colour: the rotated grid that GL devices use for four samples (common practice)."""

Drawn = Literal["gl", "rays"]


@dataclass(frozen=True)
class Proxy:
    """
    One proxy frame.

    rgb       (rows, columns, 3) uint8, sRGB
    depth_mm  (rows, columns) float32, along the axis, inf for nothing [mm]
    part      (rows, columns) int32, -1 for nothing
    drawn_by  "gl" or "rays"
    """

    rgb: np.ndarray
    depth_mm: np.ndarray
    part: np.ndarray
    drawn_by: Drawn


class Proxies:
    """
    Proxy frames of one built set, view after view.

    Parameters
    ----------
    built : BuiltSet
    tracer : Tracer
        Over the same triangles.
    prefer : "gl", "rays" or None
        Who draws. None: a GL device where one answers, the ray engine otherwise.
    workers : int, optional
        Threads of the ray engine; all cores by default.

    Raises
    ------
    OutsideFault
        If `prefer` is "gl" and no device answers.
    """

    def __init__(self, built: BuiltSet, tracer: Tracer, prefer: Drawn | None = None, workers: int | None = None):
        self._tracer, self._workers = tracer, workers
        self._colours = triangle_colours(built)
        self._part_of = np.append(built.part_of, np.int32(-1))
        self._strict = prefer == "gl"
        self._painter = None
        if prefer != "rays":
            try:
                self._painter = Painter(built, self._colours, PAPER)
            except NoDevice as error:
                self._without_device(error)

    def __enter__(self) -> "Proxies":
        return self

    def __exit__(self, *_):
        self.close()

    def close(self) -> None:
        """Give back the GL device, if there is one."""
        if self._painter is not None:
            self._painter.close()
            self._painter = None

    def frame(self, view: View) -> Proxy:
        """Return the proxy frame of `view`."""
        drawn_by: Drawn = "rays"
        if self._painter is not None:
            try:
                rgb, depth, part = self._painter.draw(view)
                drawn_by = "gl"
            except NoDevice as error:
                self._without_device(error)
                self._painter = None
        if drawn_by == "rays":
            rgb, depth, part = self._traced(view)
        return Proxy(lined(rgb, depth, part), depth, part, drawn_by)

    def _without_device(self, error):
        if self._strict:
            raise OutsideFault(f"no graphics device could draw ({error})", "Leave the choice to previz: its ray engine draws the same picture.") from error

    def _traced(self, view):
        band = max(1, RAYS_AT_ONCE // (5 * view.columns))
        bands = [(top, min(top + band, view.rows)) for top in range(0, view.rows, band)]
        pieces = list(in_order(lambda rows: self._traced_rows(view, *rows), bands, self._workers))
        return tuple(np.concatenate(column) for column in zip(*pieces))

    def _traced_rows(self, view, top, bottom):
        """Colour, depth and part of the rows from `top` up to `bottom`: five looks a pixel, the first at its centre."""
        y, x = np.meshgrid(np.arange(top, bottom), np.arange(view.columns), indexing="ij")
        looks = np.vstack([[[0.5, 0.5]], _SUBPIXELS])
        directions = view.directions(x + looks[:, 0, None, None], y + looks[:, 1, None, None])
        hits = self._tracer.hit(np.broadcast_to(view.position, directions.shape).reshape(-1, 3), directions.reshape(-1, 3))
        triangle = hits.triangle.reshape(directions.shape[:-1])
        depth = hits.distance.reshape(triangle.shape)[0] * (directions[0] @ view.forward)
        palette = np.vstack([self._colours, PAPER]).astype(np.uint16)
        rgb = (palette[triangle[1:]].sum(axis=0) + len(_SUBPIXELS) // 2) // len(_SUBPIXELS)
        return rgb.astype(np.uint8), depth.astype(np.float32), self._part_of[triangle[0]]


def proxy_frame(built: BuiltSet, view: View, tracer: Tracer, prefer: Drawn | None = None) -> Proxy:
    """Return one proxy frame; see `Proxies`, which keeps the set on the device from frame to frame."""
    with Proxies(built, tracer, prefer) as proxies:
        return proxies.frame(view)


def triangle_colours(built: BuiltSet) -> np.ndarray:
    """
    Return the colour of each triangle in a proxy frame.

    Returns
    -------
    (m, 3) uint8 array
        sRGB. The square root of the finish's reflectance, so that 0.04 and 0.16 can be told apart without light,
        times half of one plus the cosine to a soft light: a matt surface under an overcast sky (common practice).
    """
    corners = built.vertices[built.triangles]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    light = 0.5 + 0.5 * normal @ (SOFT_LIGHT / np.linalg.norm(SOFT_LIGHT))
    finish = np.array([built.reflectance[face.finish] for face in built.faces]).reshape(-1, 3)
    return encode_srgb(np.sqrt(finish[built.face_of]) * (0.15 + 0.75 * light[:, None]))


def lined(rgb: np.ndarray, depth: np.ndarray, part: np.ndarray) -> np.ndarray:
    """Return `rgb` (rows, columns, 3) with a dark pixel on the nearer side of each border between parts."""
    ends = np.zeros(part.shape, dtype=bool)
    for one, other in (((slice(None), slice(1, None)), (slice(None), slice(-1))), ((slice(1, None),), (slice(-1),))):
        border = part[one] != part[other]
        ends[one] |= border & (depth[one] <= depth[other])
        ends[other] |= border & (depth[other] < depth[one])
    return np.where(ends[..., None], rgb * LINE_SHARE, rgb).astype(np.uint8)
