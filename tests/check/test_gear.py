"""Stand, rail, carriage and lift in the picture, and their shadows; remedies are tried again here."""

import re
from pathlib import Path

import numpy as np
import pytest

from previz.build.assemble import build_set
from previz.check import gear
from previz.check.finding import RULES
from previz.check.remedy import changes
from previz.rig.moves import plan_move
from previz.scene.model import Scene

STILL = {"move": "still", "to": None, "subject": None, "focus": 400}
OUT_OF_THE_WINDOW = STILL | {"from": [150, 100, 80], "look": {"pan": 0, "tilt": 0}}
STAND_BEHIND = {"shot": OUT_OF_THE_WINDOW, "opening": {"bars": None}, "lens": {"barrel": [[60, 10]]}, "body": {"box": [8, 8, 8]}}
PUSH_IN = {
    "slider": {"from": [-300, 40, -20], "to": [-20, 40, -20], "reach": 0, "rise": 80},
    "room": {"open": ["west"]},
    "shot": {"move": "slide", "from": 20, "to": 100, "look": {"pan": 0, "tilt": -6}, "subject": None, "focus": 400},
}
RAIL_IN_THE_LIGHT = {"slider": {"from": [500, -100, 275], "to": [500, 300, 275], "rise": 120, "reach": 0}, "shot": STILL | {"from": [60, 100, 60], "look": {"pan": 0, "tilt": -10}}}


@pytest.fixture(scope="module")
def around(altered_room):
    """A function that returns what shows of the gear round the plain room, changed, without lighting it."""

    def of(**tables):
        scene = Scene(**altered_room(**{"slider": None} | tables))
        built = build_set(scene, Path("."))
        return gear.Around(built).gear(scene, scene.shot[0], plan_move(scene, scene.shot[0], built))

    return of


class TestStand:
    """The stand of a lamp, through a window."""

    def test_as_much_as_similar_triangles_say(self, around):
        """The column's near face is 740 mm off and 20 wide; the window opens 20 mm below and 70 above eye height at 150 and 155 mm."""
        (stray,) = around(**STAND_BEHIND).in_frame
        half_width = 36 / (2 * 24 * (1 + 24 / (400 - 24)))
        seen = 20 / 740 * (20 / 155 + 70 / 155) / (4 * half_width * half_width * 9 / 16)
        assert (stray.kind, stray.what, stray.side) == ("stand", "the stand of key", "top")
        assert stray.share == pytest.approx(seen, rel=0.25)

    def test_a_glazing_bar_hides_it(self, around):
        """4 mm of bar at 150 mm hide 20 mm at 740."""
        assert around(**STAND_BEHIND | {"opening": {"bars": {"columns": 2, "rows": 1, "width": 4, "depth": 4}}}).in_frame == ()

    def test_the_wall_hides_it(self, around):
        """The same stand, its window walled up."""
        assert around(**STAND_BEHIND | {"opening": {"at": [5, 5], "size": [10, 10], "bars": None}}).in_frame == ()

    def test_a_column_that_may_be_anywhere(self, around):
        """A lamp that hangs out from its column does not say where that is."""
        assert around(**STAND_BEHIND, stand={"reach": 300}).in_frame == ()

    def test_its_legs(self, around):
        """A low table and a lens that looks down past its edge at the floor: the legs of the stand."""
        down = STILL | {"from": [400, 100, 40], "look": {"pan": 0, "tilt": -32}}
        narrow, wide = (around(shot=down, lamp={"at": [900, 100, 200]}, table={"height": 300}, stand={"base": base}).in_frame[0].share for base in (50, 900))
        assert wide > 1.3 * narrow


class TestRail:
    """The slider's own rail ahead of the lens."""

    def test_pushed_in_along_it(self, around):
        """A lens that looks along its rail has it at the bottom of the frame, at the start more than at the end."""
        (stray,) = around(**PUSH_IN, lamp=[]).in_frame
        assert (stray.kind, stray.side, stray.at_take_s) == ("rail", "bottom", 0.0)

    def test_nobody_measured_its_height(self, around):
        """A rail level with the pupil is one whose rise was left out."""
        assert around(**PUSH_IN | {"slider": PUSH_IN["slider"] | {"rise": 0}}, lamp=[]).in_frame == ()

    def test_a_lens_that_looks_across(self, around):
        """The plain room's rail lies behind its lens."""
        assert around(slider={"from": [0, -300, 0], "to": [300, -300, 0], "rise": 60, "reach": 270}).in_frame == ()

    def test_behind_a_wall(self, around):
        """What lies in the next room is not seen."""
        closed = {"room": {"open": []}, "shot": STILL | {"from": [150, 100, 60], "look": {"pan": -90, "tilt": -5}}}
        there = {"from": [0, -300, 0], "to": [300, -300, 0], "rise": 60}
        assert around(**closed, slider=there).in_frame == () and len(around(**closed | {"room": {"open": ["south"]}}, slider=there).in_frame) == 1


class TestLift:
    """What carries the set."""

    BELOW = {"shot": STILL | {"move": "lift", "from": [150, -400, -30], "look": {"pan": 90, "tilt": 0}, "lift": [0, 40], "ease": 0.5}}

    def test_between_table_and_set(self, around):
        """A riser of 60 mm leaves 55 to a floor of 5 mm: a column 40 wide, 500 off its middle, longer as it rises."""
        (stray,) = around(**self.BELOW, lift={"carries": "set"}, table={"riser": 60}).in_frame
        assert stray.what == "the lift" and stray.at_take_s > 0.7 and stray.from_take_s == 0
        half_width = 36 / (2 * 24 * (1 + 24 / (400 - 24)))
        # The lens sinks 40 mm past the set: from 70 below datum it sees all that is between -100, the table's top, and -5.
        assert stray.share == pytest.approx((40 / 480) * (95 / 480) / (4 * half_width * half_width * 9 / 16), rel=0.25)

    def test_on_the_table(self, around):
        """Without a riser there is nothing between, but for what the lift raises."""
        (stray,) = around(**self.BELOW, lift={"carries": "set"}).in_frame
        assert stray.from_take_s > 0


class TestShadow:
    """Gear in the light."""

    def test_a_rail_across_the_window(self, around):
        """It takes some of the patch and some of the shaft; 80 mm higher it takes none."""
        found = around(**RAIL_IN_THE_LIGHT).shadows
        assert {(cast.what, cast.lamp, cast.on) for cast in found} == {("the rail", "key", "surfaces"), ("the rail", "key", "haze")}
        higher = RAIL_IN_THE_LIGHT["slider"] | {"from": [500, -100, 355], "to": [500, 300, 355]}
        assert around(**RAIL_IN_THE_LIGHT | {"slider": higher}).shadows == ()

    def test_as_much_as_the_lamp_sees(self, around):
        """From a lamp straight ahead the window is 80 x 90 at 600 mm; 15 mm at 400 are 22.5 of its 90 in the wall, and of the patch on the wall behind."""
        ahead = {"name": "key", "kind": "point", "at": [900, 100, 105], "toward": "window", "lux_at_1m": 20000}
        rail = {"from": [500, -100, 112.5], "to": [500, 300, 112.5], "rise": 40}
        tables = {"lamp": [ahead], "slider": rail, "prop": [], "opening": {"bars": None}, "haze": {"extinction": 0}, "lens": {"barrel": [[1, 1]]}, "body": {"box": [1, 1, 1]}}
        # The rows of the frame are 8 mm apart on that wall, so the mean of some heights of the lens is taken.
        casts = [around(**tables, shot=STILL | {"from": [290, 100, z], "look": {"pan": 180, "tilt": 0}}).shadows for z in (101, 103, 105, 107, 109)]
        assert {cast.on for (cast,) in casts} == {"surfaces"}
        assert np.mean([cast.share for (cast,) in casts]) == pytest.approx(22.5 / 90, rel=0.12)

    def test_a_stand_shades_other_lamps_only(self, around):
        """A second lamp straight behind the first one's column."""
        key = {"name": "key", "kind": "disc", "diameter": 60, "at": [900, 100, 600], "toward": "window", "lux_at_1m": 20000}
        fill = {"name": "fill", "kind": "disc", "diameter": 20, "at": [1500, 100, 400], "toward": "window", "lux_at_1m": 20000}
        shot = {"shot": RAIL_IN_THE_LIGHT["shot"]}
        assert around(**shot, lamp=[key]).shadows == ()
        assert {(cast.what, cast.lamp) for cast in around(**shot, lamp=[key, fill]).shadows} == {("the stand of key", "fill")}


class TestRules:
    """What is said, and that the remedy works."""

    def test_silent_where_all_is_well(self, plain_study):
        """Nothing to say of the plain room."""
        assert [finding for name in ("gear in frame", "gear's shadow") for finding in RULES[name](plain_study)] == []

    def test_a_stand_and_the_remedy_works(self, study_of, around):
        """The change of the camera that is named, made again."""
        study = study_of(slider=None, **STAND_BEHIND, haze={"extinction": 0})
        (finding,) = RULES["gear in frame"](study)
        assert finding.level == "care" and re.match(r"The stand of key stands in the picture: [0-9.]+ % of the frame, at the top\.$", finding.says)
        named = finding.remedy.split(", and it is")[0].lower()
        (change,) = [one for one in changes(study.scene, study.scene.shot[0], np.array([1.0, 0, 0])) if one.words == named]
        assert gear.Around(study.built).gear(change.scene, change.shot, plan_move(change.scene, change.shot, study.built)).in_frame == ()

    def test_a_rail_and_the_remedy_works(self, unlit, around):
        """The rail lowered by what is named, with the rise that is named: gone."""
        (finding,) = RULES["gear in frame"](unlit(**PUSH_IN))
        assert re.match(r"The rail stands in the picture: [0-9.]+ % of the frame, at the bottom, .*most 0 s into the take", finding.says)
        step, rise = map(int, re.match(r"Lower the rail (\d+) mm under a camera that stays where it is \(rise = (\d+)\), and it is out of frame\.", finding.remedy).groups())
        lowered = {"from": [-300, 40, -20 - step], "to": [-20, 40, -20 - step], "rise": rise}
        assert around(**PUSH_IN | {"slider": PUSH_IN["slider"] | lowered}, lamp=[]).in_frame == ()

    def test_a_shadow_and_the_remedy_works(self, study_of, around):
        """The rail raised by what is named, under a camera that stands free of it: gone."""
        (finding,) = RULES["gear's shadow"](study_of(**RAIL_IN_THE_LIGHT, haze={"extinction": 0}))
        assert re.match(r"The shadow of the rail falls in the picture: it takes [0-9.]+ % of what key lights in frame\.$", finding.says)
        way, step = re.match(r"(Lower|Raise) the rail (\d+) mm under a camera", finding.remedy).groups()
        z = RAIL_IN_THE_LIGHT["slider"]["from"][2] + (int(step) if way == "Raise" else -int(step))
        there = RAIL_IN_THE_LIGHT["slider"] | {"from": [500, -100, z], "to": [500, 300, z]}
        assert around(**RAIL_IN_THE_LIGHT | {"slider": there}, haze={"extinction": 0}).shadows == ()
