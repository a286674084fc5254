"""Patches on sets that are small enough to know the answer by hand, and on random ones against the tracer."""

from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from previz.build.assemble import build_set
from previz.rays.lit import light_set
from previz.rays.patches import patches
from previz.rays.tracer import SKIN_MM, Tracer
from previz.scene.model import Scene

ROOM = {"name": "attic", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "height": 150, "wall": 6, "walls": ["south", "east", "north", "west"]}
WINDOW = {"name": "window", "wall": "attic.south", "at": [120, 60], "size": [60, 60]}
KEY = {"name": "key", "kind": "point", "at": [150, -600, 500], "toward": [150, 0, 90], "candela": 1000}


def lit_set(**tables):
    """Return a set and its light; without haze, so that illuminance is geometry alone."""
    tables = {"room": [ROOM], "opening": [WINDOW], "lamp": [KEY], "haze": {"extinction": 0}} | tables
    scene = Scene.model_validate(tables)
    built = build_set(scene, Path())
    return built, light_set(scene, built, texels=40, rays=4, workers=1)


def landing(**tables):
    """Return the patches of a set."""
    built, lit = lit_set(**tables)
    return patches(built, lit.emitters, lit)


def on(found, face):
    return [patch for patch in found if patch.on == face]


def thrown(points, lamp, axis, level):
    """Return where `lamp` throws `points` on the plane coordinate[axis] = level."""
    points, lamp = np.asarray(points, float), np.asarray(lamp, float)
    return lamp + (points - lamp) * ((level - lamp[axis]) / (points[:, axis] - lamp[axis]))[:, None]


def ring_area(outline):
    return np.linalg.norm(np.sum(np.cross(outline, np.roll(outline, -1, axis=0)), axis=0)) / 2


class TestOneWindow:
    """A square window in a wall 6 mm thick: each edge is thrown by the rim that binds."""

    def test_floor_outline(self):
        """Light comes down at the lamp's side: the outer rim of the head and the inner rim of the sill and the jambs bind."""
        (patch,) = landing()
        head = thrown([(120, -6, 120), (180, -6, 120)], KEY["at"], 2, 0)
        sill = thrown([(120, 0, 60), (180, 0, 60)], KEY["at"], 2, 0)
        assert (patch.lamp, patch.opening, patch.pane, patch.on) == ("key", "window", (0, 0), "attic.floor")
        assert patch.outline_mm.shape == (4, 3)
        np.testing.assert_allclose(patch.outline_mm[:, 1].min(), sill[0, 1], atol=1e-6)
        np.testing.assert_allclose(patch.outline_mm[:, 1].max(), head[0, 1], atol=1e-6)
        # From the middle the jambs' inner rims are the narrower: the lamp sees past the outer ones.
        jamb = thrown([(120, -6, 120), (120, -6, 60)], KEY["at"], 2, 0)
        left = patch.outline_mm[patch.outline_mm[:, 0] < 150]
        slope = np.polyfit(left[:, 1], left[:, 0], 1)
        outer = np.polyfit(jamb[:, 1], jamb[:, 0], 1)
        inner = np.polyfit(*thrown([(120, 0, 120), (120, 0, 60)], KEY["at"], 2, 0)[:, [1, 0]].T, 1)
        middle = patch.outline_mm[:, 1].mean()
        assert np.polyval(slope, middle) == pytest.approx(max(np.polyval(outer, middle), np.polyval(inner, middle)), abs=1e-6)

    def test_figures(self):
        """Area by the shoelace formula, light by inverse square and cosine, a point lamp's edge is sharp."""
        (patch,) = landing()
        assert patch.area_mm2 == pytest.approx(ring_area(patch.outline_mm), rel=1e-9)
        ray = patch.centre_mm - KEY["at"]
        axis = np.array(KEY["toward"]) - KEY["at"]
        beam = ray @ axis / np.linalg.norm(ray) / np.linalg.norm(axis)
        lux = 1000 * beam * -ray[2] / np.linalg.norm(ray) ** 3 * 1e6
        assert patch.lux == pytest.approx(lux, rel=1e-4)
        assert patch.penumbra_mm == 0
        assert patch.lit_share == 1

    def test_winding(self):
        """The outline runs anticlockwise as the lamp sees it: about the floor's normal."""
        (patch,) = landing()
        x, y = patch.outline_mm[:, 0], patch.outline_mm[:, 1]
        assert np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) > 0
        assert np.all(np.abs(patch.outline_mm[:, 2]) < 1e-9)

    def test_centre_is_the_centroid(self):
        """Of the area on the floor, not of its picture in the window."""
        (patch,) = landing()
        centroid = shapely.centroid(shapely.Polygon(patch.outline_mm[:, :2]))
        np.testing.assert_allclose(patch.centre_mm, [centroid.x, centroid.y, 0], atol=1e-6)


class TestSoftEdge:
    """The width of the edge at the patch's centre."""

    @pytest.mark.parametrize("face", [{"kind": "disc", "diameter": 40}, {"kind": "panel", "size": [40, 40]}])
    def test_square_on(self, face):
        """A lamp square to window and wall: D b / a, from the inner rim, which binds light that spreads."""
        key = {"name": "key", "at": [150, -394, 90], "toward": [150, 0, 90], "candela": 1000} | face
        (patch,) = landing(lamp=[key])
        assert patch.on == "attic.north"
        assert patch.penumbra_mm == pytest.approx(40 * 200 / 394)

    def test_softest_edge_counts(self):
        """A panel that is wide and low softens the upright edges more."""
        key = {"name": "key", "kind": "panel", "size": [60, 10], "at": [150, -394, 90], "toward": [150, 0, 90], "candela": 1000}
        (patch,) = landing(lamp=[key])
        assert patch.penumbra_mm == pytest.approx(60 * 200 / 394)

    def test_never_more_than_the_set(self):
        """A lamp too large for the soft edge to end gives the size of the set, a number that a program can read."""
        key = {"name": "key", "kind": "disc", "diameter": 2000, "at": [150, -600, 400], "toward": [150, 0, 90], "candela": 1000}
        (patch,) = on(landing(lamp=[key]), "attic.floor")
        assert patch.penumbra_mm == pytest.approx(np.linalg.norm([312, 212, 162]))


class TestFolded:
    """A patch that runs from the floor up a wall."""

    def test_both_areas(self):
        """The floor and the wall share the window's throw, cut where they meet."""
        lamp = KEY | {"at": [150, -600, 330]}
        found = landing(lamp=[lamp])
        (floor,), (wall,) = on(found, "attic.floor"), on(found, "attic.north")
        assert len(found) == 2
        assert floor.outline_mm[:, 1].max() == pytest.approx(200)
        assert wall.outline_mm[:, 2].min() == pytest.approx(0)
        top = thrown([(120, -6, 120)], lamp["at"], 1, 200)[0, 2]
        assert wall.outline_mm[:, 2].max() == pytest.approx(top)
        # What the wall keeps off the floor is what would have landed behind it.
        higher = Scene.model_validate({"room": [ROOM | {"plan": [[0, 0], [300, 0], [300, 400], [0, 400]]}], "opening": [WINDOW], "lamp": [lamp], "haze": {"extinction": 0}})
        built = build_set(higher, Path())
        lit = light_set(higher, built, texels=40, rays=4, workers=1)
        (whole,) = patches(built, lit.emitters, lit)
        behind = shapely.Polygon(thrown(wall.outline_mm, lamp["at"], 2, 0)[:, :2])
        assert whole.area_mm2 == pytest.approx(floor.area_mm2 + behind.area, rel=1e-9)


class TestProps:
    """Things that stand in the light."""

    def test_half_hidden(self):
        """A tall board in the left half of the light leaves the right half of the floor patch, and is lit itself."""
        board = {"name": "board", "kind": "box", "size": [100, 2, 140], "at": [100, 20, 0]}
        found = landing(prop=[board])
        (floor,), (front,) = on(found, "attic.floor"), on(found, "board front")
        (whole,) = landing()
        assert floor.lit_share == pytest.approx(0.5, abs=0.01)
        assert floor.area_mm2 == pytest.approx(whole.area_mm2 * floor.lit_share, rel=1e-9)
        assert front.lit_share == 1
        assert floor.outline_mm[:, 0].min() > 149

    def test_prop_outside(self):
        """What stands between lamp and window hides as well."""
        board = {"name": "board", "kind": "box", "size": [300, 2, 300], "at": [150, -50, 0]}
        assert landing(prop=[board]) == []

    def test_pieces(self):
        """A post across the light leaves a patch on each side, with the share of both together."""
        post = {"name": "post", "kind": "box", "size": [10, 10, 150], "at": [150, 12, 0]}
        left, right = on(landing(prop=[post]), "attic.floor")
        (whole,) = landing()
        assert left.lit_share == right.lit_share == pytest.approx((left.area_mm2 + right.area_mm2) / whole.area_mm2)
        assert left.area_mm2 == pytest.approx(right.area_mm2)

    def test_hole(self):
        """A board that hangs in the light makes a hole, which counts for the area and not for the outline; the centre is lit."""
        board = {"name": "board", "kind": "box", "size": [20, 20, 2], "at": [150, 100, 10]}
        (patch,) = on(landing(prop=[board]), "attic.floor")
        corners = np.array([(x, y, z) for x in (140, 160) for y in (90, 110) for z in (10, 12)], float)
        shadow = shapely.MultiPoint(thrown(corners, KEY["at"], 2, 0)[:, :2]).convex_hull
        assert ring_area(patch.outline_mm) - patch.area_mm2 == pytest.approx(shadow.area, rel=1e-9)
        assert not shadow.contains(shapely.Point(patch.centre_mm[:2]))
        assert patch.lux > 0

    def test_ball(self):
        """A ball well inside the light: its patch is as large as the cap that the lamp sees, its outline lies on it."""
        ball = {"name": "ball", "kind": "sphere", "size": 20, "at": [150, 90, 0]}
        (patch,) = on(landing(prop=[ball]), "ball")
        centre, radius = np.array([150, 90, 10.0]), 10.0
        away = np.linalg.norm(centre - KEY["at"])
        assert patch.area_mm2 == pytest.approx(2 * np.pi * radius**2 * (1 - radius / away), rel=0.04)
        np.testing.assert_allclose(np.linalg.norm(patch.outline_mm - centre, axis=1), radius, rtol=0.05)
        toward = (patch.centre_mm - centre) @ (np.array(KEY["at"]) - centre) / radius / away
        assert toward == pytest.approx(1, abs=0.01)


class TestPanes:
    """Bars and slats divide the light."""

    def test_bars(self):
        """Two by two panes, counted from the lower left as seen from outside; the lower ones land nearer the window."""
        found = landing(opening=[WINDOW | {"bars": {"columns": 2, "rows": 2, "width": 4, "depth": 3}}])
        assert [patch.pane for patch in found] == [(0, 0), (1, 0), (0, 1), (1, 1)]
        at = {patch.pane: patch.centre_mm for patch in found}
        assert at[0, 0][0] < 150 < at[1, 0][0]
        assert at[0, 0][1] < at[0, 1][1]
        (whole,) = landing()
        clear = sum(patch.area_mm2 for patch in found) / whole.area_mm2
        assert 0.8 < clear < (28 / 30) ** 2

    def test_slats(self):
        """Each gap between level slats throws a strip."""
        found = landing(opening=[WINDOW | {"slats": {"count": 3, "width": 6, "thickness": 2, "angle": 0}}])
        assert len(found) == 4
        assert {patch.pane for patch in found} == {(0, 0)}

    def test_concave_opening(self):
        """An L-shaped opening is one pane with one outline of six corners."""
        ell = {"name": "window", "wall": "attic.south", "at": [120, 60], "shape": {"outline": [[0, 0], [60, 0], [60, 30], [20, 30], [20, 60], [0, 60]]}}
        (patch,) = landing(opening=[ell])
        assert patch.pane == (0, 0)
        assert patch.area_mm2 == pytest.approx(ring_area(patch.outline_mm), rel=1e-9)
        assert 6 <= len(patch.outline_mm) <= 8


class TestSeveral:
    """Several lamps, rooms and ways in."""

    def test_two_lamps(self):
        """Each lamp has its own patch with its own light; one that is dimmed to nothing, or inside, has none."""
        side = KEY | {"name": "side", "at": [350, -600, 400], "candela": 500}
        dark, inside = KEY | {"name": "dark", "dim": 0}, KEY | {"name": "inside", "at": [150, 150, 100]}
        found = landing(lamp=[KEY, side, dark, inside])
        assert {patch.lamp for patch in found} == {"key", "side"}
        alone = [patch.lux for patch in landing(lamp=[side])]
        assert [patch.lux for patch in found if patch.lamp == "side"] == pytest.approx(alone)

    def test_wall_left_off(self):
        """Light through the open side carries the wall's name."""
        found = landing(room=[ROOM | {"open": ["south"]}], opening=[], lamp=[KEY | {"at": [150, -600, 400]}])
        assert {patch.opening for patch in found} == {"attic.south"}
        assert {"attic.floor", "attic.north"} <= {patch.on for patch in found}

    def test_doorway_counts_once(self):
        """Light through a window and then a doorway belongs to the window, in both rooms."""
        nearer = ROOM | {"plan": [[0, 0], [300, 0], [300, 100], [0, 100]]}
        farther = ROOM | {"name": "shed", "plan": [[0, 112], [300, 112], [300, 300], [0, 300]]}
        doors = [
            {"name": "door", "wall": "attic.north", "at": [100, 0], "size": [100, 140]},
            {"name": "door beyond", "wall": "shed.south", "at": [100, 0], "size": [100, 140]},
        ]
        found = landing(room=[nearer, farther], opening=[WINDOW, *doors], lamp=[KEY | {"at": [150, -600, 300]}])
        assert {patch.opening for patch in found} == {"window"}
        assert on(found, "shed.floor")

    def test_lamp_in_the_next_room(self):
        """A lamp that stands in one room lights the other through the doorway."""
        farther = ROOM | {"name": "shed", "plan": [[0, 212], [300, 212], [300, 400], [0, 400]]}
        doors = [
            {"name": "door", "wall": "attic.north", "at": [100, 0], "size": [100, 140]},
            {"name": "door beyond", "wall": "shed.south", "at": [100, 0], "size": [100, 140]},
        ]
        found = landing(room=[ROOM, farther], opening=[WINDOW, *doors], lamp=[KEY | {"at": [150, 20, 140], "toward": [150, 300, 0]}])
        assert {patch.opening for patch in found} == {"door beyond"}
        assert {"shed.floor"} <= {patch.on for patch in found}

    def test_round_the_corner(self):
        """In an L-shaped room the short leg's walls keep the light off what lies behind them."""
        plan = [[0, 0], [300, 0], [300, 80], [150, 80], [150, 300], [0, 300]]
        room = ROOM | {"plan": plan, "walls": ["south", "east", "inner", "corner", "north", "west"]}
        found = landing(room=[room], lamp=[KEY | {"at": [150, -600, 250]}])
        assert on(found, "attic.inner")
        for patch in on(found, "attic.floor"):
            assert shapely.Polygon(plan).buffer(1e-6).contains(shapely.Polygon(patch.outline_mm[:, :2]))

    def test_no_way_in(self):
        """A closed room has no patch."""
        assert landing(opening=[]) == []


class TestAgainstTheTracer:
    """A point of the floor is inside a patch exactly where nothing stands between it and the lamp's centre."""

    @settings(max_examples=12, deadline=None, derandomize=True)
    @given(
        lamp=st.tuples(st.floats(-200, 500), st.floats(-900, -200), st.floats(150, 700)),
        low=st.tuples(st.floats(20, 150), st.floats(20, 80)),
        size=st.tuples(st.floats(15, 100), st.floats(15, 60)),
        shape=st.sampled_from(["rect", "arch", "lancet", "round"]),
        wall=st.floats(1, 30),
        box=st.tuples(st.floats(60, 240), st.floats(60, 140), st.floats(0, 90)),
    )
    def test_floor(self, lamp, low, size, shape, wall, box):
        """Random lamp, window, wall and box."""
        window = WINDOW | {"at": low, "size": min(size) if shape == "round" else (size[0], max(size[1], size[0])) if shape != "rect" else size, "shape": shape}
        prop = {"name": "box", "kind": "box", "size": [50, 30, 40], "at": box, "turn": box[0]}
        built, lit = lit_set(room=[ROOM | {"wall": wall}], opening=[window], prop=[prop], lamp=[KEY | {"at": lamp}])
        check_floor(built, patches(built, lit.emitters, lit), np.array(lamp))


def check_floor(built, found, lamp, count=20_000, edge_mm=0.05):
    """Compare the floor's patches with shadow rays from `count` points."""
    points = np.random.default_rng(3).uniform((0, 0, 0), (300, 200, 0), (count, 3))
    free = ~Tracer(built.vertices, built.triangles).blocked(points + (0, 0, SKIN_MM), np.broadcast_to(lamp, points.shape))
    floor = on(found, "attic.floor")
    shapes = [shapely.Polygon(patch.outline_mm[:, :2]) for patch in floor]
    dots = shapely.points(points[:, :2])
    inside, near, holed = (np.zeros(count, bool) for _ in range(3))
    for shape, patch in zip(shapes, floor):
        within = shapely.contains(shape, dots)
        inside |= within
        near |= shapely.distance(shape.exterior, dots) < edge_mm
        if shape.area - patch.area_mm2 > 1e-3:
            holed |= within
    # The outline leaves holes out, so there only the area can tell.
    assert not np.any((free != inside) & ~near & ~holed)
    share = free.mean()
    area = sum(patch.area_mm2 for patch in floor)
    assert area == pytest.approx(share * 60_000, abs=5 * 60_000 * np.sqrt(max(share * (1 - share), 1 / count) / count) + 2)
