"""Framing: margins and what is hidden."""

import pytest

from previz.rays.tracer import Tracer
from previz.rig.framing import framing
from previz.rig.moves import plan_move

# 36 mm of sensor behind 18 mm focused far away: half the frame is as wide as it is far, and 9/16 as high.
WIDE = {"lens": {"focal": 18}, "body": {"sensor": [36, 24], "resolution": [1600, 900]}}


@pytest.fixture
def frame(scene_of):
    """Return a function: framing of a shot, focused far away, in a built set."""

    def frame(built, shot, **tables):
        scene = scene_of({"focus": 100_000.0, "subject": "clock"} | shot, **WIDE, **tables)
        move = plan_move(scene, scene.shot[0], built)
        return framing(built, Tracer(built.vertices, built.triangles), scene, scene.shot[0], move)

    return frame


@pytest.fixture
def clock(box):
    """A sheet of 20 x 20 mm, 100 mm ahead of the origin, on the axis."""
    return box([100, -10, -10], [100.001, 10, 10])


def test_margin_is_a_share_of_half_the_frame(frame, set_of, clock):
    """Corners at 0.1 across of 1 and 0.1 up of 9/16: the upper edge is the nearer."""
    found = frame(set_of(clock=clock), {})
    assert found.subject == "clock"
    assert found.worst_margin == pytest.approx(1 - 0.1 * 16 / 9, rel=1e-3)
    assert found.hidden_share == 0


def test_the_worst_of_the_take_is_told(frame, set_of, clock):
    """Sliding aside by 60 mm, the far corner ends 70 mm off the axis of 100."""
    found = frame(set_of(clock=clock), {"move": "slide", "from": [0, 0, 0], "to": [0, 60, 0]})
    assert found.worst_margin == pytest.approx(1 - 0.7, rel=1e-3)
    assert found.at_take_s == pytest.approx(3)


@pytest.mark.parametrize("look", [{"pan": 180}, {"pan": 90}, {"pan": -60}])
def test_out_of_frame_is_negative_and_bounded(frame, set_of, clock, look):
    """Behind, abreast or beyond the edge: below zero, no less than -1, and nothing is said to hide it."""
    found = frame(set_of(clock=clock), {"look": look})
    assert -1 <= found.worst_margin < 0
    assert found.hidden_share == 0


def test_a_screen_over_half_of_it_hides_half(frame, set_of, clock, box):
    """A wall halfway, ending on the axis."""
    found = frame(set_of(clock=clock, wall=box([50, 0, -50], [51, 50, 50])), {})
    assert found.hidden_share == pytest.approx(0.5, abs=0.02)


def test_what_stands_behind_or_beside_hides_nothing(frame, set_of, clock, box):
    """Only what is nearer than the subject's own surface counts."""
    built = set_of(clock=clock, wall=box([100.001, -90, -90], [120, 90, 90]), post=box([50, 8, -50], [52, 10, 50]))
    assert frame(built, {}).hidden_share == 0


def test_the_subject_does_not_hide_itself(frame, set_of, box):
    """A deep box shows its front; its own back is not missed."""
    assert frame(set_of(clock=box([100, -10, -10], [160, 10, 10])), {}).hidden_share == 0


def test_its_own_trim_does_not_hide_it(frame, set_of, clock, box):
    """A dial of 2 mm on its front is part of its look; a card 5 mm in front of it is not."""
    dial, card = box([98, -9, -9], [100, 9, 9]), box([94, -9, -9], [95, 9, 9])
    assert frame(set_of(clock=clock, dial=dial), {}).hidden_share == 0
    assert frame(set_of(clock=clock, card=card), {}).hidden_share > 0.8


def test_the_worst_hidden_share_of_the_take(frame, set_of, clock, box):
    """A post that the move passes hides it for a moment in the middle."""
    built = set_of(clock=clock, post=box([40, 10, -50], [60, 30, 50]))
    assert frame(built, {"move": "slide", "from": [0, 0, 0], "to": [0, 40, 0]}).hidden_share > 0.95


def test_a_subject_around_the_lens(frame, set_of, box):
    """A prop that reaches behind the lens has no margin, and no error."""
    found = frame(set_of(clock=box([-50, 20, -50], [150, 30, 50])), {})
    assert found.worst_margin == -1 and found.hidden_share == 0


def test_without_a_subject_there_is_nothing_to_frame(scene_of, set_of, clock):
    """A shot that looks at a place."""
    built, scene = set_of(clock=clock), scene_of({})
    move = plan_move(scene, scene.shot[0], built)
    assert framing(built, Tracer(built.vertices, built.triangles), scene, scene.shot[0], move) is None
