"""The two reference forms of airlight agree with each other and with the integral that defines it; test_haze.py has the published values."""

import numpy as np
import pytest
from airlight import airlight, even_airlight, fading_angle
from scipy.integrate import quad

from previz.haze.medium import Medium
from previz.haze.phase import henyey_greenstein

SOURCE = np.array([250.0, -80.0, 120.0])
RAYS = np.array([[1.0, 0, 0], [0, 1.0, 0], [-0.6, 0, 0.8]])


@pytest.mark.parametrize("g", [-0.4, 0.0, 0.75])
def test_defining_integral(g):
    """Along the ray, in metres, step by step: scattering, phase, both legs, inverse square; scipy's adaptive quadrature."""
    medium = Medium(1.3, 0.9, g, ())

    def gain(t, ray):
        leg = t * ray - SOURCE / 1000
        d = np.linalg.norm(leg)
        return 0.9 * 1.3 * henyey_greenstein(-(leg @ ray) / d, g) * np.exp(-1.3 * (d + t)) / d**2

    expected = [70 * quad(gain, 0.05, 0.6, args=(ray,), epsabs=0, epsrel=1e-11)[0] for ray in RAYS]
    found = airlight(medium, 70.0, SOURCE, np.zeros(3), RAYS, 50.0, 600.0)
    np.testing.assert_allclose(found, expected, rtol=1e-9)


def test_quadrature_meets_closed_form():
    """Two ways to one number, on rays of all kinds of haze."""
    for extinction in (0.01, 1.0, 30.0):
        medium = Medium(extinction, 0.8, 0.0, ())
        both = [f(medium, 50.0, SOURCE, np.zeros(3), RAYS, 10.0, 900.0) for f in (airlight, even_airlight)]
        np.testing.assert_allclose(*both, rtol=1e-9)


def test_stretches_add_up():
    """A ray lit in two stretches has the sum of their light."""
    medium = Medium(0.8, 1.0, 0.75, ())
    parts = [airlight(medium, 1.0, SOURCE, np.zeros(3), RAYS, a, b) for a, b in [(0, 200), (200, 900)]]
    np.testing.assert_allclose(sum(parts), airlight(medium, 1.0, SOURCE, np.zeros(3), RAYS, 0, 900), rtol=1e-9)


def test_thin_haze_is_proportional():
    """Ten times as much of nearly nothing is ten times the light."""
    thin, thicker = (airlight(Medium(s, 1.0, 0.6, ()), 1.0, SOURCE, np.zeros(3), RAYS, 0, 500) for s in (1e-6, 1e-5))
    np.testing.assert_allclose(thicker, 10 * thin, rtol=1e-4)


def test_clear_air_is_dark():
    """No haze, no shaft."""
    np.testing.assert_array_equal(airlight(Medium(0.0, 1.0, 0.6, ()), 1.0, SOURCE, np.zeros(3), RAYS), 0)


@pytest.mark.parametrize("u", [1e-4, 0.3, 5.0, 80.0])
def test_fading_angle(u):
    """The special function by the exponential integral and by its defining integral."""
    for v in (0.2, 1.0, 1.5):
        assert fading_angle(u, v) == pytest.approx(quad(lambda x: np.exp(-u * np.tan(x)), 0, v, epsabs=0)[0], rel=1e-8)
