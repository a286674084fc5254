"""
Proxy frames on a GL device: the one module that knows pyrender.

Takes a built set with a colour for each triangle, and views; gives colour, depth and part numbers of each pixel.
Knows nothing of how a colour was chosen. Everything here must stay on the thread that made the painter.

    triangles + colours  ->  one flat mesh      ->  colour pass, four samples a pixel
    parts                ->  one mesh for each  ->  number pass, one sample at the pixel's centre, with depth
"""

from __future__ import annotations

import os
import sys
import warnings

import numpy as np

from previz.build.built import BuiltSet
from previz.camera.view import View

NEAR_MM = 0.5
"""Nothing nearer than this is drawn; it fixes how finely the device can tell depths apart."""


class NoDevice(Exception):
    """No GL device answers here, for whatever reason."""


def _pyrender():
    """Import pyrender so that it finds a device without a screen, quiet about what it makes old libraries say."""
    if sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        os.environ.setdefault("PYOPENGL_PLATFORM", "egl")
    # pyrender 0.1.45 still uses this name, which NumPy 2 took away.
    np.infty = np.inf
    import pyrender

    return pyrender


class Painter:
    """
    A built set on a GL device.

    Parameters
    ----------
    built : BuiltSet
    colours : (m, 3) uint8 array
        Of its triangles.
    background : (3,) ints
        Colour where there is nothing.

    Raises
    ------
    NoDevice
        If anything at all keeps the device from drawing.
    """

    def __init__(self, built: BuiltSet, colours: np.ndarray, background: tuple[int, int, int]):
        self._bounds = built.bounds if len(built.vertices) else np.zeros((2, 3))
        self._renderer = None
        with _device():
            self._pyrender = _pyrender()
            self._renderer = self._pyrender.OffscreenRenderer(16, 16)
            corners = built.vertices[built.triangles].reshape(-1, 3).astype(np.float32)
            self._flat = self._scene(background)
            self._flat.add(self._mesh(corners, np.repeat(colours, 3, axis=0) / np.float32(255)))
            self._numbers, self._number_of = self._scene((0, 0, 0)), {}
            for i, part in enumerate(built.parts):
                if part.last > part.first:
                    node = self._numbers.add(self._mesh(corners[3 * part.first : 3 * part.last]))
                    self._number_of[node] = ((i + 1) >> 16, (i + 1) >> 8 & 255, (i + 1) & 255)

    def draw(self, view: View) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """
        Return colour (rows, columns, 3) uint8, depth along the axis (rows, columns) float32 [mm], and part (rows, columns) int32.

        Raises
        ------
        NoDevice
            If the device fails, or cannot draw a picture of this size.
        """
        with _device():
            self._renderer.viewport_width, self._renderer.viewport_height = view.columns, view.rows
            flags = self._pyrender.RenderFlags
            colour, _ = self._draw(self._flat, view, flags.FLAT | flags.SKIP_CULL_FACES)
            coded, depth = self._draw(self._numbers, view, flags.SEG | flags.SKIP_CULL_FACES, seg_node_map=self._number_of)
            if coded.shape != (view.rows, view.columns, 3):
                raise NoDevice("the device draws another size than it was asked for")
            part = coded.astype(np.int32) @ np.array([1 << 16, 1 << 8, 1], np.int32) - 1
            return np.array(colour), np.where(part < 0, np.inf, depth).astype(np.float32), part.astype(np.int32)

    def close(self) -> None:
        """Give the device back."""
        if self._renderer is not None:
            self._renderer.delete()
            self._renderer = None

    def _scene(self, background):
        return self._pyrender.Scene(bg_color=[*(c / 255 for c in background), 1.0], ambient_light=[1.0, 1.0, 1.0])

    def _mesh(self, corners, colours=None):
        if colours is not None:
            colours = np.column_stack([colours, np.ones(len(colours), np.float32)])
        primitive = self._pyrender.Primitive(positions=corners, color_0=colours, material=self._pyrender.MetallicRoughnessMaterial(baseColorFactor=[1.0] * 4))
        return self._pyrender.Mesh([primitive])

    def _draw(self, scene, view, flags, **options):
        pose = np.eye(4)
        pose[:3] = np.column_stack([view.right, view.up, -view.forward, view.position])
        farthest = 1 + np.linalg.norm(np.abs(self._bounds - view.position).max(axis=0))
        camera = self._pyrender.PerspectiveCamera(
            yfov=2 * np.arctan(view.half_height), aspectRatio=view.half_width / view.half_height, znear=NEAR_MM, zfar=farthest
        )
        node = scene.add(camera, pose=pose)
        try:
            return self._renderer.render(scene, flags=flags, **options)
        finally:
            scene.remove_node(node)


class _device:
    """Turn whatever goes wrong in the block into NoDevice: drivers fail in every way there is."""

    def __enter__(self):
        self._warnings = warnings.catch_warnings()
        self._warnings.__enter__()
        warnings.simplefilter("ignore")

    def __exit__(self, kind, error, trace):
        self._warnings.__exit__(kind, error, trace)
        if isinstance(error, Exception) and not isinstance(error, NoDevice):
            raise NoDevice(f"{type(error).__name__}: {error}") from error
