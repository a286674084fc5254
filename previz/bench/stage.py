"""
The stage: the set of the scene file as it is now, built and lit, with what an edit did not touch kept from before.

Takes scene files, one after another; gives built sets and lit sets that are, number for number, what the other verbs get from
the same file. An edit costs what it changes:

    title, shots, kit        nothing is built and nothing is lit
    lamps, haze              lit anew with the stored transport: no hemisphere ray
    rooms, openings, props   built anew; hemisphere rays only where a triangle, a reflectance or the haze's box differs

Two sets are kept, so that going back and forth between two cuts bakes neither again. Knows no pictures and no clients.
"""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from previz.bench.kept import Kept
from previz.build.built import BuiltSet
from previz.build.load import check_set, set_from
from previz.frames.still import lit_at_roll
from previz.haze.medium import extinction_at
from previz.light.measured import unusable_files
from previz.rays.lit import RAYS, TEXELS, LitSet, light_set, lit_anew, relit_as
from previz.scene.model import Scene, Shot
from previz.scene.read import SceneFile
from previz.scene.shots import scene_of

KEPT_SETS = 2
"""Built sets, and baked ones, that are kept: the one on the bench, and the one before the last cut (own choice)."""

KEPT_LIGHTS = 3
"""Lit sets that are kept, for shots that differ in their light (own choice)."""


@dataclass
class Counts:
    """How often what was done: sets built, transports baked, sets lit anew from a stored one."""

    built: int = 0
    baked: int = 0
    relit: int = 0


class Stage:
    """
    Sets, built and lit, for one grade of light.

    Parameters
    ----------
    texels, rays : int
        Of the bake, as `light_set` takes them.
    workers : int or None
        Threads; None is all cores.

    Notes
    -----
    Any thread may ask; one is answered at a time. `counts` tells what was done so far.
    """

    def __init__(self, texels: int = TEXELS, rays: int = RAYS, workers: int | None = None):
        self.texels, self.rays, self.workers = texels, rays, workers
        self.counts = Counts()
        self._built, self._seen, self._bases, self._lights = Kept(KEPT_SETS), Kept(KEPT_SETS), Kept(KEPT_SETS), Kept(KEPT_LIGHTS)
        self._one_at_a_time = threading.RLock()

    def built(self, file: SceneFile) -> BuiltSet:
        """
        Return what is built from a scene file; the very same object as long as nothing that is built was edited.

        Raises
        ------
        SceneFaults
            With every fault of the solids and of the files that the scene names, and of what stands where in them.
        """
        with self._one_at_a_time:
            built = self._built.get(solids_key(file))
            if built is not None:
                check_set(file, built, unusable_files)
                return built
            self.counts.built += 1
            return self._built.keep(solids_key(file), set_from(file, unusable_files))

    def has(self, file: SceneFile) -> bool:
        """Return whether the set of this file is baked already, in whatever light."""
        with self._one_at_a_time:
            return _filled(file) in self._bases

    def lit(self, file: SceneFile, progress: Callable[[float], None] | None = None) -> LitSet:
        """
        Return the set lit by the lamps of a scene file in fresh haze, as `light_set` lights it.

        Parameters
        ----------
        progress : callable or None
            Called with the share of a bake that is done; what it raises ends the bake and is passed on.
        """
        with self._one_at_a_time:
            return self._as(file, file.scene, 0.0, progress)

    def rolled(self, file: SceneFile, shot: Shot, progress: Callable[[float], None] | None = None) -> LitSet:
        """Return the set as it is lit when the camera rolls on `shot`, as `lit_at_roll` gives it; parameters as `lit`."""
        with self._one_at_a_time:
            return self._as(file, scene_of(file.scene, shot), shot.start_after, progress, shot)

    def _as(self, file: SceneFile, scene: Scene, after_spray_s: float, progress, shot: Shot | None = None) -> LitSet:
        """The set in the light of `scene`, which is the file's or one of its shots'."""
        if shot is not None and (scene.lamp, scene.haze, extinction_at(scene.haze, after_spray_s)) == (file.scene.lamp, file.scene.haze, extinction_at(file.scene.haze)):
            shot = None
        solids = _filled(file)
        light = (solids, light_key(scene), extinction_at(scene.haze, after_spray_s), light_key(file.scene))
        lit = self._lights.get(light)
        if lit is None:
            lit = self._lights.keep(light, self._lit(file, scene, after_spray_s, solids, progress, shot))
        # Shots and kit may have changed since: no stored light knows them.
        return lit if lit.scene == scene else replace(lit, scene=scene)

    def _lit(self, file: SceneFile, scene: Scene, after_spray_s: float, solids, progress, shot: Shot | None) -> LitSet:
        base = self._bases.get(solids)
        if base is None:
            base = self._bases.keep(solids, self._baked(file, progress))
            if shot is None:
                return base
        if shot is not None and any(lamp.measured for lamp in file.scene.lamp):
            # Readings were taken with the lamps as the file has them, so these are lit first.
            return lit_at_roll(self._as(file, file.scene, 0.0, progress), shot)
        self.counts.relit += 1
        return lit_anew(base, scene) if shot is None else relit_as(base, scene, after_spray_s)

    def _baked(self, file: SceneFile, progress) -> LitSet:
        """Light the set as built, with a transport of these very triangles where one is kept."""
        built = self.built(file)
        key = _surfaces(built, file.scene)
        seen = self._seen.get(key)
        lit = light_set(file.scene, built, texels=self.texels, rays=self.rays, seen=seen, workers=self.workers, progress=progress)
        if seen is None:
            self.counts.baked += 1
            self._seen.keep(key, lit.transport)
        return lit


def solids_key(file: SceneFile) -> str:
    """Return a text of everything that a built set depends on; mesh files, and photometric ones with them, by date and size."""
    scene = file.scene
    names = {prop.file for prop in scene.prop if prop.kind == "mesh"} | {lamp.file for lamp in scene.lamp if lamp.kind == "ies"} | ({scene.mesh.file} if scene.mesh else set())
    dated = tuple((name, *_dated(file.path.parent / name)) for name in sorted(names))
    return f"{file.path.parent} {dated} {scene.model_dump_json(include={'room', 'opening', 'prop', 'mesh', 'finish'})}"


def light_key(scene: Scene) -> str:
    """Return a text of everything that light in a set depends on, but the set."""
    return scene.model_dump_json(include={"lamp", "haze"})


def _filled(file: SceneFile) -> str:
    return f"{solids_key(file)} {file.scene.haze.fills}"


def _dated(path: Path) -> tuple[int, int]:
    try:
        found = path.stat()
    except OSError:
        return (0, 0)
    return (found.st_mtime_ns, found.st_size)


def _surfaces(built: BuiltSet, scene: Scene) -> bytes:
    """A hash of all that the transport depends on: triangles, how they lie on faces, what these reflect, where the haze is."""
    digest = hashlib.sha256(repr((scene.haze.fills, [(face.part, face.side, face.flat, face.chart) for face in built.faces])).encode())
    shares = np.array([built.reflectance[face.finish] for face in built.faces], float)
    for array in (built.vertices, built.triangles, built.face_of, built.uv, shares, *(cell.planes for cell in built.cells)):
        part = np.ascontiguousarray(array).tobytes()
        digest.update(len(part).to_bytes(8, "little") + part)
    return digest.digest()
