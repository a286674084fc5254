"""
Chapter 5 of the reference values: the minimum-jerk step (T. Flash and N. Hogan, J. Neurosci. 5, 1985, 1688, formula
second-hand), moves of limited speed (Biagiotti and Melchiorri, Trajectory Planning, Springer 2008, from memory), and the
ratio of real to screen seconds (VES Handbook of Visual Effects, 2010, appendix A, excerpt seen).
"""

import numpy as np
from numpy.testing import assert_allclose
from reference import agree, each

from previz.camera.lens import half_tangent
from previz.rig.motion import SCurve, smooth, smooth_slope
from previz.scene.model import Shot


@each("5.3")
def test_take_and_clip(case):
    """A take of so many seconds fills factor times as many on the screen."""
    given = case["inputs"]
    shot = Shot.model_validate(
        {"name": "a", "from": [0, 0, 0], "look": [1, 0, 0], "clip": case["outputs"]["screen_s"], "fps": given["fps_shot"], "playback": given["fps_play"]}
    )
    assert_allclose(shot.take_s, given["record_s"], rtol=1e-6)
    agree(case, "factor", shot.clip / shot.take_s)


@each("5.5")
def test_angle_of_view_of_the_pan_guideline(case):
    """Full width, focused far away."""
    agree(case, "AOV_deg", np.degrees(2 * np.arctan(half_tangent(case["inputs"]["sensor_w_mm"], case["inputs"]["f_mm"], np.inf))))


@each("5.6a", "5.6b", "5.6c")
def test_the_step_that_each_ramp_follows(case):
    """10 s^3 - 15 s^4 + 6 s^5: steepest 1.875 D/T, most bent 5.7735 D/T^2 at 0.2113 T."""
    d, t = case["inputs"]["D_mm"], case["inputs"]["T_s"]
    x = np.linspace(0, 1, 100_001)
    bend = np.gradient(smooth_slope(x), x)
    agree(case, "x_quarter", d * smooth(0.25))
    agree(case, "v_peak", d / t * smooth_slope(0.5))
    assert_allclose(d / t**2 * bend[:50_000].max(), case["outputs"]["a_peak"], rtol=1e-6)
    assert_allclose(t * x[bend[:50_000].argmax()], case["outputs"]["a_peak_at_s"], rtol=1e-4)


@each("5.7a", "5.7c", "5.7d")
def test_time_of_a_move_with_symmetrical_ramps(case):
    """T = D/v + T_a whatever the S; a ramp covers v T_a / 2."""
    d, out = case["inputs"]["D_mm"], case["outputs"]
    curve = SCurve(out["T_s"], out["t_acc_s"] / out["T_s"])
    assert_allclose(d * curve.peak_rate, case["inputs"]["v_max"], rtol=1e-6)
    assert_allclose(d * curve.share(out["t_acc_s"]), d * curve.peak_rate * out["t_acc_s"] / 2, rtol=1e-6)
    if "ramp_dist_mm" in out:
        agree(case, "ramp_dist_mm", d * curve.share(out["t_acc_s"]))


@each("5.7b")
def test_a_move_too_short_for_its_speed(case):
    """T = 2 sqrt(D/a), all of it ramps: an ease of a half, whose mean acceleration is the peak of a trapezoid's."""
    out = case["outputs"]
    curve = SCurve(out["T_s"], 0.5)
    assert_allclose(curve.ramp_s, out["t_acc_s"], rtol=1e-6)
    assert_allclose(case["inputs"]["D_mm"] * curve.peak_rate, out["v_peak"], rtol=1e-6)
    assert_allclose(case["inputs"]["D_mm"] * curve.peak_rate / curve.ramp_s, case["inputs"]["a_max"], rtol=1e-6)


@each("5.6d")
def test_a_third_of_the_take_each_way(case):
    """Ramps of a third: 1.5 D/T, whatever the shape of the S."""
    given = case["inputs"]
    agree(case, "trap13_v", given["D_mm"] * SCurve(given["T_s"], 1 / 3).peak_rate)
