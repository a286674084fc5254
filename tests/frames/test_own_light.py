"""Shots with light of their own: one bake for all of them, and the picture that a scene written for that shot alone gives."""

from pathlib import Path

import numpy as np
import pytest

from previz.build.assemble import build_set
from previz.frames.still import KEPT, lit_at_roll
from previz.rays.lit import light_set
from previz.scene.model import Scene
from previz.scene.shots import scene_of

SHED = {
    "room": [{"name": "shed", "plan": [[0, 0], [200, 0], [200, 150], [0, 150]], "walls": ["s", "e", "n", "w"], "open": ["w"], "height": 100}],
    "opening": [{"name": "window", "wall": "shed.e", "at": [50, 40], "size": [40, 40]}],
    "lamp": [
        {"name": "key", "kind": "disc", "at": [700, 75, 400], "toward": "window", "diameter": 40, "lux_at_1m": 20000, "measured": [{"at": [150, 75, 20], "lux": 900}]},
        {"name": "glow", "kind": "point", "at": [100, 40, 30], "toward": [100, 100, 0], "candela": 2, "colour": 2700},
    ],
    "haze": {"extinction": 1.0, "half_life": 30},
}
SHOTS = {
    "as written": {},
    "glow out": {"lamps": {"glow": False}},
    "key moved": {"lamps": {"key": {"at": [650, 20, 300], "dim": 0.5, "gel": 1}}},
    "thick": {"haze": {"extinction": 2.0}, "start_after": 10},
    "by droplets": {"haze": {"visibility": 3, "droplets": {"diameter": 1}}},
}


def scene_with(shots, **tables):
    """Return the shed with shots of these changes."""
    rows = [{"name": name, "from": [-60, 75, 50], "look": [100, 75, 20]} | change for name, change in shots.items()]
    return Scene.model_validate(SHED | {"shot": rows} | tables)


def lit_of(scene):
    """Return a coarsely lit set."""
    return light_set(scene, build_set(scene, Path()), texels=400, rays=16, workers=1)


@pytest.fixture(scope="module")
def lit():
    """The shed, baked once."""
    return lit_of(scene_with(SHOTS))


class TestScene:
    """The scene as one shot sees it."""

    def test_nothing_changed_is_the_scene_itself(self, lit):
        """No copy where there is nothing to change."""
        assert scene_of(lit.scene, lit.scene.shot[0]) is lit.scene

    def test_out_and_changed(self, lit):
        """A lamp that is out is not there; one that is changed keeps the rest."""
        out, moved = (scene_of(lit.scene, lit.scene.shot[i]) for i in (1, 2))
        assert [lamp.name for lamp in out.lamp] == ["key"]
        assert (moved.lamp[0].at, moved.lamp[0].dim, moved.lamp[0].diameter) == ((650, 20, 300), 0.5, 40)

    def test_one_way_of_saying_takes_the_place_of_another(self, lit):
        """Visibility instead of extinction, droplets instead of g."""
        haze = scene_of(lit.scene, lit.scene.shot[4]).haze
        assert (haze.extinction, haze.visibility, haze.g, haze.half_life) == (None, 3, 0.75, 30)

    @pytest.mark.parametrize("index", range(len(SHOTS)))
    def test_twice_is_once(self, lit, index):
        """What is handed on may be asked for again."""
        shot = lit.scene.shot[index]
        assert scene_of(scene_of(lit.scene, shot), shot) == scene_of(lit.scene, shot)


class TestLight:
    """The light of a shot."""

    def test_one_bake_serves_every_shot(self, lit):
        """The transport of every shot is the very same, so no hemisphere ray was cast again."""
        assert all(lit_at_roll(lit, shot).transport is lit.transport for shot in lit.scene.shot)

    def test_shots_that_share_their_light_share_a_set(self, lit):
        """Asked twice, lit once; asked of what it gave, nothing to do."""
        shot = lit.scene.shot[2]
        rolled = lit_at_roll(lit, shot)
        assert lit_at_roll(lit, shot) is rolled and lit_at_roll(rolled, shot) is rolled
        assert len(lit.kept) <= KEPT

    @pytest.mark.parametrize("name", ["glow out", "key moved", "by droplets"])
    def test_as_if_the_file_were_written_for_that_shot(self, lit, name):
        """Direct and bounced light agree with a scene of that light baked by itself; the level that readings set stays."""
        index = list(SHOTS).index(name)
        rolled = lit_at_roll(lit, lit.scene.shot[index])
        alone = scene_of(lit.scene, lit.scene.shot[index])
        base = {lamp.name: lamp for lamp in lit.scene.lamp}
        factor = {one.lamp: one.factor for one in lit.calibrations}
        levelled = tuple(lamp.model_copy(update={"lux_at_1m": base["key"].lux_at_1m * factor["key"], "measured": ()}) if lamp.name == "key" else lamp for lamp in alone.lamp)
        fresh = lit_of(alone.model_copy(update={"lamp": levelled}))
        points, normals = np.array([[150.0, 75, 0.1], [100, 60, 0.1]]), np.array([[0.0, 0, 1], [0, 0, 1]])
        np.testing.assert_allclose(rolled.illuminance(points, normals), fresh.illuminance(points, normals), rtol=1e-5)
        for ours, theirs in zip(rolled.bounce_colour, fresh.bounce_colour):
            np.testing.assert_allclose(ours, theirs, rtol=1e-4, atol=1e-4 * np.abs(theirs).max())
