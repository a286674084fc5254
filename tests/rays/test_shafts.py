"""Shafts: the closed form, the general path, and what both must agree on."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rooms import black_room, plain_tables, view_across

from previz.build.assemble import build_set
from previz.frames.hazed import hazed_frame
from previz.haze.phase import henyey_greenstein, one_lobe
from previz.light.units import per_mm
from previz.rays.kernels import harmonics, hashed, lamp_points, scattering_share
from previz.rays.lit import light_set
from previz.rays.packed import pack_lamps
from previz.scene.model import Scene

W = np.array([0.2126, 0.7152, 0.0722])


def lit_room(scene):
    return light_set(scene, build_set(scene, Path(".")), texels=200, rays=4)


def blocks(picture):
    """Mean luminance of 6 x 6 blocks."""
    rows, columns = picture.shape[0] // 6, picture.shape[1] // 6
    return (picture @ W)[: 6 * rows, : 6 * columns].reshape(rows, 6, columns, 6).mean(axis=(1, 3))


class TestTwoWays:
    """The closed form through panes and samples along the whole ray describe the same light."""

    @pytest.fixture(scope="class")
    @classmethod
    def lit(cls):
        return lit_room(black_room())

    def test_closed_form_and_general_path_agree(self, lit):
        """The same room lit through its panes and lit by shadow rays alone gives the same picture."""
        view = view_across(96, 54)
        crisp = hazed_frame(lit, view, passes=8, lamp_samples=8, bounces=False)
        general = hazed_frame(replace(lit, closed_form=False), view, passes=8, lamp_samples=8, haze_samples=24, bounces=False)
        assert_allclose(general.mean(), crisp.mean(), rtol=0.01)
        a, b = blocks(crisp), blocks(general)
        assert np.abs(a - b).mean() < 0.03 * a.mean()

    def test_room_and_its_mesh_agree(self, lit, tmp_path):
        """A room written as a room and the same room read back from an STL file give the same shafts."""
        import trimesh

        built = lit.built
        trimesh.Trimesh(built.vertices, built.triangles, process=False).export(tmp_path / "room.stl")
        tables = plain_tables()
        low, high = [0.0, 0.0, 0.0], [310.0, 205.0, 185.0]
        tables = {
            "mesh": {"file": "room.stl", "finish": "card"}, "finish": {"card": {"reflect": 0.0}}, "lamp": tables["lamp"],
            "haze": tables["haze"] | {"fills": [low, high]}, "body": tables["body"], "lens": tables["lens"], "shot": tables["shot"],
        }  # fmt: skip
        tables["lamp"][0]["toward"] = [0.0, 110.0, 121.0]
        scene = Scene.model_validate(tables)
        mesh = light_set(scene, build_set(scene, tmp_path), texels=200, rays=4)
        assert not mesh.closed_form and lit.closed_form
        view = view_across(96, 54)
        a = hazed_frame(lit, view, passes=8, lamp_samples=8, bounces=False)
        b = hazed_frame(mesh, view, passes=8, lamp_samples=8, haze_samples=24, bounces=False)
        assert_allclose(b.mean(), a.mean(), rtol=0.01)
        assert np.abs(blocks(a) - blocks(b)).mean() < 0.03 * a.mean()


class TestThickness:
    """An opening's two rims: what a thick wall cuts off."""

    @pytest.mark.parametrize("wall", [1.0, 25.0])
    def test_oblique_light_through_a_thick_wall(self, wall):
        """The lit interval of the closed form is the one that shadow rays find, however deep the reveal."""
        tables = plain_tables()
        tables["room"][0]["wall"] = wall
        tables["opening"][0]["bars"] = {"columns": 2, "rows": 2, "width": 5.0, "depth": wall / 2}
        tables["finish"]["card"]["reflect"] = 0.0
        lit = lit_room(Scene.model_validate(tables))
        view = view_across(48, 27)
        crisp = hazed_frame(lit, view, passes=8, lamp_samples=8, bounces=False)
        general = hazed_frame(replace(lit, closed_form=False), view, passes=8, lamp_samples=8, haze_samples=32, bounces=False)
        assert_allclose(crisp.mean(), general.mean(), rtol=0.015)


class TestSmallSteps:
    """The compiled steps against their readable forms."""

    def test_phase_function_is_the_published_one(self):
        """What the loops read from a table is Henyey and Greenstein's function, from straight on to straight back."""
        cos = np.linspace(-1, 1, 21)
        compiled = [scattering_share(c, one_lobe(0.7).table) for c in cos]
        assert_allclose(compiled, henyey_greenstein(cos, 0.7), rtol=2e-5)

    def test_harmonics_are_orthonormal(self):
        """Gauss quadrature over the sphere: the nine harmonics are orthonormal."""
        mu, weight = np.polynomial.legendre.leggauss(8)
        phi = (np.arange(16) + 0.5) * np.pi / 8
        total = np.zeros((9, 9))
        out = np.empty(9)
        for m, w in zip(mu, weight):
            for p in phi:
                s = np.sqrt(1 - m * m)
                harmonics(s * np.cos(p), s * np.sin(p), m, out)
                total += np.outer(out, out) * w * np.pi / 8
        assert_allclose(total, np.eye(9), atol=1e-12)

    def test_harmonics_carry_the_phase_function(self):
        """Addition theorem: sum of Y(a) Y(b) over an order is (2 l + 1) / 4 pi times its Legendre polynomial."""
        a, b = np.array([0.6, 0.0, 0.8]), np.array([0.0, -0.8, 0.6])
        ya, yb = np.empty(9), np.empty(9)
        harmonics(*a, ya)
        harmonics(*b, yb)
        mu = a @ b
        expected = [1 / (4 * np.pi), 3 * mu / (4 * np.pi), 5 * (1.5 * mu**2 - 0.5) / (4 * np.pi)]
        found = [ya[0] * yb[0], (ya[1:4] * yb[1:4]).sum(), (ya[4:] * yb[4:]).sum()]
        assert_allclose(found, expected, rtol=1e-12)

    def test_lamp_points_fill_the_disc_evenly(self):
        """Mean and second moment of the points on a disc are those of an even disc: 0 and R^2 / 4 a side."""
        lit = lit_room(black_room())
        lamps = pack_lamps(lit.emitters, lit.rooms)
        points = lamp_points(lamps, 1, 4096)[0, 0] - lamps.centre[0]
        u = points @ lamps.half_u[0] / 30.0
        assert_allclose(points.mean(axis=0), 0, atol=0.05)
        assert_allclose((u**2).mean(), 30.0**2 / 4, rtol=0.01)
        assert np.linalg.norm(points, axis=1).max() <= 30.0 + 1e-9

    def test_hash_is_even(self):
        """Hashed numbers are spread evenly over 0 to 1 and do not follow their input."""
        values = np.array([hashed(i, 5) for i in range(20000)])
        counts = np.histogram(values, bins=20, range=(0, 1))[0]
        assert ((counts - 1000) ** 2 / 1000).sum() < 45  # chi-squared, 19 degrees of freedom, p = 0.0007
        assert abs(np.corrcoef(values[:-1], values[1:])[0, 1]) < 0.03


class TestThinHaze:
    """Limits."""

    def test_no_haze_no_shaft(self):
        """Black surfaces without haze are black."""
        picture = hazed_frame(lit_room(black_room(0.0)), view_across(24, 13), passes=1)
        assert not picture.any()

    def test_thin_haze_is_proportional(self):
        """Ten times thinner haze sends a tenth of the light, but for what thick haze takes away on the way."""
        thin, thinner = (hazed_frame(lit_room(black_room(e)), view_across(48, 27), passes=2, bounces=False).mean() for e in (1e-3, 1e-4))
        assert_allclose(thin / thinner, 10, rtol=1e-3)
        assert per_mm(1e-3) == 1e-6
