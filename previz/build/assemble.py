"""
The set put together: every room, opening and prop of a scene as one `BuiltSet`.

Takes a checked scene; gives the geometry that all later rows see.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from previz.build.apertures import gap_apertures, opening_apertures, opening_paper
from previz.build.built import Aperture, BuiltSet, Face, Paper, Part
from previz.build.cells import box_cell, room_cells
from previz.build.colours import shares_of
from previz.build.meshes import MM, MeshFault, Piece, mesh_solids, read_mesh
from previz.build.panels import bars_solid, panel_solid, paper_finish, paper_solid, slats_solid
from previz.build.props import prop_solids, turn_axes
from previz.build.solids import Solid
from previz.scene.elevations import panel_named, panels_of
from previz.scene.model import Finish, MeshProp, Scene

PLAIN_REFLECTANCE = 0.5


def build_set(scene: Scene, folder: Path) -> BuiltSet:
    """
    Return the scene as solids, panes and air.

    Parameters
    ----------
    scene : Scene
        Checked, its rows of things (`repeat`) written out.
    folder : Path
        That the scene file lies in; mesh files are found from here.

    Raises
    ------
    MeshFaults
        If mesh files cannot be used; it holds the fault of each.
    """
    meshes, faults = read_meshes(scene, folder)
    if faults:
        raise MeshFaults(faults)
    return assembled(scene, meshes, folder)


def assembled(scene: Scene, meshes: dict[str, tuple[Piece, ...]], folder: Path | None) -> BuiltSet:
    """Return the scene as solids, panes and air, with the mesh files given; what needs another is left out."""
    solids, apertures, papers, cells = [], [], [], []
    for room in scene.room:
        cells += room_cells(room)
        cut, panes, pasted = _room(scene, room)
        solids += cut
        apertures += panes
        papers += pasted
    if scene.mesh and scene.mesh.file in meshes:
        whole = _mesh_set(scene.mesh, meshes[scene.mesh.file])
        solids += whole
        cells.append(box_cell("mesh", _bounds(whole)))
    for prop in scene.prop:
        if not isinstance(prop, MeshProp) or prop.file in meshes:
            solids += prop_solids(prop, meshes)
    finishes = reflectances(scene.finish) | {
        # What tracing paper neither lets through nor swallows it sends back; it swallows next to nothing (common practice).
        paper_finish(o.diffuser): np.full(3, 1 - o.diffuser) for o in scene.opening if o.diffuser is not None
    }
    return replace(gathered(solids, tuple(apertures), tuple(cells), finishes), papers=tuple(papers), folder=Path(folder or ""))


class MeshFaults(ValueError):
    """Mesh files that cannot be used: `faults` is a list of (key path, MeshFault)."""

    def __init__(self, faults: list[tuple[tuple, MeshFault]]):
        super().__init__("; ".join(str(fault) for _, fault in faults))
        self.faults = faults


def read_meshes(scene: Scene, folder: Path) -> tuple[dict[str, tuple[Piece, ...]], list[tuple[tuple, MeshFault]]]:
    """Return the geometries of each mesh file that the scene names, read once, and (key path, fault) where one cannot be used."""
    users = [(("prop", i, "file"), prop.file) for i, prop in enumerate(scene.prop) if isinstance(prop, MeshProp)]
    users += [(("mesh", "file"), scene.mesh.file)] if scene.mesh else []
    meshes, faults = {}, {}
    for file in dict.fromkeys(file for _, file in users):
        try:
            meshes[file] = read_mesh(Path(folder) / file)
        except MeshFault as fault:
            faults[file] = fault
    return meshes, [(path, faults[file]) for path, file in users if file in faults]


def _room(scene, room) -> tuple[list[Solid], list[Aperture], list[Paper]]:
    """The solids of a room's panels with what is cut in them, its panes and gaps, and the paper over them."""
    placed = _openings_by_panel(scene, room)
    solids, panes, papers = [], gap_apertures(room), []
    for panel in panels_of(room).values():
        openings = placed.get(panel.name, [])
        solids.append(panel_solid(room, panel, openings))
        for opening in openings:
            solids += [made for kind in (bars_solid, slats_solid, paper_solid) if (made := kind(room, panel, opening))]
            panes += opening_apertures(room, panel, opening)
            papers += opening_paper(room, panel, opening)
    return solids, panes, papers


def _openings_by_panel(scene, room):
    """Openings of a room by the panel that they are cut in; a slope has several names but is one panel."""
    here = [opening for opening in scene.opening if opening.room == room.name]
    panels = {name: panel_named(room, name) for name in {opening.panel for opening in here}}
    placed: dict[str, list] = {}
    for opening in here:
        if panels[opening.panel]:
            placed.setdefault(panels[opening.panel].name, []).append(opening)
    return placed


def _mesh_set(mesh, pieces):
    solids = mesh_solids(pieces, "mesh", "mesh", "mesh", mesh.finish, MM[mesh.units] * mesh.scale)
    return [solid.placed(turn_axes(mesh.turn), mesh.at) for solid in solids]


def _bounds(solids):
    return [np.min([s.vertices.min(axis=0) for s in solids], axis=0), np.max([s.vertices.max(axis=0) for s in solids], axis=0)]


def gathered(solids: list[Solid], apertures: tuple, cells: tuple, reflectance: dict[str, np.ndarray]) -> BuiltSet:
    """Return solids as one triangle soup, each triangle knowing its face."""
    faces, parts, triangles, face_of, uv = [], [], [], [], []
    start = first = 0
    for index, solid in enumerate(solids):
        last = first
        for side in solid.sides:
            count = len(side.triangles)
            triangles.append(side.triangles + start)
            face_of.append(np.full(count, len(faces), np.int32))
            uv.append(np.zeros((count, 3, 2)) if side.uv is None else side.uv)
            faces.append(Face(side.label.name, index, side.label.side, side.flat, side.uv is not None, side.label.finish))
            last += count
        parts.append(Part(solid.name, solid.kind, solid.owner, first, last, solid.closed))
        start, first = start + len(solid.vertices), last
    return BuiltSet(
        vertices=_stacked([s.vertices for s in solids], (0, 3), float),
        triangles=_stacked(triangles, (0, 3), np.int32),
        face_of=_stacked(face_of, (0,), np.int32),
        uv=_stacked(uv, (0, 3, 2), float),
        faces=tuple(faces),
        parts=tuple(parts),
        apertures=apertures,
        cells=cells,
        reflectance=reflectance,
    )


def _stacked(arrays, empty, kind):
    return np.ascontiguousarray(np.concatenate(arrays), dtype=kind) if arrays else np.zeros(empty, kind)


def reflectances(finishes: dict[str, Finish]) -> dict[str, np.ndarray]:
    """Return the linear RGB reflectance (3,) of each finish, and of "plain", which needs no table."""
    return {"plain": np.full(3, PLAIN_REFLECTANCE)} | {name: _reflectance(finish) for name, finish in finishes.items()}


def _reflectance(finish):
    if finish.colour is None:
        return np.full(3, PLAIN_REFLECTANCE if finish.reflect is None else finish.reflect)
    return shares_of(finish.colour)
