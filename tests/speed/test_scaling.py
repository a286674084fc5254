"""Cost of a frame against panes and triangles."""

import numpy as np
import trimesh
from matplotlib import pyplot
from rooms import many_panes, room_with_mesh, view_across

from previz.build.assemble import build_set
from previz.frames.hazed import hazed_frame
from previz.rays.lit import light_set

PANES = [(1, 1), (2, 2), (5, 2), (8, 5), (10, 10), (16, 12), (20, 20)]
TRIANGLES = [1_000, 10_000, 100_000, 1_000_000]
FRAME = dict(passes=1, lamp_samples=8, haze_samples=2)


def framing(scene, folder):
    """Return a function that draws one 480 x 270 frame of `scene`."""
    lit, view = light_set(scene, build_set(scene, folder)), view_across(480, 270)
    return lambda: hazed_frame(lit, view, **FRAME)


def test_panes(figures, seconds):
    """From 1 to 400 panes in the same opening a frame's time grows no faster than their number: the slope over all, and from 40 on."""
    counts = [columns * rows for columns, rows in PANES]
    times = seconds(*(framing(many_panes(columns, rows), None) for columns, rows in PANES))
    _plot(figures, "panes", counts, times)
    slope = float(np.polyfit(np.log(counts), np.log(times), 1)[0])
    figures.keep("panes", panes=counts, frame_seconds=times, log_slope=slope)
    assert slope <= 1
    assert times[-1] / times[-4] <= counts[-1] / counts[-4]


def test_triangles(figures, seconds, tmp_path):
    """From 10,000 to 1,000,000 triangles in view a frame takes at most twice as long."""
    frames, counts = [], []
    for wanted in TRIANGLES:
        rough = _rough_ball(wanted)
        rough.export(tmp_path / "ball.ply")
        counts.append(len(rough.faces))
        frames.append(framing(room_with_mesh("ball.ply"), tmp_path))
    times = seconds(*frames)
    figures.keep("triangles", triangles=counts, frame_seconds=times, from_1e4_to_1e6=times[-1] / times[1])
    _plot(figures, "triangles", counts, times)
    assert times[-1] <= 2 * times[1]


def _rough_ball(triangles):
    """Return a ball of 60 mm of about that many triangles, dented at every scale, standing on z = 0. [mm]"""
    rings = round(np.sqrt(triangles / 8))
    ball = trimesh.creation.uv_sphere(radius=30, count=[2 * rings, rings])
    bumps = 1 + 0.02 * np.sin(ball.vertices @ np.array([1.1, 0.7, 0.3])) * np.sin(ball.vertices @ np.array([-0.4, 0.9, 1.3]))
    ball.vertices *= bumps[:, None]
    ball.apply_translation([0, 0, -ball.bounds[0, 2]])
    return ball


def _plot(figures, name, counts, times):
    drawing, axes = pyplot.subplots(figsize=(6, 4), layout="constrained")
    axes.loglog(counts, times, "o-", label="480 x 270 frame")
    axes.loglog(counts, np.array(counts) * times[-1] / counts[-1], ":", label="in proportion")
    axes.set(xlabel=name, ylabel="seconds")
    axes.legend()
    drawing.savefig(figures.path.with_name(f"speed-{name}.png"), dpi=120)
    pyplot.close(drawing)
