"""What carries lamps, lens and set, as thin solids: where they stand, how high they reach, and what is left out."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.build.assemble import build_set
from previz.frames.along import lamp_rises
from previz.light.lamps import emitters
from previz.rig.moves import plan_move
from previz.rig.supports import BAR_FACES, COLUMN_MM, LIFT_MM, RAIL_MM, Bar, supports
from previz.scene.model import Scene

ROOM = {"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "height": 180, "wall": 5, "floor": {"thickness": 5}}
LAMP = {"name": "key", "kind": "disc", "diameter": 60, "at": [900, 100, 600], "toward": [300, 100, 100], "candela": 1000}
SHOT = {"name": "a", "move": "still", "from": [150, 100, 60], "look": {"pan": 90}, "clip": 5}
RAIL = {"from": [-300, 0, 20], "to": [-300, 200, 20], "reach": 380, "rise": 60}


def standing(take_s=0.0, **tables):
    """Return what stands around, by kind."""
    scene = Scene(**{"room": [ROOM], "lamp": [LAMP], "shot": [SHOT]} | tables)
    built = build_set(scene, Path("."))
    move = plan_move(scene, scene.shot[0], built)
    return {one.kind: one for one in supports(scene, built, scene.shot[0], move, take_s, emitters(scene, built), lamp_rises(scene, built))}


class TestBar:
    """A box along a line."""

    @pytest.mark.parametrize("last", [(0, 0, 50), (30, 0, 0), (20, -40, 10)])
    def test_a_closed_box_around_its_middle(self, last):
        """Its volume by the divergence theorem is length x width squared, whatever way its faces turn; its corners lie half a diagonal off."""
        bar = Bar(np.zeros(3), np.array(last, float), 10.0)
        corners = bar.corners()
        assert_allclose(corners.mean(axis=0), np.array(last) / 2)
        assert_allclose(np.linalg.norm(np.cross(corners, np.array(last)), axis=1) / bar.length, np.sqrt(50))
        volume = np.abs(np.einsum("ij,ij->i", corners[BAR_FACES][:, 0] - corners.mean(axis=0), np.cross(*np.moveaxis(corners[BAR_FACES] - corners.mean(axis=0), 1, 0)[1:]))).sum() / 6
        assert volume == pytest.approx(bar.length * 100)


class TestStand:
    """From the lamp down to the floor."""

    def test_down_to_the_floor(self):
        """The face's lower rim stands up to 30 mm under its middle; the table is 750 high under a floor of 5 mm; three legs as wide as the base."""
        column, *legs = standing(stand={"base": 500})["stand"].bars
        assert column.thick == COLUMN_MM and 570 <= column.first[2] < 600
        assert_allclose([*column.first[:2], *column.last], [900, 100, 900, 100, -755])
        assert_allclose([leg.length for leg in legs], 250)
        assert_allclose((legs[0].last - legs[0].first)[:2], [-250, 0], atol=1e-9)

    @pytest.mark.parametrize(
        "tables",
        [
            {"lamp": [LAMP | {"at": [150, 100, 150], "toward": [150, 100, 0]}]},
            {"lamp": [LAMP | {"at": [150, 100, 900], "toward": [150, 100, 0]}]},
            {"stand": {"reach": 200}},
            {"lamp": [LAMP | {"rides": "lift"}], "lift": {"carries": "camera"}},
        ],
        ids=["in the set", "above it", "hung out", "on the camera's lift"],
    )
    def test_left_out(self, tables):
        """Where no column stands, or nobody knows where."""
        assert "stand" not in standing(**tables)

    def test_on_the_lift(self):
        """It stands on the table, without legs, and goes with the set."""
        (column,) = standing(lamp=[LAMP | {"rides": "lift"}], lift={"carries": "set"}, shot=[SHOT | {"lift": 20}])["stand"].bars
        assert column.last[2] == -5

    def test_sinks_past_a_set_that_rises(self):
        """20 mm of lift are 20 mm down, seen from the set."""
        low, high = (standing(lift={"carries": "set"}, shot=[SHOT | {"lift": lift}])["stand"].bars[0] for lift in (0, 20))
        assert_allclose(low.first - high.first, [0, 0, 20])
        assert_allclose(low.last - high.last, [0, 0, 20])


class TestSlider:
    """The rail where the file has it, and what stands on it."""

    def test_under_the_line(self):
        """Its top is where the rail is measured; the carriage's post ends half a body under the lens."""
        slide = SHOT | {"move": "slide", "from": 50, "to": 150, "look": {"pan": 0}}
        found = standing(1.0, slider=RAIL, shot=[slide], body={"box": [130, 90, 80]})
        (rail,), (post,) = found["rail"].bars, found["carriage"].bars
        assert_allclose(rail.corners()[:, 2].max(), 20)
        assert rail.thick == RAIL_MM and rail.length == 200
        assert_allclose([post.first, post.last], [[-300, 150, 20], [-300, 150, 35]])

    def test_a_camera_beside_it(self):
        """The rail is still there, without a carriage; a lift that carries the camera has taken it along."""
        assert set(standing(slider=RAIL)) == {"stand", "rail"}
        assert "rail" not in standing(slider=RAIL, lift={"carries": "camera"})

    def test_no_height(self):
        """`rise` was not measured."""
        assert "rail" not in standing(slider=RAIL | {"rise": 0})


class TestLift:
    """Under the set or under the camera."""

    def test_under_a_set(self):
        """Nothing where the set stands on the table; as much as riser and lift leave else."""
        assert "lift" not in standing(lift={"carries": "set"})
        (column,) = standing(lift={"carries": "set"}, table={"riser": 40}, shot=[SHOT | {"lift": 10}])["lift"].bars
        assert column.thick == LIFT_MM
        assert_allclose([column.first, column.last], [[150, 100, -5], [150, 100, -50]])

    def test_under_a_rail(self):
        """From the rail's middle to the table's top, for a rail higher than that; to the floor for a lower one."""
        slide = SHOT | {"move": "slide", "from": 50, "to": 150, "look": {"pan": 0}, "lift": 10}
        (column,) = standing(slider=RAIL, lift={"carries": "camera"}, shot=[slide])["lift"].bars
        assert_allclose([column.first, column.last], [[-300, 100, 15], [-300, 100, -5]])
        low = RAIL | {"from": [-300, 0, -60], "to": [-300, 200, -60], "rise": 140}
        assert standing(slider=low, lift={"carries": "camera"}, shot=[slide])["lift"].bars[0].last[2] == -755

    def test_under_a_body(self):
        """Behind a barrel that reaches into the set; not below a lens that looks down on it, nor for hands, nor through the set."""
        lens = {"barrel": [[250, 20]]}
        outside = SHOT | {"from": [-50, 100, 90], "look": {"pan": 0, "tilt": 0}}
        (column,) = standing(lift={"carries": "camera"}, lens=lens, shot=[outside], body={"box": [130, 90, 80]})["lift"].bars
        assert_allclose(column.first[:2], [-50 - 250 - 40, 100])
        through = SHOT | {"look": {"pan": 90, "tilt": 0}, "from": [150, 400, 60]}
        for shot in (outside | {"look": {"pan": 0, "tilt": -60}}, outside | {"move": "hand"}, through):
            assert "lift" not in standing(lift={"carries": "camera"}, lens=lens, shot=[shot])
