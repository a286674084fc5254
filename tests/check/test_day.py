"""The shots as a day: what changes, in words, and which order moves least."""

from pathlib import Path

import pytest

from previz.build.assemble import build_set
from previz.check.day import AIM_MIN, AIR_MIN, FRONT_MIN, LEVEL_MIN, LIFT_MIN, RAIL_MIN, SETTING_MIN, STAND_MIN, STAND_MIN_A_METRE, changes_between, day_of
from previz.check.finding import RULES
from previz.check.report import report
from previz.check.text import report_text
from previz.rig.moves import plan_move
from previz.scene.model import Scene

BASE = {"move": "still", "from": [150, -30, 60], "look": {"pan": 90, "tilt": -10}, "subject": "table", "focus": "table"}
GLOW = {"name": "glow", "kind": "point", "at": [60, 60, 40], "toward": [100, 100, 0], "candela": 2}


KEY = {"name": "key", "kind": "disc", "diameter": 60, "at": [900, 100, 600], "toward": "window", "lux_at_1m": 20000}


ROOM = {
    "room": [{"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["south", "east", "north", "west"], "open": ["south"], "height": 180}],
    "opening": [{"name": "window", "wall": "room.east", "at": [60, 60], "size": [80, 90]}],
    "prop": [{"name": "table", "kind": "box", "size": [60, 40, 30], "at": [150, 100, 0]}],
    "lamp": [KEY, GLOW],
    "haze": {"extinction": 0.8},
    "slider": {"from": [0, -300, 60], "to": [300, -300, 60], "reach": 270},
    "lift": {"carries": "camera", "range": [-50, 50]},
}


def shots(*changes, **tables):
    """Return (scene, built set, moves) of the plain room with these shots, a second lamp and a lift in it."""
    rows = [BASE | {"name": name} | change for name, change in zip("abcdefgh", changes)]
    scene = Scene(**(ROOM | {"shot": rows} | tables))
    built = build_set(scene, Path("."))
    return scene, built, [plan_move(scene, shot, built) for shot in scene.shot]


def between(scene, built, moves):
    """Return what changes from the first shot to the second."""
    return changes_between(scene, built, *list(zip(scene.shot, moves))[:2])


class TestChanges:
    """One change at a time."""

    @pytest.mark.parametrize(
        "change, words, minutes",
        [
            ({"lamps": {"glow": False}}, "put glow out", LEVEL_MIN),
            ({"lamps": {"key": {"dim": 0.5}}}, "dim key to 50 %", LEVEL_MIN),
            ({"lamps": {"key": {"gel": 1}}}, "change the gel of key to 1 stops", FRONT_MIN),
            ({"lamps": {"key": {"candela": 900}}}, "set key to 900 candela", LEVEL_MIN),
            ({"lift": 20}, "lift up 20 mm, to 20", LIFT_MIN),
            ({"iso": 1600}, "set ISO 1,600", SETTING_MIN),
            ({"stop": 22}, "stop down to f/22", SETTING_MIN),
            ({"haze": {"extinction": 1.2}}, "spray to 1.2 per metre", 0.0),
            ({"haze": {"extinction": 0}}, "let the haze out", AIR_MIN),
            ({"from": [120, -30, 60], "to": [180, -30, 60], "move": "slide"}, "put the camera on the rail", RAIL_MIN),
        ],
    )
    def test_one(self, change, words, minutes):
        """In words, with its minutes, and nothing else."""
        found = [one for one in between(*shots({}, change)) if not one[0].startswith("move the camera")]
        assert found == [(words, minutes)]

    def test_a_stand_as_its_lamp_looks(self):
        """The key looks along -x, so its left is -y; it turns to look at the window from there."""
        (move, move_min), (turn, turn_min) = between(*shots({}, {"lamps": {"key": {"at": [900, -320, 600]}}}))
        assert move == "move key 420 mm left, as it looks"
        assert move_min == pytest.approx(STAND_MIN + STAND_MIN_A_METRE * 0.42)
        assert turn.startswith("turn key 35 degrees right and ") and turn_min == AIM_MIN

    def test_thinner_haze_is_waited_for(self):
        """From 0.8 to 0.2 is two half-lives, less the time since the spray."""
        scene, *built = shots({}, {"haze": {"extinction": 0.2}}, haze={"extinction": 0.8, "half_life": 60})
        (words, minutes), (spray, nothing) = between(scene, *built)
        assert words == "wait until the haze is down to 0.2 per metre" and spray == "spray to 0.2 per metre" and nothing == 0
        assert minutes == pytest.approx(2 - scene.shot[0].take_s / 60)


class TestDay:
    """The whole day."""

    def test_one_shot_is_no_day(self, plain_study):
        """Nothing to put in order."""
        assert plain_study.day is None and list(RULES["day"](plain_study)) == []

    def test_like_with_like(self):
        """Two places of the key, shot by turns in the file: the stand moves once, and the file in that order leaves nothing to save."""
        moved = {"lamps": {"key": {"at": [900, 500, 600]}}}
        changes = dict(zip("abcd", ({}, moved, {}, moved)))
        found = day_of(*shots(*changes.values()))
        assert {frozenset(found.order[:2]), frozenset(found.order[2:])} == {frozenset("ac"), frozenset("bd")}
        assert found.exact and found.minutes < found.minutes_as_written / 2
        again = day_of(*shots(*(changes[name] for name in found.order)))
        assert again.order == ("a", "b", "c", "d") and again.minutes == again.minutes_as_written == found.minutes

    def test_in_the_report(self, study_of):
        """As finding, as figures and as text, with each shot's own lamps and patches."""
        moved = {"lamps": {"key": {"at": [900, 150, 600]}}}
        study = study_of(shot=[BASE | {"name": "a"}, BASE | {"name": "b"} | moved, BASE | {"name": "c"}])
        figures = report(study)
        assert [(step["before"], step["after"], len(step["changes"])) for step in figures["day"]["steps"]] == [("a", "c", 0), ("c", "b", 2)]
        assert figures["day"]["steps"][1]["changes"][0].startswith("move key 50 mm right")
        assert [shot["lamps"] for shot in figures["shots"]] == [["key"]] * 3
        own = [shot["patches"] for shot in figures["shots"]]
        assert own[0] is None and own[1] and own[1] != figures["patches"]
        (finding,) = RULES["day"](study)
        assert finding.level == "care" and finding.remedy == "Shoot in this order: a, c, b."
        assert "The day, in the order that moves least" in report_text(figures)
