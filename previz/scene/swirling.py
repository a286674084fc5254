"""
Rules on uneven haze: swirls that are too small to be drawn.

Takes a Draft; gives Problems.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from previz.scene.draft import Draft, Problem, mm

SWIRLS_ACROSS = 16
"""Swirls across the longest side of the haze: smaller ones are not resolved (own choice; a frame would cost twice as much)."""


def smallest_size(longest_mm: float) -> float:
    """Return the size of the smallest swirls that are resolved in haze of that length. [mm]"""
    return longest_mm / SWIRLS_ACROSS


def swirls_are_drawn(draft: Draft) -> Iterator[Problem]:
    """Swirls, the file's and each shot's, are no smaller than can be drawn in haze as long as this."""
    longest = _longest(draft)
    if longest is None:
        return
    least = smallest_size(longest)
    for path, haze in (("haze",), draft.tables.get("haze")), *((("shot", i, "haze"), shot.haze) for i, shot in draft.rows.get("shot", [])):
        if haze is not None and haze.uneven is not None and haze.uneven.size < least:
            says = f"swirls this small are not drawn in haze that is {mm(longest)} mm long"
            yield Problem((*path, "uneven", "size"), says, f"Make them {math.ceil(least)} mm or more.")


def _longest(draft: Draft) -> float | None:
    """Return the longest side of what the haze fills; None where it cannot be told. [mm]"""
    haze = draft.tables.get("haze")
    if haze is not None and haze.fills != "rooms":
        return max(abs(b - a) for a, b in zip(*haze.fills))
    rooms = [room for _, room in draft.rows.get("room", [])]
    if not rooms:
        return None
    spans = [max(values) - min(values) for values in zip(*(point for room in rooms for point in room.plan))]
    return max(*spans, *(room.height for room in rooms))


RULES = (swirls_are_drawn,)
