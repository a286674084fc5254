"""
A picture kept as its layers, so that lamps are mixed anew without drawing anything again.

Takes a lit set, a shot and a moment; gives the light by lamp with what each pixel shows, as an OpenEXR file and back.
All light is linear RGB, Rec. 709 primaries, in cd/m2. Channels of the file:

    R, G, B                 the picture: the sum of all the light below
    lamp.NAME.R, .G, .B     what surfaces send back of light straight from that lamp
    bounce.NAME.R, .G, .B   the same of its light that has bounced or scattered before
    haze.NAME.R, .G, .B     what haze sends to the lens of its light
    haze.depth              optical depth of the haze between lens and surface: e^-depth of the light gets through [1]
    depth.Z                 along the lens's axis from the entrance pupil, inf for nothing [mm]
    normal.X, .Y, .Z        of the surface, in the set's axes, 0 for nothing [1]
    part.id                 whole number: 0 for nothing, else 1 + its place in the header's list of parts

NAME is the lamp's name with everything but letters, digits, - and _ written as _. The header's text `previz` is JSON:
lamps and parts by their names, for each lamp the one whose light it sends on (`sources`), iso, stop and seconds of the
exposure, the white balance (3, 3) and the fingerprint of the scene.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from previz.camera.exposure import effective_stop
from previz.camera.tone import develop
from previz.camera.view import View
from previz.frames.along import drawn_at_moment
from previz.frames.hazed import Layers, light_layers
from previz.frames.on_sensor import on_sensor
from previz.frames.still import QUALITIES, view_of, views_during, white_of
from previz.light.units import per_mm
from previz.rays.lit import LitSet
from previz.rays.papers import lamp_of
from previz.rig.moves import Move
from previz.scene.draft import nearest
from previz.scene.faults import OptionFault
from previz.scene.files import outside, replacing
from previz.scene.model import Shot

LIGHT = ("lamp", "bounce", "haze")
"""First part of the channels' names, in the order of the fields of `Layers`."""

HAZE, EXPOSURE = "haze", "exposure"
"""What a mix may name besides lamps: how many times as thick the haze is, and stops of exposure added."""

LEAST, MOST = 0.0, 1000.0
"""Levels that a mix takes (own choice)."""


@dataclass(frozen=True)
class Shown:
    """
    What each pixel's centre shows, sharp and at one moment: numbers of parts cannot be smeared.

    depth_mm    (rows, columns) float32, along the axis, inf for nothing [mm]
    normal      (rows, columns, 3) float32, unit, 0 for nothing
    part        (rows, columns) uint32: 0 for nothing, else 1 + index into the parts
    haze_depth  (rows, columns) float32: optical depth of haze in between [1]
    """

    depth_mm: np.ndarray
    normal: np.ndarray
    part: np.ndarray
    haze_depth: np.ndarray


@dataclass(frozen=True)
class LayeredStill:
    """
    A picture as layers.

    lamps, parts        their names, in the order of the layers and of the part numbers
    iso, stop, seconds  of the exposure; the stop is the effective one
    fingerprint         of the scene it was drawn from
    sources             for each of `lamps`, the lamp whose light it is: tracing paper sends on light of others; empty is each its own
    white               (3, 3) white balance, as rows; None is the screen's white [1]
    """

    layers: Layers
    shown: Shown
    lamps: tuple[str, ...]
    parts: tuple[str, ...]
    iso: float
    stop: float
    seconds: float
    fingerprint: str = ""
    sources: tuple[str, ...] = ()
    white: list | None = None

    def levels(self, mix: dict[str, float]) -> np.ndarray:
        """Return the level (lamps,) of each lamp in a mix: as it is named, else as the lamp whose light it sends on."""
        return np.array([mix.get(name, mix.get(source, 1.0)) for name, source in zip(self.lamps, self.sources or self.lamps)])

    def mixed(self, mix: dict[str, float]) -> np.ndarray:
        """
        Return the picture with other levels: (rows, columns, 3) float32, linear. [cd/m2]

        Parameters
        ----------
        mix : dict
            Level of each lamp by name, 1 where it is left out; what paper sends on goes with its lamp, or by its own name;
            `HAZE`, how many times as thick the haze is, where no lamp
            has that name.

        Notes
        -----
        Lamps add up, so their mix is exact. Haze k times as thick is not: surfaces are dimmed by ``exp(-(k - 1) t)`` with
        t the haze between lens and surface, and the haze's own light is ``k exp(-(k - 1) t / 2)`` times what it was, as if
        it came from half way. The lamps' way in, and what haze and surfaces lend each other, stay as they were drawn, so
        this is a first look: in a room of 0.3 m a fifth more or less haze came within 4 % of the frame drawn anew (root mean
        square of blocks, where doing nothing is 8 % off), half more within 8 %. Draw it again for a figure.
        """
        level = self.levels(mix)
        if HAZE in self.lamps or mix.get(HAZE, 1.0) == 1.0:
            return self.layers.mixed(level)
        times, depth = mix[HAZE], self.shown.haze_depth[..., None]
        surfaces = Layers(self.layers.direct, self.layers.bounce, np.zeros_like(self.layers.haze)).mixed(level)
        haze = Layers(self.layers.haze, *(np.zeros_like(self.layers.haze),) * 2).mixed(level)
        return (surfaces * np.exp(-(times - 1) * depth) + haze * times * np.exp(-(times - 1) * depth / 2)).astype(np.float32)

    def developed(self, mix: dict[str, float]) -> np.ndarray:
        """Return the mix as the camera shows it, `EXPOSURE` stops brighter: (rows, columns, 3) uint8 sRGB."""
        stops = 0.0 if EXPOSURE in self.lamps else mix.get(EXPOSURE, 0.0)
        return develop(self.mixed(mix), self.iso * 2.0**stops, self.stop, self.seconds, white=None if self.white is None else np.array(self.white))


def layered_still(
    lit: LitSet, shot: Shot, move: Move, take_s: float, size: tuple[int, int], *, quality: str = "good", fingerprint: str = "",
    workers: int | None = None, progress: Callable[[float], None] | None = None,
) -> LayeredStill:  # fmt: skip
    """Return the picture of `previz.frames.still.still`, with the same parameters, as layers."""
    lit = drawn_at_moment(lit, shot, move, take_s)
    passes, lamp_samples, haze_samples = QUALITIES[quality]
    views = views_during(lit, shot, move, take_s, size, passes=passes)
    layers = light_layers(lit, views, passes=passes, lamp_samples=lamp_samples, haze_samples=haze_samples, workers=workers, progress=progress)
    focus = float(move.focus_mm(take_s)[0])
    layers = Layers(*(on_sensor(light, lit.scene, shot, views[0], focus) for light in (layers.direct, layers.bounce, layers.haze)))
    stop = float(effective_stop(lit.scene.lens, shot, focus))
    sources, white = tuple(lamp_of(e) for e in lit.emitters), white_of(lit.scene, shot)
    lamps, parts = tuple(e.name for e in lit.emitters), tuple(part.name for part in lit.built.parts)
    return LayeredStill(layers, shown(lit, view_of(lit, move, take_s, size)), lamps, parts, float(shot.iso), stop, float(shot.exposure_s), fingerprint, sources, None if white is None else white.tolist())


def shown(lit: LitSet, view: View) -> Shown:
    """Return what the centre of each pixel of `view` shows."""
    x, y = np.meshgrid(np.arange(view.columns) + 0.5, np.arange(view.rows) + 0.5)
    directions = view.directions(x.ravel(), y.ravel())
    hits = lit.tracer.hit(np.broadcast_to(view.position, directions.shape), directions)
    missed, shape = hits.triangle < 0, (view.rows, view.columns)
    normal = hits.normal / np.maximum(np.linalg.norm(hits.normal, axis=1, keepdims=True), 1e-30)
    normal[missed] = 0
    return Shown(
        depth_mm=(hits.distance * (directions @ view.forward)).astype(np.float32).reshape(shape),
        normal=normal.astype(np.float32).reshape(*shape, 3),
        part=np.where(missed, 0, lit.built.part_of[hits.triangle] + 1).astype(np.uint32).reshape(shape),
        haze_depth=_optical_depth(lit, view.position, directions, hits.distance).astype(np.float32).reshape(shape),
    )


def _optical_depth(lit: LitSet, position, directions, far) -> np.ndarray:
    """Return (n,): extinction, its forward peak left out as in the picture, times the length of each ray in haze, up to `far` (n,)."""
    total = np.zeros(len(far))
    for cell in lit.medium.cells:
        rise = directions @ cell.planes[:, :3].T
        room = cell.planes[:, 3] - cell.planes[:, :3] @ position
        with np.errstate(divide="ignore", invalid="ignore"):
            t = room / rise
        start = np.where(rise < 0, t, 0.0).max(axis=1)
        end = np.where(rise > 0, t, np.inf).min(axis=1)
        beside = ((rise == 0) & (room < 0)).any(axis=1)
        length = np.minimum(end, far) - np.maximum(start, 0)
        total += np.where(beside | ~np.isfinite(length), 0.0, np.maximum(length, 0))
    if lit.uneven is not None:
        total += lit.uneven.along(position, directions, far)
    return per_mm(lit.trimmed.extinction_per_m) * total


def channel_names(lamps) -> list[str]:
    """Return each lamp's name as channels carry it, no two alike."""
    names: list[str] = []
    for lamp in lamps:
        plain = name = re.sub(r"[^A-Za-z0-9_-]", "_", lamp)
        count = 1
        while name in names:
            count += 1
            name = f"{plain}_{count}"
        names.append(name)
    return names


def layers_path(path: Path) -> Path:
    """Return `path`; OptionFault unless its name ends in .exr."""
    if Path(path).suffix.lower() != ".exr":
        raise OptionFault(f"--layers {path}: layers are an OpenEXR file, so the name must end in .exr", "Name it like frame-layers.exr.")
    return path


def write_layers(path: Path, still: LayeredStill) -> None:
    """Write the layers as an OpenEXR file whose channels the header of this module lists; errors as `replacing`."""
    import OpenEXR

    kept = {key: getattr(still, key) for key in ("lamps", "parts", "iso", "stop", "seconds", "fingerprint", "sources", "white")}
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage, "whiteLuminance": 1.0, "previz": json.dumps(kept)}
    channels = {"RGB": still.layers.mixed(np.ones(len(still.lamps)))}
    for kind, light in zip(LIGHT, (still.layers.direct, still.layers.bounce, still.layers.haze)):
        channels |= {f"{kind}.{name}": one for name, one in zip(channel_names(still.lamps), light)}
    channels |= {"depth.Z": still.shown.depth_mm, "part.id": still.shown.part, "haze.depth": still.shown.haze_depth}
    channels |= {f"normal.{axis}": still.shown.normal[..., i] for i, axis in enumerate("XYZ")}
    with replacing(layers_path(path)) as temporary:
        OpenEXR.File(header, {name: np.ascontiguousarray(values) for name, values in channels.items()}).write(str(temporary))


def read_layers(path: Path) -> LayeredStill:
    """
    Return what `write_layers` wrote.

    Raises
    ------
    OptionFault
        If the file is missing, no OpenEXR file, or holds no layers of previz.
    """
    import OpenEXR

    if not Path(path).is_file():
        raise OptionFault(f"{path}: there is no such file", "Write it with previz frame SCENE --layers FILE.exr.")
    try:
        with outside(path), OpenEXR.File(str(path)) as file:
            kept = json.loads(file.header()["previz"])
            pixels = {name: channel.pixels for name, channel in file.channels().items()}
        names = channel_names(kept["lamps"])
        rows, columns = pixels["depth.Z"].shape
        light = [np.array([pixels[f"{kind}.{name}"] for name in names], np.float32).reshape(-1, rows, columns, 3) for kind in LIGHT]
        normal = pixels["normal"] if "normal" in pixels else np.stack([pixels[f"normal.{axis}"] for axis in "XYZ"], axis=2)
        shown = Shown(pixels["depth.Z"], normal, pixels["part.id"], pixels["haze.depth"])
        figures = {key: float(kept[key]) for key in ("iso", "stop", "seconds")}
        others = {"sources": tuple(kept.get("sources", ())), "white": kept.get("white")}
        return LayeredStill(Layers(*light), shown, tuple(kept["lamps"]), tuple(kept["parts"]), **figures, fingerprint=str(kept["fingerprint"]), **others)
    except (KeyError, ValueError, TypeError, AttributeError, RuntimeError) as error:
        raise OptionFault(f"{path} holds no layers that previz frame --layers wrote", "Write them anew: previz frame SCENE --layers FILE.exr.") from error


def parsed_mix(text: str, lamps: tuple[str, ...]) -> dict[str, float]:
    """
    Return the levels that "key=0.5,window2=0,exposure=1" gives by name.

    Raises
    ------
    OptionFault
        If a name is no lamp of the picture nor `HAZE` or `EXPOSURE`, is given twice, or its level is no number in range.
    """
    mix: dict[str, float] = {}
    channel = dict(zip(channel_names(lamps), lamps))
    allowed = [*lamps, *(word for word in (HAZE, EXPOSURE) if word not in lamps)]
    for entry in text.split(","):
        name, equals, level = (part.strip() for part in entry.rpartition("="))
        name = name if name in allowed else channel.get(name, name)
        if name not in allowed:
            close = nearest(name, allowed)
            remedy = f'Did you mean "{close}"?' if close else f"It has {', '.join(allowed)}; write it like --mix {allowed[0]}=0.5."
            raise OptionFault(f'--mix {text}: "{name or entry.strip()}" is no lamp of this picture', remedy)
        if name in mix:
            raise OptionFault(f"--mix {text}: {name} is given twice", "Leave one of them out.")
        mix[name] = _level(text, name, level, signed=name == EXPOSURE and name not in lamps)
    return mix


def _level(text: str, name: str, level: str, *, signed: bool) -> float:
    try:
        value = float(level)
    except ValueError:
        value = float("nan")
    low, high = (-20.0, 20.0) if signed else (LEAST, MOST)
    if not low <= value <= high:
        what = "stops" if signed else "a level"
        raise OptionFault(f"--mix {text}: {name} must be {what} from {low:g} to {high:g}, and is {level or 'nothing'}", f"Write it like {name}={'1' if signed else '0.5'}.")
    return value
