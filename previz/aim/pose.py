"""
Where a camera stood and how it was turned, from points of the set that are marked in its picture.

Takes points of the set, their places in the picture and what is known of the focal length; gives the view, how well it is
known and how far each point is off. Square pixels, the lens's axis in the middle of the picture, straight lines straight.

    x, y     pixel coordinates as `previz.camera.view` has them
    shift    of the entrance pupil, along the set's axes [mm]
    turn     of the camera about its own right, down and forward axes [rad]
    stretch  natural logarithm of the focal length [1]

The answer is the least squares of all pixel errors (bundle adjustment of one picture: R. Hartley and A. Zisserman, Multiple
View Geometry in Computer Vision, 2nd ed. 2004, 7.2, "geometric error"; from memory). It is sought from many sides at once:
four points with a known focal length have no direct linear solution, and a search that needs none serves all cases.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from previz.camera.view import View

FULL_FRAME_MM = (36.0, 24.0)
MARKED_SHARE, MARKED_PIXELS = 1 / 2000, 0.5
"""How well a hand marks a point at best: a share of the picture's width, and never better than half a pixel (own choice)."""
_SIDES, _TRIED, _POLISHED = 96, 12, 3
_ROUGH, _EXACT = 1e-2, 1e-12
_FOCALS = (0.7, 1.1, 2.0)
"""Focal lengths to begin with where none is known, in widths of the picture."""
_NEAREST, _FAR = 1e-3, 1e7
_UNKNOWN = 0.5
"""A camera whose distance, turn or focal length is known to no better than half of itself is not known (own choice)."""


@dataclass(frozen=True)
class Focal:
    """A focal length as it is known beforehand: in pixels, and the standard deviation of it as a share."""

    pixels: float
    share: float


class NotFixed(ValueError):
    """The points do not say where the camera stood: they lie in one line, or too few of them differ in depth."""


@dataclass(frozen=True)
class Camera:
    """
    A camera that was found.

    view        what it sees
    covariance  (7, 7) of shift, turn and stretch
    sigma       standard deviation of one coordinate of a marked point [pixel]
    off         (n, 2) marked less where the set's point appears [pixel]
    """

    view: View
    covariance: np.ndarray
    sigma: float
    off: np.ndarray

    @property
    def position_error_mm(self) -> np.ndarray:
        """(3,) standard errors of the position. [mm]"""
        return np.sqrt(np.diag(self.covariance)[:3])

    @property
    def focal_pixels(self) -> float:
        """The focal length. [pixel]"""
        return self.view.columns / 2 / self.view.half_width

    def slopes(self, points: np.ndarray) -> np.ndarray:
        """Return (n, 2, 7): how the places of points (n, 3) in the picture change with shift, turn and stretch. [pixel/mm], [pixel]"""
        return _placed(_Pose.of(self.view), np.asarray(points, float))[1]


def focal_35(pixels: float, size: tuple[int, int]) -> float:
    """Return the 35 mm equivalent of a focal length in pixels, by the diagonal, as cameras note it (CIPA DCG-001; from memory). [mm]"""
    return pixels * float(np.hypot(*FULL_FRAME_MM)) / float(np.hypot(*size))


def focal_pixels(mm_35: float, size: tuple[int, int]) -> float:
    """Return a 35 mm equivalent focal length in pixels of a picture (columns, rows). [pixel]"""
    return mm_35 / focal_35(1.0, size)


def camera_from(points, pixels, size: tuple[int, int], focal: Focal | None) -> Camera:
    """
    Return the camera that sees points of the set where they are marked.

    Parameters
    ----------
    points : (n, 3) float array
        [mm]
    pixels : (n, 2) float array
        x, y. [pixel]
    size : (columns, rows)
        Of the picture. [pixel]
    focal : Focal or None
        None is unknown.

    Raises
    ------
    NotFixed
        Where many cameras would do as well.
    """
    points, pixels = np.asarray(points, float), np.asarray(pixels, float) - np.array(size) / 2
    marked = max(MARKED_PIXELS, MARKED_SHARE * size[0])
    lengths = [share * size[0] for share in _FOCALS] if focal is None else [focal.pixels]
    starts = [start for length in lengths for start in _starts(points, pixels, length)]
    rough = sorted((_refined(start, points, pixels, focal, marked, _ROUGH) for start in starts), key=lambda found: found[0])[:_POLISHED]
    pose = min((_refined(start, points, pixels, focal, marked, _EXACT) for _, start in rough), key=lambda found: found[0])[1]
    errors, slopes = _errors(pose, points, pixels, focal)
    off = errors[: pixels.size]
    free = len(errors) - 7
    sigma = max(marked, float(np.sqrt(off @ off / free)) if free > 0 else 0.0)
    weight = np.append(np.full(pixels.size, 1 / sigma), 1.0)[: len(errors)]
    return Camera(pose.view(size), _covariance(slopes * weight[:, None], float(np.linalg.norm(points - pose.at, axis=1).mean())), sigma, -off.reshape(-1, 2))


def _covariance(slopes: np.ndarray, far: float) -> np.ndarray:
    """Return the covariance (7, 7) of shift, turn and stretch; NotFixed where some of it is not known at all."""
    scale = np.array([far] * 3 + [1.0] * 4)
    _, size, rows = np.linalg.svd(slopes * scale)
    if len(size) < 7 or size[-1] < 1 / _UNKNOWN:
        raise NotFixed
    whole = rows.T / size**2 @ rows
    return whole * scale * scale[:, None]


@dataclass(frozen=True)
class _Pose:
    """rows (3, 3) right, down, forward; at (3,) [mm]; focal [pixel]"""

    rows: np.ndarray
    at: np.ndarray
    focal: float

    @classmethod
    def of(cls, view: View) -> _Pose:
        return cls(np.array([view.right, -np.asarray(view.up), view.forward]), np.asarray(view.position, float), view.columns / 2 / view.half_width)

    def moved(self, change: np.ndarray) -> _Pose:
        """With shift, turn and stretch (7,) applied."""
        return _Pose(Rotation.from_rotvec(change[3:6]).as_matrix() @ self.rows, self.at + change[:3], self.focal * float(np.exp(np.clip(change[6], -3, 3))))

    def view(self, size) -> View:
        columns, rows = size
        half = columns / 2 / self.focal
        right, down, forward = self.rows
        return View(self.at, forward, right, -down, half, half * rows / columns, int(columns), int(rows))


def _placed(pose: _Pose, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return where points appear (n, 2), from the picture's middle, and the slopes (n, 2, 7). What lies behind is put far out."""
    seen = (points - pose.at) @ pose.rows.T
    depth = np.maximum(seen[:, 2], _NEAREST)
    flat = pose.focal * seen[:, :2] / depth[:, None]
    by_seen = np.zeros((len(points), 2, 3))
    by_seen[:, 0, 0] = by_seen[:, 1, 1] = pose.focal / depth
    by_seen[:, :, 2] = -flat / depth[:, None]
    x, y, z = seen.T
    none = np.zeros_like(x)
    turned = np.array([[none, z, -y], [-z, none, x], [y, -x, none]]).transpose(2, 0, 1)
    return flat, np.concatenate([-by_seen @ pose.rows, by_seen @ turned, flat[:, :, None]], axis=2)


def _errors(pose: _Pose, points, pixels, focal: Focal | None) -> tuple[np.ndarray, np.ndarray]:
    """Return what is to be small, and its slopes by shift, turn and stretch: pixel errors, then how far the focal length is from the one known."""
    flat, slopes = _placed(pose, points)
    off, slopes = (flat - pixels).ravel(), slopes.reshape(-1, 7)
    if focal is None:
        return off, slopes
    return np.append(off, np.log(pose.focal / focal.pixels) / focal.share), np.vstack([slopes, np.eye(7)[6] / focal.share])


def _refined(start: _Pose, points, pixels, focal: Focal | None, marked: float, to: float) -> tuple[float, _Pose]:
    """Return how large the errors still are at the pose near `start` where they are least, and the pose."""
    far = float(np.linalg.norm(points - start.at, axis=1).mean())
    scale = np.array([far] * 3 + [1.0] * 4)
    weight = np.append(np.full(2 * len(points), 1 / marked), 1.0)[: 2 * len(points) + (focal is not None)]
    def errors(change):
        return np.clip(_errors(start.moved(change * scale), points, pixels, focal)[0] * weight, -_FAR, _FAR)

    def slopes(change):
        change = change * scale
        local = _errors(start.moved(change), points, pixels, focal)[1]
        return np.hstack([local[:, :3], local[:, 3:6] @ _turned_on(change[3:6]), local[:, 6:]]) * weight[:, None] * scale

    found = least_squares(errors, np.zeros(7), slopes, method="lm", xtol=to, ftol=to, gtol=to, max_nfev=60)
    return found.cost, start.moved(found.x * scale)


def _turned_on(turn: np.ndarray) -> np.ndarray:
    """Return (3, 3): how a camera that has turned by `turn` turns on where that grows (the left Jacobian of SO(3); J. Sola et al., A micro Lie theory, 2018, eq. 145; from memory)."""
    angle = float(np.linalg.norm(turn))
    if angle < 1e-6:
        return np.eye(3)
    x, y, z = turn
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + (1 - np.cos(angle)) / angle**2 * cross + (angle - np.sin(angle)) / angle**3 * cross @ cross


def _starts(points, pixels, focal: float) -> list[_Pose]:
    """
    Return poses to begin with: from all sides those from which points far away would look most like the marked ones.

    For each side turn and size follow from the best similarity between the points seen from there and the marked ones.
    """
    middle = points.mean(axis=0)
    steps = np.arange(_SIDES) + 0.5
    height, around = 1 - 2 * steps / _SIDES, steps * np.pi * (3 - np.sqrt(5))
    flat = np.sqrt(1 - height**2)
    forward = np.column_stack([flat * np.cos(around), flat * np.sin(around), height])
    right = np.column_stack([np.sin(around), -np.cos(around), np.zeros(_SIDES)])
    rows = np.stack([right, np.cross(forward, right), forward], axis=1)
    seen = np.einsum("sij,nj->sni", rows, points - middle)
    marked = (pixels - pixels.mean(axis=0)) @ (1, 1j)
    plain = seen[..., 0] + 1j * seen[..., 1]
    similar = (plain.conj() @ marked) / np.maximum((np.abs(plain) ** 2).sum(axis=1), 1e-12)
    left = (np.abs(marked - similar[:, None] * plain) ** 2).sum(axis=1)
    found = []
    for i in np.argsort(left)[:_TRIED]:
        turn = Rotation.from_rotvec([0, 0, np.angle(similar[i])]).as_matrix()
        axes = turn @ rows[i]
        far = max(focal / max(abs(similar[i]), 1e-9), 1.2 * np.ptp(seen[i, :, 2]))
        away = np.append(pixels.mean(axis=0) / focal, 1.0) @ axes
        found.append(_Pose(axes, middle - far * away, focal))
    return found
