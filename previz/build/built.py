"""
The built set: what every later row of the pipeline sees of the geometry.

One triangle soup for the rays, cut into parts (a wall, a floor, a prop: each a closed solid where the maker's
input allows) and faces (one flat or smooth side of a part). Names last to the report.

Everything is millimetres in set coordinates, float64. Triangles are wound anticlockwise seen from outside the solid.

    panel frame   origin (3,) on the INNER face, axes (3, 3) whose rows are along, up, outward (right-handed);
                  a point x has local coordinates axes @ (x - origin) = (along, up, depth); depth 0 is the inner
                  face, depth = thickness the outer face.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

_ROW_NUMBER = re.compile(r"-\d+$")


@dataclass(frozen=True)
class Face:
    """
    One flat or smooth side of a part.

    name     what the report says: "attic.floor", "attic.north", "bench top", "clock-2 side"
    part     index into `BuiltSet.parts`
    side     "inside" | "outside" | "reveal" | "edge" | "bars" | "slats" | "paper" | "top" | "bottom" | "side" | "front" | "surface"
    flat     True when all its triangles lie in one plane
    chart    True when `BuiltSet.uv` holds an unfolding of this face, in millimetres along the surface, without overlap;
             False for faces of imported meshes
    finish   finish name
    """

    name: str
    part: int
    side: str
    flat: bool
    chart: bool
    finish: str


@dataclass(frozen=True)
class Part:
    """
    One solid: its triangles are `first` up to (not including) `last`.

    name     "attic.north", "attic.floor", "bench", "stool-2"; bars and slats are parts of their own ("attic.north: west window bars")
    kind     "wall" | "floor" | "ceiling" | "slope" | "bars" | "slats" | "paper" | "prop" | "mesh"
    owner    name of the room or prop that the maker typed: "attic", "bench", "stool" ("mesh" for the whole-set mesh)
    closed   True when the solid is watertight
    """

    name: str
    kind: str
    owner: str
    first: int
    last: int
    closed: bool


@dataclass(frozen=True)
class Aperture:
    """
    A flat convex way for light into a room: a pane of an opening, or the gap of a wall left off.

    opening        the opening's name; for a wall left off, "room.wall"
    pane           (column, row) from the lower left as seen from outside; (0, 0) without bars
    room           the room that it lights
    origin, axes   panel frame (module header)
    thickness      of the panel [mm]; 0 for a wall left off
    outline        (k, 2) along, up: the clear convex outline, anticlockwise seen from outside [mm]
    edges          (k, 3): unit inward normal (n_along, n_up) and offset c of outline edge i -> i+1; inside where n . q >= c
    depths         (k, 2): the depth of the inner and of the outer rim that each edge has [mm]; a glazing bar's edge has
                   the bar's, an edge of the opening has (0, thickness); an edge inside a cut-up concave opening has (0, 0)
    transmittance  of the pane at normal incidence; 1 is no glass [1]
    tint           what the pane lets through of red, green and blue on top of that, linear, Rec. 709 primaries [1]
    """

    opening: str
    pane: tuple[int, int]
    room: str
    origin: np.ndarray
    axes: np.ndarray
    thickness: float
    outline: np.ndarray
    edges: np.ndarray
    depths: np.ndarray
    transmittance: float
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)


@dataclass(frozen=True)
class Paper:
    """
    Tracing paper over an opening, taped to the inner face of its wall: no light goes straight through it.

    opening        the opening's name
    face           name of the face that glows into the room
    origin, axes   panel frame (module header)
    outline        (k, 2) along, up [mm]
    transmittance  (3,) share of the light that falls on it, glass and tint included, that it sends on evenly [1]
    """

    opening: str
    face: str
    origin: np.ndarray
    axes: np.ndarray
    outline: np.ndarray
    transmittance: np.ndarray


@dataclass(frozen=True)
class Cell:
    """A convex piece of a room's air: inside where planes[:, :3] @ x <= planes[:, 3]. planes (k, 4), unit normals outward. [mm]"""

    room: str
    planes: np.ndarray


@dataclass(frozen=True)
class BuiltSet:
    """
    A set as solids.

    vertices   (n, 3) float64 [mm]
    triangles  (m, 3) int32
    face_of    (m,) int32, index into `faces`
    uv         (m, 3, 2) float64, unfolding of each triangle's corners [mm], zero where the face has no chart
    faces      each side of each part
    parts      each solid; their triangle ranges follow each other and cover all triangles
    apertures  every pane and every wall, ceiling or floor left off
    cells      the rooms' air in convex pieces; for a set from a mesh, its bounding box
    reflectance  dict finish name -> (3,) linear RGB reflectance, Rec. 709 primaries
    folder     where the files that the scene names lie
    papers     tracing paper over openings
    """

    vertices: np.ndarray
    triangles: np.ndarray
    face_of: np.ndarray
    uv: np.ndarray
    faces: tuple[Face, ...]
    parts: tuple[Part, ...]
    apertures: tuple[Aperture, ...]
    cells: tuple[Cell, ...]
    reflectance: dict[str, np.ndarray]
    folder: Path = Path()
    papers: tuple[Paper, ...] = ()

    @property
    def part_of(self) -> np.ndarray:
        """(m,) int32: the part of each triangle."""
        return np.repeat(np.arange(len(self.parts), dtype=np.int32), [p.last - p.first for p in self.parts])

    @property
    def bounds(self) -> np.ndarray:
        """(2, 3): lowest and highest corner. [mm]"""
        return np.array([self.vertices.min(axis=0), self.vertices.max(axis=0)])

    def part_named(self, name: str) -> list[int]:
        """Return the indices of the parts that the maker calls `name`: a part's own name, its owner's, or that of a row made with `repeat`."""
        for called in (lambda p: p.name, lambda p: p.owner, lambda p: _ROW_NUMBER.sub("", p.owner)):
            found = [i for i, p in enumerate(self.parts) if called(p) == name]
            if found:
                return found
        return []

    def apertures_named(self, name: str) -> list[Aperture]:
        """Return the panes of the opening called `name`, or of the row of openings."""
        exact = [a for a in self.apertures if a.opening == name]
        return exact or [a for a in self.apertures if _ROW_NUMBER.sub("", a.opening) == name]

    def triangles_of(self, parts: list[int]) -> np.ndarray:
        """Return the (k,) triangle indices of `parts`."""
        ranges = [np.arange(self.parts[i].first, self.parts[i].last) for i in parts]
        return np.concatenate(ranges) if ranges else np.zeros(0, dtype=np.int64)
