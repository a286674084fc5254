"""
Droplets: how a transparent sphere about as small as a wavelength scatters light, and a mixture of such spheres.

Takes diameters and a refractive index; gives efficiencies and the share of light that goes into each direction. Knows
nothing of scenes, rays or density.

diameter     of a droplet [um]
size         pi diameter / wavelength, the size parameter x [1]
efficiency   scattering cross-section / disc of the droplet, Q [1]
cos_angle    cosine between the light's travel before and after scattering; 1 is straight on [1]

References
----------
C. F. Bohren and D. R. Huffman, Absorption and Scattering of Light by Small Particles, Wiley 1983, ch. 4: coefficients
(4.88), angular functions (4.47), efficiencies (4.61), number of terms (app. A). From memory; `miepython` checks the
numbers in the tests.
"""

from __future__ import annotations

import numpy as np

WAVELENGTH_UM = 0.55
"""Where the eye is most sensitive. Colours differ little in a mixture of sizes, and one phase function serves all three."""

_SIZES = 160
_REACH = 3.0


def size_parameter(diameter_um, wavelength_um: float = WAVELENGTH_UM):
    """Return pi d / wavelength. [um] -> [1]"""
    return np.pi * np.asarray(diameter_um, dtype=float) / wavelength_um


def scattering_coefficients(size, index: float) -> tuple[np.ndarray, np.ndarray]:
    """
    Return the coefficients a_n, b_n of the scattered field.

    Parameters
    ----------
    size : (s,) float array
        Size parameters, above 0. [1]
    index : float
        Refractive index of the droplets against air; they absorb nothing. [1]

    Returns
    -------
    (s, terms) complex arrays
        From n = 1 on; 0 where a size needs no more terms.
    """
    x = np.atleast_1d(np.asarray(size, dtype=float))
    needed = np.ceil(x + 4 * np.cbrt(x) + 2)
    terms = int(needed.max())
    slope = _logarithmic_slope(index * x, terms)
    a, b = np.zeros((2, len(x), terms), dtype=complex)
    psi_before, psi, chi_before, chi = np.cos(x), np.sin(x), np.sin(x), -np.cos(x)
    for n in range(1, terms + 1):
        # A size that needs no more terms stays where it is: its functions would only overflow.
        on = n <= needed
        psi_before, psi = np.where(on, psi, psi_before), np.where(on, (2 * n - 1) / x * psi - psi_before, psi)
        chi_before, chi = np.where(on, chi, chi_before), np.where(on, (2 * n - 1) / x * chi - chi_before, chi)
        xi_before, xi = psi_before + 1j * chi_before, psi + 1j * chi
        electric, magnetic = slope[n] / index + n / x, slope[n] * index + n / x
        a[:, n - 1] = np.where(on, (electric * psi - psi_before) / (electric * xi - xi_before), 0)
        b[:, n - 1] = np.where(on, (magnetic * psi - psi_before) / (magnetic * xi - xi_before), 0)
    return a, b


def _logarithmic_slope(z: np.ndarray, terms: int) -> np.ndarray:
    """Return the slope of ln psi_n at z (s,) for n up to `terms`, (terms + 1, s), by the downward recurrence (4.89)."""
    slope = np.zeros((terms + 1, len(z)))
    here = np.zeros_like(z)
    for n in range(int(max(terms, z.max() + 8 * np.cbrt(z.max()))) + 15, 0, -1):
        here = n / z - 1 / (here + n / z)
        if n <= terms + 1:
            slope[n - 1] = here
    return slope


def scattering_efficiency(size, index: float) -> np.ndarray:
    """Return the scattering efficiency Q (s,) of droplets of `size` (s,); they absorb nothing, so it is that of extinction too. [1]"""
    a, b = scattering_coefficients(size, index)
    n = np.arange(1, a.shape[1] + 1)
    return 2 / np.atleast_1d(size) ** 2 * ((2 * n + 1) * (abs(a) ** 2 + abs(b) ** 2)).sum(axis=1)


def intensity(cos_angle, size, index: float) -> np.ndarray:
    """
    Return how strongly droplets scatter unpolarised light into each direction: (abs(S1)^2 + abs(S2)^2) / 2.

    Parameters
    ----------
    cos_angle : (c,) float array
        [1]
    size, index
        As for `scattering_coefficients`.

    Returns
    -------
    (s, c) float array
        Its integral over the sphere is pi x^2 Q. [1/sr]
    """
    a, b = scattering_coefficients(size, index)
    n = np.arange(1, a.shape[1] + 1)
    about, across = _angular(np.asarray(cos_angle, dtype=float), len(n))
    weight = (2 * n + 1) / (n * (n + 1))
    one = (weight * a) @ about + (weight * b) @ across
    two = (weight * a) @ across + (weight * b) @ about
    return (abs(one) ** 2 + abs(two) ** 2) / 2


def _angular(mu: np.ndarray, terms: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the angular functions pi_n and tau_n (terms, c), by their upward recurrence."""
    about, across = np.empty((terms, len(mu))), np.empty((terms, len(mu)))
    before, here = np.zeros_like(mu), np.ones_like(mu)
    for n in range(1, terms + 1):
        about[n - 1], across[n - 1] = here, n * mu * here - (n + 1) * before
        before, here = here, ((2 * n + 1) * mu * here - (n + 1) * before) / n
    return about, across


def mixture(diameter_um: float, spread: float) -> tuple[np.ndarray, np.ndarray]:
    """
    Return diameters and their numbers in a log-normal mixture.

    Parameters
    ----------
    diameter_um : float
        Median by number. [um]
    spread : float
        Geometric standard deviation: two thirds of all droplets lie within this factor of the median; 1 makes them all alike. [1]

    Returns
    -------
    diameters, numbers : (s,) float arrays
        [um], [1]; the numbers have no unit of their own, only their ratios count.

    Notes
    -----
    Droplets scatter about by their discs, so the few large ones count: the sizes reach from three deviations below the
    median by number to three above the median by disc, which lies ``2 ln^2 spread`` higher (Hatch and Choate, J. Franklin
    Inst. 207, 369 (1929); from memory).
    """
    deviation = np.log(spread)
    if deviation < 1e-3:
        return np.array([diameter_um]), np.ones(1)
    away = np.linspace(-_REACH * deviation, _REACH * deviation + 2 * deviation**2, _SIZES)
    return diameter_um * np.exp(away), np.exp(-((away / deviation) ** 2) / 2)


def droplet_phase(cos_angle, diameter_um: float, spread: float, index: float) -> np.ndarray:
    """
    Return the share of light that a mixture of droplets scatters into each direction, per steradian.

    Parameters
    ----------
    cos_angle : (c,) float array
        [1]
    diameter_um, spread
        As for `mixture`.
    index : float
        Refractive index. [1]

    Returns
    -------
    (c,) float array
        Its integral over the sphere is 1. [1/sr]
    """
    diameters, numbers = mixture(diameter_um, spread)
    size = size_parameter(diameters)
    # intensity / k^2 is the cross-section per steradian, the same k for all sizes.
    scattered = numbers @ intensity(cos_angle, size, index)
    return scattered / (numbers @ (np.pi * size**2 * scattering_efficiency(size, index)))
