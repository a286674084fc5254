"""
The camera of a photo against OpenCV: `solvePnP` (iterative: Levenberg-Marquardt on pixel errors) at the focal length that was
found, and `calibrateCamera` with square pixels, a centred axis and no distortion for the focal length itself.
"""

import cv2
import numpy as np
import pytest

from previz.aim.pose import Focal, camera_from
from previz.camera.view import View, axes

SIZE = (1600, 1200)
ROOM = np.array([[0, 0, 0], [330, 0, 0], [330, 250, 0], [0, 250, 0], [330, 250, 180], [0, 250, 180], [120, 80, 40], [180, 120, 40], [60, 30, 90], [250, 200, 120.0]])


def photographed(seed, noise):
    """Return pixels (n, 2) of the room's points, marked with `noise` pixels, and the view that they are seen by."""
    rng = np.random.default_rng(seed)
    forward, left, up = axes(np.radians(rng.uniform(60, 100)), np.radians(rng.uniform(-35, -10)))
    half = rng.uniform(0.4, 0.7)
    view = View(np.array([165.0, 110, 80]) - rng.uniform(420, 700) * forward, forward, -left, up, half, half * SIZE[1] / SIZE[0], *SIZE)
    x, y, _ = view.project(ROOM)
    return np.column_stack([x, y]) + rng.normal(0, noise, (len(ROOM), 2)), view


def matrix(focal):
    """Return OpenCV's camera matrix; our pixels have their centres on halves and the axis in the middle, in one and the same coordinates."""
    return np.array([[focal, 0, SIZE[0] / 2], [0, focal, SIZE[1] / 2], [0, 0, 1.0]])


def position(turn, shift):
    """Return where OpenCV's camera stands."""
    return -cv2.Rodrigues(turn)[0].T @ np.ravel(shift)


def opencv_at(pixels, focal):
    """Return position and forward axis by `solvePnP`."""
    done, turn, shift = cv2.solvePnP(ROOM, pixels, matrix(focal), None, flags=cv2.SOLVEPNP_ITERATIVE)
    assert done
    turn, shift = cv2.solvePnPRefineLM(ROOM, pixels, matrix(focal), None, turn, shift, criteria=(cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 200, 1e-12))
    return position(turn, shift), cv2.Rodrigues(turn)[0][2]


@pytest.mark.parametrize("noise, within_mm", [(0.0, 0.001), (1.5, 0.05)])
@pytest.mark.parametrize("seed", range(4))
def test_position_and_direction(seed, noise, within_mm):
    """At one focal length both find one camera: least squares of the same errors."""
    pixels, view = photographed(seed, noise)
    camera = camera_from(ROOM, pixels, SIZE, None)
    at, forward = opencv_at(pixels, camera.focal_pixels)
    assert np.linalg.norm(camera.view.position - at) < within_mm
    assert camera.view.forward == pytest.approx(forward, abs=1e-5)


@pytest.mark.parametrize("seed", range(3))
def test_focal_length(seed):
    """Unknown in both: the same focal length and place."""
    pixels, view = photographed(10 + seed, 1.0)
    camera = camera_from(ROOM, pixels, SIZE, None)
    fixed = cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_PRINCIPAL_POINT | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K1 | cv2.CALIB_FIX_K2 | cv2.CALIB_FIX_K3
    start = matrix(1.1 * view.columns / 2 / view.half_width)
    _, found, _, turns, shifts = cv2.calibrateCamera([ROOM.astype(np.float32)], [pixels.astype(np.float32)], SIZE, start, np.zeros(5), flags=fixed, criteria=(3, 500, 1e-14))
    assert camera.focal_pixels == pytest.approx(found[0, 0], rel=1e-4)
    assert np.linalg.norm(camera.view.position - position(turns[0], shifts[0])) < 0.05


def test_a_noted_focal_length_does_not_hold_against_marks():
    """Noted 1 % too long and known to 3 %: ten points marked to a pixel and a half bring it within 1 % of the true one in five of six photos."""
    nearer = 0
    for seed in range(6):
        pixels, view = photographed(20 + seed, 1.5)
        true = view.columns / 2 / view.half_width
        nearer += abs(camera_from(ROOM, pixels, SIZE, Focal(1.01 * true, 0.03)).focal_pixels - true) < 0.01 * true
    assert nearer >= 5
