"""Each rule finds what it is for, in words a maker reads, and its remedy works."""

import math
import re

import pytest

from previz.check import cautions, fit, light, report, rigging  # noqa: F401
from previz.check.finding import LEVELS, RULES, Finding, findings, rule

MET = {"iso_max": 1e6}
"""A body for which any light is enough, so that no ways to more are looked for."""


def said_by(name, study):
    """Return what one rule says."""
    return list(RULES[name](study))


def levels(name, study):
    return [finding.level for finding in said_by(name, study)]


class TestRegistry:
    """Rules are found by name, once."""

    def test_a_name_is_taken_once(self):
        """A second rule of the same name would hide the first."""
        with pytest.raises(ValueError, match="there is a rule named 'clearance' already"):
            rule("clearance")(lambda study: [])

    @pytest.mark.parametrize("level, remedy", [("bad", "Do it."), ("stop", ""), ("ok", "Do it.")])
    def test_findings_have_a_known_level_and_a_remedy_where_one_is_needed(self, level, remedy):
        """A stop without a way out helps nobody."""
        with pytest.raises(ValueError, match="a finding of level"):
            Finding(level, "shot a", "It is so.", remedy)

    def test_order_is_by_level(self, plain_study):
        """What must change comes first."""
        order = [LEVELS.index(finding.level) for finding in findings(plain_study)]
        assert order == sorted(order)

    def test_every_sentence_ends(self, plain_study):
        """One sentence and one remedy each."""
        for finding in findings(plain_study):
            assert re.fullmatch(r"\S.*[.]", finding.says), finding
            assert not finding.remedy or re.fullmatch(r"\S.*[.]", finding.remedy), finding


class TestPlainRoom:
    """A set in order."""

    def test_nothing_stops_it(self, plain_study):
        """Only cautions and things in order."""
        assert [finding for finding in findings(plain_study) if finding.level == "stop"] == []


class TestClearance:
    """Contact stops, closeness warns."""

    def test_touch(self, unlit):
        """The lens driven into the table."""
        study = unlit(shot={"from": [150, 40, 20], "to": [150, 110, 20], "look": {"pan": 90}, "subject": "table"}, slider=None)
        (finding,) = said_by("clearance", study)
        assert finding.level == "stop" and "touches table" in finding.says
        assert study.shots[0].clearance.min_mm == 0

    def test_close(self, unlit):
        """Two millimetres over the table top, at half the barrel's diameter: 30 + 10 + 2 = 42."""
        study = unlit(shot={"move": "still", "from": [150, 100, 42], "to": None, "look": {"pan": 90}}, slider=None)
        (finding,) = said_by("clearance", study)
        assert finding.level == "care" and finding.says.startswith("Only 2 mm between")


class TestFraming:
    """The subject in frame and in sight."""

    def test_looking_elsewhere(self, unlit):
        """A lens that looks at the wall has lost the table."""
        study = unlit(shot={"look": {"pan": 0}, "subject": "table", "move": "still"})
        assert levels("framing", study)[0] == "stop"

    def test_hidden(self, unlit):
        """A screen between lens and table."""
        screen = {"name": "screen", "kind": "box", "size": [300, 2, 150], "at": [150, 40, 0]}
        study = unlit(prop=[{"name": "table", "kind": "box", "size": [60, 40, 30], "at": [150, 100, 0]}, screen])
        assert "At worst 100 % of table is hidden." in [finding.says for finding in said_by("framing", study)]


class TestFocus:
    """Closest focus counts from the front of the barrel."""

    def test_too_near(self, unlit):
        """Focus 120 mm from a pupil that sits 20 mm behind the front is 100 mm from the front."""
        study = unlit(lens={"barrel": [[150, 20]], "pupil": 20, "near": 110}, shot={"focus": 120})
        (finding,) = said_by("focus", study)
        assert finding.level == "stop"
        assert finding.says == "Focus lies 100 mm from the front of the barrel, and the lens focuses no nearer than 110 mm."
        assert finding.remedy.startswith("Keep the lens 10 mm farther")


class TestRig:
    """The slider's limits, and a clip that keeps them."""

    def test_too_fast_and_the_remedy_works(self, unlit):
        """60 mm in 1 s with ease 0.25 peaks at 80 mm/s; at 40 mm/s it takes twice as long."""
        slider = {"max_speed": 40}
        study = unlit(slider=slider)
        (finding,) = said_by("rig", study)
        assert finding.says == "The slider cannot keep up: 80 mm/s where it does 40."
        assert finding.remedy.startswith("Make the clip 10 s, which is a take of 2 s")
        assert levels("rig", unlit(slider=slider, shot={"clip": rigging.clip_that_fits(study, study.shots[0])})) == ["ok"]

    def test_no_ease(self, unlit):
        """Without ease no acceleration is enough."""
        (finding,) = said_by("rig", unlit(shot={"ease": 0}))
        assert finding.level == "stop" and finding.remedy.startswith("Set ease")

    def test_rail_too_short(self, unlit):
        """A move past the end of the rail, by the millimetres that it runs past."""
        (finding,) = said_by("rail", unlit(slider={"to": [170, -300, 60]}))
        assert finding.level == "stop" and "mm past an end" in finding.remedy


class TestTimes:
    """Real seconds and screen seconds."""

    def test_slow_motion(self, plain_study):
        """120 shown at 24 is five times slower: a 5 s clip is a 1 s take."""
        assert [f.says for f in said_by("times", plain_study)] == ["A clip of 5 s is a take of 1 s, slowed 5 times."]

    def test_faster_than_life(self, unlit):
        """12 frames a second shown at 24."""
        assert levels("times", unlit(shot={"fps": 12})) == ["care"]

    def test_exposure_longer_than_its_frame(self, unlit):
        """1/50 s does not fit 120 times into a second."""
        (finding,) = said_by("shutter", unlit(shot={"shutter": {"seconds": 0.02}}))
        assert finding.says == "An exposure of 0.02 s does not fit into a frame of 1/120 s."


class TestLight:
    """Lamps that land, haze that shows, light enough."""

    def test_a_lamp_that_lands_nowhere(self, clear):
        """From behind the wall without a window."""
        (finding,) = said_by("lamps land", clear(lamp={"at": [-600, 100, 600]}))
        assert (finding.level, finding.about) == ("stop", "key")
        assert "no opening lets it through" in finding.says

    def test_one_lamp_of_two(self, clear):
        """With another lamp in the set it is only care."""
        lamps = [
            {"name": "key", "kind": "disc", "diameter": 60, "at": [900, 100, 600], "toward": "window", "candela": 20000},
            {"name": "lost", "kind": "point", "at": [-600, 100, 600], "toward": "window", "candela": 20000},
        ]
        assert [(f.level, f.about) for f in said_by("lamps land", clear(lamp=lamps))] == [("care", "lost"), ("ok", "light")]

    def test_a_practical_inside_needs_no_opening(self, clear):
        """A lamp in the room lights it without a window."""
        practical = {"name": "candle", "kind": "point", "at": [150, 150, 160], "toward": [150, 100, 0], "candela": 20}
        assert set(levels("lamps land", clear(lamp=[practical]))) <= {"ok"}

    def test_clear_air(self, clear):
        """No haze, no shafts, and no cautions about spray."""
        study = clear()
        assert levels("haze", study) == ["care"]
        assert said_by("spray and hot lamps", study) == []

    def test_haze_gone(self, unlit):
        """Four half-lives leave a sixteenth."""
        (_, finding, _) = said_by("haze", unlit(haze={"extinction": 0.8, "half_life": 10}, shot={"start_after": 40}))
        assert finding.says == "Only 6 % of the haze is left when the camera rolls."

    def test_over_iso_max_by_the_stops_reported(self, study_of):
        """Eight times less light needs three stops more."""
        bright, dim = (study_of(lamp={"gel": gel}, body=MET) for gel in (0, 3))
        assert dim.shots[0].exposure.stops_over_iso_max - bright.shots[0].exposure.stops_over_iso_max == pytest.approx(3, abs=0.02)

    def test_the_remedies_work(self, study_of):
        """Each change that is said to be enough, made in the file and studied anew, brings the ISO down to what is accepted, to a twentieth of a stop."""
        lacking = {"lamp": {"gel": 3.0}, "shot": {"stop": 22}}
        study = study_of(**lacking)
        exposure = study.shots[0].exposure
        (finding,) = said_by("exposure", study)
        assert exposure.stops_over_iso_max > 0 and {"stop", "shutter", "fps", "lamp"} <= {way.change for way in exposure.ways}
        for way in exposure.ways:
            merged = {"lamp": dict(lacking["lamp"]), "shot": dict(lacking["shot"])}
            if way.change == "lamp":
                merged["lamp"]["at"] = way.to
            elif way.change == "haze":
                merged["haze"] = {"extinction": way.to}
            else:
                merged["shot"][way.change] = way.to
            after = study_of(**merged, body=MET).shots[0].exposure
            assert math.log2(exposure.iso_needed / after.iso_needed) == pytest.approx(way.buys_stops, abs=0.05), way
            assert way.enough == (way.buys_stops >= exposure.stops_over_iso_max - 1e-6)
        assert "open to f/" in finding.remedy or not any(way.enough for way in exposure.ways if way.change == "stop")

    def test_nothing_left_to_open(self, study_of):
        """Wide open, the stop is no way; what is left over is added up."""
        study = study_of(lamp={"gel": 8})
        (finding,) = said_by("exposure", study)
        assert finding.level == "stop" and "open to" not in finding.remedy
        assert finding.remedy.startswith("None of these is enough alone, so add up: ")

    def test_dark(self, study_of):
        """A lamp dimmed to nothing leaves nothing to meter."""
        study = study_of(lamp={"dim": 0})
        assert [f.says for f in said_by("exposure", study)] == ["No light at all comes from where the meter looks."]


class TestThickHaze:
    """How thick is too thick, and what would do."""

    def test_thin_haze_says_nothing(self, plain_study):
        """0.8 per metre over 300 mm is an optical depth of 0.24."""
        assert said_by("thick haze", plain_study) == []
        assert plain_study.shots[0].thickness.across == pytest.approx(0.24)
        assert plain_study.shots[0].thickness.within is None

    def test_to_the_subject(self, plain_study):
        """The lens stands outside: only the way inside the room counts, which the table's distance bounds."""
        taken = plain_study.shots[0]
        assert 0 < taken.thickness.to_subject < 0.8e-3 * taken.focus_mm.max()

    @pytest.mark.parametrize("haze", [{"extinction": 80}, {"extinction": 320, "half_life": 10}, {"extinction": None, "visibility": 0.05}])
    def test_nothing_is_seen_and_the_remedy_works(self, unlit, haze):
        """The number in the remedy, tried: the stop is gone."""
        shot = {"start_after": 20} if "half_life" in haze else {}
        stop, care = said_by("thick haze", unlit(haze=haze, shot=shot))
        assert (stop.level, care.level) == ("stop", "care")
        assert stop.says.startswith("The haze is so thick that nothing of the subject is seen: ")
        key, value = re.match(r"Set (\w+) = ([0-9.]+),", stop.remedy).groups()
        better = unlit(haze=haze | {key: float(value)}, shot=shot)
        assert "stop" not in levels("thick haze", better)
        assert better.shots[0].thickness.to_subject == pytest.approx(2.0, rel=0.1)

    def test_the_picture_is_right_to(self, unlit):
        """Optical depth 0.6 across the set."""
        (finding,) = said_by("thick haze", unlit(haze={"extinction": 2.0}))
        assert finding.says == "Haze this thick (optical depth 0.6 across the set): the picture is right to about 5 %."


class TestCautions:
    """What people can be hurt by is said where it applies."""

    def test_spray_names_the_nearest_lamp(self, plain_study):
        """595 mm beyond the east wall's outer face at 305, 415 mm above the ceiling's at 185: hypot(595, 415) = 725 to the box around the set."""
        (finding,) = said_by("spray and hot lamps", plain_study)
        assert "key is the nearest, 725 mm from it" in finding.says

    def test_all_five(self, plain_study):
        """Spray, air, mains, eyes, stands: a lamp outside and haze inside."""
        said = [f for f in findings(plain_study) if f.about.startswith("safety")]
        assert [f.about for f in said] == ["safety, spray", "safety, air", "safety, mains", "safety, eyes", "safety, stands"]
        assert {f.level for f in said} == {"care"}


    def of(self, study):
        return {finding.about: finding.says for finding in findings(study) if finding.about.startswith("safety")}

    def test_a_lamp_that_is_never_alight(self, study_of):
        """A lamp dimmed to nothing is neither hot nor bright; its stand falls over all the same."""
        assert list(self.of(study_of(lamp={"dim": 0}, shot=[]))) == ["safety, air", "safety, stands"]

    def test_what_only_one_shot_has(self, study_of, altered_room):
        """Haze, and a lamp that comes nearer, in the second of two shots: 100 mm beyond the wall's outer face at 305, level with the set."""
        first = altered_room()["shot"][0] | {"move": "still", "to": None}
        near = {"key": {"at": [405, 100, 100]}}
        said = self.of(study_of(haze={"extinction": 0}, shot=[first, first | {"name": "thick", "haze": {"extinction": 0.8}, "lamps": near}]))
        assert "key is the nearest, 100 mm from it" in said["safety, spray"] and "safety, air" in said
        assert "safety, spray" not in self.of(study_of(haze={"extinction": 0}, shot=[first]))

    def test_a_lamp_hung_out_past_the_feet(self, study_of):
        """400 mm out of a stand whose feet reach 300; not where they reach as far, nor for a lamp in the set or on the lift."""
        out = {"stand": {"reach": 400, "base": 600}, "haze": {"extinction": 0}, "shot": []}
        (finding,) = said_by("lamp beyond its stand's base", study_of(**out))
        assert "The stand of key may carry its lamp 400 mm out from the column, past feet that reach 300 mm" in finding.says and "maker" in finding.remedy and "label" in finding.remedy
        inside = {"at": [150, 100, 120], "toward": "table"}
        for other in ({"stand": {"reach": 300, "base": 600}}, {"lamp": inside}, {"lamp": {"rides": "lift"}, "lift": {"carries": "set"}}):
            assert said_by("lamp beyond its stand's base", study_of(**out | other)) == []

    def test_a_lift(self, unlit, altered_room):
        """Said where it moves, between shots too; the lens is named where its tip is in the set and moves against it."""
        shot = altered_room()["shot"][0] | {"move": "lift", "from": [120, -30, 60], "to": None, "ease": 0.5}
        still = shot | {"move": "still"}
        cases = {
            "moves": ({"lift": [0, 20]}, {}),
            "moves in the set": ({"lift": [0, 20]}, {"pupil": 100, "barrel": [[150, 20]]}),
            "stands": ({"lift": 20}, {}),
        }
        said = {}
        for name, (change, lens) in cases.items():
            said[name] = self.of(unlit(lift={"carries": "set"}, slider=None, lens=lens, shot=[shot | change])).get("safety, lift", "")
        said["between"] = self.of(unlit(lift={"carries": "set"}, slider=None, shot=[still | {"lift": 0}, still | {"name": "higher", "lift": 20}])).get("safety, lift", "")
        said["with the rail"] = self.of(unlit(lift={"carries": "set"}, slider={"rides": "lift"}, lens=cases["moves in the set"][1], shot=[shot | {"from": 100.0, "lift": [0, 20]}])).get("safety, lift", "")
        assert {name for name, words in said.items() if words} == {"moves", "moves in the set", "between", "with the rail"}
        assert {name for name, words in said.items() if "the lens inside the set" in words} == {"moves in the set"}


class TestReadings:
    """A meter's readings agree, contradict each other, or lie in the dark."""

    def readings(self, clear, *lux):
        """What the rule says of readings along the lamp's beam, the first at about 361 mm."""
        places = [(600, 100, 400), (500, 100, 333), (450, 100, 300)]
        study = clear(lamp={"measured": [{"at": at, "lux": value} for at, value in zip(places, lux)]})
        return study, said_by("readings", study)

    def test_agreement(self, clear):
        """The level that they set, and how far from the file's."""
        study, (finding,) = self.readings(clear, 300_000, 300_000 * 130 / 231.3)
        assert finding.level == "ok" and "2 readings set its level" in finding.says and "over the file's" in finding.says
        lamp = report.report(study)["lamps"][0]
        assert lamp["factor_stops"] > 0.5 and len(lamp["readings"]) == 2
        assert [reading["computed_lux"] for reading in lamp["readings"]] == pytest.approx([reading["lux"] for reading in lamp["readings"]], rel=0.2)
        assert lamp["candela"] == pytest.approx(20000 * 2 ** lamp["factor_stops"], rel=1e-4)
        assert lamp["beam_deg"] == pytest.approx(120) and lamp["lumens"] == pytest.approx(lamp["candela"] * 3.14159265, rel=1e-4)

    def test_contradiction(self, clear):
        """Which two, and by how much."""
        _, (finding,) = self.readings(clear, 150_000, 150_000)
        assert finding.level == "care"
        assert re.match(r"Its readings contradict each other: 150,000 lux at \[500, 100, 333\] says [0-9.]+ stops more light than 150,000 lux at \[600, 100, 400\];", finding.says)

    def test_in_the_dark(self, clear):
        """A place that the lamp cannot reach."""
        (finding,) = said_by("readings", clear(lamp={"measured": [{"at": (1200, 100, 900), "lux": 10, "facing": (1300, 100, 900)}]}))
        assert finding.level == "care" and finding.says.startswith("None of its light")
