"""The frame as a window ahead of the entrance pupil."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from previz.camera.view import Poses, axes, view_at
from previz.scene.model import Scene

angle = st.floats(-4, 4)


def view(pan=0.0, tilt=0.0, focus_mm=100.0, size=None, position=(10.0, 20.0, 30.0), **body):
    scene = Scene.model_validate({"lens": {"focal": 20}, "body": {"sensor": [36, 24]} | body})
    return view_at(scene, Poses(np.array(position), np.float64(pan), np.float64(tilt)), focus_mm, size)


class TestAxes:
    """Forward, left and up."""

    @settings(deadline=None)
    @given(pan=angle, tilt=angle)
    def test_are_a_right_handed_frame_that_never_rolls(self, pan, tilt):
        """Unit, square to each other, left level."""
        rows = axes(pan, tilt)
        assert_allclose(rows @ rows.T, np.eye(3), atol=1e-12)
        assert_allclose(np.cross(rows[0], rows[1]), rows[2], atol=1e-12)
        assert rows[1, 2] == 0

    def test_pan_is_anticlockwise_and_tilt_is_up(self):
        """A quarter turn looks along y; tilted up it looks along z."""
        assert_allclose(axes(np.pi / 2, 0.0)[0], [0, 1, 0], atol=1e-15)
        assert_allclose(axes(0.3, np.pi / 2)[0], [0, 0, 1], atol=1e-15)

    def test_arrays_give_one_frame_each(self):
        """Shapes follow the poses."""
        assert axes(np.zeros(5), np.ones(5)).shape == (5, 3, 3)


class TestView:
    """Pixels to directions and back."""

    @settings(deadline=None)
    @given(pan=angle, tilt=angle, x=st.floats(0, 1920), y=st.floats(0, 1080), far=st.floats(1, 1e4))
    def test_project_undoes_directions(self, pan, tilt, x, y, far):
        """A point along a pixel's direction appears in that pixel."""
        frame = view(pan, tilt)
        point = frame.position + far * frame.directions(np.array([x]), np.array([y]))
        assert_allclose(np.array(frame.project(point))[:2, 0], [x, y], atol=1e-6)

    def test_directions_are_unit_vectors_of_any_shape(self):
        """One vector a pixel coordinate."""
        x, y = np.meshgrid(np.arange(4.0), np.arange(3.0))
        found = view().directions(x, y)
        assert found.shape == (3, 4, 3)
        assert_allclose(np.linalg.norm(found, axis=-1), 1)

    def test_right_is_right_and_down_is_down(self):
        """Looking along x, the right edge lies toward -y and the lower edge toward -z."""
        right, down = view().directions(np.array([1920.0, 960.0]), np.array([540.0, 1080.0]))
        assert right[1] < 0 and right[2] == 0
        assert down[2] < 0 and down[1] == 0

    def test_behind_the_lens_there_is_no_picture(self):
        """Points behind have a negative depth and no pixel."""
        x, y, depth = view().project([[0.0, 20.0, 30.0]])
        assert depth == -10 and np.isnan(x) and np.isnan(y)

    def test_width_is_the_sensors_less_the_crop(self):
        """A crop of 2 halves the tangent of half the angle."""
        assert_allclose(view(crop=2).half_width, view().half_width / 2)
        assert_allclose(view(focus_mm=1e9).half_width, 36 / 40)

    def test_height_follows_from_the_picture(self):
        """Square pixels, whatever the sensor's height or the size asked for."""
        for size in (None, (320, 180), (100, 300)):
            frame = view(size=size)
            assert (frame.columns, frame.rows) == (size or (1920, 1080))
            assert_allclose(frame.half_height / frame.half_width, frame.rows / frame.columns)

    def test_too_near_a_focus_stays_finite(self):
        """Focused at the pupil itself the frame is narrow, not nothing."""
        assert view(focus_mm=0.0).half_width > 0.01

    def test_one_of_many_poses(self):
        """A pose taken out of a row of them."""
        poses = Poses(np.zeros((3, 3)), np.arange(3.0), np.zeros(3))
        assert_allclose(view_at(Scene(), poses[1], 100).forward, [np.cos(1), np.sin(1), 0])
        assert len(poses) == 3 and len(poses[1:]) == 2


class TestPupil:
    """The picture from any point of the entrance pupil."""

    def test_every_point_of_the_pupil_sees_the_plane_in_focus_alike(self):
        """Rays of one pixel meet where the plane in focus is, 100 mm along the axis, and nowhere else."""
        frame = wide_open(2.0)
        meets = []
        for across, upward in ((0, 0), (1, 0), (0, -1), (0.6, 0.8)):
            origin, corner, right, down = frame.window(across, upward)
            ray = corner + 1700 * right + 300 * down
            assert_allclose(ray @ frame.forward, 1)
            meets.append(origin + 100 * ray)
        assert_allclose(meets, np.tile(meets[0], (4, 1)), atol=1e-9)

    def test_is_as_wide_as_the_stop_says(self):
        """Diameter = focal / f-number: 20 mm at f/16 is 1.25 mm; no stop is a pinhole."""
        origin, *_ = wide_open(16).window(0, 1)
        assert_allclose(np.linalg.norm(origin - wide_open(16).position), 0.625)
        assert view().pupil_radius == 0

    def test_focuses_no_nearer_than_the_model_lens_can(self):
        """A plane in focus within the focal length is none: 1.04 focal lengths is the nearest."""
        assert_allclose(view(focus_mm=5).focus_mm, 20.8)


def wide_open(stop):
    """The camera of `view` with a lens that is out of focus off its plane."""
    scene = Scene.model_validate({"lens": {"focal": 20}, "body": {"sensor": [36, 24]}})
    return view_at(scene, Poses(np.array([10.0, 20.0, 30.0]), np.float64(0.4), np.float64(-0.2)), 100.0, stop=stop)
