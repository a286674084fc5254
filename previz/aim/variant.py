"""
One variant of a scene, worked out: its report and its picture. The unit of work of `previz explore`.

Takes a `Job`, plain values that any process on any machine can be given; gives a `Done`, plain values again. Light is
worked out on one thread: processes share the cores. Transport is geometry's alone, so variants that differ in lamps,
haze, lens or move take it from a file where their `Job` names one, and cast no hemisphere ray.
"""

from __future__ import annotations

import hashlib
import io
import pickle
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image

from previz.build.load import set_from
from previz.check.report import report, report_json
from previz.check.study import study_set
from previz.frames.still import lit_at_roll, still
from previz.frames.store import source
from previz.light.measured import unusable_files
from previz.rays.lit import RAYS, TEXELS, light_set, transport_of
from previz.rays.transport import Transport
from previz.rig.moves import plan_move
from previz.scene.faults import OptionFault, SceneFaults
from previz.scene.files import replacing
from previz.scene.model import Scene
from previz.scene.read import SceneFile, scene_from


@dataclass(frozen=True)
class Look:
    """
    How variants are looked at.

    shot          the name of the one that is drawn; None for the first
    size          (columns, rows) of the picture [pixel]
    quality       of the picture, as `previz.frames.still.QUALITIES`
    texels, rays  of the light
    """

    shot: str | None = None
    size: tuple[int, int] = (480, 270)
    quality: str = "draft"
    texels: int = TEXELS
    rays: int = RAYS


@dataclass(frozen=True)
class Job:
    """A scene's text, the path that its faults call it, how it is looked at, and the file of its transport where there is one."""

    text: str
    path: str
    look: Look
    light: str | None = None


@dataclass(frozen=True)
class Done:
    """
    What came of a job.

    report   JSON text; None where the scene cannot be built
    picture  PNG; None without a shot
    refused  why the scene cannot be built; empty where it can
    baked    whether hemisphere rays were cast for it
    """

    report: str | None
    picture: bytes | None
    refused: str
    baked: bool = False


def work_out(job: Job) -> Done:
    """Return the report and the picture of a job, light on one thread; a scene that cannot be built is an answer too."""
    try:
        file = scene_from(job.text, Path(job.path))
        built = set_from(file, unusable_files)
    except SceneFaults as fault:
        return Done(None, None, str(fault.faults[0]).split("\n")[0])
    seen, look = stored(job.light) if job.light else None, job.look
    lit = light_set(file.scene, built, texels=look.texels, rays=look.rays, seen=seen, workers=1)
    figures = report_json(report(study_set(lit, workers=1)))
    return Done(figures, _picture(lit, look), "", seen is None)


def shot_of(scene: Scene, look: Look):
    """Return the shot that is drawn; None where the scene has none. OptionFault for a name that it lacks."""
    shots = {shot.name: shot for shot in scene.shot}
    if look.shot is not None and look.shot not in shots:
        raise OptionFault(f'--shot "{look.shot}": the scene has no shot of that name', f"It has {', '.join(shots) or 'none'}.")
    return shots[look.shot] if look.shot is not None else next(iter(shots.values()), None)


def _picture(lit, look: Look) -> bytes | None:
    """Draw the middle of the take."""
    shot = shot_of(lit.scene, look)
    if shot is None:
        return None
    move = plan_move(lit.scene, shot, lit.built)
    drawn = still(lit_at_roll(lit, shot), shot, move, move.take_s / 2, look.size, quality=look.quality, workers=1)
    png = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(drawn.rgb)).save(png, format="PNG")
    return png.getvalue()


def geometry(file: SceneFile, look: Look) -> str:
    """Return a mark of all that the transport depends on: two scenes of one mark differ in lamps, haze density, lens or move at most."""
    scene = file.scene
    solid = scene.model_dump_json(include={"room", "opening", "prop", "mesh", "finish", "scale", "seed"})
    return _digest(solid, repr(scene.haze.fills), repr((look.texels, look.rays)), _source(), *_named_files(file))


def fingerprint(file: SceneFile | None, text: str, look: Look) -> str:
    """
    Return a mark of all that the answer depends on: the text, kit, mesh and lamp files, the look, previz itself.

    `file` is None where the text cannot be read as a scene.
    """
    return _digest(text, repr(look), _source(), *((file.scene.model_dump_json(), *_named_files(file)) if file else ()))


def _named_files(file: SceneFile):
    """The bytes of each file that a scene names; one that is not there counts as empty."""
    scene = file.scene
    for name in (*(one.file for one in (scene.mesh,) if one), *(one.file for one in (*scene.prop, *scene.lamp) if hasattr(one, "file"))):
        path = file.path.parent / name
        yield path.read_bytes() if path.is_file() else b""


@lru_cache(1)
def _source() -> bytes:
    return source()


def _digest(*parts: str | bytes) -> str:
    digest = hashlib.sha256()
    for part in parts:
        part = part.encode() if isinstance(part, str) else part
        digest.update(len(part).to_bytes(8, "little") + part)
    return digest.hexdigest()


def bake(file: SceneFile, look: Look, path: Path, workers: int | None, progress) -> bool:
    """Write the transport of a scene into a file; False where the set cannot be built."""
    try:
        built = set_from(file)
    except SceneFaults:
        return False
    transport = transport_of(file.scene, built, texels=look.texels, rays=look.rays, workers=workers, progress=progress)
    with replacing(path) as temporary:
        temporary.write_bytes(pickle.dumps(transport, protocol=5))
    return True


@lru_cache(1)
def stored(path: str) -> Transport | None:
    """Return the transport in a file that `bake` wrote; None on a machine that does not see the file, which bakes for itself."""
    try:
        return pickle.loads(Path(path).read_bytes())
    except OSError:
        return None
