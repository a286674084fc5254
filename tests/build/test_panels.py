"""Rooms as solids: every volume below is worked out by hand from the plan, the thickness and the mitres."""

import math

import numpy as np
import pytest
import trimesh
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from previz.rays.tracer import Tracer

SQUARE = [[0, 0], [300, 0], [300, 200], [0, 200]]
NAMES = ["south", "east", "north", "west"]


def room(**keys):
    """A room of 300 x 200 x 120 mm with walls of 5 mm, or as the keys say."""
    return {"name": "attic", "plan": SQUARE, "walls": NAMES, "height": 120, "wall": 5} | keys


def assert_sound(built):
    """Every part is watertight, wound outward and says so."""
    for index, part in enumerate(built.parts):
        mesh = trimesh.Trimesh(built.vertices, built.triangles[built.triangles_of([index])])
        assert mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0 and part.closed, part.name


class TestWalls:
    """Walls stand outward from the plan, mitred at the corners."""

    def test_volumes_of_a_plain_room(self, build, solid):
        """A wall is a trapezium on plan: (inner + outer length) / 2 x thickness x height; slabs cover the outer plan."""
        built = build(room=[room()])
        assert_sound(built)
        assert_allclose(solid(built, "attic.south").volume, (300 + 310) / 2 * 5 * 120)
        assert_allclose(solid(built, "attic.west").volume, (200 + 210) / 2 * 5 * 120)
        for slab in ("attic.floor", "attic.ceiling"):
            assert_allclose(solid(built, slab).volume, 310 * 210 * 5)
        assert_allclose(built.bounds, [[-5, -5, -5], [305, 205, 125]])
        assert_allclose(solid(built, "attic").volume, 310 * 210 * 130 - 300 * 200 * 120)

    def test_a_wall_left_off_squares_its_neighbours(self, build, solid):
        """Beside a wall left off the neighbours end square, at the plan."""
        built = build(room=[room(open=["south"])])
        assert_sound(built)
        assert_allclose(solid(built, "attic.east").volume, (200 + 205) / 2 * 5 * 120)
        assert_allclose(solid(built, "attic.floor").volume, 310 * 205 * 5)
        assert built.bounds[0, 1] == 0

    def test_slabs_of_their_own_thickness(self, build, solid):
        """A floor or a ceiling may be thicker than the walls; false leaves it off."""
        built = build(room=[room(floor={"thickness": 12}, ceiling=False)])
        assert_allclose(solid(built, "attic.floor").volume, 310 * 210 * 12)
        assert not built.part_named("attic.ceiling")
        assert_allclose(built.bounds[:, 2], [-12, 120])

    @pytest.mark.parametrize(
        ("plan", "inner"),
        [
            ([[0, 0], [300, 0], [300, 100], [120, 100], [120, 200], [0, 200]], 42_000),
            ([[0, 0], [100, 0], [120, -40], [180, -40], [200, 0], [300, 0], [300, 200], [0, 200]], 60_000 + 3_200),
            ([[math.cos(a) * 100, math.sin(a) * 100] for a in np.arange(6) * math.pi / 3], 3 * math.sqrt(3) / 2 * 100**2),
        ],
        ids=["L-shaped", "bay", "hexagon"],
    )
    def test_plans_that_are_no_rectangle(self, build, solid, plan, inner):
        """The shell of any plan is its outer block less its air."""
        built = build(room=[{"name": "hall", "plan": plan, "height": 100, "wall": 6}])
        assert_sound(built)
        floor = solid(built, "hall.floor").volume / 6
        walls = sum(solid(built, f"hall.{i + 1}").volume for i in range(len(plan)))
        assert_allclose(walls, (floor - inner) * 100, rtol=1e-6)

    def test_faces_look_where_their_names_say(self, build):
        """The inside face looks into the room, the outside face away from it."""
        built = build(room=[room()])
        corners = built.vertices[built.triangles]
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        inward = np.einsum("ij,ij->i", normals, np.array([150, 100, 60]) - corners.mean(axis=1))
        sides = np.array([face.side for face in built.faces])[built.face_of]
        assert np.all(inward[sides == "inside"] > 0) and np.all(inward[sides == "outside"] < 0)

    @settings(max_examples=40, deadline=None)
    @example([60.0, 78.458984375, 60.0], 1.0, "flat", 2)
    @example([60.0, 82.84592283724706, 60.0, 171.08303378383778, 60.0, 117.0, 116.649529208865, 60.0, 175.0], 1.0, {"pitch": 35, "ridge": "x"}, 6)
    @given(
        st.lists(st.floats(60, 200), min_size=3, max_size=12),
        st.floats(1, 6),
        st.sampled_from(["flat", {"pitch": 35, "ridge": "x"}, {"pitch": 50, "ridge": "y"}]),
        st.integers(0, 11),
    )
    def test_any_star_shaped_plan_is_watertight(self, build, radii, wall, roof, left_off):
        """Whatever the plan, each solid is closed."""
        angles = np.arange(len(radii)) * 2 * np.pi / len(radii)
        plan = [[r * math.cos(a), r * math.sin(a)] for r, a in zip(radii, angles)]
        names = [str(i) for i in range(len(radii))]
        built = build(room=[{"name": "r", "plan": plan, "walls": names, "height": 80, "wall": wall, "roof": roof, "open": names[left_off : left_off + 1]}])
        assert_sound(built)


class TestOpenings:
    """Holes go straight through, square to the panel."""

    @pytest.mark.parametrize(
        ("shape", "size", "area"),
        [
            ("rect", [40, 60], 40 * 60),
            ("arch", [40, 60], 40 * 40 + math.pi * 20**2 / 2),
            ("round", 40, math.pi * 20**2),
            ({"outline": [[0, 0], [40, 0], [40, 20], [20, 20], [20, 60], [0, 60]]}, None, 40 * 20 + 20 * 40),
        ],
    )
    def test_a_hole_takes_its_area_times_the_thickness(self, build, solid, shape, size, area):
        """The wall loses the opening's area times its thickness."""
        opening = {"name": "window", "wall": "attic.north", "at": [50, 30], "shape": shape, "size": size}
        built = build(room=[room()], opening=[opening])
        assert_sound(built)
        assert_allclose(solid(built, "attic.north").volume, 305 * 5 * 120 - area * 5, rtol=1e-6)

    def test_a_doorway_cuts_the_foot_of_the_wall(self, build, solid):
        """A doorway down to the floor leaves no sill."""
        built = build(room=[room()], opening=[{"name": "door", "wall": "attic.east", "at": [80, 0], "size": [30, 60]}])
        assert_sound(built)
        assert_allclose(solid(built, "attic.east").volume, 205 * 5 * 120 - 30 * 60 * 5)
        reveals = [face for face in built.faces if face.side == "reveal"]
        assert [face.name for face in reveals] == ["attic.east: door reveal"] * 3

    def test_an_opening_as_high_as_the_wall_parts_it(self, build, solid):
        """A gap from floor to ceiling leaves two pieces."""
        built = build(room=[room()], opening=[{"name": "gap", "wall": "attic.east", "at": [80, 0], "size": [30, 120]}])
        assert_sound(built)
        assert_allclose(solid(built, "attic.east").volume, 175 * 5 * 120)

    @pytest.mark.parametrize("along", [0, 270], ids=["start", "end"])
    def test_an_opening_in_the_corner_leaves_the_mitre(self, build, solid, along):
        """An opening right in the corner leaves the wedge of the mitre standing behind it, and no gap to look through."""
        built = build(room=[room()], opening=[{"name": "slot", "wall": "attic.south", "at": [along, 30], "size": [30, 60]}])
        assert_sound(built)
        assert_allclose(solid(built, "attic.south").volume, 305 * 5 * 120 - 30 * 60 * 5, rtol=1e-3)

    def test_openings_that_touch(self, build, solid):
        """Two openings edge to edge make one hole, with reveals of both names."""
        pair = [{"name": name, "wall": "attic.south", "at": at, "size": [30, 60]} for name, at in (("left", [40, 20]), ("right", [70, 30]))]
        built = build(room=[room()], opening=pair)
        assert_sound(built)
        assert_allclose(solid(built, "attic.south").volume, 305 * 5 * 120 - 2 * 30 * 60 * 5)
        assert {f.name for f in built.faces if f.side == "reveal"} == {"attic.south: left reveal", "attic.south: right reveal"}

    def test_openings_that_meet_in_a_point(self, build):
        """A pointed head under a sill, and a round window that stands on the floor, are closed solids all the same."""
        cuts = [
            {"name": "door", "wall": "attic.south", "shape": "lancet", "at": [40, 0], "size": [10, 20]},
            {"name": "over", "wall": "attic.south", "at": [30, 20], "size": [30, 20]},
            {"name": "hoop", "wall": "attic.south", "shape": "round", "at": [100, -0.04], "size": 30},
        ]
        assert_sound(build(room=[room()], opening=cuts))

    def test_an_opening_under_the_slope_of_a_gable(self, build, solid):
        """An opening that touches the slanting top stops a sliver short of it."""
        peak = {"outline": [[0, 0], [100, 0], [50, 50]]}
        cut = {"name": "peak", "wall": "attic.west", "shape": peak, "at": [50, 170]}
        built = build(room=[room(roof={"pitch": 45, "ridge": "x"})], opening=[cut])
        assert_sound(built)

    def test_ceiling_and_floor(self, build, solid):
        """Slabs are cut like walls."""
        cuts = [{"name": panel, "wall": f"attic.{panel}", "at": [50, 40], "size": [60, 30]} for panel in ("ceiling", "floor")]
        built = build(room=[room()], opening=cuts)
        assert_sound(built)
        for panel in ("ceiling", "floor"):
            assert_allclose(solid(built, f"attic.{panel}").volume, (310 * 210 - 60 * 30) * 5)
        down = Tracer(built.vertices, built.triangles).blocked(np.array([[80.0, 55, 200], [80, 145, 200]]), np.array([[80.0, 55, 60], [80, 145, 60]]))
        assert down.tolist() == [False, True]

    def test_bars_fill_what_the_panes_leave(self, build, solid):
        """Bars have the opening's area less its panes', times their own depth; they stand in the middle of the wall."""
        bars = {"columns": 3, "rows": 2, "width": 2, "depth": 3}
        built = build(room=[room()], opening=[{"name": "window", "wall": "attic.north", "at": [50, 30], "size": [40, 60], "bars": bars}])
        assert_sound(built)
        mesh = solid(built, "attic.north: window bars")
        assert_allclose(mesh.volume, (40 * 60 - 36 * 58) * 3)
        assert_allclose(mesh.bounds[:, 1], [201, 204])

    def test_slats_drop_their_outer_edge(self, build, solid):
        """A positive angle drops the outer edge; each slat keeps its width and thickness."""
        slats = {"count": 4, "width": 6, "thickness": 1, "angle": 30}
        built = build(room=[room()], opening=[{"name": "louvre", "wall": "attic.north", "at": [50, 30], "size": [40, 60], "slats": slats}])
        assert_sound(built)
        mesh = solid(built, "attic.north: louvre slats")
        assert_allclose(mesh.volume, 4 * 40 * 6 * 1)
        lowest = mesh.split()[0]
        outer = lowest.vertices[np.argmax(lowest.vertices[:, 1])]
        assert_allclose(lowest.vertices[:, 2].mean(), 30 + 60 / 8)
        assert outer[2] < 30 + 60 / 8

    @settings(max_examples=25, deadline=None)
    @given(st.lists(st.tuples(st.sampled_from(["rect", "arch", "lancet", "round"]), st.floats(8, 25), st.floats(1.8, 2.5)), min_size=1, max_size=7), st.integers(1, 4), st.integers(1, 4))
    def test_rows_of_windows_are_watertight(self, build, windows, columns, rows):
        """Whatever is cut and barred, each solid is closed."""
        openings = [
            {
                "name": f"w{k}",
                "wall": "attic.north",
                "at": [10 + 40 * k, 20],
                "shape": shape,
                "size": width if shape == "round" else [width, width * tall],
                "bars": {"columns": columns, "rows": rows, "width": 1, "depth": 3},
            }
            for k, (shape, width, tall) in enumerate(windows)
        ]
        built = build(room=[room()], opening=openings)
        for name in {part.name for part in built.parts}:
            index = built.part_named(name)
            mesh = trimesh.Trimesh(built.vertices, built.triangles[built.triangles_of(index)])
            assert mesh.volume > 0 and mesh.is_watertight, name


class TestPitchedRoof:
    """A gabled roof: eaves at the room's height, the ridge over the middle."""

    ROOF = {"pitch": 45, "ridge": "x"}

    def test_volumes(self, build, solid):
        """Gables rise to the ridge, slopes are as thick as their slab says, measured square to the slope."""
        built = build(room=[room(roof=self.ROOF, ceiling={"thickness": 8})])
        assert_sound(built)
        air = 300 * 200 * 120 + 300 * 200 * 100 / 2
        block = 310 * 210 * 120 + 310 * (100 * 100 - 5 * 5)
        walls = sum(solid(built, f"attic.{name}").volume for name in NAMES)
        assert_allclose(walls, block - air)
        for name in ("attic.slope.south", "attic.slope.north"):
            assert_allclose(solid(built, name).volume, 310 * 105 * 8 * math.sqrt(2))

    def test_a_skylight_and_a_round_gable_window(self, build, solid):
        """A slope's opening is measured up the slope from the inner eaves line."""
        openings = [
            {"name": "skylight", "wall": "attic.slope.north", "at": [100, 40], "size": [60, 50]},
            {"name": "rose", "wall": "attic.west", "shape": "round", "at": [75, 130], "size": 50},
        ]
        built = build(room=[room(roof=self.ROOF)], opening=openings)
        assert_sound(built)
        pane = next(a for a in built.apertures if a.opening == "skylight")
        centre = pane.origin + np.array([130, 65, 0]) @ pane.axes
        # along runs left to right seen from outside, so from x = 300 down; 65 up a slope of 45 degrees
        assert_allclose(centre, [300 - 130, 200 - 65 / math.sqrt(2), 120 + 65 / math.sqrt(2)])
        tracer = Tracer(built.vertices, built.triangles)
        rays = np.array([centre - 5 * pane.axes[2], [5.0, 100, 155]]), np.array([centre + 30 * pane.axes[2], [-30.0, 100, 155]])
        assert tracer.blocked(*rays).tolist() == [False, False]
        beside = np.array([[45.0, 0, 0], [0, 45, 0]])
        assert tracer.blocked(rays[0] + beside, rays[1] + beside).all()

    def test_reveals_in_a_slope_are_square_to_it(self, build):
        """As a sheet is cut: the hole's corners on the outer face lie straight above those on the inner one."""
        skylight = {"name": "skylight", "wall": "attic.slope.north", "at": [100, 40], "size": [60, 50]}
        built = build(room=[room(roof={"pitch": 45, "ridge": "x"})], opening=[skylight])
        faces = [i for i, face in enumerate(built.faces) if face.name.endswith("skylight reveal")]
        corners = np.unique(built.vertices[built.triangles[np.isin(built.face_of, faces)]].reshape(-1, 3).round(6), axis=0)
        # the slope over the north wall leans to the south: outward is (0, 1, 1) / sqrt(2)
        depth, up = corners @ [0, 0.5**0.5, 0.5**0.5], corners @ [0, -(0.5**0.5), 0.5**0.5]
        assert np.ptp(depth) == pytest.approx(5, abs=1e-5) and np.ptp(up) == pytest.approx(50, abs=1e-5)

    def test_slope_alone_is_over_the_first_eaves_wall(self, build):
        """room.slope means the slope over the first eaves wall in plan order."""
        cut = {"name": "skylight", "wall": "attic.slope", "at": [100, 40], "size": [60, 50]}
        pane = build(room=[room(roof=self.ROOF)], opening=[cut]).apertures[0]
        assert_allclose(pane.origin, [0, 0, 120])


class TestTwoRooms:
    """Rooms stand side by side, with one wall between them."""

    def test_light_goes_through_the_doorway_only(self, build):
        """The second room leaves its wall off; the first one's doorway joins the two."""
        second = {"name": "hall", "plan": [[305, 0], [500, 0], [500, 200], [305, 200]], "height": 120, "open": ["4"]}
        built = build(room=[room(), second], opening=[{"name": "door", "wall": "attic.east", "at": [80, 0], "size": [30, 60]}])
        assert_sound(built)
        tracer = Tracer(built.vertices, built.triangles)
        start, end = np.array([[150.0, 95, 30], [150, 50, 30]]), np.array([[400.0, 95, 30], [400, 50, 30]])
        assert tracer.blocked(start, end).tolist() == [False, True]
        gap = next(a for a in built.apertures if a.opening == "hall.4")
        assert gap.room == "hall" and gap.thickness == 0
