"""Bounce cards, flags and practicals: props with a finish, and lamps inside the set."""

from pathlib import Path

import numpy as np
import pytest

from previz.build.assemble import build_set
from previz.rays.lit import light_set
from previz.scene.model import Scene

ROOM = {"name": "room", "plan": [[0, 0], [400, 0], [400, 300], [0, 300]], "height": 250.0, "finish": "dark"}
WINDOW = {"name": "window", "wall": "room.4", "at": [100, 80], "size": [100, 100]}
KEY = {"name": "key", "kind": "disc", "diameter": 30, "at": (-500, 150, 250), "toward": (300, 150, 60), "candela": 2000}
FINISH = {"dark": {"reflect": 0.05}, "white": {"reflect": 0.9}, "black": {"reflect": 0.02}}


def lit_with(*props, lamp=KEY, opening=(WINDOW,)):
    """Return a dark room with these props, lit through its window or by a lamp inside."""
    tables = {"room": [ROOM], "opening": list(opening), "finish": FINISH, "prop": list(props), "lamp": [lamp], "haze": {"extinction": 0.0}}
    scene = Scene.model_validate(tables)
    return light_set(scene, build_set(scene, Path()), texels=3000, rays=128, workers=1)


def bounced(lit, at):
    """The bounce light on the floor around a point. [lux]"""
    light = lit.bounce_colour[0].mean(axis=1)
    near = (np.linalg.norm(lit.texels.position - at, axis=1) < 40) & (lit.texels.normal[:, 2] > 0.9) & (light > 0)
    return float(light[near].mean())


def card(finish, at=(330, 150, 0), size=(4, 120, 150)):
    """A card that stands in the beam, at the far end of the room."""
    return {"name": "card", "kind": "box", "size": list(size), "at": list(at), "finish": finish}


def test_a_white_card_raises_the_shadow_side():
    """Light comes back from a white card to a place that the lamp does not reach; a black one of the same size gives none."""
    place = np.array([250.0, 150.0, 0.0])
    white, black = (bounced(lit_with(card(finish)), place) for finish in ("white", "black"))
    assert white > 3 * black


def test_a_black_flag_takes_the_light_away():
    """A flag before the window darkens the patch behind it."""
    lit, flagged = lit_with(), lit_with(card("black", at=(-60, 150, 60), size=(4, 160, 200)))
    patch = np.array([[300.0, 150.0, 0.5]])
    up = [[0.0, 0.0, 1.0]]
    at = np.array([[300.0, 150.0, 60.0]])
    towards = [[-1.0, 0.0, 0.0]]
    assert lit.illuminance(at, towards)[0, 0] > 1000
    assert flagged.illuminance(at, towards)[0, 0] == 0 and flagged.illuminance(patch, up)[0, 0] == 0


@pytest.mark.parametrize("hidden", [False, True])
def test_a_practical_and_the_prop_that_hides_it(hidden):
    """E = I / d^2 by a bulb inside the set (CIE S 017, 17-25-104), and nothing behind a prop."""
    bulb = {"name": "bulb", "kind": "point", "at": (100, 150, 100), "toward": (300, 150, 100), "candela": 5}
    lit = lit_with(*([card("dark", at=(200, 150, 50))] if hidden else []), lamp=bulb, opening=())
    assert lit.lamps.inside.all()
    assert lit.illuminance([[300, 150, 100]], [[-1.0, 0, 0]])[0, 0] == pytest.approx(0 if hidden else 5 / 0.2**2, rel=1e-3)
