"""The rims that light passes, and the apertures that it has passed before."""

from pathlib import Path

import numpy as np
import pytest
import shapely

from previz.build.assemble import build_set
from previz.rays.panes import cleared, entered_before, outlines, panels, rims
from previz.scene.model import Scene

ROOM = {"name": "attic", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "height": 150, "wall": 6, "walls": ["south", "east", "north", "west"]}
WINDOW = {"name": "window", "wall": "attic.south", "at": [120, 60], "size": [60, 60]}
LAMP = np.array([150.0, -600, 500])


def built_with(*openings, room=ROOM):
    return build_set(Scene.model_validate({"room": [room], "opening": openings}), Path())


def panel_of(built, opening):
    return next(panel for panel in panels(built.apertures) if panel.apertures[0].opening == opening)


class TestRims:
    """Which end of each edge the light is limited by."""

    def test_light_from_above(self):
        """Falling light is cut by the sill's inner rim and the head's outer one; spreading light by the jambs' inner ones."""
        panel = panel_of(built_with(WINDOW), "window")
        along, depth = rims(list(panel.apertures), panel.throw(LAMP))
        upright = np.abs(along[:, 2]) > 0.5
        assert depth[upright].tolist() == pytest.approx([0, 0])
        assert sorted(depth[~upright]) == pytest.approx([0, 6])

    def test_bars(self):
        """The edges along bars have the bars' depth."""
        panel = panel_of(built_with(WINDOW | {"bars": {"columns": 2, "rows": 1, "width": 4, "depth": 3}}), "window")
        _, depth = rims(panel.panes["attic", "window", (0, 0)], panel.throw(LAMP))
        assert any(value in (1.5, 4.5) for value in np.round(depth, 6))

    def test_cuts_are_no_rims(self):
        """A concave pane is cut up, but only its six true edges bind."""
        ell = WINDOW | {"size": None, "shape": {"outline": [[0, 0], [60, 0], [60, 30], [20, 30], [20, 60], [0, 60]]}}
        panel = panel_of(built_with(ell), "window")
        (pieces,) = panel.panes.values()
        along, _ = rims(pieces, panel.throw(LAMP))
        assert len(pieces) > 1
        assert len(along) == 6
        assert outlines(panel, panel.throw(LAMP))[0].area == pytest.approx(2400 * (600 / 597) ** 2)


class TestWaysIn:
    """From where a panel lets light in, and what it has passed before."""

    def test_lamp_inside(self):
        """A lamp on the inner side, or inside the wall's thickness, throws nothing through."""
        panel = panel_of(built_with(WINDOW), "window")
        assert panel.throw(np.array([150.0, 50, 100])) is None
        assert panel.throw(np.array([150.0, -3, 100])) is None
        assert panel.throw(LAMP).height == pytest.approx(600)

    def test_entered_before(self):
        """A window that stands before a doorway is seen in the doorway's plane; the doorway is not before the window."""
        door = {"name": "door", "wall": "shed.south", "at": [50, 0], "size": [200, 140]}
        shed = ROOM | {"name": "shed", "plan": [[0, 212], [300, 212], [300, 400], [0, 400]]}
        built = build_set(Scene.model_validate({"room": [ROOM, shed], "opening": [WINDOW, door]}), Path())
        lamp = np.array([150.0, -600, 90])
        window, doorway = panel_of(built, "window"), panel_of(built, "door")
        assert len(entered_before(window, window.throw(lamp), built.apertures)) == 0
        throw = doorway.throw(lamp)
        before = entered_before(doorway, throw, built.apertures)
        assert shapely.area(before).sum() == pytest.approx(3600 * (812 / 597) ** 2)
        whole = outlines(doorway, throw)
        assert shapely.area(whole) - shapely.area(cleared(whole, before)) == pytest.approx(3600 * (812 / 597) ** 2)

    def test_lamp_between(self):
        """A lamp in the front room has the window behind it."""
        door = {"name": "door", "wall": "shed.south", "at": [50, 0], "size": [200, 140]}
        shed = ROOM | {"name": "shed", "plan": [[0, 212], [300, 212], [300, 400], [0, 400]]}
        built = build_set(Scene.model_validate({"room": [ROOM, shed], "opening": [WINDOW, door]}), Path())
        doorway = panel_of(built, "door")
        assert len(entered_before(doorway, doorway.throw(np.array([150.0, 50, 90])), built.apertures)) == 0
