"""The whole picture, bounces and haze, against a general volumetric path tracer: time for the same error in blocks."""

import time

import numpy as np
from converged import LONGEST, block_error, block_means, converged
from reference_renderer import reference_scene, render
from rooms import plain_room, view_across

from previz.build.assemble import build_set
from previz.frames.hazed import hazed_frame
from previz.light.colour import luminance
from previz.rays.lit import light_set, relit

GOAL_ERROR = 0.03
GOAL_RATIO = 500
EXTINCTION = 0.8
LEAST_RUN_S = 20.0
SETTINGS = [(1, 4, 1), (1, 8, 1), (2, 2, 1), (2, 4, 1), (3, 2, 1), (3, 4, 1), (4, 2, 1), (4, 4, 1), (6, 4, 1), (8, 4, 1), (16, 4, 1)]
"""Passes, lamp samples, haze samples, cheap ones first."""


def test_time_for_equal_block_error(mitsuba, figures, seconds):
    """
    Bounces and haze, 240 x 135, to 3 % root mean square over all blocks of 5 x 5 pixels of each block's relative error.

    The truth is the long run kept in `tests/outside/converged.npz`. Our error is against it, bias included; Mitsuba's is
    the spread of its own runs, which falls as 1/sqrt(samples) (independent samples). Stated for a frame of a set that is lit
    already, as in a reel; for a lamp moved and a frame; and for the first bake and a frame.
    """
    scene, view = plain_room(EXTINCTION), view_across()
    built = build_set(scene, folder=None)
    lit = light_set(scene, built)

    def draw(setting, seed=0):
        passes, lamp, haze = setting
        return luminance(hazed_frame(lit, view, passes=passes, lamp_samples=lamp, haze_samples=haze, seed=seed))

    setting, error = _cheapest(draw)
    frame_s, relit_s = seconds(lambda: draw(setting), lambda: relit(lit, lamps=lit.emitters), times=7)
    (bake_s,) = seconds(lambda: light_set(scene, built), times=3)
    theirs, their_s = _noise(mitsuba, lit, view)
    their_goal_s = their_s * (theirs / error) ** 2
    figures.keep(
        "picture_error",
        counted="all blocks of 5 x 5 pixels, each relative to itself: bounces and haze",
        extinction_per_m=EXTINCTION,
        passes_lamp_haze=setting,
        our_error=error,
        frame_seconds=frame_s,
        relight_seconds=relit_s,
        bake_seconds=bake_s,
        reference_error=theirs,
        reference_run_seconds=their_s,
        reference_seconds_for_same_error=their_goal_s,
        times_less=their_goal_s / frame_s,
        times_less_with_relight=their_goal_s / (frame_s + relit_s),
        times_less_with_bake=their_goal_s / (frame_s + bake_s),
    )
    assert their_goal_s / frame_s >= GOAL_RATIO


def _cheapest(draw):
    """Return the first setting that meets the goal in the mean of three seeds (one lucky seed proves nothing), and its error."""
    for setting in SETTINGS:
        error = float(np.sqrt(np.mean([block_error(draw(setting, seed), EXTINCTION) ** 2 for seed in range(3)])))
        if error <= GOAL_ERROR:
            return setting, error
    raise AssertionError("no setting reaches the error")


def _noise(mitsuba, lit, view):
    """
    Return the standard error of Mitsuba's blocks relative to the truth, root mean square, and the seconds of its run, compilation left out.

    Its parts are alike, so the run is as many times its shortest part: what else the machine does disturbs it no more than ours.
    """
    scene = reference_scene(mitsuba, lit.built, lit.emitters, lit.medium, view, LONGEST[EXTINCTION])
    render(mitsuba, scene, 64, seed=0)
    start = time.perf_counter()
    runs, parts = [], []
    while len(runs) < 4 or time.perf_counter() - start < LEAST_RUN_S:
        begun = time.perf_counter()
        runs.append(block_means(luminance(render(mitsuba, scene, 64, seed=len(runs) + 1))))
        parts.append(time.perf_counter() - begun)
    variance = np.var(runs, axis=0, ddof=1) / len(runs)
    return float(np.sqrt(np.mean(variance / converged(EXTINCTION)[0] ** 2))), len(parts) * min(parts)
