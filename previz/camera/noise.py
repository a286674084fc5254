"""
Noise: how grainy a picture gets with ISO, as an illustration.

Takes a picture as shares of white; gives the same with noise. The sensor is one of round figures of ours, no real one: the
law is a sensor's, the level is not the maker's. For that, shoot a test.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FULL_ELECTRONS = 40_000.0
"""Electrons in a pixel of the body at white, at ISO 100 (own choice, round). [1]"""

READ_ELECTRONS = 4.0
"""Standard deviation of what reading a pixel adds (own choice, round). [1]"""

SAID = "noise is an illustration: a sensor of round figures, not yours"
"""Said wherever such a picture is shown."""


@dataclass(frozen=True)
class Grain:
    """
    What a picture's noise depends on besides its light.

    pixels_each  pixels of the body that one pixel of the picture stands for; their noise averages out [1]
    seed         the same seed gives the same grain
    """

    pixels_each: float
    seed: int


def noisy(exposed: np.ndarray, iso: float, grain: Grain) -> np.ndarray:
    """
    Return a picture with the noise of its light and of reading it out.

    Parameters
    ----------
    exposed : (rows, columns, 3) float array
        Shares of white, before the shoulder; channel by channel. [1]
    iso : float
        ISO set. [ISO]
    grain : Grain

    Returns
    -------
    (rows, columns, 3) float array
        Of the same mean. [1]

    Notes
    -----
    The linear sensor of EMVA 1288 (from memory): electrons vary by their own number (Poisson's law, by its normal limit,
    from some tens of electrons on) and by what reading adds. A share v of white is ``v 40,000 100 / ISO`` electrons.
    """
    white = FULL_ELECTRONS * 100.0 / iso
    variance = (np.maximum(exposed, 0.0) * white + READ_ELECTRONS**2) / max(grain.pixels_each, 1.0)
    return exposed + np.sqrt(variance) / white * np.random.default_rng(grain.seed).standard_normal(exposed.shape)
