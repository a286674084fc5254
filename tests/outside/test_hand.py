"""
The shake of hands against B. Carignan, J.-F. Daneault and C. Duval, Quantifying the importance of high frequency components
on the amplitude of physiological tremor, Exp. Brain Res. 202, 2010, 299 to 306 (abstract seen): a finger held level, by laser.
"""

import numpy as np
import pytest

from previz.rig.shake import shake_of
from previz.scene.model import Hand

RATE_HZ, SECONDS = 100, 400


@pytest.fixture(scope="module")
def spectrum():
    """Frequency [Hz] and power (5, n) of a long record of the shake."""
    record = shake_of(Hand(), 1).at(np.arange(0, SECONDS, 1 / RATE_HZ))
    return np.fft.rfftfreq(record.shape[1], 1 / RATE_HZ), np.abs(np.fft.rfft(record * np.hanning(record.shape[1]), axis=1)) ** 2


def amplitude(spectrum, low, high, inside=True):
    """Return (5,) the amplitude inside, or outside, a band, as a share of all of it."""
    frequency, power = spectrum
    band = (frequency >= low) & (frequency <= high)
    return np.sqrt(power[:, band if inside else ~band].sum(axis=1) / power.sum(axis=1))


def test_slow_swings_are_most_of_it(spectrum):
    """Without 1 to 3.5 Hz the amplitude is 56 % smaller."""
    assert 1 - amplitude(spectrum, 0.99, 3.51, inside=False) == pytest.approx(0.56, abs=0.02)


@pytest.mark.parametrize("low, high, share", [(7.5, 12.5, 0.24), (16.5, 30.0, 0.10)])
def test_quick_ones_are_little(spectrum, low, high, share):
    """24 and 10 % of the amplitude, and taking either away changes it by less than 3 %."""
    assert amplitude(spectrum, low, high) == pytest.approx(share, abs=0.02)
    assert (1 - amplitude(spectrum, low, high, inside=False) < 0.03).all()
