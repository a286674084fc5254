"""
Chapter 4 of the reference values: exposure by ISO 2720:1974 (equations second-hand), thin-lens optics as in S. F. Ray,
Applied Photographic Optics, 3rd ed. 2002 (from memory) and J. Conrad, Depth of Field in Depth, 2006.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from reference import agree, each

from previz.camera.depth import hyperfocal, limits
from previz.camera.exposure import effective_stop, ev100, iso_needed, luminance_metered
from previz.camera.lens import half_tangent, magnification
from previz.scene.model import Body, Lens, Shot

FOCAL = 24.0


def shot(**keys):
    return Shot.model_validate({"name": "a", "from": [0, 0, 0], "look": [1, 0, 0]} | keys)


def distance_for(m, focal=FOCAL):
    """Where a thin lens is focused at magnification m: f (1 + 1/m)."""
    return focal * (1 + 1 / m) if m else np.inf


@each("4.1")
def test_exposure_values(case):
    """ISO 2720, K = 12.5: L = 2^EV / 8 at ISO 100."""
    assert_allclose(ev100(np.array(case["outputs"]["L_cd_m2"])), case["inputs"]["EV"], atol=1e-6)


@each("4.2")
def test_light_needed(case):
    """ISO 2720 with N (1 + m), and a T-number where the lens has one: settings, luminance, ISO and back."""
    given = case["inputs"]
    take = shot(fps=given["fps"], shutter=given["shutter_deg"], stop=given["N"])
    t_stop = case["outputs"]["T_eff"] if "tau" in given else None
    lens = Lens(focal=FOCAL, stop=given["N"], t_stop=t_stop)
    stop = effective_stop(lens, take, distance_for(given["m"]))
    agree(case, "t_s", take.exposure_s)
    agree(case, "T_eff" if "tau" in given else "N_eff", stop)
    agree(case, "L_cd_m2", luminance_metered(given["ISO"], stop, take.exposure_s))
    agree(case, "EV100", ev100(case["outputs"]["L_cd_m2"]))
    assert_allclose(iso_needed(case["outputs"]["L_cd_m2"], stop, take.exposure_s), given["ISO"], rtol=1e-6)


@each("4.3a", "4.3b", "4.3d")
def test_effective_stop(case):
    """N (1 + m), pupil magnification 1 (4.3c has another, which previz does not model)."""
    given = case["inputs"]
    agree(case, "N_eff", effective_stop(Lens(focal=FOCAL), shot(stop=given["N"]), distance_for(given["m"])))


@each("4.4")
def test_depth_of_field_of_the_thin_lens(case):
    """u f^2 / (f^2 +- N c (u - f)), and the field across 36 mm in the plane of focus."""
    given = case["inputs"]
    near, far = limits(given["f_mm"], given["N"], given["c_mm"], given["u_mm"])
    agree(case, "m", magnification(given["f_mm"], given["u_mm"]))
    agree(case, "near_mm", near)
    agree(case, "far_mm", far)
    agree(case, "fov_w_mm", 2 * half_tangent(36, given["f_mm"], given["u_mm"]) * given["u_mm"])


@each("4.6")
def test_hyperfocal(case):
    """f^2 / (N c) + f, the exact one; the near limit is half of it."""
    given = case["inputs"]
    h = hyperfocal(given["f_mm"], given["N"], given["c_mm"])
    agree(case, "H_exact_mm", h)
    agree(case, "near_at_H_mm", limits(given["f_mm"], given["N"], given["c_mm"], h)[0])


@each("4.7")
def test_depth_of_field_close_up(case):
    """The total depth, exact for the thin lens of the focal length that the case names."""
    given = case["inputs"]
    focal = given["f_mm_for_exact"]
    near, far = limits(focal, given["N"], given["c_mm"], distance_for(given["m"], focal))
    agree(case, "dof_exact_mm", far - near)


@each("4.8")
def test_angle_of_view(case):
    """2 atan(s / (2 f (1 + m))) across width, height and diagonal."""
    given = case["inputs"]
    width, height = given["sensor_w_mm"], given["sensor_h_mm"]
    for key, side in (("H_deg", width), ("V_deg", height), ("D_deg", np.hypot(width, height))):
        agree(case, key, np.degrees(2 * np.arctan(half_tangent(side, given["f_mm"], distance_for(given["m"], given["f_mm"])))))


@each("4.9")
def test_circle_of_confusion(case):
    """Diagonal / 1500 (convention, from memory)."""
    agree(case, "d_1500_mm", Body(sensor=(case["inputs"]["w_mm"], case["inputs"]["h_mm"])).coc_mm)


@each("4.11")
def test_shutter(case):
    """angle / (360 fps), the cine shutter's definition."""
    agree(case, "t_s", shot(fps=case["inputs"]["fps"], shutter=case["inputs"]["angle_deg"]).exposure_s)


@pytest.mark.parametrize("stop", [14, 22])
def test_stops_lost_close_up(stop):
    """4.3: a life-size subject costs two stops, log2 (1 + m)^2."""
    found = effective_stop(Lens(focal=FOCAL), shot(stop=stop), distance_for(1))
    assert_allclose(2 * np.log2(found / stop), 2)
