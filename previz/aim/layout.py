"""
Where must lamp and openings be together? A search over both for so many shafts on one thing and none on another.

Takes a set, a lamp and the openings that may still be moved in their walls; gives a handful of layouts that truly differ. Each
is judged by straight lines while it is searched for, and by the report's own patches before it is given.

    share   of the light that an opening lets in, how much lands on the target [1]
    a shaft is an opening with at least `LANDS_SHARE` of its light there

The walls that openings move in are left out of the solids and stand as flat panels with holes, so that trying another
place builds nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.optimize import differential_evolution, minimize

from previz.aim.limits import Ground, out_of_frame, standing
from previz.aim.wishes import Target
from previz.build.assemble import build_set
from previz.build.built import BuiltSet
from previz.build.webs import least_web
from previz.light.lamps import Emitter, stood
from previz.rays.panes import Panel as Panes
from previz.rays.patches import landed
from previz.rays.shadows import Surface
from previz.rays.tracer import Tracer
from previz.scene.elevations import Panel, panel_named
from previz.scene.faults import OptionFault
from previz.scene.model import Opening, Scene
from previz.scene.outlines import outline_of, panes_of

LANDS_SHARE = 0.3
"""Of an opening's light, so much on the target makes it a shaft there (own choice)."""
ANSWERS, STARTS = 4, 8
DIFFERENT = 0.12
"""Two layouts differ when one of their numbers does by this share of its range (own choice)."""
_ACROSS, _DARK_SAMPLES, _GENERATIONS, _POPULATION = 6, 24, 40, 6
_STAYS = 0.05


@dataclass(frozen=True)
class Request:
    """
    What the layout shall do.

    shafts   how many openings shall light `onto`
    onto     the target
    dark     what stays dark
    free     names of the openings that may be moved
    """

    shafts: int
    onto: Target
    dark: tuple[Target, ...]
    free: tuple[str, ...]


@dataclass(frozen=True)
class Layout:
    """
    One answer.

    at         (3,) of the lamp, which points at the target [mm]
    openings   those that moved, as they go into the file
    shares     of each opening, by name: how much of its light lands on the target
    lands_mm2  of each opening that makes a shaft: the area that its patches light there [mm2]
    scene      with both
    """

    at: np.ndarray
    openings: tuple[Opening, ...]
    shares: dict[str, float]
    lands_mm2: dict[str, float]
    scene: Scene


@dataclass(frozen=True)
class _Way:
    """An opening as the search sees it: its panel, points (k, 2) and outlines of its panes, and how far it may move (2, 2) along and up."""

    opening: Opening
    panel: Panel
    points: np.ndarray
    panes: shapely.Geometry
    hole: shapely.Geometry
    reach: np.ndarray


class Search:
    """
    The question, ready to be tried at many layouts at once.

    A layout is a row of numbers: the lamp's place, then how far each free opening is moved along and up. [mm]
    """

    def __init__(self, ground: Ground, lamp: Emitter, asked: Request):
        self.ground, self.lamp, self.asked = ground, lamp, asked
        scene = ground.scene
        unknown = [name for name in asked.free if name not in {o.name for o in scene.opening}]
        if unknown:
            raise OptionFault(f"--free {unknown[0]}: there is no opening of that name", f"There are {', '.join(o.name for o in scene.opening)}.")
        self.ways = [_way(scene, opening, opening.name in asked.free) for opening in scene.opening]
        if asked.shafts > len(self.ways):
            raise OptionFault(f"--shafts {asked.shafts}: the set has {len(self.ways)} openings, and each makes one", "Add openings, or ask for fewer.")
        self.free = [i for i, way in enumerate(self.ways) if way.opening.name in asked.free]
        walls = {way.opening.wall for way in self.ways}
        self.panels = [next(way.panel for way in self.ways if way.opening.wall == wall) for wall in sorted(walls)]
        self.in_panel = [[i for i, way in enumerate(self.ways) if way.opening.wall == wall] for wall in sorted(walls)]
        keep = [i for i, part in enumerate(ground.built.parts) if not _of_a_wall(part, walls)]
        triangles = ground.built.triangles_of(keep)
        self.parts = ground.built.part_of[triangles]
        self.others = Tracer(ground.built.vertices, ground.built.triangles[triangles])
        self.target = _parts_of(ground.built, asked.onto)
        self.bounds = self._bounds()

    def _bounds(self) -> np.ndarray:
        stand, floor = self.ground.scene.stand, self.ground.floor_z
        far = stand.distance[1]
        low, high = self.ground.built.bounds[0] - far, self.ground.built.bounds[1] + far
        if stand.room is not None:
            a, b = np.sort(np.array(stand.room), axis=0)
            low[:2], high[:2] = np.maximum(low[:2], a), np.minimum(high[:2], b)
        low[2], high[2] = max(low[2], floor + stand.height[0]), min(high[2], floor + stand.height[1])
        return np.array([*zip(low, high), *(pair for i in self.free for pair in self.ways[i].reach)])

    def moved(self, layouts: np.ndarray, way: int) -> np.ndarray:
        """Return (n, 2) how far opening `way` is moved in each layout. [mm]"""
        if way not in self.free:
            return np.zeros((len(layouts), 2))
        first = 3 + 2 * self.free.index(way)
        return layouts[:, first : first + 2]

    def shares(self, layouts: np.ndarray) -> np.ndarray:
        """Return (n, openings) the share of each opening's light that lands on the target."""
        out = np.zeros((len(layouts), len(self.ways)))
        for number, way in enumerate(self.ways):
            flat = way.points[None] + self.moved(layouts, number)[:, None]
            through = way.panel.origin + flat @ way.panel.axes[:2] + 0.5 * way.panel.thickness * way.panel.axes[2]
            lamps = np.broadcast_to(layouts[:, None, :3], through.shape)
            outside = np.einsum("nkx,x->nk", lamps - through, way.panel.axes[2]) > way.panel.thickness
            reached = self._reach(lamps.reshape(-1, 3), through.reshape(-1, 3)).reshape(outside.shape)
            out[:, number] = (outside & reached).mean(axis=1)
        return out

    def _reach(self, lamps: np.ndarray, through: np.ndarray) -> np.ndarray:
        """Whether light from `lamps` by points `through` comes free to the wall, and then first to the target."""
        way = through - lamps
        free = ~self.others.blocked(lamps, through)
        hits = self.others.hit(through, way)
        met = np.where(hits.triangle >= 0, self.parts[np.maximum(hits.triangle, 0)], -1)
        on = np.isin(met, self.target)
        if self.asked.onto.face is not None:
            at = through + np.where(np.isfinite(hits.distance), hits.distance, 0)[:, None].astype(float) * way
            on &= np.abs((at - self.asked.onto.point) @ self.asked.onto.normal) < 0.5
        return free & on

    def lit_dark(self, layouts: np.ndarray) -> np.ndarray:
        """Return (n,) the share of what shall stay dark that the lamp sees."""
        total = np.zeros(len(layouts))
        for target in self.asked.dark:
            samples = target.samples[:: max(1, len(target.samples) // _DARK_SAMPLES)]
            lamps = np.repeat(layouts[:, :3], len(samples), axis=0)
            ends = np.tile(samples, (len(layouts), 1))
            free = ~self.others.blocked(ends, lamps)
            for panel, ways in zip(self.panels, self.in_panel):
                free &= self._passes(panel, ways, np.repeat(layouts, len(samples), axis=0), lamps, ends)
            total += free.reshape(len(layouts), -1).mean(axis=1)
        return total

    def _passes(self, panel: Panel, ways: list[int], layouts: np.ndarray, lamps: np.ndarray, ends: np.ndarray) -> np.ndarray:
        """Whether lines from `lamps` to `ends` miss a wall, or cross it in a pane."""
        middle = panel.origin + 0.5 * panel.thickness * panel.axes[2]
        a, b = (lamps - middle) @ panel.axes[2], (ends - middle) @ panel.axes[2]
        across = a * b < 0
        share = np.where(across, a / np.where(across, a - b, 1.0), 0.0)
        flat = (lamps + share[:, None] * (ends - lamps) - panel.origin) @ panel.axes[:2].T
        free = ~(across & shapely.contains_xy(panel.inner, *flat.T))
        for number in ways:
            own = flat - self.moved(layouts, number)
            free |= shapely.contains_xy(self.ways[number].panes, *own.T)
        return free

    def cost(self, layouts: np.ndarray) -> np.ndarray:
        """Return (n,) how far each layout is from what is asked; 0 is there."""
        layouts = np.atleast_2d(layouts)
        # A share counts up to twice what makes a shaft, so that the search goes on into the middle of the good.
        wanted = np.sort(self.shares(layouts), axis=1)[:, ::-1]
        lacking = np.clip(2 * LANDS_SHARE - wanted[:, : self.asked.shafts], 0, None) / LANDS_SHARE
        extra = np.clip(wanted[:, self.asked.shafts :] - 0.02, 0, None).sum(axis=1) / LANDS_SHARE
        limits = standing(self.ground, layouts[:, :3], self.asked.onto.point) + out_of_frame(self.ground, layouts[:, :3])
        beyond = sum(np.clip(-limit.slack, 0, 1e3) / 100 for limit in limits if limit.name != "the distance of the lamp")
        return (lacking**2).sum(axis=1) + extra + 4 * self.lit_dark(layouts) + beyond + self.webs(layouts) + self._moved_for_nothing(layouts)

    def _moved_for_nothing(self, layouts: np.ndarray) -> np.ndarray:
        """Return (n,) a little for each opening that is moved: of two layouts that do as well, the one nearer to the file is better."""
        span = np.maximum(self.bounds[3:, 1] - self.bounds[3:, 0], 1e-9)
        return _STAYS * (np.abs(layouts[:, 3:]) / span).sum(axis=1)

    def webs(self, layouts: np.ndarray) -> np.ndarray:
        """Return (n,) the millimetres that webs lack, over the least web."""
        lack = np.zeros(len(layouts))
        for panel, ways in zip(self.panels, self.in_panel):
            need = least_web(panel.thickness)
            holes = [_shifted(self.ways[i].hole, self.moved(layouts, i)) for i in ways]
            edge = shapely.boundary(panel.inner)
            for number, hole in zip(ways, holes):
                if number in self.free:
                    inside = shapely.contains(panel.inner, hole)
                    lack += np.clip(need - np.where(inside, shapely.distance(hole, edge), -need), 0, None) / need
            for i in range(len(ways)):
                for j in range(i):
                    if ways[i] in self.free or ways[j] in self.free:
                        lack += np.clip(need - shapely.distance(holes[i], holes[j]), 0, None) / need
        return lack

    def layout(self, numbers: np.ndarray) -> tuple[Scene, tuple[Opening, ...]]:
        """Return the scene with a layout's lamp and openings, and the openings that moved."""
        scene, moved = self.ground.scene, []
        for i in self.free:
            opening = self.ways[i].opening
            at = np.round(np.add(opening.at, self.moved(numbers[None], i)[0]), 1)
            moved.append(opening.model_copy(update={"at": tuple(at.tolist())}))
        named = {opening.name: opening for opening in moved}
        lamps = [_replaced_lamp(lamp, numbers[:3], self.asked.onto.point) if lamp.name == self.lamp.name else lamp for lamp in scene.lamp]
        update = {"opening": tuple(named.get(o.name, o) for o in scene.opening), "lamp": tuple(lamps)}
        return scene.model_copy(update=update), tuple(moved)


def _replaced_lamp(lamp, at: np.ndarray, toward: np.ndarray):
    """Return a lamp of the scene at another place, pointing at `toward`, in tenths of a millimetre."""
    return lamp.model_copy(update={"at": tuple(np.round(at, 1).tolist()), "toward": tuple(np.round(toward, 1).tolist())})


def layouts(search: Search, folder, *, progress: Callable[[float], None] | None = None) -> tuple[list[Layout], float]:
    """
    Return layouts that do, those that differ most first, and the cost of the best that was found; none costs as much as 0.

    Notes
    -----
    Differential evolution from several seeds (R. Storn and K. Price, J. Global Optimization 11, 341, 1997; through scipy),
    then the simplex of Nelder and Mead. Each is checked by the patches of a set that is really built so.
    """
    found, best = [], np.inf
    for start in range(STARTS):
        result = differential_evolution(
            lambda rows: search.cost(rows.T), search.bounds, seed=1009 * search.ground.scene.seed + start, maxiter=_GENERATIONS, popsize=_POPULATION,
            vectorized=True, updating="deferred", polish=False, tol=1e-6,
        )  # fmt: skip
        near = minimize(lambda row: float(search.cost(row)[0]), result.x, method="Nelder-Mead", options={"maxfev": 120, "xatol": 0.1, "fatol": 1e-3})
        numbers = near.x if near.fun < result.fun and _within(near.x, search.bounds) else result.x
        best = min(best, float(search.cost(numbers)[0]))
        layout = _proved(search, folder, numbers)
        if layout is not None and all(_differ(numbers, other, search.bounds) for other, _ in found):
            found.append((numbers, layout))
        if progress:
            progress((start + 1) / STARTS)
        if len(found) >= ANSWERS:
            break
    return [layout for _, layout in found], best


def _proved(search: Search, folder, numbers: np.ndarray) -> Layout | None:
    """Build the layout and look at its patches; None where it does not do what is asked."""
    scene, moved = search.layout(numbers)
    asked, lamp = search.asked, stood(search.lamp, np.round(numbers[:3], 1), np.round(search.asked.onto.point, 1))
    built = build_set(scene, folder)
    onto, surface = _names(built, asked.onto), Surface.of(built)
    names = list(dict.fromkeys(a.opening for a in built.apertures if a.opening in {o.name for o in scene.opening}))
    thrown = {name: landed(surface, Panes(tuple(built.apertures_named(name))), lamp) for name in names}
    area = {name: sum(one.fields["area_mm2"] for one in rows if one.fields["on"] in onto) for name, rows in thrown.items()}
    shares = dict(zip((way.opening.name for way in search.ways), search.shares(numbers[None])[0].tolist()))
    whole = {way.opening.name: way.panes.area for way in search.ways}
    lit = [name for name in names if shares[name] >= LANDS_SHARE and area[name] >= LANDS_SHARE * whole[name]]
    shaded = set().union(*(_names(built, target) for target in asked.dark)) if asked.dark else set()
    if len(lit) != asked.shafts or any(one.fields["on"] in shaded for rows in thrown.values() for one in rows):
        return None
    slack = [limit.slack[0] for limit in standing(search.ground, numbers[None, :3], asked.onto.point) if limit.name != "the distance of the lamp"]
    slack += [limit.slack[0] for limit in out_of_frame(search.ground, numbers[None, :3])]
    if min(slack) < 0 or search.webs(numbers[None])[0] > 1e-6:
        return None
    return Layout(np.round(numbers[:3], 1), moved, shares, {name: area[name] for name in lit}, scene)


def _way(scene: Scene, opening: Opening, free: bool) -> _Way:
    room, _, wall = opening.wall.partition(".")
    panel = panel_named(next(r for r in scene.room if r.name == room), wall)
    panes = shapely.union_all([pane for _, pane in panes_of(opening)])
    hole = shapely.Polygon(outline_of(opening))
    low, high = np.array(panes.bounds[:2]), np.array(panes.bounds[2:])
    step = max(high - low) / _ACROSS
    grid = np.stack(np.meshgrid(np.arange(low[0] + step / 2, high[0], step), np.arange(low[1] + step / 2, high[1], step)), axis=-1).reshape(-1, 2)
    reach = np.array([np.array(panel.inner.bounds[:2]) - hole.bounds[:2], np.array(panel.inner.bounds[2:]) - hole.bounds[2:]]).T if free else np.zeros((2, 2))
    return _Way(opening, panel, grid[shapely.contains_xy(panes, *grid.T)], panes, hole, np.sort(reach, axis=1))


def _of_a_wall(part, walls: set[str]) -> bool:
    return part.kind in ("wall", "slope", "ceiling", "floor", "bars") and any(part.name == wall or part.name.startswith(f"{wall}:") for wall in walls)


def _parts_of(built: BuiltSet, target: Target) -> list[int]:
    if target.face is not None:
        return np.unique(built.part_of[built.face_of == target.face]).tolist()
    return built.part_named(target.name)


def _names(built: BuiltSet, target: Target) -> set[str]:
    """Return the names of the faces that make up a target."""
    if target.face_name is not None:
        return {target.face_name}
    return {built.faces[f].name for f in np.unique(built.face_of[built.triangles_of(built.part_named(target.name))])}


def _shifted(shape, by: np.ndarray) -> np.ndarray:
    """Return (n,) copies of a shape, each moved by a row of `by` (n, 2)."""
    rings = shapely.get_coordinates(shape)[None] + by[:, None]
    return shapely.polygons(rings)


def _within(numbers: np.ndarray, bounds: np.ndarray) -> bool:
    return bool(((numbers >= bounds[:, 0] - 1e-9) & (numbers <= bounds[:, 1] + 1e-9)).all())


def _differ(a: np.ndarray, b: np.ndarray, bounds: np.ndarray) -> bool:
    span = np.maximum(bounds[:, 1] - bounds[:, 0], 1e-9)
    return bool((np.abs(a - b) / span).max() >= DIFFERENT)
