"""
What a colour typed as "#rrggbb" stands for: shares of red, green and blue light, for finishes and for tinted panes.
"""

from __future__ import annotations

import numpy as np


def shares_of(colour: str) -> np.ndarray:
    """Return the (3,) linear shares, Rec. 709 primaries, of "#rrggbb" in sRGB code (IEC 61966-2-1:1999). [1]"""
    coded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
