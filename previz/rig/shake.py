"""
Hand-held shake: how a camera held in the hands wanders about where it is meant to be.

Takes how much it shakes and a seed; gives displacement and turn at any moment as a sum of sines, so that its speed and its
bend have bounds that certified clearance can use. Knows nothing of moves and sets.

The spectrum is that of a hand's physiological tremor in displacement: B. Carignan, J.-F. Daneault and C. Duval, Quantifying
the importance of high frequency components on the amplitude of physiological tremor, Exp. Brain Res. 202, 2010, 299
(abstract seen; measured on a finger, and taken here for a camera in two hands). Removing 1 to 3.5 Hz leaves 44 % of the
amplitude; 7.5 to 12.5 Hz are 24 % of it and 16.5 to 30 Hz are 10 %. What is left is shared out between the two bands that
the abstract does not name (own choice). Slower sway than 1 Hz, and roll, are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from previz.scene.model import Hand

BANDS = ((1.0, 3.5, 1 - 0.44**2), (3.5, 7.5, 0.44**2 - 0.24**2 - 2 * 0.1**2), (7.5, 12.5, 0.24**2), (12.5, 16.5, 0.1**2), (16.5, 30.0, 0.1**2))
"""From and to [Hz], and the share of the variance that lies between."""

SINES = 8
"""Sines a band: enough that the same swing does not come back within a take (own choice)."""

CHANNELS = ("x", "y", "z", "pan", "tilt")


@dataclass(frozen=True)
class Shake:
    """
    A seeded shake; rows are `CHANNELS`.

    amplitude  (5, n) [mm] for the first three rows, [rad] for the others
    omega      (5, n) [rad/s]
    phase      (5, n) [rad]
    """

    amplitude: np.ndarray
    omega: np.ndarray
    phase: np.ndarray

    def at(self, take_s) -> np.ndarray:
        """Return (5, n) how far off the lens is at moments (n,): [mm] for x, y, z, [rad] for pan and tilt."""
        turned = np.multiply.outer(np.atleast_1d(np.asarray(take_s, float)), self.omega) + self.phase
        return (self.amplitude * np.sin(turned)).sum(axis=2).T

    def bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """Return (5,) greatest speed and (5,) greatest acceleration, never less than the truth: all sines at once. [1/s], [1/s2]"""
        return (self.amplitude * self.omega).sum(axis=1), (self.amplitude * self.omega**2).sum(axis=1)

    def rms(self) -> np.ndarray:
        """Return (5,) root mean square over all time. [mm], [rad]"""
        return np.sqrt((self.amplitude**2).sum(axis=1) / 2)

    def step_rms(self, seconds: float) -> np.ndarray:
        """
        Return (5,) the root mean square change from one moment to another `seconds` later. [mm], [rad]

        Notes
        -----
        A sine changes by ``2 a sin(w dt / 2)`` times a cosine, whose mean square is a half; sines of different
        frequency add by their squares.
        """
        return np.sqrt((2 * self.amplitude**2 * np.sin(self.omega * seconds / 2) ** 2).sum(axis=1))


def shake_of(hand: Hand, seed: int, name: str = "") -> Shake:
    """
    Return the shake of one take.

    Parameters
    ----------
    hand : Hand
        Its root mean square an axis.
    seed : int
        The scene's.
    name : str
        The shot's: two shots do not shake alike.
    """
    random = np.random.default_rng([seed, *name.encode()])
    rms = np.array([hand.shake_mm] * 3 + [np.radians(hand.shake_deg)] * 2)
    rows = [(rms[:, None] * np.sqrt(2 * share / SINES), _stratified(random, low, high)) for low, high, share in BANDS]
    omega = 2 * np.pi * np.concatenate([frequency for _, frequency in rows], axis=1)
    amplitude = np.concatenate([np.broadcast_to(a, (len(CHANNELS), SINES)) for a, _ in rows], axis=1)
    return Shake(amplitude, omega, random.uniform(0, 2 * np.pi, omega.shape))


def _stratified(random, low: float, high: float) -> np.ndarray:
    """Return (5, SINES) frequencies, one somewhere in each equal part of the band. [Hz]"""
    return low + (high - low) * (np.arange(SINES) + random.uniform(size=(len(CHANNELS), SINES))) / SINES
