"""
Luminous intensity by direction, as a table that may be read anywhere on the sphere.

Takes candela at a grid of angles; gives lumens, beam and field angles, and the grid that compiled loops sample. Knows no
files and no lamps.

theta    from the axis of the lamp, 0 along it [deg]
phi      about the axis, anticlockwise as the lamp looks, 0 to its left [deg]

Between the angles of the table the intensity is linear in theta and phi.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

BEAM_SHARE, FIELD_SHARE = 0.5, 0.1
"""Beam and field angle end where the intensity falls to these shares of the highest (IES definitions; secondary source seen)."""

_FINEST_THETA_DEG, _FINEST_PHI_DEG = 0.1, 1.0


@dataclass(frozen=True)
class Distribution:
    """
    candela (rows, columns): at theta = 180 i / (rows - 1) and phi = 360 j / (columns - 1), the last column equal to the
    first; a single column is the same all round. [cd]
    """

    candela: np.ndarray

    @property
    def theta(self) -> np.ndarray:
        """(rows,) [rad]"""
        return np.linspace(0, np.pi, len(self.candela))

    @property
    def peak(self) -> float:
        """The highest intensity. [cd]"""
        return float(self.candela.max())

    @property
    def on_axis(self) -> float:
        """The intensity along the axis. [cd]"""
        return float(self.candela[0].mean())

    @property
    def lumens(self) -> float:
        """
        The whole flux, exactly that of the table's linear pieces. [lm]

        ``2 pi`` times the integral of ``I(theta) sin(theta)``, I the mean over phi.
        """
        around = self.candela[:, 0] if self.candela.shape[1] == 1 else np.trapezoid(self.candela, dx=1 / (self.candela.shape[1] - 1), axis=1)
        low, high = self.theta[:-1], self.theta[1:]
        slope = np.diff(around) / (high - low)
        # The integral of (a + s (x - low)) sin x is [-(a + s (x - low)) cos x + s sin x].
        pieces = around[:-1] * np.cos(low) - around[1:] * np.cos(high) + slope * (np.sin(high) - np.sin(low))
        return float(2 * np.pi * pieces.sum())

    def towards(self, theta, phi) -> np.ndarray:
        """Return the intensity at angles of any one shape. [rad], [rad] -> [cd]"""
        rows, columns = self.candela.shape
        at = np.clip(np.asarray(theta) / np.pi * (rows - 1), 0, rows - 1)
        i = np.minimum(at.astype(int), rows - 2)
        turn = np.asarray(phi) / (2 * np.pi) % 1.0 * (columns - 1)
        j = np.minimum(turn.astype(int), max(columns - 2, 0))
        after = np.minimum(j + 1, columns - 1)
        down, along = at - i, turn - j
        near = self.candela[i, j] * (1 - along) + self.candela[i, after] * along
        return near * (1 - down) + (self.candela[i + 1, j] * (1 - along) + self.candela[i + 1, after] * along) * down

    def width_deg(self, share: float, phi_deg: float = 0.0) -> float:
        """
        Return the full angle, in the plane through the axis at `phi_deg`, beyond which the intensity stays under `share` of that plane's highest. [deg]

        References
        ----------
        Beam angle at 50 % and field angle at 10 % of the highest intensity (IES definitions; secondary source seen).
        """
        sides = [self.towards(self.theta, np.full(len(self.theta), np.radians(phi_deg + turn))) for turn in (0, 180)]
        level = share * max(side.max() for side in sides)
        return sum(_falls_below(np.degrees(self.theta), side, level) for side in sides)

    def scaled(self, factor: float) -> Distribution:
        """Return the same shape with `factor` times the light."""
        return Distribution(self.candela * factor)


def sampled(intensity, theta_deg, phi_deg) -> Distribution:
    """
    Return the table of a function of direction, on a grid that holds the given angles.

    Parameters
    ----------
    intensity : callable
        From theta and phi of one shape to candela. [deg], [deg] -> [cd]
    theta_deg, phi_deg : (n,), (m,) float arrays
        Where the function bends; the grid has steps that meet them all, no finer than 0.1 and 1 degree. A single phi is the
        same all round. [deg]
    """
    theta = np.linspace(0, 180, round(180 / _step(theta_deg, 180, _FINEST_THETA_DEG)) + 1)
    phi = np.zeros(1) if len(phi_deg) == 1 else np.linspace(0, 360, round(360 / _step(phi_deg, 360, _FINEST_PHI_DEG)) + 1)
    return Distribution(np.ascontiguousarray(intensity(*np.meshgrid(theta, phi, indexing="ij")), dtype=float))


def _step(angles_deg, whole: float, finest: float) -> float:
    """Return the widest step that divides `whole` and meets all angles, to a hundredth; `finest` where there is none so wide. [deg]"""
    hundredths = np.round(np.abs(np.append(angles_deg, whole)) * 100).astype(np.int64)
    return max(np.gcd.reduce(hundredths) / 100, finest)


def _falls_below(theta_deg: np.ndarray, candela: np.ndarray, level: float) -> float:
    """Return the angle at which the intensity falls to `level` for good. [deg]"""
    above = np.flatnonzero(candela >= level)
    if not len(above) or above[-1] == len(candela) - 1:
        return float(theta_deg[-1]) if len(above) else 0.0
    i = above[-1]
    return float(theta_deg[i] + (candela[i] - level) / (candela[i] - candela[i + 1]) * (theta_deg[i + 1] - theta_deg[i]))
