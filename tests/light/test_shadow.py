"""Shadows by similar triangles."""

import numpy as np
import pytest

from previz.light.shadow import penumbra_share, penumbra_width, thrown_onto_plane


class TestPenumbra:
    """Width, and light across it."""

    def test_point_source(self):
        """No extent, no softness."""
        assert penumbra_width(0.0, 800.0, 200.0) == 0

    def test_both_sides_make_the_whole(self):
        """What one side of the edge hides the other shows."""
        x = np.linspace(-1, 1, 41)
        np.testing.assert_allclose(penumbra_share(x) + penumbra_share(-x), 1)

    def test_beyond(self):
        """Dark and lit, without a step."""
        np.testing.assert_array_equal(penumbra_share([-3.0, -1.0, 1.0, 3.0]), [0, 0, 1, 1])

    def test_rises(self):
        """Never less light further in."""
        assert (np.diff(penumbra_share(np.linspace(-1, 1, 200))) > 0).all()


class TestThrown:
    """Central projection."""

    def test_point_in_the_plane_stays(self):
        """A corner on the floor is its own shadow."""
        np.testing.assert_allclose(thrown_onto_plane([0, 0, 100], [[30.0, 20.0, 0.0]], [0, 0, 0], [0, 0, 1]), [[30, 20, 0]])

    @pytest.mark.parametrize("height", [100.0, 130.0])
    def test_light_that_never_lands(self, height):
        """Level or rising light misses the floor."""
        assert np.isnan(thrown_onto_plane([0, 0, 100], [[30.0, 20.0, height]], [0, 0, 0], [0, 0, 1])).all()

    def test_length_of_the_normal(self):
        """Only its direction counts."""
        one, other = (thrown_onto_plane([0, 0, 100], [[30.0, 20.0, 40.0]], [0, 0, 0], [0.1 * k, 0, k]) for k in (1, 9))
        np.testing.assert_allclose(one, other)
