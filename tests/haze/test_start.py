"""Haze thins between the spray and the roll, and the pictures show what is left."""

from pathlib import Path

import numpy as np

from previz.build.assemble import build_set
from previz.frames.still import lit_at_roll, still
from previz.rays.lit import light_set
from previz.rig.moves import plan_move
from previz.scene.model import Scene

SHED = {
    "room": [{"name": "shed", "plan": [[0, 0], [200, 0], [200, 150], [0, 150]], "walls": ["s", "e", "n", "w"], "open": ["w"], "height": 100}],
    "opening": [{"name": "window", "wall": "shed.e", "at": [50, 40], "size": [40, 40]}],
    "lamp": [{"name": "key", "kind": "disc", "at": [700, 75, 400], "toward": "window", "diameter": 40, "lux_at_1m": 20000}],
}


def drawn(haze, **shot):
    """Return the picture of a shot whose haze is `haze`."""
    scene = Scene.model_validate(SHED | {"haze": haze, "shot": [{"name": "in", "from": [-60, 75, 50], "look": [100, 75, 20]} | shot]})
    built = build_set(scene, Path())
    lit = lit_at_roll(light_set(scene, built, texels=500, rays=16, workers=1), scene.shot[0])
    return still(lit, scene.shot[0], plan_move(scene, scene.shot[0], built), 0.0, (48, 32), quality="draft", workers=1).linear


def test_a_picture_at_the_roll():
    """Two half-lives after a spray of 2 per metre the picture is that of 0.5 per metre, fresh; at once it is not."""
    late = drawn({"extinction": 2.0, "half_life": 30}, start_after=60)
    np.testing.assert_allclose(late, drawn({"extinction": 0.5}), rtol=1e-4)
    fresh = drawn({"extinction": 2.0, "half_life": 30})
    assert abs(fresh.mean() / late.mean() - 1) > 0.1
    np.testing.assert_allclose(fresh, drawn({"extinction": 2.0}), rtol=1e-4)


def test_droplets_look_unlike_one_lobe():
    """The same extinction and about the same g: the shaft seen against the light is another."""
    assert abs(drawn({"extinction": 1.0, "droplets": {"diameter": 1.0}}).mean() / drawn({"extinction": 1.0, "g": 0.69}).mean() - 1) > 0.02
