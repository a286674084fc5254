"""
The one tracer: nearest hits and blocked segments against a built set, over embree.

embree works in float32; sets are a few hundred millimetres and lamps a few metres away, so a coordinate is known to
about 1e-4 mm. Rays therefore start `SKIN_MM` off the surface that they leave.

A query runs on the calling thread and releases the GIL, so callers share one tracer between threads.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh

SKIN_MM = 0.01


@dataclass(frozen=True)
class Hits:
    """
    What each ray meets first.

    triangle  (n,) int32, index into the built set's triangles; -1 where the ray leaves the set
    u, v      (n,) float32 barycentric weights of the triangle's second and third corner
    distance  (n,) float32, along the ray in units of its direction's length; inf where it leaves the set
    normal    (n, 3) float32, of the triangle, NOT normalised, on the side the winding says is outside
    """

    triangle: np.ndarray
    u: np.ndarray
    v: np.ndarray
    distance: np.ndarray
    normal: np.ndarray


class Tracer:
    """Ray queries against triangles (m, 3) over vertices (n, 3). [mm]"""

    def __init__(self, vertices: np.ndarray, triangles: np.ndarray):
        self._scene = rtcore_scene.EmbreeScene(robust=True)
        corners = np.ascontiguousarray(np.asarray(vertices)[np.asarray(triangles)], dtype=np.float32)
        if not len(corners):
            # embree answers nothing at all for an empty scene, so one speck of no area stands far outside every set
            corners = np.full((1, 3, 3), 1e7, dtype=np.float32)
        TriangleMesh(self._scene, corners)
        # The first query commits the scene, which must not happen on two threads at once.
        self._scene.run(np.zeros((1, 3), np.float32), np.ones((1, 3), np.float32))

    def hit(self, origins: np.ndarray, directions: np.ndarray) -> Hits:
        """Return what each ray meets first: origins and directions (n, 3), converted to float32. [mm]"""
        found = self._scene.run(_rows(origins), _rows(directions), output=1)
        missed = found["primID"] < 0
        distance = found["tfar"]
        distance[missed] = np.inf
        return Hits(found["primID"], found["u"], found["v"], distance, found["Ng"])

    def blocked(self, origins: np.ndarray, targets: np.ndarray) -> np.ndarray:
        """Return (n,) bool: True where something stands on the segment from `origins` to `targets`, both (n, 3). [mm]"""
        origins = _rows(origins)
        if not len(origins):
            return np.zeros(0, dtype=bool)
        return self._scene.run(origins, _rows(targets) - origins, dists=np.ones(len(origins), np.float32), query="OCCLUDED") == 0


def _rows(array: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(array, dtype=np.float32)
