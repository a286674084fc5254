"""
How much material has to stay between openings, and between an opening and the edge: one rule of the trade.

Takes a thickness; gives a width.
"""

from __future__ import annotations

WEB_THICKNESSES = 2.0
"""A web narrower than this many thicknesses of the sheet breaks easily while it is cut (common practice)."""


def least_web(thickness: float) -> float:
    """Return the width that a web should have at least. [mm]"""
    return WEB_THICKNESSES * thickness
