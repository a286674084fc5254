"""The map of where a lamp may stand: readable, and pale only where it may."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from previz.aim.ask import ask_for_lamp
from previz.build.load import load_set
from previz.sheets.aimed import aim_map

ATTIC = Path(__file__).parents[2] / "scenes" / "clockmakers-attic.toml"


@pytest.fixture(scope="module")
def asked():
    """The attic's window onto its clock."""
    return ask_for_lamp(*load_set(ATTIC), ["round window > mantel clock"], [], None, None)


class TestMap:
    """What it shows."""

    def test_no_words_meet_and_none_leaves_the_page(self, asked):
        """By the boxes of all lines of text."""
        drawing = aim_map(asked, (297.0, 210.0))
        boxes = np.array([words.box for words in drawing.words])
        assert (boxes[:, :2] > 0).all() and (boxes[:, 2:] < drawing.size).all()
        apart = (boxes[:, None, 0] >= boxes[None, :, 2]) | (boxes[:, None, 1] >= boxes[None, :, 3])
        assert (apart | apart.T | np.eye(len(boxes), dtype=bool)).all()

    def test_every_place_of_the_region_lets_light_in(self, asked):
        """From there some of the clock is in plain sight of the lamp, and the stand keeps its height."""
        places, does = asked.region
        chosen = places[does][::25]
        samples = asked.wishes[0].onto.samples
        sees = [(~asked.ground.tracer.blocked(samples, np.tile(place, (len(samples), 1)))).any() for place in chosen]
        assert len(chosen) > 10 and all(sees)
        low, high = asked.ground.scene.stand.height
        assert ((chosen[:, 2] - asked.ground.floor_z >= low) & (chosen[:, 2] - asked.ground.floor_z <= high)).all()
