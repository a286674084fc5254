"""
The same set in Mitsuba 3, a published path tracer, so that pictures can be compared.

Takes a built set, emitters, haze and a view; gives pictures in linear Rec. 709 RGB, cd/m2, by Mitsuba's `volpath`
(W. Jakob et al., Mitsuba 3 renderer, 2022, https://mitsuba-renderer.org). Knows nothing of how previz computes light.

Built in millimetres: Mitsuba moves ray origins by about (1 + |p|) 9e-5 of a unit, which in metres shifts every penumbra.
Radiance does not depend on the unit of length; extinction does, and is per millimetre here.
"""

from __future__ import annotations

import os
from glob import glob
from itertools import combinations
from math import atan, degrees, pi

import numpy as np
import trimesh

# The haze reaches into the walls, or Mitsuba's ray offset steps through the floor where air and floor meet.
OVERLAP_MM = 1.0
# Points that stand for the face of a lamp with a beam, and the texels across the window of tangents that each shines through.
BEAM_POINTS, BEAM_TEXELS, BEAM_WINDOW_DEG = 64, 1025, 110.0
# A lamp without a size becomes a disc this small: faces in Mitsuba are Lambertian, its point lamps are even all round.
POINT_RADIUS_MM = 0.05


def llvm_library() -> str | None:
    """Return an LLVM shared library that Mitsuba's compiled variants can load, newest first; None where there is none."""
    if os.environ.get("DRJIT_LIBLLVM_PATH"):
        return os.environ["DRJIT_LIBLLVM_PATH"]
    # Version 14, which distributions still ship, fails on processors with AVX-512.
    for version in range(22, 14, -1):
        for pattern in (f"/usr/lib/*/libLLVM.so.{version}*", f"/usr/lib/*/libLLVM-{version}.so*", f"/usr/lib*/llvm-{version}/lib/libLLVM*.so*"):
            if found := sorted(glob(pattern)):
                return found[0]
    return None


def reference_scene(mi, built, emitters, medium, view, max_depth: int, window: tuple[int, int, int, int] | None = None):
    """
    Return the Mitsuba scene of a built set, ready for `mitsuba.render`.

    Parameters
    ----------
    mi : module
        `mitsuba`, its variant chosen.
    built : BuiltSet
    emitters : sequence of Emitter
        Lambertian faces (exponent 1, `beam = 120`) are surfaces there. Others are points spread evenly over the face, each with
        the beam's own profile: their light is exact, but the face is not seen when the lens looks at it.
    medium : Medium or None
        The haze; None for clear air.
    view : View
        With square pixels.
    max_depth : int
        Longest path: 2 is direct light and single scattering, 16 is, at reflectance 0.5, everything.
    window : (left, top, columns, rows), optional
        The part of the picture that is drawn; all of it by default. [pixel]

    Raises
    ------
    ValueError
        Where the set holds something that Mitsuba's scene cannot say.
    """
    haze = _haze(mi, medium)
    around_lens = haze if haze is not None and _in_air(medium.cells, view.position) else None
    lens = _lens(mi, view, around_lens, window)
    parts = {"type": "scene", "integrator": {"type": "volpath", "max_depth": max_depth, "rr_depth": 64}, "lens": lens}
    parts |= _surfaces(mi, built)
    for i, emitter in enumerate(emitters):
        parts |= {f"lamp{i}-{k}": lamp for k, lamp in enumerate(_lamps(mi, emitter))}
    if haze is not None:
        corners, triangles = _grown_air(medium.cells)
        parts["air"] = _mesh(mi, corners, triangles, {"type": "null"}, interior=haze)
    return mi.load_dict(parts)


def render(mi, scene, samples: int, seed: int) -> np.ndarray:
    """Return (rows, columns, 3) float32 linear Rec. 709 RGB of `scene` by `samples` rays a pixel. [cd/m2]"""
    return np.array(mi.render(scene, spp=samples, seed=seed), dtype=np.float32)[..., :3]


def _haze(mi, medium):
    if medium is None or medium.extinction_per_m == 0:
        return None
    if medium.droplets is None:
        phase = {"type": "hg", "g": float(medium.g)}
    else:
        # Even steps of the cosine between the ways that light comes from and goes to, as Mitsuba counts it.
        cos = np.linspace(-1, 1, 20001)
        phase = {"type": "tabphase", "values": ",".join(f"{p:.6g}" for p in medium.phase.at(cos))}
    return mi.load_dict({"type": "homogeneous", "sigma_t": medium.extinction_per_m / 1000, "albedo": float(medium.albedo), "phase": phase})


def _lens(mi, view, haze, window) -> dict:
    if abs(view.half_width / view.columns - view.half_height / view.rows) > 1e-6:
        raise ValueError("the reference camera has square pixels only")
    position = np.asarray(view.position, dtype=float)
    look = mi.ScalarTransform4f().look_at(origin=position.tolist(), target=(position + view.forward).tolist(), up=np.asarray(view.up, dtype=float).tolist())
    film = {"type": "hdrfilm", "width": view.columns, "height": view.rows, "pixel_format": "rgb", "component_format": "float32", "rfilter": {"type": "box"}}
    if window is not None:
        film |= dict(zip(("crop_offset_x", "crop_offset_y", "crop_width", "crop_height"), map(int, window)))
    lens = {"type": "perspective", "near_clip": 0.1, "far_clip": 1e6, "fov_axis": "x", "fov": degrees(2 * atan(view.half_width)), "film": film}
    lens |= {"sampler": {"type": "independent"}, "to_world": look}
    return lens if haze is None else lens | {"medium": haze}


def _surfaces(mi, built) -> dict:
    """Return one mesh a finish, flat shaded, matt on both sides."""
    finish_of = np.array([face.finish for face in built.faces])[built.face_of]
    meshes = {}
    for i, finish in enumerate(sorted(set(finish_of))):
        matt = {"type": "diffuse", "reflectance": {"type": "rgb", "value": [float(c) for c in built.reflectance[finish]]}}
        corners = np.asarray(built.vertices)[built.triangles[finish_of == finish]]
        meshes[f"finish{i}"] = _mesh(mi, corners.reshape(-1, 3), np.arange(corners.shape[0] * 3).reshape(-1, 3), {"type": "twosided", "matt": matt})
    return meshes


def _mesh(mi, corners, triangles, bsdf: dict, interior=None):
    properties = mi.Properties()
    properties["surface"] = mi.load_dict(bsdf)
    if interior is not None:
        properties["interior"] = interior
    mesh = mi.Mesh("mesh", len(corners), len(triangles), props=properties)
    values = mi.traverse(mesh)
    values["vertex_positions"] = np.ascontiguousarray(corners, dtype=np.float32).ravel()
    values["faces"] = np.ascontiguousarray(triangles, dtype=np.uint32).ravel()
    values.update()
    return mesh


def _lamps(mi, emitter) -> list[dict]:
    if emitter.spread is not None:
        raise ValueError("the reference lamps have no measured distribution")
    return [_face(mi, emitter)] if abs(emitter.exponent - 1) < 1e-9 else _beams(mi, emitter)


def _beams(mi, emitter) -> list[dict]:
    """
    Return a lamp's face as `BEAM_POINTS` projectors that share its intensity, I0 cos^n each way.

    A projector's texture is the light on the plane one unit ahead of it, as radiance of a white surface: its intensity at
    an angle is pi texture / cos^3 (checked by the distance law in `test_renderer.py`). Nothing goes outside `BEAM_WINDOW_DEG`.
    """
    tangent = np.tan(np.radians(BEAM_WINDOW_DEG / 2)) * ((np.arange(BEAM_TEXELS) + 0.5) / BEAM_TEXELS * 2 - 1)
    cos = 1 / np.sqrt(1 + tangent[:, None] ** 2 + tangent[None] ** 2)
    # The scene is in millimetres: one candela over a square millimetre is a million lux.
    texture = (cos ** (emitter.exponent + 3))[..., None] * np.asarray(emitter.candela, float) * 1e6 / (pi * BEAM_POINTS)
    picture = mi.Bitmap(np.ascontiguousarray(texture, dtype=np.float32))
    profile = mi.load_dict({"type": "bitmap", "bitmap": picture, "raw": True, "filter_type": "bilinear", "wrap_mode": "clamp"})
    up = np.eye(3)[np.argmin(np.abs(emitter.normal))].tolist()
    lamps = []
    for point in _spread_over(emitter):
        look = mi.ScalarTransform4f().look_at(origin=point.tolist(), target=(point + emitter.normal).tolist(), up=up)
        lamps.append({"type": "projector", "irradiance": profile, "fov": BEAM_WINDOW_DEG, "to_world": look})
    return lamps


def _spread_over(emitter) -> np.ndarray:
    """Return (BEAM_POINTS, 3) points spread evenly over a face: a sunflower's spiral on a disc, a grid on a panel. [mm]"""
    if emitter.shape == "panel":
        side = round(BEAM_POINTS**0.5)
        middle = (np.arange(side) + 0.5) / side * 2 - 1
        u, v = (grid.ravel() for grid in np.meshgrid(middle, middle))
    else:
        order = np.arange(BEAM_POINTS)
        radius, angle = np.sqrt((order + 0.5) / BEAM_POINTS), order * pi * (3 - 5**0.5)
        u, v = radius * np.cos(angle), radius * np.sin(angle)
    return np.asarray(emitter.centre) + u[:, None] * emitter.half_u + v[:, None] * emitter.half_v


def _face(mi, emitter) -> dict:
    """
    Return a lamp's face as a surface of constant radiance.

    A Lambertian face of area A and intensity I0 on its axis has the radiance L = I0 / A in every direction.
    """
    half_u, half_v = (np.asarray(h, dtype=float) for h in (emitter.half_u, emitter.half_v))
    if emitter.shape == "point":
        half_u = np.cross(emitter.normal, np.eye(3)[np.argmin(np.abs(emitter.normal))])
        half_u *= POINT_RADIUS_MM / np.linalg.norm(half_u)
        half_v = np.cross(emitter.normal, half_u)
    to_world = np.eye(4)
    # Mitsuba's disk and rectangle span -1 to 1 in x and y and face +z.
    to_world[:3] = np.stack([half_u, half_v, emitter.normal, emitter.centre], axis=1)
    area_m2 = (4 if emitter.shape == "panel" else pi) * np.linalg.norm(half_u) * np.linalg.norm(half_v) / 1e6
    radiance = [float(c) / area_m2 for c in emitter.candela]
    shape = {"type": "rectangle" if emitter.shape == "panel" else "disk", "to_world": mi.ScalarTransform4f(to_world)}
    black = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}
    return shape | {"bsdf": black, "emitter": {"type": "area", "radiance": {"type": "rgb", "value": radiance}}}


def _in_air(cells, point) -> bool:
    """Return whether a point lies in one of the cells as `_grown_air` grows them. [mm]"""
    planes = [np.array(cell.planes, dtype=float) for cell in cells]
    return any(bool((cell[:, :3] @ np.asarray(point, float) <= cell[:, 3] + OVERLAP_MM).all()) for cell in planes)


def _grown_air(cells) -> tuple[np.ndarray, np.ndarray]:
    """Return corners (n, 3) and triangles (m, 3) of the outer skin of all cells, each grown by OVERLAP_MM. [mm]"""
    solids = []
    for cell in cells:
        planes = np.array(cell.planes, dtype=float)
        solids.append(_convex(planes[:, :3], planes[:, 3] + OVERLAP_MM))
    skin = solids[0] if len(solids) == 1 else trimesh.boolean.union(solids, engine="manifold")
    return np.asarray(skin.vertices), np.asarray(skin.faces)


def _convex(normals: np.ndarray, offsets: np.ndarray) -> trimesh.Trimesh:
    """Return the convex solid where normals @ x <= offsets, by the corners of every three planes that lie inside the rest."""
    corners = []
    for three in combinations(range(len(normals)), 3):
        if abs(np.linalg.det(normals[list(three)])) > 1e-9:
            corner = np.linalg.solve(normals[list(three)], offsets[list(three)])
            if np.all(normals @ corner <= offsets + 1e-6):
                corners.append(corner)
    return trimesh.convex.convex_hull(np.unique(np.round(corners, 6), axis=0))
