"""Proxy frames by the graphics device and by the ray engine: one picture language, two ways to draw it."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.ndimage import binary_dilation

from previz.build.assemble import build_set
from previz.camera.view import Poses, view_at
from previz.frames.proxy import PAPER, Proxies, proxy_frame, triangle_colours
from previz.rays.tracer import Tracer
from previz.scene.faults import OutsideFault
from previz.scene.model import Scene

WORKSHOP = Scene.model_validate(
    {
        "room": [{"name": "shed", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["s", "e", "n", "w"], "open": ["w"], "height": 120, "wall": 5}],
        "opening": [
            {"name": "window", "wall": "shed.e", "shape": "arch", "at": [60, 30], "size": [60, 70], "bars": {"columns": 3, "rows": 4, "width": 3, "depth": 3}},
            {"name": "shutter", "wall": "shed.n", "at": [80, 30], "size": [60, 50], "slats": {"count": 6, "width": 6, "thickness": 1, "angle": 30}},
        ],
        "prop": [
            {"name": "crate", "kind": "box", "size": [40, 30, 25], "at": [180, 60, 0], "turn": 20, "finish": "pine"},
            {"name": "vase", "kind": "lathe", "profile": [[0, 0], [9, 0], [14, 18], [5, 30], [7, 34], [0, 34]], "at": [150, 110, 0], "finish": "clay"},
            {"name": "ball", "kind": "sphere", "size": 24, "at": [220, 140, 0]},
        ],
        "finish": {"pine": {"colour": "#c0a060"}, "clay": {"reflect": 0.1}},
        "lens": {"focal": 24},
    }
)


@pytest.fixture(scope="module")
def built():
    return build_set(WORKSHOP, Path("."))


@pytest.fixture(scope="module")
def tracer(built):
    return Tracer(built.vertices, built.triangles)


def _view(x=-20.0, y=100.0, z=60.0, pan=0.0, tilt=0.0, size=(480, 270)):
    return view_at(WORKSHOP, Poses(np.array([x, y, z]), np.radians(pan), np.radians(tilt)), 200.0, size)


VIEWS = [_view(), _view(40, 40, 30, 35, 10), _view(20, 150, 90, -25, -20), _view(60, 100, 60, 10, 0, (333, 251))]


@pytest.fixture(scope="module")
def both(built, tracer):
    """Each view, drawn both ways."""
    try:
        device = Proxies(built, tracer, "gl")
    except OutsideFault as fault:
        pytest.skip(str(fault))
    with device, Proxies(built, tracer, "rays") as rays:
        return [(device.frame(view), rays.frame(view)) for view in VIEWS]


def _next_to_an_edge(part):
    ends = np.zeros(part.shape, dtype=bool)
    ends[:, 1:] |= part[:, 1:] != part[:, :-1]
    ends[1:] |= part[1:] != part[:-1]
    return binary_dilation(ends, np.ones((3, 3)), iterations=1)


class TestTheTwoWays:
    """The ray engine's frame is the device's frame."""

    def test_each_says_who_drew_it(self, both):
        """A proxy knows which of the two it came from."""
        assert [("gl", "rays")] * len(VIEWS) == [(gl.drawn_by, rays.drawn_by) for gl, rays in both]

    def test_depth(self, both):
        """Away from edges the depths agree within 0.1 mm or 0.05 %."""
        for gl, rays in both:
            inner = ~_next_to_an_edge(rays.part) & np.isfinite(rays.depth_mm)
            assert inner.mean() > 0.5
            assert_allclose(gl.depth_mm[inner], rays.depth_mm[inner], rtol=5e-4, atol=0.1)

    def test_silhouettes(self, both):
        """Parts differ only in pixels next to an edge, and in few of them."""
        for gl, rays in both:
            differ = gl.part != rays.part
            assert not (differ & ~_next_to_an_edge(rays.part)).any()
            assert differ.mean() < 0.003

    def test_nothing_is_nothing_in_both(self, both):
        """Where there is no part there is no depth, and the picture is paper."""
        for gl, rays in both:
            for proxy in (gl, rays):
                nothing = proxy.part < 0
                assert nothing.any()
                assert np.array_equal(nothing, np.isinf(proxy.depth_mm))
                assert np.all(proxy.rgb[nothing & ~_next_to_an_edge(proxy.part)] == PAPER)

    def test_colours(self, both):
        """The pictures differ by less than one level of 255 on average, and nowhere by much away from edges."""
        for gl, rays in both:
            difference = np.abs(gl.rgb.astype(int) - rays.rgb.astype(int)).max(axis=2)
            assert difference.mean() < 1
            assert np.percentile(difference, 99) <= 40


class TestRays:
    """What a proxy frame of the ray engine holds."""

    def test_depth_is_along_the_axis(self, built, tracer):
        """The far wall stands 320 mm ahead in every pixel that shows it, corner pixels too."""
        proxy = proxy_frame(built, _view(), tracer, "rays")
        wall = proxy.depth_mm[proxy.part == built.part_named("shed.e")[0]]
        assert wall.min() > 319.99
        assert (wall < 320.01).mean() > 0.8  # the rest is the window's reveal, behind the wall's face

    def test_any_number_of_workers_draws_the_same(self, built, tracer):
        """One thread or three: the same bytes."""
        one, three = (Proxies(built, tracer, "rays", workers=n).frame(_view(size=(1200, 700))) for n in (1, 3))
        assert np.array_equal(one.rgb, three.rgb) and np.array_equal(one.part, three.part)

    def test_an_empty_view(self, built, tracer):
        """Looking away from the set gives paper."""
        proxy = proxy_frame(built, _view(-50, pan=180), tracer, "rays")
        assert np.all(proxy.part == -1) and np.all(proxy.rgb == PAPER)

    def test_finishes_keep_their_order(self, built):
        """A lighter finish is drawn lighter, on faces that point the same way."""
        colours = triangle_colours(built)
        crate, vase = (built.triangles_of(built.part_named(name)) for name in ("crate", "vase"))
        assert colours[crate].max() > colours[vase].max()


class TestWithoutADevice:
    """A machine on which no device answers."""

    SCRIPT = (
        "from pathlib import Path; import numpy as np; from previz.build.assemble import build_set; from previz.scene.model import Scene\n"
        "from previz.camera.view import Poses, view_at; from previz.frames.proxy import proxy_frame; from previz.rays.tracer import Tracer\n"
        "scene = Scene.model_validate({'prop': [{'name': 'box', 'kind': 'box', 'size': [9, 9, 9], 'at': [40, 0, 0]}]})\n"
        "built = build_set(scene, Path('.'))\n"
        "view = view_at(scene, Poses(np.zeros(3), 0.0, 0.0), 40.0, (64, 36))\n"
        "print(proxy_frame(built, view, Tracer(built.vertices, built.triangles), {prefer!r}).drawn_by)\n"
    )

    def _run(self, prefer):
        environment = os.environ | {"PYOPENGL_PLATFORM": "egl", "EGL_DEVICE_ID": "99", "PYTHONPATH": os.pathsep.join(sys.path)}
        return subprocess.run([sys.executable, "-c", self.SCRIPT.replace("{prefer!r}", repr(prefer))], capture_output=True, text=True, env=environment)

    def test_the_ray_engine_draws(self):
        """Nobody notices: the ray engine draws the frame, and nothing is printed."""
        done = self._run(None)
        assert (0, "rays\n", "") == (done.returncode, done.stdout, done.stderr)

    def test_asking_for_the_device_says_so(self):
        """Whoever asks for the device is told that there is none."""
        done = self._run("gl")
        assert "OutsideFault: no graphics device could draw" in done.stderr
