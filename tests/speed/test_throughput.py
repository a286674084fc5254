"""A whole hazed frame against embree alone with the same rays."""

import dataclasses
from concurrent.futures import ThreadPoolExecutor

from rooms import plain_room, view_across

from previz.build.assemble import build_set
from previz.frames.hazed import hazed_frame
from previz.rays.lit import light_set
from previz.rays.workers import worker_count

GOAL_SHARE = 0.5
FRAME = dict(passes=1, lamp_samples=8, haze_samples=2)


class Recorder:
    """A tracer that notes every batch of rays that passes through it."""

    def __init__(self, tracer):
        self.tracer = tracer
        self.batches = []

    def hit(self, origins, directions):
        """As `Tracer.hit`."""
        self.batches.append(("hit", origins.copy(), directions.copy()))
        return self.tracer.hit(origins, directions)

    def blocked(self, origins, targets):
        """As `Tracer.blocked`."""
        self.batches.append(("blocked", origins.copy(), targets.copy()))
        return self.tracer.blocked(origins, targets)


def test_share_of_embree(figures, seconds):
    """960 x 540, 8 lamp samples: rays per second of the frame, over rays per second of embree with the same batches and threads."""
    scene, view = plain_room(), view_across(960, 540)
    lit = light_set(scene, build_set(scene, folder=None))
    recorder = Recorder(lit.tracer)
    hazed_frame(dataclasses.replace(lit, tracer=recorder), view, **FRAME)
    rays = sum(len(batch[1]) for batch in recorder.batches)
    threads = worker_count(None)

    frame_s = seconds(lambda: hazed_frame(lit, view, **FRAME), 5)
    embree_s = seconds(lambda: _replay(lit.tracer, recorder.batches, threads), 5)
    share = embree_s / frame_s
    figures.keep(
        "throughput",
        rays=rays,
        threads=threads,
        frame_rays_per_s=rays / frame_s,
        embree_rays_per_s=rays / embree_s,
        share=share,
    )
    assert share >= GOAL_SHARE


def _replay(tracer, batches, threads):
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(lambda batch: getattr(tracer, batch[0])(*batch[1:]), batches))
