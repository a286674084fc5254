"""
Solids with named sides: prisms between two outlines, boxes, and profiles turned about z.

Takes polygons and lengths; gives closed triangle shells whose every side is unfolded flat in millimetres.
Knows nothing of rooms, openings or props: who calls says what each side is named and how it reflects.

    Triangles are wound anticlockwise seen from outside. One vertex stands at each corner of a solid, shared by all of
    its triangles, so no crack can open between two sides. Faces are cut by constrained Delaunay triangulation, which
    keeps every corner, also one in the middle of a straight edge; no boolean of solids is ever taken.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely

CREASE = math.radians(40)
SAGITTA_MM = 0.2
_TOUCH_MM = 1e-5
FEWEST_SEGMENTS, MOST_SEGMENTS = 24, 96


@dataclass(frozen=True)
class Label:
    """What a side is called, which kind it is, how it reflects: the words of `previz.build.built.Face`."""

    name: str
    side: str
    finish: str


@dataclass(frozen=True)
class Side:
    """One side of a solid: triangles (k, 3) int, uv (k, 3, 2) float in mm or None where it has no unfolding."""

    label: Label
    triangles: np.ndarray
    uv: np.ndarray | None
    flat: bool

    def moved(self, start: int) -> Side:
        """Return the side with its vertices numbered from `start`."""
        return replace(self, triangles=self.triangles + start)


@dataclass(frozen=True)
class Solid:
    """
    A solid.

    name, kind, owner  as in `previz.build.built.Part`
    vertices           (n, 3) float. [mm]
    sides              its sides
    closed             True when watertight
    """

    name: str
    kind: str
    owner: str
    vertices: np.ndarray
    sides: tuple[Side, ...]
    closed: bool = True

    def placed(self, axes: np.ndarray, origin: np.ndarray) -> Solid:
        """Return the solid with each vertex v at ``origin + v @ axes``: rows of `axes` (3, 3) are where x, y, z go. [mm]"""
        return replace(self, vertices=self.vertices @ np.asarray(axes, float) + np.asarray(origin, float))


@dataclass(frozen=True)
class Prism:
    """
    The space between a low region and the high one above it, with holes straight through.

    regions      (polygon, Label) pairs that tile the low end, holes already taken out; neighbours share their corners. [mm]
    lift         takes corners (n, 2) of the low end, gives the corners (n, 2) of the high end above them. [mm]
    depths       depth of the low and of the high end. [mm]
    high_label, edge_label   of the high end and of the outer boundary
    reveals      (outline, Label) pairs: the boundary along each outline is that hole's reveal. [mm]
    """

    regions: tuple[tuple[shapely.Polygon, Label], ...]
    lift: Callable[[np.ndarray], np.ndarray]
    depths: tuple[float, float]
    high_label: Label
    edge_label: Label
    reveals: tuple[tuple[shapely.Polygon, Label], ...] = ()

    def solid(self, name: str, kind: str, owner: str) -> Solid:
        """Return the prism as a solid in (along, up, depth) coordinates."""
        low, polygons = _numbered([polygon for polygon, _ in self.regions])
        high, count = self.lift(low), len(low)
        vertices = np.vstack([np.c_[low, np.full(count, self.depths[0])], np.c_[high, np.full(count, self.depths[1])]])
        sides = self._ends(low, high, polygons)
        rims = shapely.STRtree([outline.exterior for outline, _ in self.reveals])
        for loop in _boundary([ring for rings in polygons for ring in rings]):
            owners = _owners(low[loop], rims)
            for run in _runs((low[loop], high[loop]), owners):
                label = self.edge_label if owners[run[0]] < 0 else self.reveals[owners[run[0]]][1]
                sides.append(_ribbon(label, vertices, loop, run, count))
        return Solid(name, kind, owner, vertices, tuple(sides))

    def _ends(self, low, high, polygons):
        sides, raised = [], []
        for rings, (_, label) in zip(polygons, self.regions):
            ids = _filled(low, rings)[:, ::-1]
            sides.append(Side(label, ids, low[ids], True))
            raised.append(_filled(high, rings))
        ids = np.concatenate(raised)
        return [*sides, Side(self.high_label, ids + len(low), high[ids], True)]


def _owners(loop, rims):
    """(k,) which of the `rims` (a tree of lines) each edge loop[i] -> loop[i + 1] lies on, -1 where none."""
    owners = np.full(len(loop), -1)
    middles = shapely.points((loop + np.roll(loop, -1, axis=0)) / 2)
    edge, rim = rims.query(middles, predicate="dwithin", distance=_TOUCH_MM)
    owners[edge] = rim
    return owners


def _numbered(polygons):
    """Corners (n, 2) of all polygons, each once, and each polygon as rings of corner numbers, holes clockwise."""
    polygons = [shapely.orient_polygons(polygon) for polygon in polygons]
    rings = [[np.asarray(ring.coords)[:-1] for ring in (p.exterior, *p.interiors)] for p in polygons]
    points = np.concatenate([ring for polygon in rings for ring in polygon])
    _, first, number = np.unique(np.round(points, 7) + 0.0, axis=0, return_index=True, return_inverse=True)
    number, start, numbered = number.ravel(), 0, []
    for polygon in rings:
        numbered.append([])
        for ring in polygon:
            ids, start = number[start : start + len(ring)], start + len(ring)
            numbered[-1].append(ids[ids != np.roll(ids, 1)])
    return points[first] + 0.0, numbered


def _boundary(rings):
    """Loops of corner numbers around all rings: the edges that no second ring runs back along."""
    edges = [tuple(e) for ring in rings for e in zip(ring.tolist(), np.roll(ring, -1).tolist())]
    shared = set(edges)
    onward: dict[int, list[int]] = {}
    for a, b in edges:
        if (b, a) not in shared:
            onward.setdefault(a, []).append(b)
    loops = []
    while onward:
        loop = [next(iter(onward))]
        while loop[-1] in onward:
            ahead = onward[loop[-1]]
            loop.append(ahead.pop())
            if not ahead:
                del onward[loop[-2]]
            if loop[-1] == loop[0]:
                break
        loops.append(np.array(loop[:-1]))
    return loops


def _filled(points, rings):
    """(m, 3) corner numbers of the triangles that fill a polygon, anticlockwise."""
    polygon = shapely.Polygon(points[rings[0]], [points[r] for r in rings[1:]])
    pieces = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    corners = shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3]
    number = {tuple(points[i]): i for ring in rings for i in ring}
    ids = np.array([number[tuple(p)] for p in corners.reshape(-1, 2)]).reshape(-1, 3)
    a, b, c = (points[ids[:, k]] for k in range(3))
    turned = _cross(b - a, c - a) < 0
    ids[turned] = ids[turned][:, ::-1]
    return ids


def _cross(a, b):
    return a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]


def _runs(outlines, owners):
    """Split a closed loop of edges into runs of edge numbers with one owner each, in which neither outline has a crease."""
    crease = np.any([_bend(points) > CREASE for points in outlines], axis=0)
    starts = np.flatnonzero(crease | (owners != np.roll(owners, 1)))
    if not len(starts):
        return [np.arange(len(owners))]
    order = np.roll(np.arange(len(owners)), -starts[0])
    return np.split(order, starts[1:] - starts[0])


def _bend(points):
    steps = np.roll(points, -1, axis=0) - points
    before = np.roll(steps, 1, axis=0)
    return np.abs(np.arctan2(_cross(before, steps), np.einsum("ij,ij->i", before, steps)))


def _ribbon(label, vertices, loop, run, count):
    """The strip between the low and the high edge of a run, unfolded along its length."""
    a, b = loop[run], loop[(run + 1) % len(loop)]
    triangles = np.concatenate([np.stack([a, b, b + count], 1), np.stack([a, b + count, a + count], 1)])
    upright = np.array_equal(vertices[a, :2], vertices[a + count, :2]) and np.array_equal(vertices[b, :2], vertices[b + count, :2])
    if upright and len(run) == 1:
        return Side(label, triangles, _strip_uv(vertices, a, b, count), True)
    if _one_plane(vertices[triangles]):
        return Side(label, triangles, flat_uv(vertices[triangles]), True)
    uv = _hinged_uv(vertices[triangles]) if len(run) == 1 else _strip_uv(vertices, a, b, count)
    return Side(label, triangles, uv, False)


def _strip_uv(vertices, a, b, count):
    """Running length by depth, as if the strip stood upright."""
    u = np.concatenate([[0.0], np.cumsum(np.linalg.norm(vertices[b] - vertices[a], axis=1))])
    low, high = np.stack([u[:-1], np.zeros(len(a))], 1), np.stack([u[1:], np.zeros(len(a))], 1)
    up = np.array([0.0, vertices[count + a[0], 2] - vertices[a[0], 2]])
    return np.concatenate([np.stack([low, high, high + up], 1), np.stack([low, high + up, low + up], 1)])


def _one_plane(corners):
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal = normal[np.argmax(np.linalg.norm(normal, axis=1))]
    height = (corners - corners[0, 0]) @ (normal / np.linalg.norm(normal))
    return bool(np.ptp(height) < 1e-7)


def _hinged_uv(corners):
    """(2, 3, 2): two triangles a b c, a c d laid flat on either side of a c, their lengths kept."""
    (a, b, c), (_, _, d) = corners
    hinge = (c - a) / np.linalg.norm(c - a)
    flat = [np.array([(p - a) @ hinge, side * np.linalg.norm(np.cross(p - a, hinge))]) for p, side in ((a, 0), (b, -1), (c, 0), (d, 1))]
    return np.array([[flat[0], flat[1], flat[2]], [flat[0], flat[2], flat[3]]])


def flat_uv(corners: np.ndarray) -> np.ndarray:
    """Return (m, 3, 2): triangles (m, 3, 3) that lie in one plane, laid flat with their lengths kept. [mm]"""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal = normal[np.argmax(np.linalg.norm(normal, axis=1))]
    normal = normal / np.linalg.norm(normal)
    u = corners[0, 1] - corners[0, 0]
    u = u / np.linalg.norm(u)
    return (corners - corners[0, 0]) @ np.stack([u, np.cross(normal, u)], axis=1)


def box(name: str, owner: str, size, finish: str, kind: str = "prop", sides: str | None = None) -> Solid:
    """
    Return a box centred on z, standing on z = 0.

    Parameters
    ----------
    size : (3,) float
        Along x, y, z. [mm]
    sides : str or None
        The kind that all six sides get and a name for all; None names them top, bottom, front (-y), back, left (-x), right.
    """
    x, y, z = np.asarray(size, float) / 2
    corners = np.array([(i, j, k) for k in (0, 2 * z) for j in (-y, y) for i in (-x, x)])
    quads = {"bottom": (0, 2, 3, 1), "top": (4, 5, 7, 6), "front": (0, 1, 5, 4), "back": (2, 6, 7, 3), "left": (0, 4, 6, 2), "right": (1, 3, 7, 5)}
    shown = {"left": "side", "right": "side", "back": "side"}
    built = []
    for word, quad in quads.items():
        ids = np.array([quad[:3], (quad[0], quad[2], quad[3])])
        label = Label(name, sides, finish) if sides else Label(f"{name} {word}", shown.get(word, word), finish)
        built.append(Side(label, ids, flat_uv(corners[ids]), True))
    return Solid(name, kind, owner, corners, tuple(built))


def segments(radius: float) -> int:
    """Return how many chords keep a circle of `radius` [mm] within SAGITTA_MM, 24 to 96: sagitta = r (1 - cos(pi / n))."""
    if radius <= SAGITTA_MM:
        return FEWEST_SEGMENTS
    return min(max(math.ceil(math.pi / math.acos(1 - SAGITTA_MM / radius)), FEWEST_SEGMENTS), MOST_SEGMENTS)


def turned(name: str, owner: str, profile: np.ndarray, labels: tuple[Label, Label, Label], kind: str = "prop") -> Solid:
    """
    Return the solid that `profile` sweeps about z, closed at both ends.

    Parameters
    ----------
    profile : (k, 2) float array
        Radius and height from the bottom up. [mm]
    labels : three Labels
        Of the level faces that look down, of the level faces that look up, and of everything else.

    Notes
    -----
    The corners of the regular n-gon stand at r sqrt((2 pi / n) / sin(2 pi / n)), where its area is the circle's: every
    level cut has the true area, so the volume is the true volume.
    """
    profile = _closed_profile(np.asarray(profile, float))
    count = segments(profile[:, 0].max())
    angles = 2 * np.pi * np.arange(count) / count
    swell = math.sqrt((2 * np.pi / count) / math.sin(2 * np.pi / count))
    ring = swell * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    vertices, first = _turned_vertices(profile, ring)
    sides = [_turned_side(profile, first, run, count, vertices, labels) for run in _profile_runs(profile)]
    return Solid(name, kind, owner, vertices, tuple(sides))


def _closed_profile(profile):
    """The profile with its inside on the left: brought to the axis at both ends, unless it closes on itself (a ring)."""
    (r0, z0), (r1, z1) = profile[0], profile[-1]
    around = np.sum(profile[:-1, 0] * profile[1:, 1] - profile[1:, 0] * profile[:-1, 1]) + r1 * z1 - r0 * z0
    if around < 0:
        profile = profile[::-1]
    if np.array_equal(profile[0], profile[-1]):
        low = high = []
    else:
        low = [(0.0, profile[0, 1])] if profile[0, 0] > 0 else []
        high = [(0.0, profile[-1, 1])] if profile[-1, 0] > 0 else []
    profile = np.array([*low, *profile, *high], float)
    return profile[np.r_[True, np.any(np.diff(profile, axis=0) != 0, axis=1)]]


def _turned_vertices(profile, ring):
    """One vertex for a point on the axis, a ring of them for every other; a closed profile ends on its first ring."""
    vertices, first = [], []
    closed = np.array_equal(profile[0], profile[-1])
    for radius, height in profile[: -1 if closed else None]:
        first.append(sum(map(len, vertices)))
        flat = np.zeros((1, 2)) if radius == 0 else radius * ring
        vertices.append(np.c_[flat, np.full(len(flat), height)])
    return np.concatenate(vertices), np.array([*first, first[0]] if closed else first)


def _profile_runs(profile):
    """Runs of segment numbers: level ones by themselves, the rest split at creases."""
    steps = np.diff(profile, axis=0)
    level = steps[:, 1] == 0
    direction = np.arctan2(steps[:, 1], steps[:, 0])
    bend = np.abs((np.diff(direction) + np.pi) % (2 * np.pi) - np.pi)
    cut = np.flatnonzero((bend > CREASE) | (level[1:] != level[:-1])) + 1
    runs = np.split(np.arange(len(steps)), cut)
    return [run for run in runs if profile[np.r_[run, run[-1] + 1], 0].max() > 0]


def _turned_side(profile, first, run, count, vertices, labels):
    points = profile[np.r_[run, run[-1] + 1]]
    v = np.r_[0.0, np.cumsum(np.hypot(*np.diff(points, axis=0).T))]
    radius = np.average((points[1:, 0] + points[:-1, 0]) / 2, weights=np.diff(v))
    step = 2 * np.pi * radius / count
    j = np.arange(count)
    triangles, uv = [], []
    for k, segment in enumerate(run):
        (r0, _), (r1, _) = profile[segment], profile[segment + 1]
        a, b = (first[segment] + (j if r0 else 0 * j)), (first[segment] + ((j + 1) % count if r0 else 0 * j))
        c, d = (first[segment + 1] + ((j + 1) % count if r1 else 0 * j)), (first[segment + 1] + (j if r1 else 0 * j))
        left, right, middle = j * step, (j + 1) * step, (j + 0.5) * step
        low, high = np.full(count, v[k]), np.full(count, v[k + 1])
        if r0:
            triangles.append(np.stack([a, b, c], 1))
            uv.append(np.stack([np.c_[left, low], np.c_[right, low], np.c_[right if r1 else middle, high]], 1))
        if r1:
            triangles.append(np.stack([a, c, d], 1))
            uv.append(np.stack([np.c_[left if r0 else middle, low], np.c_[right, high], np.c_[left, high]], 1))
    triangles, uv = np.concatenate(triangles), np.concatenate(uv)
    level = bool(points[0, 1] == points[-1, 1])
    if level:
        return Side(labels[0 if points[-1, 0] > points[0, 0] else 1], triangles, vertices[triangles][..., :2], True)
    return Side(labels[2], triangles, uv, False)
