"""A take with the light moving against one with the light at rest."""

from dataclasses import replace

from rooms import plain_room

from previz.build.assemble import build_set
from previz.frames.still import lit_at_roll, still
from previz.rays.lit import light_set
from previz.rig.moves import plan_move
from previz.scene.model import Lift, Shot

GOAL_SHARE = 1.5
SIZE = (480, 270)


def test_a_frame_lit_anew(figures, seconds):
    """A draft frame of a take whose set rises costs at most half more than the same frame with the set at rest."""
    shot = Shot.model_validate({"name": "up", "move": "lift", "from": [150.0, 20.0, 90.0], "look": {"pan": 60.0}, "lift": [0.0, 30.0]})
    scene = plain_room().model_copy(update={"shot": (shot,), "lift": Lift(carries="set")})
    lit = lit_at_roll(light_set(scene, build_set(scene, folder=None)), shot)
    rising = plan_move(scene, shot, lit.built)
    resting = replace(rising, lift=(0.0, 0.0))
    draw = lambda move: still(lit, shot, move, move.take_s / 2, SIZE, quality="draft")  # noqa: E731
    resting_s, rising_s = seconds(lambda: draw(resting), lambda: draw(rising))
    figures.keep("lift", resting_seconds=resting_s, rising_seconds=rising_s, share=rising_s / resting_s)
    assert rising_s <= GOAL_SHARE * resting_s
