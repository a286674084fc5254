"""
The lamps and the haze of one shot, stated for other programs: files that know one set of lamps say here what a shot has else.

Takes a set lit as a shot sees it; gives plain values, all in set coordinates.
"""

from __future__ import annotations

from previz.haze.medium import extinction_at
from previz.light.colour import luminance
from previz.light.lamps import Emitter, intensity
from previz.scene.model import Scene, Shot
from previz.scene.shots import scene_of
from previz.sheets.fields import aim

DECIMALS = 4


def lamps_of(lit, rolled, shot: Shot) -> list[dict]:
    """
    Return what each lamp of the file is in a shot, in file order.

    Parameters
    ----------
    lit, rolled : LitSet
        As the file has it, and as it is when the camera rolls on `shot`.

    Returns
    -------
    list of dict
        name, alight; and where it is alight at_mm and toward_mm [x, y, z], dim, candela on its axis after gel and dim, and
        candela_rgb, the same as linear RGB.
    """
    scene = scene_of(lit.scene, shot)
    there, shining = {lamp.name: lamp for lamp in scene.lamp}, {emitter.name: emitter for emitter in rolled.emitters}
    return [_told(there[lamp.name], shining[lamp.name], lit.built) if lamp.name in there else {"name": lamp.name, "alight": False} for lamp in lit.scene.lamp]


def _told(lamp, emitter: Emitter, built) -> dict:
    on_axis = emitter.candela * intensity(emitter, [emitter.normal])[0]
    return {
        "name": lamp.name, "alight": True, "at_mm": _figures(emitter.centre), "toward_mm": _figures(aim(lamp, built)), "dim": lamp.dim,
        "candela": _figures([luminance(on_axis)])[0], "candela_rgb": _figures(on_axis),
    }  # fmt: skip


def haze_of(scene: Scene, shot: Shot) -> dict:
    """Return the haze of a shot: per metre when the camera rolls and at the end of the take, what it is made of, and how long half of it lasts."""
    haze = scene_of(scene, shot).haze
    told = {"extinction_at_roll_per_m": extinction_at(haze, shot.start_after), "extinction_at_end_per_m": extinction_at(haze, shot.start_after + shot.take_s)}
    told |= {"albedo": haze.albedo, "g": haze.g} if haze.droplets is None else {"albedo": haze.albedo, "droplets": haze.droplets.model_dump()}
    return told | {"half_life_s": haze.half_life}


def has_its_own(shot: Shot) -> bool:
    """Return whether a shot has other lamps or other haze than the file."""
    return bool(shot.lamps) or shot.haze is not None


def lamp_says(told: dict) -> str:
    """Return one lamp of `lamps_of` on a line."""
    if not told["alight"]:
        return "out"
    at, toward = (" ".join(f"{value:g}" for value in told[key]) for key in ("at_mm", "toward_mm"))
    return f"at {at} mm, toward {toward} mm, dim {told['dim']:g}, {told['candela']:.6g} candela on its axis"


def haze_says(told: dict) -> str:
    """Return the haze of `haze_of` on a line."""
    if not told["extinction_at_roll_per_m"]:
        return "none"
    lasts = f", half of it gone in {told['half_life_s']:g} s" if told["half_life_s"] else ""
    return f"{told['extinction_at_roll_per_m']:.4g} per metre at the roll, {told['extinction_at_end_per_m']:.4g} at the end of the take{lasts}"


def _figures(values) -> list[float]:
    return [round(float(value), DECIMALS) + 0.0 for value in values]
