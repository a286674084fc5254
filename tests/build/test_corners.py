"""Corners by name lie where the solids have them."""

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial import cKDTree

from previz.build.corners import named_corners
from previz.build.load import load_set

SCENES = sorted((Path(__file__).parents[2] / "scenes").glob("*.toml"))


@pytest.mark.parametrize("path", SCENES, ids=lambda path: path.stem)
def test_every_corner_is_one_of_the_solids(path):
    """Walls, ridges, openings, turned boxes, cutouts stood up or lying: each name is a corner of the built set."""
    loaded, built = load_set(path)
    corners = named_corners(loaded.scene, built)
    assert len(corners) > 100
    assert cKDTree(built.vertices).query(np.array(list(corners.values())))[0].max() < 1e-4


def test_names_mean_what_a_maker_reads(scene_file):
    """By hand: the plain room of 300 x 200 x 180 mm, its window 60 to 140 along and 60 to 150 up in the east wall of 5 mm, its table of 60 x 40 x 30 mm."""
    loaded, built = load_set(scene_file)
    corners = named_corners(loaded.scene, built)
    for name, at in {
        "room.south.east floor": (300, 0, 0),
        "room.north.west ceiling": (0, 200, 180),
        "window lower left": (300, 60, 60),
        "window upper right outside": (305, 140, 150),
        "table top front left": (120, 80, 30),
        "table bottom back right": (180, 120, 0),
    }.items():
        assert corners[name] == pytest.approx(at, abs=1e-9), name
