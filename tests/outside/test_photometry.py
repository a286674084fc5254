"""Closed forms of illuminance: laws and limits that hold beside the published values in tests/outside/test_illuminance.py."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from previz.light.lamps import Emitter, face_points, intensity
from photometry import (
    disc_factor,
    face_illuminance,
    face_luminance,
    point_illuminance,
    polygon_factor,
    rectangle_factor,
    tilted_disc_factor,
    upright_rectangle_factor,
)

UP = [[0.0, 0.0, 1.0]]
ORIGIN = [[0.0, 0.0, 0.0]]
PLATE = np.array([(-40.0, 60.0, -30.0), (40.0, 60.0, -30.0), (40.0, 60.0, 50.0), (-40.0, 60.0, 50.0)])
"""An upright rectangle of which a level receiver at the origin sees what is above z = 0."""


class TestPoint:
    """I cos / d^2."""

    def test_behind_the_receiver(self):
        """No light from below the horizon."""
        assert point_illuminance(1000, [0, 0, -100], ORIGIN, UP)[0] == 0

    def test_normals_need_not_be_unit(self):
        """Only the direction of a normal counts."""
        assert point_illuminance(1000, [0, 30, 100], ORIGIN, [[0, 0, 7.0]]) == pytest.approx(point_illuminance(1000, [0, 30, 100], ORIGIN, UP))

    def test_a_candela_for_each_point(self):
        """One intensity towards each receiver."""
        lux = point_illuminance(np.array([1.0, 2.0]), [0, 0, 1000], ORIGIN * 2, UP * 2)
        np.testing.assert_allclose(lux, [1, 2])


class TestDiscLimits:
    """Howell B-12, B-13, B-14 where they must join or end."""

    def test_all_of_the_sky(self):
        """A disc at hand fills the half space."""
        assert disc_factor(1e6, 1.0) == pytest.approx(1)

    def test_far_away_keeps_its_digits(self):
        """R^2 / d^2 to twelve digits where the printed difference has lost ten."""
        assert disc_factor(0.5, 1e5, 0.0) == pytest.approx(0.25 / (1e10 + 0.25), rel=1e-12)

    def test_off_axis_joins_on_axis(self):
        """Offset 0 is B-12."""
        assert disc_factor(30.0, 80.0, 0.0) == pytest.approx(900 / 7300)

    @given(st.floats(0.1, 500), st.floats(0.1, 500), st.floats(0, 500))
    def test_a_share(self, radius, distance, offset):
        """Between nothing and all, and less than on the axis."""
        factor = disc_factor(radius, distance, offset)
        assert 0 < factor < 1
        assert factor <= disc_factor(radius, distance) * (1 + 1e-12)

    def test_the_horizon_cuts_the_disc(self):
        """B-13 holds only while the receiver sees the whole disc."""
        with pytest.raises(ValueError, match=r"^the receiver does not see the whole disc: its tilt is more than atan\(distance / radius\)$"):
            tilted_disc_factor(50.0, 50.0, np.radians(46))


class TestPolygon:
    """Lambert's formula against the other closed forms, clipped and whole."""

    @pytest.mark.parametrize("offset", [0.0, 25.0, 90.0])
    def test_many_sides_are_a_disc(self, offset):
        """720 sides, off the axis by `offset`."""
        angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
        corners = np.column_stack([40 * np.cos(angle) + offset, 40 * np.sin(angle), np.full(720, 70.0)])
        assert polygon_factor(corners, ORIGIN, UP)[0] == pytest.approx(disc_factor(40.0, 70.0, offset), rel=2e-5)

    def test_horizon_cuts_it(self):
        """What is below the receiver does not count."""
        assert polygon_factor(PLATE, ORIGIN, UP)[0] == pytest.approx(upright_rectangle_factor((-40, 40), (-30, 50), 60.0))

    def test_wholly_behind(self):
        """A face behind the receiver gives nothing."""
        assert polygon_factor(PLATE - [0, 0, 100], ORIGIN, UP)[0] == 0

    def test_sense_of_turning(self):
        """Either side of the polygon shines."""
        assert polygon_factor(PLATE[::-1], ORIGIN, UP) == pytest.approx(polygon_factor(PLATE, ORIGIN, UP))

    @given(st.floats(-1, 1), st.floats(-1, 1), st.floats(-1, 1))
    def test_two_sided_receiver_sums(self, x, y, z):
        """Front minus back of a receiver is the flow of light through it: the components of one vector (Gershun, from memory)."""
        normal = np.array([x, y, z])
        if np.linalg.norm(normal) < 0.1:
            return
        normal /= np.linalg.norm(normal)
        sides = np.vstack([normal, -normal, np.eye(3), -np.eye(3)])
        factor = polygon_factor(PLATE, np.zeros((8, 3)), sides)
        flow = factor[2:5] - factor[5:8]
        assert factor[0] - factor[1] == pytest.approx(flow @ normal, abs=1e-12)

    def test_many_receivers_at_once(self):
        """Arrays give what single calls give."""
        points = np.random.default_rng(3).uniform(-50, 50, (20, 3))
        normals = np.random.default_rng(4).normal(size=(20, 3))
        single = [polygon_factor(PLATE, [p], [n])[0] for p, n in zip(points, normals)]
        np.testing.assert_allclose(polygon_factor(PLATE, points, normals), single)


class TestRectangle:
    """Corner sums."""

    def test_halves_add_up(self):
        """Light adds."""
        whole = rectangle_factor((-30, 50), (10, 40), 60.0)
        assert rectangle_factor((-30, 5), (10, 40), 60.0) + rectangle_factor((5, 50), (10, 40), 60.0) == pytest.approx(whole)

    def test_below_the_horizon(self):
        """An upright rectangle below the receiver gives nothing."""
        assert upright_rectangle_factor((-30, 50), (-40, -10), 60.0) == 0

    def test_standing_rectangle_at_hand(self):
        """A wall without end at hand is half of the sky."""
        assert upright_rectangle_factor((-1e6, 1e6), (0, 1e6), 1e-3) == pytest.approx(0.5, rel=1e-6)


@pytest.mark.parametrize("shape", ["disc", "panel"])
def test_a_face_of_points_is_the_closed_form(shape):
    """Samples of the face, each a Lambertian point source of its share of the candela, add up to pi L F."""
    lamp = Emitter("key", shape, np.array([0, 0, 120.0]), np.array([0, 0, -1.0]), np.array([45.0, 0, 0]), np.array([0, 45.0, 0]), np.ones(3), 1.0)
    steps = (np.arange(60) + 0.5) / 60
    points = face_points(lamp, np.array(np.meshgrid(steps, steps)).reshape(2, -1).T)
    receiver = np.array([70.0, 20.0, 0.0])
    travel = receiver - points
    sent = 500.0 / len(points) * intensity(lamp, travel / np.linalg.norm(travel, axis=1, keepdims=True))
    lux = sum(point_illuminance(i, p, [receiver], UP)[0] for i, p in zip(sent, points))
    area = np.pi * 45**2 if shape == "disc" else 90**2
    factor = disc_factor(45.0, 120.0, np.hypot(70, 20)) if shape == "disc" else rectangle_factor((-115, -25), (-65, 25), 120.0)
    assert lux == pytest.approx(face_illuminance(face_luminance(500.0, area), factor), rel=1e-3)
