"""
The regions of a throw that light enters by: one for each pane of a panel, limited by every rim it passes.

Takes apertures and a throw; gives polygons. Knows nothing of surfaces or light.

Light belongs to the pane through whose outline it crosses the middle of the panel. From there it must clear the reveals
and bars on either side, each a strip between the outer and the inner end of an edge; what is left is bounded by
whichever rim of each edge binds, for convex and for concave openings alike. Light that has entered by another aperture
before, as through a window and then a doorway, belongs to that one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import STRtree

from previz.build.built import Aperture
from previz.rays.gnomonic import NEAREST, Throw, clip, halves
from previz.rays.shadows import GRID_MM, SLIVER_MM2, joined, without


@dataclass(frozen=True)
class Panel:
    """Apertures that share a panel frame, in the order of the built set."""

    apertures: tuple[Aperture, ...]

    @property
    def thickness(self) -> float:
        """Of the panel. [mm]"""
        return max(a.thickness for a in self.apertures)

    @property
    def panes(self) -> dict[tuple, list[Aperture]]:
        """The convex pieces of each pane, by (room, opening, pane)."""
        out: dict[tuple, list[Aperture]] = {}
        for aperture in self.apertures:
            out.setdefault((aperture.room, aperture.opening, aperture.pane), []).append(aperture)
        return out

    def throw(self, lamp: np.ndarray) -> Throw | None:
        """Return the throw from `lamp` (3,), or None where the lamp does not stand before the panel's outer face."""
        throw = Throw.onto(self.apertures[0].origin, self.apertures[0].axes, lamp)
        return throw if throw.height > self.thickness + 1e-6 else None


def panels(apertures: tuple[Aperture, ...]) -> list[Panel]:
    """Return the panels that `apertures` are cut in."""
    groups: dict[tuple, list[Aperture]] = {}
    for aperture in apertures:
        groups.setdefault((aperture.origin.tobytes(), aperture.axes.tobytes()), []).append(aperture)
    return [Panel(tuple(group)) for group in groups.values()]


def is_edge(aperture: Aperture) -> np.ndarray:
    """Return (k,) bool: the edges that are really there, not lines along which a concave opening is cut up."""
    return (aperture.depths != 0).any(axis=1) | (aperture.thickness == 0)


def regions(panel: Panel, throw: Throw, entered: np.ndarray) -> np.ndarray:
    """
    Return the region (panes,) of the throw that each pane lets light in by, in the order of `panel.panes`. [mm]

    `entered` (m,) polygons of the throw are those of apertures that the light has passed already.
    """
    panes = list(panel.panes.values())
    outlines = np.array([_outline(pieces, throw) for pieces in panes], dtype=object)
    strips = _strips(panel, throw)
    for cutters in (strips, entered):
        pane, cutter = STRtree(cutters).query(outlines, predicate="intersects")
        outlines = without(outlines, cutters[cutter], pane)
    return outlines


def _outline(pieces: list[Aperture], throw: Throw):
    """Return the pane's clear outline where light crosses the middle of its edges."""
    flat = [shapely.Polygon(throw.of_panel(a.outline, _middle(a))) for a in pieces]
    return flat[0] if len(flat) == 1 else joined(np.array(flat, dtype=object), np.zeros(len(flat), dtype=int), 1, GRID_MM)[0]


def _middle(aperture: Aperture) -> float:
    """Return a depth at which every edge of the pane stands: bars are centred in the panel. [mm]"""
    return aperture.thickness / 2


def _strips(panel: Panel, throw: Throw) -> np.ndarray:
    """Return the polygons (n,) of the reveals and of the bars' sides."""
    quads = [np.zeros((0, 4, 2))]
    for aperture in panel.apertures:
        start, end = aperture.outline, np.roll(aperture.outline, -1, axis=0)
        inner, outer = aperture.depths.T
        corners = [throw.of_panel(*at) for at in ((start, inner), (end, inner), (end, outer), (start, outer))]
        quads.append(np.stack(corners, axis=1)[is_edge(aperture)])
    strips = shapely.polygons(np.concatenate(quads))
    return strips[shapely.area(strips) > SLIVER_MM2]


def entered_before(panel: Panel, throw: Throw, apertures: tuple[Aperture, ...]) -> np.ndarray:
    """Return as polygons (m,) of the throw all other apertures that light from the lamp enters by before it reaches `panel`."""
    own = {id(a) for a in panel.apertures}
    fans = [np.zeros((0, 3, 3))]
    for aperture in apertures:
        if id(aperture) not in own and aperture.axes[2] @ (throw.lamp - aperture.origin) > aperture.thickness:
            fans.append(_fan(aperture))
    seen = throw.seen(np.concatenate(fans))
    seen, index = halves(*clip(seen, seen[:, :, 2] - throw.height * NEAREST))
    seen, _ = halves(*clip(seen, throw.height - panel.thickness / 2 - 1e-6 - seen[:, :, 2]))
    polygons = shapely.polygons(throw.flat(seen))
    return polygons[shapely.area(polygons) > SLIVER_MM2]


def _fan(aperture: Aperture) -> np.ndarray:
    """Return the triangles (k - 2, 3, 3) of a pane's outline in the middle of its panel. [mm]"""
    local = np.column_stack([aperture.outline, np.full(len(aperture.outline), _middle(aperture))])
    points = aperture.origin + local @ aperture.axes
    return np.stack([np.broadcast_to(points[0], points[1:-1].shape), points[1:-1], points[2:]], axis=1)


def rims(pieces: list[Aperture], throw: Throw) -> tuple[np.ndarray, np.ndarray]:
    """
    Return the rims that bind the light of a pane.

    Returns
    -------
    along : (k, 3) float array
        Unit direction of each edge, in the set. [1]
    depth : (k,) float array
        Of the rim that binds, inner or outer. [mm]
    """
    along, depth = [], []
    for aperture in pieces:
        edge = is_edge(aperture)
        normal, level = aperture.edges[edge, :2], aperture.edges[edge, 2]
        past = level - normal @ throw.foot
        reach = past[:, None] * throw.height / (throw.height - aperture.depths[edge])
        depth.append(np.take_along_axis(aperture.depths[edge], reach.argmax(axis=1)[:, None], axis=1)[:, 0])
        along.append(np.column_stack([-normal[:, 1], normal[:, 0], np.zeros(len(normal))]) @ aperture.axes)
    return np.concatenate(along), np.concatenate(depth)
