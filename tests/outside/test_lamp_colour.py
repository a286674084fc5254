"""
The colour of a lamp in kelvin: reference cases 6.1 and 6.2 (CIE 015:2018, IEC 61966-2-1:1999), and the library colour-science
itself, over the whole range.
"""

import warnings

import numpy as np
import pytest
from reference import each

from previz.light.colour import luminance
from previz.light.whites import daylight_xy, planckian_xy, white_rgb

with warnings.catch_warnings():
    # It tells of optional libraries that are not here.
    warnings.simplefilter("ignore")
    import colour


@each("6.1", "6.2")
def test_reference_case(case):
    """Chromaticity and linear RGB at luminance 1."""
    kelvin, locus = case["inputs"]["CCT_K"], {"planck": "planckian", "daylight": "daylight"}[case["inputs"]["locus"]]
    x, y = (planckian_xy if locus == "planckian" else daylight_xy)(kelvin)
    assert (x, y) == pytest.approx((case["outputs"]["x"], case["outputs"]["y"]), abs=case["tol"]["xy_abs"])
    np.testing.assert_allclose(white_rgb(kelvin, locus), case["outputs"]["linsRGB_Y1"], atol=case["tol"]["rgb_abs"])


@pytest.mark.parametrize("kelvin", [1000, 1700, 2400, 3200, 4500, 7000, 12000, 25000])
def test_black_body_by_the_library(kelvin):
    """colour-science: Planck's law at 1 nm from 360 to 830 nm; ours is at 5 nm."""
    spectrum = colour.sd_blackbody(kelvin, colour.SpectralShape(360, 830, 1))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        expected = colour.XYZ_to_xy(colour.sd_to_XYZ(spectrum, colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]))
    np.testing.assert_allclose(planckian_xy(kelvin), expected, atol=5e-5)


@pytest.mark.parametrize("kelvin", [4000, 5000, 7000, 7001, 15000, 25000])
def test_daylight_by_the_library(kelvin):
    """colour-science: the CIE daylight locus."""
    np.testing.assert_allclose(daylight_xy(kelvin), colour.temperature.CCT_to_xy_CIE_D(kelvin), atol=1e-9)


def test_the_locus_changes_at_4000():
    """A black body below, daylight from there up; luminance 1 and no negative light anywhere."""
    np.testing.assert_array_equal(white_rgb(3999), white_rgb(3999, "planckian"))
    np.testing.assert_array_equal(white_rgb(4000), white_rgb(4000, "daylight"))
    for kelvin in np.geomspace(1000, 25000, 40):
        assert luminance(white_rgb(kelvin)) == pytest.approx(1) and (white_rgb(kelvin) >= 0).all()


def test_mired_shift_by_the_library():
    """A gel of +162 mired before 5600 K gives 2936 K (colour-science: mired to kelvin); the level is the gel's stops alone."""
    from pathlib import Path

    from previz.build.assemble import build_set
    from previz.light.lamps import emitters
    from previz.scene.model import Scene

    room = {"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "height": 160.0}
    lamp = {"name": "key", "kind": "point", "at": (0, 0, 900), "toward": (9, 0, 0), "candela": 800, "colour": 5600, "gel": {"stops": 1, "mired": 162}}
    scene = Scene.model_validate({"room": [room], "lamp": [lamp]})
    kelvin = colour.temperature.mired_to_CCT(colour.temperature.CCT_to_mired(5600) + 162)
    assert scene.lamp[0].kelvin == pytest.approx(kelvin)
    np.testing.assert_allclose(emitters(scene, build_set(scene, Path()))[0].candela, 400 * white_rgb(kelvin))
