"""Millimetres become metres in one module."""

from pathlib import Path

import numpy as np
import pytest

import previz
from previz.light.units import LUX_PER_CANDELA_MM2, per_mm


def test_one_candela_lights_one_metre_away_with_one_lux():
    """The definition of the lux, in millimetres."""
    assert LUX_PER_CANDELA_MM2 * 1 / 1000.0**2 == 1.0


def test_extinction_over_a_path_is_the_same_number_in_either_unit():
    """Optical depth has no unit."""
    np.testing.assert_allclose(per_mm(np.array([0.8, 2.0])) * 300, np.array([0.8, 2.0]) * 0.3)


@pytest.mark.parametrize("name", ["rays", "haze", "frames", "check", "rig", "build"])
def test_no_other_module_turns_millimetres_into_metres(name):
    """A factor of a thousand or a million between lengths stands in units.py alone; meshes are read in the unit of their file."""
    for module in (Path(previz.__file__).parent / name).glob("*.py"):
        text = module.read_text(encoding="utf-8")
        assert not [line for line in text.splitlines() if any(f in line for f in ("/ 1000", "* 1e-3", "/ 1e3", "* 1e6", "/ 1e6", "* 1e-6"))], module
