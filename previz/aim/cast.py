"""
Where a lamp stood, from the corners of its patches in a picture.

Takes a camera that was found, pane corners and where their light is seen to land; gives the lamp's place, how well it is
known, and how far each corner lies from where the lamp of the scene would put it. Knows no names and no files.

    corner   of a pane as its light sees it: two edges that meet, each with an inner and an outer rim
    throw    where the corner's light crosses the plane of the panel's inner face; the rim that binds an edge is the one
             that leaves less light (`previz.rays.panes`)

The start is the point nearest to all lines from a lit corner back through its pane's (least squares of distances to lines;
closed form). From there the place is that with the least pixel errors, which weighs each corner by how well it is seen. The
distance enters as its inverse, of which errors are even where lines are nearly parallel (J. Civera, A. Davison and J. Montiel,
Inverse Depth Parametrization for Monocular SLAM, IEEE Transactions on Robotics 24, 2008; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.optimize import least_squares

from previz.aim.pose import Camera
from previz.build.built import Aperture, BuiltSet
from previz.rays.tracer import Tracer

SHARP = np.radians(40)
"""An outline that turns by less is a curve, where no corner can be marked (own choice)."""
_CORNERS = {"lower left": (0, 0), "lower right": (1, 0), "upper right": (1, 1), "upper left": (0, 1)}
NAMES = (*_CORNERS, "top")
_NEAR_BOX, _LEVEL_MM = 0.25, 0.5
SURELY = 2.0
"""Standard errors within which a figure is not told apart from another: 95 of 100 times."""
_FARTHEST, _NEAREST, _WIDEST, _LOST = 1e-3, 50.0, 5.0, 1e6
"""Inverse distances that are tried, in those of the start; tangents across; pixels that stand for a corner that is not seen."""
_LEAST_OUTWARD = 0.02
_INSIDE_MM, _CLEAR = 0.5, 1e-3
SOFT_SHARE = 0.25
"""Of a soft edge's width: how well a hand finds its middle (own choice)."""
_BEYOND_SHARE = 1 / 200
"""Of the picture's width: how far beyond a surface's edge a mark may be (own choice: half of what is too far off to fit)."""


@dataclass(frozen=True)
class PaneCorner:
    """
    A corner of a pane or of a whole opening.

    origin, axes   panel frame
    place          (2,) along, up [mm]
    middle         (3,) in the middle of the panel's thickness [mm]
    normals        (2, 2) unit, inward, of the two edges that meet
    levels         (2,) of the edges: inside where normal . q >= level [mm]
    depths         (2, 2) of each edge's inner and outer rim [mm]
    """

    origin: np.ndarray
    axes: np.ndarray
    place: np.ndarray
    middle: np.ndarray
    normals: np.ndarray
    levels: np.ndarray
    depths: np.ndarray

    def inside(self, by_mm: float) -> PaneCorner:
        """Return the corner as it would be if its edges stood this much further in. [mm]"""
        return replace(self, levels=self.levels + by_mm)

    def way(self, lamp: np.ndarray) -> np.ndarray:
        """Return the direction (3,), not of unit length, of the light from `lamp` (3,) that just passes both edges."""
        *foot, height = self.axes @ (lamp - self.origin)
        reach = (self.levels - self.normals @ foot)[:, None] * height / (height - self.depths)
        return np.append(np.linalg.solve(self.normals, reach.max(axis=1)), -height) @ self.axes


def pane_corners(panes: list[Aperture]) -> dict[str, PaneCorner]:
    """
    Return the corners of some panes of one opening together, by name as seen from outside; those of one pane are its own.

    A corner is called "lower left", ... where it lies by that corner of the bounding box, "top" where it is the highest point.
    What is round has none.
    """
    found = [corner for pieces in _by_pane(panes) for corner in _sharp(pieces)]
    outline = np.concatenate([pane.outline for pane in panes])
    low, high = outline.min(axis=0), outline.max(axis=0)
    near = _NEAR_BOX * (high - low).min()
    named = {}
    for name, share in _CORNERS.items():
        away = [np.linalg.norm(corner.place - (low + share * (high - low))) for corner in found]
        if found and min(away) < near:
            named[name] = found[int(np.argmin(away))]
    highest = np.unique(outline[outline[:, 1] > high[1] - _LEVEL_MM].round(6), axis=0)
    tops = [corner for corner in found if len(highest) == 1 and np.allclose(corner.place, highest[0], atol=1e-5)]
    return named | ({"top": tops[0]} if tops and not any(tops[0] is corner for corner in named.values()) else {})


def _by_pane(panes: list[Aperture]) -> list[list[Aperture]]:
    groups: dict[tuple, list[Aperture]] = {}
    for pane in panes:
        groups.setdefault((pane.opening, pane.pane), []).append(pane)
    return list(groups.values())


def _sharp(pieces: list[Aperture]) -> list[PaneCorner]:
    """The corners of one pane; one that was cut into convex pieces is put together, and bound by the whole thickness."""
    one = pieces[0]
    outline = one.outline if len(pieces) == 1 else _joined(pieces)
    step = np.roll(outline, -1, axis=0) - outline
    step = step / np.linalg.norm(step, axis=1, keepdims=True)
    normals = np.column_stack([-step[:, 1], step[:, 0]])
    levels = (normals * outline).sum(axis=1)
    depths = one.depths if len(pieces) == 1 else np.tile((0.0, one.thickness), (len(outline), 1))
    before = np.roll(np.arange(len(outline)), 1)
    turn = np.arctan2((normals[before] * step).sum(axis=1), (step[before] * step).sum(axis=1))
    return [
        PaneCorner(one.origin, one.axes, outline[i], one.origin + np.append(outline[i], one.thickness / 2) @ one.axes, normals[both], levels[both], depths[both])
        for i in np.flatnonzero(np.abs(turn) > SHARP)
        for both in ([before[i], i],)
    ]


def _joined(pieces: list[Aperture]) -> np.ndarray:
    whole = shapely.union_all([shapely.Polygon(piece.outline) for piece in pieces], grid_size=1e-6)
    largest = max(shapely.get_parts(whole), key=shapely.area)
    return shapely.get_coordinates(shapely.orient_polygons(shapely.simplify(largest, 1e-4)).exterior)[:-1]


@dataclass(frozen=True)
class Marked:
    """A lit corner in the picture: pane corner, pixel (2,), and where that is in the set (3,), on the plane normal . x = level. [mm]"""

    corner: PaneCorner
    pixel: np.ndarray
    at: np.ndarray
    normal: np.ndarray

    def thrown(self, lamp: np.ndarray) -> np.ndarray:
        """Return where a lamp at `lamp` puts the corner on that plane (3,). [mm]"""
        way = self.corner.way(lamp)
        return lamp + (self.normal @ (self.at - lamp)) / (self.normal @ way) * way


def shading_part(tracer: Tracer, built: BuiltSet, marked: Marked, lamp: np.ndarray) -> str | None:
    """Return the name of what stands between a lamp (3,) and the light just inside a corner, None where nothing does: where something does, no corner of the pane is seen."""
    within = replace(marked, corner=marked.corner.inside(_INSIDE_MM)).thrown(lamp)
    short = within + _CLEAR * (lamp - within)
    hits = tracer.hit(lamp[None], (short - lamp)[None])
    return built.parts[built.part_of[hits.triangle[0]]].name if hits.triangle[0] >= 0 and hits.distance[0] < 1 else None


def seen_on(camera: Camera, pixel, vertices: np.ndarray, triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray] | None:
    """
    Return the point (3,) of some triangles that is seen at a pixel (2,), and the unit normal there. [mm]

    A mark just beyond their edge counts as one on the plane that ends there. None where they are not seen there at all.
    """
    angles = np.arange(8) * np.pi / 4
    ring = np.column_stack([np.cos(angles), np.sin(angles)]) * _BEYOND_SHARE * camera.view.columns
    around = np.asarray(pixel, float) + np.concatenate([np.zeros((1, 2)), ring / 2, ring])
    ways = camera.view.directions(around[:, 0], around[:, 1])
    hits = Tracer(vertices, triangles).hit(np.broadcast_to(camera.view.position, ways.shape), ways)
    found = np.flatnonzero(hits.triangle >= 0)
    if not len(found):
        return None
    a, b, c = vertices[triangles[hits.triangle[found[0]]]]
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal)
    # embree answers in float32; the plane is known better than that.
    away = (normal @ (a - camera.view.position)) / (normal @ ways[0])
    return camera.view.position + away * ways[0], normal


@dataclass(frozen=True)
class Cast:
    """
    A lamp that was found, by its direction from the opening and the inverse of its distance.

    from_opening   (3,) the middle of its pane corners, which distances count from [mm]
    basis          (3, 3) rows: two directions across, and the one towards the lamp
    inverse        of the distance [1/mm]
    covariance     (3, 3) of the tangents across and of the inverse distance
    off            (n, 2) corners as marked less as this lamp throws them [pixel]
    """

    from_opening: np.ndarray
    basis: np.ndarray
    inverse: float
    covariance: np.ndarray
    off: np.ndarray

    @property
    def at(self) -> np.ndarray:
        """(3,) [mm]"""
        return self.from_opening + self.basis[2] / self.inverse

    @property
    def errors_mm(self) -> np.ndarray:
        """(3, 3) covariance of `at`. [mm2]"""
        slopes = self.basis.T / np.array([self.inverse, self.inverse, -(self.inverse**2)])
        return slopes @ self.covariance @ slopes.T

    @property
    def distance_mm(self) -> float:
        """From the opening. [mm]"""
        return 1 / self.inverse

    @property
    def distance_range_mm(self) -> tuple[float, float]:
        """Within which the distance lies 95 of 100 times; the far end may be infinite. [mm]"""
        error = SURELY * float(np.sqrt(self.covariance[2, 2]))
        return 1 / (self.inverse + error), 1 / (self.inverse - error) if self.inverse > error else np.inf

    def at_distance(self, distance_mm: float) -> Cast:
        """Return the lamp if its distance from the opening is known to be this: what is known across then is known better. [mm]"""
        joint = self.covariance[:2, 2] / self.covariance[2, 2]
        across = joint * (1 / distance_mm - self.inverse)
        covariance = np.zeros((3, 3))
        covariance[:2, :2] = self.covariance[:2, :2] - np.outer(joint, self.covariance[2, :2])
        toward = self.basis[2] + across @ self.basis[:2]
        toward /= np.linalg.norm(toward)
        return Cast(self.from_opening, _basis(toward), 1 / distance_mm, covariance, self.off)


def lamp_from(camera: Camera, marked: list[Marked], across_mm: float = 0.0) -> Cast:
    """
    Return the lamp whose light puts pane corners where they are marked.

    Parameters
    ----------
    marked : list of Marked
        At least two.
    across_mm : float
        How large the lamp's face is: the softer an edge, the worse its middle is marked. [mm]
    """
    middle = np.mean([one.corner.middle for one in marked], axis=0)
    pixels = np.array([one.pixel for one in marked])
    start = _nearest_to_lines(marked) - middle
    outward = marked[0].corner.axes[2]
    if start @ outward < _LEAST_OUTWARD * np.linalg.norm(start):
        # Lines that spread: the lamp is as good as endlessly far, the way that they run.
        start = 100 * np.mean([one.corner.middle - one.at for one in marked], axis=0)
    soft = np.zeros(len(marked))
    for _ in range(2):
        sigma = np.repeat(np.hypot(camera.sigma, soft), 2)
        basis, scale = _basis(start / np.linalg.norm(start)), 1 / float(np.linalg.norm(start))

        def off(step):
            lamp = middle + (basis[2] + step[:2] @ basis[:2]) / (step[2] * scale)
            seen = np.array([one.thrown(lamp) for one in marked])
            x, y, _ = camera.view.project(seen)
            return np.nan_to_num(np.column_stack([x, y]) - pixels, nan=_LOST, posinf=_LOST, neginf=-_LOST).ravel() / sigma

        bounds = ([-_WIDEST, -_WIDEST, _FARTHEST], [_WIDEST, _WIDEST, _NEAREST])
        found = least_squares(off, [0.0, 0.0, 1.0], "3-point", bounds=bounds, xtol=1e-14, ftol=1e-14, gtol=1e-14, max_nfev=200)
        start = (basis[2] + found.x[:2] @ basis[:2]) / (found.x[2] * scale)
        soft = SOFT_SHARE * _softness(camera, marked, middle + start, across_mm)
    inverse = float(found.x[2] * scale)
    covariance = _spread(camera, [one.thrown(middle + start) for one in marked], found.jac, found.fun, sigma)
    units = np.array([1.0, 1.0, scale])
    return Cast(middle, _basis(start / np.linalg.norm(start)), inverse, covariance * units * units[:, None], -(found.fun * sigma).reshape(-1, 2))


def _softness(camera: Camera, marked: list[Marked], lamp: np.ndarray, across_mm: float) -> np.ndarray:
    """Return (n,) how wide the soft edge at each corner is, seen squarely: similar triangles through the pane. [pixel]"""
    panes = np.array([one.corner.middle for one in marked])
    at = np.array([one.at for one in marked])
    width = across_mm * np.linalg.norm(at - panes, axis=1) / np.linalg.norm(lamp - panes, axis=1)
    return width * camera.focal_pixels / camera.view.project(at)[2]


def _spread(camera: Camera, at, slopes: np.ndarray, off: np.ndarray, sigma: np.ndarray) -> np.ndarray:
    """
    Return the covariance (3, 3) of a lamp: of how its corners are marked, and of the camera that they are seen by (JCGM 100, 5.2.2; from memory).

    Slopes and what is off are in standard deviations of the marks, which are taken for worse where the corners fit worse.
    """
    free = len(off) - 3
    worse = max(1.0, float(off @ off / free) if free > 0 else 0.0)
    by_camera = camera.slopes(np.array(at)).reshape(-1, 7) / sigma[:, None]
    pixels = by_camera @ camera.covariance @ by_camera.T + worse * np.eye(len(off))
    answer = np.linalg.pinv(slopes)
    return answer @ pixels @ answer.T


def _basis(toward: np.ndarray) -> np.ndarray:
    """Return rows across, across, toward: (3, 3) unit."""
    level = np.cross((0.0, 0.0, 1.0) if abs(toward[2]) < 0.9 else (0.0, 1.0, 0.0), toward)
    level /= np.linalg.norm(level)
    return np.array([level, np.cross(toward, level), toward])


def _nearest_to_lines(marked: list[Marked]) -> np.ndarray:
    """Return the point (3,) nearest to the lines from where corners are lit through the pane corners: least squares of distances. [mm]"""
    on = np.array([one.at for one in marked])
    way = np.array([one.corner.middle for one in marked]) - on
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    across = np.eye(3) - way[:, :, None] * way[:, None, :]
    return np.linalg.lstsq(across.sum(axis=0), np.einsum("nij,nj->i", across, on), rcond=None)[0]
