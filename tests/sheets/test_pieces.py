"""Pieces: what a maker cuts so that panels fit, by hand for plain rooms."""

import pytest
from shapely.geometry import Polygon

from previz.sheets.pieces import pieces_of
from previz.sheets.strokes import strokes_of
from previz.sheets.webs import weak_webs


def named(scene):
    """Return the pieces by the panel's name."""
    return {piece.name.split(".", 1)[1]: piece for piece in pieces_of(scene)}


class TestCorners:
    """Who runs through and who butts."""

    def test_square_room(self, scene):
        """Each wall runs through at its right end: 300 + 5 and 200 + 5 mm; slabs cover 310 x 210."""
        pieces = named(scene())
        assert [pieces[name].size for name in ("south", "east", "north", "west")] == [(305, 120), (205, 120), (305, 120), (205, 120)]
        assert pieces["floor"].size == pieces["ceiling"].size == (310, 210)
        left, right, foot, top = pieces["south"].joints
        assert (left.how, left.partner, right.how, right.partner) == ("butts", "room.west", "runs through", "room.east")
        assert left.says == "butts against the inside face of room.west, which runs through and covers this end by 5 mm"
        assert (foot.how, top.how) == ("stands on", "carries")
        assert all(not piece.bevels for piece in pieces.values())

    def test_a_wall_left_off(self, scene):
        """Its neighbours end at the plan's corner, free."""
        pieces = named(scene(open=["west"]))
        assert "west" not in pieces and pieces["north"].size == (300, 120) and pieces["south"].size == (305, 120)
        assert pieces["north"].joints[1].how == pieces["south"].joints[0].how == "free"

    def test_a_corner_that_turns_back(self, scene):
        """At the inner corner of an L the wall before it ends there, and the next begins behind its thickness."""
        pieces = named(scene(plan=[[0, 0], [300, 0], [300, 100], [200, 100], [200, 200], [0, 200]], walls=[]))
        assert pieces["3"].size == (100, 120) and pieces["4"].size == (100, 120)
        assert pieces["4"].joints[0].how == "butts" and "outside face" in pieces["4"].joints[0].says

    def test_other_angles_are_mitred(self, scene):
        """A regular hexagon turns by 60 degrees: bevels of 30, the outer face longer by 2 t tan 30."""
        hexagon = [[100, 0], [200, 0], [250, 86.6025404], [200, 173.2050808], [100, 173.2050808], [50, 86.6025404]]
        piece = named(scene(plan=hexagon, walls=[]))["1"]
        assert piece.size[0] == pytest.approx(100 + 2 * 5 * 3**-0.5, abs=1e-3)
        assert [(bevel.edge, round(bevel.degrees, 2), bevel.larger) for bevel in piece.bevels] == [("right end", 30, "outside"), ("left end", 30, "outside")]
        assert "bevel by 30.00 degrees" in piece.joints[0].says


    @pytest.mark.parametrize(
        "plan",
        [
            [[0, 0], [300, 0], [100, 250]],
            [[0, 0], [300, 0], [300, 200], [200, 200], [200, 80], [100, 80], [100, 200], [0, 200]],
            [[0, 0], [300, 0], [300, 100], [296, 100], [296, 200], [0, 200]],
            [[0, 0], [150, 0], [300, 0], [300, 200], [0, 200]],
        ],
        ids=["triangle", "U", "step thinner than the wall", "two walls in line"],
    )
    def test_as_much_board_as_the_solids_hold(self, plan, scene):
        """However corners are cut, all walls together have the volume of the ring round the plan, times the height."""
        made = scene(plan=plan, walls=[])
        pieces = named(made)
        walls = sum((piece.inner.area + piece.outer.area) / 2 * 5 for piece in pieces.values() if piece.kind == "wall")
        ring = pieces["floor"].sheet.area - Polygon(plan).area
        assert walls == pytest.approx(ring * 120, rel=1e-6)


class TestRoof:
    """Gables, eaves and slopes."""

    def test_pitched_roof(self, scene):
        """A wall under the eaves is bevelled by the pitch, a gable is cut square, a slope has two plumb edges."""
        pieces = named(scene(roof={"pitch": 45, "ridge": "x"}))
        assert [(bevel.edge, round(bevel.degrees, 3), bevel.larger) for bevel in pieces["south"].bevels] == [("top", 45, "inside")]
        assert not pieces["east"].bevels and pieces["east"].size == (205, 220)
        assert {(bevel.edge, round(bevel.degrees, 3)) for bevel in pieces["slope.south"].bevels} == {("top", 45), ("foot", 45)}


class TestLines:
    """What is cut and what is only marked."""

    def test_bars_as_deep_as_the_wall_stay(self, scene):
        """Then the panes are cut; thinner ones are glued in, and the whole opening is cut."""
        window = {"name": "window", "wall": "room.south", "at": [50, 40], "size": [60, 40]}
        for depth, cuts, scores in ((5, 4, 0), (3, 1, 1)):
            piece = named(scene(window | {"bars": {"columns": 2, "rows": 2, "width": 4, "depth": depth}}))["south"]
            roles = [(stroke.layer, stroke.role) for stroke in strokes_of(piece)]
            assert sum(layer == "cut" and role != "outline" for layer, role in roles) == cuts
            assert sum(layer == "score" and role == "bar" for layer, role in roles) >= scores
            assert bool(scores) == any(layer == "score" for layer, _ in roles)

    def test_a_door_is_a_notch(self, scene):
        """It reaches the foot, so it belongs to the outline."""
        piece = named(scene({"name": "door", "wall": "room.south", "at": [50, 0], "size": [40, 80]}))["south"]
        (outline,) = [stroke for stroke in strokes_of(piece) if stroke.layer == "cut"]
        assert len(outline.points) == 8 and outline.role == "outline"

    def test_an_opening_as_large_as_the_wall(self, scene):
        """Nothing is left to cut, and nothing breaks."""
        for piece in pieces_of(scene({"name": "all", "wall": "room.south", "at": [-10, 0], "size": [330, 120]})):
            strokes_of(piece)


class TestWebs:
    """At least twice the thickness of the sheet (common practice)."""

    def test_between_openings_and_to_the_edge(self, scene):
        """9.9 mm between two windows and 8 mm to the top are weak in 5 mm board, 10 mm is not; a door has no web at its foot."""
        row = {"wall": "room.south", "size": [40, 60]}
        openings = [{"name": name, "at": [x, y]} | row for name, x, y in (("a", 20, 40), ("b", 69.9, 40), ("c", 119.9, 50), ("d", 169.9, 52))]
        door = {"name": "door", "at": [240, 0]} | row
        webs = weak_webs(named(scene(*openings, door))["south"])
        assert [(web.first, web.second, round(web.width, 3)) for web in webs] == [("d", "the top", 8.0), ("a", "b", 9.9)]
