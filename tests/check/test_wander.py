"""Patches that a lift moves off their target: how far by similar triangles, how much is left by exact outlines; remedies tried again."""

import dataclasses
import json
import re
from pathlib import Path

import numpy as np
import pytest

from previz.build.assemble import build_set
from previz.check.finding import RULES
from previz.check.report import report, report_json
from previz.check.seen import Looker
from previz.check.wander import LEAST_KEPT, Follower, wanders
from previz.rays.panes import panels
from previz.rays.patches import Patch, landed
from previz.rays.shadows import Surface
from previz.rays.tracer import Tracer
from previz.rig.clearance import clearance
from previz.rig.moves import plan_move
from previz.scene.model import Scene

# The middle of the window, seen from the middle of the lamp, is over the middle of the plate.
WINDOW = {"at": [90, 95], "size": [20, 20], "bars": None}
PLATE = {"name": "plate", "kind": "box", "size": [40, 60, 1], "at": [174, 100, 0]}
STILL = {"move": "still", "to": None, "subject": "plate", "focus": 150, "from": [174, -60, 60], "look": {"pan": 90, "tilt": -20}, "lift": [0, -100]}
SET = {"carries": "set", "range": [-200, 200], "speed": 500, "accel": 5000}


@pytest.fixture(scope="module")
def followed(altered_room):
    """A function that returns the plain room with a plate in a small window's light, on a lift, changed: what follows its light, and its figures; lamps all of one strength."""

    def of(shot=STILL, lift=SET, opening=WINDOW, prop=(PLATE,), **tables):
        scene = Scene(**altered_room(slider=None, shot=STILL | shot, lift=lift, opening=opening, prop=list(prop), **tables))
        built = build_set(scene, Path("."))
        follower = Follower(built, Tracer(built.vertices, built.triangles), scene)
        return follower, wanders(built, follower.tracer, scene, scene.shot[0], plan_move(scene, scene.shot[0], built), patches_at(follower, scene.shot[0].lift_ends[0]))

    return of


def patches_at(follower, lift_mm):
    """Return the crisp patches of all lamps with the lift at a height, each of one lux."""
    lamps = [follower.lamp(lamp.name, lift_mm) for lamp in follower.scene.lamp]
    surface = Surface.of(follower.built)
    return [Patch(lux=1.0, **one.fields) for lamp in lamps for panel in panels(follower.built.apertures) for one in landed(surface, panel, lamp)]


def exact_share(follower, on, start_mm, lift_mm):
    """Return the share of the light in the set that is on a thing at a height, over that at the start: exact outlines seen from the lamp, another way than rays."""
    shares = []
    for height in (start_mm, lift_mm):
        light = {}
        for patch in patches_at(follower, height):
            way = follower.lamp("key", height).centre - patch.centre_mm
            up = np.cross(patch.outline_mm[1] - patch.outline_mm[0], patch.outline_mm[2] - patch.outline_mm[1])
            light[patch.on] = light.get(patch.on, 0) + patch.area_mm2 * abs(way @ up) / np.linalg.norm(up) / np.linalg.norm(way) ** 3
        shares.append(sum(light[name] for name in light if name.startswith(on)) / sum(light.values()))
    return shares[1] / shares[0]


class TestFigure:
    """How far, and how much is left."""

    @pytest.mark.parametrize("end", [-100, -40, 50])
    def test_moved_by_similar_triangles(self, followed, end):
        """The lamp's height over the plate falls as the set rises: d h / (H - h) beyond the wall, from the window's middle."""
        _, (found,) = followed(shot={"lift": [0, end]})
        window, lamp = np.array([302.5, 104.0]), np.array([900.0, 599.0])
        reach = [(lamp[0] - window[0]) * window[1] / (lamp[1] - height - window[1]) for height in (0, end)]
        assert found.moved_mm == pytest.approx(abs(reach[1] - reach[0]), rel=0.02)

    def test_left_by_exact_outlines(self, followed):
        """The share that is left, by patches at eleven heights."""
        follower, (found,) = followed()
        shares = [exact_share(follower, "plate", 0, height) for height in np.linspace(0, -100, 11)]
        assert found.kept_share == pytest.approx(min(shares), abs=0.03) and (found.lamp, found.opening, found.on) == ("key", "window", "plate")

    def test_off_when_less_than_half_is_left(self, followed):
        """The moment is that at which exact outlines have half of it."""
        follower, (found,) = followed()
        scene = follower.scene
        heights = plan_move(scene, scene.shot[0], follower.built).lift_mm([found.off_from_take_s - 0.06, found.off_from_take_s + 0.03])
        before, after = (exact_share(follower, "plate", 0, height) for height in heights)
        assert before > LEAST_KEPT > after

    def test_stays_on(self, followed):
        """A small way of the lift, or a long plate, and it stays on."""
        for found in (followed(shot={"lift": [0, -10]})[1], followed(prop=[PLATE | {"size": [140, 60, 1]}])[1]):
            assert found[0].off_from_take_s is None and found[0].kept_share > 0.9

    @pytest.mark.parametrize("tables", [{"shot": {"lift": -50}}, {"lift": SET | {"carries": "camera"}}, {"lamp": {"rides": "lift"}}, {"opening": WINDOW | {"at": [20, 150]}, "lamp": {"at": [900, 100, 20]}, "shot": {"look": {"pan": 90}}}])
    def test_none(self, followed, tables):
        """A lift that stands still, one under the camera, a lamp that goes along: no light moves. A lamp that throws nothing in has nothing to lose."""
        assert [one.on for one in followed(**tables)[1]] in ([], ["room.ceiling"], ["room.west"])

    def test_lamp_that_rides_with_the_camera(self, followed):
        """A lamp on the camera's lift rises past the set: the light goes the way it goes when the set sinks."""
        (sinks,), (rises,) = (followed(lift=SET | {"carries": carries}, lamp={"rides": rides}, shot={"lift": lift})[1] for carries, rides, lift in (("set", "floor", [0, -60]), ("camera", "lift", [0, 60])))
        assert rises.moved_mm == pytest.approx(sinks.moved_mm) and rises.kept_share == pytest.approx(sinks.kept_share)

    def test_subject_in_the_dark(self, followed):
        """A subject that is not lit is no target: what gets most of the light is."""
        _, (found,) = followed(shot={"subject": "box"}, prop=[PLATE, {"name": "box", "kind": "box", "size": [20, 20, 20], "at": [40, 100, 0]}])
        assert found.on == "plate"


class TestRule:
    """What is said, and that it helps."""

    @pytest.fixture
    def told(self, followed, plain_study):
        """A function that returns the study of a shot on a lift and what the rule says of it: as lit, but for what its geometry tells."""

        def of(**tables):
            follower, found = followed(**tables)
            built, scene = follower.built, follower.scene
            move = plan_move(scene, scene.shot[0], built)
            figures = {"clearance": clearance(built, scene, move), "framing": None, "seen": Looker(built).seen(scene, move), "wanders": found}
            study = dataclasses.replace(plain_study, scene=scene, built=built, shots=(dataclasses.replace(plain_study.shots[0], shot=scene.shot[0], move=move, **figures),))
            return follower, list(RULES["patch on its target"](study)), study

        return of

    def test_the_remedies_work(self, told, followed):
        """The lift's end that is named keeps half of the light on, by exact outlines, and four millimetres more do not; a lamp that rides keeps it all."""
        start = 10
        follower, (finding,), _ = told(shot={"lift": [start, start - 100]})
        assert finding.level == "care" and finding.says.startswith("What key throws through window on plate moves ")
        end = float(re.search(r"\(lift = \[-?\d+, (-?\d+)\]\)", finding.remedy)[1])
        assert start - 100 < end < start and exact_share(follower, "plate", start, end) >= LEAST_KEPT - 0.02 > exact_share(follower, "plate", start, end - 4)
        assert followed(shot={"lift": [start, end]})[1][0].off_from_take_s is None
        assert '(rides = "lift")' in finding.remedy and followed(shot={"lift": [start, start - 100]}, lamp={"rides": "lift"})[1] == ()

    def test_on_the_floor(self, told, followed):
        """A lamp that goes with the camera's lift is told to stand on the floor."""
        tables = {"lift": SET | {"carries": "camera"}, "shot": {"lift": [0, 100]}}
        _, (finding,), _ = told(lamp={"rides": "lift"}, **tables)
        assert '(rides = "floor")' in finding.remedy and followed(lamp={"rides": "floor"}, **tables)[1] == ()

    def test_silent_where_it_stays(self, told):
        """Nothing to say of a patch that stays on."""
        assert told(shot={"lift": [0, -10]})[1] == []

    def test_in_the_report(self, told):
        """Figures and finding stand in the report's JSON, and the line that says how far light moves does not say it twice."""
        study = told(shot={"move": "lift"})[2]
        told_so = json.loads(report_json(report(study)))
        (target,) = told_so["shots"][0]["lift"]["targets"]
        assert (target["lamp"], target["opening"], target["on"]) == ("key", "window", "plate") and target["kept_share"] < 0.5
        assert [finding["level"] for finding in told_so["findings"] if "moves 21 mm" in finding["says"]] == ["care"]
        assert not any("wanders" in finding["says"] for finding in told_so["findings"])
