"""
Scales of drawings: the recommended series, and the largest of it that a drawing fits its paper with.

Takes sizes in millimetres; gives a scale. Knows nothing of what is drawn.
"""

from __future__ import annotations

ENLARGED = (50.0, 20.0, 10.0, 5.0, 2.0)
REDUCED = tuple(step * 10.0**power for power in range(6) for step in (1, 2, 5))
SERIES = (*ENLARGED, *(1 / step for step in REDUCED))
"""Paper over model: ISO 5455:1979, 50:1 to 2:1, 1:1, and 1:2, 1:5, 1:10 and so on, extended by powers of ten as it allows."""


def scale_for(extent, room) -> float:
    """
    Return the largest scale of the series at which something fits its room.

    Parameters
    ----------
    extent, room : (width, height)
        Of what is drawn, and of the paper for it. [mm]

    Returns
    -------
    float
        Millimetres of paper for one of the model.

    Raises
    ------
    ValueError
        If nothing of the series is small enough.
    """
    for scale in SERIES:
        if all(side * scale <= free + 1e-9 for side, free in zip(extent, room)):
            return scale
    raise ValueError(f"{extent} mm do not fit {room} mm at any scale")


def scale_text(scale: float) -> str:
    """Return "1:5" or "2:1"."""
    return f"{scale:g}:1" if scale > 1 else f"1:{round(1 / scale):,}".replace(",", "")
