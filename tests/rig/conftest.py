"""Small sets and moves for the rig's tests, made of plain solids."""

import numpy as np
import pytest
import trimesh

from previz.build.built import BuiltSet, Face, Part
from previz.rig.moves import plan_move
from previz.scene.model import Scene


def _set_of(**solids) -> BuiltSet:
    """Return a built set of named props, each a trimesh solid; `side_wall=...` is named "side wall"."""
    meshes = [(name.replace("_", " "), mesh) for name, mesh in solids.items()]
    vertex, face = (np.cumsum([0] + [len(getattr(m, kind)) for _, m in meshes]) for kind in ("vertices", "faces"))
    return BuiltSet(
        vertices=np.concatenate([m.vertices for _, m in meshes]),
        triangles=np.concatenate([m.faces + start for (_, m), start in zip(meshes, vertex)]).astype(np.int32),
        face_of=np.repeat(np.arange(len(meshes)), np.diff(face)).astype(np.int32),
        uv=np.zeros((face[-1], 3, 2)),
        faces=tuple(Face(name, i, "surface", False, False, "plain") for i, (name, _) in enumerate(meshes)),
        parts=tuple(Part(name, "prop", name, a, b, m.is_watertight) for (name, m), a, b in zip(meshes, face, face[1:])),
        apertures=(),
        cells=(),
        reflectance={"plain": np.full(3, 0.5)},
    )


def _box(low, high):
    """Return a box from one corner to the other. [mm]"""
    return trimesh.creation.box(bounds=[low, high])


def _scene_of(shot, **tables) -> Scene:
    """Return a scene with one shot: a 3 s take, no ease, a barrel of 20 mm and 250 mm before a body of 130 x 90 x 80."""
    lens = {"focal": 20, "barrel": [[250, 20]]} | tables.pop("lens", {})
    shot = {"name": "shot", "clip": 15, "ease": 0.25, "look": {"pan": 0, "tilt": 0}, "from": [0, 0, 0]} | shot
    return Scene.model_validate({"lens": lens, "shot": [shot], **tables})


@pytest.fixture
def set_of():
    """The function that makes a built set of named solids."""
    return _set_of


@pytest.fixture
def box():
    """The function that makes a box."""
    return _box


@pytest.fixture
def scene_of():
    """The function that makes a scene of one shot."""
    return _scene_of
