"""Drawing data: the same shapes that are built, in millimetres, and where everything stands."""

import json
from functools import reduce

import numpy as np
import pytest
import shapely

from previz.bench.drawn import Drawer
from previz.build.load import set_from
from previz.scene.read import read_scene, scene_from


@pytest.fixture
def drawing(scene_file):
    """Drawing data of the plain room."""
    file = read_scene(scene_file)
    return Drawer().drawing(file, set_from(file))


def area(rings):
    """The area of rings filled by the even-odd rule. [mm2]"""
    return reduce(shapely.symmetric_difference, map(shapely.Polygon, rings)).area


def test_plan_cuts_walls_and_not_the_opening(drawing):
    """At the height of the window the three walls are cut, but for its 80 mm and with its one upright bar of 4 mm."""
    # Inside 300 x 200; walls 5 mm: east and west square at the open side, the north one between their outer corners.
    walls = 310 * 205 - 300 * 200
    assert area(drawing["plan"]["cut"]) == pytest.approx(walls - 80 * 5 + 4 * 4, abs=0.5)
    assert 60 < drawing["plan"]["cut_mm"] < 150


def test_props_and_floor_lie_below(drawing):
    """The table as the rectangle that it is, the floor out to the walls' outer faces."""
    below = {one["name"]: one["rings"] for one in drawing["plan"]["below"]}
    assert shapely.Polygon(below["table"][0]).bounds == (120, 80, 180, 120)
    assert area(below["room.floor"]) == pytest.approx(310 * 205)


def test_openings_are_lines_across_their_walls(drawing):
    """In the plan the window's width, in the middle of the wall; in the section, square to which it lies, its height."""
    (plan,), (section,) = drawing["plan"]["openings"], drawing["section"]["openings"]
    assert plan["name"] == "window" and plan["on"] == "room.east"
    assert sorted(plan["line"]) == [[302.5, 60], [302.5, 140]]
    assert drawing["section"]["along"] == "y" and drawing["section"]["at_mm"] == pytest.approx(150, abs=40)
    assert np.ptp(section["line"], axis=0).tolist() in ([80, 0], [0, 90])


def test_walls_have_the_coordinates_that_openings_are_typed_in(drawing):
    """Seen from outside: the cut where the file has it, two columns of three panes between the bars."""
    wall = next(wall for wall in drawing["walls"] if wall["name"] == "room.east")
    (window,) = wall["openings"]
    assert (window["at"], window["size"], window["row"], window["repeated"]) == ([60, 60], [80, 90], "window", False)
    assert shapely.Polygon(window["outline"]).bounds == (60, 60, 140, 150)
    assert area(window["bars"]) == pytest.approx(4 * 90 + 2 * 4 * 80 - 2 * 4 * 4)
    assert wall["min_web_mm"] == 10
    assert [wall["name"] for wall in drawing["walls"]] == ["room.east", "room.north", "room.west", "room.floor", "room.ceiling"]


def test_rows_are_told_by_the_name_that_was_typed(scene_file):
    """Of an opening that the file repeats each is drawn, and all belong to one row."""
    text = scene_file.read_text().replace("size = [80, 90]\nbars", "size = [20, 90]\nrepeat = { count = 3, step = [40, 0] }\n# bars")
    file = scene_from(text, scene_file)
    wall = next(wall for wall in Drawer().drawing(file, set_from(file))["walls"] if wall["name"] == "room.east")
    assert [(one["name"], one["row"], one["repeated"]) for one in wall["openings"]] == [(f"window-{i}", "window", True) for i in (1, 2, 3)]


def test_lamps_and_shots_stand_where_they_are(drawing):
    """The rim of a disc of 60 mm is 30 mm from its middle; the path runs from one end to the other; only points can be dragged."""
    (lamp,), (shot,) = drawing["lamps"], drawing["shots"]
    assert np.linalg.norm(np.array(lamp["emits"]) - lamp["at"], axis=1) == pytest.approx(30, abs=0.01)
    assert lamp["toward"] == [302.5, 100, 105] and not lamp["inside"]
    assert shot["path"][0] == [120, -30, 60] and shot["path"][-1] == [180, -30, 60]
    assert shot["subject"] == {"name": "table", "at": [150, 100, 15]}
    assert shot["editable"] == {"from": ["shot", "past the table", "from"], "to": ["shot", "past the table", "to"]}
    assert shot["pan"] == [90.0] * len(shot["take_at"])


def test_a_shot_has_its_own_lamps(scene_file):
    """Where that shot says other than the file, under its own key; what it does not say, under the lamp's; a lamp that is out stays on the drawing."""
    own = 'lamps = { key = { at = [800, 50, 500] } }'
    rest = '\n[[shot]]\nname = "dark"\nmove = "still"\nfrom = [120, -30, 60]\nlook = { pan = 90 }\nlamps = { key = false }\n'
    text = scene_file.read_text().replace('subject = "table"', f'subject = "table"\n{own}')
    file = scene_from(text + rest, scene_file)
    drawing = Drawer().drawing(file, set_from(file))
    (lamp,), (dark,) = (shot["lamps"] for shot in drawing["shots"])
    assert drawing["lamps"][0]["at"] == dark["at"] != lamp["at"] == [800, 50, 500]
    assert lamp["keys"] == {"at": ["shot", "past the table", "lamps", "key", "at"], "toward": ["lamp", "key", "toward"]}
    assert dark["out"] and not lamp["out"] and dark["keys"] == drawing["lamps"][0]["keys"]


def test_the_section_goes_through_the_shot_that_is_asked_for(scene_file):
    """The first shot looks along y through the table's middle; one that looks along x past it is cut along that; without a name it is the first."""
    more = '\n[[shot]]\nname = "across"\nmove = "still"\nfrom = [20, 60, 60]\nlook = { pan = 0 }\nfocus = [150, 60, 60]\n'
    file = scene_from(scene_file.read_text() + more, scene_file)
    built = set_from(file)
    sections = [Drawer().drawing(file, built, name)["section"] for name in ("across", "past the table", None, "none of these")]
    assert [(one["shot"], one["along"]) for one in sections] == [("across", "x"), *3 * [("past the table", "y")]]
    assert sections[0]["at_mm"] == pytest.approx(60) and area(sections[0]["cut"]) > 0


def test_it_is_plain_json(drawing):
    """No number that JSON has not."""
    assert json.loads(json.dumps(drawing, allow_nan=False)) == drawing


def test_what_was_not_moved_is_not_drawn_again(scene_file, monkeypatch):
    """A window dragged along its wall: of 8 solids, seen two ways, the wall and its bars alone are taken apart anew."""
    from previz.bench import drawn

    asked = []
    apart = drawn.apart_at
    monkeypatch.setattr(drawn, "apart_at", lambda *solid: asked.append(solid) or apart(*solid))
    drawer, file = Drawer(), read_scene(scene_file)
    drawer.drawing(file, set_from(file))
    assert len(asked) == 2 * len(set_from(file).parts)
    asked.clear()
    moved = scene_from(scene_file.read_text().replace("at = [60, 60]", "at = [70, 60]"), scene_file)
    drawer.drawing(moved, set_from(moved))
    assert len(asked) == 2 * 2
