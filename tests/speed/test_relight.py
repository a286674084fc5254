"""Moving a lamp against lighting the set for the first time."""

import dataclasses

import numpy as np
from rooms import plain_room

from previz.build.assemble import build_set
from previz.rays.lit import light_set, relit

GOAL_SHARE = 0.05


def test_lamp_moved(figures, seconds):
    """A lamp moved by 100 mm, the set unchanged: new light, bounces included, costs at most 5 % of the first bake."""
    scene = plain_room()
    built = build_set(scene, folder=None)
    lit = light_set(scene, built)
    moved = tuple(dataclasses.replace(emitter, centre=emitter.centre + [0.0, 100.0, 0.0]) for emitter in lit.emitters)
    fresh = relit(lit, lamps=moved)
    assert not np.allclose(fresh.bounce.texel, lit.bounce.texel, rtol=0.1)

    bake_s, relight_s = seconds(lambda: light_set(scene, built), lambda: relit(lit, lamps=moved))
    figures.keep("relight", texels=len(lit.texels.position), bake_seconds=bake_s, relight_seconds=relight_s, share=relight_s / bake_s)
    assert relight_s <= GOAL_SHARE * bake_s
