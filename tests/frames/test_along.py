"""Light along the take: a lift that moves set and lamps against each other."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.build.assemble import build_set
from previz.camera.view import View
from previz.frames.along import lamp_rises, light_moves, lit_at_height, lit_at_moment
from previz.frames.hazed import hazed_frame
from previz.frames.reel import frame_moments, outlines_at
from previz.frames.still import still
from previz.rays.lit import light_set
from previz.rays.patches import patches
from previz.rig.moves import plan_move
from previz.scene.model import Scene

KEY = {"name": "key", "kind": "disc", "at": [700, 75, 400], "toward": [198.5, 75, 60], "diameter": 40, "lux_at_1m": 20000}
CANDLE = {"name": "candle", "kind": "point", "at": [60, 40, 50], "toward": [60, 40, 0], "candela": 2}
SHED = {
    "room": [{"name": "shed", "plan": [[0, 0], [200, 0], [200, 150], [0, 150]], "walls": ["s", "e", "n", "w"], "open": ["w"], "height": 100}],
    "opening": [{"name": "window", "wall": "shed.e", "at": [50, 40], "size": [40, 40]}],
    "lamp": [KEY],
    "haze": {"extinction": 1.0},
    "lift": {"carries": "set"},
    "shot": [{"name": "up", "clip": 1, "move": "lift", "from": [-60, 75, 50], "look": {"pan": 0}, "lift": [0, 30]}],
}


def lit_of(**changes):
    scene = Scene.model_validate(SHED | changes)
    return light_set(scene, build_set(scene, Path(".")), texels=300, rays=16, workers=2)


@pytest.fixture(scope="module")
def lit():
    """The shed, lit coarsely, its lift at 0."""
    return lit_of()


@pytest.fixture(scope="module")
def move(lit):
    """Its only shot."""
    return plan_move(lit.scene, lit.scene.shot[0], lit.built)


def test_a_set_raised_is_a_lamp_lowered(lit):
    """Light, bounced light and patches as in a file whose lamp stands 30 mm lower."""
    raised, lowered = lit_at_height(lit, 30.0), lit_of(lamp=[KEY | {"at": [700, 75, 370], "toward": [198.5, 75, 30]}])
    assert raised.lift_mm == 30
    assert_allclose(raised.bounce.texel, lowered.bounce.texel, rtol=1e-5, atol=1e-9)
    view = View((20.0, 75.0, 50.0), (1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0), 0.5, 0.3, 32, 18)
    frames = [hazed_frame(one, view, passes=1, workers=1) for one in (raised, lowered)]
    assert_allclose(*frames, rtol=1e-4, atol=1e-6)
    one, other = (patches(there.built, there.emitters, there) for there in (raised, lowered))
    assert_allclose([p.centre_mm for p in one], [p.centre_mm for p in other], atol=1e-6)


def test_there_and_back(lit):
    """Down again, the lamp stands where it stood; at the same height nothing is done."""
    raised = lit_at_height(lit, 30.0)
    assert_allclose(lit_at_height(raised, 0.0).emitters[0].centre, lit.emitters[0].centre)
    assert lit_at_height(raised, 30.0) is raised and lit_at_height(lit, 0.0) is lit


@pytest.mark.parametrize(
    "carries, rides, expected",
    [("set", (None, None), [-1, 0]), ("set", ("lift", "floor"), [0, -1]), ("camera", (None, None), [0, 0]), ("camera", ("lift", None), [1, 0])],
)
def test_what_rides_on_what(lit, carries, rides, expected):
    """Lamps stand on the floor unless they ride; one inside the set goes with the set."""
    lamps = [lamp | {"rides": ride} for lamp, ride in zip((KEY, CANDLE), rides)]
    scene = Scene.model_validate(SHED | {"lamp": lamps, "lift": {"carries": carries}})
    assert_allclose(lamp_rises(scene, lit.built), expected)
    assert not lamp_rises(scene.model_copy(update={"lift": None}), lit.built).any()


def test_along_the_take(lit, move):
    """Each picture has the light of its own moment, and each is a picture of its own even where the camera rides along."""
    shot = lit.scene.shot[0]
    assert light_moves(lit, move) and lit_at_moment(lit, move, move.take_s / 2).lift_mm == pytest.approx(15)
    assert outlines_at(lit, move, 0.0) is None and len(outlines_at(lit, move, move.take_s)) > 0
    aboard = replace(move, track=move.rail)
    assert not aboard.length and len(set(frame_moments(shot, aboard)[0])) == 24
    first, last = (still(lit, shot, aboard, t, (32, 18), quality="draft", workers=1).linear for t in (0.0, move.take_s))
    assert np.abs(first - last).max() > 0.05 * first.max()
