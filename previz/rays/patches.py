"""
Patches: where light lands, as crisp outlines on each face of the set.

Takes a built set, lamps and the light on points; gives the patches of the report.

A patch is the outline that a lamp's centre throws through one pane onto one face, everything that stands in between taken
away; each connected piece of at least `SMALLEST_MM2` is a patch of its own. On a flat face outline and area are exact. On a
curved face the outline runs along the surface's triangles, and the area is that of their lit parts. An outline is the outer
boundary, anticlockwise as the lamp sees it; holes in it count for the area only.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely import STRtree

from previz.build.built import BuiltSet
from previz.rays.gnomonic import Throw
from previz.rays.panes import Panel, cleared, entered_before, outlines, panels, rims
from previz.rays.penumbra import soft_edge
from previz.rays.shadows import Facets, Pieces, Surface, facets, lit as seen_by_lamp, panel_parts, screens, thrown
from previz.rays.unions import GRID_MM, joined, parts

SMALLEST_MM2 = 1.0
"""Smaller pieces are slivers between edges, which no one would mark on a set (own choice). [mm2]"""
LAMP_SAMPLES = 256


@dataclass(frozen=True)
class Patch:
    """
    Where the light of one lamp through one pane lands on one face.

    lamp         the lamp's name
    opening      the opening's name; for a wall, ceiling or floor left off "room.wall"
    pane         (column, row) from the lower left as seen from outside
    on           the face's name
    outline_mm   (k, 3) corners of the crisp outline, anticlockwise as the lamp sees it, not closed [mm]
    centre_mm    (3,) centroid; where that is not lit, a point that is [mm]
    area_mm2     of the lit surface, holes not counted [mm2]
    lux          illuminance at the centre straight from the whole face of the lamp [lux]
    penumbra_mm  full width at the centre of the softest edge that the pane gives: that of an edge at the depth of the rim
                 that binds, in line with the centre; never more than the size of the set [mm]
    lit_share    share that stays lit of what the pane throws on this face; pieces of one pane and face have the same [1]
    """

    lamp: str
    opening: str
    pane: tuple[int, int]
    on: str
    outline_mm: np.ndarray
    centre_mm: np.ndarray
    area_mm2: float
    lux: float
    penumbra_mm: float
    lit_share: float


class Landed(NamedTuple):
    """A patch before it is lit, with the lamp's number and the unit normal (3,) at its centre."""

    lamp: int
    normal: np.ndarray
    fields: dict


def patches(built: BuiltSet, emitters, lit) -> list[Patch]:
    """
    Return all patches, by lamp, pane and face in their order in the set, the largest piece first.

    Parameters
    ----------
    built : BuiltSet
    emitters : sequence of previz.light.lamps.Emitter
        In the order of `lit`'s lamps.
    lit : previz.rays.lit.LitSet
        Asked for ``illuminance(points (n, 3), normals (n, 3), samples) -> (n, lamps)``. [mm], [lux]

    Returns
    -------
    list of Patch
        Without those that get no light at all, as from a lamp that is dimmed to nothing or turned away.

    Notes
    -----
    Central projection from the lamp's centre: in the plane of the panel every edge of light is straight, and the patch is
    polygon clipping there. Light through several apertures counts once, by the one nearest the lamp; a lamp on the inner
    side of an aperture throws nothing through it.
    """
    surface = Surface.of(built)
    found = [x for i, e in enumerate(emitters) for panel in panels(built.apertures) for x in landed(surface, panel, e, i)]
    if not found:
        return []
    points = np.array([x.fields["centre_mm"] for x in found])
    lux = lit.illuminance(points, np.array([x.normal for x in found]), LAMP_SAMPLES)[np.arange(len(found)), [x.lamp for x in found]]
    return [Patch(lux=float(level), **x.fields) for x, level in zip(found, lux) if level > 0]


def landed(surface: Surface, panel: Panel, emitter, number: int = 0, face: int | None = None) -> list[Landed]:
    """Return the patches that lamp `number` throws through the panes of one panel, on all faces or on one, before they are lit."""
    throw = panel.throw(emitter.centre)
    if throw is None or not len(surface.corners):
        return []
    regions = outlines(panel, throw)
    bounds = shapely.total_bounds(regions)
    own = panel_parts(surface, throw, panel.thickness)
    regions = cleared(regions, screens(surface, throw, bounds, own).polygons)
    regions = cleared(regions, entered_before(panel, throw, surface.built.apertures))
    onto = facets(surface, throw, bounds, face)
    whole = thrown(regions, onto)
    clear = seen_by_lamp(whole, onto, screens(surface, throw, bounds, ~own))
    return _Landing(surface, panel, throw, emitter, number, onto, whole, clear).patches()


@dataclass(frozen=True)
class _Landing:
    """What one lamp throws through one panel: `whole` before anything stood in the way, `clear` after."""

    surface: Surface
    panel: Panel
    throw: Throw
    emitter: object
    number: int
    onto: Facets
    whole: Pieces
    clear: Pieces

    def patches(self) -> list[Landed]:
        """Return one patch for each connected piece."""
        faces = len(self.surface.built.faces)
        keys, group = np.unique(self._key(self.clear, faces), return_inverse=True)
        shapes, of = parts(joined(self.clear.polygons, group, len(keys), GRID_MM))
        owner = _owners(self.clear.polygons, group, shapes, of)
        area, moment = _areas(self.clear, self.onto, self.throw)
        total, centre = np.bincount(owner, area, len(shapes)), np.zeros((len(shapes), 3))
        np.add.at(centre, owner, moment)
        share = np.bincount(group, area, len(keys)) / self._before(keys, faces)
        worth = np.flatnonzero(total >= SMALLEST_MM2)
        worth = worth[np.lexsort((-total[worth], of[worth]))]
        corner = _Corners(self.clear, group)
        panes = [(name, number, rims(pieces, self.throw)) for (_, name, number), pieces in self.panel.panes.items()]
        rows = []
        for i in worth:
            pane, face = divmod(int(keys[of[i]]), faces)
            shape = shapely.simplify(shapes[i], 10 * GRID_MM) if self.surface.built.faces[face].flat else shapes[i]
            at, facet = self._centre(shape, centre[i] / total[i], np.flatnonzero(owner == i))
            rows.append((panes[pane], face, self._outline(shape, of[i], corner), at, self.throw.unturned(self.onto.normals[facet]), total[i], share[of[i]]))
        return [self._landed(*row, softest) for row, softest in zip(rows, self._softest(rows))]

    def _softest(self, rows: list[tuple]) -> np.ndarray:
        """Return for each of `rows` the widest soft edge that its pane gives, no more than the size of the set. [mm]"""
        if not rows:
            return np.zeros(0)
        edges = [pane[2] for pane, *_ in rows]
        count = [len(depth) for _, depth in edges]
        along, depth = (np.concatenate(parts) for parts in zip(*edges))
        at, normal = (np.repeat([row[column] for row in rows], count, axis=0) for column in (3, 4))
        step = (at - self.emitter.centre) / self.throw.seen(at)[:, 2:]
        through = self.emitter.centre + (self.throw.height - depth)[:, None] * step
        widths = soft_edge(self.emitter, through, along, at, normal)
        return np.minimum(np.maximum.reduceat(widths, np.cumsum([0, *count[:-1]])), self.surface.size)

    def _key(self, pieces: Pieces, faces: int) -> np.ndarray:
        """One number for each pane and face."""
        return pieces.region * faces + self.onto.face[pieces.facet]

    def _before(self, keys: np.ndarray, faces: int) -> np.ndarray:
        area, _ = _areas(self.whole, self.onto, self.throw)
        key = self._key(self.whole, faces)
        known = np.isin(key, keys)
        return np.bincount(np.searchsorted(keys, key[known]), area[known], len(keys))

    def _outline(self, shape, group: int, corner: _Corners) -> np.ndarray:
        """Return (k, 3): the outer boundary on the surface. [mm]"""
        ring = shapely.orient_polygons(shapely.normalize(shape)).exterior
        flat = shapely.get_coordinates(ring)[:-1]
        facet = corner.facet_at(flat, group)
        return self.throw.back(flat, self.onto.normals[facet], self.onto.offsets[facet])

    def _centre(self, shape, centroid: np.ndarray, pieces: np.ndarray) -> tuple[np.ndarray, int]:
        """Return the point (3,) of the surface in line with the centroid, or one that is lit, and its facet. [mm]"""
        flat = self.throw.flat(self.throw.seen(centroid))
        if not shapely.contains_xy(shape, *flat):
            flat = shapely.get_coordinates(shapely.point_on_surface(shape))[0]
        nearest = pieces[shapely.distance(self.clear.polygons[pieces], shapely.points(flat)).argmin()]
        facet = int(self.clear.facet[nearest])
        return self.throw.back(flat[None], self.onto.normals[[facet]], self.onto.offsets[[facet]])[0], facet

    def _landed(self, pane, face: int, outline, at, normal, area: float, share: float, softest: float) -> Landed:
        opening, number, _ = pane
        fields = {
            "lamp": self.emitter.name,
            "opening": opening,
            "pane": number,
            "on": self.surface.built.faces[face].name,
            "outline_mm": outline,
            "centre_mm": at,
            "area_mm2": float(area),
            "penumbra_mm": float(softest),
            "lit_share": float(min(share, 1.0)),
        }
        return Landed(self.number, normal, fields)


class _Corners:
    """Which facet a corner of an outline lies on: that of the piece which brought the corner, within its pane and face."""

    def __init__(self, pieces: Pieces, group: np.ndarray):
        flat, index = shapely.get_coordinates(pieces.polygons, return_index=True)
        self._apart = 1 + 4 * np.abs(flat).max(initial=0)
        self._facet = pieces.facet[index]
        self._tree = cKDTree(np.column_stack([flat, group[index] * self._apart])) if len(flat) else None

    def facet_at(self, flat: np.ndarray, group: int) -> np.ndarray:
        """Return the facet (n,) at corners (n, 2) of an outline of `group`."""
        return self._facet[self._tree.query(np.column_stack([flat, np.full(len(flat), group * self._apart)]))[1]]


def _owners(polygons: np.ndarray, group: np.ndarray, shapes: np.ndarray, of: np.ndarray) -> np.ndarray:
    """Return (n,): which of the `shapes`, themselves `of` groups, each of `polygons` became part of."""
    inside = shapely.point_on_surface(polygons)
    point, shape = STRtree(shapes).query(inside, predicate="dwithin", distance=10 * GRID_MM)
    same = group[point] == of[shape]
    owner = np.full(len(polygons), 0)
    owner[point[same]] = shape[same]
    return owner


def _areas(pieces: Pieces, onto: Facets, throw: Throw) -> tuple[np.ndarray, np.ndarray]:
    """
    Return the area (n,) of each piece on its facet, and area times centroid (n, 3), by fans of triangles around each ring.

    [mm2], [mm3]
    """
    rings, piece = shapely.get_rings(pieces.polygons, return_index=True)
    flat, ring = shapely.get_coordinates(rings, return_index=True)
    facet = pieces.facet[piece[ring]]
    points = throw.back(flat, onto.normals[facet], onto.offsets[facet])
    first = np.searchsorted(ring, np.arange(len(rings)))
    hub = points[first[ring[:-1]]]
    normals = throw.unturned(onto.normals[facet[:-1]])
    vector = np.einsum("ij,ij->i", np.cross(points[:-1] - hub, points[1:] - hub), normals) / 2
    vector[ring[1:] != ring[:-1]] = 0
    size = np.bincount(ring[:-1], vector, len(rings))
    moment = np.zeros((len(rings), 3))
    np.add.at(moment, ring[:-1], vector[:, None] * (hub + points[:-1] + points[1:]) / 3)
    # A ring that is not its polygon's first is a hole.
    sign = np.where(np.r_[True, piece[1:] != piece[:-1]], 1, -1) * np.sign(size)
    area = np.bincount(piece, sign * size, len(pieces.polygons))
    total = np.zeros((len(pieces.polygons), 3))
    np.add.at(total, piece, sign[:, None] * moment)
    return area, total
