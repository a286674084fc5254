"""What panes do to light: glass by angle, tints by colour, tracing paper."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.build.assemble import build_set
from previz.camera.view import View
from previz.frames.hazed import hazed_frame
from previz.light.glass import sheet_transmittance
from previz.rays.kernels import lamp_points
from previz.rays.lit import light_set, relit
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

    def test_each_pane_its_own(self):
        """A list of tints colours pane by pane, the top row first: the top of the far wall's patch is red and blue, the bottom green and white."""
        bars = {"columns": 2, "rows": 2, "width": 2.0, "depth": 0.5}
        lit = lit_room(bars=bars, tint=[["#ff0000", "#0000ff"], ["#00ff00", "#ffffff"]])
        # From outside the west wall's first column is on the side of +y.
        tints = {a.pane: a.tint for a in lit.built.apertures if a.opening == "window"}
        assert tints == {(0, 1): (1, 0, 0), (1, 1): (0, 0, 1), (0, 0): (0, 1, 0), (1, 0): (1, 1, 1)}
        points = np.array([[299.9, 118.0, 98.0], [299.9, 82.0, 98.0], [299.9, 118.0, 62.0], [299.9, 82.0, 62.0]])
        light = lit.direct(points, np.tile([-1.0, 0.0, 0.0], (4, 1)), np.zeros(4, int), lamp_points(lit.lamps, 1, 4), extinction_per_m=0.0)
        seen = light @ lit.behind_tints(lit.candela)
        assert_allclose(seen / seen.max(axis=1, keepdims=True), [[1, 0, 0], [0, 0, 1], [0, 1, 0], [1, 1, 1]])

    def test_haze_in_a_box(self):
        """The pane colours and dims just as well where the haze fills a box of the maker's, sampled without panes."""
        box = {"extinction": 1.0, "g": 0.0, "fills": [[0.0, 0.0, 0.0], [300.0, 200.0, 160.0]]}
        rooms, boxed = (picture(lit_room(tint="#ff0000", glass=0.8, haze=haze)) for haze in (None, box))
        assert boxed[..., 1:].max() == 0.0
        assert boxed.mean() == pytest.approx(rooms.mean(), rel=0.02)

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


class TestTracingPaper:
    """Paper over a window: the opening itself becomes the lamp."""

    HALF_LIT = {"at": (-200.0, 260.0, 200.0), "toward": (0.0, 100.0, 80.0)}

    @pytest.fixture(scope="class")
    @classmethod
    def papered(cls):
        return lit_room(**cls.HALF_LIT, diffuser=0.6, bars={"columns": 2, "rows": 2, "width": 4.0, "depth": 0.5})

    def test_energy(self, papered):
        """Flux into the room is the transmittance times the flux that falls on the paper, bars' shadows taken off."""
        across, up = (a.ravel() for a in np.meshgrid(np.arange(0.25, 60, 0.5), np.arange(0.25, 60, 0.5)))
        # From outside the west wall's along axis runs towards -y.
        points = np.column_stack([np.full(across.size, -0.1), 130 - across, 50 + up])
        lux = papered.illuminance(points, np.tile([-1.0, 0.0, 0.0], (len(points), 1)), 64)[:, 0]
        bare = lit_room(**self.HALF_LIT)
        assert lux.sum() < 0.95 * bare.illuminance(points, np.tile([-1.0, 0.0, 0.0], (len(points), 1)), 16)[:, 0].sum()
        falls = lux.mean() * 60 * 60 * 1e-6
        sent = np.pi * sum(W @ e.candela for e in papered.emitters[1:])
        assert sent == pytest.approx(0.6 * falls, rel=0.02)
        # What the whole room gets of it, on a closed box just within its walls.
        assert sent == pytest.approx(self.received(papered), rel=0.02)

    @staticmethod
    def received(lit, n=40):
        """Flux straight on the six inner faces of the room, without haze. [lm]"""
        clear = light_set(lit.scene.model_copy(update={"haze": lit.scene.haze.model_copy(update={"extinction": 0.0})}), lit.built, texels=200, rays=4)
        size = np.array([300.0, 200.0, 160.0])
        total = 0.0
        for axis in range(3):
            for end in (0, 1):
                u, v = (a.ravel() for a in np.meshgrid((np.arange(n) + 0.5) / n, (np.arange(n) + 0.5) / n))
                points = np.empty((n * n, 3))
                others = [i for i in range(3) if i != axis]
                points[:, others[0]], points[:, others[1]] = u * size[others[0]], v * size[others[1]]
                points[:, axis] = 0.2 + end * (size[axis] - 0.4)
                normal = np.zeros(3)
                normal[axis] = 1.0 - 2.0 * end
                area = size[others[0]] * size[others[1]] * 1e-6
                total += clear.illuminance(points, np.tile(normal, (n * n, 1)), 64).sum(axis=1).mean() * area
        return total

    def test_no_patch_and_no_shaft(self, papered):
        """Nothing goes straight through: no patch, and the lamp itself adds no light to the air or the far wall."""
        assert patches(papered.built, papered.emitters, papered) == []
        alone = papered.direct(np.array([[150.0, 100.0, 80.0]]), np.zeros((1, 3)), np.zeros(1, int), lamp_points(papered.lamps, 1, 16), extinction_per_m=0.0)
        assert alone[0, 0] == 0.0 and alone[0, 1:].min() > 0.0

    def test_any_outline(self):
        """A round paper glows as a disc, a pointed one as strips; each sends the share of what falls on it."""
        for shape, size, count in (("round", 60.0, 1), ("lancet", [40.0, 60.0], 6)):
            lit = lit_room(shape=shape, size=size, diffuser=0.5, tint="#ff0000")
            area = sum((np.pi if e.shape == "disc" else 4) * np.linalg.norm(e.half_u) * np.linalg.norm(e.half_v) for e in lit.emitters[1:])
            sent = np.pi * sum(e.candela for e in lit.emitters[1:])
            assert len(lit.emitters) == 1 + count
            # The lamp is 600 mm off, square on: close to candela / distance^2 all over.
            assert sent[0] == pytest.approx(0.5 * lit.emitters[0].candela[0] / 0.36 * area * 1e-6, rel=0.01)
            assert not sent[1:].any()

    def test_seen_from_inside(self, papered):
        """The paper in the frame has the luminance of a Lambertian face: its illuminance times transmittance over pi."""
        view = View((150.0, 100.0, 80.0), (-1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), 0.05, 0.05, 8, 8)
        clear = relit(papered, medium=replace(papered.medium, extinction_per_m=0.0))
        seen = hazed_frame(clear, view, passes=1, bounces=False, workers=1) @ W
        assert_allclose(seen, sum(W @ e.candela for e in papered.emitters[1:]) / 3600e-6, rtol=1e-3)

    def test_a_reading_behind_paper(self):
        """A meter in a room lit through paper sets the lamp's level, though no light of the lamp comes straight."""
        lit = lit_room(diffuser=0.6, haze={"extinction": 0.0})
        there = lit.illuminance([[150.0, 100.0, 80.0]], [[-1.0, 0.0, 0.0]], 256).sum()
        tables = lit.scene.model_dump()
        tables["lamp"][0]["measured"] = [{"at": [150.0, 100.0, 80.0], "lux": 100 * there}]
        scene = Scene.model_validate(tables)
        metered = light_set(scene, build_set(scene, Path(".")), texels=1500, rays=32, workers=2)
        factor = metered.calibrations[0].factor
        # The room's bounce adds to what comes through the paper, so the factor is less than a hundred.
        assert 40 < factor < 100
        for before, after in zip(lit.emitters, metered.emitters, strict=True):
            assert_allclose(after.candela, factor * before.candela, rtol=1e-6)

    def test_relit(self, papered):
        """A lamp twice as bright makes the paper twice as bright."""
        twice = relit(papered, lamps=(replace(papered.emitters[0], candela=2 * papered.emitters[0].candela), *papered.emitters[1:]))
        assert len(twice.emitters) == len(papered.emitters)
        assert_allclose(picture(twice), 2 * picture(papered), rtol=1e-4)
