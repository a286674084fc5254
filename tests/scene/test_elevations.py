"""Rooms as panels: frames, elevations, slopes, by hand figures."""

import math

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose

from previz.scene.elevations import eaves_walls, outer_plan, panel_named, panels_of, ridge_line, underside, wall_plans
from previz.scene.model import Room

SQUARE = [(0, 0), (300, 0), (300, 200), (0, 200)]
ELL = [(0, 0), (300, 0), (300, 100), (150, 100), (150, 200), (0, 200)]
NAMES = ["south", "east", "north", "west"]


def room(plan=SQUARE, walls=NAMES, **more):
    """Return a room 100 mm high with walls of 5 mm."""
    return Room(name="hall", plan=plan, height=100, wall=5, walls=walls if len(plan) == len(walls) else (), **more)


def pitched(plan=SQUARE, ridge="x", pitch=45, **more):
    """Return a room with a gabled roof."""
    return room(plan, roof={"pitch": pitch, "ridge": ridge}, **more)


def corners(geometry):
    """Return the corners of a polygon as a set of rounded pairs."""
    return {tuple(float(v) for v in np.round(c, 6) + 0.0) for c in shapely.get_coordinates(geometry)}


ROOMS = [room(), room(ELL), pitched(), pitched(ridge="y"), pitched(ELL, "x", 30), pitched(ELL, "y", 60), room(open=["south"], ceiling=False, floor=False)]


class TestFrames:
    """Every panel has a right-handed frame of its own, outward from the room."""

    @pytest.mark.parametrize("hall", ROOMS)
    def test_right_handed(self, hall):
        """along x up = outward, all of unit length."""
        for panel in panels_of(hall).values():
            along, up, outward = panel.axes
            assert_allclose(np.cross(along, up), outward, atol=1e-12)
            assert_allclose(panel.axes @ panel.axes.T, np.eye(3), atol=1e-12)

    @pytest.mark.parametrize("hall", ROOMS)
    def test_outward_is_away_from_the_air(self, hall):
        """A step in from any inner face lands in the room."""
        for panel in panels_of(hall).values():
            spot = shapely.get_coordinates(panel.inner.representative_point())[0]
            x, y, z = panel.to_set([[*spot, -0.01]])[0]
            assert shapely.Polygon(hall.plan).contains(shapely.Point(x, y))
            assert 0 < z < underside(hall, [(x, y)])[0]

    @pytest.mark.parametrize("hall", ROOMS)
    def test_there_and_back(self, hall):
        """to_local undoes to_set."""
        points = np.array([[1.0, 2.0, 3.0], [-4.0, 5.0, 60.0]])
        for panel in panels_of(hall).values():
            assert_allclose(panel.to_local(panel.to_set(points)), points, atol=1e-9)

    def test_along_is_left_to_right_from_outside(self):
        """East wall: from its south end to its north end, seen from the east."""
        east = panel_named(room(), "east")
        assert_allclose(east.to_set([[0, 0, 0], [30, 10, 5]]), [[300, 0, 0], [305, 30, 10]])

    def test_ceiling_is_seen_from_above(self):
        """along +x, up +y from the lowest corner, on the inner face."""
        assert_allclose(panel_named(room(), "ceiling").to_set([[10, 20, 5]]), [[10, 20, 105]])

    def test_floor_is_seen_from_below(self):
        """along +x, up -y from the highest y, thickness downward."""
        assert_allclose(panel_named(room(), "floor").to_set([[10, 20, 5]]), [[10, 180, -5]])

    def test_slope_starts_at_the_eaves(self):
        """45 degrees: sqrt(2) mm up the slope is 1 mm in and 1 mm up."""
        root = math.sqrt(2)
        assert_allclose(panel_named(pitched(), "slope.north").to_set([[10, 20 * root, 0], [0, 0, root]]), [[290, 180, 120], [300, 201, 101]])


class TestWalls:
    """Mitred corners, gables, walls left off."""

    def test_mitre_at_a_square_corner(self):
        """Outer corners stand the thickness out both ways."""
        assert_allclose([plan.outer_start for plan in wall_plans(room())], [(-5, -5), (305, -5), (305, 205), (-5, 205)])

    def test_square_cut_beside_a_wall_left_off(self):
        """Where the neighbour is left off, the wall ends flush with the plan."""
        plans = {plan.name: plan for plan in wall_plans(room(open=["south"]))}
        assert_allclose(plans["east"].outer_start, (305, 0))
        assert_allclose(plans["west"].outer_end, (-5, 0))
        assert not plans["south"].standing

    def test_footprint_is_a_ring_of_the_wall_s_thickness(self):
        """Outer rectangle: plan and 5 mm all round."""
        assert_allclose(outer_plan(room()).area, 310 * 210)
        assert_allclose(outer_plan(room(open=["south"])).area, 310 * 205)

    def test_gable(self):
        """Span 200 at 45 degrees: the ridge is 100 above the eaves; the outer face falls 5 mm below at its ends."""
        east = panel_named(pitched(), "east")
        assert {(0, 0), (200, 0), (200, 100), (100, 200), (0, 100)} == corners(east.inner)
        assert {(-5, 0), (205, 0), (205, 95), (100, 200), (-5, 95)} == corners(east.outer)

    @pytest.mark.parametrize("hall", ROOMS)
    def test_faces_match_corner_for_corner(self, hall):
        """Inner and outer face of a wall have the same corners in the same order."""
        for panel in panels_of(hall).values():
            if panel.kind == "wall":
                assert len(panel.inner.exterior.coords) == len(panel.outer.exterior.coords)
                assert panel.inner.is_valid and panel.outer.is_valid and panel.inner.exterior.is_ccw

    @pytest.mark.parametrize("hall", ROOMS)
    def test_tops_follow_the_roof(self, hall):
        """Every upper corner of a wall, inner and outer, lies on the roof's underside."""
        for panel in panels_of(hall).values():
            for face, depth in ((panel.inner, 0.0), (panel.outer, panel.thickness)):
                if panel.kind != "wall":
                    continue
                local = shapely.get_coordinates(face)
                points = panel.to_set(np.column_stack([local, np.full(len(local), depth)]))
                upper = points[points[:, 2] > 1e-9]
                assert_allclose(upper[:, 2], underside(hall, upper[:, :2]), atol=1e-9)


class TestSlopes:
    """Gabled roofs over the plan's bounding box."""

    def test_ridge_line(self):
        """Midway over the box, half a span from either side."""
        middle, across, half = ridge_line(pitched(ridge="y"))
        assert_allclose((*middle, *across, half), (150, 100, 1, 0, 150))

    def test_eaves(self):
        """Walls along the ridge that face away from it, whichever way the ridge runs."""
        assert ("south", "north") == eaves_walls(pitched())
        assert ("east", "west") == eaves_walls(pitched(ridge="y"))
        assert () == eaves_walls(room())

    def test_names(self):
        """slope is the first eaves wall's; a gable has none; a flat roof has none."""
        hall = pitched()
        assert "slope.south" == panel_named(hall, "slope").name == panel_named(hall, "slope.south").name
        assert panel_named(hall, "slope.east") is None and panel_named(hall, "ceiling") is None
        assert panel_named(room(), "slope") is None and panel_named(room(open=["south"]), "south") is None

    def test_a_second_eaves_wall_of_the_same_side_is_the_same_slope(self):
        """Over the notch of an L the slope goes on down to both walls that it covers."""
        hall = pitched([(0, 0), (100, 0), (100, 20), (200, 20), (200, 200), (0, 200)])
        assert ("1", "3", "5") == eaves_walls(hall)
        assert panel_named(hall, "slope.3").name == panel_named(hall, "slope.1").name == "slope.1"

    @pytest.mark.parametrize("hall", [pitched(), pitched(ELL, "x", 30), pitched(ELL, "y", 60)])
    def test_slopes_cover_the_plan(self, hall):
        """Seen from above, the slopes' areas are the plan's."""
        slopes = [panel for panel in panels_of(hall).values() if panel.kind == "slope"]
        level = math.cos(math.radians(hall.roof.pitch))
        assert_allclose(sum(panel.inner.area for panel in slopes) * level, shapely.Polygon(hall.plan).area)
        assert_allclose(sum(panel.outer.area for panel in slopes) * level, outer_plan(hall).area)

    def test_ridge_of_a_flat_roof_is_an_error(self):
        """Code that forgets to ask is told."""
        with pytest.raises(ValueError, match="room 'hall' has a flat roof"):
            ridge_line(room())
