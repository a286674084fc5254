"""
What the camera sees from one pose: the frame as a window ahead of the entrance pupil.

Takes the scene's body and lens, a pose and a focused distance; gives ray directions for pixels and pixels for points.
Knows nothing of moves, light or the set.

pan     anticlockwise seen from above, 0 along x [rad]
tilt    up is positive [rad]
x, y    pixel coordinates: x right from 0 to columns, y down from 0 to rows; pixel centres lie on halves [pixel]
depth   along the optical axis from the entrance pupil [mm]
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from previz.camera.lens import entrance_pupil, focused_distance, half_tangent, inverse_p
from previz.scene.model import Scene


@dataclass(frozen=True)
class Poses:
    """
    Where the lens is and where it points, at n moments. `poses[i]` is one of them.

    position   (n, 3) entrance pupil [mm]
    pan, tilt  (n,) [rad]
    """

    position: np.ndarray
    pan: np.ndarray
    tilt: np.ndarray

    def __len__(self) -> int:
        return len(self.position)

    def __getitem__(self, which) -> "Poses":
        return Poses(self.position[which], self.pan[which], self.tilt[which])


def axes(pan, tilt) -> np.ndarray:
    """
    Return the camera's axes: forward, left and up.

    Parameters
    ----------
    pan, tilt : float or (n,) float array
        [rad]

    Returns
    -------
    (3, 3) or (n, 3, 3) float array
        Rows are unit vectors; the camera never rolls, so left is level.
    """
    pan, tilt = np.broadcast_arrays(np.asarray(pan, float), np.asarray(tilt, float))
    cp, sp, ct, st = np.cos(pan), np.sin(pan), np.cos(tilt), np.sin(tilt)
    level = np.zeros_like(cp)
    rows = [[cp * ct, sp * ct, st], [-sp, cp, level], [-cp * st, -sp * st, ct]]
    return np.moveaxis(np.array(rows), (0, 1), (-2, -1))


@dataclass(frozen=True)
class View:
    """
    The frame, seen from the entrance pupil.

    position                 (3,) entrance pupil [mm]
    forward, right, up       (3,) unit vectors
    half_width, half_height  tangents of half the angles of view [1]
    columns, rows            of the picture [pixel]
    pupil_radius             of the entrance pupil; 0 is a pinhole, which has everything in focus [mm]
    focus_mm                 from the entrance pupil along the optical axis to the plane in focus [mm]
    """

    position: np.ndarray
    forward: np.ndarray
    right: np.ndarray
    up: np.ndarray
    half_width: float
    half_height: float
    columns: int
    rows: int
    pupil_radius: float = 0.0
    focus_mm: float = np.inf

    def window(self, across=0.0, upward=0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """
        Return how the picture is seen from one point of the entrance pupil.

        Parameters
        ----------
        across, upward : float
            Where in the pupil, to the right and up, in pupil radii; the centre by default. [1]

        Returns
        -------
        origin : (3,) float array
            The point of the pupil. [mm]
        corner, right, down : (3,) float arrays
            The point (x, y) of the picture is seen along ``corner + x right + y down``. [1], [1/pixel]

        Notes
        -----
        The thin lens: all rays of one point of the picture meet in one point of the plane in focus (R. L. Cook,
        T. Porter and L. Carpenter, Distributed Ray Tracing, SIGGRAPH 1984; from memory).
        """
        offset = self.pupil_radius * (across * np.asarray(self.right, float) + upward * np.asarray(self.up, float))
        right = 2 * self.half_width / self.columns * np.asarray(self.right, float)
        down = -2 * self.half_height / self.rows * np.asarray(self.up, float)
        corner = np.asarray(self.forward, float) - self.columns / 2 * right - self.rows / 2 * down - offset / self.focus_mm
        return np.asarray(self.position, float) + offset, corner, right, down

    def directions(self, x, y) -> np.ndarray:
        """
        Return the directions in which the lens sees points of the picture.

        Parameters
        ----------
        x, y : (n,) float array
            [pixel]

        Returns
        -------
        (n, 3) float array
            Unit vectors from the middle of the entrance pupil.
        """
        _, corner, right, down = self.window()
        rays = corner + np.asarray(x, float)[..., None] * right + np.asarray(y, float)[..., None] * down
        return rays / np.linalg.norm(rays, axis=-1, keepdims=True)

    def project(self, points) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """
        Return where points appear in the picture, inside the frame or not.

        Parameters
        ----------
        points : (n, 3) float array
            [mm]

        Returns
        -------
        x, y : (n,) float array
            NaN where the point is not ahead of the entrance pupil. [pixel]
        depth : (n,) float array
            [mm]
        """
        offset = np.asarray(points, float) - self.position
        depth = offset @ self.forward
        ahead = np.where(depth > 0, depth, np.nan)
        x = (1 + offset @ self.right / (ahead * self.half_width)) * self.columns / 2
        y = (1 - offset @ self.up / (ahead * self.half_height)) * self.rows / 2
        return x, y, depth


def cos_fourth(view: View) -> np.ndarray:
    """
    Return how much of the light of each pixel a lens without vignetting of its own brings to the sensor.

    Returns
    -------
    (rows, columns) float array
        ``cos^4`` of the angle from the axis at which the entrance pupil sees the pixel's centre, 1 in the middle (W. J.
        Smith, Modern Optical Engineering, "cosine-to-the-fourth"; from memory). [1]
    """
    across = view.half_width * (2 * (np.arange(view.columns) + 0.5) / view.columns - 1)
    upward = view.half_height * (2 * (np.arange(view.rows) + 0.5) / view.rows - 1)
    return 1 / (1 + across**2 + upward[:, None] ** 2) ** 2


def view_at(scene: Scene, pose: Poses, focus_mm: float, size: tuple[int, int] | None = None, *, stop: float | None = None) -> View:
    """
    Return what the scene's camera sees from one pose.

    Parameters
    ----------
    scene : Scene
        Its body and lens.
    pose : Poses
        A single pose.
    focus_mm : float
        Focused distance, from the entrance pupil. [mm]
    size : (columns, rows), optional
        Of the picture; the body's resolution by default. [pixel]
    stop : float, optional
        f-number that the picture is out of focus by; by default it is a pinhole's. [1]

    Returns
    -------
    View
        Its width is the sensor's, less the crop; its height follows from the picture's shape.
    """
    columns, rows = size or scene.body.resolution
    over_p = inverse_p(scene.lens)
    half_width = float(half_tangent(scene.body.sensor[0] / scene.body.crop, scene.lens.focal, focus_mm, over_p))
    forward, left, up = axes(np.reshape(pose.pan, ()), np.reshape(pose.tilt, ()))
    position = np.reshape(np.asarray(pose.position, float), 3)
    radius = 0.0 if stop is None else entrance_pupil(scene.lens.focal, stop) / 2
    focused = float(focused_distance(scene.lens.focal, focus_mm, over_p))
    return View(position, forward, -left, up, half_width, half_width * rows / columns, int(columns), int(rows), radius, focused)
