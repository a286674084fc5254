"""Places by name: openings and props, single and in rows."""

import numpy as np
import pytest

from previz.build.places import opening_centre, place_of, prop_box

ROOM = {"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "height": 180, "wall": 6, "walls": ["south", "east", "north", "west"]}


def row(name, kind, at, **more):
    return {"name": name, "kind": kind, "at": at} | more


@pytest.fixture(scope="module")
def built(build):
    """A room with a barred window, a row of two slits, a crate, a row of three stools, and a thing named like one of a row."""
    openings = [
        {"name": "window", "wall": "room.west", "at": [50, 60], "size": [60, 80], "bars": {"columns": 3, "rows": 2, "width": 4, "depth": 4}},
        *({"name": f"slit-{i + 1}", "wall": "room.south", "at": [40 + 30 * i, 100], "size": [10, 50]} for i in range(2)),
    ]
    stools = [row(f"stool-{i + 1}", "box", [150 + 30 * i, 100, 0], size=[20, 20, 30]) for i in range(3)]
    crate = [row("crate", "box", [60, 60, 5], size=[40, 20, 10]), row("crate-2", "box", [60, 160, 0], size=[40, 20, 10])]
    return build(room=[ROOM], opening=openings, prop=stools + crate)


class TestOpening:
    """The middle of the panes at half the wall's thickness."""

    @pytest.mark.parametrize(("name", "centre"), [("window", (-3, 120, 100)), ("slit-1", (45, -3, 125)), ("slit", (60, -3, 125))])
    def test_centre(self, built, name, centre):
        """One opening, one of a row, the row; along runs left to right seen from outside."""
        np.testing.assert_allclose(opening_centre(built, name), centre, atol=1e-9)

    def test_no_such_opening(self, built):
        """A prop is no opening."""
        assert opening_centre(built, "crate") is None


class TestProp:
    """The bounding box of its solids."""

    @pytest.mark.parametrize(
        ("name", "low", "high"),
        [
            ("stool-2", (170, 90, 0), (190, 110, 30)),
            ("stool", (140, 90, 0), (220, 110, 30)),
            ("crate", (40, 50, 5), (80, 70, 15)),  # a name of its own goes before a row's
        ],
    )
    def test_box(self, built, name, low, high):
        """One, a row, and a single prop beside another that is numbered like one of its row."""
        np.testing.assert_allclose(prop_box(built, name), [low, high], atol=1e-9)

    @pytest.mark.parametrize("name", ["window", "room", "room.floor", "ghost"])
    def test_no_such_prop(self, built, name):
        """Openings, rooms and walls are no props."""
        assert prop_box(built, name) is None


def test_place(built):
    """The centre of either; None where there is neither."""
    np.testing.assert_allclose(place_of(built, "stool"), (180, 100, 15), atol=1e-9)
    np.testing.assert_allclose(place_of(built, "slit"), (60, -3, 125), atol=1e-9)
    assert place_of(built, "ghost") is None
