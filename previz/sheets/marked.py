"""
A points file: what a maker marked in a photo of the set, as corners of the set and corners of patches, or every fault of it.

Takes text, a scene and its built set, and the photo's size; gives points and patches with their pixels. Knows no cameras.

    [points]                                  corners of the set and where they are in the photo
    "attic.south.east floor" = [812, 403]     [across, down] in pixels from its upper left, as a picture viewer counts them

    [[patch]]                                 light of one pane on one surface
    lamp = "key"                              left out where there is one lamp
    opening = "skylight"
    pane = [0, 1]                             column, row from the lower left seen from outside; left out for the whole opening
    on = "attic.floor"                        the face, or the prop, that it lies on
    lower_left = [640, 512]                   where the light of the pane's own lower left corner lands, seen from outside, and so on;
    upper_left = [655, 471]                   it is the pane that gives a corner its name, not where its light appears
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from previz.aim.cast import NAMES, PaneCorner, pane_corners
from previz.aim.wishes import panes_named, target
from previz.build.built import Aperture, BuiltSet
from previz.build.corners import named_corners
from previz.scene.draft import Problem, listed, nearest, quoted
from previz.scene.faults import Fault, OptionFault, SceneFaults
from previz.scene.located import located
from previz.scene.marks import Marks
from previz.scene.model import Scene
from previz.scene.syntax import values_of
from previz.scene.text import text_of, whole

CORNER_KEYS = {name.replace(" ", "_"): name for name in NAMES}
_PATCH_KEYS = ("lamp", "opening", "pane", "on", *CORNER_KEYS)
FEWEST, FEWEST_UNKNOWN = 4, 6
"""Points that fix a camera of known focal length, and of unknown, and still check each other (own choice)."""
_MOST, _FARTHEST = 500, 1e6
_PIXEL = "[across, down] in pixels from the photo's upper left corner"


@dataclass(frozen=True)
class MarkedPoint:
    """A corner of the set: its name, where it is (3,) [mm], and where it is in the photo (2,) [pixel]."""

    name: str
    at: np.ndarray
    pixel: np.ndarray


@dataclass(frozen=True)
class MarkedPatch:
    """
    A patch in the photo.

    number     of its row in the file, from 0
    lamp       name
    opening    name
    pane       (column, row), None for the whole opening
    on         as typed
    triangles  (k, 3) of the surface it lies on
    corners    pane corner and pixel (2,), by name
    """

    number: int
    lamp: str
    opening: str
    pane: tuple[int, int] | None
    on: str
    triangles: np.ndarray
    corners: dict[str, tuple[PaneCorner, np.ndarray]]

    @property
    def name(self) -> str:
        """As a maker says it: skylight [0, 1] on attic.floor."""
        return f"{self.opening}{'' if self.pane is None else f' [{self.pane[0]}, {self.pane[1]}]'} on {self.on}"


@dataclass(frozen=True)
class PointsFile:
    """A points file that was read; `fault` says what is wrong with one of its entries later."""

    path: Path
    points: tuple[MarkedPoint, ...]
    patches: tuple[MarkedPatch, ...]
    _marks: Marks

    def fault(self, path: tuple, allowed: str, remedy: str) -> Fault:
        """Return a fault of the entry at a key path: ("points", name) or ("patch", number, key)."""
        return located(Problem(path, allowed, remedy), self.path, self._marks, {}, _called(path))


def read_points(path: Path, scene: Scene, built: BuiltSet, size: tuple[int, int] | None, fewest: int) -> PointsFile:
    """
    Return what is marked.

    Parameters
    ----------
    size : (columns, rows) or None
        Of the photo; None where it could not be read, and pixels are not held against it. [pixel]
    fewest : int
        How many points there must be.

    Raises
    ------
    SceneFaults
        With every fault of the file.
    """
    if not path.is_file():
        raise whole(path, "there is no such file" if not path.exists() else "this is not an ordinary file", "`previz asshot SCENE --blank points.toml` writes one to fill in.")
    return points_from(text_of(path), path, scene, built, size, fewest)


def points_from(text: str, path: Path, scene: Scene, built: BuiltSet, size: tuple[int, int] | None, fewest: int) -> PointsFile:
    """Return what a text marks; `path` is what its faults call it."""
    typed, marks = values_of(text, path)
    reader = _Reader(scene, built, size)
    reader.read(typed, fewest)
    if reader.problems:
        raise SceneFaults([located(problem, path, marks, typed, _called(problem.path)) for problem in reader.problems])
    return PointsFile(path, tuple(reader.points), tuple(reader.patches), marks)


def _called(path: tuple) -> str:
    if path[:1] == ("patch",) and len(path) > 1:
        return " ".join([f"[[patch]] number {path[1] + 1}", *map(str, path[2:])])
    return f'[points] "{path[1]}"' if path[:1] == ("points",) and len(path) > 1 else f"[{path[0]}]" if path else ""


class _Reader:
    """The file while it is read."""

    def __init__(self, scene: Scene, built: BuiltSet, size: tuple[int, int] | None):
        self.scene, self.built, self.size = scene, built, size
        self.corners = named_corners(scene, built)
        self.lamps = [lamp.name for lamp in scene.lamp]
        self.points: list[MarkedPoint] = []
        self.patches: list[MarkedPatch] = []
        self.problems: list[Problem] = []

    def problem(self, path, allowed, remedy, found=None, on_key=False) -> None:
        """Keep a problem."""
        self.problems.append(Problem(path, allowed, remedy, found, on_key))

    def read(self, typed: dict, fewest: int) -> None:
        """Read all tables."""
        for key in typed:
            if key not in ("points", "patch"):
                self.problem((key,), "a points file holds [points] and [[patch]]", "Put it under one of them, or take it out.", "", True)
        points, patches = typed.get("points", {}), typed.get("patch", [])
        if not isinstance(points, dict):
            self.problem(("points",), "must be a [points] table", 'Write [points] on a line of its own, then "corner" = [across, down].')
        elif len(points) > _MOST:
            self.problem(("points",), f"at most {_MOST} points are read", "A dozen, well spread, do.", str(len(points)), True)
        else:
            for name, pixel in points.items():
                self._point(name, pixel)
            if len(points) < fewest:
                self.problem(("points",), *_too_few(len(points), fewest), "", True)
        if not isinstance(patches, list) or not all(isinstance(row, dict) for row in patches):
            self.problem(("patch",), "must be written as [[patch]] tables", "Write [[patch]] on a line of its own, then its keys.", "", True)
        elif len(patches) > _MOST:
            self.problem(("patch",), f"at most {_MOST} patches are read", "A few, well spread, do.", str(len(patches)), True)
        else:
            for number, row in enumerate(patches):
                self._patch(number, row)

    def _point(self, name: str, typed) -> None:
        path = ("points", name)
        pixel, at = self._pixel(path, typed), self.corners.get(name)
        if at is None and (name.count(",") == 2 or "@" in name):
            try:
                at = target(self.built, name).point
            except OptionFault as fault:
                return self.problem(path, fault.says, fault.remedy, "", True)
        if at is None:
            close = nearest(name, self.corners)
            remedy = f'Did you mean "{close}"?' if close else 'Write a corner\'s name, "x, y, z" in mm, or "FACE@along,up".'
            return self.problem(path, "the set has no corner of that name", f"{remedy} `previz asshot SCENE --blank points.toml` writes all names.", "", True)
        if pixel is not None:
            self.points.append(MarkedPoint(name, at, pixel))

    def _pixel(self, path, typed) -> np.ndarray | None:
        """Return where a mark is, from the photo's upper left corner to the middle of the pixel that was typed."""
        if not isinstance(typed, list) or len(typed) != 2 or not all(type(v) in (int, float) and abs(v) <= _FARTHEST for v in typed):
            return self.problem(path, f"must be {_PIXEL}", "Write it like [812, 403].")
        if self.size is not None and not all(0 <= value < limit for value, limit in zip(typed, self.size)):
            return self.problem(path, f"lies outside the photo, which is {self.size[0]} x {self.size[1]} pixels", "Mark it in this photo, upright as a viewer shows it and in its full size.")
        return np.array(typed, float) + 0.5

    def _patch(self, number: int, row: dict) -> None:
        before, path = len(self.problems), ("patch", number)
        for key in row:
            if key not in _PATCH_KEYS:
                close = nearest(key, _PATCH_KEYS)
                self.problem((*path, key), "a patch has no such key", f"Did you mean {close}?" if close else f"It has {listed(_PATCH_KEYS, ' and')}.", "", True)
        lamp, panes, triangles = self._lamp(path, row), self._panes(path, row), self._surface(path, row)
        pixels = {name: self._pixel((*path, key), row[key]) for key, name in CORNER_KEYS.items() if key in row}
        if len(pixels) < 2:
            self.problem(path, "two corners or more must be marked", f"Give lower_left = {_PIXEL}, and so on: each by the pane's own corner, seen from outside.", "", True)
        there = pane_corners(panes) if panes else {}
        for key, name in CORNER_KEYS.items():
            if panes and name in pixels and name not in there:
                has = f"It has {listed(there, ' and')}." if there else "It is round: give one of its panes, [column, row], or another opening."
                self.problem((*path, key), "that pane has no such corner, seen from outside", has, "", True)
        if len(self.problems) == before:
            corners = {name: (there[name], pixel) for name, pixel in pixels.items()}
            self.patches.append(MarkedPatch(number, lamp, row["opening"], tuple(row["pane"]) if "pane" in row else None, row["on"], triangles, corners))

    def _lamp(self, path, row) -> str | None:
        lamp = row.get("lamp", self.lamps[0] if len(self.lamps) == 1 else None)
        if lamp is None:
            return self.problem(path, "lamp is missing", f"Add lamp = ...: {quoted(self.lamps)}." if self.lamps else "The scene has no lamp alight; add a [[lamp]] to it.", "", True)
        if not isinstance(lamp, str) or lamp not in self.lamps:
            return self.problem((*path, "lamp"), "there is no lamp of that name alight", f"Lamps here: {quoted(self.lamps)}." if self.lamps else "The scene has none; leave the patch out.")
        return lamp

    def _panes(self, path, row) -> list[Aperture] | None:
        opening, pane = row.get("opening"), row.get("pane")
        if opening is None:
            return self.problem(path, "opening is missing", "Add opening = ...: the one whose light this is.", "", True)
        names = [o.name for o in self.scene.opening]
        if not isinstance(opening, str) or opening not in names:
            close = nearest(opening, names) if isinstance(opening, str) else None
            return self.problem((*path, "opening"), "there is no opening of that name", f'Did you mean "{close}"?' if close else f"Openings here: {quoted(names)}.")
        if pane is None:
            return list(panes_named(self.built, opening))
        if not isinstance(pane, list) or len(pane) != 2 or not all(type(v) is int for v in pane):
            return self.problem((*path, "pane"), "must be [column, row], counted from the lower left as seen from outside", "Write it like [0, 1], or leave it out for the whole opening.")
        try:
            return list(panes_named(self.built, f"{opening}[{pane[0]},{pane[1]}]"))
        except OptionFault as fault:
            return self.problem((*path, "pane"), "the opening has no such pane", fault.remedy)

    def _surface(self, path, row) -> np.ndarray | None:
        on = row.get("on")
        if on is None:
            return self.problem(path, "on is missing", 'Add on = ...: the face or the prop that the light lies on, like "room.floor".', "", True)
        if not isinstance(on, str) or "@" in on or "," in on:
            return self.problem((*path, "on"), "must be the name of a face or of a prop", 'Write it like "room.floor".')
        try:
            face = target(self.built, on).face
        except OptionFault as fault:
            return self.problem((*path, "on"), "there is no flat face and no prop of that name", fault.remedy)
        parts = [i for i in self.built.part_named(on) if self.built.parts[i].kind == "prop"]
        return self.built.triangles[self.built.face_of == face if face is not None else self.built.triangles_of(parts)]


def _too_few(count: int, fewest: int) -> tuple[str, str]:
    known = "" if fewest == FEWEST else " Four do where the focal length is known: --focal MM, its 35 mm equivalent."
    return f"{count} points are marked, and {fewest} or more are needed here", f"Mark corners that are well spread, near and far, not all on one face.{known}"


def blank_points(scene: Scene, built: BuiltSet) -> str:
    """Return a points file with every name of the set in it, to be filled in: each line a remark until its pixels are known."""
    lines = [
        "# Corners of the set in a photo: take the # away and write [across, down] in pixels, counted from the photo's upper left",
        f"# corner, as a picture viewer shows it, upright and in full size. {FEWEST_UNKNOWN} or more, well spread, near and far; lower left and so on are",
        "# seen from OUTSIDE. Any other point is \"x, y, z\" in mm, or \"FACE@along,up\" from the face's lowest corner.",
        "",
        "[points]",
    ]
    lines += [f"# {_quoted(name)} = [, ]   # {', '.join(f'{v:.1f}'.removesuffix('.0') for v in at.round(1) + 0.0)}" for name, at in named_corners(scene, built).items()]
    lines += [
        "",
        "# A patch of light: two corners or more. A corner has its name from the pane whose light it is, seen from OUTSIDE, not from",
        "# where it appears: light crosses over, so that of an upper edge often lands nearest. Mark the middle of the soft edge.",
        "# [[patch]]",
        f"# lamp = {_quoted(scene.lamp[0].name) if scene.lamp else '...'}",
        f"# opening = {_quoted(scene.opening[0].name) if scene.opening else '...'}",
        "# pane = [0, 0]          # column, row from the lower left; left out for the whole opening",
        f"# on = {_quoted(scene.room[0].name + '.floor') if scene.room else '...'}",
        *(f"# {key} = [, ]" for key in CORNER_KEYS),
    ]
    return "\n".join(lines) + "\n"


def _quoted(name: str) -> str:
    return '"' + name.replace("\\", "\\\\").replace('"', '\\"') + '"'
