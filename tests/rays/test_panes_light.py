"""What panes do to light: glass by angle, tints by colour."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.build.assemble import build_set
from previz.camera.view import View
from previz.frames.hazed import hazed_frame
from previz.light.glass import sheet_transmittance
from previz.rays.lit import light_set
from previz.rays.patches import patches
from previz.scene.model import Scene

W = np.array([0.2126, 0.7152, 0.0722])
VIEW = View((150.0, 15.0, 70.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), 0.8, 0.6, 48, 32)


def lit_room(at=(-600.0, 100.0, 80.0), toward=(0.0, 100.0, 80.0), haze=None, **opening):
    """A room, 300 x 200 x 160 mm, with a window in its west wall and a small lamp before it; its reveals, which no pane shades, are black."""
    window = {"name": "window", "wall": "room.4", "at": [70.0, 50.0], "size": [60.0, 60.0]} | opening
    tables = {
        "room": [{"name": "room", "plan": [[0.0, 0.0], [300.0, 0.0], [300.0, 200.0], [0.0, 200.0]], "height": 160.0, "wall": 1.0, "finish": {"reveals": "black"}}],
        "finish": {"black": {"reflect": 0.0}},
        "opening": [window],
        "lamp": [{"name": "key", "kind": "disc", "diameter": 10.0, "at": list(at), "toward": list(toward), "candela": 1000.0}],
        "haze": haze or {"extinction": 1.0, "g": 0.0},
    }
    scene = Scene.model_validate(tables)
    return light_set(scene, build_set(scene, Path(".")), texels=1500, rays=32, workers=2)


def picture(lit, **options):
    """The room seen from its south end."""
    return hazed_frame(lit, VIEW, passes=1, lamp_samples=4, workers=2, **options)


class TestGlass:
    """A pane dims by the angle at which light arrives."""

    @pytest.mark.parametrize("degrees", [0, 45, 75])
    def test_a_patch_behind_glass(self, degrees):
        """The far wall gets what the sheet lets through at that angle, scaled to the typed value straight on."""
        angle = np.radians(degrees)
        hole = np.array([0.0, 100.0, 80.0])
        way = np.array([np.cos(angle), np.sin(angle), 0.0])
        at, met = hole - 600 * way, hole + 40 * way
        bare, glazed = (lit_room(at, hole, {"extinction": 0.0}, glass=g).illuminance([met], [-way], 64)[0, 0] for g in (1.0, 0.9))
        share = 0.9 * sheet_transmittance(np.cos(angle)) / sheet_transmittance(1.0)
        assert bare > 0 and glazed / bare == pytest.approx(share, rel=2e-3)

    def test_a_shaft_behind_glass(self):
        """Haze in the shaft of a lamp at 60 degrees dims as its patch does."""
        at, toward = (-300.0, 100.0 - 520.0, 80.0), (0.0, 100.0, 80.0)
        bare, glazed = (picture(lit_room(at, toward, glass=g), bounces=False) for g in (1.0, 0.8))
        share = 0.8 * sheet_transmittance(0.5) / sheet_transmittance(1.0)
        assert glazed.sum() / bare.sum() == pytest.approx(share, rel=0.02)


class TestTint:
    """A stained pane colours what it lights."""

    @pytest.fixture(scope="class")
    @classmethod
    def clear(cls):
        return lit_room()

    def test_white_is_no_tint(self, clear):
        """The tint "#ffffff" gives the very picture of the untinted pane."""
        assert np.array_equal(picture(clear), picture(lit_room(tint="#ffffff")))

    def test_red_everywhere(self, clear):
        """Behind a red pane shaft, patch and bounced light keep their red and lose all else."""
        red = lit_room(tint="#ff0000")
        a, b = picture(clear), picture(red)
        assert_allclose(b[..., 0], a[..., 0], rtol=1e-4)
        assert b[..., 1:].max() == 0.0 and a[..., 1:].min() > 0.0
        assert red.bounce_colour[0][:, 0].max() > 0 and red.bounce_colour[0][:, 1:].max() == 0

    def test_colours_sum_to_white(self, clear):
        """Light is linear: red, green and blue panes together give what a clear one gives."""
        total = sum(picture(lit_room(tint=tint)) for tint in ("#ff0000", "#00ff00", "#0000ff"))
        assert_allclose(total, picture(clear), rtol=1e-4)

    def test_lux_behind_a_tint(self, clear):
        """A patch's lux is the tint's luminance times that of the clear pane."""
        lit = lit_room(tint="#00ff00")
        a, b = (patches(x.built, x.emitters, x) for x in (clear, lit))
        assert len(a) == len(b) > 0
        assert b[0].lux == pytest.approx(W[1] * a[0].lux, rel=1e-9)
