"""From a file to a set that can be built, or every fault at once."""

from pathlib import Path

import pytest
import trimesh

from previz.build.load import load_set
from previz.scene.faults import SceneFaults

SOUND = """
[[room]]
name = "attic"
plan = [[0, 0], [300, 0], [300, 200], [0, 200]]
height = 120

[[prop]]
name = "clock"
kind = "mesh"
file = "clock.stl"
at = [100, 100, 0]
repeat = {count = 3, step = [40, 0, 0]}

[[lamp]]
name = "key"
kind = "point"
at = [150, -600, 300]
toward = "clock"
candela = 900

[[shot]]
name = "one"
from = [50, 50, 40]
look = "clock-2"
"""


@pytest.fixture
def scene(tmp_path):
    """Write a scene file beside a mesh and return its path."""
    trimesh.creation.box((20, 20, 20)).export(tmp_path / "clock.stl")

    def write(text):
        path = tmp_path / "scene.toml"
        path.write_text(text)
        return path

    return write


def test_a_sound_file(scene):
    """File and set come back together; mesh files are found from the scene file's folder."""
    file, built = load_set(scene(SOUND))
    assert [prop.name for prop in file.scene.prop] == ["clock-1", "clock-2", "clock-3"]
    assert [part.name for part in built.parts if part.kind == "prop"] == ["clock-1", "clock-2", "clock-3"]


def test_every_fault_of_the_solids_at_once(scene):
    """A bad file named by a whole row is told once, and hides neither the lamp nor the lens in a wall."""
    text = SOUND.replace("clock.stl", "clok.stl").replace("[150, -600, 300]", "[150, -2, 30]").replace("[50, 50, 40]", "[50, 203, 40]")
    with pytest.raises(SceneFaults) as caught:
        load_set(scene(text))
    faults = caught.value.faults
    assert [(fault.line, fault.allowed) for fault in faults] == [
        (10, "must be a file that exists"),
        (17, "must stand in the open, but is 2 mm deep inside attic.1"),
        (23, "must be in the open, but is 2 mm deep inside attic.3"),
    ]
    assert faults[0].found == '"clok.stl", which is not there'
    assert faults[1].found == "[150, -2, 30]"


def test_faults_of_the_file_come_first(scene):
    """A file with faults of its own is not built."""
    with pytest.raises(SceneFaults, match="height"):
        load_set(scene(SOUND.replace("height = 120", "height = -1").replace("clock.stl", "clok.stl")))


@pytest.mark.parametrize("path", sorted(Path(__file__).parents[2].glob("scenes/*.toml")), ids=lambda path: path.stem)
def test_demo_sets_are_watertight(path):
    """Every solid of the demo sets is closed and wound outward."""
    _, built = load_set(path)
    for index, part in enumerate(built.parts):
        mesh = trimesh.Trimesh(built.vertices, built.triangles[built.triangles_of([index])])
        assert mesh.is_watertight and mesh.volume > 0, part.name
