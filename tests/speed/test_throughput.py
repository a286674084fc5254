"""A whole hazed frame against embree alone with the same rays."""

import dataclasses
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh
from rooms import plain_room, view_across

from previz.build.assemble import build_set
from previz.frames.hazed import hazed_frame
from previz.rays.lit import light_set
from previz.rays.workers import worker_count

GOAL_SHARE = 0.5
FRAME = dict(passes=1, lamp_samples=8, haze_samples=2)


class Recorder:
    """A tracer that notes every batch of rays that passes through it, as embree takes them."""

    def __init__(self, tracer):
        self.tracer = tracer
        self.batches = []

    def hit(self, origins, directions):
        """As `Tracer.hit`."""
        self.batches.append(("INTERSECT", _rows(origins), _rows(directions)))
        return self.tracer.hit(origins, directions)

    def blocked(self, origins, targets):
        """As `Tracer.blocked`."""
        self.batches.append(("OCCLUDED", _rows(origins), _rows(targets) - _rows(origins)))
        return self.tracer.blocked(origins, targets)


def _rows(array):
    return np.array(array, dtype=np.float32, order="C")


def test_share_of_embree(figures, seconds):
    """960 x 540, 8 lamp samples: rays per second of the frame, over rays per second of embree with the same batches and threads."""
    scene, view = plain_room(), view_across(960, 540)
    lit = light_set(scene, build_set(scene, folder=None))
    recorder = Recorder(lit.tracer)
    hazed_frame(dataclasses.replace(lit, tracer=recorder), view, **FRAME)
    rays = sum(len(batch[1]) for batch in recorder.batches)
    threads = worker_count(None)
    embree = rtcore_scene.EmbreeScene(robust=True)
    TriangleMesh(embree, np.ascontiguousarray(lit.built.vertices[lit.built.triangles], dtype=np.float32))

    frame_s, embree_s = seconds(lambda: hazed_frame(lit, view, **FRAME), lambda: _replay(embree, recorder.batches, threads), times=7)
    share = embree_s / frame_s
    figures.keep(
        "throughput", rays=rays, threads=threads, frame_rays_per_s=rays / frame_s, embree_rays_per_s=rays / embree_s, share=share
    )
    assert share >= GOAL_SHARE


def _replay(embree, batches, threads):
    """Cast all batches, each a call of embree's, on `threads` threads."""

    def cast(batch):
        query, origins, directions = batch
        if query == "OCCLUDED":
            embree.run(origins, directions, dists=np.ones(len(origins), np.float32), query=query)
        else:
            embree.run(origins, directions, output=1)

    # The first query commits the scene, which must not happen on two threads at once.
    embree.run(np.zeros((1, 3), np.float32), np.ones((1, 3), np.float32))
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(cast, batches))
