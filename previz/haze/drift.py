"""
Uneven haze: swirls of thicker and thinner air, carried about by a slow flow.

Takes what the scene says of them, the box that the haze fills and the seconds since the spray; gives the density on a grid, as a
multiple of the mean. A pure function: the same moment has the same swirls, whoever asks and in whatever order. Knows nothing of
rays, lamps or frames.

contrast   standard deviation of the density over its mean [1]
size       of a swirl: half the wavelength that counts most [mm]
drift      speed of the air, root mean square over the haze, in real time [mm/s]

How it is made:

- The flow is a sum of waves that sway across the way they run (each is the curl of a wave), so it has no sources and no sinks, as
  haze in a closed room has none.
- The haze in it is a smooth field of waves in all directions and of many lengths, so that no pattern comes back. Carried along for
  ever it would be drawn out into threads finer than any grid. So there are two such fields at any time. Each lives two times
  size / drift, is plain in the middle of its life and is traced from there along the flow, and comes and goes as a sine: their
  squares add up to one, nothing pops, and the swirls change their shapes as they go.
- The sum is put through an exponential: density stays positive, with thin wisps before a thinner ground. Its mean over the haze is
  one at every moment and its deviation is that asked for.

The flow does not stop at walls and props: it carries swirls in from where the room ends, as if the room went on.

References
----------
R. Bridson, J. Hourihan and M. Nordenstam, "Curl-noise for procedural fluid flow", ACM Trans. Graphics 26(3), 46 (2007): a velocity that
is the curl of a noise is free of divergence (abstract seen). R. H. Kraichnan, "Diffusion by a random velocity field", Phys. Fluids
13, 22 (1970), for the flow as a sum of random transverse waves (from memory). The two fields and their weights are our own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from previz.build.built import Cell
from previz.scene.model import Swirls
from previz.scene.swirling import smallest_size

NODES_A_SWIRL = 5
"""Nodes of the grid across a swirl: straight lines between them lose a twentieth of the contrast (own choice)."""

_FLOW_WAVES, _HAZE_WAVES = 24, 56
_FLOW_RANGE, _HAZE_RANGE = (0.4, 0.9), (0.55, 1.7)
"""Wave numbers, times pi / size: the flow is wider than the swirls that it carries (own choice)."""

_TRACED_A_SWIRL = 3
"""Nodes across a swirl that are traced along the flow: 0.4 % of the deviation away from tracing all, in a quarter of the time (own choice)."""

_SWAY = 0.5
"""How fast a wave of the flow runs, as a share of the drift: the flow itself changes over a few swirls' way (own choice)."""

_BATCH = 1024
"""So few that a product of matrices is not shared out between threads, which under load waits far longer than it works."""


@dataclass(frozen=True, eq=False)
class Density:
    """
    The density of the haze over its mean, at one moment.

    values     (columns, rows, layers) float32, each at the middle of its piece of the box; straight lines in between; 1 where no haze is [1]
    low, step  (3,) the box's lowest corner, and the size of a piece [mm]
    """

    values: np.ndarray
    low: np.ndarray
    step: np.ndarray


@dataclass(frozen=True, eq=False)
class _Waves:
    """
    A sum of cosines.

    number     (w, 3) wave vectors [1/mm]
    phase      (w,) [rad]
    pace       (w,) how fast the phase runs [rad/s]
    amplitude  (parts, w): (3, w) of a velocity, (1, w) of a field
    """

    number: np.ndarray
    phase: np.ndarray
    pace: np.ndarray
    amplitude: np.ndarray

    def at(self, points: np.ndarray, when_s: float) -> np.ndarray:
        """Return the sum at points (3, n) [mm], (parts, n), in the precision of the points."""
        number, amplitude = self.number.astype(points.dtype), self.amplitude.astype(points.dtype)
        phase = (self.phase + self.pace * when_s).astype(points.dtype)[:, None]
        total = np.empty((len(amplitude), points.shape[1]), points.dtype)
        for a in range(0, points.shape[1], _BATCH):
            angle = number @ points[:, a : a + _BATCH]
            angle += phase
            total[:, a : a + _BATCH] = amplitude @ np.cos(angle, out=angle)
        return total


@dataclass(frozen=True, eq=False)
class Flow:
    """The air's motion: waves, and the places at which its speed is set."""

    waves: _Waves
    drift: float
    places: np.ndarray

    def velocity(self, points: np.ndarray, when_s: float) -> np.ndarray:
        """Return the velocity of the air at points (3, n) [mm], `when_s` seconds after the spray: (3, n). [mm/s]"""
        return self.waves.at(points, when_s) * points.dtype.type(self._level(when_s))

    def traced(self, points: np.ndarray, start_s: float, end_s: float, steps: int = 2) -> np.ndarray:
        """Return where air that is at `points` (3, n) at one moment is at another: Runge-Kutta of fourth order. [mm], [s]"""
        h = (end_s - start_s) / steps
        half, whole, sixth = (points.dtype.type(share * h) for share in (0.5, 1.0, 1 / 6))
        for k in range(steps):
            t = start_s + k * h
            one = self.velocity(points, t)
            two = self.velocity(points + half * one, t + h / 2)
            three = self.velocity(points + half * two, t + h / 2)
            points = points + sixth * (one + 2 * two + 2 * three + self.velocity(points + whole * three, t + h))
        return points

    def _level(self, when_s: float) -> float:
        """What makes the speed over the box the drift: the same everywhere, so that no source appears."""
        return self.drift / float(np.sqrt(np.mean(np.sum(self.waves.at(self.places, when_s) ** 2, axis=0))))


def swirls_at(swirls: Swirls, seed: int, cells: tuple[Cell, ...], box: np.ndarray, after_spray_s: float) -> Density:
    """
    Return the density of uneven haze at one moment.

    Parameters
    ----------
    swirls : Swirls
        The scene's `haze.uneven`.
    seed : int
        The scene's.
    cells : tuple of Cell
        Where the haze is: there its mean is 1.
    box : (2, 3) float array
        Around the cells. [mm]
    after_spray_s : float
        [s]
    """
    low, extent = np.asarray(box[0], float), np.asarray(box[1] - box[0], float)
    finest = max(swirls.size, smallest_size(float(extent.max()))) / NODES_A_SWIRL
    shape = np.maximum(np.ceil(extent / finest).astype(int), 2)
    step = extent / shape
    axes = [low[axis] + (np.arange(shape[axis]) + 0.5) * step[axis] for axis in range(3)]
    points = _nodes(axes).T
    inside, near = _within(cells, points, 0.0), _within(cells, points, float(np.linalg.norm(step)))
    values = np.ones(tuple(shape), np.float32)
    if near.any():
        level = _level(swirls, seed, np.asarray(box, float), axes, near, after_spray_s)
        values.ravel()[near] = _spread(level, inside[near], swirls.contrast)
    return Density(values, low, step)


def life_s(swirls: Swirls) -> float:
    """Return half the life of a field of swirls: the time in which the air goes as far as a swirl is wide. [s]"""
    return swirls.size / swirls.drift


def flow_of(swirls: Swirls, seed: int, box) -> Flow:
    """Return the flow that carries the swirls in `box` (2, 3). [mm]"""
    low, high = np.asarray(box, float)
    places = low[:, None] + (np.indices((8, 8, 8)).reshape(3, -1) + 0.5) / 8 * (high - low)[:, None]
    return Flow(_flow_waves(seed, swirls.size, swirls.drift), swirls.drift, places)


def _level(swirls: Swirls, seed: int, box: np.ndarray, axes: list[np.ndarray], near: np.ndarray, after_spray_s: float) -> np.ndarray:
    """Return the swirls before they are made positive, at those nodes of a grid that are `near`: about even in spread, about zero in the mean."""
    plain = np.ascontiguousarray(_nodes(axes)[:, near], dtype=np.float32)
    if swirls.drift == 0:
        return _haze_waves(seed, 0, swirls.size).at(plain, 0.0)[0].astype(float)
    flow, life = flow_of(swirls, seed, box), life_s(swirls)
    layer = int(after_spray_s // life)
    along = np.pi / 2 * (after_spray_s / life - layer)
    total = np.zeros(plain.shape[1])
    for number, weight in ((layer, np.cos(along)), (layer + 1, np.sin(along))):
        way = _ways(flow, swirls.size, box, axes, after_spray_s, number * life)
        total += weight * _haze_waves(seed, number, swirls.size).at(plain + way[:, near], 0.0)[0]
    return total


def _ways(flow: Flow, size: float, box: np.ndarray, axes: list[np.ndarray], start_s: float, end_s: float) -> np.ndarray:
    """
    Return how far the air at the nodes of a grid is from there at another moment, (3, n) float32. [mm], [s]

    The way is smoother than the haze, so few nodes are traced, and cubic splines lead from those to the others.
    """
    counts = np.maximum(np.ceil((box[1] - box[0]) / size * _TRACED_A_SWIRL).astype(int) + 1, 4)
    few = [np.linspace(box[0][axis], box[1][axis], counts[axis]) for axis in range(3)]
    begun = _nodes(few).astype(np.float32)
    way = (flow.traced(begun, start_s, end_s) - begun).reshape(3, *counts)
    from scipy.interpolate import make_interp_spline  # slow to load, and only drifting haze asks

    x, y, z = (make_interp_spline(few[axis], np.eye(counts[axis]))(axes[axis]).astype(np.float32) for axis in range(3))
    # Two at a time, so that numpy keeps to one thread.
    way = np.einsum("cijk,zk->cijz", way, z)
    way = np.einsum("cijz,yj->ciyz", way, y)
    return np.einsum("ciyz,xi->cxyz", way, x).reshape(3, -1)


def _nodes(axes: list[np.ndarray]) -> np.ndarray:
    """Return (3, n) the nodes of a grid, the last axis fastest."""
    return np.array(np.meshgrid(*axes, indexing="ij")).reshape(3, -1)


def _spread(level: np.ndarray, inside: np.ndarray, contrast: float) -> np.ndarray:
    """
    Return a positive density with mean 1 and standard deviation `contrast` over the nodes `inside`, in the order of `level` (n,).

    A log-normal one: exp(s level), where s = sqrt(ln(1 + contrast^2)) for a level that is normal, and is found for this one.
    """
    own = level[inside] if inside.any() else level
    level, own = (level - own.mean()) / own.std(), (own - own.mean()) / own.std()
    s = np.sqrt(np.log(1 + contrast**2))
    for _ in range(8):
        density = np.exp(s * own)
        s *= contrast / (density.std() / density.mean())
    return np.exp(s * level) / np.exp(s * own).mean()


def _within(cells: tuple[Cell, ...], points: np.ndarray, slack: float) -> np.ndarray:
    """Return (n,) whether points lie in any cell, or no farther than `slack` beyond each of its planes. [mm]"""
    found = np.zeros(len(points), bool)
    for cell in cells:
        found |= (points @ cell.planes[:, :3].T <= cell.planes[:, 3] + slack).all(axis=1)
    return found


@lru_cache(maxsize=8)
def _flow_waves(seed: int, size: float, drift: float) -> _Waves:
    chance = np.random.default_rng([seed, 61])
    number, length = _wave_vectors(chance, _FLOW_WAVES, _FLOW_RANGE, size)
    across = np.cross(number, _directions(chance, _FLOW_WAVES))
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    return _Waves(number, chance.uniform(0, 2 * np.pi, _FLOW_WAVES), chance.uniform(-1, 1, _FLOW_WAVES) * _SWAY * drift * length, across.T.copy())


@lru_cache(maxsize=16)
def _haze_waves(seed: int, layer: int, size: float) -> _Waves:
    chance = np.random.default_rng([seed, 62, layer])
    number, length = _wave_vectors(chance, _HAZE_WAVES, _HAZE_RANGE, size)
    amplitude = 1 / length
    amplitude *= np.sqrt(2 / np.sum(amplitude**2))
    return _Waves(number, chance.uniform(0, 2 * np.pi, _HAZE_WAVES), np.zeros(_HAZE_WAVES), amplitude[None])


def _wave_vectors(chance, count: int, span: tuple[float, float], size: float) -> tuple[np.ndarray, np.ndarray]:
    """Return (count, 3) wave vectors in all directions and their lengths (count,), spread evenly over the span. [1/mm]"""
    share = (chance.permutation(count) + chance.uniform(size=count)) / count
    length = (span[0] + share * (span[1] - span[0])) * np.pi / size
    return _directions(chance, count) * length[:, None], length


def _directions(chance, count: int) -> np.ndarray:
    """Return (count, 3) unit vectors, none preferred."""
    way = chance.standard_normal((count, 3))
    return way / np.linalg.norm(way, axis=1, keepdims=True)
