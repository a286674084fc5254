"""Lamp and openings together: what is found does what was asked, and what cannot be is not found."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from previz.aim.ask import ask_for_layout
from previz.aim.layout import Request, Search, layouts
from previz.aim.limits import Ground
from previz.aim.wishes import target
from previz.build.load import load_set
from previz.light.lamps import emitters, stood
from previz.rays.panes import Panel
from previz.rays.patches import landed
from previz.rays.shadows import Surface
from previz.scene.faults import OptionFault

SCENE = """
# two windows, a bench, a door
[[room]]
name = "hall"
plan = [[0, 0], [320, 0], [320, 260], [0, 260]]
walls = ["south", "east", "north", "west"]
open = ["west"]
height = 200
finish = "dark"

[[opening]]
name = "left"          # first cut
wall = "hall.east"
at = [50, 110]
size = [35, 50]

[[opening]]
name = "right"
wall = "hall.east"
at = [170, 110]
size = [35, 50]

[[prop]]
name = "bench"
kind = "box"
size = [120, 200, 40]
at = [170, 130, 0]

[[prop]]
name = "door"
kind = "box"
size = [60, 4, 120]
at = [60, 8, 0]

[finish.dark]
reflect = 0.1

[[lamp]]
name = "key"
kind = "disc"
diameter = 20
at = [1200, 130, 700]
toward = "bench"
lux_at_1m = 50000

[haze]
extinction = 1.0

[[shot]]
name = "in"
clip = 2
from = [20, 130, 90]
look = "bench"
"""


@pytest.fixture(scope="module")
def hall(tmp_path_factory):
    """The hall, read and built."""
    path = tmp_path_factory.mktemp("hall") / "hall.toml"
    path.write_text(SCENE)
    return load_set(path)


def search(hall, shafts, onto, dark=()):
    """Return the search for so many shafts."""
    file, built = hall
    (lamp,) = emitters(file.scene, built)
    ground = Ground.of(file.scene, built, lamp, file.scene.shot)
    return Search(ground, lamp, Request(shafts, target(built, onto), tuple(target(built, name) for name in dark), ("left", "right")))


class TestLayouts:
    """Searched for, and built."""

    @pytest.mark.parametrize("shafts", (1, 2))
    def test_the_set_as_built_does_what_was_asked(self, hall, shafts):
        """So many openings light the bench and none the door, by the patches of the set with the answer's lamp and openings; all that differ, differ."""
        from previz.build.assemble import build_set

        asked = search(hall, shafts, "bench", ("door",))
        found, best = layouts(asked, Path("."))
        assert found and best < 0.5
        for layout in found:
            built = build_set(layout.scene, Path("."))
            lamp = stood(asked.lamp, layout.at, asked.asked.onto.point)
            lit = {name: {one.fields["on"].split()[0] for one in landed(Surface.of(built), Panel(tuple(built.apertures_named(name))), lamp)} for name in ("left", "right")}
            assert sum("bench" in faces for faces in lit.values()) == shafts
            assert not any("door" in faces for faces in lit.values())
            for opening in layout.scene.opening:
                low, high = np.array(opening.at), np.array(opening.at) + opening.size
                assert (low >= 10 - 1e-6).all() and (high <= np.array([260, 200]) - 10 + 1e-6).all()

    def test_what_cannot_be_is_not_found(self, hall):
        """No lamp outside lights a bench that a box of walls without holes would have to let light through: the target lies under the floor."""
        asked = search(hall, 2, "160,130,-20")
        found, best = layouts(asked, Path("."))
        assert not found and best > 1

    def test_written_it_reads_as_it_was_found(self, hall):
        """Comments stay, lamp and openings change, and each shaft's contrast is in the picture's middle."""
        asked = ask_for_layout(*hall, "bench", 1, 0.05, [], "left", None, None)
        assert asked.solved
        text = asked.scenes()[0]
        assert "# two windows, a bench, a door" in text and '"left"          # first cut' in text
        rows = tomllib.loads(text)
        layout = asked.proposals[0].layout
        assert rows["lamp"][0]["at"] == list(layout.at)
        assert rows["opening"][0]["at"] == list(layout.openings[0].at) and rows["opening"][1]["at"] == [170, 110]
        assert all(len(line) <= 80 for line in asked.text.split("\n"))

    def test_faults(self, hall):
        """More shafts than openings, and an opening that is not there."""
        for shafts, free in ((3, None), (1, "middle"), (0, None)):
            with pytest.raises(OptionFault):
                ask_for_layout(*hall, "bench", shafts, 0.05, [], free, None, None)
