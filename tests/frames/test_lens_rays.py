"""Defocus and smear: the thin lens and the moving lens against their formulas."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rooms import painted_room, plain_room, view_across

from previz.build.assemble import build_set
from previz.camera.view import Poses, view_at
from previz.frames import hazed
from previz.frames.hazed import hazed_frame
from previz.frames.lens_rays import GROUPS, looks, pattern_group, pixel_rays, tile_hull
from previz.frames.still import views_during
from previz.light.colour import luminance
from previz.rays.lit import light_set
from previz.rig.moves import plan_move
from previz.scene.model import Scene, Shot

FOCAL, STOP, FOCUS, FAR = 20.0, 2.0, 60.0, 180.0
SIZE = (240, 24)


def card_scene(far=FAR):
    """A white strip, 1 mm wide and upright, `far` mm ahead of the pupil in the dark, lit from beside the lens."""
    strip = {"name": "strip", "kind": "box", "size": [0.02, 1.0, 200.0], "at": [far + 0.01, 0.0, -100.0]}
    lamp = {"name": "key", "kind": "point", "at": [far - 400.0, 300.0, 0.0], "toward": [far, 0.0, 0.0], "lux_at_1m": 1000.0}
    ground = {"name": "stage", "plan": [[-500, -400], [600, -400], [600, 400], [-500, 400]], "height": 600, "finish": "black", "ceiling": False, "floor": False}
    return Scene.model_validate(
        {
            "room": [ground | {"walls": ["s", "e", "n", "w"], "open": ["w", "n"]}], "prop": [strip], "lamp": [lamp],
            "finish": {"black": {"reflect": 0.0}}, "haze": {"extinction": 0.0}, "lens": {"focal": FOCAL, "widest": STOP}, "body": {"sensor": [36, 20.4]},
        }
    )  # fmt: skip


@pytest.fixture(scope="module")
def strip():
    """The strip in the dark, lit."""
    scene = card_scene()
    return light_set(scene, build_set(scene, folder=None), texels=200, rays=8)


def slide(**keys):
    """Past the strip at an even 120 mm/s, focused on it."""
    table = {"name": "past", "clip": 1, "fps": 24, "playback": 24, "shutter": {"seconds": 0.05}, "ease": 0, "stop": 8, "focus": FAR}
    return Shot.model_validate(table | {"move": "slide", "from": [0, -60, 0], "to": [0, 60, 0], "look": {"pan": 0, "tilt": 0}} | keys)


def seen(scene, focus=FOCUS, stop=STOP, y=0.0, pan=0.0, size=SIZE):
    return view_at(scene, Poses(np.array([0.0, y, 0.0]), pan, 0.0), focus, size, stop=stop)


def profile(picture):
    """Luminance across the picture as shares of the whole."""
    across = luminance(picture).sum(axis=0)
    return across / across.sum()


def spread(share):
    """Standard deviation of a profile. [pixel]"""
    x = np.arange(len(share)) + 0.5
    return np.sqrt(share @ x**2 - (share @ x) ** 2)


class TestDefocus:
    """The blur disc of the thin lens."""

    def test_is_the_circle_of_confusion(self, strip):
        """c = f^2 |s - u| / (N s (u - f)) (S. F. Ray, Applied Photographic Optics; from memory): a disc's image in one
        direction has the standard deviation c / 4."""
        c_mm = FOCAL**2 * (FAR - FOCUS) / (STOP * FAR * (FOCUS - FOCAL))
        c_px = c_mm / 36 * SIZE[0]
        blurred = spread(profile(hazed_frame(strip, seen(strip.scene), passes=128, lamp_samples=1, bounces=False)))
        sharp = spread(profile(hazed_frame(strip, seen(strip.scene, stop=None), passes=128, lamp_samples=1, bounces=False)))
        assert np.sqrt(blurred**2 - sharp**2) == pytest.approx(c_px / 4, rel=0.05)

    def test_ends_where_the_disc_ends(self, strip):
        """No light lies beyond the disc's edge, and it reaches there."""
        c_px = FOCAL**2 * (FAR - FOCUS) / (STOP * FAR * (FOCUS - FOCAL)) / 36 * SIZE[0]
        lit = np.flatnonzero(profile(hazed_frame(strip, seen(strip.scene), passes=128, lamp_samples=1, bounces=False)))
        assert lit[-1] - lit[0] + 1 == pytest.approx(c_px + 2, abs=2.5)

    def test_leaves_the_plane_in_focus_alone(self, strip):
        """Focused on the strip's face, wide open and pinhole agree to the pixel."""
        wide, pinhole = (profile(hazed_frame(strip, seen(strip.scene, FAR, stop), passes=16, lamp_samples=1, bounces=False)) for stop in (STOP, None))
        assert np.abs(wide - pinhole).max() < 0.02 * pinhole.max()

    def test_keeps_the_light(self, strip):
        """What is spread out is not lost: the strip's whole image has the same luminance."""
        wide, pinhole = (luminance(hazed_frame(strip, seen(strip.scene, stop=stop), passes=128, lamp_samples=1, bounces=False)).sum() for stop in (STOP, None))
        assert wide == pytest.approx(pinhole, rel=0.02)


class TestSmear:
    """The lens on the move while the shutter is open."""

    def test_is_speed_times_magnification_times_exposure(self, strip):
        """v m t / p (geometry, reference case 5.4): a slide at 120 mm/s, shutter open for 1/20 s. A smear of even weight
        has the standard deviation of its length / sqrt(12)."""
        shot = slide()
        smear_px = 120.0 * shot.exposure_s * FOCAL / (FAR - FOCAL) / 36 * SIZE[0]
        move = plan_move(strip.scene, shot, strip.built)
        views = views_during(strip, shot, move, move.take_s / 2, SIZE, passes=128)
        moved, at_rest = (spread(profile(hazed_frame(strip, lens, passes=128, lamp_samples=1, bounces=False))) for lens in (views, views[1024]))
        assert np.sqrt(moved**2 - at_rest**2) == pytest.approx(smear_px / np.sqrt(12), rel=0.1)

    def test_a_still_has_one_moment(self, strip):
        """Where the camera stands, one view is all, open to the stop of the shot."""
        shot = slide(move="still")
        (only,) = views_during(strip, shot, plan_move(strip.scene, shot, strip.built), 0.5, SIZE, passes=8)
        assert only.pupil_radius == FOCAL / 8 / 2

    def test_lies_within_the_take(self, strip):
        """At the first moment of a move half of the exposure is before it, where the lens waits."""
        shot = slide()
        views = views_during(strip, shot, plan_move(strip.scene, shot, strip.built), 0.0, SIZE, passes=1)
        assert [view.position[1] for view in views[:8]] == [-60.0] * 8 and views[15].position[1] > -58

    def test_one_moment_many_times_is_a_still(self, strip):
        """Views that do not differ give the bytes of one."""
        one = seen(strip.scene)
        assert hazed_frame(strip, [one] * 7, passes=2).tobytes() == hazed_frame(strip, one, passes=2).tobytes()


@pytest.fixture(scope="module")
def hazy():
    """The painted room of the comparisons."""
    return light_set(painted_room(), build_set(painted_room(), folder=None), texels=2000, rays=32)


def wide_and_moving():
    """A wide lens that slides and turns."""
    base = view_across(150, 84)
    for k in range(16):
        turn = 0.002 * (k - 7.5)
        forward = np.cos(turn) * base.forward + np.sin(turn) * base.right
        right = np.cos(turn) * base.right - np.sin(turn) * base.forward
        yield replace(base, position=base.position + [0.3 * k, 0, 0], forward=forward, right=right, pupil_radius=4.0, focus_mm=90.0)


class TestRays:
    """Which rays a tile has, and what is known of them beforehand."""

    @pytest.mark.parametrize("far", [250.0, np.inf])
    def test_hull_holds_every_ray(self, far):
        """Every ray of a tile, from its point of the pupil to its end, lies within each side of the hull."""
        rows, columns = np.arange(96, 136), np.arange(0, 96)
        row, column = (a.ravel() for a in np.meshgrid(rows, columns, indexing="ij"))
        group = pattern_group(row, column)
        through = looks(list(wide_and_moving()), 1, 7)
        origins, directions = np.empty((len(row), 3)), np.empty((len(row), 3))
        pixel_rays(through, row, column, group, row * 150 + column, 1, 3, origins, directions)
        corners = tile_hull(through, rows, columns, np.full(len(row), far))
        points = np.concatenate([origins, origins + min(far, 1e5) * directions])
        assert _outside(corners, points) < 1e-6

    def test_hull_of_a_small_pupil_is_that_of_a_pinhole(self):
        """It is no bigger than it must be: opened by next to nothing, next to nothing is added."""
        rows, columns, far = np.arange(16), np.arange(16, 48), np.full(4, 200.0)
        hulls = [tile_hull(looks([replace(view_across(64, 36), pupil_radius=r, focus_mm=90.0)], 0, 3), rows, columns, far) for r in (0.0, 1e-6)]
        lengths = [np.linalg.norm(hull[1:] - hull[0], axis=1).max() for hull in hulls]
        assert lengths[0] <= lengths[1] < 1.3 * lengths[0]

    def test_culling_loses_no_light(self, hazy, monkeypatch):
        """Panes left out of a tile had no part in it: with a hull as big as the world the picture is the same."""
        views = list(wide_and_moving())
        tight = hazed_frame(hazy, views, passes=2, lamp_samples=4)
        world = np.array(np.meshgrid(*[(-1e4, 1e4)] * 3)).reshape(3, -1).T.copy()
        monkeypatch.setattr(hazed, "tile_hull", lambda *_: world)
        assert_allclose(tight, hazed_frame(hazy, views, passes=2, lamp_samples=4), rtol=1e-5)

    def test_workers_do_not_show(self, hazy):
        """The same bytes with one worker and with three."""
        views = list(wide_and_moving())
        one, three = (hazed_frame(hazy, views, passes=2, lamp_samples=4, workers=workers) for workers in (1, 3))
        assert one.tobytes() == three.tobytes()

    def test_every_group_looks_from_all_over_the_pupil(self):
        """Over the passes of a good picture each group's points are spread: their mean is near the pupil's middle."""
        views = [replace(view_across(), pupil_radius=1.0, focus_mm=100.0)]
        origin = np.array([looks(views, number, 5).origin for number in range(32)]) - views[0].position
        assert (np.linalg.norm(origin, axis=2) <= 1 + 1e-9).all()
        assert np.linalg.norm(origin.mean(axis=0), axis=1).max() < 0.12
        assert_allclose(np.square(origin).sum(axis=2).mean(axis=0), np.full(GROUPS, 0.5), atol=0.12)

    def test_mean_of_a_room_is_kept(self):
        """Wide open or pinhole, the room is as bright in the mean."""
        lit = light_set(plain_room(), build_set(plain_room(), folder=None), texels=2000, rays=32)
        base = view_across(96, 54)
        wide, pinhole = (luminance(hazed_frame(lit, replace(base, pupil_radius=radius, focus_mm=150.0), passes=8)).mean() for radius in (1.5, 0.0))
        assert wide == pytest.approx(pinhole, rel=0.01)


def _outside(corners, points):
    """How far any of `points` lies outside the five sides of a pyramid, apex first, as a share of its depth."""
    middle, worst = corners.mean(axis=0), 0.0
    for a, b, c in ((0, 1, 2), (0, 3, 4), (0, 1, 3), (0, 2, 4), (1, 2, 3)):
        normal = np.cross(corners[b] - corners[a], corners[c] - corners[a])
        normal /= np.linalg.norm(normal)
        if normal @ (corners[a] - middle) < 0:
            normal = -normal
        worst = max(worst, ((points - corners[a]) @ normal).max())
    return worst / np.linalg.norm(corners[4] - corners[0])
