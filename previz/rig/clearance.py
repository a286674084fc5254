"""
Clearance: the least distance between lens and body and the set over a whole move, certified.

Takes the built set, the scene's kit and a move; gives the distance, when, and between which two parts.

No contact can be stepped over, since no step is taken: the move is cut into pieces, and one distance query bounds a
solid's clearance over a whole piece, between the set and the hull of all that the solid sweeps there. Pieces that could
hold something nearer than the nearest place known are cut further (branch and bound), until none could by more than
`CERTIFIED_MM`. Where solids meet, pieces are searched in order of travel for the first contact.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from previz.build.built import BuiltSet
from previz.camera.view import axes
from previz.rig.distance import SetDistance
from previz.rig.moves import Move
from previz.rig.solids import RigPart, rig_parts
from previz.rig.sweep import STRAY_MM, enclosing, placed
from previz.scene.model import Scene

CERTIFIED_MM = 0.02
"""How much nearer than reported the true least distance may be."""

CONTACT_MM = 1e-6
"""Surfaces nearer than this touch."""

PLACES = (3, 65)
"""Places of a solid that a piece's sweep is enclosed by: few first, and many only where few cannot tell."""

LEAST_PIECE_MM = 1e-6
"""Travel too short to cut: the pan flips over where its axis passes through the target, however short the piece."""

MOST_PIECES = 2000
"""Cuts after which the search reports what it has certified so far."""


@dataclass(frozen=True)
class Clearance:
    """
    The nearest that the rig comes to the set.

    min_mm           least distance; 0 from the first contact on [mm]
    at_take_s        when; the first contact where there is one [s]
    between          (rig part, set part)
    certified_to_mm  the true least distance is no smaller than `min_mm` less this [mm]
    queries          distance queries that it took
    """

    min_mm: float
    at_take_s: float
    between: tuple[str, str]
    certified_to_mm: float
    queries: int


@dataclass(frozen=True)
class _Place:
    """A known distance: of one solid at one travel."""

    mm: float
    travel: float
    between: tuple[str, str]


def _mm(place: _Place) -> float:
    return place.mm


def _halves(first: float, last: float) -> list[tuple[float, float]]:
    middle = (first + last) / 2
    return [(first, middle), (middle, last)]


def clearance(built: BuiltSet, scene: Scene, move: Move) -> Clearance:
    """
    Return the least distance between the rig and the set over a move.

    Parameters
    ----------
    built : BuiltSet
    scene : Scene
        Its lens and body.
    move : Move

    Returns
    -------
    Clearance
    """
    search = _Search(built, rig_parts(scene.lens, scene.body), move)
    best, certified_to = search.least()
    if best.mm <= CONTACT_MM:
        best = search.first_contact()
    return Clearance(best.mm, move.moment(best.travel), best.between, certified_to, search.set.queries)


def clearance_at(built: BuiltSet, scene: Scene, move: Move, take_s) -> np.ndarray:
    """
    Return the distance between the rig and the set at single moments.

    Parameters
    ----------
    built : BuiltSet
    scene : Scene
        Its lens and body.
    move : Move
    take_s : (n,) float array
        [s]

    Returns
    -------
    (n,) float array
        0 where they meet. What happens between the moments, only `clearance` knows. [mm]
    """
    search = _Search(built, rig_parts(scene.lens, scene.body), move)
    return np.array([search.nearest(float(travel)).mm for travel in move.travel(take_s)])


class _Search:
    """One search: `best` is the nearest place known so far."""

    def __init__(self, built: BuiltSet, parts: tuple[RigPart, ...], move: Move):
        self.set, self.parts, self.move = SetDistance(built), parts, move
        self.bounds = built.bounds
        self.faces = [part.faces() for part in parts]

    def nearest(self, travel: float) -> _Place:
        """Return the nearest place of the whole rig at one travel."""
        return self._inside(travel) or min((self._at(i, travel) for i in range(len(self.parts))), key=_mm)

    def least(self) -> tuple[_Place, float]:
        """Return the nearest place, and how much nearer the truth may be. [mm]"""
        self.best = self.nearest(0.0)
        length = self.move.length
        if not length or self.best.mm <= CONTACT_MM:
            return self.best, 0.0
        pieces = [(self._bound(i, 0.0, length), i, 0.0, length) for i in range(len(self.parts))]
        heapq.heapify(pieces)
        for _ in range(MOST_PIECES):
            if not pieces or pieces[0][0] >= self.best.mm - CERTIFIED_MM:
                break
            _, i, first, last = pieces[0]
            if last - first < LEAST_PIECE_MM:
                break
            heapq.heappop(pieces)
            for half in _halves(first, last):
                low = self._bound(i, *half)
                if low < self.best.mm - CERTIFIED_MM:
                    heapq.heappush(pieces, (low, i, *half))
            if self.best.mm <= CONTACT_MM:
                return self.best, 0.0
        floor = pieces[0][0] if pieces else self.best.mm
        return self.best, min(max(self.best.mm - floor, CERTIFIED_MM), self.best.mm)

    def first_contact(self) -> _Place:
        """Return the first contact of the move, no later than `best`, which is one."""
        for i in range(len(self.parts)):
            pieces = [(0.0, self.best.travel)]
            while pieces:
                first, last = pieces.pop()
                if self._clear(i, first, last):
                    continue
                ends = placed(self.move, self.parts[i], [first, last])
                if np.linalg.norm(ends[1] - ends[0], axis=1).max() <= CERTIFIED_MM or last - first < LEAST_PIECE_MM:
                    self.best = _Place(0.0, first, self._at(i, last).between)
                    break
                pieces += reversed(_halves(first, last))
        return _Place(0.0, self.best.travel, self.best.between)

    def _clear(self, i: int, first: float, last: float) -> bool:
        """Return True where solid i touches nothing over a piece."""
        for places, stray in self._sweeps(i, first, last):
            mm = self._near(places).mm
            if mm - stray > CONTACT_MM or mm <= CONTACT_MM:
                return mm > CONTACT_MM
        return False

    def _bound(self, i: int, first: float, last: float) -> float:
        """Return a lower bound of solid i's distance over a piece, and take the nearest place found on the way as best."""
        low = 0.0
        for places, stray in self._sweeps(i, first, last):
            low = max(low, self._apart(places) - stray)
            if low >= self.best.mm:
                break
            near = self._near(places)
            low = max(low, near.mm - stray)
            if low >= self.best.mm - CERTIFIED_MM:
                break
            self.best = min(self.best, self._at(i, self._likely(i, first, last, near)), key=_mm)
            # The hull of more places holds this one, so it is no farther from the set: only cutting can help.
            if near.mm < self.best.mm - CERTIFIED_MM:
                break
        return low

    def _sweeps(self, i: int, first: float, last: float):
        """Yield solid i's places (n, k, 3) over a piece and how far the sweep may stray from their hull, few places first. [mm]"""
        for most in PLACES:
            places, stray = enclosing(self.move, self.parts[i], first, last, most)
            if np.isfinite(stray):
                yield places, stray
            if stray <= STRAY_MM:
                return

    def _apart(self, places) -> float:
        """Return the distance between the bounding boxes of places (n, k, 3) and of the set. [mm]"""
        low, high = places.min(axis=(0, 1)), places.max(axis=(0, 1))
        return float(np.linalg.norm(np.maximum(np.maximum(self.bounds[0] - high, low - self.bounds[1]), 0)))

    def _likely(self, i: int, first: float, last: float, near) -> float:
        """Return the travel at which solid i reaches farthest toward the set's nearest point."""
        if near.mm <= CONTACT_MM:
            return (first + last) / 2
        travel = np.linspace(first, last, 33)
        toward = placed(self.move, self.parts[i], travel) @ (near.on_set - near.on_rig)
        return float(travel[toward.max(axis=1).argmax()])

    def _near(self, places):
        """Return the nearest points of the set and the hull of places (n, k, 3)."""
        hull = ConvexHull(places.reshape(-1, 3))
        renumbered = np.empty(len(hull.points), int)
        renumbered[hull.vertices] = np.arange(len(hull.vertices))
        return self.set.to(hull.points[hull.vertices], renumbered[hull.simplices])

    def _at(self, i: int, travel: float) -> _Place:
        """Return the distance of solid i at one travel."""
        near = self.set.to(placed(self.move, self.parts[i], [travel])[0], self.faces[i])
        poses = self.move.poses_along(np.array([travel]))
        return _Place(near.mm, travel, (self._name(i, poses, near.on_rig), self.set.part_name(near.triangle)))

    def _name(self, i: int, poses, point) -> str:
        return self.parts[i].name_at(axes(poses.pan, poses.tilt)[0, 0] @ (point - poses.position[0]))

    def _inside(self, travel: float) -> _Place | None:
        """Return a contact where a solid lies wholly inside one of the set's, which surface distances cannot tell."""
        for part in self.parts:
            around = self.set.solids_around(placed(self.move, part, [travel])[0, 0])
            if around:
                return _Place(0.0, travel, (part.name, around[0]))
        return None
