"""The plainest shaft in the frame: cut off by an edge, hidden by a prop; shares told by hand and by another library; remedies tried again."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import shapely

from previz.build.assemble import build_set
from previz.check import shown
from previz.check.finding import RULES
from previz.check.remedy import changes
from previz.check.seen import Looker
from previz.check.shaft import Shaft
from previz.rays.tracer import Tracer
from previz.rig.clearance import clearance
from previz.rig.moves import plan_move
from previz.scene.model import Scene

TABLE = {"name": "table", "kind": "box", "size": [60, 40, 30], "at": [150, 100, 0]}
CARD = {"name": "card", "kind": "box", "size": [80, 3, 120], "at": [200, 20, 0]}
STILL = {"move": "still", "to": None, "subject": None, "focus": 150, "from": [200, -60, 60], "look": {"pan": 90, "tilt": 0}}
AWAY = STILL | {"from": [150, -30, 60], "look": {"pan": 122, "tilt": 0}}
KEY = ("key", "window")


@pytest.fixture(scope="module")
def looker(altered_room):
    """A function that returns what looks at the shafts of the plain room, changed, and the move of its shot; nothing is lit."""

    def of(**tables):
        scene = Scene(**altered_room(slider=None, **tables))
        built = build_set(scene, Path("."))
        return shown.Shafts(built, Tracer(built.vertices, built.triangles), scene), plan_move(scene, scene.shot[0], built)

    return of


def figure(looker, **tables):
    """Return how the shaft of the key through the window sits in the frame."""
    shafts, move = looker(**tables)
    return shafts.shown(move, *KEY)


class TestRays:
    """Where the light goes, before anyone looks."""

    def test_length_by_similar_triangles(self, looker):
        """Over an empty floor each ray ends on it: z / (lamp's z - z) of its way from the lamp, measured from the middle of the wall."""
        shafts, _ = looker(prop=[], opening={"bars": None}, shot=STILL)
        rays = shafts.rays(*KEY)
        lamp, start = np.array([900.0, 100, 600]), rays.points[:, 0]
        way = (start - lamp) / np.linalg.norm(start - lamp, axis=1, keepdims=True)
        pane = lamp + way * ((302.5 - 900) / way[:, :1])
        to_floor = np.linalg.norm(pane - lamp, axis=1) * pane[:, 2] / (600 - pane[:, 2])
        # What lies in the wall's own thickness is no haze.
        in_wall = 2.5 / np.abs(way[:, 0])
        assert rays.lengths.sum(axis=1) == pytest.approx(to_floor - in_wall, abs=to_floor.max() / shown.ALONG)
        assert 100 < len(start) <= shown.ACROSS**2

    def test_haze_in_a_box_only(self, looker):
        """Light outside the haze is no shaft: a box over the floor's half keeps what passes through it."""
        whole, half = (looker(haze=haze)[0].rays(*KEY).lengths.sum() for haze in ({"extinction": 1}, {"extinction": 1, "fills": [[0, 0, 0], [300, 200, 40]]}))
        assert 0.2 * whole < half < 0.7 * whole

    @pytest.mark.parametrize("tables", [{"lamp": {"at": [100, 100, 900]}}, {"prop": [{"name": "flag", "kind": "box", "size": [2, 150, 180], "at": [320, 100, 0]}]}])
    def test_none_comes_through(self, looker, tables):
        """A lamp behind the wall, a flag before the window: no shaft, and no figure."""
        shafts, move = looker(shot=STILL, **tables)
        assert shafts.shown(move, *KEY) is None and shafts.strongest([KEY]) is None

    def test_strongest(self, looker):
        """Of two windows, the larger one; a wall left off that no light passes is none."""
        small = {"name": "slit", "wall": "room.east", "at": [20, 60], "size": [10, 90]}
        shafts, _ = looker()
        both, _ = looker(opening=[{"name": "window", "wall": "room.east", "at": [60, 60], "size": [80, 90]}, small])
        assert both.strongest([("key", "slit"), KEY, ("key", "room.south")]) == KEY and shafts.strongest([]) is None


class TestFramed:
    """What of it lies in the frame."""

    def test_turning_away(self, looker):
        """The farther the lens turns off it, the less; out of frame at last, past the edge that it lies beyond."""
        found = [figure(looker, shot=STILL | {"from": [150, -30, 60], "look": {"pan": pan, "tilt": 0}}) for pan in (70, 90, 115, 130)]
        shares = [one.framed_share for one in found]
        assert shares == sorted(shares, reverse=True) and shares[0] > 0.7 and shares[-1] < 0.01
        assert [one.cut_off for one in found] == [False, False, True, True] and {one.past for one in found[1:]} == {"right"}

    @pytest.mark.parametrize(("pan", "tilt", "past"), [(50, 0, "left"), (90, -50, "top"), (90, 75, "bottom"), (270, 0, shown.BEHIND_THE_LENS)])
    def test_which_edge(self, looker, pan, tilt, past):
        """Named is the edge that most of the rest lies past."""
        assert figure(looker, shot=STILL | {"from": [260, -60, 60], "look": {"pan": pan, "tilt": tilt}}).past == past

    def test_one_moment_is_enough(self, looker):
        """A move that comes to the shaft at its end is cut off at the start only: the best moment counts, and is named."""
        found = figure(looker, shot={"move": "path", "from": [-220, -60, 60], "to": [150, -60, 60], "look": [150, 1000, 60], "subject": None, "focus": 150})
        assert found.framed_share > 0.25 and found.framed_at_take_s == pytest.approx(1.0) and not found.cut_off

    def test_across_the_picture(self, looker):
        """A long lens in a wide shaft has little of it in frame, but all over: that is no shaft cut off."""
        found = figure(looker, shot=STILL | {"from": [235, -60, 60]}, lens={"focal": 100})
        assert found.framed_share < 0.1 and found.cover > 0.5 and not found.cut_off

    def test_thin_across_the_picture(self, looker):
        """Neither is a thin one that runs from edge to edge."""
        slit = {"at": [98, 62], "size": [4, 6], "bars": None}
        found = figure(looker, opening=slit, shot=STILL | {"from": [262, 0, 31]}, lens={"focal": 70})
        assert found.framed_share < shown.LEAST_FRAMED and found.cover < shown.LEAST_COVER and found.run > shown.LEAST_RUN and not found.cut_off


class TestHidden:
    """What stands before it."""

    def test_wider_hides_more(self, looker):
        """A card before the lens: none, part and all of it."""
        shares = [figure(looker, shot=STILL, prop=[TABLE, CARD | {"size": [wide, 3, 120]}]).hidden_share for wide in (0.1, 30, 80, 200)]
        assert shares == sorted(shares) and shares[0] < 0.06 and shares[-1] > 0.99

    def test_says_what(self, looker):
        """The prop that hides most, not the one that hides some."""
        found = figure(looker, shot=STILL, prop=[TABLE, CARD])
        assert found.hidden and found.behind == "card" and found.hidden_at_take_s == 0

    def test_against_another_library(self, looker):
        """Shares of lit length in frame and hidden: a projection written out here, and the card's outline in it by shapely."""
        eye, card = np.array([200.0, -60, 60]), CARD | {"size": [40, 3, 120]}
        shafts, move = looker(shot=STILL, prop=[card])
        found, rays = shafts.shown(move, *KEY), shafts.rays(*KEY)
        away, lengths = rays.points.reshape(-1, 3) - eye, rays.lengths.ravel()
        half = 36 / (2 * 24 * (1 + 24 / (150 - 24)))
        inside = (np.abs(away[:, 0]) <= half * away[:, 1]) & (np.abs(away[:, 2]) <= half * 9 / 16 * away[:, 1])
        corners = np.array([[x, y, z] for x in (180, 220) for y in (18.5, 21.5) for z in (0, 120)]) - eye
        outline = shapely.MultiPoint(corners[:, [0, 2]] / corners[:, [1]]).convex_hull
        hidden = inside & shapely.contains_xy(outline, away[:, 0] / away[:, 1], away[:, 2] / away[:, 1])
        assert found.framed_share == pytest.approx(lengths[inside].sum() / lengths.sum(), rel=1e-6)
        assert found.hidden_share == pytest.approx(lengths[hidden].sum() / lengths[inside].sum(), abs=0.005) and 0.3 < found.hidden_share < 0.7


def test_plainest(looker):
    """The first that shows; where none does, the one that lights up most haze; a set without openings by name has none."""
    shafts, move = looker(shot=STILL)
    scene, built = shafts.scene, shafts.built
    seen = [Shaft("key", name, 1.0, share, 50.0, True) for name, share in (("window", 0.3), ("room.south", 0.0))]
    unseen = [Shaft("key", name, 0.0, 0.0, 0.0, False) for name in ("room.south", "window")]
    found = [shown.shown(built, shafts.tracer, scene, move, each) for each in (seen, unseen, [Shaft("key", None, 1.0, 0.3, 50.0, True)], [])]
    assert [one and one.opening for one in found] == ["window", "window", None, None]


class TestRule:
    """What is said, and that it helps."""

    @pytest.fixture
    def told(self, looker, plain_study):
        """A function that returns a study of the plain room with another shot, and what the rule says of it: as lit, but for what its light alone tells."""

        def of(**tables):
            shafts, move = looker(**tables)
            built, scene = shafts.built, shafts.scene
            figures = {"clearance": clearance(built, scene, move), "framing": None, "seen": Looker(built).seen(scene, move), "shown": shafts.shown(move, *KEY)}
            taken = dataclasses.replace(plain_study.shots[0], shot=scene.shot[0], move=move, **figures)
            study = dataclasses.replace(plain_study, scene=scene, built=built, shots=(taken,))
            return study, list(RULES["shaft shown"](study))

        return of

    @pytest.mark.parametrize(
        ("tables", "says"),
        [
            ({"shot": AWAY}, "The frame cuts off the shaft of key through window: only 1.7 % of its length is in the picture, and most of the rest lies past the right edge."),
            ({"shot": STILL, "prop": [TABLE, CARD]}, "91 % of what the frame has of the shaft of key through window is hidden, most of it behind card."),
        ],
    )
    def test_the_remedy_works(self, told, looker, tables, says):
        """The change that is named, made again by hand: a quarter of it is in frame, and no more than half of that is hidden."""
        study, (finding,) = told(**tables)
        assert finding.level == "care" and finding.says == says
        pan = study.shots[0].move.fixed[0]
        (change,) = [one for one in changes(study.scene, study.scene.shot[0], np.array([np.cos(pan), np.sin(pan), 0.0])) if one.words == finding.remedy.split(", and ")[0].lower()]
        after = figure(looker, **tables | {"shot": tables["shot"] | {"from": list(change.shot.from_), "look": change.shot.look.model_dump()}})
        assert after.framed_share >= shown.LEAST_FRAMED and after.hidden_share <= shown.MOST_HIDDEN

    def test_no_number_where_none_helps(self, told):
        """A shaft behind the lens: no small change brings it in, so none is named."""
        _, (finding,) = told(shot=STILL | {"look": {"pan": 270, "tilt": 0}})
        assert "none of it comes into the picture, and most of it lies behind the lens" in finding.says and not any(letter.isdigit() for letter in finding.remedy)

    def test_silent_where_it_is_shown(self, plain_study):
        """Nothing to say of the plain room, whose figure is there all the same."""
        assert list(RULES["shaft shown"](plain_study)) == [] and plain_study.shots[0].shown.opening == "window"

    def test_silent_in_clear_air(self, unlit):
        """Without a shaft there is nothing to show."""
        study = unlit(slider=None, shot=AWAY)
        assert study.shots[0].shown is None and list(RULES["shaft shown"](study)) == []
