"""
Props as solids, standing where the maker puts them.

Takes the prop tables of a scene; gives solids in set coordinates. Knows no rooms and no light.

    at     centre of the footprint at the height of the lowest point; then turned about z
    names  box "bench top|bottom|front|back|left|right" (front is -y before the turn), cylinder "drum top|bottom|side",
           cutout "rail front|back|edge" stood up and "sign top|bottom|edge" lying flat, sphere and lathe the prop's own
"""

from __future__ import annotations

import math
from functools import singledispatch

import numpy as np
import shapely

from previz.build.meshes import MM, Piece, mesh_solids
from previz.build.solids import Label, Prism, Solid, box, segments, turned
from previz.scene.model import BoxProp, CutoutProp, CylinderProp, LatheProp, MeshProp, SphereProp


def prop_solids(prop, meshes: dict[str, tuple[Piece, ...]]) -> list[Solid]:
    """
    Return the solids of a prop, in set coordinates: one, or for a mesh file one for each geometry in it.

    Parameters
    ----------
    prop : a prop table of `previz.scene.model`
    meshes : dict
        The geometries of each mesh file, by the name that the maker typed.
    """
    if isinstance(prop, MeshProp):
        scale_mm = MM[prop.units] * prop.scale
        solids = _on_footprint(mesh_solids(meshes[prop.file], prop.name, "prop", prop.name, prop.finish, scale_mm))
    else:
        solids = [_solid(prop)]
    return [solid.placed(turn_axes(prop.turn), prop.at) for solid in solids]


def turn_axes(degrees: float) -> np.ndarray:
    """Return (3, 3): rows are where x, y and z go when turned about z, anticlockwise seen from above."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.array([(c, s, 0.0), (-s, c, 0.0), (0.0, 0.0, 1.0)])


def _on_footprint(solids):
    low = np.min([s.vertices.min(axis=0) for s in solids], axis=0)
    high = np.max([s.vertices.max(axis=0) for s in solids], axis=0)
    foot = np.array([*(low + high)[:2] / 2, low[2]])
    return [solid.placed(np.eye(3), -foot) for solid in solids]


@singledispatch
def _solid(prop) -> Solid:
    """The prop at the origin, unturned, scaled."""
    raise TypeError(f"no solid for a {type(prop).__name__}")


@_solid.register
def _(prop: BoxProp):
    return box(prop.name, prop.name, np.multiply(prop.size, prop.scale), prop.finish)


@_solid.register
def _(prop: CylinderProp):
    radius, height = prop.size[0] * prop.scale / 2, prop.size[1] * prop.scale
    words = ("bottom", "top", "side")
    labels = tuple(Label(f"{prop.name} {word}", word, prop.finish) for word in words)
    return turned(prop.name, prop.name, np.array([(radius, 0.0), (radius, height)]), labels)


@_solid.register
def _(prop: SphereProp):
    radius = prop.size * prop.scale / 2
    count = segments(radius) // 2
    angles = np.pi * np.arange(count + 1) / count
    profile = np.stack([_sphere_swell(count) * radius * np.sin(angles), radius * (1 - np.cos(angles))], axis=1)
    profile[[0, -1], 0] = 0.0
    label = Label(prop.name, "surface", prop.finish)
    return turned(prop.name, prop.name, profile, (label, label, label))


def _sphere_swell(count):
    """How much wider each ring stands, so that the stack of `count` cone frustums holds the sphere's volume."""
    angles = np.pi * np.arange(count + 1) / count
    r, h = np.sin(angles), np.diff(-np.cos(angles))
    return math.sqrt((4 / 3) / np.sum(h * (r[1:] ** 2 + r[1:] * r[:-1] + r[:-1] ** 2) / 3))


@_solid.register
def _(prop: LatheProp):
    profile = np.multiply(prop.profile, prop.scale)
    profile[:, 1] -= profile[:, 1].min()
    labels = tuple(Label(prop.name, side, prop.finish) for side in ("bottom", "top", "surface"))
    return turned(prop.name, prop.name, profile, labels)


@_solid.register
def _(prop: CutoutProp):
    shape = shapely.Polygon(np.multiply(prop.outline, prop.scale))
    left, low, right, high = shape.bounds
    half = prop.thickness * prop.scale / 2
    back, front = ("back", "front") if prop.upright else ("bottom", "top")
    prism = Prism(
        ((shape, Label(f"{prop.name} {back}", "side" if prop.upright else back, prop.finish)),),
        lambda corners: corners,
        (-half, half) if prop.upright else (0.0, 2 * half),
        Label(f"{prop.name} {front}", front, prop.finish),
        Label(f"{prop.name} edge", "edge", prop.finish),
    )
    flat = prism.solid(prop.name, "prop", prop.name)
    middle = (left + right) / 2
    if prop.upright:
        return flat.placed(np.array([(1, 0, 0), (0, 0, 1), (0, -1, 0)]), (-middle, 0.0, -low))
    return flat.placed(np.eye(3), (-middle, -(low + high) / 2, 0.0))
