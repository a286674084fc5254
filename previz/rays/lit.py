"""
The lit set: a built set with its lamps and its air, and all light in it that does not depend on the camera.

`light_set` bakes once: texels, transport, direct light on texels, bounce light. `relit` changes lamps or haze and keeps
the transport: no hemisphere ray is cast again. Pictures, patches and exposure read the result.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from previz.build.built import BuiltSet
from previz.haze.medium import Medium, medium_at
from previz.haze.scaling import Scaled, Trimmed, scaled, trimmed
from previz.light.colour import LUMINANCE_WEIGHTS
from previz.light.lamps import Emitter, emitters
from previz.rays.bounce import Bounced, Weights, bounced, weights
from previz.rays.direct import direct_light, may_be_lit
from previz.rays.kernels import lamp_points
from previz.rays.packed import Cells, Lamps, Windows, entries, pack_cells, pack_lamps, pack_windows
from previz.rays.papers import glowing, lamp_of, paper_glows, without_papers
from previz.rays.readings import Calibration, calibrations
from previz.rays.texels import PATTERNS, Texels, divide
from previz.rays.tracer import Tracer
from previz.rays.transport import Transport, haze_grid, transport
from previz.rays.uneven import Uneven
from previz.rays.workers import in_order
from previz.scene.model import Scene

TEXELS = 60_000
RAYS = 128
HAZE_CELLS_ACROSS = 16
_TEXEL_SAMPLES = 8
_CELL_SAMPLES = 24
_POINTS_A_BATCH = 8192


@dataclass(frozen=True)
class LitSet:
    """
    A set with light in it.

    scene, built       what was built, and from what
    tracer             rays against it
    emitters, medium   lamps, and after them what tracing paper sends on of their light; air
    rooms, air         the rooms' air and the haze as packed cells
    closed_form        True where all haze lies in rooms whose every way in is a known aperture
    windows, lamps     apertures and emitters, packed
    texels, transport  surfaces in patches, and what each sees
    weight             the transport at this haze density
    bounce             bounced light of each lamp, behind each tint, per candela
    calibrations       of the lamps that a meter's readings set
    lift_mm            height of the lift that the lamps stand with [mm]
    kept               this set in other light, as `lit_at_roll` keeps it; begins empty in every set
    uneven             swirls of the haze at one moment; None for even haze, which is their mean
    """

    scene: Scene
    built: BuiltSet
    tracer: Tracer
    emitters: tuple[Emitter, ...]
    medium: Medium
    rooms: Cells
    air: Cells
    closed_form: bool
    windows: Windows
    lamps: Lamps
    texels: Texels
    transport: Transport
    weight: Weights
    bounce: Bounced
    workers: int | None
    calibrations: tuple[Calibration, ...] = ()
    lift_mm: float = 0.0
    kept: dict = field(default_factory=dict, init=False, repr=False, compare=False)
    uneven: Uneven | None = None

    @property
    def candela(self) -> np.ndarray:
        """(lamps, 3) linear RGB intensity on each lamp's axis. [cd]"""
        return np.array([e.candela for e in self.emitters], dtype=np.float64).reshape(-1, 3)

    def behind_tints(self, candela: np.ndarray) -> np.ndarray:
        """Return (tints * lamps, 3), lamps of `candela` (lamps, 3) as they look behind each tint: all lamps through clear panes and straight first. [cd]"""
        return (self.windows.tints[:, None] * candela).reshape(-1, 3)

    @property
    def bounce_colour(self) -> tuple[np.ndarray, np.ndarray]:
        """Bounced light of all lamps as they are, as `bounced_by` gives it."""
        return self.bounced_by(self.candela)

    def bounced_by(self, candela: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return the bounced light of lamps of `candela` (lamps, 3) [cd]: (n, 3) illuminance on texels [lux], (3, cells, k) luminance that comes to haze cells along their rays [cd/m2]."""
        candela = self.behind_tints(candela).astype(np.float32)
        texel = np.einsum("lnc,lc->nc", self.bounce.texel[..., :3], candela)
        cell = self.bounce.cell
        colours = [(candela[:, c] @ cell[:, c].reshape(len(cell), -1)).reshape(cell.shape[2:]) for c in range(3)]
        return texel, np.array(colours, np.float32)

    @property
    def scaled(self) -> Scaled:
        """The air for light that has scattered more than once."""
        return scaled(self.medium)

    @property
    def trimmed(self) -> Trimmed:
        """The air for light straight from lamps, and for light on its last way to the lens."""
        return trimmed(self.medium)

    def glowing(self, candela: np.ndarray) -> np.ndarray | None:
        """Return the luminance (faces, 3) of faces that glow when lamps have `candela` (lamps, 3); None where none does. [cd] -> [cd/m2]"""
        return glowing(self.emitters, candela, self.built.faces)

    def direct(self, points, normals, group, on_lamps, *, extinction_per_m: float) -> np.ndarray:
        """Return (n, tints * lamps) direct illuminance per candela on this thread; see `direct_light`."""
        return direct_light(
            self.tracer, self.rooms, self.air, self.closed_form, self.windows, self.lamps, points, normals, group, on_lamps,
            extinction_per_m=extinction_per_m,
        )  # fmt: skip

    def illuminance(self, points: np.ndarray, normals: np.ndarray, samples: int = 256) -> np.ndarray:
        """
        Return the illuminance straight from each lamp, its whole face, through the haze.

        Parameters
        ----------
        points, normals : (n, 3) float arrays
            On surfaces; unit normals. [mm], [1]
        samples : int
            Points on the face of each lamp.

        Returns
        -------
        (n, lamps) float array
            [lux]
        """
        points, normals = np.asarray(points, float).reshape(-1, 3), np.asarray(normals, float).reshape(-1, 3)
        luminous = self.behind_tints(self.candela) @ LUMINANCE_WEIGHTS
        on_lamps = lamp_points(self.lamps, 1, samples)
        size = max(1, _POINTS_A_BATCH // samples)

        def batch(a: int) -> np.ndarray:
            part = points[a : a + size]
            return self.direct(part, normals[a : a + size], np.zeros(len(part), np.int64), on_lamps, extinction_per_m=self.medium.extinction_per_m)

        parts = list(in_order(batch, list(range(0, len(points), size)), self.workers))
        behind_tints = np.concatenate(parts) * luminous if parts else np.zeros((0, len(luminous)))
        return behind_tints.reshape(len(points), -1, len(self.emitters)).sum(axis=1)


def light_set(
    scene: Scene, built: BuiltSet, *, after_spray_s: float = 0.0, texels: int = TEXELS, rays: int = RAYS, seen: Transport | None = None,
    workers: int | None = None, progress: Callable[[float], None] | None = None,
) -> LitSet:  # fmt: skip
    """
    Return `built` lit by the lamps of `scene`, bounce light included.

    Parameters
    ----------
    after_spray_s : float
        Seconds between the spray and now. [s]
    texels, rays : int
        About how many patches of surface, and how many rays from each.
    seen : Transport or None
        Of this very geometry, texels and rays, from an earlier run; None casts the rays.
    progress : callable or None
        Called with the share of the work done, 0 to 1.
    """
    tracer, medium, air, divided, grid = _to_cast(scene, built, after_spray_s, texels)
    rooms = pack_cells(built.cells)
    seen = seen or transport(tracer, divided, air, grid, rays, workers=workers, progress=progress)
    lamps = emitters(scene, built)
    unlit = LitSet(
        scene=scene, built=built, tracer=tracer, emitters=lamps, medium=medium, rooms=rooms, air=air,
        closed_form=bool(built.apertures) and scene.haze.fills == "rooms", windows=pack_windows(entries(built.apertures, rooms)),
        lamps=pack_lamps(lamps, rooms), texels=divided, transport=seen,
        weight=weights(seen, scaled(medium), trimmed(medium)), bounce=None, workers=workers,
    )  # fmt: skip
    unlit = _papered(unlit)
    return _calibrated(replace(unlit, bounce=_bounce(unlit)))


def transport_of(scene: Scene, built: BuiltSet, *, texels: int = TEXELS, rays: int = RAYS, workers: int | None = None, progress: Callable[[float], None] | None = None) -> Transport:
    """Return the transport of `built` alone, for `light_set` to take as `seen`; arguments as there."""
    tracer, _, air, divided, grid = _to_cast(scene, built, 0.0, texels)
    return transport(tracer, divided, air, grid, rays, workers=workers, progress=progress)


def _to_cast(scene: Scene, built: BuiltSet, after_spray_s: float, texels: int):
    """Return what hemisphere rays are cast against, from and through: tracer, medium, its packed cells, texels, grid of haze cells."""
    medium = medium_at(scene, built, after_spray_s)
    air = pack_cells(medium.cells)
    return Tracer(built.vertices, built.triangles), medium, air, divide(built, texels), haze_grid(air, _bounds_of(air, built), HAZE_CELLS_ACROSS)


def relit(lit: LitSet, *, lamps: tuple[Emitter, ...] | None = None, medium: Medium | None = None) -> LitSet:
    """
    Return `lit` with other lamps or other haze in the same cells; the transport is kept, no hemisphere ray is cast. The haze is even.

    Raises
    ------
    ValueError
        If `medium` fills other cells than before: that is another geometry.
    """
    changed = {"uneven": None}
    if lamps is not None:
        changed |= {"emitters": lamps, "lamps": pack_lamps(lamps, lit.rooms)}
    if medium is not None:
        if len(medium.cells) != len(lit.medium.cells):
            raise ValueError("the haze fills other cells than those the set was lit with")
        changed |= {"medium": medium, "weight": weights(lit.transport, scaled(medium), trimmed(medium))}
    fresh = _papered(replace(lit, **changed))
    return replace(fresh, bounce=_bounce(fresh))


def relit_as(lit: LitSet, scene: Scene, after_spray_s: float = 0.0) -> LitSet:
    """
    Return `lit` with the lamps and the haze of another scene of the same set, the haze so long after the spray; the transport is kept. [s]

    Lamps keep the level that a meter's readings have set.
    """
    factor = {one.lamp: one.factor for one in lit.calibrations}
    lamps = tuple(replace(e, candela=e.candela * factor.get(e.name, 1.0)) for e in emitters(scene, lit.built))
    return relit(replace(lit, scene=scene, lift_mm=0.0), lamps=lamps, medium=medium_at(scene, lit.built, after_spray_s))


def lit_anew(lit: LitSet, scene: Scene) -> LitSet:
    """
    Return `lit` with the lamps and the fresh haze of another scene of the same set, as `light_set` would light it; the transport is kept.

    Lamps that the scene gives readings of are set by these, not by what set them before.
    """
    fresh = replace(lit, scene=scene, lift_mm=0.0, calibrations=())
    return _calibrated(relit(fresh, lamps=emitters(scene, lit.built), medium=medium_at(scene, lit.built, 0.0)))


def _calibrated(lit: LitSet) -> LitSet:
    """Set the level of lamps that were measured, in clear air; light goes with the level, so nothing else is done again."""
    if not any(lamp.measured for lamp in lit.scene.lamp):
        return lit
    found = calibrations(relit(lit, medium=replace(lit.medium, extinction_per_m=0.0)))
    factor = {one.lamp: one.factor for one in found}
    lamps = tuple(replace(e, candela=e.candela * factor.get(lamp_of(e), 1.0)) for e in lit.emitters)
    return replace(lit, emitters=lamps, calibrations=found)


def _papered(lit: LitSet) -> LitSet:
    """Return `lit` with what tracing paper sends into its rooms as further lamps, after those of the scene."""
    if not lit.built.papers:
        return lit
    lamps = without_papers(lit.emitters)
    alone = replace(lit, emitters=lamps, lamps=pack_lamps(lamps, lit.rooms))
    on_lamps = lamp_points(alone.lamps, PATTERNS, 4)

    def falling(points: np.ndarray, normals: np.ndarray) -> np.ndarray:
        light = alone.direct(points, normals, np.arange(len(points)) % PATTERNS, on_lamps, extinction_per_m=lit.trimmed.extinction_per_m)
        return light.reshape(len(points), -1, len(lamps)).sum(axis=1)

    everything = (*lamps, *paper_glows(lit.built.papers, lamps, falling))
    return replace(lit, emitters=everything, lamps=pack_lamps(everything, lit.rooms))


def _bounce(lit: LitSet) -> Bounced:
    """Light texels and haze cells directly, then let the light bounce; white lamps of one candela, so colour and level stay factors."""
    direct = _on_texels(lit)
    heading = np.tile(_headings(lit), (len(lit.windows.tints), 1, 1))
    return bounced(lit.texels, lit.transport, lit.weight, direct, _through_cells(lit), heading, workers=lit.workers)


def _on_texels(lit: LitSet) -> np.ndarray:
    """(n, tints * lamps): mean direct illuminance over each texel, from points spread over it. [1/m2]"""
    texels = lit.texels
    usable = np.flatnonzero(lit.transport.valid[: len(texels.position)] & _reachable(lit, texels.position, texels.side))
    spread = _spread(_TEXEL_SAMPLES, 2) - 0.5
    on_lamps = _one_each(lit, PATTERNS * _TEXEL_SAMPLES)
    result = np.zeros((len(texels.position), len(lit.emitters) * len(lit.windows.tints)))

    def batch(rows: np.ndarray) -> np.ndarray:
        points = (
            texels.position[rows, None] + spread[:, :1] * texels.across[rows, None] + spread[:, 1:] * texels.upward[rows, None]
        ).reshape(-1, 3)
        normals = np.repeat(texels.normal[rows], _TEXEL_SAMPLES, axis=0)
        group = (texels.pattern[rows, None] * _TEXEL_SAMPLES + np.arange(_TEXEL_SAMPLES)).ravel()
        light = lit.direct(points, normals, group, on_lamps, extinction_per_m=lit.trimmed.extinction_per_m)
        return light.reshape(len(rows), _TEXEL_SAMPLES, -1).mean(axis=1)

    _fill(result, batch, usable, lit.workers)
    return result


def _reachable(lit: LitSet, points: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Return (n,) bool: False where no lamp can shine on anything within half of `size` (n,) around `points`. [mm]"""
    if not lit.closed_form:
        return np.ones(len(points), dtype=bool)
    return may_be_lit(lit.rooms, lit.windows, lit.lamps, points, size / 2)


def _through_cells(lit: LitSet) -> np.ndarray:
    """(cells, tints * lamps): mean spherical illuminance in each haze cell straight from the lamps. [1/m2]"""
    grid = lit.transport.grid
    usable = np.flatnonzero(lit.transport.valid[lit.transport.texels :] & _reachable(lit, grid.centre, np.full(len(grid.centre), np.linalg.norm(grid.step))))
    spread = (_spread(_CELL_SAMPLES, 3) - 0.5) * grid.step
    on_lamps = _one_each(lit, _CELL_SAMPLES)
    result = np.zeros((len(grid.centre), len(lit.emitters) * len(lit.windows.tints)))

    def batch(rows: np.ndarray) -> np.ndarray:
        points = (grid.centre[rows, None] + spread).reshape(-1, 3)
        group = np.tile(np.arange(_CELL_SAMPLES), len(rows))
        light = lit.direct(points, np.zeros_like(points), group, on_lamps, extinction_per_m=lit.trimmed.extinction_per_m)
        return light.reshape(len(rows), _CELL_SAMPLES, -1).mean(axis=1)

    _fill(result, batch, usable, lit.workers)
    return result


def _one_each(lit: LitSet, groups: int) -> np.ndarray:
    """(lamps, groups, 1, 3): one point on each lamp for each group, spread evenly over the groups. [mm]"""
    return np.ascontiguousarray(lamp_points(lit.lamps, 1, groups).swapaxes(1, 2))


def _headings(lit: LitSet) -> np.ndarray:
    """(lamps, cells, 3): unit direction in which each lamp's light passes each haze cell."""
    travel = lit.transport.grid.centre - lit.lamps.centre[:, None]
    return travel / np.maximum(np.linalg.norm(travel, axis=2, keepdims=True), 1e-9)


def _fill(result: np.ndarray, batch: Callable, rows: np.ndarray, workers: int | None) -> None:
    pieces = [rows[a : a + 1024] for a in range(0, len(rows), 1024)]
    for piece, light in zip(pieces, in_order(batch, pieces, workers)):
        result[piece] = light


def _spread(count: int, dimensions: int) -> np.ndarray:
    """Return (count, dimensions) points spread evenly in the unit cube (additive recurrence; see `kernels`)."""
    phi = {2: 1.32471795724474602596, 3: 1.22074408460575947536}[dimensions]
    steps = (1 / phi) ** np.arange(1, dimensions + 1)
    return (0.5 + np.arange(count)[:, None] * steps) % 1.0


def _bounds_of(air: Cells, built: BuiltSet) -> np.ndarray:
    """(2, 3): a box around the haze, from those of its planes that face along an axis, else from the set. [mm]"""
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for plane in air.planes:
        axis = int(np.argmax(np.abs(plane[:3])))
        if plane[axis] > 0.999999:
            high[axis] = max(high[axis], plane[3])
        elif plane[axis] < -0.999999:
            low[axis] = min(low[axis], -plane[3])
    return np.array([np.where(np.isfinite(low), low, built.bounds[0]), np.where(np.isfinite(high), high, built.bounds[1])])
