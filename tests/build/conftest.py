"""Ways to build a set from plain tables and to look at one solid of it, for the tests of this folder."""

from pathlib import Path

import numpy as np
import pytest
import trimesh

from previz.build.assemble import build_set
from previz.scene.model import Scene


@pytest.fixture(scope="session")
def build():
    """Build a set from the tables of a scene, written as plain values."""
    return lambda folder=Path(), **tables: build_set(Scene.model_validate(tables), folder)


@pytest.fixture(scope="session")
def solid():
    """Return the parts that answer to a name as one trimesh, for its volume and its test of watertightness."""

    def of(built, name):
        triangles = built.triangles[built.triangles_of(built.part_named(name))]
        assert len(triangles), f"no part {name}"
        return trimesh.Trimesh(built.vertices, triangles)

    return of


@pytest.fixture(scope="session")
def areas():
    """Return the (m,) areas of a set's triangles in space and in their unfolding. [mm2]"""

    def of(built):
        corners = built.vertices[built.triangles]
        space = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
        a, b = built.uv[:, 1] - built.uv[:, 0], built.uv[:, 2] - built.uv[:, 0]
        return space, np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2

    return of
