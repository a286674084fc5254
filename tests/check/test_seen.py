"""Light against camera: the lens's shadow, a lamp in frame, the edge of the set; remedies are tried again here."""

from pathlib import Path

import numpy as np
import pytest

from previz.build.assemble import build_set
from previz.check import seen
from previz.check.finding import RULES
from previz.check.remedy import changes
from previz.rig.moves import plan_move
from previz.scene.model import Scene

STILL = {"move": "still", "to": None, "subject": None, "focus": 150}
IN_THE_BEAM = STILL | {"from": [252, 90, 75], "look": {"pan": 165, "tilt": -35}}
AT_THE_LAMP = STILL | {"from": [150, 100, 80], "look": {"pan": 0, "tilt": 20}}
PAST_THE_SET = STILL | {"from": [150, 150, 60], "look": {"pan": -95, "tilt": 0}}

OVER_THE_WALL = {
    "room": [{"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["south", "east", "north", "west"], "height": 60, "ceiling": False}],
    "opening": [],
    "lamp": [],
    "lens": {"barrel": [[20, 10]]},
    "body": {"box": [10, 10, 10]},
    "shot": STILL | {"from": [60, 100, 30], "look": {"pan": 0, "tilt": 0}},
}


@pytest.fixture(scope="module")
def figures(altered_room):
    """A function that returns what is seen of the plain room's shot, changed, without lighting it."""

    def of(**tables):
        scene = Scene(**altered_room(slider=None, **tables))
        built = build_set(scene, Path("."))
        return seen.Looker(built).seen(scene, plan_move(scene, scene.shot[0], built))

    return of


class TestShadow:
    """Lens and body in the light."""

    def test_in_the_beam(self, figures):
        """A lens that hangs in the window's light shades some of what it sees, a thicker one more."""
        thin, thick = (figures(shot=IN_THE_BEAM, lens={"barrel": [[45, wide]]}, body={"box": [8, 8, 8]}).shadow for wide in (8, 24))
        assert 0 < seen.share(thin) < seen.share(thick) <= 1 and thick.what == "key"

    def test_out_of_it(self, figures):
        """From the open side, behind the light, it shades nothing."""
        assert figures().shadow is None

    def test_in_the_shafts(self, figures):
        """The same lens shades haze in frame as well, a thicker one more; there is none to shade in clear air."""
        thin, thick = (figures(shot=IN_THE_BEAM, lens={"barrel": [[45, wide]]}, body={"box": [8, 8, 8]}).shafts for wide in (8, 24))
        assert 0 < seen.share(thin) < seen.share(thick) <= 1 and thick.what == "key"
        assert figures(shot=IN_THE_BEAM, lens={"barrel": [[45, 24]]}, haze={"extinction": 0}).shafts is None
        assert figures().shafts is None

    def test_no_light_no_shadow(self, figures):
        """A lamp behind the wall lights nothing that could be shaded."""
        assert figures(shot=IN_THE_BEAM, lamp={"at": [-600, 100, 600]}).shadow is None


class TestLamp:
    """The key in the picture."""

    def test_looks_into_it(self, figures):
        """Straight at the lamp, through the panes: a share of its face."""
        found = figures(shot=AT_THE_LAMP, opening={"bars": None}, lamp={"at": [900, 100, 353]}).lamp
        assert found.what == "key" and found.share == 1

    def test_the_wall_hides_it(self, figures):
        """The same lamp in the same direction, its window walled up."""
        assert figures(shot=AT_THE_LAMP, opening={"at": [5, 5], "size": [10, 10], "bars": None}, lamp={"at": [900, 100, 353]}).lamp is None

    def test_out_of_frame(self, figures):
        """A lens that looks the other way."""
        assert figures(shot=AT_THE_LAMP | {"look": {"pan": 180}}).lamp is None

    def test_a_practical_is_meant_to_be_seen(self, figures):
        """A lamp inside the set is no fault."""
        assert figures(shot=AT_THE_LAMP, lamp={"at": [250, 100, 110], "toward": [150, 100, 0]}).lamp is None


class TestEdge:
    """What lies past the set."""

    def test_out_of_the_open_side(self, figures):
        """A lens turned round to the wall that was left off looks out of the set."""
        assert figures(shot=PAST_THE_SET).beyond.share > 0.3

    def test_through_a_window_is_no_edge(self, figures):
        """A window may be looked out of."""
        assert figures(shot=STILL | {"from": [150, 100, 100], "look": {"pan": 0, "tilt": 0}}).beyond is None

    def test_closed_all_round(self, figures):
        """Nothing is past a set that the lens is inside of."""
        room = [{"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["south", "east", "north", "west"], "height": 180}]
        assert figures(shot=PAST_THE_SET, room=room).beyond is None

    def test_share_is_that_of_the_frame(self, figures):
        """Without a ceiling, all above the walls' tops: they rise 30 over the eye, 270 ahead and 100 to each side, by similar triangles."""
        room = [{"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["south", "east", "north", "west"], "height": 60, "ceiling": False}]
        found = figures(room=room, opening=[], lamp=[], shot=STILL | {"from": [30, 100, 30], "look": {"pan": 0, "tilt": 0}}).beyond
        half_width = 36 / (2 * 24 * (1 + 24 / (150 - 24)))
        across = np.linspace(-half_width, half_width, 10_001)
        top = np.maximum(30 / 270, 30 / 100 * np.abs(across))
        expected = (1 - top / (half_width * 9 / 16)).clip(0).mean() / 2
        assert found.what == "top" and found.share == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize(
    "name, kind, tables",
    [
        ("lens shadow", "shadow", {"shot": IN_THE_BEAM}),
        ("lamp in frame", "lamp", {"shot": AT_THE_LAMP | {"look": {"pan": 0, "tilt": 20}}, "lamp": {"at": [900, 100, 353]}, "lens": {"barrel": [[60, 10]]}}),
        ("edge of the set", "beyond", OVER_THE_WALL),
        ("edge of the set", "beyond", {"shot": STILL | {"from": [150, 10, 60], "look": {"pan": 165, "tilt": 0}}, "lens": {"barrel": [[60, 10]]}}),
    ],
)
def test_the_remedy_works(study_of, name, kind, tables):
    """The change that is named, made again: the rule is silent."""
    study = study_of(slider=None, haze={"extinction": 0}, **tables)
    (finding,) = RULES[name](study)
    assert finding.level == "care"
    forward = np.array([np.cos(study.shots[0].move.fixed[0]), np.sin(study.shots[0].move.fixed[0]), 0.0])
    named = finding.remedy.split(", and ")[0].lower()
    (change,) = [one for one in changes(study.scene, study.scene.shot[0], forward) if one.words == named]
    after = seen.Looker(study.built).seen(change.scene, plan_move(change.scene, change.shot, study.built))
    assert seen.share(getattr(after, kind)) <= {"shadow": seen.SHADOW_SHARE, "lamp": 0.0, "beyond": seen.EDGE_SHARE}[kind]


def test_silent_where_all_is_well(plain_study):
    """Nothing to say of the plain room."""
    assert [finding for name in ("lens shadow", "lamp in frame", "edge of the set") for finding in RULES[name](plain_study)] == []


def test_the_top_of_a_wall(figures, unlit):
    """A lens that looks over a low wall without a ceiling, from lower and from higher than its top: said, with where; a wall that fills the frame is no edge."""
    (finding,) = RULES["edge of the set"](unlit(slider=None, **{name: table for name, table in OVER_THE_WALL.items() if name != "lamp"}))
    assert finding.says.startswith("The picture looks past the set, or on a cut edge of it") and "most at the top" in finding.says
    from_above = {"shot": STILL | {"from": [60, 100, 90], "look": {"pan": 0, "tilt": -15}}}
    assert figures(**OVER_THE_WALL | from_above).beyond.what == "top"
    assert figures(**OVER_THE_WALL | {"shot": STILL | {"from": [250, 100, 20], "look": {"pan": 0, "tilt": -5}}, "room": OVER_THE_WALL["room"][0] | {"height": 180}}).beyond is None
