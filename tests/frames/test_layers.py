"""The light of a frame kept apart: its sum is the frame, and lamps can be mixed anew."""

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rooms import painted_room, view_across

from previz.build.assemble import build_set
from previz.frames.hazed import hazed_frame, light_layers
from previz.rays.lit import light_set, relit
from previz.scene.model import Scene

SAMPLES = dict(passes=2, lamp_samples=4, haze_samples=1)


@pytest.fixture(scope="module")
def lit():
    """A painted room under two lamps of different colours."""
    tables = painted_room().model_dump(by_alias=True)
    key = tables["lamp"][0]
    second = {**key, "name": "fill", "at": [key["at"][0], key["at"][1] + 150, key["at"][2] + 60], "colour": "#88aaff", "dim": 0.5}
    scene = Scene.model_validate({**tables, "lamp": [key, second]})
    return light_set(scene, build_set(scene, folder=None), texels=3000, rays=32)


@pytest.fixture(scope="module")
def layers(lit):
    """Its light in one view, kept apart."""
    return light_layers(lit, view_across(96, 54), **SAMPLES)


class TestLayers:
    """One code path, two ways to add it up."""

    def test_the_frame_is_their_sum(self, lit, layers):
        """Every pixel, to the figures of float32."""
        frame = hazed_frame(lit, view_across(96, 54), **SAMPLES)
        assert_allclose(layers.mixed([1, 1]), frame, rtol=1e-5, atol=1e-6 * frame.max())

    def test_a_dimmed_lamp_is_a_mix(self, lit, layers):
        """Light adds up: a lamp at half its level, lit anew and drawn, is the mix of stored layers."""
        halved = tuple(dataclasses.replace(e, candela=e.candela * level) for e, level in zip(lit.emitters, (0.5, 0.0)))
        frame = hazed_frame(relit(lit, lamps=halved), view_across(96, 54), **SAMPLES)
        assert_allclose(layers.mixed([0.5, 0]), frame, rtol=1e-4, atol=1e-5 * frame.max())

    def test_each_way_of_light_is_there(self, layers):
        """Direct, bounced and scattered light of both lamps, none of it negative."""
        for part in (layers.direct, layers.bounce, layers.haze):
            assert part.shape == (2, 54, 96, 3) and part.min() >= 0
            assert (part.max(axis=(1, 2, 3)) > 0).all()
