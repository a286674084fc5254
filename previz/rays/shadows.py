"""
What a lamp's centre sees of the set through a panel: each flat piece of surface, less all that stands before it.

Takes a built set, a throw and regions of it; gives lit pieces in the throw. Knows nothing of lamps, panes or light.

    facet   a flat piece of surface that can receive light: a whole flat face, or one triangle of a curved one
    piece   what a region throws on a facet
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely import STRtree

from previz.build.built import BuiltSet
from previz.rays.gnomonic import NEAREST, Throw, clip, halves
from previz.rays.unions import SLIVER_MM2, joined, parts, without

# Surfaces closer together than this touch: neither shades the other. [mm]
TOUCH_MM = 1e-5
# Pieces that are shaded at a time, to bound memory.
BATCH = 4096


@dataclass(frozen=True)
class Surface:
    """
    The triangles of a built set, ready for any throw.

    corners (m, 3, 3), normals (m, 3) unit, outward; areas (m,); face, part (m,) indices. Triangles without area are gone. [mm]
    """

    built: BuiltSet
    corners: np.ndarray
    normals: np.ndarray
    areas: np.ndarray
    face: np.ndarray
    part: np.ndarray

    @classmethod
    def of(cls, built: BuiltSet) -> Surface:
        """Return the surface of `built`."""
        corners = np.asarray(built.vertices, dtype=float)[built.triangles]
        vectors = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        length = np.linalg.norm(vectors, axis=1)
        real = length > 1e-12
        return cls(built, corners[real], vectors[real] / length[real, None], length[real] / 2, built.face_of[real], built.part_of[real])

    @cached_property
    def size(self) -> float:
        """Diagonal of the set's bounding box. [mm]"""
        return float(np.linalg.norm(np.ptp(self.built.bounds, axis=0)))


@dataclass(frozen=True)
class Facets:
    """polygons (f,) in the throw; normals (f, 3), offsets (f,) of their planes in the lamp frame; face (f,) index. [mm]"""

    polygons: np.ndarray
    normals: np.ndarray
    offsets: np.ndarray
    face: np.ndarray


@dataclass(frozen=True)
class Screens:
    """What can stand in the light: corners (n, 3, 3) in the lamp frame, (n, 3, 2) in the throw, and as polygons (n,). [mm]"""

    corners: np.ndarray
    flat: np.ndarray
    polygons: np.ndarray


@dataclass(frozen=True)
class Pieces:
    """polygons (n,) in the throw; region (n,) and facet (n,) that each belongs to."""

    polygons: np.ndarray
    region: np.ndarray
    facet: np.ndarray


def facets(surface: Surface, throw: Throw, bounds: np.ndarray, face: int | None = None) -> Facets:
    """Return the facets beyond the panel, of one face if it is given, that are turned to the lamp and overlap `bounds` (4,) of the throw. [mm]"""
    facing = np.flatnonzero(_facing(surface, throw) & (True if face is None else surface.face == face))
    seen, index = _before(throw, surface, facing, throw.height)
    flat = throw.flat(seen)
    near = _overlap(flat, bounds)
    flat, index = flat[near], index[near]
    whole = np.array([f.flat for f in surface.built.faces], dtype=bool)[surface.face[index]]
    # A flat face is one facet, whose triangles are joined; a triangle of a curved face is a facet of its own.
    key = np.where(whole, surface.face[index], len(surface.built.faces) + index)
    keys, group = np.unique(key, return_inverse=True)
    polygons = joined(polygons_of(flat), group, len(keys))
    lead = np.zeros(len(keys), dtype=int)
    by_area = np.argsort(surface.areas[index], kind="stable")
    lead[group[by_area]] = index[by_area]
    normals = throw.turned(surface.normals[lead])
    offsets = np.einsum("ij,ij->i", normals, throw.seen(surface.corners[lead].mean(axis=1)))
    return Facets(polygons, normals, offsets, surface.face[lead])


def screens(surface: Surface, throw: Throw, bounds: np.ndarray, among: np.ndarray) -> Screens:
    """Return what of the parts `among` (parts,) bool can stand in light that passes within `bounds` (4,) of the throw. [mm]"""
    closed = np.array([p.closed for p in surface.built.parts], dtype=bool)[surface.part]
    # The side of a closed solid that is turned to the lamp hides all that the solid hides.
    chosen = np.flatnonzero((_facing(surface, throw) | ~closed) & among[surface.part])
    seen, _ = _before(throw, surface, chosen, throw.height * NEAREST)
    flat = throw.flat(seen)
    kept = _overlap(flat, bounds)
    seen, flat = seen[kept], flat[kept]
    polygons = polygons_of(flat)
    real = shapely.area(polygons) > SLIVER_MM2
    return Screens(seen[real], flat[real], polygons[real])


def _facing(surface: Surface, throw: Throw) -> np.ndarray:
    return np.einsum("ij,ij->i", surface.normals, throw.lamp - surface.corners[:, 0]) > TOUCH_MM


def panel_parts(surface: Surface, throw: Throw, thickness: float) -> np.ndarray:
    """Return (parts,) bool: the panel itself and its bars, which lie between its inner and its outer face. [mm]"""
    depth = throw.height - throw.seen(surface.corners)[:, :, 2]
    inside = ((depth > -TOUCH_MM) & (depth < thickness + TOUCH_MM)).all(axis=1)
    building = np.array([p.kind in ("wall", "floor", "ceiling", "slope", "bars") for p in surface.built.parts], dtype=bool)
    outside = np.bincount(surface.part[~inside], minlength=len(building)) > 0
    return building & ~outside


def _before(throw: Throw, surface: Surface, chosen: np.ndarray, distance: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the triangles (n, 3, 3) in the lamp frame of what lies further than `distance` before the lamp, and where from."""
    seen = throw.seen(surface.corners[chosen])
    pieces, index = halves(*clip(seen, seen[:, :, 2] - distance))
    return pieces, chosen[index]


def _overlap(flat: np.ndarray, bounds: np.ndarray) -> np.ndarray:
    low, high = flat.min(axis=1), flat.max(axis=1)
    return (low < bounds[2:]).all(axis=1) & (high > bounds[:2]).all(axis=1)


def polygons_of(rings: np.ndarray) -> np.ndarray:
    """Return (n,) polygons of rings (n, k, 2)."""
    return shapely.polygons(rings) if len(rings) else np.zeros(0, dtype=object)


def thrown(regions: np.ndarray, onto: Facets) -> Pieces:
    """Return the pieces that `regions` (n,) of the throw cover on the facets, as if nothing stood between."""
    region, facet = STRtree(onto.polygons).query(regions, predicate="intersects")
    singles, index = parts(shapely.intersection(regions[region], onto.polygons[facet]))
    return Pieces(singles, region[index], facet[index])


def lit(pieces: Pieces, onto: Facets, before: Screens) -> Pieces:
    """Return what is left of `pieces` on the facets once all that stands `before` them is taken away."""
    tree = STRtree(before.polygons)
    batches = [_lit(pieces.polygons[i : i + BATCH], pieces.facet[i : i + BATCH], onto, before, tree) for i in range(0, len(pieces.polygons), BATCH)]
    singles, index = parts(np.concatenate(batches) if batches else pieces.polygons)
    return Pieces(singles, pieces.region[index], pieces.facet[index])


def _lit(polygons: np.ndarray, facet: np.ndarray, onto: Facets, before: Screens, tree: STRtree) -> np.ndarray:
    of, screen = tree.query(polygons)
    ahead = np.einsum("nij,nj->ni", before.corners[screen], onto.normals[facet[of]]) - onto.offsets[facet[of], None]
    ahead[np.abs(ahead) < TOUCH_MM] = 0
    some = (ahead > 0).any(axis=1)
    of, screen, ahead = of[some], screen[some], ahead[some]
    # Distance before the facet's plane over w is linear in the throw, so the part that is ahead is cut out there.
    corners = before.corners[screen]
    quads, index = clip(before.flat[screen], ahead / corners[:, :, 2])
    cutters = before.polygons[screen]
    cut = (ahead < 0).any(axis=1)[index]
    cutters[index[cut]] = polygons_of(quads[cut])
    # Most neighbours on a curved face only touch.
    meets = shapely.relate_pattern(polygons[of], cutters, "T********")
    return without(polygons, cutters[meets], of[meets])
