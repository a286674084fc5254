"""A scene from plain tables, for the tests of paper."""

import pytest
import tomlkit

from previz.scene.model import Scene


@pytest.fixture(scope="session")
def scene():
    """Return a scene of one room, 300 x 200 x 120 mm with walls of 5 mm, or as the keys say, with openings."""

    def made(*openings, title="Plain room", **keys):
        room = {"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["south", "east", "north", "west"], "height": 120} | keys
        return Scene.model_validate({"title": title, "room": [room], "opening": list(openings)})

    return made


TABLES = {
    "title": "Εργαστήριο 工房",
    "table": {"height": 720, "riser": 80},
    "room": [{"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["south", "east", "north", "west"], "height": 120, "open": ["west"]}],
    "opening": [
        {"name": "παράθυρο", "wall": "room.north", "at": [60, 40], "size": [60, 50], "bars": {"columns": 2, "rows": 2, "width": 4, "depth": 5}},
        {"name": "まど", "wall": "room.east", "at": [70, 30], "size": [40, 60]},
    ],
    "prop": [
        {"name": "古い箱 with a name that goes on until nobody would read it to its end on paper", "kind": "box", "size": [40, 30, 20], "at": [180, 80, 0]},
        {"name": "clock 🕰️", "kind": "box", "size": [20, 20, 30], "at": [120, 120, 0]},
        {"name": "jar", "kind": "cylinder", "size": [12, 30], "at": [200, 150, 0], "repeat": {"count": 3, "step": [20, 0, 0]}},
    ],
    "lamp": [{"name": "夕日 sun", "kind": "disc", "diameter": 60, "at": [150, 900, 500], "toward": "παράθυρο", "lux_at_1m": 40000}],
    "haze": {"extinction": 1.0, "half_life": 60},
    "slider": {"from": [-250, 60, -40], "to": [-250, 140, -40], "reach": 260, "rise": 100},
    "lens": {"barrel": [[200, 20]]},
    "shot": [{"name": "περίπατος", "move": "slide", "from": 20, "to": 60, "clip": 3, "look": {"pan": 0}, "subject": "clock 🕰️", "iso": 3200, "start_after": 8}],
}


@pytest.fixture(scope="session")
def study_of():
    """Return the study of scene tables, with its lit set; light baked coarsely, because paper shows where it goes, not how it bounces."""
    from previz.build.assemble import assembled, read_meshes
    from previz.check.study import study_set
    from previz.rays.lit import light_set
    from previz.scene.read import read_scene

    def made(tables, folder):
        path = folder / "scene.toml"
        path.write_text(tomlkit.dumps(tables), encoding="utf-8")
        scene = read_scene(path).scene
        meshes, _ = read_meshes(scene, folder)
        lit = light_set(scene, assembled(scene, meshes, folder), texels=200, rays=4)
        return study_set(lit), lit

    return made


@pytest.fixture(scope="session")
def studied(study_of, tmp_path_factory):
    """Return study and lit set of a small set with a lamp, a slider, a shot, and names in several scripts."""
    return study_of(TABLES, tmp_path_factory.mktemp("studied"))


@pytest.fixture(scope="session")
def tables():
    """Return the tables of that set."""
    return TABLES
