"""The engine behind the page: the engine's own pictures, the newest wins, nothing runs when nothing changes."""

import io
import json
import os
import threading
import time

import numpy as np
import pytest
from PIL import Image

from previz.bench.glance import COARSE, size_of
from previz.bench.live import Live
from previz.build.load import set_from
from previz.check.report import report
from previz.check.study import study_set
from previz.frames.still import lit_at_roll, still
from previz.rays.lit import light_set
from previz.rig.moves import plan_move
from previz.scene.read import scene_from

BAKE = (1500, 16)
PATIENCE_S = 120
SHOT, MOMENT_S, WIDTH = "in", 0.05, 96

SCENE = """
title = "Shed"

[[room]]
name = "shed"
plan = [[0, 0], [200, 0], [200, 160], [0, 160]]
walls = ["south", "east", "north", "west"]
open = ["south"]
height = 120

[[opening]]
name = "hatch"
wall = "shed.east"
at = [50, 50]
size = [50, 50]

[[prop]]
name = "crate"
kind = "box"
size = [40, 40, 30]
at = [100, 100, 0]

[[lamp]]
name = "sun"
kind = "disc"
diameter = 40
at = [700, 80, 400]
toward = "hatch"
lux_at_1m = 20000

[haze]
extinction = 0.9
half_life = 60

[lens]
barrel = [[120, 20]]

[[shot]]
name = "in"
clip = 0.5
move = "slide"
from = [90, -40, 50]
to = [110, -40, 50]
look = { pan = 90, tilt = -5 }
subject = "crate"
focus = "crate"
iso = 1600
start_after = 20
"""


class Bench:
    """A `Live` with one client, "ann", and all that is told."""

    def __init__(self, path):
        self.told, self._new = [], threading.Condition()
        self.live = Live(path, workers=1, tell=self._hear, bake=BAKE)

    def _hear(self, who, message):
        with self._new:
            self.told.append({"who": who, **message})
            self._new.notify_all()

    def wait(self, since=0, **wanted):
        """Return the first message from number `since` on whose keys have these values."""

        def found():
            return next((one for one in self.told[since:] if all(one.get(key) == value for key, value in wanted.items())), None)

        with self._new:
            assert self._new.wait_for(found, PATIENCE_S), f"never told of {wanted}"
            return found()

    def picture(self, n):
        """A picture that was told of, (rows, columns, 3)."""
        return np.array(Image.open(io.BytesIO(self.live.picture(n))))


def drawn_by_the_other_verbs(file, quality, bake):
    """What `still` makes of the same file, lit from scratch."""
    shot, built = file.scene.shot[0], set_from(file)
    lit = lit_at_roll(light_set(file.scene, built, texels=bake[0], rays=bake[1], workers=1), shot)
    return still(lit, shot, plan_move(file.scene, shot, built), MOMENT_S, size_of(file.scene, WIDTH), quality=quality, workers=1).rgb


def edited(file, *pairs):
    """The shed with texts of its file replaced."""
    text = file.text
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return scene_from(text, file.path)


LAMP = "at = [700, 80, 400]"


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    """The shed."""
    path = tmp_path_factory.mktemp("live") / "shed.toml"
    path.write_text(SCENE)
    return scene_from(SCENE, path)


@pytest.fixture(scope="module")
def bench(file):
    """The shed on the bench, everything drawn and worked out."""
    bench = Bench(file.path)
    bench.live.look("ann", SHOT, MOMENT_S, WIDTH)
    bench.live.show(file, 7)
    bench.wait(did="picture", grade="fine")
    yield bench
    bench.live.close()


class TestPictures:
    """What the lens paper shows is what the other verbs draw."""

    def test_first_a_glance_then_finer(self, bench, file):
        """Three pictures, each the same bytes as a still of the same file, bake and quality."""
        pictures = [one for one in bench.told if one["did"] == "picture"][:3]
        assert [one["grade"] for one in pictures] == ["low", "low", "fine"]
        assert all((one["rev"], one["seq"], one["shot"], one["take_s"], one["width"], one["height"]) == (7, None, SHOT, MOMENT_S, WIDTH, 54) for one in pictures)
        bakes = [COARSE, COARSE, BAKE]
        for one, quality, bake in zip(pictures, ("glance", "draft", "good"), bakes):
            assert np.array_equal(bench.picture(one["n"]), drawn_by_the_other_verbs(file, quality, bake)), quality

    def test_a_lamp_that_is_dragged(self, bench, file):
        """The picture of what is tried out is that of the file with the edit made; letting go shows the old one without drawing it."""
        begin, fine = len(bench.told), bench.wait(did="picture", grade="fine")["n"]
        dragged = edited(file, (LAMP, "at = [700, 60, 430]"))
        bench.live.try_("ann", dragged, 3)
        tried = bench.wait(begin, did="picture", seq=3)
        assert tried["grade"] == "low" and np.array_equal(bench.picture(tried["n"]), drawn_by_the_other_verbs(dragged, "glance", COARSE))
        bench.live.try_("ann", None, 4)
        assert bench.wait(begin, did="picture", seq=None)["n"] == fine

    def test_the_newest_wins(self, bench, file):
        """Of forty places the last is drawn, and most in between are not."""
        begin = len(bench.told)
        for seq in range(100, 140):
            bench.live.try_("ann", edited(file, (LAMP, f"at = [700, {seq - 60}, 400]")), seq)
        bench.wait(begin, did="picture", seq=139)
        bench.wait(begin, did="light", seq=139)
        bench.live.try_("ann", None, 140)
        assert sum(one["did"] == "picture" for one in bench.told[begin:]) < 40

    def test_a_cut_that_is_dragged(self, bench, file):
        """An opening too: built, baked and drawn as its file would be."""
        begin = len(bench.told)
        wider = edited(file, ("size = [50, 50]", "size = [60, 50]"))
        bench.live.try_("ann", wider, 200)
        tried = bench.wait(begin, did="picture", seq=200)
        bench.live.try_("ann", None, 201)
        assert np.array_equal(bench.picture(tried["n"]), drawn_by_the_other_verbs(wider, "glance", COARSE))


class TestLight:
    """Patches and shafts for the drawings."""

    def test_patches_are_those_of_the_report(self, bench):
        """All of them, with a shaft each, whose lines run from the outside of the wall to the patch."""
        light, figures = bench.live.light(bench.wait(did="light", rev=7)["n"]), bench.live.figures()
        assert (light["rev"], light["seq"], light["lift_mm"]) == (7, None, 0)
        outlines = [(patch["on"], patch["outline_mm"]) for patch in light["patches"]]
        assert outlines == [(patch["on"], patch["outline_mm"]) for patch in figures["report"]["patches"]]
        for patch, shaft in zip(light["patches"], light["shafts"]):
            ends = np.array(shaft["lines"])
            assert np.allclose(ends[:, 0, 0], 205, atol=0.02) and (shaft["lamp"], shaft["opening"]) == ("sun", "hatch")
            assert all(np.abs(np.array(patch["outline_mm"]) - end).max(axis=1).min() < 0.01 for end in ends[:, 1])


    def test_who_watches_sees_where_light_is_dragged_to(self, bench, file):
        """The light of another's try and the move that it would be, but no picture of it; let go, the scene's own again."""
        begin = len(bench.told)
        bench.live.look("bob", SHOT, MOMENT_S, WIDTH)
        bench.wait(begin, who="bob", did="picture", grade="fine")
        begin = len(bench.told)
        dragged = edited(file, (LAMP, "at = [700, 60, 430]"), ("pan = 90", "pan = 80"))
        bench.live.try_("ann", dragged, 300)
        mine, theirs = (bench.live.light(bench.wait(begin, who=who, did="light", seq=300)["n"]) for who in ("ann", "bob"))
        assert theirs == mine != bench.live.light(bench.wait(did="light", rev=7)["n"])
        assert set(theirs["shot"]["pan"]) == {80.0}
        bench.live.try_("ann", None, 301)
        after = bench.live.light(bench.wait(begin, who="bob", did="light", seq=None)["n"])
        assert after["shot"] is None and after["patches"] == bench.live.light(bench.wait(did="light", rev=7)["n"])["patches"]
        assert not any(one["did"] == "picture" and one["who"] == "bob" and one["seq"] for one in bench.told[begin:])
        bench.live.forget("bob")


class TestFigures:
    """The report, curves over the take, and where findings point."""

    def test_the_report_is_that_of_check(self, bench, file):
        """Every figure and finding of the study of the same file and bake."""
        built = set_from(file)
        study = study_set(light_set(file.scene, built, texels=BAKE[0], rays=BAKE[1], workers=1), workers=1)
        figures = bench.live.figures()
        assert figures["rev"] == 7 and figures["report"] == json.loads(json.dumps(report(study)))

    def test_curves_go_through_the_figures_of_the_report(self, bench):
        """The least clearance, the focused distance at the start, the haze at the roll, the contrast in the middle."""
        figures = bench.live.figures()
        (shot,), curves = figures["report"]["shots"], figures["curves"][SHOT]
        assert min(curves["clearance_mm"]) == pytest.approx(shot["clearance"]["min_mm"], abs=0.03)
        assert curves["focus_mm"][0] == shot["focus"]["distance_mm"][0]
        assert curves["extinction_per_m"][0] == shot["haze"]["extinction_at_roll_per_m"] == pytest.approx(0.9 * 2 ** (-20 / 60), rel=1e-5)
        middle = np.interp(curves["take_s"][-1] / 2, curves["take_s"], curves["contrast_stops"])
        assert middle == pytest.approx(shot["shafts"][0]["contrast_stops"], rel=0.02)
        assert (curves["usable_from_s"], curves["usable_to_s"]) == (shot["haze"]["usable_from_s"], shot["haze"]["usable_to_s"])

    def test_findings_point_at_what_they_name(self, bench):
        """One point a finding; that on clearance at the shot, by the parts that it names, and the shaft's at its opening."""
        figures = bench.live.figures()
        findings, points = figures["report"]["findings"], figures["points"]
        assert len(points) == len(findings)
        told = {finding["says"]: point for finding, point in zip(findings, points)}
        clear = next(point for says, point in told.items() if says.startswith("Clear of everything"))
        assert clear["shot"] == SHOT and any(name.startswith("shed") or name == "crate" for name in clear["names"])
        assert clear["take_s"] == pytest.approx(figures["report"]["shots"][0]["clearance"]["at_take_s"]) and clear["at"][1] <= -40
        shaft = next(point for says, point in told.items() if says.startswith("The shaft of sun"))
        assert shaft["names"] == ["sun", "hatch"] and shaft["at"] == [700, 80, 400]


@pytest.mark.skipif(not hasattr(os, "getloadavg"), reason="processor time of threads that sleep is told coarsely here")
def test_idle_it_uses_no_processor(bench):
    """With everything drawn and worked out, a second of nothing costs nothing."""
    before, told = time.process_time(), len(bench.told)
    time.sleep(1)
    assert time.process_time() - before < 0.02 and len(bench.told) == told


def test_faults_are_told_and_the_drawing_stays(bench, file):
    """A lamp left in a wall: the fault of the file in words, the last good drawing; put right, all goes on."""
    begin = len(bench.told)
    assert bench.live.drawing()["rev"] == 7
    bench.live.show(edited(file, (LAMP, "at = [202, 20, 60]")), 8)
    assert "sun" in bench.wait(begin, did="fault")["says"]
    assert bench.live.drawing()["rev"] == 7
    bench.live.show(file, 9)
    assert bench.wait(begin, did="picture", rev=9)["grade"] == "fine"
    assert bench.live.drawing()["rev"] == 9


def test_work_beside_that_dies_is_begun_anew(bench, file):
    """The process beside killed from outside: the next picture is drawn all the same."""
    begin = len(bench.told)
    bench.live._beside._process.kill()
    bench.live._beside._process.wait()
    brighter = edited(file, ("iso = 1600", "iso = 800"))
    bench.live.show(brighter, 10)
    glance = bench.wait(begin, did="picture", rev=10)
    draft = bench.wait(bench.told.index(glance) + 1, did="picture", rev=10)
    assert np.array_equal(bench.picture(draft["n"]), drawn_by_the_other_verbs(brighter, "draft", COARSE))


def test_a_client_that_leaves_is_drawn_nothing(bench, file):
    """Nobody looks: a new revision draws no picture."""
    bench.live.forget("ann")
    begin = len(bench.told)
    bench.live.show(edited(file, ("iso = 1600", "iso = 400")), 11)
    time.sleep(0.5)
    assert not any(one["did"] == "picture" for one in bench.told[begin:])
