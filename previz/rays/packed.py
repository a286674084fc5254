"""
The set, the lamps and the air as plain arrays, the form in which compiled loops read them.

Takes apertures, cells and emitters; gives named tuples of contiguous float64 arrays. Decides nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from previz.build.built import Aperture, Cell
from previz.light.lamps import Emitter

POINT, DISC, PANEL = 0, 1, 2
_SHAPES = {"point": POINT, "disc": DISC, "panel": PANEL}


class Cells(NamedTuple):
    """
    Convex pieces of air. [mm]

    planes  (p, 4): inside where planes[:, :3] @ x <= planes[:, 3]
    first   (c + 1,): the planes of cell i are first[i] up to first[i + 1]
    """

    planes: np.ndarray
    first: np.ndarray


class Windows(NamedTuple):
    """
    Apertures, grouped by the panel they are cut in, and by the depth of their bars' inner rims, so that a ray is turned
    into each panel's frame once. Light that passes a pane passes within its box at the group's rim depth.

    origin, axes, thickness  (w, 3), (w, 3, 3), (w,): the panel frames [mm]
    rim                      (w,): the deepest inner rim of each group's edges [mm]
    wall_box                 (w, 4): lowest along, lowest up, highest along, highest up of the panel's apertures
    wall_first               (w + 1,): the apertures of panel i
    box                      (a, 4): the same of each aperture
    edge_first               (a + 1,): the edges of aperture i
    edges                    (e, 5): n_along, n_up, c, inner depth, outer depth
    corner                   (e, 3): the outline's corner at which each edge begins, in the set, at the group's rim depth [mm]
    transmittance            (a,): at normal incidence; less than 1 is a pane of glass
    wall_of                  (a,): the panel of each aperture
    tint_of                  (a,): the row of `tints` that each aperture has
    tints                    (t, 3): transmittance per colour, the first clear
    """

    origin: np.ndarray
    axes: np.ndarray
    thickness: np.ndarray
    rim: np.ndarray
    wall_box: np.ndarray
    wall_first: np.ndarray
    box: np.ndarray
    edge_first: np.ndarray
    edges: np.ndarray
    corner: np.ndarray
    transmittance: np.ndarray
    wall_of: np.ndarray
    tint_of: np.ndarray
    tints: np.ndarray


class Lamps(NamedTuple):
    """
    Emitting faces.

    centre, normal, half_u, half_v  (l, 3) [mm]
    exponent                        (l,): intensity falls as cos^exponent
    lambertian                      (l,) bool: an even face, exponent 1
    table                           (t,): intensity by direction of the lamps that have it measured, row after row of `Distribution.candela`
    begins, rows, columns           (l,): where a lamp's table begins, and its size; no rows for a lamp that falls as a cosine
    first, second                   (l, 3): unit vectors across the axis that a table's columns turn from, and towards
    shape                           (l,): POINT, DISC or PANEL
    inside                          (l,) bool: stands in a room's air, so its light needs no aperture
    """

    centre: np.ndarray
    normal: np.ndarray
    half_u: np.ndarray
    half_v: np.ndarray
    exponent: np.ndarray
    lambertian: np.ndarray
    table: np.ndarray
    begins: np.ndarray
    rows: np.ndarray
    columns: np.ndarray
    first: np.ndarray
    second: np.ndarray
    shape: np.ndarray
    inside: np.ndarray


def pack_cells(cells: tuple[Cell, ...]) -> Cells:
    """Return `cells` as arrays."""
    planes = [np.asarray(cell.planes, dtype=np.float64).reshape(-1, 4) for cell in cells]
    return Cells(np.ascontiguousarray(np.concatenate(planes)) if planes else np.zeros((0, 4)), _offsets(planes))


def entries(apertures: tuple[Aperture, ...], rooms: Cells) -> tuple[Aperture, ...]:
    """
    Return the apertures that light comes in by straight: their outer side lies in no room's air, and nothing stops it.

    Doorways between rooms are no way in, nor are panes of no transmittance or behind tracing paper.
    """
    apertures = tuple(a for a in apertures if a.transmittance > 0)
    if not apertures:
        return ()
    outer = [a.origin + np.array([*a.outline.mean(axis=0), a.thickness + 0.5]) @ a.axes for a in apertures]
    indoors = in_cells(np.array(outer), rooms)
    return tuple(a for a, inside in zip(apertures, indoors) if not inside)


def pack_windows(apertures: tuple[Aperture, ...], tints=()) -> Windows:
    """Return `apertures` as arrays, grouped by panel frame; `tints` (t, 3) are counted first, whether any of them has them or not."""
    walls: dict[bytes, list[Aperture]] = {}
    for aperture in apertures:
        frame = np.concatenate([aperture.origin, np.ravel(aperture.axes), [aperture.thickness, _rim(aperture)]])
        walls.setdefault(frame.astype(np.float64).tobytes(), []).append(aperture)
    groups = list(walls.values())
    flat = [aperture for group in groups for aperture in group]
    box = np.array([[*a.outline.min(axis=0), *a.outline.max(axis=0)] for a in flat]).reshape(-1, 4)
    first = _offsets(groups)
    edges = [np.column_stack([a.edges, a.depths]) for a in flat]
    tints = list(dict.fromkeys([(1.0, 1.0, 1.0), *(tuple(map(float, tint)) for tint in tints), *(a.tint for a in flat)]))
    return Windows(
        origin=np.array([g[0].origin for g in groups], dtype=np.float64).reshape(-1, 3),
        axes=np.array([g[0].axes for g in groups], dtype=np.float64).reshape(-1, 3, 3),
        thickness=np.array([g[0].thickness for g in groups], dtype=np.float64),
        rim=np.array([_rim(g[0]) for g in groups], dtype=np.float64),
        wall_box=np.array(
            [[*box[a:b, :2].min(axis=0), *box[a:b, 2:].max(axis=0)] for a, b in zip(first[:-1], first[1:])]
        ).reshape(-1, 4),
        wall_first=first,
        box=box,
        edge_first=_offsets(edges),
        edges=np.ascontiguousarray(np.concatenate(edges)) if edges else np.zeros((0, 5)),
        corner=np.concatenate([np.zeros((0, 3)), *(_corners(a) for a in flat)]),
        transmittance=np.array([a.transmittance for a in flat], dtype=np.float64),
        wall_of=np.repeat(np.arange(len(groups)), np.diff(first)),
        tint_of=np.array([tints.index(a.tint) for a in flat], dtype=np.int64),
        tints=np.array(tints),
    )


def pack_lamps(emitters: tuple[Emitter, ...], rooms: Cells) -> Lamps:
    """Return `emitters` as arrays; `rooms` tells which of them stand inside."""
    rows = np.array([[e.centre, e.normal, e.half_u, e.half_v] for e in emitters], dtype=np.float64).reshape(-1, 4, 3)
    centre = np.ascontiguousarray(rows[:, 0])
    # Whole exponents come out of logarithms a rounding apart; a Lambertian face must be exactly 1 to take the short way.
    exponent = np.round([float(e.exponent) for e in emitters], 12)
    tables = [np.zeros((0, 0)) if e.spread is None else e.spread.candela for e in emitters]
    first = np.array([e.first for e in emitters], dtype=np.float64).reshape(-1, 3)
    return Lamps(
        centre,
        *(np.ascontiguousarray(rows[:, i]) for i in (1, 2, 3)),
        exponent=exponent,
        lambertian=(exponent == 1.0) & np.array([e.spread is None for e in emitters], dtype=bool),
        table=np.concatenate([np.zeros(0), *(table.ravel() for table in tables)]),
        begins=np.concatenate([[0], np.cumsum([table.size for table in tables])]).astype(np.int64)[:-1],
        rows=np.array([table.shape[0] for table in tables], dtype=np.int64),
        columns=np.array([table.shape[1] for table in tables], dtype=np.int64),
        first=first,
        second=np.ascontiguousarray(np.cross(first, rows[:, 1])),
        shape=np.array([_SHAPES[e.shape] for e in emitters], dtype=np.int64),
        inside=in_cells(centre, rooms),
    )


def face_corners(lamps: Lamps) -> np.ndarray:
    """Return (l, 4, 3): corners of the parallelogram that holds each lamp's face. [mm]"""
    signs = np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]], dtype=float)
    return lamps.centre[:, None] + signs[:, :1] * lamps.half_u[:, None] + signs[:, 1:] * lamps.half_v[:, None]


def in_cells(points: np.ndarray, cells: Cells) -> np.ndarray:
    """Return (n,) bool: True where `points` (n, 3) lie in one of `cells`. [mm]"""
    outside = points @ cells.planes[:, :3].T > cells.planes[:, 3]
    inside = np.zeros(len(points), dtype=bool)
    for low, high in zip(cells.first[:-1], cells.first[1:]):
        inside |= ~outside[:, low:high].any(axis=1)
    return inside


def _corners(aperture: Aperture) -> np.ndarray:
    depth = np.full((len(aperture.outline), 1), _rim(aperture))
    return aperture.origin + np.hstack([aperture.outline, depth]) @ aperture.axes


def _rim(aperture: Aperture) -> float:
    return float(np.max(aperture.depths[:, 0]))


def _offsets(groups: list) -> np.ndarray:
    return np.concatenate([[0], np.cumsum([len(group) for group in groups])]).astype(np.int64)
