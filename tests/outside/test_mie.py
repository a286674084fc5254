"""
Droplets against `miepython` (S. Prahl, https://github.com/scottprahl/miepython), an independent library for Mie's theory, and
against the reference values of chapter 3: C. F. Bohren and D. R. Huffman, Absorption and Scattering of Light by Small
Particles, 1983, by a series of 30 digits.
"""

import miepython
import numpy as np
import pytest
from reference import agree, each
from test_airlight_engine import emitter, hazy_room, seen

from previz.haze.mie import droplet_phase, intensity, mixture, scattering_efficiency, size_parameter
from previz.haze.phase import of_droplets
from previz.haze.scaling import scaled
from previz.light.units import LUX_PER_CANDELA_MM2, per_mm

SIZES = [0.3, 1.0, 5.7, 40.0, 300.0]


class TestOneSize:
    """Droplets that are all alike."""

    @each("3.7a", "3.7b", "3.7c", "3.7d", "3.7e", "3.7f", "3.7g", "3.7h", "3.7i")
    def test_efficiency_and_mean_cosine(self, case):
        """Q and g of nine droplets at 550 nm."""
        given = case["inputs"]
        agree(case, "Q_ext", scattering_efficiency(size_parameter(given["d_um"], given["lambda_um"]), given["n"])[0])
        agree(case, "g", of_droplets(given["d_um"], 1.0, given["n"]).moments[1])

    @each("3.7j")
    def test_phase_function(self, case):
        """At 0, 30, 90, 150 and 180 degrees; and what the engine's table reads there, within a thousandth."""
        given = case["inputs"]
        cos = np.cos(np.radians(given["theta_deg"]))
        agree(case, "p_mie", droplet_phase(cos, given["d_um"], 1.0, given["n"]))
        np.testing.assert_allclose(of_droplets(given["d_um"], 1.0, given["n"]).at(cos), case["outputs"]["p_mie"], rtol=1e-3)

    @pytest.mark.parametrize("index", [1.33, 1.45, 1.6])
    @pytest.mark.parametrize("size", SIZES)
    def test_against_miepython(self, size, index):
        """Efficiency and all directions, from droplets much smaller than a wavelength to a hundred times larger."""
        _, scattered, _, g = miepython.efficiencies_mx(index, size)
        mu = np.cos(np.linspace(0, np.pi, 181))
        assert scattering_efficiency(size, index)[0] == pytest.approx(scattered, rel=1e-6)
        ours = intensity(mu, size, index)[0] / (np.pi * size**2 * scattering_efficiency(size, index)[0])
        np.testing.assert_allclose(ours, miepython.i_unpolarized(index, size, mu, norm="one"), rtol=1e-5, atol=1e-9)

    @each("3.8")
    def test_concentration(self, case):
        """Extinction of so many milligrams in a cubic metre: 3 Q C / (2 rho d)."""
        given = case["inputs"]
        q = scattering_efficiency(size_parameter(given["d_um"]), given["n"])[0]
        agree(case, "sigma_per_m", 3 * q * given["conc_mg_m3"] / (2 * given["rho_g_cm3"] * given["d_um"]) * 1e-3)


def mixed(mu, diameter, spread, index):
    """Return the phase function of a log-normal mixture from miepython's droplets, by its own even steps over four deviations."""
    deviation = np.log(spread)
    away = np.linspace(-4 * deviation, 4 * deviation + 4 * deviation**2, 300)
    size = np.pi * diameter * np.exp(away) / 0.55
    weight = np.exp(-((away / deviation) ** 2) / 2) * size**2 * [miepython.efficiencies_mx(index, x)[1] for x in size]
    return np.average([miepython.i_unpolarized(index, x, mu, norm="one") for x in size], axis=0, weights=weight)


class TestMixture:
    """Droplets of many sizes."""

    def test_against_miepython(self):
        """One micrometre, spread 1.4: every direction within 1 %, as the engine's table reads it."""
        mu = np.cos(np.linspace(0, np.pi, 91))
        np.testing.assert_allclose(of_droplets(1.0, 1.4, 1.45).at(mu), mixed(mu, 1.0, 1.4, 1.45), rtol=0.01)

    @pytest.mark.parametrize(("diameter", "spread"), [(0.1, 1.0), (1.0, 1.4), (3.0, 1.4), (10.0, 1.2)])
    def test_all_light_goes_somewhere(self, diameter, spread):
        """The series' own integral over the sphere is that of its efficiency: the table needs next to no mending."""
        phase = of_droplets(diameter, spread, 1.45)
        assert phase.moments[0] == pytest.approx(1, abs=1e-12)
        np.testing.assert_allclose(phase.at([0.0, -0.5]), droplet_phase(np.array([0.0, -0.5]), diameter, spread, 1.45), rtol=2e-3)

    def test_median_by_number(self):
        """Half of the droplets are smaller than the diameter given."""
        diameters, numbers = mixture(1.0, 1.4)
        assert numbers[diameters < 1.0].sum() / numbers.sum() == pytest.approx(0.5, abs=0.01)

    def test_one_lobe_is_not_enough(self):
        """3.7j, the reason for all this: one lobe of the same g is 3.8 times too dark at 150 degrees and 2.4 times too bright at 30."""
        from previz.haze.phase import one_lobe

        mie = of_droplets(1.0, 1.0, 1.45)
        ratio = mie.at(np.cos(np.radians([150, 30]))) / one_lobe(float(mie.moments[1])).at(np.cos(np.radians([150, 30])))
        np.testing.assert_allclose(ratio, [3.8, 1 / 2.4], rtol=0.03)


@pytest.mark.parametrize("ray", [(0.0, 1.0, 0.0), (-0.3, 1.0, -0.2)])
def test_single_scattering_in_the_engine(ray):
    """A lamp in a hazy room: the engine's ray against quadrature with miepython's phase function."""
    lamp, lens, extinction = np.array([700.0, 250.0, 600.0]), np.array([500.0, -700.0, 500.0]), 0.8
    lit = hazy_room({"extinction": extinction, "droplets": {"diameter": 1.0}}, emitter(lamp, [-1, 0, 0], 40.0))
    ray = np.array(ray) / np.linalg.norm(ray)
    end = (800 - lens[1]) / ray[1]
    at, weight = np.polynomial.legendre.leggauss(400)
    t = (1 + at) * end / 2
    leg = lens + t[:, None] * ray - lamp
    d = np.linalg.norm(leg, axis=1)
    dimmed = np.exp(-per_mm(extinction) * (d + t)) / d**2
    expected = LUX_PER_CANDELA_MM2 * 40.0 * per_mm(extinction) * end / 2 * (weight @ (dimmed * mixed(-(leg @ ray) / d, 1.0, 1.4, 1.45)))
    assert seen(lit, lens, ray) == pytest.approx(expected, rel=0.01)


def test_moments_reach_the_bounced_light():
    """The forward peak that counts as not scattered is the table's own moment, not a power of g."""
    lit = hazy_room({"extinction": 1.0, "droplets": {"diameter": 1.0}}, emitter([700.0, 250.0, 600.0], [-1, 0, 0]))
    cos, weight = np.polynomial.legendre.leggauss(300)
    third = 2 * np.pi * weight @ (lit.medium.phase.at(cos) * (5 * cos**3 - 3 * cos) / 2)
    assert scaled(lit.medium).extinction_per_m == pytest.approx(1 - third, rel=1e-4)
    assert abs(third - lit.medium.g**3) > 0.05
