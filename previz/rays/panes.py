"""
The regions of a throw that light enters by: one for each pane of a panel, limited by every rim it passes.

Takes apertures and a throw; gives polygons. Knows nothing of surfaces or light.

Light belongs to the pane through whose outline it crosses the middle of the panel, where bars are centred. From there it
must clear reveals and bars on both sides; what the panel's own solids leave is bounded by whichever rim binds, for convex
and for concave openings alike. Light that has entered by another aperture before, as through a window and then a doorway,
belongs to that one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import STRtree

from previz.build.built import Aperture
from previz.rays.gnomonic import NEAREST, Throw, clip, halves
from previz.rays.shadows import polygons_of
from previz.rays.unions import GRID_MM, SLIVER_MM2, joined, without


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


def outlines(panel: Panel, throw: Throw) -> np.ndarray:
    """Return the clear outline (panes,) of each pane in the throw, where light crosses the middle of the panel. [mm]"""
    pieces = list(panel.panes.values())
    flat = np.array([shapely.Polygon(throw.of_panel(a.outline, a.thickness / 2)) for group in pieces for a in group], dtype=object)
    group = np.repeat(np.arange(len(pieces)), [len(g) for g in pieces])
    return joined(flat, group, len(pieces), GRID_MM)


def cleared(polygons: np.ndarray, cutters: np.ndarray) -> np.ndarray:
    """Return `polygons` (n,) less those of the `cutters` (m,) that they meet."""
    of, cutter = STRtree(cutters).query(polygons, predicate="intersects")
    return without(polygons, cutters[cutter], of)


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
    polygons = polygons_of(throw.flat(seen))
    return polygons[shapely.area(polygons) > SLIVER_MM2]


def _fan(aperture: Aperture) -> np.ndarray:
    """Return the triangles (k - 2, 3, 3) of a pane's outline in the middle of its panel. [mm]"""
    local = np.column_stack([aperture.outline, np.full(len(aperture.outline), aperture.thickness / 2)])
    points = aperture.origin + local @ aperture.axes
    return np.stack([np.broadcast_to(points[0], points[1:-1].shape), points[1:-1], points[2:]], axis=1)


def rims(pieces: list[Aperture], throw: Throw) -> tuple[np.ndarray, np.ndarray]:
    """
    Return the rims that bind the light of a pane, which comes in one or more convex `pieces`.

    Returns
    -------
    along : (k, 3) float array
        Unit direction of each edge, in the set. [1]
    depth : (k,) float array
        Of the rim that binds, the inner or the outer. [mm]
    """
    starts = np.concatenate([a.outline for a in pieces])
    ends = np.concatenate([np.roll(a.outline, -1, axis=0) for a in pieces])
    edges, depths = np.concatenate([a.edges for a in pieces]), np.concatenate([a.depths for a in pieces])
    # An edge that another piece runs back along is where the pane was cut up, not a rim.
    back = np.abs(starts[:, None] - ends).max(axis=2) + np.abs(ends[:, None] - starts).max(axis=2)
    real = (back > 1e-6).all(axis=1)
    if len(pieces) > 1:
        depths = np.broadcast_to((0.0, pieces[0].thickness), depths.shape)
    normal, level, depths = edges[real, :2], edges[real, 2], depths[real]
    reach = (level - normal @ throw.foot)[:, None] * throw.height / (throw.height - depths)
    depth = np.take_along_axis(depths, reach.argmax(axis=1)[:, None], axis=1)[:, 0]
    return np.column_stack([-normal[:, 1], normal[:, 0], np.zeros(len(normal))]) @ throw.axes, depth
