"""
Exposure on the three demo sets against Mitsuba 3 (W. Jakob et al., 2022, https://mitsuba-renderer.org), an independent path tracer.

What the meter reads at the start, in the middle and at the end of each set's first shot, the haze as it is then. ISO goes as one over the
metered luminance at the same stop and exposure time, so stops between two luminances are stops between two ISO settings. The meter has grain,
so the scene's own seed and three others are read. Takes minutes, so it stands among the benchmarks.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from reference_renderer import reference_scene, render

from previz.build.assemble import build_set
from previz.check.meter import SIZE, metered, showing
from previz.frames.along import lit_at_moment
from previz.frames.still import lit_at_roll, view_of
from previz.light.colour import luminance
from previz.rays.lit import light_set
from previz.rig.moves import plan_move
from previz.scene.read import read_scene

ROOT = Path(__file__).parents[2]
GOAL_STOPS = 1 / 3
LONGEST = 32
"""Longest path: at the reflectance of the sets, all below 0.2 but for small things, everything."""
RAYS_A_RUN = 256
NOISE = 0.02
"""Relative standard error at which the reference is known well enough: a tenth of the goal."""
MORE_SEEDS = 3
LEAST_RUNS, MOST_RUNS = 4, 64


@pytest.mark.parametrize("name", ["clockmakers-attic", "chapel-nave", "boathouse"])
def test_within_a_third_of_a_stop(name, mitsuba, figures):
    """Three moments of the first shot."""
    scene = read_scene(ROOT / "scenes" / f"{name}.toml").scene
    shot = scene.shot[0]
    lit = lit_at_roll(light_set(scene, build_set(scene, ROOT / "scenes"), workers=2), shot)
    move = plan_move(lit.scene, shot, lit.built)
    parts = lit.built.part_named(shot.subject_name)
    read = [_both(mitsuba, lit, move, take_s, parts) for take_s in (0.0, move.take_s / 2, move.take_s)]
    stops = np.array([np.log2(ours / theirs) for ours, theirs, _ in read])
    figures.keep(
        f"exposure-{name}",
        subject=shot.subject_name,
        stops_at_start_middle_end=stops[:, 0].round(3).tolist(),
        stops_farthest_of_all_seeds=np.abs(stops).max(axis=1).round(3).tolist(),
        ours_cd_m2=[round(ours[0], 3) for ours, _, _ in read],
        reference_cd_m2=[round(theirs, 3) for _, theirs, _ in read],
        reference_error=[round(error, 4) for _, _, error in read],
    )
    assert np.abs(stops).max() <= GOAL_STOPS


def _both(mitsuba, lit, move, take_s: float, parts) -> tuple[np.ndarray, float, float]:
    """Return what previz's meter reads by each seed, and Mitsuba, on the subject [cd/m2], and the relative standard error of the second."""
    lit, view = lit_at_moment(lit, move, take_s), view_of(lit, move, take_s, SIZE)
    mask = showing(lit, view, parts)
    assert mask.any()
    point = view.position + float(move.focus_mm(take_s)[0]) * view.forward
    seeded = [replace(lit, scene=lit.scene.model_copy(update={"seed": lit.scene.seed + k})) for k in range(1 + MORE_SEEDS)]
    ours = np.array([metered(one, view, parts, point, workers=2) for one in seeded])
    rows, columns = (np.flatnonzero(mask.any(axis=axis)) for axis in (1, 0))
    window = (columns[0], rows[0], columns[-1] - columns[0] + 1, rows[-1] - rows[0] + 1)
    inside = mask[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    scene = reference_scene(mitsuba, lit.built, lit.emitters, lit.medium, view, LONGEST, window)
    runs = []
    while len(runs) < MOST_RUNS and (len(runs) < LEAST_RUNS or _error(runs) > NOISE):
        runs.append(float(luminance(render(mitsuba, scene, RAYS_A_RUN, seed=len(runs))[inside]).mean()))
    return ours, float(np.mean(runs)), _error(runs)


def _error(runs: list[float]) -> float:
    """Relative standard error of the mean of independent runs."""
    return float(np.std(runs, ddof=1) / np.sqrt(len(runs)) / np.mean(runs))
