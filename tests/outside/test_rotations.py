"""
The rig's turns against scipy.spatial.transform (SciPy's reference of rotations): pan about the upright, then tilt about what
is then the lens's left; and the chord of a circle, 2 r sin(angle / 2) (Euclid).
"""

import numpy as np
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from previz.camera.view import axes
from previz.rig.kinematics import Axes, rig_of
from previz.scene.model import Lift, Slider

RANDOM = np.random.default_rng(11)
PAN, TILT = RANDOM.uniform(-np.pi, np.pi, 1000), RANDOM.uniform(-1.5, 1.5, 1000)


def test_axes_of_the_lens():
    """Forward, left and up are x, y and z, turned; tilt up is a turn about left the other way round."""
    turned = Rotation.from_euler("ZY", np.column_stack([PAN, -TILT]))
    for row, axis in enumerate(np.eye(3)):
        assert_allclose(axes(PAN, TILT)[:, row], turned.apply(axis), atol=1e-12)


def test_the_pupil_of_a_rig():
    """Rail, then rise, then pan, then reach, as a chain of transforms."""
    slider = Slider(**{"from": (10, 20, 30), "to": (310, 420, 30)}, reach=380, rise=120)
    carriage, lift = RANDOM.uniform(0, 500, 1000), RANDOM.uniform(0, 50, 1000)
    reached = rig_of(slider, Lift(carries="camera")).forward(Axes(carriage, PAN, TILT, lift)).position
    chain = Rotation.from_euler("Z", PAN[:, None]).apply([380.0, 0, 0]) + [10, 20, 150] + np.multiply.outer(carriage, [0.6, 0.8, 0]) + np.multiply.outer(lift, [0, 0, 1])
    assert_allclose(reached, chain, atol=1e-9)


def test_a_chord_of_the_swing():
    """How far a tip goes when the pan turns."""
    rig, none = rig_of(Slider(**{"from": (0, 0, 0), "to": (1, 0, 0)}, reach=300)), np.zeros(1000)
    one, other = (rig.forward(Axes(none, pan, none, none)).position for pan in (PAN, PAN + 0.3))
    assert_allclose(np.linalg.norm(one - other, axis=1), 2 * 300 * np.sin(0.15))
