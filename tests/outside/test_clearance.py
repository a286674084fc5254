"""Clearance against figures worked by hand from plane geometry, which need no outside source."""


import numpy as np
import pytest
import trimesh

from previz.build.built import BuiltSet, Part
from previz.rig.clearance import CERTIFIED_MM, clearance
from previz.rig.moves import plan_move
from previz.rig.solids import EXCESS_MM
from previz.scene.model import Scene

WITHIN_MM = CERTIFIED_MM + EXCESS_MM
"""The barrel's polygon is at most so much too large, and the search so much too high."""


def found(solids, shot, barrel=((250, 20),), **tables):
    """Return the clearance of a shot among solids (name -> low and high corner, or a mesh)."""
    meshes = [mesh if isinstance(mesh, trimesh.Trimesh) else trimesh.creation.box(bounds=mesh) for mesh in solids.values()]
    last = np.cumsum([len(mesh.faces) for mesh in meshes])
    parts = tuple(Part(name, "prop", name, int(b - len(m.faces)), int(b), True) for name, m, b in zip(solids, meshes, last))
    whole = trimesh.util.concatenate(meshes)
    count = len(whole.faces)
    built = BuiltSet(whole.vertices, whole.faces.astype(np.int32), np.zeros(count, np.int32), np.zeros((count, 3, 2)), (), parts, (), (), {})
    shot = {"name": "a", "clip": 15, "from": [0, 0, 0], "look": {"pan": 0}} | shot
    scene = Scene.model_validate({"lens": {"barrel": barrel}, "body": {"box": [10, 10, 10]}, "shot": [shot]} | tables)
    return clearance(built, scene, plan_move(scene, scene.shot[0], built))


def test_along_a_floor():
    """Height of the axis less the barrel's radius: 25 - 10."""
    floor = {"floor": ([-500, -100, -30], [500, 100, -25])}
    answer = found(floor, {"move": "slide", "to": [100, 0, 0]})
    assert answer.min_mm == pytest.approx(15, abs=1e-9)
    assert answer.between[1] == "floor"


def test_the_thicker_section_is_nearer():
    """25 - 15 under the second section's 30 mm."""
    answer = found({"floor": ([-500, -100, -30], [500, 100, -25])}, {"move": "slide", "to": [100, 0, 0]}, barrel=((100, 20), (100, 30)))
    assert answer.min_mm == pytest.approx(10, abs=1e-9)
    assert answer.between == ("lens barrel (30 mm)", "floor")


def test_past_the_long_edge_of_a_block():
    """From a level axis to an edge 30 mm aside and 40 mm below, less the radius: 50 - 10."""
    answer = found({"block": ([-500, 30, -100], [500, 90, -40])}, {"move": "slide", "to": [100, 0, 0]})
    assert answer.min_mm == pytest.approx(40, abs=WITHIN_MM) and answer.min_mm <= 40 + CERTIFIED_MM


def test_through_a_doorway():
    """An opening of 30 x 40 mm passed on its middle: (30 - 20) / 2 at its sides."""
    wall = {
        "left": ([50, 15, -100], [55, 100, 100]),
        "right": ([50, -100, -100], [55, -15, 100]),
        "over": ([50, -15, 20], [55, 15, 100]),
        "under": ([50, -15, -100], [55, 15, -20]),
    }
    answer = found(wall, {"move": "slide", "to": [100, 0, 0]})
    assert answer.min_mm == pytest.approx(5, abs=1e-9)
    assert answer.between[1] in ("left", "right")


def test_toward_a_ball():
    """The flat front stops 12 mm short of the ball's nearest point, on the axis."""
    ball = trimesh.creation.icosphere(subdivisions=4, radius=8)  # it has a vertex at (-8, 0, 0)
    ball.apply_translation([120, 0, 0])
    answer = found({"ball": ball}, {"move": "slide", "to": [100, 0, 0]})
    assert answer.min_mm == pytest.approx(12, abs=1e-3)
    assert answer.at_take_s == pytest.approx(3, abs=0.05) and answer.between == ("lens tip", "ball")


def test_sideways_past_a_post_the_nearest_moment_is_abreast():
    """A post 7 mm ahead of the front, halfway along: the S-curve is at half its travel at half time, where the front faces it."""
    answer = found({"post": ([7, 199, -50], [9, 201, 50])}, {"move": "slide", "from": [0, 0, 0], "to": [0, 400, 0]})
    assert answer.min_mm == pytest.approx(7, abs=1e-9)
    # The flat front, 20 mm wide, faces the post, 2 mm wide, for 22 mm of travel at 400 / 2.25 mm a second.
    assert abs(answer.at_take_s - 1.5) <= 11 / (400 / 2.25) + 1e-6


@pytest.mark.parametrize("reach", [150, 300])
def test_a_pan_that_swings_the_tip_toward_a_wall(reach):
    """
    The pan axis slides along y toward a target on the x axis; the front's outer corner is at reach from the axis, half a
    diameter aside. Its greatest y is found along the closed form of the pan, atan2(-y, target).
    """
    target, wall_y = 500.0, 260.0
    slider = {"from": [0, 0, 0], "to": [0, 300, 0], "reach": reach, "rise": 0, "max_speed": 500, "pan_speed": 500}
    answer = found(
        {"wall": ([-900, wall_y, -50], [900, wall_y + 5, 50])},
        {"move": "arc", "from": 0, "to": 200, "look": [target, 0, 0]},
        barrel=((20, 20),),
        body={"box": [10, 10, 1]},
        slider=slider,
    )
    y = np.linspace(0, 200, 200_001)
    pan = np.arctan2(-y, target)
    corners = [y + (reach - back) * np.sin(pan) + 10 * np.cos(pan) for back in (0, 20)]
    assert answer.min_mm == pytest.approx(wall_y - np.max(corners), abs=WITHIN_MM)
