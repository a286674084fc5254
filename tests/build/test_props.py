"""Props as solids: volumes by the textbook formulas, places and names as the maker typed them."""

import math

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose


def prop(kind, **keys):
    """A prop at [10, 20, 30]."""
    return {"name": "thing", "kind": kind, "at": [10, 20, 30]} | keys


class TestVolumes:
    """Round things are cut into chords, yet keep their volume within 1 %."""

    @pytest.mark.parametrize(
        ("keys", "volume"),
        [
            (prop("box", size=[40, 30, 20]), 40 * 30 * 20),
            (prop("cylinder", size=[3, 50]), math.pi * 1.5**2 * 50),
            (prop("cylinder", size=[400, 50]), math.pi * 200**2 * 50),
            (prop("sphere", size=2), math.pi * 2**3 / 6),
            (prop("sphere", size=120), math.pi * 120**3 / 6),
            (prop("lathe", profile=[[20, 0], [10, 60]]), math.pi * 60 * (20**2 + 20 * 10 + 10**2) / 3),
            (prop("lathe", profile=[[0, 0], [20, 60]]), math.pi * 20**2 * 60 / 3),
            (prop("lathe", profile=[[20, 0], [20, 40], [17, 40], [17, 3], [0, 3]]), math.pi * (20**2 * 40 - 17**2 * 37)),
            (prop("lathe", profile=[[18, 0], [22, 0], [22, 4], [18, 4], [18, 0]]), math.pi * (22**2 - 18**2) * 4),
            (prop("cutout", outline=[[0, 0], [30, 0], [30, 10], [10, 10], [10, 40], [0, 40]], thickness=3), (300 + 300) * 3),
        ],
        ids=["box", "rod", "vat", "bead", "globe", "frustum", "cone", "cup", "ring", "cutout"],
    )
    @pytest.mark.parametrize("scale", [1, 2.5])
    def test_volume(self, build, solid, keys, volume, scale):
        """The volume is the true one, and scale multiplies every length."""
        built = build(prop=[keys | {"scale": scale}])
        mesh = solid(built, "thing")
        assert mesh.is_watertight and mesh.is_winding_consistent and built.parts[0].closed
        assert_allclose(mesh.volume, volume * scale**3, rtol=0.01)

    def test_a_profile_typed_from_the_top_down_is_the_same_solid(self, build, solid):
        """The order of the profile does not turn the solid inside out."""
        profile = [[20, 0], [10, 60], [12, 80]]
        volumes = [solid(build(prop=[prop("lathe", profile=p)]), "thing").volume for p in (profile, profile[::-1])]
        assert_allclose(volumes[0], volumes[1])
        assert volumes[0] > 0

    @settings(max_examples=50, deadline=None)
    @given(st.lists(st.tuples(st.one_of(st.just(0.0), st.floats(0.5, 50)), st.floats(0.5, 20)), min_size=2, max_size=12))
    def test_any_rising_profile_is_watertight(self, build, steps):
        """Whatever is turned, the solid is closed, also where the profile touches the axis half way up."""
        heights = np.cumsum([rise for _, rise in steps])
        radii = [radius for radius, _ in steps]
        if any(a == b == 0 for a, b in zip(radii, radii[1:])):
            radii = [radius or 1.0 for radius in radii]
        built = build(prop=[prop("lathe", profile=[[r, h] for r, h in zip(radii, heights)])])
        mesh = trimesh.Trimesh(built.vertices, built.triangles)
        assert mesh.is_watertight and mesh.volume > 0


class TestPlaces:
    """at is the centre of the footprint, at the height of the lowest point."""

    @pytest.mark.parametrize(
        ("keys", "low", "high"),
        [
            (prop("box", size=[40, 30, 20]), [-10, 5, 30], [30, 35, 50]),
            (prop("box", size=[40, 30, 20], turn=90), [-5, 0, 30], [25, 40, 50]),
            (prop("cutout", outline=[[5, 5], [35, 5], [5, 45]], thickness=4), [-5, 0, 30], [25, 40, 34]),
            (prop("cutout", outline=[[5, 5], [35, 5], [5, 45]], thickness=4, upright=True), [-5, 18, 30], [25, 22, 70]),
            (prop("lathe", profile=[[10, -5], [10, 15]]), [0, 10, 30], [20, 30, 50]),
            (prop("sphere", size=20), [0, 10, 30], [20, 30, 50]),
        ],
        ids=["box", "turned box", "flat cutout", "upright cutout", "lathe", "sphere"],
    )
    def test_bounds(self, build, keys, low, high):
        """Round things may bulge by as much as their chords cut."""
        assert_allclose(build(prop=[keys]).bounds, [low, high], atol=1e-9 if keys["kind"] in ("box", "cutout") else 0.2)

    def test_turn_is_anticlockwise_seen_from_above(self, build):
        """Turned by 90 degrees, what was at +x is at +y."""
        built = build(prop=[prop("cutout", outline=[[0, 0], [30, 0], [0, 30]], thickness=4, turn=90)])
        square_corner = np.array([10 + 15, 20 - 15])
        assert np.min(np.linalg.norm(built.vertices[:, :2] - square_corner, axis=1)) < 1e-9


class TestNames:
    """The report speaks of the sides by these names."""

    @pytest.mark.parametrize(
        ("keys", "names"),
        [
            (prop("box", size=[4, 3, 2]), {"thing top", "thing bottom", "thing front", "thing back", "thing left", "thing right"}),
            (prop("cylinder", size=[30, 20]), {"thing top", "thing bottom", "thing side"}),
            (prop("sphere", size=30), {"thing"}),
            (prop("lathe", profile=[[20, 0], [10, 60]]), {"thing"}),
            (prop("cutout", outline=[[0, 0], [3, 0], [0, 3]], thickness=4, upright=True), {"thing front", "thing back", "thing edge"}),
            (prop("cutout", outline=[[0, 0], [3, 0], [0, 3]], thickness=4), {"thing top", "thing bottom", "thing edge"}),
        ],
    )
    def test_names(self, build, keys, names):
        """Each side has a name of its own."""
        built = build(prop=[keys])
        assert {face.name for face in built.faces} == names

    @pytest.mark.parametrize("keys", [prop("box", size=[4, 3, 2]), prop("cutout", outline=[[0, 0], [4, 0], [4, 5], [0, 5]], thickness=3, upright=True)])
    def test_front_looks_to_minus_y(self, build, keys):
        """Unturned, the front looks to -y."""
        built = build(prop=[keys])
        front = next(i for i, face in enumerate(built.faces) if face.name == "thing front")
        a, b, c = built.vertices[built.triangles[built.face_of == front][0]]
        normal = np.cross(b - a, c - a)
        assert_allclose(normal / np.linalg.norm(normal), [0, -1, 0], atol=1e-12)

    def test_top_of_a_turned_solid_looks_up(self, build):
        """The level sides of a cylinder are its top and bottom the right way round."""
        built = build(prop=[prop("cylinder", size=[30, 20])])
        heights = {face.name: built.vertices[built.triangles[built.face_of == i], 2].mean() for i, face in enumerate(built.faces)}
        assert heights == {"thing bottom": 30, "thing top": 50, "thing side": 40}
