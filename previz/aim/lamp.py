"""
Where must the lamp stand? Places from which its light passes the wished openings and lands on the wished targets.

Takes a set, a lamp, wishes, targets to be left dark, and what the lens sees; gives a few different answers, or what is in
the way. No light is worked out: straight lines decide where a lamp can stand, and its figures follow from its place.

For one wish the places lie on one line, from the target through the middle of the opening's light (`landing.brought`).
For several the place is where those lines come nearest to each other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from previz.aim.landing import Course, brought
from previz.aim.limits import Ground, Limit, in_the_light, left_dark, out_of_frame, standing
from previz.aim.wishes import Target, Wish
from previz.light.colour import luminance
from previz.light.lamps import Emitter, intensity, stood
from previz.light.units import LUX_PER_CANDELA_MM2
from previz.rays.shadows import Surface

DISTANCES = 48
"""Places tried along the line of one wish (own choice)."""
ANSWERS = 5
_REGION_ACROSS = 17
NEAR_ENOUGH_MM = 0.5
"""A landing counts as on its target up to this miss (own choice). [mm]"""
LANDS = "the middle of the light on"
APART = 1.25
"""Two answers differ at least by this factor in distance (own choice)."""


@dataclass(frozen=True)
class Answer:
    """
    One place for the lamp.

    at, toward     (3,) of the lamp's face, and the point of the opening that it looks at [mm]
    distance_mm    from the opening
    misses_mm      of each wish: from the target to where the light lands
    lux            of each wish: on its target straight from the lamp's middle, in clear air
    penumbra_mm    of each wish: soft edge on the target, by similar triangles
    fan_deg        of each wish: how far the opening's shafts spread; 0 is like the sun
    clear_mm       the least slack of all limits
    tightest       the name of that limit
    """

    at: np.ndarray
    toward: np.ndarray
    distance_mm: float
    misses_mm: tuple[float, ...]
    lux: tuple[float, ...]
    penumbra_mm: tuple[float, ...]
    fan_deg: tuple[float, ...]
    clear_mm: float
    tightest: str


@dataclass(frozen=True)
class Obstacle:
    """
    Why there is no answer.

    names   the limits in the way: lifting them all would give a place
    says    what is wrong at the nearest miss
    remedy  what to do about it
    at      (3,) the place that misses least [mm]
    short   by how much it does, of each name [mm]
    """

    names: tuple[str, ...]
    says: str
    remedy: str
    at: np.ndarray
    short: tuple[float, ...]


@dataclass(frozen=True)
class Found:
    """Answers, best first, or the obstacle; and every place (n, 3) that was tried with whether it does."""

    answers: tuple[Answer, ...]
    obstacle: Obstacle | None
    tried: np.ndarray
    does: np.ndarray


def aim(ground: Ground, lamp: Emitter, wishes: tuple[Wish, ...], dark: tuple[Target, ...] = ()) -> Found:
    """
    Return where `lamp` may stand so that its light lands as wished.

    Parameters
    ----------
    ground : Ground
        The set, the stand's limits and what the lens sees.
    wishes : tuple of Wish
        At least one.
    dark : tuple of Target
        What the lamp must not light.
    """
    surface = Surface.of(ground.built)
    courses = [Course.of(ground.built, wish, surface) for wish in wishes]
    search = _OneLine(ground, lamp, courses[0]) if len(courses) == 1 else _Several(ground, lamp, courses)
    limits = _judged(ground, courses, dark, search.places, search.misses)
    does = np.all([limit.slack >= 0 for limit in limits], axis=0)
    answers = _answers(ground, lamp, courses, dark, search, does)
    if answers:
        return Found(tuple(answers), None, search.places, does)
    return Found((), _obstacle(limits, search.places), search.places, does & False)


def region(ground: Ground, lamp: Emitter, wishes: tuple[Wish, ...], dark: tuple[Target, ...] = ()) -> tuple[np.ndarray, np.ndarray]:
    """
    Return places all over the light's way, and where the lamp may stand among them.

    Returns
    -------
    places : (n, 3) float array
        From the first target through points of its opening, at many distances. [mm]
    does : (n,) bool array
        Every limit is kept and every target is in the light, if not in the middle of it.
    """
    surface = Surface.of(ground.built)
    courses = [Course.of(ground.built, wish, surface) for wish in wishes]
    through, target = courses[0].points_within(_REGION_ACROSS), courses[0].wish.onto.point
    way = through - target
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    distances = np.geomspace(*ground.scene.stand.distance, DISTANCES)
    places = (through[:, None] + distances[:, None] * way[:, None]).reshape(-1, 3)
    limits = [limit for limit in _judged(ground, courses, dark, places, np.zeros((len(places), len(wishes)))) if not limit.name.startswith(LANDS)]
    return places, np.all([limit.slack >= 0 for limit in limits], axis=0)


class _OneLine:
    """Places along the line from the target through the middle of one opening's light."""

    def __init__(self, ground: Ground, lamp: Emitter, course: Course):
        near, far = ground.scene.stand.distance
        self._lamp, self._course = lamp, course
        self.distances = np.geomspace(near, far, DISTANCES)
        known = np.geomspace(near, far, 3)
        solved = [self._brought(distance, course.middle) for distance in known]
        self._through = [through if np.isfinite(miss) else course.middle for _, through, miss in solved]
        self._known = 1 / known
        through = np.array([self._near(distance) for distance in self.distances])
        way = through - course.wish.onto.point
        self.places = through + self.distances[:, None] * way / np.linalg.norm(way, axis=1, keepdims=True)
        miss = np.array([miss for _, _, miss in solved])
        finite = np.where(np.isfinite(miss), miss, 1e3)
        self.misses = np.interp(1 / self.distances[::-1], self._known[::-1], finite[::-1])[::-1][:, None]

    def _near(self, distance: float) -> np.ndarray:
        """Where the middle of the light crosses the wall, between solved distances; it changes as 1 / distance does."""
        order = np.argsort(self._known)
        return np.array([np.interp(1 / distance, self._known[order], np.array(self._through)[order, axis]) for axis in range(3)])

    def _brought(self, distance: float, through: np.ndarray):
        return brought(self._course, lambda place: stood(self._lamp, place, through), distance, through)

    def exactly(self, number: int) -> tuple[np.ndarray, np.ndarray]:
        """Return the place (3,) near one that was tried from which the light lands on its target, and its misses (1,)."""
        place, _, miss = self._brought(self.distances[number], self._near(self.distances[number]))
        return place, np.array([miss])


class _Several:
    """Places where the lines of several wishes come nearest to each other."""

    def __init__(self, ground: Ground, lamp: Emitter, courses: list[Course]):
        near, far = ground.scene.stand.distance
        self._lamp, self._courses = lamp, courses
        self._through = [course.middle for course in courses]
        starts = np.concatenate([self._along(course, np.geomspace(near, far, 6)) for course in courses])
        for _ in range(3):
            self.places = np.array([self._nearest(start) for start in starts])
            best = self.places[np.argmin([self._miss(place) for place in self.places])]
            self._look_again(best)
        order = np.argsort([self._miss(place) for place in self.places])
        spread = np.concatenate([self._along(course, np.geomspace(near, far, DISTANCES)) for course in courses])
        self.places = np.concatenate([self.places[order], spread])
        self.distances = np.linalg.norm(self.places - courses[0].middle, axis=1)
        self.misses = np.array([self.missed(place, exactly=False) for place in self.places])

    def _along(self, course: Course, distances: np.ndarray) -> np.ndarray:
        way = course.middle - course.wish.onto.point
        return course.middle + distances[:, None] * way / np.linalg.norm(way)

    def _crossings(self, place: np.ndarray) -> np.ndarray:
        return np.concatenate([course.crossing(place, course.wish.onto.point) - through for course, through in zip(self._courses, self._through)])

    def _nearest(self, start: np.ndarray) -> np.ndarray:
        return least_squares(self._crossings, start, x_scale=100.0, max_nfev=60).x

    def _miss(self, place: np.ndarray) -> float:
        return float(np.linalg.norm(self._crossings(place)))

    def _look_again(self, place: np.ndarray) -> None:
        """Let each opening's middle of light be where it is for a lamp at `place`."""
        for number, course in enumerate(self._courses):
            landing = course.landing(stood(self._lamp, place, course.middle))
            if landing is not None:
                self._through[number] = course.crossing(place, landing)

    def missed(self, place: np.ndarray, exactly: bool = True) -> np.ndarray:
        """Return (wishes,) how far from its target each light lands, by its patches or by straight lines. [mm]"""
        if not exactly:
            apart = self._crossings(place).reshape(-1, 3)
            targets = [course.wish.onto.point for course in self._courses]
            grow = [np.linalg.norm(place - t) / np.linalg.norm(place - c.middle) for t, c in zip(targets, self._courses)]
            return np.linalg.norm(apart, axis=1) * grow
        landings = [course.landing(stood(self._lamp, place, course.middle)) for course in self._courses]
        return np.array([np.inf if one is None else np.linalg.norm(one - course.wish.onto.point) for one, course in zip(landings, self._courses)])

    def exactly(self, number: int) -> tuple[np.ndarray, np.ndarray]:
        """Return one of the places that were tried (3,), and its misses (wishes,)."""
        return self.places[number], self.missed(self.places[number])


def _judged(ground: Ground, courses: list[Course], dark, places: np.ndarray, misses: np.ndarray) -> list[Limit]:
    """Return every limit at places (n, 3). Of one wish the light has to land on the target; of several each target has to be in it."""
    limits = standing(ground, places, courses[0].middle)
    for course in courses:
        limits += in_the_light(ground, course, places)
    limits += out_of_frame(ground, places)
    limits += [left_dark(ground, target, places) for target in dark]
    if len(courses) == 1:
        name = courses[0].wish.onto.name
        limits.append(
            Limit(f"{LANDS} {name}", NEAR_ENOUGH_MM - misses[:, 0], "part of the light is cut off, and its middle cannot be brought there", "Choose a place further from edges and props.")
        )
    return limits


def _answers(ground, lamp, courses, dark, search, does) -> list[Answer]:
    """Work out the places that do exactly, judge them again, and keep a few that differ."""
    kept = []
    for number in _apart(np.flatnonzero(does), search.distances):
        place, misses = search.exactly(number)
        limits = _judged(ground, courses, dark, place[None], misses[None])
        slack = np.array([limit.slack[0] for limit in limits])
        if (slack >= 0).all():
            room = [limit for limit in limits if not limit.name.startswith(LANDS)]
            kept.append(_answer(lamp, courses, place, misses, min(room, key=lambda limit: limit.slack[0])))
    return sorted(kept, key=lambda answer: -min(answer.lux))[:ANSWERS]


def _apart(numbers: np.ndarray, distances: np.ndarray) -> list[int]:
    """Return those of `numbers` whose distances differ by more than `APART`, from the nearest on."""
    chosen: list[int] = []
    for number in numbers[np.argsort(distances[numbers])]:
        if not chosen or distances[number] > APART * distances[chosen[-1]]:
            chosen.append(int(number))
    return chosen


def _answer(lamp: Emitter, courses: list[Course], place: np.ndarray, misses: np.ndarray, tightest: Limit) -> Answer:
    toward = np.mean([course.middle for course in courses], axis=0)
    there = stood(lamp, place, toward)
    size = 2 * max(np.linalg.norm(lamp.half_u), np.linalg.norm(lamp.half_v))
    lux, soft, fan = zip(*(_figures(there, course, size) for course in courses))
    clear = float(tightest.slack[0])
    return Answer(place, toward, float(np.linalg.norm(place - courses[0].middle)), tuple(map(float, misses)), lux, soft, fan, clear, tightest.name)


def _figures(lamp: Emitter, course: Course, size: float) -> tuple[float, float, float]:
    """Return lux, soft edge [mm] and spread [deg] of one wish."""
    way = course.wish.onto.point - lamp.centre
    distance = float(np.linalg.norm(way))
    way = way / distance
    facing = 1.0 if course.wish.onto.normal is None else max(0.0, float(-way @ course.wish.onto.normal))
    lux = float(luminance(lamp.candela) * intensity(lamp, way[None])[0]) * facing / distance**2 * LUX_PER_CANDELA_MM2
    to_wall = float(np.linalg.norm(course.middle - lamp.centre))
    corners = course.points_within(12) - lamp.centre
    corners /= np.linalg.norm(corners, axis=1, keepdims=True)
    fan = float(np.degrees(2 * np.arccos(np.clip((corners @ corners.mean(axis=0) / np.linalg.norm(corners.mean(axis=0))).min(), -1, 1))))
    return lux, size * (distance - to_wall) / to_wall, fan


def _obstacle(limits: list[Limit], places: np.ndarray) -> Obstacle:
    """
    Name what is in the way: the one limit without which some place would do, or the fewest of them.

    Of the places that break the fewest limits, the one that breaks them by least.
    """
    slack = np.array([limit.slack for limit in limits])
    beyond = np.where(slack < 0, -slack, 0.0)
    count = (beyond > 0).sum(axis=0)
    # Limits are of one kind, millimetres; what is cut off altogether counts by its number.
    nearest = int(np.lexsort((beyond.sum(axis=0), count))[0])
    broken = [number for number in range(len(limits)) if beyond[number, nearest] > 0]
    names = tuple(dict.fromkeys(limits[number].name for number in broken))
    says = "; ".join(limits[number].said(nearest) for number in broken)
    remedy = " ".join(dict.fromkeys(limits[number].remedy for number in broken))
    return Obstacle(names, says, remedy, places[nearest], tuple(float(beyond[number, nearest]) for number in broken))
