"""
A photo of the set on the bench, held against the scene: where camera and lamps really stood, and how far patches are off.

Takes a scene file, its built set, a photo and a points file; gives what was found, or every fault of both files. A point or a
corner that does not fit the others is a fault by its name. Draws nothing and prints nothing.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image, ImageOps, UnidentifiedImageError

from previz.aim.cast import Cast, Marked, lamp_from, seen_on, shading_part
from previz.aim.pose import Camera, Focal, NotFixed, camera_from, focal_pixels
from previz.build.built import BuiltSet
from previz.light.lamps import Emitter, emitters
from previz.rays.tracer import Tracer
from previz.scene.faults import Fault, OptionFault, SceneFaults
from previz.scene.model import Scene
from previz.scene.shots import scene_of
from previz.sheets.marked import FEWEST, FEWEST_UNKNOWN, MarkedPatch, PointsFile, read_points

FITS_SHARE = 0.01
"""Of the picture's width: a mark that is farther off than this was set or named wrongly (own choice: a set built 2 mm off shows less)."""
FOCAL_SHARE = 0.03
"""How well a 35 mm equivalent is known: whole millimetres, and lenses that focus near see less wide (own choice)."""
FOCALS_MM = (5.0, 2000.0)
_KINDS = ("JPEG", "PNG")
_SMALLEST_SIDE, _LARGEST_BYTES = 64, 200_000_000
_EXIF, _FOCAL_35, _WIDE, _HIGH = 0x8769, 0xA405, 0xA002, 0xA003
_SWAPS = {"left and right": {"left": "right", "right": "left"}, "lower and upper": {"lower": "upper", "upper": "lower"}}
_SWAPS["both left and right, and lower and upper,"] = _SWAPS["left and right"] | _SWAPS["lower and upper"]


@dataclass(frozen=True)
class Photo:
    """A photo, upright: (rows, columns, 3) uint8 sRGB; `focal_35` is the 35 mm equivalent that the camera noted, None where it noted none. [mm]"""

    path: Path
    rgb: np.ndarray
    focal_35: float | None

    @property
    def size(self) -> tuple[int, int]:
        """Columns and rows. [pixel]"""
        return self.rgb.shape[1], self.rgb.shape[0]


@dataclass(frozen=True)
class LitCorner:
    """A corner of a patch: name, where it is marked (2,) [pixel], where that is in the set and where the scene's lamp puts it, (3,) each [mm], and how far the lamp that was found is off there (2,) [pixel]."""

    name: str
    pixel: np.ndarray
    at: np.ndarray
    planned: np.ndarray
    off: np.ndarray


@dataclass(frozen=True)
class FoundLamp:
    """
    A lamp that was found.

    planned   the scene's
    cast      where the photo has it
    stands    the same, but at the planned distance where the photo cannot tell it from that
    patches   each with its corners
    """

    planned: Emitter
    cast: Cast
    stands: Cast
    patches: tuple[tuple[MarkedPatch, tuple[LitCorner, ...]], ...]

    @property
    def distance_as_planned(self) -> bool:
        """Whether the photo cannot tell its distance from the planned one."""
        return self.stands is not self.cast


@dataclass(frozen=True)
class PhotoCheck:
    """What a photo says: the scene as lit in it, points as marked, the camera, and lamps in the order of their first patch."""

    photo: Photo
    scene: Scene
    points: PointsFile
    camera: Camera
    lamps: tuple[FoundLamp, ...]


def check_photo(scene: Scene, built: BuiltSet, photo: Path, points: Path, shot: str | None, focal_35: float | None) -> PhotoCheck:
    """
    Return where camera and lamps stood.

    Parameters
    ----------
    shot : str or None
        Whose lamps are alight; None for those of the file.
    focal_35 : float or None
        The 35 mm equivalent focal length of the photo; None where only the photo may know. [mm]

    Raises
    ------
    SceneFaults
        With every fault of photo and points file.
    OptionFault
        For a shot that the scene does not have, or a focal length that is none.
    """
    scene = _lit_by(scene, shot)
    if focal_35 is not None and not FOCALS_MM[0] <= focal_35 <= FOCALS_MM[1]:
        raise OptionFault(f"--focal {focal_35:g}: that is no focal length", f"Give the photo's 35 mm equivalent, {FOCALS_MM[0]:g} to {FOCALS_MM[1]:g} mm, or leave it out.")
    faults: list[Fault] = []
    taken = _kept(faults, lambda: read_photo(photo))
    known = focal_35 if focal_35 is not None else taken.focal_35 if taken else None
    marked = _kept(faults, lambda: read_points(points, scene, built, taken and taken.size, FEWEST if known or not taken else FEWEST_UNKNOWN))
    if faults:
        raise SceneFaults(faults)
    camera = _camera(marked, taken.size, known and Focal(focal_pixels(known, taken.size), FOCAL_SHARE))
    lamps = dict(zip((lamp.name for lamp in scene.lamp), emitters(scene, built)))
    return PhotoCheck(taken, scene, marked, camera, _lamps(marked, camera, built, lamps))


def _lit_by(scene: Scene, name: str | None) -> Scene:
    if name is None:
        return scene
    shots = {shot.name: shot for shot in scene.shot}
    if name not in shots:
        raise OptionFault(f'--shot "{name}": the scene has no shot of that name', f"It has {', '.join(shots)}." if shots else "It has none; leave --shot out.")
    return scene_of(scene, shots[name])


def _kept(faults: list[Fault], read):
    """Return what `read` gives, or None with its faults kept."""
    try:
        return read()
    except SceneFaults as found:
        faults += found.faults
        return None


def read_photo(path: Path) -> Photo:
    """Return a photo, turned upright as its camera noted; SceneFaults where it is none that can be read."""

    def fault(says, remedy):
        return SceneFaults([Fault(path, 0, "", "", says, remedy)])

    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise fault("this file is too large for a photo", "At most 200 MB are read; save a smaller copy as JPEG.")
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(path, formats=_KINDS) as image:
                upright = ImageOps.exif_transpose(image)
                focal, rgb = _focal_35(image), np.array(upright.convert("RGB"))
    except (Image.DecompressionBombWarning, Image.DecompressionBombError):
        raise fault("this photo has too many pixels", f"At most {Image.MAX_IMAGE_PIXELS / 1e6:.0f} million are read; save a smaller copy, and mark it there.") from None
    except UnidentifiedImageError:
        raise fault("this is no JPEG and no PNG", "Save the photo as JPEG or PNG; most phones can share it so.") from None
    except FileNotFoundError:
        raise fault("there is no such photo", "Check the name given to --photo.") from None
    except (OSError, ValueError, SyntaxError) as error:
        raise fault(f"the photo cannot be read: {getattr(error, 'strerror', None) or error}", "Copy it anew, or save it again as JPEG.") from None
    if min(rgb.shape[:2]) < _SMALLEST_SIDE:
        raise fault(f"the photo is only {rgb.shape[1]} x {rgb.shape[0]} pixels", f"Take one of at least {_SMALLEST_SIDE} pixels each way; a thousand and more find the lamp better.")
    return Photo(path, rgb, focal)


def _focal_35(image: Image.Image) -> float | None:
    """The 35 mm equivalent that the camera noted (EXIF 2.32, tag FocalLengthIn35mmFilm); None for a photo that was cropped since, which sees less."""
    noted = image.getexif().get_ifd(_EXIF)
    focal, wide, high = (noted.get(tag) for tag in (_FOCAL_35, _WIDE, _HIGH))
    if not isinstance(focal, int) or not FOCALS_MM[0] <= focal <= FOCALS_MM[1]:
        return None
    sides = (wide, high) if all(isinstance(side, int) and side > 0 for side in (wide, high)) else image.size
    return float(focal) if abs(sides[0] / sides[1] * image.height / image.width - 1) < 0.01 else None


def _camera(marked: PointsFile, size: tuple[int, int], focal: Focal | None) -> Camera:
    """Return the camera, or the fault of the point that is off."""
    at, pixels = np.array([p.at for p in marked.points]), np.array([p.pixel for p in marked.points])
    try:
        camera = camera_from(at, pixels, size, focal)
    except NotFixed:
        remedy = "Mark corners near and far, on three faces at least; and give --focal, the photo's 35 mm equivalent, if you know it."
        raise SceneFaults([marked.fault(("points",), "these points leave it open where the camera stood", remedy)]) from None
    limit = FITS_SHARE * size[0]
    if np.linalg.norm(camera.off, axis=1).max() <= limit:
        return camera
    raise SceneFaults([_misfit(marked, at, pixels, size, focal, limit)])


def _misfit(marked: PointsFile, at, pixels, size, focal: Focal | None, limit: float) -> Fault:
    """The point without which the others fit best."""
    others, count = [], len(at)
    for i in range(count if count > (FEWEST if focal else FEWEST_UNKNOWN) else 0):
        rest = np.arange(count) != i
        try:
            camera = camera_from(at[rest], pixels[rest], size, focal)
            others.append((float(np.linalg.norm(camera.off, axis=1).max()), i, camera))
        except NotFixed:
            continue
    if not others:
        return marked.fault(("points",), "these points do not fit each other, and which is wrong cannot be told from so few", "Check each name and its pixels, and mark two more corners.")
    left, i, camera = min(others, key=lambda other: other[0])
    name = marked.points[i].name
    x, y, _ = camera.view.project(at[i : i + 1])
    if left > limit:
        return marked.fault(("points",), f'these points do not fit each other, and "{name}" is not the only one', "Look for two names that are exchanged, or corners named from inside: lower left and so on are seen from outside.")
    off = float(np.hypot(x[0] - pixels[i, 0], y[0] - pixels[i, 1]))
    where = f"By the others it appears near [{x[0]:.0f}, {y[0]:.0f}]." if np.isfinite(off) else "By the others it lies behind the camera."
    return marked.fault(("points", name), f"is {off:,.0f} pixels from where the other points have it" if np.isfinite(off) else "does not fit the other points", f"{where} Check its name and mark it anew.")


def _lamps(marked: PointsFile, camera: Camera, built: BuiltSet, planned: dict[str, Emitter]) -> tuple[FoundLamp, ...]:
    """Return each lamp with a patch, or every fault of the patches."""
    faults, found = [], []
    tracer = Tracer(built.vertices, built.triangles)
    for name in dict.fromkeys(patch.lamp for patch in marked.patches):
        patches = [patch for patch in marked.patches if patch.lamp == name]
        corners = [(patch, corner, _seen(marked, camera, built, patch, corner, faults)) for patch in patches for corner in patch.corners]
        if all(one is not None for *_, one in corners):
            _kept(faults, lambda: found.append(_lamp(marked, camera, corners, planned[name], built, tracer)))
    if faults:
        raise SceneFaults(faults)
    return tuple(found)


def _seen(marked: PointsFile, camera: Camera, built: BuiltSet, patch: MarkedPatch, name: str, faults: list[Fault]) -> Marked | None:
    """A lit corner on its surface, or None with a fault."""
    corner, pixel = patch.corners[name]
    seen = seen_on(camera, pixel, built.vertices, patch.triangles)
    if seen is None:
        where = ("patch", patch.number, name.replace(" ", "_"))
        faults.append(marked.fault(where, f"{patch.on} is not seen at that place of the photo", "Check what the light lies on, and the pixels; a corner beyond an edge cannot be marked."))
        return None
    return Marked(corner, pixel, *seen)


def _lamp(marked: PointsFile, camera: Camera, corners: list[tuple[MarkedPatch, str, Marked]], planned: Emitter, built: BuiltSet, tracer: Tracer) -> FoundLamp:
    """One lamp, from all corners of its patches."""
    lit = [one for *_, one in corners]
    limit = FITS_SHARE * camera.view.columns
    cast = lamp_from(camera, lit, 2 * float(max(np.linalg.norm(planned.half_u), np.linalg.norm(planned.half_v))))
    if _worst(cast) > limit:
        raise SceneFaults([_unfitting(marked, camera, corners, limit)])
    faults = [_shaded(marked, patch, name, by) for patch, name, one in corners if (by := shading_part(tracer, built, one, cast.at))]
    if faults:
        raise SceneFaults(faults)
    away = float(np.linalg.norm(planned.centre - cast.from_opening))
    low, high = cast.distance_range_mm
    stands = cast.at_distance(away) if low <= away <= high else cast
    patches: dict[int, tuple[MarkedPatch, list[LitCorner]]] = {}
    for (patch, name, one), off in zip(corners, cast.off):
        patches.setdefault(patch.number, (patch, []))[1].append(LitCorner(name, one.pixel, one.at, one.thrown(planned.centre), off))
    return FoundLamp(planned, cast, stands, tuple((patch, tuple(listed)) for patch, listed in patches.values()))


def _shaded(marked: PointsFile, patch: MarkedPatch, name: str, by: str) -> Fault:
    remedy = "What is seen there is the edge of its shadow. Leave this corner out, and mark one that the light of the pane reaches."
    return marked.fault(("patch", patch.number, name.replace(" ", "_")), f'by the file "{by}" stands in the light of this corner', remedy)


def _worst(cast: Cast) -> float:
    return float(np.linalg.norm(cast.off, axis=1).max())


def _unfitting(marked: PointsFile, camera: Camera, corners: list[tuple[MarkedPatch, str, Marked]], limit: float) -> Fault:
    """What is wrong where corners fit no lamp: names exchanged in a patch, one corner, or more."""
    for number in dict.fromkeys(patch.number for patch, *_ in corners):
        for words, swap in _SWAPS.items():
            again = _renamed(corners, number, swap)
            if again is not None and _worst(lamp_from(camera, again)) <= limit:
                remedy = "A corner has its name from the pane whose light it is, seen from outside: the light of an upper edge often lands nearest."
                return marked.fault(("patch", number), f"its corners fit a lamp only with {words} exchanged", remedy)
    fits = []
    for i in range(len(corners) if len(corners) > 2 else 0):
        rest = [one for k, (*_, one) in enumerate(corners) if k != i]
        fits.append((_worst(lamp_from(camera, rest)), i))
    if fits and min(fits)[0] <= limit:
        patch, name, _ = corners[min(fits)[1]]
        return marked.fault(("patch", patch.number, name.replace(" ", "_")), "does not fit the other corners of this lamp", "Check its name and mark it anew, in the middle of the soft edge.")
    return marked.fault(("patch", corners[0][0].number), "its corners fit no place of a lamp before the opening", "Check opening, pane and on, and the names of its corners; mark the middle of soft edges.")


def _renamed(corners: Sequence[tuple[MarkedPatch, str, Marked]], number: int, swap: dict[str, str]) -> list[Marked] | None:
    """The corners with the words of their names exchanged in one patch; None where it has no such corners."""
    found = []
    for patch, name, one in corners:
        other = " ".join(swap.get(word, word) for word in name.split()) if patch.number == number else name
        if other not in patch.corners:
            return None
        found.append(Marked(patch.corners[other][0], one.pixel, one.at, one.normal))
    return found
