"""
Landing: where the light of a lamp at some place lands through an opening, exactly, as its crisp patches say.

Takes a set's surface, a panel with panes, and the place of a lamp's centre; gives the middle of the light. The same
polygons as the patches of the report, so that an answer found here holds there.

    landing   area's middle of all patches that the panes throw on the target's face; where the target lies in mid-air, the
              point of the beam's middle line that is nearest to it
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from previz.aim.wishes import Wish
from previz.build.built import BuiltSet
from previz.light.lamps import Emitter
from previz.rays.panes import Panel, cleared, entered_before, outlines
from previz.rays.patches import Landed, landed
from previz.rays.shadows import Surface, panel_parts, screens

ENOUGH_MM = 0.05
"""A landing this near to its target is there; a tenth of what a maker could see (own choice)."""
_TURNS, _WORTH = 8, 0.7


@dataclass(frozen=True)
class Course:
    """
    The way that light takes for one wish.

    wish       what is wanted
    panel      its panes
    surface    of the set
    """

    wish: Wish
    panel: Panel
    surface: Surface

    @classmethod
    def of(cls, built: BuiltSet, wish: Wish, surface: Surface | None = None) -> Course:
        """Return the course of a wish in a built set."""
        return cls(wish, Panel(wish.panes), surface or Surface.of(built))

    @property
    def middle(self) -> np.ndarray:
        """(3,) the middle of the panes' area, in the middle of the wall. [mm]"""
        flat = shapely.union_all([shapely.Polygon(pane.outline) for pane in self.wish.panes]).centroid
        return self._at(np.array([flat.x, flat.y]))

    @property
    def outward(self) -> np.ndarray:
        """(3,) unit, out of the wall."""
        return self.wish.panes[0].axes[2]

    def _at(self, flat: np.ndarray) -> np.ndarray:
        pane = self.wish.panes[0]
        return pane.origin + np.array([*flat, pane.thickness / 2]) @ pane.axes

    def crossing(self, lamp: np.ndarray, point: np.ndarray) -> np.ndarray:
        """Return where the line from `lamp` to `point`, both (..., 3), crosses the middle of the wall. [mm]"""
        start = np.einsum("...i,i->...", lamp - self._at(np.zeros(2)), self.outward)
        end = np.einsum("...i,i->...", point - self._at(np.zeros(2)), self.outward)
        share = start / (start - end)
        return lamp + share[..., None] * (point - lamp)

    def in_a_pane(self, points: np.ndarray) -> np.ndarray:
        """Return (n,) whether points (n, 3) of the middle of the wall lie within a pane's clear outline."""
        pane = self.wish.panes[0]
        flat = (points - pane.origin) @ pane.axes.T
        whole = shapely.union_all([shapely.Polygon(p.outline) for p in self.wish.panes])
        return shapely.contains_xy(whole, flat[:, 0], flat[:, 1])

    def points_within(self, across: int) -> np.ndarray:
        """Return points (n, 3) of the panes on a grid with `across` steps over the longer side. [mm]"""
        whole = shapely.union_all([shapely.Polygon(p.outline) for p in self.wish.panes])
        low_x, low_y, high_x, high_y = whole.bounds
        step = max(high_x - low_x, high_y - low_y) / across
        x, y = np.meshgrid(np.arange(low_x + step / 2, high_x, step), np.arange(low_y + step / 2, high_y, step))
        inside = shapely.contains_xy(whole, x.ravel(), y.ravel())
        flat = np.column_stack([x.ravel()[inside], y.ravel()[inside]])
        pane = self.wish.panes[0]
        return pane.origin + np.column_stack([flat, np.full(len(flat), pane.thickness / 2)]) @ pane.axes

    def landing(self, emitter: Emitter) -> np.ndarray | None:
        """Return where the light of `emitter` lands (3,) [mm]; None where none does."""
        target = self.wish.onto
        if target.face is None:
            return self._beam_past(emitter.centre, target.point)
        return middle_of(landed(self.surface, self.panel, emitter, face=target.face))

    def _beam_past(self, lamp: np.ndarray, point: np.ndarray) -> np.ndarray | None:
        """The point nearest to `point` of the line from the lamp through the middle of the light that the panes let in."""
        throw = self.panel.throw(lamp)
        if throw is None:
            return None
        regions = outlines(self.panel, throw)
        own = panel_parts(self.surface, throw, self.panel.thickness)
        regions = cleared(regions, screens(self.surface, throw, shapely.total_bounds(regions), own).polygons)
        light = shapely.union_all(cleared(regions, entered_before(self.panel, throw, self.surface.built.apertures)))
        if light.is_empty:
            return None
        way = throw.unturned(np.array([light.centroid.x, light.centroid.y, throw.height]))
        way /= np.linalg.norm(way)
        return lamp + ((point - lamp) @ way) * way


def middle_of(found: list[Landed]) -> np.ndarray | None:
    """Return the (3,) middle of the area of some patches; None of none. [mm]"""
    area = np.array([one.fields["area_mm2"] for one in found])
    return None if not len(found) else area @ np.array([one.fields["centre_mm"] for one in found]) / area.sum()


def brought(course: Course, lamp_at, distance: float, through: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
    """
    Move a lamp until its light lands on the target.

    Parameters
    ----------
    lamp_at : callable
        Gives the `Emitter` of the lamp at a place (3,).
    distance : float
        From the opening to the lamp, which is kept. [mm]
    through : (3,) float array
        Where the middle of the light is thought to cross the wall, to begin with. [mm]

    Returns
    -------
    place : (3,) float array
        Of the lamp. [mm]
    through : (3,) float array
        Where the middle of the light does cross the wall. [mm]
    miss : float
        From the target to where the light lands; infinite where none does. [mm]

    Notes
    -----
    The line from lamp to landing crosses the wall at nearly the same point wherever the lamp stands; so the lamp is put
    on the line from the target through that point, and asked again. Each turn leaves a small share of the miss.
    """
    target, best = course.wish.onto.point, (None, through, np.inf)
    for _ in range(_TURNS):
        way = through - target
        place = through + distance * way / np.linalg.norm(way)
        landing = course.landing(lamp_at(place))
        if landing is None:
            break
        miss = float(np.linalg.norm(landing - target))
        before, best = best[2], (place, through, miss) if miss < best[2] else best
        if miss <= ENOUGH_MM or miss > _WORTH * before:
            break
        through = course.crossing(place, landing)
    return best if best[0] is not None else (place, through, np.inf)
