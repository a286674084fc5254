"""
Patches as open files: where light lands, for a drawing program or a script.

Takes patches of a set; gives JSON in the form of GeoJSON (RFC 7946) and DXF. RFC 7946 knows only degrees on the globe, so the
JSON says in itself that its numbers are millimetres of the set, and is not named .geojson.
"""

from __future__ import annotations

import io
import json
import re

import ezdxf
import numpy as np
from ezdxf import units

from previz.scene.model import Scene
from previz.sheets.drawn import same_bytes

AXES = "millimetres of the model, right-handed, z up, origin at the set's datum corner; the lift at 0 where no other height is stated"
SHOTS = "where a shot has patches of its own, the lit part of the set in it is these and not those without a shot; at_take_s and lift_mm say when"
_PLAN_LAYER = "plan of the set"
_COLOUR, _PLAN_COLOUR = 30, 8
"""AutoCAD colour index, as the DXF reference numbers them: 30 orange, 8 grey."""


def patches_json(scene: Scene, found, own=()) -> str:
    """
    Return a FeatureCollection: a Polygon [x, y, z] for each patch, closed, with lamp, opening, pane, face and figures as properties.

    Parameters
    ----------
    found : list of Patch
        Of the lamps as the file has them.
    own : iterable of (Shot, LightThen)
        Where the light lands in shots in which it differs.
    """
    features = [_feature(patch) for patch in found]
    features += [_feature(patch, shot, then) for shot, then in own for patch in then.patches]
    head = {"type": "FeatureCollection", "schema": 1, "scene": scene.title, "scale": scene.scale, "coordinates_are": AXES, "shots_are": SHOTS}
    units_of = {"area_mm2": "square millimetres", "lux": "lux at centre_mm, straight from the lamp", "penumbra_mm": "millimetres, full width of the soft edge"}
    return json.dumps({**head, "units": units_of, "features": features}, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _feature(patch, shot=None, then=None) -> dict:
    ring = [[_figure(v) for v in point] for point in np.vstack([patch.outline_mm, patch.outline_mm[:1]])]
    told = {"lamp": patch.lamp, "opening": patch.opening, "pane": list(patch.pane), "on": patch.on, "centre_mm": [_figure(v) for v in patch.centre_mm]}
    told |= {key: _figure(getattr(patch, key)) for key in ("area_mm2", "lux", "penumbra_mm", "lit_share")}
    told |= {"shot": None} if shot is None else {"shot": shot.name, "at_take_s": _figure(then.at_take_s), "lift_mm": _figure(then.lift_mm)}
    return {"type": "Feature", "geometry": {"type": "Polygon", "coordinates": [ring]}, "properties": told}


def _figure(value) -> float:
    return round(float(value), 4) + 0.0


def patches_dxf(scene: Scene, found, own=()) -> str:
    """
    Return the patches as DXF R2010, unit millimetre: closed polylines in space, a layer for each lamp, and one for each lamp of
    a shot and a moment that differs; and the rooms' plans on the floor. Parameters as `patches_json`.
    """
    drawn = [(patch.lamp, patch) for patch in found]
    drawn += [(f"{patch.lamp} in {shot.name} at {then.at_take_s:.4g} s", patch) for shot, then in own for patch in then.patches]
    with same_bytes():
        document = ezdxf.new("R2010", units=units.MM)
        document.header["$MEASUREMENT"] = 1
        document.header["$PROJECTNAME"] = _plain(scene.title)
        space = document.modelspace()
        document.layers.add(_PLAN_LAYER, color=_PLAN_COLOUR)
        for room in scene.room:
            space.add_polyline3d([(x, y, 0.0) for x, y in room.plan], close=True, dxfattribs={"layer": _PLAN_LAYER})
        layers = layer_names([name for name, _ in drawn])
        for layer in layers.values():
            document.layers.add(layer, color=_COLOUR)
        for name, patch in drawn:
            space.add_polyline3d([tuple(map(float, point)) for point in patch.outline_mm], close=True, dxfattribs={"layer": layers[name]})
        stated = space.add_text(f"{_plain(scene.title)}: patches of light. {AXES}.", height=4.0, dxfattribs={"layer": _PLAN_LAYER})
        stated.set_placement((0.0, -12.0))
        stream = io.StringIO()
        document.write(stream)
    return stream.getvalue()


def layer_names(lamps) -> dict[str, str]:
    """Return the layer of each lamp: its name without the signs that DXF keeps for itself, no two alike whatever their case."""
    found: dict[str, str] = {}
    for lamp in dict.fromkeys(lamps):
        stem = f"light of {_plain(lamp)}"
        name, count = stem, 1
        while name.lower() in {other.lower() for other in found.values()}:
            count += 1
            name = f"{stem} {count}"
        found[lamp] = name
    return found


def _plain(text: str) -> str:
    return re.sub(r'[<>/\\":;?*|=`,\x00-\x1f]', "-", text)[:200]
