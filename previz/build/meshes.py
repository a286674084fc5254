"""
Meshes from files as solids: STL, OBJ, PLY and GLB through trimesh.

Takes a file, its unit and a scale; gives one solid for each geometry in it. Where the file cannot be used it says so
in the maker's words as a `MeshFault`. Knows no scene.

    axes   glTF is y-up by its specification (glTF 2.0, section 3.4), so a GLB is turned: its x, y, z become x, z, -y.
           The other formats name no axis and are taken as written, z up.
    units  glTF's metre is not assumed: `units` says what the file's numbers are, for every format alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from previz.build.solids import Label, Side, Solid

SUFFIXES = (".stl", ".obj", ".ply", ".glb")
MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4}
MOST_TRIANGLES = 5_000_000
_FARTHEST = 1e12
Y_UP = np.array([(1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0)])


class MeshFault(ValueError):
    """A mesh file cannot be used: what must stand there, what was found, what to do."""

    def __init__(self, allowed: str, found: str, remedy: str):
        super().__init__(f"{allowed} (got {found}): {remedy}")
        self.allowed, self.found, self.remedy = allowed, found, remedy


@dataclass(frozen=True)
class Piece:
    """One geometry of a file: vertices (n, 3) in the file's numbers, z up; triangles (m, 3); whether it is watertight."""

    vertices: np.ndarray
    triangles: np.ndarray
    closed: bool


def read_mesh(path: Path) -> tuple[Piece, ...]:
    """
    Return the geometries of a mesh file, welded, without triangles that have no area.

    Raises
    ------
    MeshFault
        If the file is missing, is no mesh, holds no triangle or a number that is none, or is too large.
    """
    path = Path(path)
    meshes = [mesh for mesh in _loaded(path) if hasattr(mesh, "faces")]
    count = sum(len(mesh.faces) for mesh in meshes)
    if count > MOST_TRIANGLES:
        raise MeshFault(
            f"must be a mesh of at most {MOST_TRIANGLES:,} triangles", f"{count:,} in {path.name}", "Reduce it in the program that made it."
        )
    turn = Y_UP if path.suffix.lower() == ".glb" else np.eye(3)
    pieces = [_welded(np.asarray(mesh.vertices, float) @ turn, np.asarray(mesh.faces), path.name) for mesh in meshes]
    pieces = tuple(piece for piece in pieces if len(piece.triangles))
    if not pieces:
        raise MeshFault("must be a mesh with triangles", f"none in {path.name}", "Export the surface, not only its points or lines.")
    return pieces


def mesh_solids(pieces: tuple[Piece, ...], name: str, kind: str, owner: str, finish: str, scale_mm: float) -> list[Solid]:
    """
    Return the geometries of a mesh file as solids.

    Parameters
    ----------
    pieces : of `read_mesh`
    name, kind, owner, finish : str
        Of the parts and of their one face each; several geometries are called "name: piece 1" and so on
    scale_mm : float
        Millimetres for each of the file's units.
    """
    solids = []
    for number, piece in enumerate(pieces, 1):
        called = name if len(pieces) == 1 else f"{name}: piece {number}"
        side = Side(Label(called, "surface", finish), piece.triangles, None, False)
        solids.append(Solid(called, kind, owner, piece.vertices * scale_mm, (side,), piece.closed))
    return solids


def _loaded(path):
    """The file's geometries as trimesh reads them, each where its scene puts it."""
    import trimesh  # costs a third of a second, and most scenes have no mesh file

    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise MeshFault("must be an STL, OBJ, PLY or GLB file", f'"{path.name}"', "Export the mesh in one of these formats.")
    if path.is_dir():
        raise MeshFault("must be a file", f'"{path.name}", a folder', "Name the mesh file in it.")
    if not path.is_file():
        raise MeshFault("must be a file that exists", f'"{path.name}", which is not there', "Give its place from the folder that the scene file is in.")
    if path.stat().st_size == 0:
        raise MeshFault("must be a mesh", f'"{path.name}", an empty file', "Export it again; the last export may have stopped half way.")
    try:
        return trimesh.load_scene(path, process=False, maintain_order=True, skip_materials=True).dump()
    except OSError as error:
        raise MeshFault("must be a file that can be read", f'"{path.name}": {error.strerror}', "Check its permissions.") from error
    except Exception as error:  # each reader raises what its parser happens to meet; to the maker all of it is one fault
        remedy = "Open it in the program that made it and export it again; keep the suffix of the format."
        raise MeshFault(f"must be a mesh in the {suffix[1:].upper()} format", f'"{path.name}", which is not one', remedy) from error


def _welded(vertices, triangles, name):
    """One vertex for each place, so that neighbouring triangles share it, and no triangle without area."""
    if len(triangles) and (triangles.min() < 0 or triangles.max() >= len(vertices)):
        raise MeshFault("must be a whole mesh", f"{name}, with triangles whose corners are missing", "Export it again; the file is damaged.")
    if not np.all(np.abs(vertices) < _FARTHEST):
        raise MeshFault(
            "must be a mesh of plain numbers", f"{name}, with corners at nan or beyond {_FARTHEST:.0e}", "Repair the mesh and export it again."
        )
    order = np.lexsort(vertices.T)
    ordered = vertices[order]
    new = np.r_[True, np.any(ordered[1:] != ordered[:-1], axis=1)][: len(ordered)]
    number = np.empty(len(vertices), np.int64)
    number[order] = np.cumsum(new) - 1
    vertices, triangles = ordered[new], number[triangles.astype(np.int64).reshape(-1, 3)]
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    triangles = triangles[np.any(np.cross(b - a, c - a) != 0, axis=1)]
    return Piece(vertices, triangles, _closed(triangles))


def _closed(triangles):
    """True when every edge has its partner the other way round."""
    forth = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    ahead = np.sort(forth[:, 0] << 32 | forth[:, 1])
    back = np.sort(forth[:, 1] << 32 | forth[:, 0])
    return bool(len(ahead) and np.array_equal(ahead, back))
