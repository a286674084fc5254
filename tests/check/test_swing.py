"""The small drawing of how the lens swings."""

import re

import numpy as np
import pytest

from previz.check.swing import MOST, swing_drawing


def figures(swing):
    """A rail along y with the lens looking east, turning as it goes."""
    share = np.linspace(0, 1, 33)
    axis = np.column_stack([0 * share, 100 * share, 0 * share])
    pan = np.radians(10 - 20 * share) * swing
    return {"axis_mm": axis, "tip_mm": axis + 380 * np.column_stack([np.cos(pan), np.sin(pan), 0 * pan]), "tip_swing_mm": float(np.ptp(380 * np.cos(pan)))}


def test_rail_and_tip_are_to_scale_and_inside():
    """Lengths as in the set, all of it inside the frame, and as large as the place allows."""
    drawing = swing_drawing(figures(1))
    lines = {name: np.array([[float(x) for x in point.split(",")] for point in points.split()]) for name, points in re.findall(r'class="(\w+)" points="([^"]+)"', drawing)}
    rail = np.ptp(lines["rail"], axis=0)
    lens = np.linalg.norm(lines["lens"][1] - lines["lens"][0])
    assert rail[0] == 0 and lens / rail[1] == pytest.approx(3.8, rel=2e-3)
    assert lines["rail"][0, 1] > lines["rail"][-1, 1]
    everything = np.concatenate(list(lines.values()))
    assert (everything >= 0).all() and (everything <= MOST).all() and np.ptp(everything, axis=0).max() > 300


def test_no_swing_no_drawing():
    """A slide with a fixed heading needs none."""
    assert swing_drawing(figures(0)) == ""
    assert swing_drawing({"tip_swing_mm": None}) == ""
