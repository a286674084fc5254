"""The rig's limits: what cannot be done is said, and the nearest that can be done is tried."""

import re

import numpy as np
import pytest

from previz.check import report, rigging  # noqa: F401
from previz.check.finding import RULES

RISE = {"move": "lift", "from": [150, -30, 60], "to": None, "lift": [0, 20]}
ARC = {"move": "arc", "from": 100.0, "to": 200.0, "look": "table", "clip": 40}
HELD = {"move": "hand", "look": "table", "fps": 120, "playback": 24}


@pytest.fixture
def dark(study_of):
    """The function that studies the plain room without light, for rules that ask for none."""
    return lambda **tables: study_of(lamp=[], haze={"extinction": 0}, **tables)


def said_by(name, study):
    """Return what one rule says."""
    return list(RULES[name](study))


def numbers(text):
    """Return every number in a sentence."""
    return [float(found) for found in re.findall(r"-?\d+(?:\.\d+)?", text)]


class TestSlider:
    """Too fast for the motor."""

    @pytest.mark.parametrize(
        "shot, remedy, nearer",
        [
            ({}, "start 30 mm farther along", {"from": [150, -30, 60]}),
            ({"from": 120.0, "to": 180.0}, "start at 150 mm along the rail", {"from": 150.0, "to": 180.0}),
        ],
    )
    def test_a_start_that_fits(self, dark, shot, remedy, nearer):
        """60 mm in 1 s at 40 mm/s: half of it can be done, and does pass."""
        slider = {"max_speed": 40}
        (finding,) = said_by("rig", dark(slider=slider, shot=shot))
        assert finding.remedy == f"Make the clip 10 s, which is a take of 2 s, or {remedy}."
        assert [finding.level for finding in said_by("rig", dark(slider=slider, shot=nearer))] == ["ok"]

    def test_pan_acceleration(self, dark):
        """A pan that cannot speed up fast enough, and a clip in which it can."""
        slider = {"pan_accel": 5}
        study = dark(slider=slider, shot=ARC | {"clip": 10})
        (finding,) = said_by("rig", study)
        assert re.fullmatch(r"The slider cannot keep up: [\d.]+ degrees/s2 of pan where it does 5\.", finding.says)
        assert [f.level for f in said_by("rig", dark(slider=slider, shot=ARC | {"clip": rigging.clip_that_fits(study, study.shots[0])}))] == ["ok"]

    def test_off_the_rail_the_nearest_on_it(self, dark):
        """The move as the rail can do it, in millimetres along it, is on the rail."""
        (finding,) = said_by("rail", dark(slider={"to": [170, -300, 60]}))
        first, last = numbers(finding.remedy.split("nearest")[1])[:2]
        assert (first, last) == (120, 170)
        assert said_by("rail", dark(slider={"to": [170, -300, 60]}, shot={"from": first, "to": last})) == []


class TestPanAndTilt:
    """Their ends."""

    def test_the_part_of_an_arc_that_can_be_done(self, dark):
        """Past the end of the pan; the part named stays inside."""
        slider = {"pan_range": [60, 92]}
        (finding,) = said_by("pan and tilt", dark(slider=slider, shot=ARC))
        assert finding.level == "stop" and "degrees past its end" in finding.says
        first, last = numbers(finding.remedy)[:2]
        assert 100 <= first < last <= 200
        assert said_by("pan and tilt", dark(slider=slider, shot=ARC | {"from": first, "to": last})) == []

    def test_a_heading_out_of_reach(self, dark):
        """A slide at 90 degrees with a pan that ends at 80: the mount is to be turned by 10."""
        (finding,) = said_by("pan and tilt", dark(slider={"pan_range": [-80, 80]}))
        assert finding.remedy == "Turn the head on its mount by 10 degrees, or look that much farther back."
        assert said_by("pan and tilt", dark(slider={"pan_range": [-70, 90]})) == []


class TestLift:
    """Its limits, and the light that goes with it."""

    def test_too_fast_and_both_remedies_work(self, dark):
        """20 mm in 1 s peaks at 26.7 mm/s."""
        lift = {"carries": "set", "speed": 10, "accel": 1000}
        study = dark(lift=lift, shot=RISE)
        (finding, *_) = said_by("lift", study)
        assert finding.says == "The lift cannot keep up: 26.7 mm/s where it does 10."
        assert finding.remedy == "Make the clip 13.4 s, which is a take of 2.68 s, or let the lift start at 13 mm."
        for change in ({"clip": 13.4}, {"lift": [13, 20]}):
            assert {f.level for f in said_by("lift", dark(lift=lift, shot=RISE | change))} == {"ok"}

    def test_the_light_wanders_as_far_as_the_geometry_says(self, clear):
        """A set that rises 20 mm under a lamp that stays: patches land where a lamp 20 mm lower throws them."""
        study = clear(lift={"carries": "set", "speed": 100, "accel": 1000}, shot=RISE)
        _, light = said_by("lift", study)
        assert re.fullmatch(r"The light moves as the lift does: what key throws through window on .+ wanders [\d.]+ mm\.", light.says)
        first, middle, last = study.shots[0].light
        assert [then.lift_mm for then in (first, middle, last)] == [0, 10, 20]
        lowered = clear(lamp={"at": [900, 100, 580], "toward": [297.5, 100, 105]})
        floor = lambda patches: {tuple(p.pane): p.centre_mm for p in patches if p.on.endswith("floor")}  # noqa: E731
        expected, found = floor(lowered.patches), floor(last.patches)
        assert set(expected) == set(found) and found
        for pane, centre in expected.items():
            np.testing.assert_allclose(found[pane], centre, atol=0.01)

    def test_all_aboard_nothing_changes(self, clear):
        """Lamp and slider ride with the set: the light stays where it is."""
        study = clear(lift={"carries": "set", "speed": 100, "accel": 1000}, shot=RISE | {"from": 150.0}, lamp={"rides": "lift"}, slider={"rides": "lift"})
        assert study.shots[0].light == () and len(said_by("lift", study)) == 1

    def test_standing_higher_is_reported_too(self, clear):
        """A shot with the set 20 mm up, standing still, has light of its own."""
        study = clear(lift={"carries": "set"}, shot={"lift": 20.0})
        (then,) = study.shots[0].light
        assert then.lift_mm == 20 and then.patches
        assert report.report(study)["shots"][0]["lift"]["light"][0]["lift_mm"] == 20

    def test_pinch_points(self, dark):
        """Said where a lift moves, with the lens where it is inside the set, and not where none does."""
        (inside,) = said_by("pinch points of a lift", dark(lift={"carries": "set"}, shot=RISE | {"from": [150, 20, 60]}))
        assert "the lens inside the set" in inside.says
        assert [] == said_by("pinch points of a lift", dark(lift={"carries": "set"}, shot={"lift": 20.0}))


class TestHand:
    """Hands shake, and slow motion calms."""

    def test_slow_motion_calms(self, dark):
        """What wanders in a fifth of the time, by the closed form; a steady hand does not."""
        study = dark(shot=HELD, hand={"shake_mm": 0, "shake_deg": 0.5})
        held = study.shots[0].held
        assert 3 < held.px_frame_unslowed / held.px_frame < 5
        assert any("slowing it 5 times calms it" in finding.says for finding in said_by("hand", study))
        assert dark(shot=HELD, hand={"shake_mm": 0, "shake_deg": 0}).shots[0].held.px_frame == 0

    def test_room_for_another_take(self, dark):
        """Three standard deviations at the far end, the certified path's own clearance, and a remedy that is enough."""
        study = dark(shot=HELD | {"from": [150, -30, 40], "to": [150, 66, 44]}, hand={"shake_mm": 3, "shake_deg": 1})
        near = [finding for finding in said_by("hand", study) if "nearer than its path" in finding.says]
        held = study.shots[0].held
        assert len(near) == 1 and held.sway_mm > 3
        assert numbers(near[0].remedy)[0] >= np.floor(3 * held.sway_mm + 5 - held.steady.min_mm)
