"""
Chapter 4 of the reference values: exposure by ISO 2720:1974 (equations second-hand), thin-lens optics as in S. F. Ray,
Applied Photographic Optics, 3rd ed. 2002 (from memory) and J. Conrad, Depth of Field in Depth, 2006.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from reference import agree, each

from previz.camera.depth import blur_mm, hyperfocal, limits
from previz.camera.diffraction import airy_mm
from previz.camera.exposure import effective_stop, ev100, iso_needed, luminance_metered, working_stop
from previz.camera.lens import half_tangent, inverse_p, magnification
from previz.scene.gear import Macro
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
    """N (1 + m), pupil magnification 1."""
    given = case["inputs"]
    agree(case, "N_eff", effective_stop(Lens(focal=FOCAL), shot(stop=given["N"]), distance_for(given["m"])))


@each("4.3c")
def test_effective_stop_by_the_pupils(case):
    """N (1 + m/P): a lens of P = 2.5 is one that magnifies m at f (1/P + 1/m) from its pupil."""
    given = case["inputs"]
    distance = FOCAL * (1 / given["P_pupil"] + 1 / given["m"])
    lens = Lens(focal=FOCAL, macro=Macro(magnification=given["m"], distance=distance))
    agree(case, "N_eff", effective_stop(lens, shot(stop=given["N"]), distance))


@each("4.4")
def test_depth_of_field_of_the_thin_lens(case):
    """u f^2 / (f^2 +- N c (u - f)), and the field across 36 mm in the plane of focus."""
    given = case["inputs"]
    near, far = limits(given["f_mm"], given["N"], given["c_mm"], given["u_mm"])
    agree(case, "m", magnification(given["f_mm"], given["u_mm"]))
    agree(case, "near_mm", near)
    agree(case, "far_mm", far)
    agree(case, "fov_w_mm", 2 * half_tangent(36, given["f_mm"], given["u_mm"]) * given["u_mm"])


@each("4.5")
def test_depth_of_field_of_the_relay(case):
    """H u / (H +- u), m = f/u from the entrance pupil, and the field across 36 mm: a lens that focuses inside."""
    given = case["inputs"]
    lens = Lens(focal=given["f_mm"], focusing="internal")
    over_p = inverse_p(lens)
    near, far = limits(given["f_mm"], given["N"], given["c_mm"], given["u_mm"], over_p)
    agree(case, "m", magnification(given["f_mm"], given["u_mm"], over_p))
    agree(case, "near_mm", near)
    agree(case, "far_mm", far)
    agree(case, "fov_w_mm", 2 * half_tangent(36, given["f_mm"], given["u_mm"], over_p) * given["u_mm"])
    assert_allclose(effective_stop(lens, shot(stop=given["N"]), given["u_mm"]), given["N"])


@each("4.4", "4.5")
def test_blur_at_the_limits(case):
    """Both limits of either model are where the blur on the sensor is the circle of confusion, by similar triangles."""
    given = case["inputs"]
    over_p = 1.0 if case["id"].startswith("4.4") else 0.0
    for limit in ("near_mm", "far_mm"):
        assert_allclose(blur_mm(given["f_mm"], given["N"], given["u_mm"], case["outputs"][limit], over_p), given["c_mm"], rtol=1e-6)


@each("4.10a", "4.10b", "4.10c", "4.10d", "4.10e")
def test_airy_disc(case):
    """2.4393398 lambda N_eff (Born and Wolf), of a thin lens at magnification m."""
    given = case["inputs"]
    stop = working_stop(Lens(focal=FOCAL), given["N"], distance_for(given["m"]))
    agree(case, "N_eff", stop)
    assert_allclose(1000 * airy_mm(stop, given["lambda_um"] / 1000), case["outputs"]["airy_diam_um"], rtol=1e-6)


@each("4.10f")
def test_airy_disc_as_wide_as_the_circle_of_confusion(case):
    """The stop at which it is 30 um wide."""
    given = case["inputs"]
    assert_allclose(1000 * airy_mm(case["outputs"]["N_eff"], given["lambda_um"] / 1000), given["c_um"], rtol=1e-6)


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
