"""A small room with one window, one lamp and one move, lit coarsely, and variations on it."""

from pathlib import Path

import pytest

from previz.build.assemble import build_set
from previz.check.study import study_set
from previz.rays.lit import light_set
from previz.scene.model import Scene

PLAIN_ROOM = {
    "title": "Plain room",
    "room": [{"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["south", "east", "north", "west"], "open": ["south"], "height": 180}],
    "opening": [{"name": "window", "wall": "room.east", "at": [60, 60], "size": [80, 90], "bars": {"columns": 2, "rows": 3, "width": 4, "depth": 4}}],
    "prop": [{"name": "table", "kind": "box", "size": [60, 40, 30], "at": [150, 100, 0]}],
    "lamp": [{"name": "key", "kind": "disc", "diameter": 60, "at": [900, 100, 600], "toward": "window", "lux_at_1m": 20000}],
    "haze": {"extinction": 0.8},
    "lens": {"barrel": [[150, 20]]},
    "slider": {"from": [0, -300, 60], "to": [300, -300, 60], "reach": 270, "max_speed": 500, "max_accel": 5000, "pan_speed": 90},
    "shot": [{"name": "glide", "move": "slide", "from": [120, -30, 60], "to": [180, -30, 60], "look": {"pan": 90, "tilt": -10}, "subject": "table", "focus": "table", "iso": 1600}],
}


def altered(**tables) -> dict:
    """Return the plain room with whole tables replaced, and `shot`, `lens`, ... given as a dict merged into the first one."""
    changed = dict(PLAIN_ROOM)
    for name, value in tables.items():
        old = changed.get(name)
        if isinstance(old, list) and isinstance(value, dict):
            value = [{**old[0], **value}, *old[1:]]
        elif isinstance(old, dict) and isinstance(value, dict):
            value = {**old, **value}
        changed[name] = value
    return changed


def studied(**tables):
    """Return the study of the plain room as `altered` changes it, lit coarsely."""
    scene = Scene(**altered(**tables))
    return study_set(light_set(scene, build_set(scene, Path(".")), texels=1500, rays=16), workers=2)


@pytest.fixture(scope="session")
def study_of():
    """The function `studied`."""
    return studied


@pytest.fixture(scope="session")
def unlit():
    """The same without lamps, for rules that ask nothing of the light: a tenth of the time."""
    return lambda **tables: studied(lamp=[], **tables)


@pytest.fixture(scope="session")
def clear():
    """The same in clear air, for rules that ask where light falls: shafts take most of a study's time."""
    return lambda **tables: studied(haze={"extinction": 0}, **tables)


@pytest.fixture(scope="session")
def altered_room():
    """The function `altered`."""
    return altered


@pytest.fixture(scope="session")
def plain_study():
    """The plain room, once."""
    return studied()
