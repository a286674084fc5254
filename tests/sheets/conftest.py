"""A scene from plain tables, for the tests of paper."""

import pytest

from previz.scene.model import Scene


@pytest.fixture(scope="session")
def scene():
    """Return a scene of one room, 300 x 200 x 120 mm with walls of 5 mm, or as the keys say, with openings."""

    def made(*openings, title="Plain room", **keys):
        room = {"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "walls": ["south", "east", "north", "west"], "height": 120} | keys
        return Scene.model_validate({"title": title, "room": [room], "opening": list(openings)})

    return made
