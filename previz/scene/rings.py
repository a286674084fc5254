"""
Closed outlines in the plane: what makes one unfit to be built or cut.

Takes corner points; gives words. Plans, openings' outlines and cutouts all pass through here.

    repeated corner   two neighbours nearer than NEAREST_MM
    crossing          two sides that meet anywhere but at the corner they share
    spike             a corner sharper than SHARPEST_DEG
    sliver            an area that no saw leaves standing
    clockwise         for plans only, whose sides have an outside
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from previz.scene.draft import mm, point

NEAREST_MM = 0.1
SHARPEST_DEG = 5.0
SMALLEST_MM2 = 0.25
_LONGEST_LIST = 12


class RingFault(NamedTuple):
    """What is wrong with an outline: the corner it shows at (None for the whole), words, remedy."""

    corner: int | None
    says: str
    remedy: str


def ring_is_sound(points) -> bool:
    """Whether an outline has no fault, which way round it runs aside."""
    return not ring_faults(points)


def ring_faults(points, *, key: str = "outline", anticlockwise: bool = False) -> list[RingFault]:
    """
    Return what is wrong with an outline.

    Parameters
    ----------
    points : (n, 2) float array-like
        Corners in order, the first not repeated. [mm]
    key : str
        What the maker calls it.
    anticlockwise : bool
        Whether it must run anticlockwise.
    """
    points = np.asarray(points, dtype=float)
    faults = _repeated(points)
    if faults:
        return faults
    faults = _crossing(points) or _spikes(points) or _sliver(points)
    if faults or not anticlockwise or signed_area(points) > 0:
        return faults
    return [RingFault(None, "runs clockwise, and must run anticlockwise seen from above", _reversed(points, key))]


def signed_area(points) -> float:
    """Return the area inside, positive where the outline runs anticlockwise. [mm2]"""
    x, y = np.asarray(points, dtype=float).T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def _repeated(points):
    gaps = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    faults = []
    for i in np.flatnonzero(gaps < NEAREST_MM):
        j = (int(i) + 1) % len(points)
        if j == 0:
            faults.append(RingFault(int(i), "repeats the first corner", "Leave it out: the outline closes by itself."))
        else:
            faults.append(RingFault(j, "repeats the corner before it", "Leave one of the two out."))
    return faults


def _crossing(points):
    """The first pair of sides that meet where they should not."""
    sides = [LineString([a, b]) for a, b in zip(points, np.roll(points, -1, axis=0))]
    if Polygon(points).is_valid:
        return []
    first, second = shapely.STRtree(sides).query(sides, predicate="intersects")
    for i, j in sorted(zip(first.tolist(), second.tolist())):
        if j <= i:
            continue
        meeting = shapely.intersection(sides[i], sides[j])
        neighbours = j - i == 1 or (i == 0 and j == len(sides) - 1)
        if neighbours and meeting.geom_type == "Point":
            continue
        at = point(meeting.interpolate(0.5, normalized=True).coords[0] if meeting.length else meeting.centroid.coords[0])
        says = f"crosses itself: its side {_side(points, i)} meets its side {_side(points, j)} at {at}"
        return [RingFault(None, says, "Put the corners in order around the outline, or move one of these four.")]
    return [RingFault(None, "crosses itself", "Put the corners in order around the outline.")]


def _side(points, i):
    return f"{i + 1} (from {point(points[i])} to {point(points[(i + 1) % len(points)])})"


def _spikes(points):
    back, on = np.roll(points, 1, axis=0) - points, np.roll(points, -1, axis=0) - points
    cosine = np.sum(back * on, axis=1) / (np.linalg.norm(back, axis=1) * np.linalg.norm(on, axis=1))
    angle = np.degrees(np.arccos(np.clip(cosine, -1, 1)))
    return [
        RingFault(int(i), f"makes a corner of only {angle[i]:.2g} degrees", f"Move it, or leave it out: nothing sharper than {SHARPEST_DEG:g} degrees can be built.")
        for i in np.flatnonzero(angle < SHARPEST_DEG)
    ]


def _sliver(points):
    area = abs(signed_area(points))
    perimeter = float(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1).sum())
    if area >= SMALLEST_MM2 and 2 * area / perimeter >= NEAREST_MM:
        return []
    return [RingFault(None, f"is a sliver of {mm(area)} mm2", "Check its corners: lengths are in mm.")]


def _reversed(points, key):
    if len(points) > _LONGEST_LIST:
        return "Reverse the order of its corners."
    # keep the first corner first, so that wall 1 still begins there
    turned = [points[0], *points[:0:-1]]
    return f"Reverse the order: {key} = [{', '.join(point(p) for p in turned)}]."

