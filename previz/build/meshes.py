"""
Meshes from files as solids: STL, OBJ, PLY and GLB through trimesh.

Takes a file, its unit and a scale; gives one solid for each geometry in it. Where the file cannot be used it says so
in the maker's words as a `MeshFault`. Knows no scene.

    axes   glTF is y-up by its specification (glTF 2.0, section 3.4), so a GLB is turned: its x, y, z become x, z, -y.
           The other formats name no axis and are taken as written, z up.
    units  glTF's metre is not assumed: `units` says what the file's numbers are, for every format alike.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from previz.build.solids import Label, Side, Solid

SUFFIXES = (".stl", ".obj", ".ply", ".glb")
MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "inch": 25.4}
MOST_TRIANGLES = 5_000_000
Y_UP = np.array([(1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0)])


class MeshFault(ValueError):
    """A mesh file cannot be used: what was found, what is allowed, what to do."""

    def __init__(self, found: str, allowed: str, remedy: str):
        super().__init__(f"{found}: {remedy}")
        self.found, self.allowed, self.remedy = found, allowed, remedy


def mesh_solids(path: Path, name: str, kind: str, owner: str, units: str, finish: str, scale: float = 1.0) -> list[Solid]:
    """
    Return the geometries of a mesh file as solids, in millimetres, z up.

    Parameters
    ----------
    path : Path
        The file.
    name, kind, owner, finish : str
        Of the parts and their one face each; several geometries are numbered name-1, name-2, ...
    units : str
        "mm", "cm", "m" or "inch": the unit of the file's numbers.
    scale : float
        Multiplies the numbers.

    Raises
    ------
    MeshFault
        If the file is missing, is no mesh, holds no triangle or a number that is none, or is too large.
    """
    pieces = _triangles(_loaded(Path(path)), Path(path).name)
    turn = Y_UP if Path(path).suffix.lower() == ".glb" else np.eye(3)
    solids = []
    for number, (vertices, triangles) in enumerate(pieces, 1):
        called = name if len(pieces) == 1 else f"{name}-{number}"
        side = Side(Label(called, "surface", finish), triangles, None, False)
        solids.append(Solid(called, kind, owner, vertices * (MM[units] * scale) @ turn, (side,), _closed(triangles)))
    return solids


def _loaded(path):
    import trimesh  # costs a third of a second, and most scenes have no mesh file

    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise MeshFault(f"{path.name} ends in {suffix or 'nothing'}", ".stl, .obj, .ply or .glb", "Export it in one of these formats.")
    if not path.is_file():
        found = "a folder" if path.is_dir() else "no such file"
        raise MeshFault(f"{path.name}: {found}", "a file, named from the scene file's folder", "Check the name and where the file lies.")
    if path.stat().st_size == 0:
        raise MeshFault(f"{path.name} is empty", "a mesh file", "Export it again; the last export may have stopped half way.")
    try:
        return trimesh.load_scene(path, process=False, maintain_order=True, skip_materials=True)
    except Exception as error:  # the readers raise whatever their parsers meet, and to the maker all of it is one fault
        raise _not_a_mesh(path.name, suffix) from error


def _not_a_mesh(name, suffix):
    return MeshFault(f"{name} is not a {suffix[1:].upper()} mesh", "STL, OBJ, PLY or GLB", "Open it in a 3D program, export it again, and keep the suffix of its format.")


def _triangles(scene, name):
    """List of (vertices, triangles), degenerate triangles dropped."""
    meshes = [g for g in scene.dump() if hasattr(g, "faces")]
    count = sum(len(mesh.faces) for mesh in meshes)
    if count > MOST_TRIANGLES:
        raise MeshFault(f"{name} has {count:,} triangles", f"at most {MOST_TRIANGLES:,}", "Reduce (decimate) it in a 3D program first.")
    pieces = [_welded(np.asarray(mesh.vertices, float), np.asarray(mesh.faces), name) for mesh in meshes]
    pieces = [piece for piece in pieces if len(piece[1])]
    if not pieces:
        raise MeshFault(f"{name} holds no triangle", "a mesh with triangles", "Export the surface, not only points or lines.")
    return pieces


def _welded(vertices, triangles, name):
    """One vertex for each place, so that neighbouring triangles share it, and no triangle without area."""
    if len(triangles) and (triangles.min() < 0 or triangles.max() >= len(vertices)):
        raise MeshFault(f"{name} refers to corners that it does not have", "a whole mesh", "Export it again; the file is damaged.")
    if not np.all(np.isfinite(vertices)):
        raise MeshFault(f"{name} holds numbers that are not finite", "finite coordinates", "Repair the mesh in a 3D program and export it again.")
    order = np.lexsort(vertices.T)
    ordered = vertices[order]
    new = np.r_[True, np.any(ordered[1:] != ordered[:-1], axis=1)] if len(ordered) else np.zeros(0, bool)
    number = np.empty(len(vertices), np.int64)
    number[order] = np.cumsum(new) - 1
    vertices, triangles = ordered[new], number[triangles]
    a, b, c = (vertices[triangles[:, k]] for k in range(3))
    return vertices, triangles[np.any(np.cross(b - a, c - a) != 0, axis=1)]


def _closed(triangles):
    """True when every edge has its partner the other way round."""
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    keys = edges.astype(np.int64)
    forth = np.sort(keys[:, 0] << 32 | keys[:, 1])
    back = np.sort(keys[:, 1] << 32 | keys[:, 0])
    return bool(len(forth) and np.array_equal(forth, back))
