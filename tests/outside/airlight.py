"""
Airlight in two ways that share nothing with the ray engine: the luminance that haze adds along a ray by scattering a
point source's light once towards the lens.

Quadrature for any haze, and the published closed form for haze that scatters evenly. Both take one endless body of haze around source and lens, and no shadows but `begin` and `end`.

begin, end   along the ray from the lens: where the ray enters and leaves the lit stretch [mm]
foot         along the ray: the point nearest to the source, `reach` from it [mm]
"""

from __future__ import annotations

import numpy as np
from scipy.special import exp1

from previz.haze.medium import Medium
from previz.haze.phase import henyey_greenstein
from previz.light.units import LUX_PER_CANDELA_MM2, per_mm


def airlight(medium: Medium, candela, source, lens, directions, begin=0.0, end=np.inf, nodes: int = 128) -> np.ndarray:
    """
    Return the luminance of haze along rays, lit by a point source that gives `candela` in every direction.

    Parameters
    ----------
    medium : Medium
        Its cells are not looked at.
    candela : float
        [cd]
    source, lens : (3,) or (n, 3) float array
        [mm]
    directions : (n, 3) float array
        Unit vectors away from the lens, none through the source. [1]
    begin, end : float or (n,) float array
        [mm]
    nodes : int
        Of the Gauss-Legendre rule; 128 leave less than 1e-5 for an endless ray, less than 1e-12 for short ones.

    Returns
    -------
    (n,) float array
        [cd/m2]

    Notes
    -----
    ``L = integral of albedo sigma p(mu) I exp(-sigma (d + t)) / d^2 dt``, d from the source, t from the lens. The angle
    seen from the source replaces t: ``dt / d^2 = d angle / reach``, which leaves no peak near the source.

    References
    ----------
    The change of variable: C. Kulla and M. Fajardo, Importance Sampling Techniques for Path Tracing in Participating
    Media, Computer Graphics Forum 31(4), 2012 (from memory).
    """
    foot, reach = _foot(source, lens, directions)
    low, high = np.arctan((begin - foot) / reach), np.arctan((end - foot) / reach)
    at, weight = np.polynomial.legendre.leggauss(nodes)
    angle = low[:, None] + (high - low)[:, None] * (1 + at) / 2
    distance, along = reach[:, None] / np.cos(angle), foot[:, None] + reach[:, None] * np.tan(angle)
    # Light travels from the source to the point, then back along the ray: their cosine is minus sin(angle).
    scattered = henyey_greenstein(-np.sin(angle), medium.g) * np.exp(-per_mm(medium.extinction_per_m) * (distance + along))
    mean = scattered @ weight / 2 * (high - low)
    return LUX_PER_CANDELA_MM2 * candela * per_mm(medium.scattering_per_m) * mean / reach


def even_airlight(medium: Medium, candela, source, lens, directions, begin=0.0, end=np.inf) -> np.ndarray:
    """
    Return what `airlight` does for haze that scatters evenly (g = 0), in closed form.

    Parameters and Returns
    ----------------------
    As of `airlight`; the medium's g is not looked at.

    Notes
    -----
    ``A0 [F(A1, v(end)) - F(A1, v(begin))]`` with ``A0 = albedo sigma I exp(-sigma D cos gamma) / (2 pi D sin gamma)``,
    ``A1 = sigma D sin gamma``, ``v(t) = pi/4 + atan((t - D cos gamma) / (D sin gamma)) / 2``: D is the distance from
    source to lens, gamma the angle between ray and source; D cos gamma is the foot, D sin gamma the reach.

    References
    ----------
    B. Sun, R. Ramamoorthi, S. Narasimhan and S. Nayar, A Practical Analytic Single Scattering Model for Real Time
    Rendering, SIGGRAPH 2005 (abstract seen; equations from memory).
    """
    foot, reach = _foot(source, lens, directions)
    depth = per_mm(medium.extinction_per_m) * reach
    low, high = (np.pi / 4 + np.arctan((t - foot) / reach) / 2 for t in (begin, end))
    gain = LUX_PER_CANDELA_MM2 * candela * per_mm(medium.scattering_per_m) * np.exp(-per_mm(medium.extinction_per_m) * foot) / (2 * np.pi * reach)
    return gain * (fading_angle(depth, high) - fading_angle(depth, low))


def fading_angle(u, v) -> np.ndarray:
    """
    Return the special function of single scattering, ``F(u, v) = integral of exp(-u tan x) dx from 0 to v``.

    Parameters
    ----------
    u, v : float or array
        u greater than zero; v from 0 to pi/2. [1], [rad]

    Returns
    -------
    float or array
        [rad]

    Notes
    -----
    With ``y = tan x`` it is the integral of ``exp(-u y) / (1 + y^2)``, the imaginary part of that of
    ``exp(-u y) / (y - i)``, which is ``exp(-i u) [E1(-i u) - E1(u (tan v - i))]``, E1 the exponential integral.

    References
    ----------
    F: Sun et al., SIGGRAPH 2005. E1 of a complex number: V. Pegoraro and P. Slusallek, On the Evaluation of the
    Complex-Valued Exponential Integral, J. Graphics Tools 15(3), 2011, name single scattering as its use (abstract seen).
    """
    u = np.asarray(u, dtype=float)
    return (np.exp(-1j * u) * (exp1(-1j * u) - exp1(u * (np.tan(v) - 1j)))).imag


def _foot(source, lens, directions) -> tuple[np.ndarray, np.ndarray]:
    """Return foot (n,) and reach (n,) of rays from `lens` along `directions` (n, 3). [mm]"""
    to_source = np.asarray(source, dtype=float) - np.asarray(lens, dtype=float)
    foot = np.sum(to_source * directions, axis=-1)
    return foot, np.linalg.norm(to_source - foot[:, None] * directions, axis=-1)
