"""Lens and body as solids."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial import ConvexHull

from previz.rig.solids import EXCESS_MM, rig_parts
from previz.scene.model import Body, Lens

LENS = Lens(pupil=8, barrel=((250, 20), (100, 60)))


def test_sections_follow_each_other_behind_the_front():
    """The pupil is 8 mm behind the front; the body is behind the last section, centred."""
    thin, thick, body = rig_parts(LENS, Body(box=(130, 90, 80)))
    assert [part.name for part in (thin, thick, body)] == ["lens barrel (20 mm)", "lens barrel (60 mm)", "camera body"]
    assert_allclose([(p.corners[:, 0].min(), p.corners[:, 0].max()) for p in (thin, thick, body)], [(-242, 8), (-342, -242), (-422, -342)])
    assert_allclose(body.corners.min(axis=0), [-422, -65, -45])
    assert_allclose(body.corners.max(axis=0), [-342, 65, 45])


@pytest.mark.parametrize("diameter", [0.5, 8, 20, 60, 300])
def test_a_barrel_is_never_smaller_than_the_round_one(diameter):
    """Its flats touch the round, also at left, right, top and bottom; its corners stand out by at most the excess."""
    barrel = rig_parts(Lens(barrel=((100, diameter),)), Body())[0]
    planes = ConvexHull(barrel.corners).equations
    sides = planes[np.abs(planes[:, 0]) < 0.5]
    assert_allclose(-sides[:, 3], diameter / 2)
    assert_allclose(np.abs(barrel.corners[:, 1:]).max(axis=0), diameter / 2)
    assert np.hypot(*barrel.corners[:, 1:].T).max() <= diameter / 2 + EXCESS_MM + 1e-9


def test_the_first_diameter_is_the_tip():
    """A touch there is the tip's; farther back, the barrel's."""
    thin, thick, body = rig_parts(LENS, Body())
    assert thin.name_at(0.0) == "lens tip" and thin.name_at(-20.0) == "lens barrel (20 mm)"
    assert thick.name_at(-250.0) == "lens barrel (60 mm)" and body.name_at(-400.0) == "camera body"
