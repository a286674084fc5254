"""The stage gives what the other verbs get from the same file, and an edit costs no more than it changes."""

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from previz.bench.stage import Stage
from previz.build.load import set_from
from previz.frames.still import lit_at_roll
from previz.rays.lit import light_set
from previz.scene.faults import SceneFaults
from previz.scene.read import scene_from

BAKE = (1500, 16)


@pytest.fixture
def edited(scene_file):
    """A function that gives the plain room with texts of its file replaced, haze that thins added."""
    text = scene_file.read_text() + "[haze]\nextinction = 0.8\nhalf_life = 60\n"

    def edit(*pairs):
        changed = text
        for old, new in pairs:
            assert old in changed
            changed = changed.replace(old, new)
        return scene_from(changed, scene_file)

    return edit


@pytest.fixture
def stage(edited):
    """A stage that has lit the plain room once."""
    stage = Stage(*BAKE, workers=1)
    stage.lit(edited())
    return stage


def counted(stage):
    """What the stage has done so far: sets built, baked, lit anew."""
    return (stage.counts.built, stage.counts.baked, stage.counts.relit)


def same_light(one, other):
    """Whether two lit sets hold the same numbers."""
    arrays = [(one.bounce.texel, other.bounce.texel), (one.bounce.cell, other.bounce.cell), (one.candela, other.candela), (one.windows.tints, other.windows.tints)]
    return all(np.array_equal(a, b) for a, b in arrays)


def lit_from_scratch(file):
    """What `previz check` lights the same file to."""
    return light_set(file.scene, set_from(file), texels=BAKE[0], rays=BAKE[1], workers=1)


MOVED = ("at = [900, 100, 600]", "at = [900, 140, 560]")
DIMMED = ("lux_at_1m = 20000", "lux_at_1m = 8000")
THICKER = ("extinction = 0.8", "extinction = 1.6")
GLAZED = ('wall = "room.east"', 'wall = "room.east"\ntint = "#ffb080"')
WIDER = ("size = [80, 90]", "size = [100, 90]")
PAINTED = ('name = "table"', 'name = "table"\nfinish = "dark"')


@pytest.mark.parametrize(
    "edit, cost",
    [(MOVED, (0, 0, 1)), (DIMMED, (0, 0, 1)), (THICKER, (0, 0, 1)), (GLAZED, (1, 0, 0)), (WIDER, (1, 1, 0)), (PAINTED, (1, 1, 0))],
    ids=["lamp moved", "lamp dimmed", "haze", "tint", "opening", "finish"],
)
def test_an_edit_costs_what_it_changes(stage, edited, edit, cost):
    """Hemisphere rays are cast for other surfaces alone, and the light is that of the file lit from scratch."""
    file = edited(edit, ("title =", "finish = { dark = { reflect = 0.1 } }\ntitle ="))
    plain = edited(("title =", "finish = { dark = { reflect = 0.1 } }\ntitle ="))
    stage.lit(plain)
    before = counted(stage)
    lit = stage.lit(file)
    assert tuple(np.subtract(counted(stage), before)) == cost
    assert same_light(lit, lit_from_scratch(file))


def test_shots_and_kit_cost_nothing(stage, edited):
    """Another shot, stop or lens: nothing is built, nothing lit, and the light carries the new scene."""
    before = counted(stage)
    file = edited(("iso = 1600", "iso = 200\nstop = 22"), ("barrel = [[150, 20]]", "focal = 18\nbarrel = [[150, 20]]"), ("to = [180, -30, 60]", "to = [150, -30, 60]"))
    assert stage.lit(file).scene == file.scene
    assert counted(stage) == before


def test_going_back_bakes_nothing(stage, edited):
    """Of two cuts both bakes are kept."""
    stage.lit(edited(WIDER))
    before = counted(stage)
    stage.lit(edited())
    stage.lit(edited(WIDER))
    assert counted(stage)[:2] == before[:2]


def test_light_at_the_roll_is_that_of_the_other_verbs(stage, edited):
    """Haze half gone, a lamp of the shot's own: lit once from the stored transport, to the same numbers."""
    file = edited(("iso = 1600", "iso = 1600\nstart_after = 60\nlamps = { key = { dim = 0.5, at = [900, 60, 600] } }"))
    shot = file.scene.shot[0]
    before = counted(stage)
    rolled = stage.rolled(file, shot)
    assert counted(stage) == (before[0], before[1], before[2] + 1)
    expected = lit_at_roll(lit_from_scratch(file), shot)
    assert same_light(rolled, expected) and rolled.medium.extinction_per_m == expected.medium.extinction_per_m and rolled.scene == expected.scene


def test_readings_set_a_lamp_in_every_shot(stage, edited):
    """A lamp that was measured keeps the level that its readings give, in the file's light and in a shot's."""
    file = edited(("lux_at_1m = 20000", "measured = [{ at = [250, 100, 60], lux = 900 }]"), ("iso = 1600", "iso = 1600\nstart_after = 60"))
    expected = lit_from_scratch(file)
    assert same_light(stage.lit(file), expected)
    assert same_light(stage.rolled(file, file.scene.shot[0]), lit_at_roll(expected, file.scene.shot[0]))


def test_what_stands_wrong_is_said_though_nothing_is_built_anew(stage, edited):
    """A lamp dragged into a wall, a photometric file that is not there: the faults of the file."""
    assert stage.built(edited()) is stage.built(edited())
    with pytest.raises(SceneFaults, match="key"):
        stage.built(edited(("at = [900, 100, 600]", "at = [302, 20, 100]")))
    with pytest.raises(SceneFaults, match="gone.ies"):
        stage.built(edited(('kind = "disc"\ndiameter = 60', 'kind = "ies"\nfile = "gone.ies"'), ("lux_at_1m = 20000\n", "")))


def test_a_bake_that_is_broken_off_leaves_nothing(edited):
    """What a progress function raises ends the bake; asked again, it is baked whole."""
    stage, file = Stage(*BAKE, workers=1), edited()

    def stop(share):
        raise InterruptedError

    with pytest.raises(InterruptedError):
        stage.lit(file, progress=stop)
    assert stage.counts.baked == 0
    assert same_light(stage.lit(file), lit_from_scratch(file))


def test_a_mesh_file_that_changes_is_read_again(scene_file):
    """The date of a mesh counts: the file is the same and what is built is not."""
    import trimesh

    mesh = scene_file.parent / "stone.stl"
    trimesh.creation.box((20, 20, 20)).export(mesh)
    text = scene_file.read_text() + '\n[[prop]]\nname = "stone"\nkind = "mesh"\nfile = "stone.stl"\nat = [60, 60, 0]\n'
    file = scene_from(text, scene_file)
    stage = Stage(*BAKE, workers=1)
    first = stage.built(file)
    trimesh.creation.box((30, 20, 20)).export(mesh)
    second = stage.built(replace(file))
    assert second is not first and not np.array_equal(first.vertices, second.vertices)


def test_a_photometric_file_that_changes_is_read_again(edited, scene_file):
    """Another lamp measured under the same name: lit anew, baked no more."""
    measured = Path(__file__).parents[1] / "outside"
    shutil.copy(measured / "REF-A.ies", scene_file.parent / "sun.ies")
    file = edited(('kind = "disc"\ndiameter = 60', 'kind = "ies"\nfile = "sun.ies"'), ("lux_at_1m = 20000\n", ""))
    stage = Stage(*BAKE, workers=1)
    first = stage.lit(file)
    shutil.copy(measured / "REF-B.ies", scene_file.parent / "sun.ies")
    second = stage.lit(replace(file))
    assert stage.counts.baked == 1 and not same_light(first, second) and same_light(second, lit_from_scratch(file))
