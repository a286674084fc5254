"""
From a scene file to a set that can be built: read, build, check.

Takes a path; gives the file and the built set, or every fault that stands in the way. Knows no light.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from previz.build.assemble import assembled, read_meshes
from previz.build.built import BuiltSet
from previz.build.sound import Unsound, geometric_faults, unbuildable
from previz.scene.faults import SceneFaults
from previz.scene.model import Scene
from previz.scene.read import SceneFile, read_scene


def load_set(path: str | Path, *also: Callable[[Scene, Path], Iterable[Unsound]]) -> tuple[SceneFile, BuiltSet]:
    """
    Return a scene file and what is built from it.

    Parameters
    ----------
    also : callables
        Given the scene and its folder, each returns what else is wrong with the files that it names.

    Raises
    ------
    SceneFaults
        With every fault of the file or, where the file is sound, every fault of the solids and of the mesh files.
    """
    file = read_scene(path)
    return file, set_from(file, *also)


def set_from(file: SceneFile, *also: Callable[[Scene, Path], Iterable[Unsound]]) -> BuiltSet:
    """Return what is built from a scene file; parameters and errors as `load_set`."""
    built, found = _built(file.scene, file.path.parent)
    _raise(file, found, also)
    return built


def check_set(file: SceneFile, built: BuiltSet, *also: Callable[[Scene, Path], Iterable[Unsound]]) -> None:
    """Look anew for what is wrong with a set that was built from this file, or from another that differs in nothing that is built; parameters and errors as `load_set`."""
    _raise(file, geometric_faults(file.scene, built), also)


def _raise(file: SceneFile, found: list[Unsound], also) -> None:
    found = [*found, *(one for check in also for one in check(file.scene, file.path.parent))]
    if found:
        faults = {str(fault): fault for fault in (file.fault(*one) for one in found)}
        raise SceneFaults(list(faults.values()))


def _built(scene: Scene, folder: Path) -> tuple[BuiltSet | None, list[Unsound]]:
    """
    The set, and all faults.

    Mesh files that cannot be used are left out, so that they hide no other fault; what is too thin ends it before building.
    """
    meshes, unusable = read_meshes(scene, folder)
    faults = [Unsound(path, fault.found, fault.allowed, fault.remedy) for path, fault in unusable]
    if thin := unbuildable(scene):
        return None, thin + faults
    built = assembled(scene, meshes, folder)
    return built, faults + geometric_faults(scene, built)
