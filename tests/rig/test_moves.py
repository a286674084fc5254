"""Shots as moves."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.camera.depth import hyperfocal
from previz.camera.view import axes
from previz.rig.moves import plan_move
from previz.scene.model import Slider

RAIL = {"slider": {"from": [0, -300, -100], "to": [0, 300, -100], "reach": 200, "rise": 100}}
TAKE = np.linspace(0, 3, 31)


@pytest.fixture
def plan(set_of, box, scene_of):
    """Plan a shot in a set with one prop, "clock", centred on (400, 0, 50)."""
    built = set_of(clock=box([390, -10, 40], [410, 10, 60]))

    def plan(shot, **tables):
        scene = scene_of(shot, **tables)
        return plan_move(scene, scene.shot[0], built)

    return plan


def forward(poses):
    return axes(poses.pan, poses.tilt)[:, 0]


class TestStill:
    """The lens stays where it is."""

    def test_stays_and_looks(self, plan):
        """Same pose throughout, looking at the point."""
        move = plan({"from": [10, 20, 30], "look": [10, 120, 130]})
        poses = move.poses(TAKE)
        assert_allclose(poses.position, [[10, 20, 30]] * 31)
        assert_allclose(np.degrees([poses.pan[0], poses.tilt[0]]), [90, 45])
        assert move.take_s == pytest.approx(3)
        speeds = move.speeds()
        assert (speeds.peak_speed_mm_s, speeds.peak_accel_mm_s2, speeds.peak_pan_deg_s, speeds.travel_mm) == (0, 0, 0, 0)


class TestSlide:
    """The carriage travels, the heading stays."""

    def test_heading_is_the_one_at_the_start(self, plan):
        """Aimed at the prop from the start mark, then locked."""
        move = plan({"move": "slide", "from": [0, -100, 50], "to": [0, 100, 50], "look": "clock"})
        poses = move.poses(TAKE)
        assert_allclose(poses.position[[0, 15, 30]], [[0, -100, 50], [0, 0, 50], [0, 100, 50]])
        assert_allclose(poses.pan, np.arctan2(100, 400))
        assert_allclose(poses.tilt, 0)

    def test_rail_positions_are_millimetres_from_its_first_end(self, plan):
        """The pupil stands rise above and reach ahead of the carriage, along the pan."""
        move = plan({"move": "slide", "from": 100, "to": 500, "look": {"pan": 30, "tilt": 10}}, **RAIL)
        ahead = 200 * np.array([np.cos(np.pi / 6), 0.5, 0])
        assert_allclose(move.carriage([0, 3]), [[0, -200, -100], [0, 200, -100]])
        assert_allclose(move.poses([0, 3]).position, ahead + [[0, -200, 0], [0, 200, 0]])

    def test_points_are_the_pupils(self, plan):
        """The carriage stands where it must for the pupil to be there."""
        move = plan({"move": "slide", "from": [200, -50, 0], "to": [200, 50, 0], "look": {"pan": 0}}, **RAIL)
        assert_allclose(move.poses([0, 3]).position, [[200, -50, 0], [200, 50, 0]])
        assert_allclose(move.carriage([0, 3]), [[0, -50, -100], [0, 50, -100]], atol=1e-12)
        assert move.off_rail_mm(plan_slider()) == pytest.approx(0, abs=1e-9)

    def test_how_far_off_the_rail(self, plan):
        """Pupil positions 20 mm too high and running past the rail's end by 40 mm."""
        move = plan({"move": "slide", "from": [200, 0, 20], "to": [200, 340, 20], "look": {"pan": 0}}, **RAIL)
        assert move.off_rail_mm(plan_slider()) == pytest.approx(np.hypot(20, 40))

    def test_speeds(self, plan):
        """Travel / (take (1 - ease)); each ramp of 0.75 s peaks at 1.875 times its mean acceleration."""
        speeds = plan({"move": "slide", "from": 0, "to": 450, "look": {"pan": 0}}, **RAIL).speeds()
        assert speeds.travel_mm == pytest.approx(450)
        assert speeds.peak_speed_mm_s == pytest.approx(450 / (3 * 0.75))
        assert speeds.peak_accel_mm_s2 == pytest.approx(1.875 * 200 / 0.75)
        assert speeds.peak_pan_deg_s == 0

    def test_without_ease_acceleration_has_no_limit(self, plan):
        """The motor cannot follow, and the figure says so."""
        assert plan({"move": "slide", "from": [0, 0, 0], "to": [0, 9, 0], "ease": 0}).speeds().peak_accel_mm_s2 == np.inf


class TestArc:
    """The carriage travels and the pan holds the target."""

    @pytest.mark.parametrize("tables", [{}, RAIL])
    def test_the_optical_axis_goes_through_the_target(self, plan, tables):
        """At every moment, whatever the reach."""
        start, end = (100, 500) if tables else ([0, -200, 0], [0, 200, 30])
        move = plan({"move": "arc", "from": start, "to": end, "look": "clock"}, **tables)
        poses = move.poses(TAKE)
        away = np.array([400, 0, 50]) - poses.position
        assert_allclose(np.cross(forward(poses), away), 0, atol=1e-9)
        assert_allclose(np.hypot(*(poses.position - move.carriage(TAKE))[:, :2].T), 200 if tables else 0, atol=1e-9)

    def test_points_are_the_pupils_at_both_ends(self, plan):
        """With a reach the pupil swings in between, on a rail that is still straight."""
        move = plan({"move": "arc", "from": [150, -120, 0], "to": [160, 120, 0], "look": "clock"}, **RAIL)
        assert_allclose(move.poses([0, 3]).position, [[150, -120, 0], [160, 120, 0]], atol=1e-9)

    def test_pan_speed(self, plan):
        """Fastest where the line to the target is square to the rail: speed / distance."""
        speeds = plan({"move": "arc", "from": [0, -150, 50], "to": [0, 150, 50], "look": "clock"}).speeds()
        assert speeds.peak_pan_deg_s == pytest.approx(np.degrees(speeds.peak_speed_mm_s / 400), rel=1e-3)


class TestPath:
    """A smooth curve through points, the heading held on the target."""

    SHOT = {"move": "path", "from": [0, -100, 0], "via": [[60, -40, 4], [80, 10, -3]], "to": [0, 100, 0], "look": "clock"}

    def test_starts_and_ends_where_it_says(self, plan):
        """And looks at the prop all the way."""
        poses = plan(self.SHOT, **RAIL).poses(TAKE)
        assert_allclose(poses.position[[0, -1]], [[0, -100, 0], [0, 100, 0]], atol=1e-9)
        assert_allclose(np.cross(forward(poses), np.array([400, 0, 50]) - poses.position), 0, atol=1e-9)

    def test_speed_along_it_is_the_s_curves(self, plan):
        """Differenced positions move at the closed form's speed; the bend adds to the acceleration."""
        move = plan(self.SHOT)
        t = np.linspace(0, 3, 3001)
        position = move.poses(t).position
        velocity = np.gradient(position, t, axis=0)
        speeds = move.speeds()
        assert np.linalg.norm(velocity, axis=1).max() == pytest.approx(speeds.peak_speed_mm_s, rel=2e-3)
        accel = np.linalg.norm(np.gradient(velocity, t, axis=0), axis=1)[5:-5].max()
        assert accel == pytest.approx(speeds.peak_accel_mm_s2, rel=0.02)


class TestLift:
    """Seen from the set, the lens moves with a lift of its own and against a set that rises."""

    @pytest.mark.parametrize("carries, rides, rises", [("camera", None, 1), ("set", None, -1), ("set", "lift", 0)])
    def test_straight_up_or_down_with_the_heading_as_at_the_start(self, plan, carries, rides, rises):
        """From 10 to 40 mm, on the S-curve; the carriage stays where it is on its rail."""
        slider = {**RAIL["slider"], "rides": rides}
        move = plan({"move": "lift", "from": 300, "look": "clock", "lift": [10, 40]}, slider=slider, lift={"carries": carries})
        poses = move.poses([0, 1.5, 3])
        assert_allclose(poses.position, np.add([200, 0, 0], np.multiply.outer([10, 25, 40], [0, 0, rises])), atol=1e-9)
        assert_allclose(poses.tilt, np.arctan2(50 - 10 * rises, 200))
        assert_allclose(move.carriage([0, 3]), [[0, 0, -100], [0, 0, -100]])
        assert_allclose(move.lift_mm([0, 1.5, 3]), [10, 25, 40])
        assert move.speeds().travel_mm == 0 and move.changes and bool(move.length) == bool(rises)

    def test_a_slide_on_a_rising_lift(self, plan):
        """Both on one curve: straight, and the carriage's speed is the rail's alone."""
        move = plan({"move": "slide", "from": 100, "to": 500, "look": {"pan": 0}, "lift": [0, 60]}, **RAIL, lift={"carries": "camera"})
        assert_allclose(move.poses([0, 1.5, 3]).position, [[200, -200, 0], [200, 0, 30], [200, 200, 60]], atol=1e-9)
        speeds = move.speeds()
        assert (speeds.travel_mm, speeds.peak_speed_mm_s) == (pytest.approx(400), pytest.approx(400 / (3 * 0.75)))

    def test_an_arc_on_a_rising_lift_holds_its_target(self, plan):
        """The optical axis goes through it all the way."""
        poses = plan({"move": "arc", "from": 100, "to": 500, "look": "clock", "lift": [0, 60]}, **RAIL, lift={"carries": "set"}).poses(TAKE)
        assert_allclose(np.cross(forward(poses), np.array([400, 0, 50]) - poses.position), 0, atol=1e-9)

    def test_a_path_past_a_rising_set(self, plan):
        """As the path without the lift, lower by what the set has risen; its slope's bound holds."""
        shot = {"move": "path", "from": [0, -100, 0], "via": [[60, -40, 4]], "to": [0, 100, 0], "look": {"pan": 0}}
        risen = plan({**shot, "lift": [5, 45]}, lift={"carries": "set"})
        assert_allclose(risen.poses(TAKE).position, plan(shot).poses(TAKE).position - np.multiply.outer(risen.lift_mm(TAKE), [0, 0, 1]), atol=1e-9)
        travel = np.linspace(0, risen.length, 5001)
        slope = np.linalg.norm(np.diff(risen.axis(travel), axis=0), axis=1).max() / travel[1]
        assert slope <= risen.bounds(0.0, risen.length)[0] * (1 + 1e-9)
        assert_allclose(risen.speeds().peak_speed_mm_s, plan(shot).speeds().peak_speed_mm_s)


class TestHand:
    """A path, shaken."""

    SHOT = {"move": "hand", "from": [0, -100, 0], "to": [0, 100, 0], "look": "clock"}

    def test_it_shakes_about_its_path(self, plan):
        """By what the hand says, and not at all where the hand is steady."""
        move = plan({**self.SHOT, "clip": 300}, hand={"shake_mm": 2, "shake_deg": 0.5})
        t = np.linspace(0, move.take_s, 6000)
        off = move.poses(t).position - move.steady.poses(t).position
        assert_allclose(off.std(axis=0), 2, rtol=0.1)
        assert_allclose(np.degrees(move.poses(t).pan - move.steady.poses(t).pan).std(), 0.5, rtol=0.1)
        calm = plan(self.SHOT, hand={"shake_mm": 0, "shake_deg": 0})
        assert_allclose(calm.poses(TAKE).position, plan({**self.SHOT, "move": "path"}).poses(TAKE).position, atol=1e-9)

    def test_held_in_one_place_it_still_moves(self, plan):
        """No second point, and still no picture like another."""
        move = plan({"move": "hand", "from": [0, 0, 0], "look": "clock"})
        assert move.length == 3000 and move.changes
        assert move.moment(float(move.travel(1.25)[0])) == pytest.approx(1.25)
        assert np.ptp(move.poses(TAKE).position, axis=0).min() > 0.1


class TestFocus:
    """Where the lens is focused."""

    @pytest.mark.parametrize(
        "keys, expected",
        [
            ({"look": "clock"}, [400, 300]),
            ({"look": [200, 0, 50]}, [200, 100]),
            ({"look": {"pan": 0}, "subject": "clock"}, [400, 300]),
            ({"look": "clock", "focus": [250, 40, 0]}, [250, 150]),
            ({"look": "clock", "focus": 123.0}, [123, 123]),
            ({"look": "clock", "focus": [-50, 0, 0]}, [0.1, 0.1]),
        ],
    )
    def test_to_the_plane_through_the_point(self, plan, keys, expected):
        """Along the optical axis: subject before target, a point off the axis by its plane, one behind at nearly nothing."""
        move = plan({"move": "slide", "from": [0, 0, 50], "to": [100, 0, 50]} | keys)
        assert_allclose(move.focus_mm([0, 3]), expected)

    def test_with_nothing_to_focus_on_it_is_hyperfocal(self, plan):
        """A direction alone: as much sharp as there can be."""
        move = plan({"from": [0, 0, 0], "look": {"pan": 0}}, lens={"stop": 16}, body={"coc": 0.03})
        assert_allclose(move.focus_mm([0]), hyperfocal(20, 16, 0.03))


class TestFaults:
    """What the file's own checks should have caught."""

    def test_unknown_prop(self, plan):
        """Named in the message."""
        with pytest.raises(ValueError, match="there is no prop named 'ghost'"):
            plan({"look": "ghost"})

    def test_rail_position_without_a_slider(self, plan):
        """There is no rail to measure along."""
        with pytest.raises(ValueError, match="a place on the rail needs a slider"):
            plan({"from": 10.0})


def plan_slider():
    return Slider.model_validate(RAIL["slider"])
