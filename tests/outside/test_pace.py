"""
Chapters 5 and 6 of the reference values: miniature frame rates (The VES Handbook of Visual Effects, 2010, appendix A, excerpt
seen), smear of a picture (pinhole geometry) and flicker (sinc average of a sinusoid; shutters of whole pulses).
"""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from reference import agree, cases, each

from previz.build.assemble import build_set
from previz.check.flicker import beat_hz, flicker, left_of_ripple, pulses_hz, ripple_stops
from previz.check.pace import believable_fps, full_size_mm_s, pace
from previz.rig.moves import plan_move
from previz.scene.model import PointLamp, Scene, Shot

HALL = [{"name": "hall", "plan": [[0, 0], [900, 0], [900, 900], [0, 900]], "height": 300}]


@each("5.2")
def test_believable_frame_rate_and_speed(case):
    """fps = base sqrt(scale); a speed at full size is filmed at v / sqrt(scale). The handbook's own example rounds sqrt(6) to 2.5."""
    given, out = case["inputs"], case["outputs"]
    agree(case, "fps", believable_fps(given["scale"], given["base_fps"]))
    seen = full_size_mm_s(1000 * out["v_model_shoot_m_s"], given["scale"], out["fps"] / given["base_fps"])
    assert_allclose(seen, 1000 * given["v_real_m_s"], rtol=1e-6)


@pytest.mark.parametrize("scale, fps", [(4, 48), (6, 58.787754), (12, 83.138439), (24, 117.57551), (25, 120), (48, 166.27688), (87, 223.8571)])
def test_table_of_miniature_frame_rates(scale, fps):
    """Table 5.1, shown at 24; 1:4 at 48 is the handbook's own example."""
    assert_allclose(believable_fps(scale, 24), fps, rtol=1e-6)


@each("5.4a", "5.4b", "5.4c")
def test_smear_of_a_slide(case):
    """v m t / p of a lens that slides across what it is focused on."""
    given = case["inputs"]
    pixel, fps = given["pixel_um"] / 1000, 0.5 / given["t_s"]
    focus = 24 * (1 + 1 / given["m"])
    travel = given["v_mm_s"] * 5 / fps * 24 * 0.1
    shot = {"name": "a", "move": "slide", "from": 10, "to": 10 + travel, "look": {"pan": 90}, "focus": focus, "fps": fps, "playback": 24, "clip": travel / given["v_mm_s"] * fps / 24, "ease": 0}
    body = {"sensor": [6000 * pixel, 4000 * pixel], "resolution": [6000, 4000]}
    scene = Scene.model_validate({"room": HALL, "shot": [shot], "body": body, "slider": {"from": [0, 100, 50], "to": [900, 100, 50]}})
    move = plan_move(scene, scene.shot[0], build_set(scene, Path(".")))
    agree(case, "blur_px", pace(scene, scene.shot[0], move).smear_px)


def lamp(**keys):
    """Return a lamp that is on the mains or pulses."""
    return PointLamp.model_validate({"name": "a", "kind": "point", "at": [0, 0, 0], "toward": [1, 0, 0], "candela": 1} | keys)


@each("6.6a", "6.6b", "6.6c", "6.6d", "6.6e")
def test_flicker_of_light_on_the_mains(case):
    """Twice the mains frequency; what an exposure leaves of the ripple; the beat with the frames."""
    given = case["inputs"]
    light = lamp(mains=given["mains_Hz"], ripple=given["modulation"])
    agree(case, "light_Hz", pulses_hz(light))
    left = left_of_ripple(pulses_hz(light), given["t_s"], given["modulation"])
    assert_allclose(left, case["outputs"]["residual_pk"], rtol=1e-5, atol=1e-9)
    # The table has the ripple of the exposure alone; where frames and pulses keep step, no two frames differ by it.
    assert_allclose(np.log2((1 + left) / (1 - left)), case["outputs"]["peak_to_peak_stops"], rtol=1e-5, atol=1e-9)
    assert_allclose(beat_hz(pulses_hz(light), given["fps"]), case["outputs"]["beat_Hz"], rtol=1e-5, atol=1e-6)
    assert ripple_stops(light, given["fps"], given["t_s"]) == pytest.approx(case["outputs"]["peak_to_peak_stops"] if case["outputs"]["beat_Hz"] else 0.0, rel=1e-5, abs=1e-9)


@pytest.mark.parametrize("mains, key", [(50, "angle_at_24fps_50Hz"), (60, "angle_at_24fps_60Hz")])
def test_table_of_safe_shutters(mains, key):
    """Whole pulses within a frame of 1/24 s, as shutter angles (table 6.6g)."""
    (case,) = cases("6.6g")
    shot = Shot.model_validate({"name": "a", "from": [0, 0, 0], "look": [1, 0, 0], "fps": 24, "shutter": 100})
    found = flicker([lamp(mains=mains)], shot).safe_shutters_s
    angles = sorted(360 * 24 * t for t in found)
    assert set(np.round(case["outputs"][key], 6)) <= set(np.round(angles, 6))
    assert_allclose(np.array(found) * 2 * mains, range(len(found), 0, -1), rtol=1e-9)
