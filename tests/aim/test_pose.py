"""A camera from points of the set in its picture."""

import numpy as np
import pytest

from previz.aim.pose import Focal, NotFixed, camera_from, focal_35, focal_pixels
from previz.camera.view import View, axes

SIZE = (1600, 1200)


def camera(rng, count, flat=False):
    """Return points of a room of 330 x 250 x 180 mm, their pixels, and a view that sees them all, from outside or from within."""
    while True:
        points = rng.uniform([0, 0, 0], [330, 250, 180], (count, 3))
        if flat:
            points[:, 2] = 0
        at = rng.uniform([-500, -400, 50], [800, 700, 600]) if rng.random() < 0.5 else rng.uniform([-150, 30, 60], [-20, 220, 150])
        away = points.mean(axis=0) - at
        forward, left, up = axes(np.arctan2(away[1], away[0]), np.arctan2(away[2], np.hypot(*away[:2])))
        roll = np.radians(rng.normal(0, 8))
        right, up = np.cos(roll) * -left + np.sin(roll) * up, np.sin(roll) * left + np.cos(roll) * up
        half = rng.uniform(0.3, 0.8)
        view = View(at, forward, right, up, half, half * SIZE[1] / SIZE[0], *SIZE)
        x, y, depth = view.project(points)
        pixels = np.column_stack([x, y])
        if (depth > 20).all() and (pixels > 0).all() and (pixels < SIZE).all():
            return points, pixels, view


def found(points, pixels, view, known):
    """Return the camera found; with its focal length known to 3 % or not at all."""
    return camera_from(points, pixels, SIZE, Focal(view.columns / 2 / view.half_width, 0.03) if known else None)


@pytest.mark.parametrize("count, known, flat", [(4, True, False), (5, True, False), (6, False, False), (12, False, False), (4, True, True), (7, False, True)])
def test_a_camera_is_found_again(count, known, flat):
    """Seen from anywhere, through any lens, rolled: the position to a thousandth of a millimetre, whatever the fewest points."""
    rng = np.random.default_rng(count + 100 * known + 1000 * flat)
    for _ in range(2):
        points, pixels, view = camera(rng, count, flat)
        answer = found(points, pixels, view, known)
        assert answer.view.position == pytest.approx(view.position, abs=1e-3)
        assert answer.view.forward == pytest.approx(view.forward, abs=1e-6) and answer.view.up == pytest.approx(view.up, abs=1e-6)
        assert answer.view.half_width == pytest.approx(view.half_width, rel=1e-6)
        assert np.abs(answer.off).max() < 1e-3


def test_standard_errors_are_those_that_marks_bring():
    """Marked anew 10 times, 1.5 pixels off each time: the position scatters as it is said to."""
    rng = np.random.default_rng(5)
    points, pixels, view = camera(rng, 10)
    answers = [found(points, pixels + rng.normal(0, 1.5, pixels.shape), view, False) for _ in range(10)]
    scaled = [(answer.view.position - view.position) / answer.position_error_mm for answer in answers]
    assert 0.5 < np.sqrt(np.mean(np.square(scaled))) < 1.6
    assert np.mean([answer.sigma for answer in answers]) == pytest.approx(1.5, rel=0.25)


@pytest.mark.parametrize("known", [True, False])
def test_points_in_one_line_fix_nothing(known):
    """A camera may turn about the line that all points lie in."""
    view = View(np.array([0.0, -400, 100]), *np.array([[0.0, 1, 0], [1, 0, 0], [0, 0, 1]]), 0.5, 0.375, *SIZE)
    points = np.column_stack([np.linspace(-80, 90, 8), np.full(8, 50.0), np.full(8, 60.0)])
    x, y, _ = view.project(points)
    with pytest.raises(NotFixed):
        found(points, np.column_stack([x, y]), view, known)


def test_a_plane_seen_squarely_leaves_the_focal_length_open():
    """Nearer with a wider lens looks the same."""
    view = View(np.array([0.0, -400, 100]), *np.array([[0.0, 1, 0], [1, 0, 0], [0, 0, 1]]), 0.5, 0.375, *SIZE)
    points = np.array([[x, 0.0, z] for x in (-60.0, 0, 70) for z in (20.0, 150)])
    x, y, _ = view.project(points)
    with pytest.raises(NotFixed):
        found(points, np.column_stack([x, y]), view, False)
    assert found(points, np.column_stack([x, y]), view, True).view.position == pytest.approx(view.position, abs=1e-3)


def test_equivalent_focal_lengths_go_by_the_diagonal():
    """By hand: 50 mm on 36 x 24 mm fills 5,000 pixels of a picture of 3,600 x 2,400; a square picture of the same diagonal agrees."""
    assert focal_pixels(50, (3600, 2400)) == pytest.approx(5000)
    assert focal_35(5000, (3600, 2400)) == pytest.approx(50)
    side = np.hypot(3600, 2400) / np.sqrt(2)
    assert focal_pixels(50, (side, side)) == pytest.approx(5000)
