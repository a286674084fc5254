"""Faults that show only on the solids."""

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose

from previz.build.assemble import build_set
from previz.build.inside import winding_number
from previz.build.sound import geometric_faults, unbuildable
from previz.scene.model import Scene

ATTIC = {"name": "attic", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["south", "east", "north", "west"], "height": 120, "wall": 6}
HALL = {"name": "hall", "plan": [[306, 0], [500, 0], [500, 200], [306, 200]], "height": 120, "wall": 6}
DOOR = {"name": "door", "wall": "attic.east", "at": [80, 0], "size": [30, 60]}
BENCH = {"name": "bench", "kind": "box", "at": [100, 100, 0], "size": [80, 40, 30]}
LAMP = {"name": "key", "kind": "disc", "diameter": 60, "at": [150, -600, 300], "toward": [150, 100, 0], "lux_at_1m": 1000}
SHOT = {"name": "one", "from": [50, 50, 40], "look": [200, 100, 40]}


def faults(folder=".", **tables):
    """The faults of a scene as (key path, what is wrong, remedy)."""
    scene = Scene.model_validate(tables)
    return [(f.key_path, f.allowed, f.remedy) for f in geometric_faults(scene, build_set(scene, folder))]


class TestWindingNumber:
    """A point is inside where the surface goes around it once."""

    def test_inside_and_outside(self):
        """1 inside, 0 outside, one half on a face."""
        corners = trimesh.creation.box((2, 2, 2)).triangles
        found = [winding_number(corners, np.array(p, float)) for p in ((0.9, 0, 0), (1.1, 0, 0), (1, 0.2, 0.3))]
        assert_allclose(found, [1, 0, 0.5], atol=1e-9)


class TestSound:
    """What is no fault."""

    def test_a_set_as_it_should_be(self):
        """Two rooms with a doorway, a lamp let into the open, a prop outside every room."""
        outside = BENCH | {"name": "crate", "at": [-500, 0, 0]}
        assert faults(room=[ATTIC, HALL | {"open": ["4"]}], opening=[DOOR], prop=[BENCH, outside], lamp=[LAMP], shot=[SHOT]) == []

    def test_a_lamp_face_partly_in_a_wall(self):
        """Only the middle of the face counts."""
        assert faults(room=[ATTIC], lamp=[LAMP | {"at": [20, 100, 60]}]) == []

    def test_doorways_in_both_walls(self):
        """Two walls back to back, both with the same doorway."""
        hall = HALL | {"plan": [[312, 0], [500, 0], [500, 200], [312, 200]]}
        other = {"name": "other side", "wall": "hall.4", "at": [90, 0], "size": [30, 60]}
        assert faults(room=[ATTIC, hall], opening=[DOOR, other]) == []

    def test_a_window_that_looks_at_a_wall_across_a_yard(self):
        """A wall some way off is a view, not a fault."""
        hall = HALL | {"plan": [[330, 0], [500, 0], [500, 200], [330, 200]]}
        assert faults(room=[ATTIC, hall], opening=[DOOR]) == []


class TestBlocked:
    """An opening that the neighbour's wall stands in."""

    @pytest.mark.parametrize("start", [306, 300, 312], ids=["in the same place", "plans that touch", "back to back"])
    def test_a_doorway(self, start):
        """The remedy is to leave the other wall off."""
        hall = HALL | {"plan": [[start, 0], [500, 0], [500, 200], [start, 200]]}
        remedy = 'Leave that wall off: open = ["4"] in room "hall"; or cut the same opening in it.'
        assert faults(room=[ATTIC, hall], opening=[DOOR]) == [(("opening", 0, "wall"), 'is blocked: wall "4" of room "hall" stands in the same place', remedy)]


class TestBuried:
    """Lamps and lens positions inside something solid."""

    def test_a_lamp_in_a_wall(self):
        """The message says how deep and where it is free."""
        says = "must stand in the open, but is 2 mm deep inside attic.north"
        assert faults(room=[ATTIC], lamp=[LAMP | {"at": [100, 202, 50]}]) == [(("lamp", 0, "at"), says, "Move it out: the nearest way is to [100, 199, 50].")]

    def test_a_lamp_in_a_prop(self):
        """The way out leads round what else is solid, here the floor."""
        says = "must stand in the open, but is 10 mm deep inside bench"
        assert faults(room=[ATTIC], prop=[BENCH], lamp=[LAMP | {"at": [100, 95, 10]}]) == [(("lamp", 0, "at"), says, "Move it out: the nearest way is to [100, 79, 10].")]

    def test_a_lens_at_start_between_and_end(self):
        """Each place is checked by itself."""
        shot = SHOT | {"move": "path", "from": [100, 100, 29], "via": [[150, 50, 60], [100, -3, 60]], "to": [100, 90, 10]}
        found = faults(room=[ATTIC], prop=[BENCH], shot=[shot])
        assert [path for path, _, _ in found] == [("shot", 0, "from"), ("shot", 0, "via", 1), ("shot", 0, "to")]
        assert found[0][1:] == ("must be in the open, but is 1 mm deep inside bench", "Move it out: the nearest way is to [100, 100, 31].")

    def test_an_open_mesh_has_no_inside(self, tmp_path):
        """Where a surface has a gap, nothing can be said to be within it."""
        sheet = trimesh.creation.box((10, 10, 10))
        sheet.update_faces(np.arange(len(sheet.faces)) > 1)
        sheet.export(tmp_path / "open.stl")
        prop = {"name": "shade", "kind": "mesh", "file": "open.stl", "at": [50, 50, 50]}
        assert faults(tmp_path, prop=[prop], lamp=[LAMP | {"at": [50, 50, 55]}]) == []


class TestSizes:
    """What is too thin to build, or comes out of its file in another unit than meant."""

    @pytest.mark.parametrize(
        ("tables", "path", "size"),
        [
            ({"room": [ATTIC | {"wall": 0.004}]}, ("room", 0, "wall"), "0.004"),
            ({"room": [ATTIC | {"ceiling": {"thickness": 1e-300}}]}, ("room", 0, "ceiling", "thickness"), "1e-300"),
            ({"room": [ATTIC], "opening": [DOOR | {"bars": {"width": 1, "depth": 0.001}}]}, ("opening", 0, "bars", "depth"), "0.001"),
            ({"prop": [BENCH | {"scale": 0.0001}]}, ("prop", 0, "size"), "0.003"),
            ({"prop": [{"name": "pot", "kind": "lathe", "at": [0, 0, 0], "profile": [[2, 0], [2, 5]], "scale": 0.001}]}, ("prop", 0, "profile"), "0.002"),
            ({"prop": [{"name": "s", "kind": "cutout", "at": [0, 0, 0], "outline": [[0, 0], [9, 0], [0, 9]], "thickness": 0.005}]}, ("prop", 0, "thickness"), "0.005"),
        ],
    )
    def test_too_thin(self, tables, path, size):
        """The message gives the length as it comes out of the scale."""
        (fault,) = unbuildable(Scene.model_validate(tables))
        assert (fault.key_path, fault.allowed) == (path, f"must come out 0.01 mm or more, and is {size} mm")

    @pytest.mark.parametrize(("keys", "size"), [({"units": "m", "scale": 1000}, "1e+07"), ({"scale": 0.001}, "0.01")])
    def test_a_mesh_in_another_unit(self, tmp_path, keys, size):
        """A speck or a mountain is most likely a wrong unit."""
        trimesh.creation.box((10, 10, 10)).export(tmp_path / "crate.stl")
        prop = {"name": "crate", "kind": "mesh", "file": "crate.stl", "at": [0, 0, 0]} | keys
        ((path, says, _),) = faults(tmp_path, prop=[prop])
        assert path == ("prop", 0, "file")
        assert says == f"comes out {size} mm across, and must be from 0.1 to 100,000"
