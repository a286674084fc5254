"""
The set for other programs as USD, where `usd-core` is installed (the extra "usd"): solids, finishes, lamps, cameras.

Takes the scene, the built set, its lamps and the moves; gives the text of a .usda file. USD says its own unit and its own
up, so lengths stay millimetres with z up. Time codes are milliseconds of the take.

Sources: UsdGeom and UsdLux schemas (USD 26.11 documentation, from memory): a camera's focal length and apertures count in
tenths of the stage's unit; a light's intensity is luminance in cd/m2; shaping:focus multiplies by a power of the cosine.
"""

from __future__ import annotations

import importlib.util

import numpy as np

from previz.camera.exposure import stop_used
from previz.camera.view import axes
from previz.frames.along import lamp_rises
from previz.frames.still import lit_at_roll, view_of
from previz.light.lamps import intensity
from previz.light.units import metres
from previz.rig.moves import Move
from previz.scene.model import Shot
from previz.sheets.export_lamps import has_its_own, haze_of, lamps_of
from previz.sheets.export_move import frame_times
from previz.sheets.fields import heading

CODES_PER_SECOND = 1000.0
TENTHS = 10.0
POINT_RADIUS_MM = 0.5
"""Of the disc that stands for a lamp without size (own choice)."""


def usd_is_there() -> bool:
    """Return whether the library is installed."""
    return importlib.util.find_spec("pxr") is not None


def set_usda(lit, moves: list[tuple[Shot, Move]]) -> str:
    """Return the file, as `set_glb` takes its parts."""
    from pxr import Usd, UsdGeom

    scene, built = lit.scene, lit.built
    stage = Usd.Stage.CreateInMemory()
    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.z)
    UsdGeom.SetStageMetersPerUnit(stage, metres(1.0))
    stage.SetTimeCodesPerSecond(CODES_PER_SECOND)
    longest = max((shot.take_s for shot, _ in moves), default=0.0)
    stage.SetStartTimeCode(0.0)
    stage.SetEndTimeCode(round(longest * CODES_PER_SECOND, 6))
    top = UsdGeom.Xform.Define(stage, "/World")
    stage.SetDefaultPrim(top.GetPrim())
    top.GetPrim().SetCustomDataByKey("previz", {"title": scene.title, "scale": scene.scale, "units": "millimetres of the model, z up, origin at the set's datum corner", "time": "codes are milliseconds of the take, real time"})
    names = _Names(stage)
    _solids(stage, names, built)
    _lamps(stage, names, lit, moves)
    for shot, move in moves:
        _camera(stage, names, lit, shot, move)
    return stage.GetRootLayer().ExportToString()


class _Names:
    """Paths for names in any script: what USD cannot spell is spelt out, and the maker's own is kept as the display name."""

    def __init__(self, stage):
        self._stage, self._taken = stage, set()

    def path(self, folder: str, name: str) -> str:
        """Return a path under `folder` that is not taken yet."""
        from pxr import Tf

        stem = Tf.MakeValidIdentifier(name) if name.isascii() else "_" + "_".join(f"{ord(c):x}" for c in name[:12])
        path, count = f"/World/{folder}/{stem}", 1
        while path in self._taken:
            count += 1
            path = f"/World/{folder}/{stem}_{count}"
        self._taken.add(path)
        return path


def _solids(stage, names, built) -> None:
    from pxr import Gf, UsdGeom, UsdShade, Vt

    finishes = {name: _material(stage, names, name, built.reflectance[name]) for name in sorted({face.finish for face in built.faces})}
    of_face = np.array([face.finish for face in built.faces])
    for part in built.parts:
        mesh = UsdGeom.Mesh.Define(stage, names.path("Set", part.name))
        mesh.GetPrim().SetDisplayName(part.name)
        triangles, finish = built.triangles[part.first : part.last], of_face[built.face_of[part.first : part.last]]
        used, index = np.unique(triangles, return_inverse=True)
        points = built.vertices[used].astype(np.float32)
        mesh.CreatePointsAttr(Vt.Vec3fArray.FromNumpy(points))
        mesh.CreateFaceVertexIndicesAttr(Vt.IntArray.FromNumpy(index.reshape(-1).astype(np.int32)))
        mesh.CreateFaceVertexCountsAttr(Vt.IntArray.FromNumpy(np.full(len(triangles), 3, np.int32)))
        mesh.CreateExtentAttr([Gf.Vec3f(*map(float, points.min(axis=0))), Gf.Vec3f(*map(float, points.max(axis=0)))])
        mesh.CreateSubdivisionSchemeAttr(UsdGeom.Tokens.none)
        mesh.CreateDoubleSidedAttr(True)
        kinds = sorted(set(finish.tolist()))
        UsdShade.MaterialBindingAPI.Apply(mesh.GetPrim()).Bind(finishes[kinds[0]])
        for name in kinds if len(kinds) > 1 else ():
            faces = Vt.IntArray.FromNumpy(np.flatnonzero(finish == name).astype(np.int32))
            subset = UsdShade.MaterialBindingAPI(mesh.GetPrim()).CreateMaterialBindSubset(finishes[name].GetPrim().GetName(), faces)
            UsdShade.MaterialBindingAPI.Apply(subset.GetPrim()).Bind(finishes[name])


def _material(stage, names, name: str, reflectance):
    """A matt surface: its diffuse colour is its reflectance."""
    from pxr import Gf, Sdf, UsdShade

    path = names.path("Finishes", name)
    material, shader = UsdShade.Material.Define(stage, path), UsdShade.Shader.Define(stage, f"{path}/surface")
    material.GetPrim().SetDisplayName(name)
    shader.CreateIdAttr("UsdPreviewSurface")
    shader.CreateInput("diffuseColor", Sdf.ValueTypeNames.Color3f).Set(Gf.Vec3f(*map(float, reflectance)))
    shader.CreateInput("roughness", Sdf.ValueTypeNames.Float).Set(1.0)
    shader.CreateInput("metallic", Sdf.ValueTypeNames.Float).Set(0.0)
    material.CreateSurfaceOutput().ConnectToSource(shader.CreateOutput("surface", Sdf.ValueTypeNames.Token))
    return material


def _lamps(stage, names, lit, moves) -> None:
    """Lights on faces: luminance is candela over area, and a beam cos^n is Lambert's cosine times shaping to the power n - 1."""
    from pxr import Gf, UsdLux

    rises = lamp_rises(lit.scene, lit.built)
    for lamp, rise in zip(lit.emitters, rises):
        path = names.path("Lamps", lamp.name)
        wide, high = (float(np.linalg.norm(half)) for half in (lamp.half_u, lamp.half_v))
        if lamp.shape == "panel":
            light, area_mm2 = UsdLux.RectLight.Define(stage, path), 4 * wide * high
            light.CreateWidthAttr(2 * wide)
            light.CreateHeightAttr(2 * high)
        else:
            radius = wide or POINT_RADIUS_MM
            light, area_mm2 = UsdLux.DiskLight.Define(stage, path), np.pi * radius**2
            light.CreateRadiusAttr(radius)
        on_axis = np.asarray(lamp.candela, float) * intensity(lamp, [lamp.normal])[0]
        strongest = float(on_axis.max())
        light.CreateColorAttr(Gf.Vec3f(*map(float, on_axis / strongest if strongest else np.ones(3))))
        light.CreateIntensityAttr(strongest / metres(metres(area_mm2)))
        if lamp.exponent > 1:
            UsdLux.ShapingAPI.Apply(light.GetPrim()).CreateShapingFocusAttr(lamp.exponent - 1)
        light.GetPrim().SetDisplayName(lamp.name)
        told = {"candela_rgb": [float(v) for v in on_axis], "shape": lamp.shape}
        if lamp.spread is not None:
            told["note"] = "measured by direction; here it falls as a cosine"
        light.GetPrim().SetCustomDataByKey("previz", told)
        _, left, up = axes(*np.radians(heading(lamp.normal)))
        place = light.AddTransformOp()
        place.Set(_matrix(lamp.centre, -left, up, lamp.normal))
        moving = [(shot, move) for shot, move in moves if rise and move.lift[0] != move.lift[1]]
        for shot, move in moving[:1]:
            for take_s, height in zip(frame_times(shot), move.lift_mm(frame_times(shot))):
                place.Set(_matrix(lamp.centre + [0, 0, rise * height], -left, up, lamp.normal), round(take_s * CODES_PER_SECOND, 6))
            # One file has one time, so a lamp that a lift moves in several shots moves here as in the first of them.
            light.GetPrim().SetCustomDataByKey("moves_in", shot.name)
            light.GetPrim().SetCustomDataByKey("rises_mm", {one.name: [float(rise * height) for height in there.lift] for one, there in moving})


def _matrix(origin, right, up, forward):
    """What turns a thing that looks along its own -z, y up: rows are its axes and its place."""
    from pxr import Gf

    rows = [[*map(float, right), 0.0], [*map(float, up), 0.0], [*map(float, -np.asarray(forward)), 0.0], [*map(float, origin), 1.0]]
    return Gf.Matrix4d(rows)


def _camera(stage, names, lit, shot: Shot, move: Move) -> None:
    from pxr import Gf, UsdGeom

    camera = UsdGeom.Camera.Define(stage, names.path("Cameras", shot.name))
    camera.GetPrim().SetDisplayName(shot.name)
    told = {"take_s": shot.take_s, "clip_s": shot.clip, "capture_fps": shot.fps, "playback_fps": shot.playback, "stands_at": "the entrance pupil", "lift_mm": [float(v) for v in move.lift]}
    if has_its_own(shot):
        told |= {"lamps": {f"lamp {number}": one for number, one in enumerate(lamps_of(lit, lit_at_roll(lit, shot), shot), start=1)}}
        told |= {"haze": {key: value for key, value in haze_of(lit.scene, shot).items() if value is not None}}
    camera.GetPrim().SetCustomDataByKey("previz", told)
    width = lit.scene.body.sensor[0] / lit.scene.body.crop
    columns, rows = lit.scene.body.resolution
    camera.CreateHorizontalApertureAttr(TENTHS * width)
    camera.CreateVerticalApertureAttr(TENTHS * width * rows / columns)
    camera.CreateFStopAttr(stop_used(lit.scene.lens, shot))
    camera.CreateClippingRangeAttr(Gf.Vec2f(1.0, 100_000.0))
    focal, focus, place = camera.CreateFocalLengthAttr(), camera.CreateFocusDistanceAttr(), camera.AddTransformOp()
    moments = frame_times(shot) if move.changes else np.zeros(1)
    poses, focused = move.poses(moments), move.focus_mm(moments)
    ways = axes(poses.pan, poses.tilt)
    for take_s, position, way, distance in zip(moments, poses.position, ways, focused):
        code = [round(take_s * CODES_PER_SECOND, 6)] if move.changes else []
        # What a pinhole of that focal length sees is what the lens sees, focused as near as it is.
        focal.Set(TENTHS * width / 2 / view_of(lit, move, take_s, (columns, rows)).half_width, *code)
        focus.Set(float(distance), *code)
        place.Set(_matrix(position, -way[1], way[2], way[0]), *code)
