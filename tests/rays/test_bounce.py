"""Bounce light: energy, haze cells, smooth reading, re-lighting without rays."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rooms import lamp_inside, plain_room, plain_tables, view_across

from previz.build.assemble import build_set
from previz.frames.hazed import hazed_frame
from previz.haze.medium import medium_at
from previz.light.lamps import emitters
from previz.rays.kernels import lamp_points
from previz.rays.lit import light_set, relit
from previz.rays.texels import add_smoothly
from previz.scene.model import Scene


def furnace(reflect: float, extinction: float = 0.0, **haze) -> Scene:
    """A closed empty box with a point lamp in it."""
    tables = plain_tables(extinction)
    lamp = {"name": "bulb", "kind": "point", "at": [140.0, 90.0, 100.0], "toward": [140.0, 90.0, 0.0], "candela": 10.0}
    return Scene.model_validate(
        tables | {"opening": [], "prop": [], "finish": {"card": {"reflect": reflect}}, "lamp": [lamp], "haze": {"extinction": extinction} | haze}
    )


def mean_illuminance(lit, count=6000):
    """Mean over the inner surfaces of direct and of all light. [lux]"""
    rng = np.random.default_rng(3)
    size = np.array([310.0, 205.0, 185.0])
    areas = [size[1] * size[2], size[0] * size[2], size[0] * size[1]]
    direct = total = 0.0
    for axis in range(3):
        for side in (0, 1):
            points = rng.random((count, 3)) * size
            points[:, axis] = side * size[axis]
            normal = np.zeros(3)
            normal[axis] = 1 - 2 * side
            normals = np.tile(normal, (count, 1))
            hits = lit.tracer.hit(points + normals, -normals)
            arriving = np.zeros((count, 3))
            found = points.copy()
            add_smoothly(lit.texels.lookup, np.ascontiguousarray(lit.bounce_colour[0]), hits.triangle, hits.u, hits.v, found, normals, arriving)
            straight = lit.direct(points, normals, np.zeros(count, int), lamp_points(lit.lamps, 1, 1), extinction_per_m=lit.trimmed.extinction_per_m) @ lit.candela
            direct += areas[axis] * straight[:, 1].mean()
            total += areas[axis] * (straight + arriving)[:, 1].mean()
    return direct, total


class TestWhiteFurnace:
    """A closed box of reflectance r multiplies flux by 1 / (1 - r): the geometric series of its bounces."""

    @pytest.mark.parametrize("reflect", [0.3, 0.6])
    def test_bounces_add_up(self, reflect):
        """Light on all walls is the direct light times 1 / (1 - r)."""
        scene = furnace(reflect)
        direct, total = mean_illuminance(light_set(scene, build_set(scene, Path(".")), texels=3000, rays=96))
        assert_allclose(total / direct, 1 / (1 - reflect), rtol=0.015)

    def test_haze_that_absorbs_nothing_loses_nothing(self):
        """With albedo 1 the walls get the lamp's whole flux times 1 / (1 - r), haze or not."""
        clear, hazy = furnace(0.5), furnace(0.5, 3.0)
        built = build_set(clear, Path("."))
        _, without = mean_illuminance(light_set(clear, built, texels=3000, rays=96))
        _, within = mean_illuminance(light_set(hazy, built, texels=3000, rays=96))
        assert_allclose(within / without, 1.0, rtol=0.02)

    def test_haze_that_absorbs_loses_light(self):
        """Sooty haze takes light away."""
        clear, sooty = furnace(0.5, 3.0), furnace(0.5, 3.0, albedo=0.5)
        built = build_set(clear, Path("."))
        _, without = mean_illuminance(light_set(clear, built, texels=2000, rays=64))
        _, within = mean_illuminance(light_set(sooty, built, texels=2000, rays=64))
        assert within < 0.85 * without


class TestRelight:
    """A lamp that moves, dims or takes a colour, and haze that thins, cast no hemisphere ray."""

    @pytest.fixture(scope="class")
    @classmethod
    def lit(cls):
        scene = plain_room()
        return light_set(scene, build_set(scene, Path(".")), texels=3000, rays=32)

    def test_transport_is_kept(self, lit):
        """The stored rays are the same object after a lamp has moved."""
        scene = plain_room()
        moved = scene.model_copy(update={"lamp": (scene.lamp[0].model_copy(update={"at": (-700.0, 100.0, 400.0)}),)})
        other = relit(lit, lamps=emitters(moved, lit.built))
        assert other.transport is lit.transport
        fresh = light_set(moved, lit.built, texels=3000, rays=32)
        assert_allclose(other.bounce.texel, fresh.bounce.texel, rtol=1e-5, atol=1e-9)

    def test_haze_that_thins_is_the_same_as_haze_baked_thin(self, lit):
        """Another density re-weights the same rays."""
        thin = plain_room(0.3)
        other = relit(lit, medium=medium_at(thin, lit.built))
        fresh = light_set(thin, lit.built, texels=3000, rays=32)
        assert_allclose(other.bounce.texel, fresh.bounce.texel, rtol=1e-5, atol=1e-9)
        assert_allclose(other.bounce.cell, fresh.bounce.cell, rtol=1e-4, atol=1e-9)

    def test_haze_elsewhere_is_another_geometry(self, lit):
        """Haze that fills other cells is refused in words."""
        with pytest.raises(ValueError, match="the haze fills other cells than those the set was lit with"):
            relit(lit, medium=replace(lit.medium, cells=()))

    def test_level_and_colour_are_factors(self, lit):
        """Twice the candela in one colour is twice the bounced light in that colour."""
        brighter = replace(lit.emitters[0], candela=lit.emitters[0].candela * np.array([2.0, 1.0, 1.0]))
        texel, _ = relit(lit, lamps=(brighter,)).bounce_colour
        before, _ = lit.bounce_colour
        assert_allclose(texel[:, 0], 2 * before[:, 0], rtol=1e-5)
        assert_allclose(texel[:, 1:], before[:, 1:], rtol=1e-5)


class TestSmoothReading:
    """No picture shows texels or blotches."""

    def test_bounce_light_has_no_grain(self):
        """On a bare wall the bounced light changes from point to point by far less than from end to end."""
        scene = plain_room(0.0)
        lit = light_set(scene, build_set(scene, Path(".")))
        x = np.linspace(10, 300, 400)
        points = np.column_stack([x, np.full(400, 205.0), np.full(400, 150.0)])
        normals = np.tile([0.0, -1.0, 0.0], (400, 1))
        hits = lit.tracer.hit(points + normals, -normals)
        out = np.zeros((400, 3))
        add_smoothly(lit.texels.lookup, np.ascontiguousarray(lit.bounce_colour[0]), hits.triangle, hits.u, hits.v, points, normals, out)
        light = out[:, 1]
        trend = np.polynomial.Polynomial.fit(x, light, 8)(x)
        assert np.std(light - trend) < 0.03 * light.mean()

    @pytest.mark.parametrize("at", [(155.0, 90.0), (2.0, 90.0), (2.0, 2.0), (308.0, 183.0)])
    def test_light_read_in_corners_is_the_light_gathered_there(self, closed, at):
        """Texels at corners see the room, not the inside of walls: what is read is what rays over the hemisphere bring."""
        point, normal = np.array([[at[0], 205.0, at[1]]]), np.array([[0.0, -1.0, 0.0]])
        assert_allclose(bounced_at(closed, point, normal), gathered_at(closed, point[0], normal[0]), rtol=0.06)

    @pytest.fixture(scope="class")
    @classmethod
    def closed(cls):
        scene = lamp_inside(0.0)
        return light_set(scene, build_set(scene, Path(".")))


def bounced_at(lit, points, normals):
    """Bounced illuminance as pictures read it. [lux]"""
    hits = lit.tracer.hit(points + normals, -normals)
    out = np.zeros((len(points), 3))
    add_smoothly(lit.texels.lookup, np.ascontiguousarray(lit.bounce_colour[0]), hits.triangle, hits.u, hits.v, points, normals, out)
    return out[:, 1]


def gathered_at(lit, point, normal, count=20000):
    """Bounced illuminance by rays over the hemisphere, each bringing the light that the surface it meets sends back. [lux]"""
    rng = np.random.default_rng(11)
    radius, angle = np.sqrt(rng.random(count)), 2 * np.pi * rng.random(count)
    side = np.array([1.0, 0.0, 0.0]) if abs(normal[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    across = np.cross(normal, side)
    across /= np.linalg.norm(across)
    height = np.sqrt(1 - radius**2)
    ways = (radius * np.cos(angle))[:, None] * across + (radius * np.sin(angle))[:, None] * np.cross(normal, across) + height[:, None] * normal
    start = np.tile(point + 0.01 * normal, (count, 1))
    hits = lit.tracer.hit(start, ways)
    met = start + hits.distance[:, None] * ways
    facing = hits.normal / np.linalg.norm(hits.normal, axis=1, keepdims=True)
    arriving = lit.direct(met, facing, np.arange(count) % 64, lamp_points(lit.lamps, 64, 1), extinction_per_m=0.0) @ lit.candela
    add_smoothly(lit.texels.lookup, np.ascontiguousarray(lit.bounce_colour[0]), hits.triangle, hits.u, hits.v, met, facing, arriving)
    return 0.5 * arriving[:, 1].mean()


class TestImportedSurfaces:
    """Bounced light on a mesh that has no unfolding."""

    def test_mesh_prop_is_lit_like_the_same_box(self, tmp_path):
        """A crate as a box and the same crate as a mesh file look alike."""
        import trimesh

        trimesh.creation.box(extents=[40, 40, 30]).export(tmp_path / "crate.ply")
        tables = plain_tables(0.0)
        crate = tables["prop"][0]
        meshed = {key: value for key, value in crate.items() if key != "size"} | {"kind": "mesh", "file": "crate.ply"}
        pictures = []
        for prop in (crate, meshed):
            scene = Scene.model_validate(tables | {"prop": [prop]})
            lit = light_set(scene, build_set(scene, tmp_path), texels=8000, rays=64)
            pictures.append(hazed_frame(lit, view_across(96, 54), passes=4))
        a, b = (p[:48].reshape(12, 4, 24, 4, 3).mean(axis=(1, 3, 4)) for p in pictures)
        assert_allclose(b.mean(), a.mean(), rtol=0.01)
        assert np.abs(a - b).max() < 0.15 * a.mean()
