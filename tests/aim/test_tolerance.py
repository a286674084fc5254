"""How exact one must be: closed forms, propagation against draws, and what straight lines cannot tell."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.aim.ask import AskedTolerance, ask_for_tolerance
from previz.aim.offs import CLEAR_MM, off, set_off
from previz.aim.tolerance import Bound, Figures, Quantity, tolerance
from previz.build.assemble import build_set
from previz.rig.moves import plan_move
from previz.scene.faults import OptionFault
from previz.scene.model import Scene

HALL = """
[[room]]
name = "hall"
plan = [[0, 0], [300, 0], [300, 200], [0, 200]]
walls = ["south", "east", "north", "west"]
height = 200
wall = 0.5

[[opening]]
name = "window"
wall = "hall.east"
at = [60, 60]
size = [80, 80]

[[lamp]]
kind = "point"
name = "key"
at = [900, 100, 100]
toward = [300, 100, 100]
candela = 1000
"""
ONES = tuple(Quantity(f"q{i}", "mm", 0.1, 1e3) for i in range(4))


def of(changes, allowed=1.0, quantities=ONES, tries=2000, **keys):
    """Return the tolerance of one figure."""
    figures = Figures((Bound("figure", "mm", allowed, **keys),), tuple(range(len(quantities))), lambda q: (np.atleast_1d(changes(q)),), tries)
    return tolerance(quantities, (figures,), 1)


class TestPropagation:
    """Straight lines and draws."""

    def test_alone_is_the_bound_over_the_rate(self):
        """3 q0 - 0.5 q1: a third and two of a bound of 1; what has no say is free up to its most."""
        found = of(lambda q: 3 * q[0] - 0.5 * q[1])
        assert_allclose(found.alone, [1 / 3, 2, 1e3, 1e3])
        assert found.first == ("figure", "figure", None, None)

    def test_the_additive_model_of_jcgm_101(self):
        """
        Four evenly spread inputs of standard uncertainty 1, added up: u = 2, and 95 % lie within 3.88.

        JCGM 101:2008, 9.2.3 (figures from memory). Allowances are scaled so that 2 u is the bound, here 4.
        """
        found = of(lambda q: q.sum(), allowed=4.0, tries=20_000)
        (held,) = found.held
        assert_allclose(found.together, np.sqrt(3), rtol=1e-9)
        assert_allclose(held.linear, 2.0, rtol=1e-9)
        assert_allclose(held.tried, 2.0, rtol=0.02)
        assert_allclose(held.reach, 3.88, rtol=0.02)
        assert held.kept > 0.95 and not held.bent

    def test_a_shift_counts_by_its_size(self):
        """Two parts at right angles, by Pythagoras; together 2 u is the bound."""
        found = of(lambda q: np.array([3 * q[0], 4 * q[0]]), allowed=10.0)
        assert_allclose(found.alone[0], 2.0)
        assert_allclose(found.held[0].linear, 5.0, rtol=1e-9)

    def test_the_narrowest_bound_decides(self):
        """Of two figures the one that goes first is named."""
        figures = tuple(Figures((Bound(name, "mm", allowed),), (0,), lambda q: (q[:1],), 50) for name, allowed in (("wide", 5.0), ("narrow", 2.0)))
        found = tolerance(ONES[:1], figures, 1)
        assert found.first == ("narrow",) and found.alone[0] == pytest.approx(2.0)

    def test_only_less_is_worse_one_way(self):
        """Half of all draws gain clearance, and keep any bound."""
        assert of(lambda q: 10 * q[0] if q[0] > 0 else 0.9 * q[0], allowed=0.5, one_way=True).held[0].kept > 0.5

    @pytest.mark.parametrize("bend", (lambda q: 20 * q[0] ** 2, lambda q: np.exp(3 * q[0]) - 1, lambda q: q[0] if abs(q[0]) < 0.3 else np.nan))
    def test_what_is_bent_is_said(self, bend):
        """A square has no slope at all, an exponential leaves its tangent, and a figure may cease to be: draws tell all three."""
        (held,) = of(bend, quantities=(Quantity("q", "mm", 0.05, 1.0),)).held
        assert held.bent

    @pytest.mark.parametrize(("bend", "allowed", "reached"), [(lambda q: 20 * q[0] ** 2, 1.0, np.sqrt(0.05)), (lambda q: np.exp(3 * q[0]) - 1, 1.0, np.log(2) / 3), (lambda q: np.tanh(q[0]), 0.9, np.arctanh(0.9)), (lambda q: q[0] if abs(q[0]) < 0.3 else np.nan, 1.0, 0.3)])
    def test_alone_is_where_it_breaks(self, bend, allowed, reached):
        """By the inverse of each curve, to a twentieth, never past it: a square, an exponential whose upward way goes first, one that flattens out, one that ends."""
        found = of(bend, allowed=allowed, quantities=(Quantity("q", "mm", 0.05, 3.0),), tries=50)
        assert 0.95 * reached <= found.alone[0] <= 1.01 * reached and found.first == ("figure",)

    def test_what_has_no_say_in_a_bound_is_not_held_by_it(self):
        """Two quantities share the first bound; the third, alone in its own, may be off as far as alone."""
        figures = tuple(Figures((Bound(name, "mm", 1.0),), who, lambda q, who=who: (np.array([sum(q[i] for i in who)]),), 200) for name, who in (("two", (0, 1)), ("one", (2,))))
        found = tolerance(ONES[:3], figures, 1)
        assert_allclose(found.together, [np.sqrt(3 / 8), np.sqrt(3 / 8), np.sqrt(3) / 2], rtol=1e-6)

    def test_the_same_draws_each_time(self):
        """Seeded."""
        first, again = (of(lambda q: np.sin(q[0])).held[0] for _ in range(2))
        assert replace(first, rates=None) == replace(again, rates=None)


def room(at=(60.0, 60.0), lamp=(900.0, 100.0, 100.0), **more):
    """Return a hall with a thin east wall, a window in it, and a point lamp square before it, built: the light lands on the west wall."""
    table = {
        "room": [{"name": "hall", "plan": [(0, 0), (300, 0), (300, 200), (0, 200)], "walls": ["south", "east", "north", "west"], "height": 200, "wall": 0.5}],
        "opening": [{"name": "window", "wall": "hall.east", "at": at, "size": (80, 80)}],
        "lamp": [{"kind": "point", "name": "key", "at": lamp, "toward": (300, 100, 100), "candela": 1000}],
        **more,
    }
    scene = Scene(**table)
    return scene, build_set(scene, Path("."))


@pytest.fixture(scope="module")
def rates():
    """Rates of the middle of the light by quantity."""
    scene, built = room()
    may_be = off(scene, built, "window > hall.west", 0, None)
    (held,) = tolerance(may_be.quantities, tuple(replace(f, tries=20) for f in may_be.figures), 1).held
    assert may_be.miss_mm < 0.5 and held.kept >= 0.95 and not held.bent
    return dict(zip([q.name for q in may_be.quantities], held.rates))


class TestSet:
    """Rates of a set, against similar triangles."""

    def test_the_lamp_sideways_moves_the_light_the_other_way_by_b_over_a(self, rates):
        """600 mm from lamp to window, 300 on to the wall: half of it. The outer rim at 300.5 and the inner at 300 bind in turn."""
        assert_allclose([rates["lamp, along y"], rates["lamp, height"]], 300 / 600, rtol=2e-3)

    def test_the_lamp_nearer_leaves_the_middle(self, rates):
        """Square before the window."""
        assert rates["lamp, along x"] < 1e-3

    def test_the_cut_is_magnified(self, rates):
        """(a + b) / a = 1.5; a size that is off moves the middle by half of that."""
        assert_allclose([rates["window, along"], rates["window, up"]], 1.5, rtol=2e-3)
        assert_allclose([rates["window, width"], rates["window, height"]], 0.75, rtol=4e-3)

    def test_a_near_edge_is_bent(self):
        """Light that just meets the corner of its wall: one way its middle follows the whole of it, the other way half."""
        scene, built = room(lamp=(900.0, 20.0, 100.0))
        may_be = off(scene, built, "window > hall.west", 0, None, 20.0)
        figures = tuple(replace(f, tries=20) for f in may_be.figures)
        assert tolerance(may_be.quantities, figures, 1).held[0].bent

    def test_a_cut_that_cannot_be_made_is_not_tried(self):
        """A slit 5 mm wide, 4 mm of wall to the next one and 6 to the edge: so far it may be off its mark, and by half its width, however little the light minds."""
        slits = [{"name": name, "wall": "hall.east", "at": (along, 60), "size": (5, 80)} for name, along in (("slit", 6), ("next", 15))]
        scene, built = room(lamp=(900.0, 10.0, 100.0), opening=slits)
        may_be = off(scene, built, "slit > hall.west", 0, None, 500.0)
        found = tolerance(may_be.quantities, tuple(replace(f, tries=20) for f in may_be.figures), 1)
        alone = dict(zip([q.name for q in found.quantities], found.alone))
        assert 3.8 <= alone["slit, along"] <= 4.01 and alone["slit, width"] == 2.5 and alone["slit, up"] == 10
        assert found.held[0].kept >= 0.95

    def test_the_rail_and_the_light(self, monkeypatch):
        """A lens straight before a wall: the rail may be nearer by all that is more than 3 mm; light and shaft have their bounds. Coarse light, and of what moves it the haze alone."""
        for name, value in {"_TEXELS": 800, "_RAYS": 8, "_METER": (16, 9), "_LOOK": (32, 18)}.items():
            monkeypatch.setattr(f"previz.aim.offs.{name}", value)
        shot = {"name": "in", "clip": 2, "move": "still", "from": (60, 100, 100), "look": {"pan": 0, "tilt": 0}, "focus": 100, "fps": 24, "playback": 24}
        scene, built = room(shot=[shot], lens={"focal": 24, "barrel": [[40, 20]]}, body={"box": [10, 10, 10]}, haze={"extinction": 1.0})
        may_be = off(scene, built, "window > hall.west", 0, scene.shot[0])
        chosen = {i for i, q in enumerate(may_be.quantities) if q.name in ("rail, along x", "haze, how dense")}
        light_or_rail = tuple(replace(f, tries=4, depends=tuple(sorted(chosen & set(f.depends)))) for f in may_be.figures[1:])
        found = tolerance(may_be.quantities, (replace(may_be.figures[0], tries=4, depends=(0,)), *light_or_rail), 1)
        by_name = dict(zip([q.name for q in found.quantities], found.alone))
        assert {held.bound.name for held in found.held} == {"middle of the light", "exposure", "contrast of the shaft", "clearance"}
        assert by_name["rail, along x"] == pytest.approx(may_be.clearance_mm - CLEAR_MM, abs=0.1)
        assert found.first[list(by_name).index("haze, how dense")] in ("exposure", "contrast of the shaft", None)

    def test_a_rig_set_off_is_where_it_says(self):
        """Shifted and turned about its pan axis: the pupil swings at the end of its reach."""
        shot = {"name": "in", "clip": 2, "move": "still", "from": (60, 100, 100), "look": {"pan": 30, "tilt": 0}, "focus": 100, "fps": 24, "playback": 24}
        scene, built = room(shot=[shot])
        move = plan_move(scene, scene.shot[0], built)
        planned, there = move.poses(0.0), set_off(move, np.array([1.0, 2.0, 3.0]), 0.1).poses(0.0)
        assert_allclose(there.pan - planned.pan, 0.1)
        away = move.reach * (np.array([np.cos(planned.pan[0] + 0.1), np.sin(planned.pan[0] + 0.1), 0]) - np.array([np.cos(planned.pan[0]), np.sin(planned.pan[0]), 0]))
        assert_allclose(there.position[0] - planned.position[0], away + (1, 2, 3), atol=1e-9)


class TestAsked:
    """As typed."""

    def test_text_fits_and_values_are_whole(self):
        """Eighty columns, and every quantity in both."""
        scene, built = room()
        may_be = off(scene, built, "window > hall.west", 0, None, 3.0)
        quick = tuple(replace(f, tries=10) for f in may_be.figures)
        asked = AskedTolerance("key", "window > hall.west", None, may_be, tolerance(may_be.quantities, quick, 1))
        assert max(map(len, asked.text.split("\n"))) <= 80
        assert [q["name"] for q in asked.values["quantities"]] == [q.name for q in asked.off.quantities]
        assert asked.values["figures"][0]["allowed"] == 3.0
        assert asked.values["quantities"][1]["alone"] == pytest.approx(3.0 / 0.5, rel=2e-3)

    def test_shares_are_never_told_rounded_up(self):
        """39 of 40 draws are 97 %, in the table and below it: 98 would promise too much."""
        scene, built = room()
        may_be = off(scene, built, "window > hall.west", 0, None, 3.0)
        found = tolerance(may_be.quantities, tuple(replace(f, tries=4) for f in may_be.figures), 1)
        asked = AskedTolerance("key", "window > hall.west", None, may_be, replace(found, held=tuple(replace(one, kept=39 / 40) for one in found.held)))
        assert re.findall(r"(\d+) %", asked.text) == ["97", "97"]

    def test_from_the_command_line(self, previz, tmp_path):
        """A set without a shot: lamp and cut only; options that do not go with it are refused."""
        (tmp_path / "hall.toml").write_text(HALL)
        run = previz("aim", "hall.toml", "window > hall.west", "--tolerance", "--within", "3")
        assert run.returncode == 0 and max(map(len, run.stdout.split("\n"))) <= 80, run.stderr
        told = dict(re.findall(r"^((?:lamp|window), \S+(?: \S)?) +(?:over )?([\d.]+) mm ", run.stdout, re.MULTILINE))
        assert list(told) == ["lamp, along x", "lamp, along y", "lamp, height", "window, along", "window, up", "window, width", "window, height"]
        # By similar triangles: 3 mm on the wall, 300 mm behind the window, of a lamp 600 mm before it; 1.5 times what the cut is off.
        assert float(told["lamp, height"]) == pytest.approx(3 * 600 / 300, abs=0.1) and float(told["window, up"]) == pytest.approx(3 / 1.5, abs=0.1)
        bound, by_lines, tried, kept, tries = re.search(r"^middle of the light +(\d+) mm +([\d.]+) +([\d.]+) +(\d+) % +(\d+)$", run.stdout, re.MULTILINE).groups()
        assert (bound, tries) == ("3", "120") and int(kept) >= 95 and float(tried) == pytest.approx(float(by_lines), rel=0.25)
        refused = previz("aim", "hall.toml", "window > hall.west", "--tolerance", "--map", "map.svg")
        assert refused.returncode == 2 and "--tolerance takes one wish" in refused.stderr

    def test_no_light_is_a_fault(self):
        """A lamp that does not reach the target has no tolerance."""
        scene, built = room(lamp=(900.0, 100.0, 100.0))
        with pytest.raises(OptionFault, match="no light"):
            ask_for_tolerance(SimpleNamespace(scene=scene), built, "window > hall.north", None, None, None)
