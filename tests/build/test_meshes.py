"""Meshes from files: each format as trimesh writes it, and files that are none."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from previz.build.assemble import MeshFaults
from previz.build.meshes import MeshFault, read_mesh

FORMATS = ("stl", "obj", "ply", "glb")


@pytest.fixture
def wedge(tmp_path):
    """A wedge 30 long, 20 deep and 10 high, written in each format, its file's y up where the format says so."""
    mesh = trimesh.Trimesh([(0, 0, 0), (30, 0, 0), (0, 20, 0), (0, 0, 10)], [(0, 2, 1), (0, 1, 3), (0, 3, 2), (1, 2, 3)])
    for suffix in FORMATS:
        written = mesh.copy()
        if suffix == "glb":
            written.vertices = written.vertices[:, [0, 2, 1]] * [1, 1, -1]
        written.export(tmp_path / f"wedge.{suffix}")
    return tmp_path


def mesh_prop(file, **keys):
    """A mesh prop at the origin."""
    return {"name": "wedge", "kind": "mesh", "at": [0, 0, 0], "file": file} | keys


class TestFormats:
    """STL, OBJ, PLY and GLB."""

    @pytest.mark.parametrize("suffix", FORMATS)
    def test_as_a_prop(self, build, solid, wedge, suffix):
        """The same solid comes out of each, centred on its footprint, standing on z = 0."""
        built = build(wedge, prop=[mesh_prop(f"wedge.{suffix}")])
        assert_allclose(built.bounds, [[-15, -10, 0], [15, 10, 10]], atol=1e-5)
        assert_allclose(solid(built, "wedge").volume, 1000, rtol=1e-5)
        assert built.parts[0].closed and built.parts[0].kind == "prop"
        assert not built.faces[0].chart and built.faces[0].name == "wedge"

    @pytest.mark.parametrize(("units", "mm"), [("mm", 1), ("cm", 10), ("m", 1000), ("inch", 25.4)])
    def test_units_and_scale(self, build, wedge, units, mm):
        """Numbers are taken in the unit typed, then scaled."""
        built = build(wedge, prop=[mesh_prop("wedge.stl", units=units, scale=0.5)])
        assert_allclose(np.ptp(built.bounds, axis=0), np.array([30, 20, 10]) * mm / 2, rtol=1e-6)

    def test_as_the_whole_set(self, build, wedge):
        """A set from a file keeps the file's origin, is turned about it, has no panes and one cell of air."""
        built = build(wedge, mesh={"file": "wedge.stl", "turn": 90, "at": [100, 0, 5]})
        assert_allclose(built.bounds, [[80, 0, 5], [100, 30, 15]], atol=1e-5)
        assert [part.kind for part in built.parts] == ["mesh"] and built.apertures == ()
        (cell,) = built.cells
        assert np.all(cell.planes[:, :3] @ [90, 15, 10] < cell.planes[:, 3])

    def test_several_geometries(self, build, tmp_path):
        """A GLB with two bodies gives two parts that answer to one name, each where its scene puts it."""
        scene = trimesh.Scene()
        scene.add_geometry(trimesh.creation.box((2, 2, 2)), transform=trimesh.transformations.translation_matrix((5, 0, 0)))
        scene.add_geometry(trimesh.creation.box((2, 2, 2)))
        scene.export(tmp_path / "two.glb")
        built = build(tmp_path, prop=[mesh_prop("two.glb")])
        assert [part.name for part in built.parts] == ["wedge: piece 1", "wedge: piece 2"]
        assert len(built.part_named("wedge")) == 2
        assert_allclose(np.ptp(built.bounds, axis=0), [7, 2, 2])

    def test_not_watertight(self, build, tmp_path):
        """An open mesh is taken as it is, and says so."""
        box = trimesh.creation.box((10, 10, 10))
        box.update_faces(np.arange(len(box.faces)) > 1)
        box.export(tmp_path / "open.stl")
        assert not build(tmp_path, prop=[mesh_prop("open.stl")]).parts[0].closed

    def test_triangles_without_area_are_dropped(self, tmp_path):
        """Corners in the same place are one corner; what then has no area is gone."""
        (tmp_path / "thin.obj").write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nv 1 0 0\nv 2 0 0\nf 1 2 3\nf 1 2 5\nf 2 4 3\n")
        (piece,) = read_mesh(tmp_path / "thin.obj")
        assert len(piece.triangles) == 1

    def test_a_million_triangles(self, build, tmp_path):
        """A large scan comes in whole and closed."""
        trimesh.creation.icosphere(8, radius=50).export(tmp_path / "scan.ply")
        built = build(tmp_path, prop=[mesh_prop("scan.ply")])
        assert len(built.triangles) == 1_310_720 and built.parts[0].closed

    def test_a_row_reads_its_file_once(self, build, wedge):
        """Several props may share a file."""
        built = build(wedge, prop=[mesh_prop("wedge.stl", name=f"wedge-{k}", at=[40 * k, 0, 0]) for k in (1, 2)])
        assert_allclose(built.bounds[:, 0], [25, 95])


class TestFaults:
    """What is no mesh is one fault in the maker's words, never a traceback."""

    @pytest.mark.parametrize(
        ("name", "data", "says"),
        [
            ("clock.stl", None, 'must be a file that exists (got "clock.stl", which is not there): Give its place from the folder that the scene file is in.'),
            ("clock.step", b"x", 'must be an STL, OBJ, PLY or GLB file (got "clock.step"): Export the mesh in one of these formats.'),
            ("clock.stl", b"", 'must be a mesh (got "clock.stl", an empty file): Export it again; the last export may have stopped half way.'),
            (
                "clock.glb",
                b"this is a note, not a mesh",
                'must be a mesh in the GLB format (got "clock.glb", which is not one): '
                "Open it in the program that made it and export it again; keep the suffix of the format.",
            ),
            ("clock.obj", b"v 0 0 0\n", "must be a mesh with triangles (got none in clock.obj): Export the surface, not only its points or lines."),
            (
                "clock.obj",
                b"v 0 0 nan\nv 1 0 0\nv 0 1 0\nf 1 2 3\n",
                "must be a mesh of plain numbers (got clock.obj, with corners at nan or beyond 1e+12): Repair the mesh and export it again.",
            ),
        ],
    )
    def test_messages(self, tmp_path, name, data, says):
        """What must stand there, what was found, what to do."""
        if data is not None:
            (tmp_path / name).write_bytes(data)
        with pytest.raises(MeshFault) as caught:
            read_mesh(tmp_path / name)
        assert says == str(caught.value)

    def test_a_folder(self, tmp_path):
        """A folder is no mesh."""
        (tmp_path / "clock.stl").mkdir()
        with pytest.raises(MeshFault, match="a folder"):
            read_mesh(tmp_path / "clock.stl")

    def test_too_many_triangles(self, tmp_path, monkeypatch):
        """There is a largest mesh, and the message says how large."""
        monkeypatch.setattr("previz.build.meshes.MOST_TRIANGLES", 10)
        trimesh.creation.box().export(tmp_path / "scan.ply")
        with pytest.raises(MeshFault, match="at most 10 triangles .got 12 in scan.ply"):
            read_mesh(tmp_path / "scan.ply")

    def test_every_prop_with_a_bad_file_is_named(self, build, tmp_path):
        """One bad file hides no other."""
        props = [mesh_prop("a.stl", name="a"), mesh_prop("b.obj", name="b"), mesh_prop("a.stl", name="c")]
        with pytest.raises(MeshFaults) as caught:
            build(tmp_path, prop=props)
        assert [path for path, _ in caught.value.faults] == [("prop", 0, "file"), ("prop", 1, "file"), ("prop", 2, "file")]

    @settings(max_examples=80, deadline=None)
    @given(st.sampled_from(FORMATS), st.sampled_from([b"", b"solid x\nfacet", b"ply\nformat ascii 1.0\nelement vertex 3\n", b"glTF\x02\0\0\0", b"v 1 2 3\nf "]), st.binary(max_size=300))
    def test_noise(self, tmp_path_factory, suffix, head, noise):
        """Whatever the bytes, a mesh or a fault comes out."""
        path = tmp_path_factory.mktemp("noise") / f"noise.{suffix}"
        path.write_bytes(head + noise)
        try:
            assert read_mesh(path)
        except MeshFault as fault:
            assert fault.allowed and fault.found and fault.remedy
