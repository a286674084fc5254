"""Lamps in the picture: as bright as candela over area, hidden, dimmed and tinted as their light is."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.build.assemble import build_set
from previz.camera.view import View, cos_fourth
from previz.frames.hazed import hazed_frame, light_layers
from previz.light.colour import luminance
from previz.rays.lit import light_set
from previz.scene.model import Scene

ROOM = {
    "room": [{"name": "room", "plan": [[0, 0], [200, 0], [200, 200], [0, 200]], "height": 120}],
    "finish": {"plain": {"reflect": 0.0}},
    "haze": {"extinction": 0.0},
}
DISC = {"name": "bulb", "kind": "disc", "diameter": 40, "at": [100, 150, 60], "toward": [100, 0, 60], "candela": 100, "beam": 120}
VIEW = View(np.array([100.0, 50.0, 60.0]), np.array([0.0, 1, 0]), np.array([1.0, 0, 0]), np.array([0, 0, 1.0]), 0.4, 0.4, 48, 48)
LAMBERT = 100 / (np.pi * 0.020**2)


def frame(lamp=DISC, view=VIEW, **more):
    """The luminance of each pixel. [cd/m2]"""
    scene = Scene.model_validate({**ROOM, "lamp": [lamp], **more})
    lit = light_set(scene, build_set(scene, Path()), texels=200, rays=8, workers=1)
    return luminance(hazed_frame(lit, view, passes=4, lamp_samples=2, workers=1))


class TestLuminance:
    """How bright a face is."""

    def test_disc_is_candela_over_area(self):
        """A Lambertian disc shows its candela over its area, where it should be and as large as it should be."""
        picture = frame()
        assert_allclose(picture[20:28, 20:28], LAMBERT, rtol=1e-4)
        across = 2 * 0.4 * 100 / 48
        assert_allclose((picture > LAMBERT / 2).sum() * across**2, np.pi * 20**2, rtol=0.05)
        assert picture[0, 0] == 0

    def test_haze_dims_it(self):
        """By e to the minus extinction times the way (Beer-Lambert), beside what the haze itself sends."""
        clear, hazy = frame(), frame(haze={"extinction": 2.0, "albedo": 0.0})
        assert_allclose(hazy[20:28, 20:28], clear[20:28, 20:28] * np.exp(-0.2), rtol=2e-3)

    @pytest.mark.parametrize("beam", [60, 120])
    def test_a_panel_seen_aslant(self, beam):
        """Intensity in that direction over the area as it is seen from there."""
        panel = {"name": "bulb", "kind": "panel", "size": [40, 20], "at": [100, 150, 60], "toward": [200, 50, 60], "candela": 100, "beam": beam}
        exponent = np.log(0.5) / np.log(np.cos(np.radians(beam / 2)))
        cos = np.cos(np.pi / 4)
        assert_allclose(frame(panel)[24, 24], 100 * cos**exponent / (800e-6 * cos), rtol=0.05)

    def test_props_hide_it_and_its_back_is_not_seen(self):
        """A box before it is black; turned away it shows nothing; a point has no face."""
        box = {"name": "box", "kind": "box", "at": [100, 100, 0], "size": [80, 10, 120]}
        assert frame(prop=[box])[24, 24] == 0
        assert frame({**DISC, "toward": [100, 200, 60]}).max() == 0
        point = {key: value for key, value in DISC.items() if key != "diameter"} | {"kind": "point"}
        assert frame(point).max() == 0

    def test_through_a_pane(self):
        """A lamp outside is seen through its window, glass and tint as its light passes them."""
        lamp = {**DISC, "at": [100, 300, 60]}
        window = {"name": "window", "wall": "room.3", "at": [60, 30], "size": [80, 60]}
        clear = frame(lamp, opening=[window])[24, 24]
        assert_allclose(clear, LAMBERT, rtol=1e-3)
        assert_allclose(frame(lamp, opening=[{**window, "glass": 0.9}])[24, 24], 0.9 * LAMBERT, rtol=2e-3)
        assert frame({**lamp, "at": [40, 300, 60]}, opening=[{**window, "at": [60, 90], "size": [10, 10]}])[24, 24] == 0

    def test_in_the_layer_of_its_lamp(self):
        """Layers hold it as light straight from its lamp."""
        scene = Scene.model_validate({**ROOM, "lamp": [DISC, {**DISC, "name": "dark", "at": [100, 20, 60], "toward": [100, 0, 60]}]})
        lit = light_set(scene, build_set(scene, Path()), texels=200, rays=8, workers=1)
        direct = luminance(light_layers(lit, VIEW, passes=1, workers=1).direct)
        assert_allclose(direct[:, 24, 24], [LAMBERT, 0], rtol=1e-4)


def test_cos_fourth_of_the_field_angle():
    """In the corner pixel's centre the light is cos^4 of its angle from the axis."""
    view = View(VIEW.position, VIEW.forward, VIEW.right, VIEW.up, 0.75, 0.42, 96, 54)
    angle = np.arccos(view.directions(np.array([0.5]), np.array([0.5])) @ view.forward)
    assert_allclose(cos_fourth(view)[0, 0], np.cos(angle[0]) ** 4, rtol=1e-12)
    assert_allclose(cos_fourth(view).max(), 1, atol=5e-4)
