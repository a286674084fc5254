"""
Tracing paper over openings: the light that falls on it, sent on into the room as lamps of their own.

Takes a lit set's direct light; gives one emitting face for each piece of paper and each lamp that lights it. A piece glows
evenly, with all the light that falls anywhere on it, and by Lambert's cosine. A rectangular paper is one piece and a round
one another; any other outline is cut into level strips, each a rectangle of the same area.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely

from previz.build.built import Paper
from previz.build.panels import PAPER_MM
from previz.light.lamps import Emitter, face_points
from previz.light.units import LUX_PER_CANDELA_MM2

STRIPS = 6
_OFF_MM = 0.05
_POINTS = 1024


@dataclass(frozen=True, kw_only=True)
class PaperGlow(Emitter):
    """
    The light of one lamp from one piece of tracing paper.

    lamp       name of the lamp
    face       name of the face that glows
    paper_mm2  area of the whole paper [mm2]
    """

    lamp: str
    face: str
    paper_mm2: float


def without_papers(emitters: tuple[Emitter, ...]) -> tuple[Emitter, ...]:
    """Return the lamps alone."""
    return tuple(e for e in emitters if not isinstance(e, PaperGlow))


def lamp_of(emitter: Emitter) -> str:
    """Return the name of the lamp whose light `emitter` gives."""
    return emitter.lamp if isinstance(emitter, PaperGlow) else emitter.name


def through(lamp: str, opening: str) -> str:
    """Return the name of the light of a lamp that the paper over an opening sends on."""
    return f"{lamp} through {opening}"


def paper_glows(papers: tuple[Paper, ...], lamps: tuple[Emitter, ...], falling: Callable) -> tuple[PaperGlow, ...]:
    """
    Return what `papers` send into the rooms, by piece and by lamp; lamps that do not reach a piece are left out.

    Parameters
    ----------
    falling : callable
        Takes points and unit normals (n, 3) [mm], [1]; gives the illuminance of each lamp per candela (n, lamps). [1/m2]

    Notes
    -----
    The flux sent is transmittance x mean illuminance x area, and a Lambertian face of flux F has F / pi on its axis.
    """
    glows = []
    for paper in papers:
        inward = -paper.axes[2]
        whole = shapely.Polygon(paper.outline).area
        for shape, centre, half in _pieces(paper.outline):
            area = _area(shape, half)
            bare = Emitter(
                "", shape, paper.origin + np.array([*centre, -_OFF_MM]) @ paper.axes, inward, half[0] * paper.axes[0], half[1] * paper.axes[1],
                np.ones(3), 1.0,
            )  # fmt: skip
            points = _over(paper, face_points(bare, _even(_POINTS))) - (PAPER_MM + _OFF_MM) * inward
            per_candela = falling(points, np.tile(-inward, (len(points), 1))).mean(axis=0)
            glows += [
                PaperGlow(
                    through(lamp.name, paper.opening), shape, bare.centre, inward, bare.half_u, bare.half_v,
                    lamp.candela * paper.transmittance * lux * area / LUX_PER_CANDELA_MM2 / np.pi, 1.0, lamp=lamp.name, face=paper.face, paper_mm2=whole,
                )  # fmt: skip
                for lamp, lux in zip(lamps, per_candela)
                if lux > 0 and (lamp.candela * paper.transmittance).any()
            ]
    return tuple(glows)


def _over(paper: Paper, points: np.ndarray) -> np.ndarray:
    """Return those of `points` (n, 3) that lie over the paper: a strip is as large as its part of the paper, but not of its shape. [mm]"""
    along, up, _ = paper.axes @ (points - paper.origin).T
    return points[shapely.contains_xy(shapely.Polygon(paper.outline), along, up)]


def _area(shape: str, half) -> float:
    """Return the area of a disc or panel of `half` sides. [mm] -> [mm2]"""
    return float((np.pi if shape == "disc" else 4) * half[0] * half[1])


def glowing(emitters: tuple[Emitter, ...], candela: np.ndarray, faces: tuple) -> np.ndarray | None:
    """
    Return the luminance (faces, 3) that papers show to the room when `emitters` have `candela` (lamps, 3); None without papers. [cd] -> [cd/m2]

    Luminance of a Lambertian face is axial intensity over area; the pieces of one paper are shown evened out.
    """
    shown = [(i, e) for i, e in enumerate(emitters) if isinstance(e, PaperGlow)]
    if not shown:
        return None
    number = {face.name: i for i, face in enumerate(faces)}
    result = np.zeros((len(faces), 3))
    for i, glow in shown:
        result[number[glow.face]] += candela[i] * LUX_PER_CANDELA_MM2 / glow.paper_mm2
    return result


def _pieces(outline: np.ndarray) -> list[tuple[str, tuple[float, float], tuple[float, float]]]:
    """Return (shape, centre, half sides) of the pieces of an outline (k, 2); their areas sum to its own. [mm]"""
    polygon = shapely.Polygon(outline)
    left, low, right, high = polygon.bounds
    middle, half = ((left + right) / 2, (low + high) / 2), ((right - left) / 2, (high - low) / 2)
    if polygon.area > 0.999 * 4 * half[0] * half[1]:
        return [("panel", middle, half)]
    radius = np.sqrt(polygon.area / np.pi)
    if max(abs(radius - half[0]), abs(radius - half[1])) < 0.01 * radius:
        return [("disc", middle, (radius, radius))]
    edges = np.linspace(low, high, STRIPS + 1)
    strips = [shapely.intersection(polygon, shapely.box(left, a, right, b)) for a, b in zip(edges[:-1], edges[1:])]
    tall = (high - low) / STRIPS
    return [("panel", (s.centroid.x, (a + b) / 2), (s.area / tall / 2, tall / 2)) for s, a, b in zip(strips, edges[:-1], edges[1:]) if s.area > 0]


def _even(count: int) -> np.ndarray:
    """Return (count, 2) points spread evenly over the unit square (additive recurrence; see `kernels`)."""
    return (0.5 + np.arange(count)[:, None] * np.array([0.7548776662466927, 0.5698402909980532])) % 1.0
