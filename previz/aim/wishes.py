"""
Wishes: which light the maker wants where, in words typed on the command line, turned into points and faces of the set.

Takes a built set and texts like "round window > mantel clock"; gives `Wish` objects. Knows nothing of lamps.

    THROUGH > ONTO      light through an opening (or one pane of it, "window[1,0]") onto a target
    a target is         a prop's name, a face ("attic.floor", "bench top top"), a place on a face ("attic.floor@120,80"),
                        or a point x,y,z in the set
    a place on a face   along and up from the lowest corner of the face, as a tape would measure it there [mm]
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass

import numpy as np

from previz.build.built import Aperture, BuiltSet
from previz.build.places import prop_box
from previz.scene.faults import OptionFault

ON_FACE_MM = 0.5
"""A point this near to a face is meant to lie on it (own choice)."""

_SAMPLES, _HAIR_MM = 160, 0.05

_PANE = re.compile(r"^(?P<name>.*?)\[(?P<column>\d+),(?P<row>\d+)\]$")
_NUMBER = r"\s*[-+]?\d+(?:\.\d*)?\s*"
_POINT = re.compile(rf"^{_NUMBER},{_NUMBER},{_NUMBER}$")
_PLACE = re.compile(rf"^(?P<face>.+)@(?P<along>{_NUMBER}),(?P<up>{_NUMBER})$")


@dataclass(frozen=True)
class Target:
    """
    Where light is wanted, or is not.

    name     as typed
    point    (3,) [mm]
    normal   (3,) unit, outward, of the face it lies on; None in mid-air, as the middle of a prop
    face     index of that face; None
    samples  (k, 3) points over the prop or face, a hair before it [mm]
    turned   (k, 3) unit, outward at the samples of a prop; None of a face or a point
    face_name  as the report calls that face; it stays when the set is built with another opening
    """

    name: str
    point: np.ndarray
    normal: np.ndarray | None
    face: int | None
    samples: np.ndarray
    turned: np.ndarray | None = None
    face_name: str | None = None


@dataclass(frozen=True)
class Wish:
    """Light of a lamp through the panes of one opening, and the target that it is to land on."""

    through: str
    panes: tuple[Aperture, ...]
    onto: Target


def wish(built: BuiltSet, text: str) -> Wish:
    """Return the wish of "THROUGH > ONTO"; OptionFault where a name is not in the set."""
    halves = [half.strip() for half in text.split(">")]
    if len(halves) != 2 or not all(halves):
        raise OptionFault(f'"{text}": a wish is an opening, >, and where its light shall land', 'Write it like "round window > mantel clock".')
    return Wish(halves[0], panes_named(built, halves[0]), target(built, halves[1]))


def panes_named(built: BuiltSet, text: str) -> tuple[Aperture, ...]:
    """Return the panes of an opening, or the one called "name[column,row]"."""
    found = _PANE.match(text)
    name = found["name"].strip() if found else text
    panes = built.apertures_named(name)
    if not panes:
        raise OptionFault(f'there is no opening called "{name}"', _nearest(name, {a.opening for a in built.apertures}))
    if found:
        wanted = int(found["column"]), int(found["row"])
        one = [pane for pane in panes if pane.pane == wanted]
        if not one:
            last = max(pane.pane[0] for pane in panes), max(pane.pane[1] for pane in panes)
            raise OptionFault(f'"{text}": the opening has no such pane', f"Its panes go from [0,0] lower left, seen from outside, to [{last[0]},{last[1]}].")
        panes = one
    return tuple(panes)


def target(built: BuiltSet, text: str) -> Target:
    """Return the target called `text`; OptionFault where the set has no such prop or face."""
    if _POINT.match(text):
        return _at(built, text, np.array([float(part) for part in text.split(",")]))
    place = _PLACE.match(text)
    face = _face_named(built, place["face"].strip() if place else text)
    if face is not None:
        corners, normal = _flat(built, face)
        along, up = _sides(normal)
        low = np.array([(corners @ along).min(), (corners @ up).min()])
        high = np.array([(corners @ along).max(), (corners @ up).max()])
        wanted = low + (float(place["along"]), float(place["up"])) if place else (low + high) / 2
        if (wanted < low).any() or (wanted > high).any():
            raise OptionFault(f'"{text}" is off the face', f"It is {high[0] - low[0]:.0f} by {high[1] - low[1]:.0f} mm.")
        point = wanted[0] * along + wanted[1] * up + (corners[0] @ normal) * normal
        return Target(text, point, normal, face, _spread(built, np.flatnonzero(built.face_of == face))[0], face_name=built.faces[face].name)
    box = None if place else prop_box(built, text)
    if box is None:
        name = place["face"].strip() if place else text
        raise OptionFault(f'there is no prop or face called "{name}"', _nearest(name, {p.owner for p in built.parts} | {f.name for f in built.faces}))
    parts = [i for i in built.part_named(text) if built.parts[i].kind == "prop"]
    return Target(text, box.mean(axis=0), None, None, *_spread(built, built.triangles_of(parts)))


def _at(built: BuiltSet, name: str, point: np.ndarray) -> Target:
    """A point, on the flat face that it lies on where there is one."""
    corners = built.vertices[built.triangles]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    normal /= np.maximum(length, 1e-12)[:, None]
    off = np.einsum("ij,ij->i", point - corners[:, 0], normal)
    near = (np.abs(off) <= ON_FACE_MM) & (length > 1e-9)
    # Inside the triangle: on the inner side of all three edges.
    for a, b in ((0, 1), (1, 2), (2, 0)):
        near &= np.einsum("ij,ij->i", np.cross(corners[:, b] - corners[:, a], point - corners[:, a]), normal) >= -1e-6 * length
    flat = np.array([face.flat for face in built.faces])[built.face_of]
    on = np.flatnonzero(near & flat)
    if not len(on):
        return Target(name, point, None, None, point[None])
    face = int(built.face_of[on[np.abs(off[on]).argmin()]])
    _, outward = _flat(built, face)
    return Target(name, point, outward, face, point[None], face_name=built.faces[face].name)


def _face_named(built: BuiltSet, name: str) -> int | None:
    """Return the face called `name`; of several, as the two sides of a wall, the one that a room's air touches."""
    found = [i for i, face in enumerate(built.faces) if face.name == name and face.flat]
    if len(found) <= 1:
        return found[0] if found else None
    return max(found, key=lambda i: len(_touched(built, i)))


def _touched(built: BuiltSet, face: int) -> np.ndarray:
    """Return which triangles of a face have the air of a room before them."""
    triangles = np.flatnonzero(built.face_of == face)
    _, normal = _flat(built, face)
    middle = built.vertices[built.triangles[triangles]].mean(axis=1) + 0.05 * normal
    inside = np.zeros(len(middle), bool)
    for cell in built.cells:
        inside |= (middle @ cell.planes[:, :3].T <= cell.planes[:, 3]).all(axis=1)
    return triangles[inside]


def _flat(built: BuiltSet, face: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the corners (k, 3) of a flat face and its unit normal (3,)."""
    corners = built.vertices[built.triangles[built.face_of == face]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]).sum(axis=0)
    return corners.reshape(-1, 3), normal / np.linalg.norm(normal)


def _sides(normal: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the directions along and up on a face: x and y on level ones; level, left to right as it is looked at, and up on others."""
    if abs(normal[2]) > 0.999:
        return np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])
    along = np.array([-normal[1], normal[0], 0.0])
    along /= np.linalg.norm(along)
    return along, np.cross(normal, along)


def _spread(built: BuiltSet, triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return points (k, 3) over triangles, a hair before them, as even over the area as `_SAMPLES` of them can be, and the normals there. [mm]"""
    corners = built.vertices[built.triangles[triangles]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    normal /= np.maximum(area, 1e-12)[:, None]
    edge = np.concatenate([[0.0], np.cumsum(area)]) / area.sum()
    steps = np.arange(_SAMPLES) + 0.5
    which = np.clip(np.searchsorted(edge, steps / _SAMPLES, side="right") - 1, 0, len(area) - 1)
    # Two more numbers place each within its triangle, folded so that none lies outside.
    u, v = (steps * 0.7548776662466927) % 1, (steps * 0.5698402909980532) % 1
    u, v = np.where(u + v > 1, 1 - u, u), np.where(u + v > 1, 1 - v, v)
    a, b, c = corners[which, 0], corners[which, 1], corners[which, 2]
    return a + u[:, None] * (b - a) + v[:, None] * (c - a) + _HAIR_MM * normal[which], normal[which]


def _nearest(name: str, known: set[str]) -> str:
    near = difflib.get_close_matches(name, sorted(known), n=1, cutoff=0.4)
    return f'Did you mean "{near[0]}"?' if near else f"The set has {', '.join(sorted(known)[:8])}."
