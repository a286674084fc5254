"""Rules of pace and flicker: what they say, and that what they advise is enough when they look again."""

import math
import re
from pathlib import Path

import pytest

from previz.build.assemble import build_set
from previz.check.flicker import SEEN_STOPS, flicker, flicker_findings, ripple_stops
from previz.check.pace import WIDTH_S, frame_rate_findings, motion_findings, pace
from previz.rig.moves import plan_move
from previz.scene.model import Scene, Seconds

ROOM = {
    "scale": 24,
    "room": [{"name": "hall", "plan": [[0, 0], [400, 0], [400, 400], [0, 400]], "height": 300}],
    "haze": {"extinction": 0.8},
    "slider": {"from": [0, 100, 70], "to": [400, 100, 70]},
    "shot": [{"name": "glide", "move": "slide", "from": 50, "to": 350, "look": {"pan": 90}, "focus": 80, "clip": 2, "ease": 0}],
}
LAMP = {"name": "key", "kind": "point", "at": [200, 300, 200], "toward": [200, 0, 0], "candela": 5}


def planned(shot=None, **tables):
    """Return (scene, built set, shot, move) of the room with its shot changed."""
    scene = Scene.model_validate(ROOM | tables | {"shot": [ROOM["shot"][0] | (shot or {})]})
    built = build_set(scene, Path("."))
    return scene, built, scene.shot[0], plan_move(scene, scene.shot[0], built)


class TestFigures:
    """The scale's own world, by hand."""

    def test_full_size(self):
        """300 mm in 0.4 s is 750 mm/s; slowed five times at 1:24 that is 3.6 m/s, 12.96 km/h, at 1.68 m."""
        scene, _, shot, move = planned()
        found = pace(scene, shot, move)
        assert found.lens_mm_s == pytest.approx(750) and found.clip_mm_s == pytest.approx(150)
        assert found.full_size_km_h == pytest.approx(12.96) and found.eye_m == pytest.approx((1.68, 1.68))

    def test_a_still_camera(self):
        """Nothing moves, and nothing is said of it."""
        scene, built, shot, move = planned({"move": "still", "to": None})
        found = pace(scene, shot, move)
        assert (found.lens_mm_s, found.step_px, found.crosses_in_s) == (0, 0, None)
        assert list(motion_findings(scene, built, shot, move)) == []


class TestFrameRate:
    """Miniature frame rate."""

    def test_too_slow_and_remedied(self):
        """60 frames at 1:24 want 118; with that nothing is left to say."""
        scene, _, shot, _ = planned({"fps": 60})
        (finding,) = frame_rate_findings(scene, shot)
        assert finding.level == "care" and "2 times too fast" in finding.says
        fps = int(re.search(r"fps = (\d+)", finding.remedy)[1])
        assert fps == 118
        assert [f.level for f in frame_rate_findings(scene, shot.model_copy(update={"fps": float(fps)}))] == ["ok"]

    def test_clear_air_may_run_at_any_rate(self):
        """Nothing drifts."""
        scene, _, shot, _ = planned({"fps": 24}, haze={"extinction": 0})
        assert list(frame_rate_findings(scene, shot)) == []


class TestMotion:
    """Seven seconds across the picture."""

    def test_too_fast_and_remedied(self):
        """The clip that is named is enough, and a tenth less is not."""
        scene, built, shot, move = planned()
        finding = next(f for f in motion_findings(scene, built, shot, move) if f.level == "care")
        clip = float(re.search(r"Make the clip ([\d.]+) s", finding.remedy)[1])
        for length, levels in ((clip, ["ok"]), (clip - 0.1, ["care", "ok"])):
            slower = shot.model_copy(update={"clip": length})
            assert [f.level for f in motion_findings(scene, built, slower, plan_move(scene, slower, built))] == levels

    def test_what_is_held_does_not_move(self):
        """An arc keeps its target where it is, however fast it goes."""
        scene, _, shot, move = planned({"move": "arc", "look": [200, 250, 70], "focus": [200, 250, 70]})
        found = pace(scene, shot, move)
        assert found.crosses_in_s is None or found.crosses_in_s > 10 * WIDTH_S


def lit(shot=None, **keys):
    """Return (lamps, shot) with a lamp of these keys."""
    scene, _, shot, _ = planned(shot, lamp=[LAMP | keys])
    return scene.lamp, shot


class TestFlicker:
    """Lamps against the shutter."""

    def test_steady_light_is_not_spoken_of(self):
        """Most lamps."""
        assert flicker(*lit()) is None and list(flicker_findings(*lit())) == []

    def test_frame_rate_that_divides_the_pulses(self):
        """60 frames on 60 Hz: 120 pulses, two a frame, whatever the shutter."""
        assert [f.level for f in flicker_findings(*lit({"fps": 60, "shutter": 37}, mains=60))] == ["ok"]

    @pytest.mark.parametrize("fps, keys", [(24, {"mains": 50}), (48, {"mains": 60}), (120, {"pulse": 1000}), (30, {"mains": 50, "ripple": 0.5})])
    def test_the_shutter_that_is_named_is_enough(self, fps, keys):
        """Set in the shot, the rule is content."""
        lamps, shot = lit({"fps": fps, "shutter": 100}, **keys)
        (finding,) = flicker_findings(lamps, shot)
        seconds = float(re.search(r"seconds = ([\d.e-]+)", finding.remedy)[1])
        assert finding.level in ("care", "stop") and seconds <= 1 / fps * (1 + 1e-6)
        assert [f.level for f in flicker_findings(lamps, shot.model_copy(update={"shutter": Seconds(seconds=seconds)}))] == ["ok"]

    def test_the_frame_rate_that_is_named_is_enough(self):
        """At 120 frames no whole pulse of 50 Hz mains fits into a frame: another frame rate, with any shutter."""
        lamps, shot = lit({"fps": 120}, mains=50)
        (finding,) = flicker_findings(lamps, shot)
        assert finding.level == "stop"
        fps = float(re.search(r"fps = ([\d.]+)", finding.remedy)[1])
        assert fps == 100
        assert [f.level for f in flicker_findings(lamps, shot.model_copy(update={"fps": fps}))] == ["ok"]

    def test_flashes_that_frames_can_miss(self):
        """An exposure shorter than the gap between flashes."""
        lamps, shot = lit({"fps": 130, "shutter": 90}, pulse=200)
        assert math.isinf(ripple_stops(lamps[0], shot.fps, shot.exposure_s))
        assert "some frames miss its light altogether" in next(iter(flicker_findings(lamps, shot))).says

    def test_a_thick_filament_hardly_flickers(self):
        """A small ripple over a long exposure is not seen."""
        lamps, shot = lit({"fps": 24, "shutter": 180}, mains=50, ripple=0.1)
        assert ripple_stops(lamps[0], 24, shot.exposure_s) < SEEN_STOPS
        assert [f.level for f in flicker_findings(lamps, shot)] == ["ok"]
