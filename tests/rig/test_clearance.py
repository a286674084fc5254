"""Certified clearance."""

import numpy as np
import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from previz.rig.clearance import CERTIFIED_MM, clearance, clearance_at
from previz.rig.distance import SetDistance
from previz.rig.moves import plan_move
from previz.rig.solids import rig_parts
from previz.rig.sweep import placed


@pytest.fixture
def least(scene_of):
    """Return a function: clearance of a shot in a built set."""

    def least(built, shot, **tables):
        scene = scene_of(shot, **tables)
        return clearance(built, scene, plan_move(scene, scene.shot[0], built))

    return least


def swept_by_steps(built, scene, move, take_s):
    """The plain way: the least distance at some moments, blind between them. [mm]"""
    solids = SetDistance(built)
    travel = move.travel(take_s)
    rig = [(part, part.faces()) for part in rig_parts(scene.lens, scene.body)]
    return min(solids.to(corners, faces).mm for part, faces in rig for corners in placed(move, part, travel))


def clutter(rng, count, box, aside_mm=30):
    """Balls and boxes of all sizes on both sides of the lens's way."""
    solids = {}
    for i in range(count):
        middle = np.array([rng.uniform(20, 330), rng.choice([-1, 1]) * rng.uniform(aside_mm, 160), rng.uniform(-60, 60)])
        size = rng.uniform(2, 18, 3)
        ball = trimesh.creation.icosphere(subdivisions=2, radius=size[0]).apply_translation(middle)
        solids[f"thing_{i}"] = ball if i % 2 else box(middle - size, middle + size)
    return solids


MOVES = {
    "slide": ({"move": "slide", "from": [0, -10, 0], "to": [90, 20, 5], "look": [400, 0, 10]}, {}),
    "arc": ({"move": "arc", "from": [0, -20, 0], "to": [0, 20, 0], "look": [250, 0, -20]}, {}),
    "arc with reach": (
        {"move": "arc", "from": -30, "to": 30, "look": [250, 0, 20]},
        {"slider": {"from": [-300, 0, -60], "to": [-300, 300, -60], "reach": 300, "rise": 60}},
    ),
    "path": ({"move": "path", "from": [0, -10, 0], "via": [[30, 8, 4], [60, -8, -3]], "to": [90, 10, 0], "look": [400, 0, 0]}, {}),
}
ON_A_LIFT = {"slide, set rising": ({**MOVES["slide"][0], "lift": [0, 25]}, {"lift": {"carries": "set"}})}
BY_HAND = {"by hand": ({"move": "hand", "from": [0, -10, 0], "to": [60, 10, 0], "look": [400, 0, 0], "clip": 4}, {"lens": {"barrel": [[40, 20]]}, "body": {"box": [150, 72, 9]}})}


class TestAgainstSampling:
    """Random sets, sampled densely by plain distance queries."""

    @pytest.mark.parametrize("kind", MOVES)
    @pytest.mark.parametrize("seed", range(3))
    def test_never_larger_than_the_truth(self, kind, seed, set_of, box, scene_of):
        """Sampling can only overlook; what it finds is never nearer than certified, nor far above."""
        built = set_of(**clutter(np.random.default_rng(seed), 10, box))
        shot, tables = MOVES[kind]
        scene = scene_of(shot, **tables)
        move = plan_move(scene, scene.shot[0], built)
        found = clearance(built, scene, move)
        sampled = swept_by_steps(built, scene, move, np.linspace(0, move.take_s, 200))
        assert found.min_mm <= sampled + found.certified_to_mm
        assert sampled <= found.min_mm + CERTIFIED_MM + 1.5  # half a step of the fastest corner
        at = swept_by_steps(built, scene, move, np.array([found.at_take_s]))
        assert at == pytest.approx(found.min_mm, abs=1e-3)
        assert found.certified_to_mm <= CERTIFIED_MM
        assert found.queries < 200

    @pytest.mark.parametrize("kind", MOVES)
    def test_things_in_the_way(self, kind, set_of, box, scene_of):
        """Beads and blocks anywhere: contact is found wherever sampling finds it, and no later."""
        shot, tables = MOVES[kind]
        scene = scene_of(shot, **tables)
        for seed in range(4):
            built = set_of(**clutter(np.random.default_rng(seed), 6, box, aside_mm=0))
            move = plan_move(scene, scene.shot[0], built)
            found, moments = clearance(built, scene, move), np.linspace(0, move.take_s, 60)
            sampled = clearance_at(built, scene, move, moments)
            assert found.min_mm <= sampled.min() + found.certified_to_mm
            if not sampled.min():
                assert found.at_take_s <= moments[sampled.argmin()]
            assert clearance_at(built, scene, move, found.at_take_s)[0] == pytest.approx(found.min_mm, abs=CERTIFIED_MM)

    def test_a_graze_between_the_steps(self, set_of, box, scene_of):
        """Half a millimetre of pin in the way of a 10 s sideways slide: missed at 24 steps a second, found by the certified search."""
        built = set_of(floor=box([-240, -100, -40], [100, 1700, -30]), pin=box([-100.2, 754.0, -30], [-99.8, 754.35, -9.5]))
        scene = scene_of({"move": "slide", "from": [0, 0, 0], "to": [0, 1500, 0], "clip": 50})
        move = plan_move(scene, scene.shot[0], built)
        assert swept_by_steps(built, scene, move, np.linspace(0, 10, 241)) > 0.1
        found = clearance(built, scene, move)
        assert found.min_mm == 0 and found.between == ("lens barrel (20 mm)", "pin")
        touching = 754.0 - np.sqrt(10**2 - 9.5**2)
        assert found.at_take_s == pytest.approx(float(move.curve.moment(touching / 1500)), abs=1e-3)


@pytest.mark.parametrize("kind", ["arc with reach", "path", *ON_A_LIFT, *BY_HAND])
@settings(deadline=None, max_examples=3, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(0, 2**32 - 1), st.integers(1, 8), st.sampled_from([0, 25]))
def test_never_above_the_true_minimum_by_a_twentieth_of_a_millimetre(kind, set_of, box, scene_of, seed, count, aside_mm):
    """Random sets against brute force: dense sampling, then denser around the least, can only find what is larger than the truth."""
    built = set_of(**clutter(np.random.default_rng(seed), count, box, aside_mm))
    shot, tables = (MOVES | ON_A_LIFT | BY_HAND)[kind]
    scene = scene_of(shot, **tables)
    move = plan_move(scene, scene.shot[0], built)
    found = clearance(built, scene, move)
    moments = np.linspace(0, move.take_s, 240)
    sampled = clearance_at(built, scene, move, moments)
    around = np.clip(moments[sampled.argmin()] + np.linspace(-1, 1, 60) * moments[1], 0, move.take_s)
    assert found.min_mm <= min(sampled.min(), clearance_at(built, scene, move, around).min()) + 0.05
    assert found.certified_to_mm <= 0.05


class TestContact:
    """Solids that meet."""

    WALL = [[150, -100, -100], [155, 100, 100]]

    def test_is_told_at_the_first_moment(self, least, set_of, box, scene_of):
        """The tip reaches a wall 150 mm ahead, and then a second one."""
        built = set_of(wall=box(*self.WALL), second_wall=box([170, -100, -100], [175, 100, 100]))
        shot = {"move": "slide", "from": [0, 0, 0], "to": [200, 0, 0]}
        found = least(built, shot)
        scene = scene_of(shot)
        when = plan_move(scene, scene.shot[0], built).curve.moment(150 / 200)
        assert (found.min_mm, found.between) == (0, ("lens tip", "wall"))
        assert found.at_take_s == pytest.approx(float(when), abs=1e-3) and found.at_take_s <= when

    def test_at_the_start(self, least, set_of, box):
        """A still that stands in a wall."""
        found = least(set_of(wall=box(*self.WALL)), {"from": [160, 0, 0]})
        assert (found.min_mm, found.at_take_s, found.between[1]) == (0, 0, "wall")

    def test_resting_on_the_floor_is_contact(self, least, set_of, box):
        """Touching is touching."""
        found = least(set_of(floor=box([-300, -90, -20], [300, 90, -10])), {"move": "slide", "from": [0, 0, 0], "to": [20, 0, 0]})
        assert (found.min_mm, found.at_take_s) == (0, 0)

    def test_wholly_inside_a_solid(self, least, set_of, box):
        """Far from its skin, and in contact all the same."""
        block = box([-900, -900, -900], [900, 900, 900])
        found = least(set_of(block=block), {"move": "slide", "from": [0, 0, 0], "to": [20, 0, 0]})
        assert (found.min_mm, found.at_take_s) == (0, 0)
        assert found.between == ("lens barrel (20 mm)", "block")

    def test_a_prop_wholly_inside_the_body(self, least, set_of, box):
        """A bead where the camera stands."""
        found = least(set_of(bead=box([-300, -5, -5], [-290, 5, 5])), {"from": [0, 0, 0]})
        assert (found.min_mm, found.between) == (0, ("camera body", "bead"))

    @pytest.mark.parametrize("shot, travel", [(MOVES["slide"], None), (MOVES["arc with reach"], None), (({"move": "slide", "from": [0, -40, 0], "to": [0, 160, 0]}, {}), 90)])
    def test_a_bead_in_the_way(self, least, set_of, shot, travel, scene_of):
        """Far inside all that the barrel sweeps, where no skin of the sweep comes near it."""
        bead = trimesh.creation.icosphere(subdivisions=1, radius=0.5).apply_translation([-15, 60, 1] if travel else [-15, 0, 0])
        built = set_of(bead=bead)
        found = least(built, shot[0], **shot[1])
        assert found.min_mm == 0 and found.between[1] == "bead"
        if travel:
            move = plan_move(scene := scene_of(shot[0]), scene.shot[0], built)
            assert found.at_take_s == pytest.approx(float(move.curve.moment((travel - 0.5) / 200)), abs=1e-3)

    def test_in_a_hollow_solid_there_is_room(self, least, set_of, box):
        """A closed room around the rig is no contact: its walls are the solid."""
        room = trimesh.util.concatenate([box([-500] * 3, [500] * 3), _inside_out(box([-490] * 3, [490] * 3))])
        found = least(set_of(room=room), {"from": [0, 0, 0]})
        assert found.min_mm == pytest.approx(490 - 330)

    def test_a_sheet_with_no_thickness(self, least, set_of):
        """An open mesh is touched by its surface."""
        sheet = trimesh.Trimesh([[100, -50, -50], [100, 50, -50], [100, 0, 50]], [[0, 1, 2]])
        found = least(set_of(sheet=sheet), {"move": "slide", "from": [0, 0, 0], "to": [400, 0, 0]})
        assert (found.min_mm, found.between) == (0, ("lens tip", "sheet"))


def test_at_single_moments(set_of, box, scene_of):
    """Distance to a wall ahead, none once inside it, none inside a block."""
    scene = scene_of({"move": "slide", "from": [0, 0, 0], "to": [100, 0, 0], "ease": 0})
    move = plan_move(scene, scene.shot[0], set_of(wall=box([60, -90, -90], [300, 90, 90])))
    for name, solid, expected in (("wall", box([60, -90, -90], [300, 90, 90]), [60, 10, 0]), ("block", box([-900] * 3, [900] * 3), [0, 0, 0])):
        assert clearance_at(set_of(**{name: solid}), scene, move, [0, 1.5, 3]) == pytest.approx(expected)


def test_a_pan_that_flips_over_its_target_still_ends(least, set_of, box):
    """Straight over the point looked at, the search gives up on that instant and says what it has certified."""
    found = least(set_of(floor=box([-900, -900, -500], [900, 900, -490])), {"move": "arc", "from": [-50, 0, 0], "to": [50, 0, 0], "look": [0, 0, -100]})
    assert 0 <= found.min_mm - found.certified_to_mm <= found.min_mm


def test_the_same_question_gets_the_same_answer(least, set_of, box):
    """To the last bit."""
    built = set_of(**clutter(np.random.default_rng(5), 10, box))
    shot, tables = MOVES["arc with reach"]
    assert least(built, shot, **tables) == least(built, shot, **tables)


def _inside_out(mesh):
    mesh.invert()
    return mesh
