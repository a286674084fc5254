"""Panes, gaps and the rooms' air."""

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from previz.build.convex import convex_pieces, is_convex

ROOM = {"name": "attic", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["south", "east", "north", "west"], "height": 120, "wall": 6}


class TestPanes:
    """A pane's edges know at which depths their rims lie."""

    def test_a_barred_window_by_hand(self, build):
        """60 x 41 mm with bars of 2 and 1: panes of 29 x 20, rims of the bars between 1.5 and 4.5 mm."""
        bars = {"columns": 2, "rows": 2, "width": 2, "depth": 3}
        window = {"name": "window", "wall": "attic.north", "at": [40, 30], "size": [60, 42], "bars": bars, "glass": 0.9}
        panes = {a.pane: a for a in build(room=[ROOM], opening=[window]).apertures}
        assert set(panes) == {(0, 0), (1, 0), (0, 1), (1, 1)}
        upper_left = panes[0, 1]
        assert upper_left.room == "attic" and upper_left.thickness == 6 and upper_left.transmittance == 0.9
        low, high = upper_left.outline.min(axis=0), upper_left.outline.max(axis=0)
        assert_allclose([low, high], [[40, 52], [69, 72]])
        rims = {tuple(np.round(n, 9) + 0.0): (c, tuple(d)) for n, c, d in zip(upper_left.edges[:, :2], upper_left.edges[:, 2], upper_left.depths)}
        assert rims == {(1, 0): (40, (0, 6)), (0, 1): (52, (1.5, 4.5)), (-1, 0): (-69, (1.5, 4.5)), (0, -1): (-72, (0, 6))}

    def test_the_frame_looks_outward(self, build):
        """North is seen from outside with its first corner, the one at x = 300, on the left."""
        pane = build(room=[ROOM], opening=[{"name": "w", "wall": "attic.north", "at": [40, 30], "size": [60, 40]}]).apertures[0]
        assert_allclose(pane.origin, [300, 200, 0])
        assert_allclose(pane.axes, [[-1, 0, 0], [0, 0, 1], [0, 1, 0]], atol=1e-15)

    def test_round_heads_stay_whole(self, build):
        """Arch, lancet and round are convex: one pane each, with rims on every edge."""
        shapes = [("arch", [30, 50]), ("lancet", [30, 50]), ("round", 30)]
        cuts = [{"name": s, "wall": "attic.north", "shape": s, "at": [20 + 60 * k, 30], "size": size} for k, (s, size) in enumerate(shapes)]
        panes = build(room=[ROOM], opening=cuts).apertures
        assert [a.opening for a in panes] == ["arch", "lancet", "round"]
        assert all(np.all(a.depths == [0, 6]) for a in panes)

    def test_a_concave_outline_comes_in_pieces_of_one_number(self, build):
        """An L is cut in two convex pieces that share its number and have no rims of their own."""
        shape = {"outline": [[0, 0], [40, 0], [40, 20], [20, 20], [20, 60], [0, 60]]}
        pieces = build(room=[ROOM], opening=[{"name": "L", "wall": "attic.north", "at": [50, 30], "shape": shape}]).apertures
        assert len(pieces) == 2 and {a.pane for a in pieces} == {(0, 0)}
        assert all(np.all(a.depths == 0) for a in pieces)
        assert_allclose(sum(shapely.Polygon(a.outline).area for a in pieces), 40 * 20 + 20 * 40)

    def test_edges_hold_the_outline(self, build):
        """Every corner is on the inner side of every edge, and on two of them."""
        for pane in build(room=[ROOM], opening=[{"name": "r", "wall": "attic.north", "shape": "round", "at": [50, 30], "size": 40}]).apertures:
            inside = pane.outline @ pane.edges[:, :2].T - pane.edges[:, 2]
            assert np.all(inside > -1e-9)
            assert np.all(np.count_nonzero(inside < 1e-9, axis=1) == 2)
            assert_allclose(np.linalg.norm(pane.edges[:, :2], axis=1), 1)


class TestGaps:
    """What is left off lets light in without rims."""

    def test_a_wall_left_off(self, build):
        """The gap is the whole elevation of the wall."""
        (gap,) = build(room=[ROOM | {"open": ["south"]}]).apertures
        assert (gap.opening, gap.pane, gap.room, gap.thickness) == ("attic.south", (0, 0), "attic", 0)
        assert_allclose(shapely.Polygon(gap.outline).area, 300 * 120)
        assert np.all(gap.depths == 0)

    def test_a_gable_left_off(self, build):
        """Under a pitched roof the gap reaches the ridge."""
        (gap,) = build(room=[ROOM | {"open": ["west"], "roof": {"pitch": 45, "ridge": "x"}}]).apertures
        assert_allclose(shapely.Polygon(gap.outline).area, 200 * 120 + 200 * 100 / 2)

    def test_an_open_ceiling_over_an_L(self, build):
        """A missing ceiling and floor come in convex pieces of the plan."""
        plan = [[0, 0], [300, 0], [300, 100], [120, 100], [120, 200], [0, 200]]
        gaps = build(room=[{"name": "yard", "plan": plan, "height": 80, "ceiling": False, "floor": False}]).apertures
        for name, height in (("yard.ceiling", 80), ("yard.floor", 0)):
            pieces = [a for a in gaps if a.opening == name]
            assert len(pieces) == 2 and all(a.origin[2] == height for a in pieces)
            assert_allclose(sum(shapely.Polygon(a.outline).area for a in pieces), 42_000)


class TestCells:
    """The air of a room, in convex pieces."""

    def volume(self, cells, low, high, count=60_000):
        """Volume of the union and the greatest number of cells over one point, by counting seeded points in a box."""
        points = np.random.default_rng(7).uniform(low, high, (count, 3))
        inside = np.array([np.all(points @ cell.planes[:, :3].T <= cell.planes[:, 3], axis=1) for cell in cells])
        return inside.any(axis=0).mean() * np.prod(np.subtract(high, low)), inside.sum(axis=0).max()

    def test_an_L_under_a_pitched_roof(self, build):
        """Two pieces, capped by both slopes, that tile the air without overlap."""
        plan = [[0, 0], [300, 0], [300, 100], [120, 100], [120, 200], [0, 200]]
        built = build(room=[{"name": "loft", "plan": plan, "height": 80, "roof": {"pitch": 45, "ridge": "x"}}])
        volume, most = self.volume(built.cells, [0, 0, 0], [300, 200, 180])
        wing, stem = 180 * (80 * 100 + 100 * 100 / 2), 120 * (80 * 200 + 100 * 200 / 2)
        assert len(built.cells) == 2 and most == 1
        assert_allclose(volume, wing + stem, rtol=0.02)

    def test_normals_are_unit_and_outward(self, build):
        """The middle of a plain room is inside every plane."""
        (cell,) = build(room=[ROOM]).cells
        assert_allclose(np.linalg.norm(cell.planes[:, :3], axis=1), 1)
        assert_allclose(sorted(cell.planes[:, 3] - cell.planes[:, :3] @ [150, 100, 60]), [60, 60, 100, 100, 150, 150])


class TestConvexPieces:
    """Any simple polygon in convex pieces."""

    @settings(max_examples=60, deadline=None)
    @given(st.lists(st.floats(5, 100), min_size=3, max_size=25))
    def test_pieces_tile_the_polygon(self, radii):
        """The pieces are convex, do not overlap, add no corner and cover the polygon."""
        angles = np.arange(len(radii)) * 2 * np.pi / len(radii)
        points = np.array(radii)[:, None] * np.stack([np.cos(angles), np.sin(angles)], axis=1)
        whole = shapely.Polygon(points)
        pieces = convex_pieces(whole)
        assert all(is_convex(piece) for piece in pieces)
        corners = {tuple(p) for p in points}
        assert all(tuple(p) in corners for piece in pieces for p in piece)
        assert_allclose(sum(shapely.Polygon(piece).area for piece in pieces), whole.area)
        assert_allclose(shapely.union_all([shapely.Polygon(piece) for piece in pieces]).area, whole.area)
