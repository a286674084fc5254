"""
Readings of a meter that set a lamp's level: how much more light there is than the file says.

Takes a set lit in clear air; gives each measured lamp's factor and what is left over. A reading is the illuminance on a flat
meter (a phone's or an incident one with its dome off), by this lamp alone, its bounce from the set included.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from previz.light.colour import LUMINANCE_WEIGHTS
from previz.rays.kernels import lamp_points
from previz.rays.papers import lamp_of
from previz.rays.texels import add_smoothly

_RAYS, _POINTS_ON_LAMP, _DIRECT_SAMPLES = 4096, 4, 1024


@dataclass(frozen=True)
class Calibration:
    """
    What the readings of one lamp say.

    lamp        its name
    factor      its light over what the file says: the least squares in stops, 1 where no reading sees the lamp [1]
    at_mm       (k, 3) where the readings were taken [mm]
    lux         (k,) as read [lux]
    computed    (k,) what the set should give there at the level of the file [lux]
    """

    lamp: str
    factor: float
    at_mm: np.ndarray
    lux: np.ndarray
    computed: np.ndarray

    @property
    def residual_stops(self) -> np.ndarray:
        """(k,) by how much each reading lies over what the lamp gives there now; nan where none of its light should be. [stops]"""
        seen = self.computed > 0
        return np.where(seen, np.log2(self.lux / np.where(seen, self.factor * self.computed, 1.0)), np.nan)


def calibrations(lit) -> tuple[Calibration, ...]:
    """
    Return a calibration for each lamp of `lit`, a LitSet in clear air, that has readings.

    Notes
    -----
    A light meter errs by a share of what it reads, so the factor is the geometric mean of read over computed.
    """
    found = []
    for lamp in lit.scene.lamp:
        if lamp.measured:
            at = np.array([reading.at for reading in lamp.measured], dtype=float)
            computed = _computed(lit, lamp.name, at, _facing(lamp, at))
            lux = np.array([reading.lux for reading in lamp.measured])
            seen = computed > 0
            factor = float(np.exp(np.log(lux[seen] / computed[seen]).mean())) if seen.any() else 1.0
            found.append(Calibration(lamp.name, factor, at, lux, computed))
    return tuple(found)


def _facing(lamp, at: np.ndarray) -> np.ndarray:
    """The (k, 3) unit directions that the meter looks in: towards the lamp, or towards what the reading says."""
    towards = np.array([lamp.at if reading.facing is None else reading.facing for reading in lamp.measured], dtype=float) - at
    return towards / np.linalg.norm(towards, axis=1, keepdims=True)


def _computed(lit, lamp: str, at: np.ndarray, facing: np.ndarray) -> np.ndarray:
    """The (k,) illuminance by one lamp, straight, through tracing paper and from all surfaces around. [lux]"""
    own = np.array([lamp_of(emitter) == lamp for emitter in lit.emitters])
    alone = lit.candela * own[:, None]
    bounced = np.ascontiguousarray(lit.bounced_by(alone)[0])
    straight = lit.illuminance(at, facing, samples=_DIRECT_SAMPLES)[:, own].sum(axis=1)
    return straight + np.array([_from_surfaces(lit, alone, bounced, a, f) for a, f in zip(at, facing)])


def _from_surfaces(lit, candela: np.ndarray, bounced: np.ndarray, at: np.ndarray, facing: np.ndarray) -> float:
    """The illuminance at one place by the surfaces that it sees: pi times the mean luminance of directions spread as the cosine. [lux]"""
    directions = _cosine_spread(facing)
    hits = lit.tracer.hit(np.tile(at, (len(directions), 1)), directions)
    found = np.flatnonzero(hits.triangle >= 0)
    if not len(found):
        return 0.0
    normal = hits.normal[found].astype(float)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    normal *= -np.sign(np.sum(normal * directions[found], axis=1, keepdims=True))
    points = at + hits.distance[found, None].astype(float) * directions[found]
    on_lamps = lamp_points(lit.lamps, 1, _POINTS_ON_LAMP)
    arriving = lit.direct(points, normal, np.zeros(len(found), np.int64), on_lamps, extinction_per_m=0.0) @ lit.behind_tints(candela)
    add_smoothly(lit.texels.lookup, bounced, hits.triangle[found], hits.u[found], hits.v[found], points, normal, arriving)
    reflectance = np.array([lit.built.reflectance[f.finish] for f in lit.built.faces])[lit.built.face_of[hits.triangle[found]]]
    return float((arriving * reflectance @ LUMINANCE_WEIGHTS).sum() / len(directions))


def _cosine_spread(facing: np.ndarray) -> np.ndarray:
    """Directions (_RAYS, 3) about `facing`, as many to each solid angle as the cosine says: a sunflower on the disc below (H. Vogel, 1979; from memory)."""
    k = np.arange(_RAYS) + 0.5
    radius, turn = np.sqrt(k / _RAYS), np.pi * (1 + 5**0.5) * k
    side = np.cross(facing, np.eye(3)[np.argmin(np.abs(facing))])
    side /= np.linalg.norm(side)
    across = radius * np.cos(turn), radius * np.sin(turn), np.sqrt(1 - radius**2)
    return across[0][:, None] * side + across[1][:, None] * np.cross(facing, side) + across[2][:, None] * facing
