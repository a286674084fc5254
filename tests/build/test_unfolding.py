"""Every side is unfolded in millimetres along the surface, without overlap: stored light is read through it."""

import numpy as np
import pytest
import shapely
from numpy.testing import assert_allclose

PLAN = [[0, 0], [300, 0], [300, 100], [120, 100], [120, 200], [0, 200]]


@pytest.fixture(scope="module")
def built(build):
    """An L-shaped loft with every shape of opening and every kind of prop."""
    bars = {"columns": 2, "rows": 3, "width": 2, "depth": 3}
    openings = [
        {"name": "arch", "wall": "loft.6", "shape": "arch", "at": [20, 20], "size": [40, 60], "bars": bars},
        {"name": "rose", "wall": "loft.6", "shape": "round", "at": [100, 20], "size": 50.0},
        {"name": "door", "wall": "loft.1", "at": [100, 0], "size": [30, 60]},
        {"name": "louvre", "wall": "loft.1", "at": [200, 20], "size": [50, 60], "slats": {"count": 5, "width": 5, "thickness": 1, "angle": 20}},
        {"name": "skylight", "wall": "loft.slope", "shape": "round", "at": [50, 30], "size": 40.0},
    ]
    props = [
        {"name": "bench", "kind": "box", "at": [60, 60, 0], "size": [60, 30, 25], "turn": 30},
        {"name": "drum", "kind": "cylinder", "at": [200, 50, 0], "size": [30, 40]},
        {"name": "ball", "kind": "sphere", "at": [200, 50, 40], "size": 20},
        {"name": "pillar", "kind": "lathe", "at": [250, 50, 0], "profile": [[12, 0], [12, 6], [8, 8], [6, 60], [0, 70]]},
        {"name": "rail", "kind": "cutout", "at": [50, 150, 0], "outline": [[0, 0], [50, 0], [50, 30], [40, 30], [40, 10], [0, 10]], "thickness": 2, "upright": True},
    ]
    room = {"name": "loft", "plan": PLAN, "height": 90, "wall": 6, "roof": {"pitch": 40, "ridge": "x"}}
    return build(room=[room], opening=openings, prop=props)


def test_flat_sides_keep_their_areas(built, areas):
    """A flat side is the same in its unfolding as in space."""
    space, unfolded = areas(built)
    flat = np.array([face.flat for face in built.faces])[built.face_of]
    assert_allclose(unfolded[flat], space[flat], rtol=1e-6, atol=1e-9)


def test_round_sides_nearly_keep_their_areas(built, areas):
    """Cylinders, reveals of round openings and the like keep theirs within 1 %; what is curved both ways cannot."""
    space, unfolded = areas(built)
    for index, face in enumerate(built.faces):
        if not face.flat and face.name not in ("ball", "pillar") and "skylight" not in face.name:
            mine = built.face_of == index
            assert_allclose(unfolded[mine].sum(), space[mine].sum(), rtol=0.01, err_msg=face.name)


def test_no_unfolding_overlaps_itself(built):
    """The triangles of a side cover as much of the plane together as one by one."""
    for index, face in enumerate(built.faces):
        assert face.chart, face.name
        pieces = [shapely.Polygon(corners) for corners in built.uv[built.face_of == index]]
        assert all(piece.area > 0 for piece in pieces), face.name
        assert_allclose(shapely.union_all(pieces).area, sum(piece.area for piece in pieces), rtol=1e-6, err_msg=face.name)


def test_flat_means_one_plane(built):
    """Every corner of a side that is called flat lies in its plane."""
    for index, face in enumerate(built.faces):
        corners = built.vertices[built.triangles[built.face_of == index]]
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normal = normals[np.argmax(np.linalg.norm(normals, axis=1))]
        off = np.ptp(corners.reshape(-1, 3) @ (normal / np.linalg.norm(normal)))
        assert (off < 1e-6) == face.flat, face.name


def test_the_inside_of_a_slab_ends_at_the_plan(built, areas):
    """What the walls cover of floor and slopes is no part of the side that the room sees."""
    space, _ = areas(built)
    for name, area in (("loft.floor", 42_000), ("loft.slope.1", 30_000 / np.cos(np.radians(40)) - np.pi * 20**2)):
        mine = np.array([face.name == name for face in built.faces])[built.face_of]
        assert_allclose(space[mine].sum(), area, rtol=1e-6)


def test_bookkeeping(built):
    """Parts follow each other and cover all triangles; each face belongs to the part whose triangles it has."""
    assert [part.first for part in built.parts[1:]] == [part.last for part in built.parts[:-1]]
    assert built.parts[0].first == 0 and built.parts[-1].last == len(built.triangles) == len(built.face_of) == len(built.uv)
    assert np.array_equal(np.array([face.part for face in built.faces])[built.face_of], built.part_of)
    assert {part.kind for part in built.parts} == {"wall", "floor", "slope", "bars", "slats", "prop"}
    assert {face.finish for face in built.faces} == {"plain"}


def test_the_same_tables_give_the_same_bytes(build):
    """Building twice gives the same arrays, to the last bit."""
    tables = {"room": [{"name": "loft", "plan": PLAN, "height": 90, "roof": {"pitch": 40, "ridge": "x"}}]}
    one, two = build(**tables), build(**tables)
    for name in ("vertices", "triangles", "face_of", "uv"):
        assert getattr(one, name).tobytes() == getattr(two, name).tobytes()


class TestFinishes:
    """Which finish a face gets, and what it reflects."""

    def test_by_wall_and_by_kind(self, build):
        """A wall's own finish comes before the walls'; reveals have theirs, else the wall's."""
        finish = {"walls": "lime", "west": "oak", "floor": "slate", "reveals": "gloss"}
        room = {"name": "loft", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["south", "east", "north", "west"], "height": 90, "finish": finish}
        built = build(room=[room], opening=[{"name": "w", "wall": "loft.west", "at": [20, 20], "size": [40, 40]}])
        found = {face.name: face.finish for face in built.faces}
        assert found["loft.west"] == "oak" and found["loft.north"] == "lime" and found["loft.floor"] == "slate"
        assert found["loft.ceiling"] == "lime" and found["loft.west: w reveal"] == "gloss"

    def test_reflectance(self, build):
        """Grey as typed, colour decoded as IEC 61966-2-1 says; plain is one half."""
        built = build(finish={"chalk": {"reflect": 0.8}, "rust": {"colour": "#bc0a00"}})
        assert_allclose(built.reflectance["plain"], 0.5)
        assert_allclose(built.reflectance["chalk"], 0.8)
        # 0xbc = 188: ((188 / 255 + 0.055) / 1.055) ** 2.4 = 0.5029; 0x0a = 10 is on the straight piece: 10 / 255 / 12.92
        assert_allclose(built.reflectance["rust"], [0.502886, 0.003035, 0], rtol=1e-3)
