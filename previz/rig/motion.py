"""
The S-curve: how a move's travel is spread over the take.

Takes the length of the take and the ease; gives share of the travel, rate and change of rate as closed forms.
Knows nothing of where the move leads.

    rate      _______________        ease      share of the take spent speeding up, and the same slowing down
            /                 \\      peak      1 / (take_s (1 - ease)), whatever the shape of the S,
        ___/                   \\___            as long as each S is symmetrical
        |ease|             |ease|
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np


def smooth(x):
    """
    Return the minimum-jerk step from 0 to 1.

    Parameters
    ----------
    x : (n,) float array
        0 to 1. [1]

    Returns
    -------
    (n,) float array
        [1]

    Notes
    -----
    ``10 x^3 - 15 x^4 + 6 x^5`` (T. Flash and N. Hogan, J. Neurosci. 5, 1985, 1688). Steepest, 1.875, at the middle.
    """
    return x**3 * (10 + x * (6 * x - 15))


def smooth_slope(x):
    """Return the slope of `smooth` at x (n,), ``30 x^2 (1 - x)^2``. [1]"""
    return 30 * np.square(x * (1 - x))


def smooth_area(x):
    """Return the area under `smooth` from 0 to x (n,), ``2.5 x^4 - 3 x^5 + x^6``: a half at 1. [1]"""
    return x**4 * (2.5 + x * (x - 3))


@dataclass(frozen=True)
class SCurve:
    """
    A move from rest to rest whose rate follows `smooth` up, stays level, and follows it down.

    take_s   length of the take [s]
    ease     share of the take spent speeding up, and the same slowing down, 0 to 0.5 [1]

    Times are clipped to the take. The rate's first and second derivative have no jumps (but at ease 0, which has no S).
    """

    take_s: float
    ease: float

    @property
    def ramp_s(self) -> float:
        """Time spent speeding up; an ease too small to compute with is none. [s]"""
        return self.ease * self.take_s if self.ease > 1e-9 else 0.0

    @property
    def peak_rate(self) -> float:
        """Share of the travel per second on the level: ``1 / (T - T_a)``, that is ``T = D/v + T_a`` (Biagiotti and
        Melchiorri, Trajectory Planning, Springer 2008, ch. 3). [1/s]"""
        return 1 / (self.take_s * (1 - self.ease))

    @property
    def peak_change(self) -> float:
        """Greatest change of rate, ``1.875 peak_rate / ramp_s``; infinite without ease. [1/s2]"""
        return 1.875 * self.peak_rate / self.ramp_s if self.ramp_s else math.inf

    def _ramp(self, take_s):
        """Return (n,) how far up the nearer ramp each moment is, 0 to 1, and whether that ramp is the second."""
        t = np.clip(np.asarray(take_s, float), 0, self.take_s)
        late = t > self.take_s / 2
        from_end = np.where(late, self.take_s - t, t)
        up = np.minimum(from_end / self.ramp_s, 1.0) if self.ramp_s else np.ones_like(t)
        return from_end, up, late

    def share(self, take_s):
        """Return the (n,) share of the travel done at each moment, 0 to 1. [1]"""
        from_end, up, late = self._ramp(take_s)
        done = self.peak_rate * (self.ramp_s * smooth_area(up) + np.maximum(from_end - self.ramp_s, 0))
        return np.where(late, 1 - done, done)

    def rate(self, take_s):
        """Return the (n,) share of the travel per second at each moment. [1/s]"""
        return self.peak_rate * smooth(self._ramp(take_s)[1])

    def change(self, take_s):
        """Return the (n,) change of the rate at each moment; zero on the level and without ease. [1/s2]"""
        _, up, late = self._ramp(take_s)
        slope = smooth_slope(up) * (self.peak_rate / self.ramp_s if self.ramp_s else 0.0)
        return np.where(late, -slope, slope)

    def moment(self, share) -> np.ndarray:
        """
        Return when each share of the travel is reached.

        Parameters
        ----------
        share : (n,) float array
            0 to 1. [1]

        Returns
        -------
        (n,) float array
            [s]

        Notes
        -----
        Bisection to the last bit: the share never falls with time.
        """
        share = np.clip(np.asarray(share, float), 0, 1)
        low, high = np.zeros_like(share), np.full_like(share, self.take_s)
        for _ in range(60):
            middle = (low + high) / 2
            before = self.share(middle) < share
            low, high = np.where(before, middle, low), np.where(before, high, middle)
        return np.select([share <= 0, share >= 1], [0.0, self.take_s], high)
