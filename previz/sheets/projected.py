"""
The set seen along one direction, as flat geometry: what a plane cuts, what lies behind it, where the light goes.

Takes the built set, patches and a facing; gives shapely geometry in the model's millimetres, across and up as the viewer
sees them. Knows no paper.

    facing   rows right, up, toward (the viewer); a point x is seen at (right . x, up . x), `depth` = toward . x before the eye
    cut      everything with a depth above `level` is taken away, and what the plane goes through is shown as cut
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
import trimesh
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from previz.build.built import BuiltSet

GRID_MM = 1e-4
"""Coordinates are rounded to this before outlines are joined, so that edges that are one in the solids are one here. [mm]"""

ABOVE = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
FROM_SOUTH = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
FROM_NORTH = np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]])
FROM_WEST = np.array([[0.0, -1.0, 0.0], [0.0, 0.0, 1.0], [-1.0, 0.0, 0.0]])
FROM_EAST = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])
"""Facings: from above with x to the right, and level from each side, as the axes of the set run."""


@dataclass(frozen=True)
class Seen:
    """
    A set cut at `level` and seen along a facing.

    cut       what the plane goes through: an area, perhaps empty
    lines     visible edges of what lies behind it
    outlines  part name -> what it covers, cut or behind [mm]
    depths    part name -> depth of its nearest point [mm]
    hidden    part name -> outline of what lies wholly before the plane
    shown     part name -> the part of its outline that nothing nearer hides
    """

    cut: shapely.Geometry
    lines: shapely.Geometry
    outlines: dict[str, shapely.Geometry]
    depths: dict[str, float]
    hidden: dict[str, shapely.Geometry]
    shown: dict[str, shapely.Geometry]


def seen_flat(facing: np.ndarray, points) -> np.ndarray:
    """Return (n, 2) where points (n, 3) are seen. [mm]"""
    return np.asarray(points, float).reshape(-1, 3) @ facing[:2].T


def seen_set(built: BuiltSet, facing: np.ndarray, level: float) -> Seen:
    """Return the set as it is seen along `facing`, cut at `level`. [mm]"""
    outlines, depths, hidden, cuts = {}, {}, {}, []
    for part in built.parts:
        apart = apart_at(*solid_of(built, part), facing, level)
        if apart.hidden is not None:
            hidden[part.name] = apart.hidden
            continue
        if apart.cut is not None:
            cuts.append(apart.cut)
        if apart.covered is not None and not apart.covered.is_empty:
            outlines[part.name], depths[part.name] = apart.covered, apart.depth
    cut = shapely.union_all(cuts, grid_size=GRID_MM) if cuts else shapely.Polygon()
    lines, shown = _visible(outlines, depths, cut)
    return Seen(cut, lines, outlines, depths, hidden, shown)


@dataclass(frozen=True)
class Apart:
    """
    One solid taken apart by the plane of a drawing.

    hidden   what it covers, where all of it lies before the plane; then nothing else is known
    cut      what the plane goes through; None where it goes through nothing
    covered  what it covers, cut or behind; None where nothing of it is behind
    depth    of its nearest point that is left [mm]
    """

    hidden: shapely.Geometry | None = None
    cut: shapely.Geometry | None = None
    covered: shapely.Geometry | None = None
    depth: float = 0.0


def solid_of(built: BuiltSet, part) -> tuple[np.ndarray, np.ndarray]:
    """Return the corners (n, 3) of a part and its triangles (m, 3) over them. [mm]"""
    used, faces = np.unique(built.triangles[part.first : part.last], return_inverse=True)
    return built.vertices[used], faces.reshape(-1, 3)


def apart_at(corners: np.ndarray, faces: np.ndarray, facing: np.ndarray, level: float) -> Apart:
    """Return a solid, corners (n, 3) and triangles (m, 3), as a plane at `level` takes it apart, seen along `facing`. [mm]"""
    depth = corners @ facing[2]
    if depth.min() >= level - GRID_MM:
        return Apart(hidden=_covered(corners, faces, facing))
    if depth.max() <= level:
        return Apart(covered=_covered(corners, faces, facing), depth=float(depth.max()))
    cut = _section(corners, faces, facing, level)
    corners, faces = trimesh.intersections.slice_faces_plane(corners, faces, -facing[2], facing[2] * level)[:2]
    return Apart(cut=cut, covered=shapely.union(_covered(corners, faces, facing), cut) if len(faces) else None, depth=level)


def _covered(corners, faces, facing):
    """What triangles cover: the union of those that face the viewer."""
    flat = (corners @ facing[:2].T)[faces]
    a, b = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    area = (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) / 2
    toward = flat[area > GRID_MM]
    if not len(toward):
        toward = flat[area < -GRID_MM]
    if not len(toward):
        return shapely.Polygon()
    return shapely.union_all(shapely.polygons(toward), grid_size=GRID_MM)


def _section(corners, faces, facing, level):
    """What a plane cuts of a solid: the area that its lines enclose an odd number of times."""
    mesh = trimesh.Trimesh(corners, faces, process=False)
    # A hair above the level, because a plane through corners cuts nothing that could be closed.
    segments = trimesh.intersections.mesh_plane(mesh, facing[2], facing[2] * (level + 3.1e-4))
    if not len(segments):
        return shapely.Polygon()
    ends = _welded((segments @ facing[:2].T).reshape(-1, 2)).reshape(-1, 2, 2)
    lines = shapely.linestrings(ends[np.any(ends[:, 0] != ends[:, 1], axis=1)])
    area = shapely.build_area(shapely.geometrycollections(lines))
    return shapely.Polygon() if area is None else area


def _welded(points):
    """Points (n, 2), each where the first one within the grid's step of it is: rounding would part two on either side of a half step."""
    near = cKDTree(points).query_pairs(GRID_MM, output_type="ndarray")
    links = coo_array((np.ones(len(near), bool), near.T), shape=(len(points), len(points)))
    _, first, which = np.unique(connected_components(links, directed=False)[1], return_index=True, return_inverse=True)
    return points[first[which]]


def _visible(outlines, depths, cut):
    """The outlines of all parts, nearest first, each without what nearer ones hide; and the area of each that is left."""
    before, lines, shown = shapely.buffer(cut, -0.01), [], {}
    for name in sorted(outlines, key=lambda name: -depths[name]):
        lines.append(shapely.difference(edges_of(outlines[name]), before))
        shown[name] = shapely.difference(outlines[name], before)
        before = shapely.union(before, shapely.buffer(outlines[name], -0.01))
    return (shapely.union_all(lines) if lines else shapely.LineString()), shown


@dataclass(frozen=True)
class Beam:
    """The light of one lamp through one opening: what its shafts and its patches cover, seen along a facing; flux [lm]."""

    lamp: str
    opening: str
    shaft: shapely.Geometry
    patches: shapely.Geometry
    flux: float


def beams(patches, lamps: dict, built: BuiltSet, facing: np.ndarray, most: int) -> list[Beam]:
    """
    Return the light as it is seen along `facing`, the `most` openings that let in most of it.

    Parameters
    ----------
    patches : sequence of Patch
    lamps : dict
        Name -> (3,) centre of the face that the light comes from. [mm]

    Notes
    -----
    A shaft is what lies between a patch and where its rays cross the middle of its opening's wall: the hull of both
    outlines, exact for a patch without dents.
    """
    groups: dict[tuple, list] = {}
    for patch in patches:
        if patch.lamp in lamps:
            groups.setdefault((patch.lamp, patch.opening), []).append(patch)
    flux = {key: sum(p.lux * p.area_mm2 for p in group) / 1e6 for key, group in groups.items()}
    found = []
    for key in sorted(groups, key=lambda key: -flux[key])[:most]:
        group = groups[key]
        hulls = [_shaft(patch, lamps[patch.lamp], built, facing) for patch in group]
        marks = [_mark(seen_flat(facing, p.outline_mm)) for p in group]
        found.append(Beam(*key, shapely.union_all(hulls), shapely.union_all(marks), flux[key]))
    return found


def _mark(corners):
    """A patch as it is seen: an area, or a line where it is seen along its face."""
    area = shapely.Polygon(corners)
    return area.buffer(0) if area.area > GRID_MM else shapely.LineString(corners)


def edges_of(shape: shapely.Geometry) -> shapely.Geometry:
    """Return the lines round areas, and lines as they are, of any flat geometry."""
    parts = shapely.get_parts(shape)
    return shapely.union_all([shapely.boundary(part) if part.geom_type == "Polygon" else part for part in parts if part.geom_type != "Point"])


def _shaft(patch, lamp, built, facing):
    corners = np.asarray(patch.outline_mm, float)
    panes = built.apertures_named(patch.opening)
    if panes:
        pane = panes[0]
        normal, middle = pane.axes[2], pane.origin + pane.axes[2] * pane.thickness / 2
        share = (normal @ (middle - lamp)) / ((corners - lamp) @ normal)
        corners = np.concatenate([corners, lamp + share[:, None] * (corners - lamp)])
    return shapely.convex_hull(shapely.MultiPoint(seen_flat(facing, corners)))
