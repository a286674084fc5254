"""
Where must the opening be, and how large? An opening in a wall, before it is cut, for a lamp that stands already.

Takes a set, a lamp, a wall, a target on a flat face and the size that the patch shall have there; gives the opening's place
and size, or what is in the way. Begins with central projection (similar triangles), then cuts the opening, asks the report's
own patches, and puts right what they say.

    patch size   [width, length]: how far the patch reaches on the target's face along the image of the wall's `along`, and
                 along that of its `up` [mm]
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from previz.aim.landing import middle_of
from previz.aim.wishes import Target
from previz.build.assemble import build_set
from previz.build.built import BuiltSet
from previz.build.webs import least_web
from previz.light.lamps import Emitter
from previz.rays.panes import Panel as Panes
from previz.rays.patches import landed
from previz.rays.shadows import Surface
from previz.scene.elevations import Panel, panel_named
from previz.scene.faults import OptionFault
from previz.scene.model import Opening, Scene
from previz.scene.outlines import outline_of

ENOUGH_MM = 0.1
"""Place and size of a patch this near to what was wished are right: nobody cuts finer (own choice)."""
_TURNS, _SMALLEST_MM = 12, 1.0


@dataclass(frozen=True)
class Cut:
    """
    An opening to cut.

    opening    as it goes into the file
    patch_mm   (2,) width and length of the patch that it gives
    miss_mm    from the target to the middle of the patch
    web_mm     the least material that stays beside it, and `beside` what
    """

    opening: Opening
    patch_mm: np.ndarray
    miss_mm: float
    web_mm: float
    beside: str


@dataclass(frozen=True)
class NoCut:
    """Why there is no such opening: what is in the way, in one sentence, what to do, and the nearest that there is."""

    names: tuple[str, ...]
    says: str
    remedy: str
    nearest: Cut | None


@dataclass(frozen=True)
class Wanted:
    """
    What is asked for.

    wall        "room.wall", and its panel
    onto        a target on a flat face
    patch       (2,) width and length there [mm]
    shape, bars of the opening, as in the file
    name        of the opening
    """

    wall: str
    panel: Panel
    onto: Target
    patch: np.ndarray
    name: str
    shape: str = "rect"
    bars: dict | None = None

    def opening(self, at: np.ndarray, size: np.ndarray) -> Opening:
        """Return the opening with its lower left corner at `at` (2,) and of `size` (2,). [mm]"""
        round_ = self.shape == "round"
        keys = {"name": self.name, "wall": self.wall, "shape": self.shape, "at": tuple(np.round(at, 2)), "size": round(float(size[0]), 2) if round_ else tuple(np.round(size, 2))}
        return Opening(**keys, **({"bars": self.bars} if self.bars else {}))


def wanted(scene: Scene, wall: str, onto: Target, patch: tuple[float, float], shape: str = "rect", bars: dict | None = None) -> Wanted:
    """Return what is asked for; OptionFault for a wall that the scene does not have, or a target that is no flat face."""
    room, _, name = wall.partition(".")
    found = next((r for r in scene.room if r.name == room), None)
    panel = panel_named(found, name) if found is not None else None
    if panel is None:
        walls = [f"{r.name}.{n}" for r in scene.room for n in r.wall_names if n not in r.open]
        raise OptionFault(f'--open "{wall}": there is no wall of that name to cut', f"There are {', '.join(walls)}.")
    if onto.face is None:
        raise OptionFault(f'"{onto.name}": the patch of an opening is sized on a flat face', 'Name a face and a place on it, like "room.floor@120,80".')
    taken = {opening.name for opening in scene.opening}
    free = next(f"cut {i}" for i in range(1, len(taken) + 2) if f"cut {i}" not in taken)
    return Wanted(wall, panel, onto, np.asarray(patch, float), free, shape, bars)


def open_for(scene: Scene, built: BuiltSet, folder: Path, lamp: Emitter, want: Wanted) -> Cut | NoCut:
    """
    Return the opening through which `lamp` gives the wanted patch.

    Parameters
    ----------
    built : BuiltSet
        The set without the opening.
    """
    panel, target = want.panel, want.onto
    height = float(panel.axes[2] @ (lamp.centre - panel.origin))
    beyond = float(panel.axes[2] @ (target.point - panel.origin))
    if height <= panel.thickness or beyond >= 0:
        return NoCut(("the wall",), f"lamp and target are not on either side of {want.wall}", "Choose the wall between them, or move the lamp.", None)
    if (lamp.centre - target.point) @ target.normal <= 0:
        return NoCut(("the target",), f"{target.name} is turned away from the lamp", "Choose a face that the lamp can see, or move the lamp.", None)
    middle, size = _projected(lamp.centre, want)
    if not shapely.contains_xy(panel.inner, *middle):
        says = f"the straight line to {target.name} meets {want.wall} at {middle[0]:.0f}, {middle[1]:.0f}, which is off the wall"
        return NoCut(("the edge of the wall",), says, "Move the lamp or the target so that the line between them meets the wall.", None)
    return _put_right(scene, folder, lamp, want, middle, size)


def _projected(lamp: np.ndarray, want: Wanted) -> tuple[np.ndarray, np.ndarray]:
    """Return middle (2,) and size (2,) of the opening in the middle of its wall, by central projection. [mm]"""
    panel, target = want.panel, want.onto
    local = panel.axes @ (lamp - panel.origin), panel.axes @ (target.point - panel.origin)
    share = (local[0][2] - panel.thickness / 2) / (local[0][2] - local[1][2])
    middle = (local[0] + share * (local[1] - local[0]))[:2]
    return middle, want.patch / np.linalg.norm(_images(lamp, want, middle), axis=1)


def _images(lamp: np.ndarray, want: Wanted, middle: np.ndarray) -> np.ndarray:
    """Return (2, 3): how the patch moves on its face for a millimetre along and up in the wall: the derivative of the projection."""
    panel, normal = want.panel, want.onto.normal
    way = panel.origin + np.array([*middle, panel.thickness / 2]) @ panel.axes - lamp
    grow = normal @ (want.onto.point - lamp) / (normal @ way)
    return np.array([grow * (axis - (normal @ axis) / (normal @ way) * way) for axis in panel.axes[:2]])


def _put_right(scene: Scene, folder: Path, lamp: Emitter, want: Wanted, middle: np.ndarray, size: np.ndarray) -> Cut | NoCut:
    """Cut, look, and put right, until the patch is as wished or gets no nearer."""
    best, least = None, np.inf
    for _ in range(_TURNS):
        size = np.maximum(size, _SMALLEST_MM)
        fits = _fits(scene, want, middle, size)
        if isinstance(fits, NoCut):
            return fits
        opening, found = want.opening(middle - size / 2, size), None
        lands, reach = patch_of(scene, folder, lamp, want, opening)
        if lands is None:
            return NoCut(("what stands in the light",), f"no light through {want.wall} reaches {want.onto.name}: something stands before it", "Choose another wall or target, or move what is in the way.", best)
        miss = float(np.linalg.norm(lands - want.onto.point))
        off = max(miss, float(np.abs(reach - want.patch).max()) if want.shape != "round" else float(abs(reach[0] - want.patch[0])))
        found = Cut(opening, reach, miss, *fits)
        if off < least:
            best, least = found, off
        if off <= ENOUGH_MM:
            return found
        middle = middle + _step(lamp.centre, want, middle, want.onto.point - lands)
        size = size + (want.patch - reach) / np.linalg.norm(_images(lamp.centre, want, middle), axis=1)
        if want.shape == "round":
            size[:] = size[0]
    says = f"the patch comes out {best.patch_mm[0]:.0f} x {best.patch_mm[1]:.0f} mm, {best.miss_mm:.1f} mm from {want.onto.name}: something cuts part of it off"
    return NoCut(("what stands in the light",), says, "Ask for a smaller patch, or for a place further from edges and props.", best)


def _step(lamp: np.ndarray, want: Wanted, middle: np.ndarray, way: np.ndarray) -> np.ndarray:
    """Return (2,) how to move the opening so that its patch moves by `way` (3,). [mm]"""
    return np.linalg.lstsq(_images(lamp, want, middle).T, way, rcond=None)[0]


def patch_of(scene: Scene, folder: Path, lamp: Emitter, want: Wanted, opening: Opening) -> tuple[np.ndarray | None, np.ndarray]:
    """Return the middle (3,) of the light that an opening throws on the target's face, None for none, and its reach (2,). [mm]"""
    built = build_set(scene.model_copy(update={"opening": (*scene.opening, opening)}), folder)
    name = want.onto.face_name
    face = next(i for i, f in enumerate(built.faces) if f.name == name and f.flat)
    found = landed(Surface.of(built), Panes(tuple(built.apertures_named(opening.name))), lamp, face=face)
    lands = middle_of(found)
    if lands is None:
        return None, np.zeros(2)
    images = _images(lamp.centre, want, _middle_of(opening))
    corners = np.vstack([one.fields["outline_mm"] for one in found]) - lands
    # The images are at an angle to each other on the face: each corner is written in both, then measured along each.
    shares = np.linalg.lstsq(images.T, corners.T, rcond=None)[0]
    return lands, np.ptp(shares, axis=1) * np.linalg.norm(images, axis=1)


def _middle_of(opening: Opening) -> np.ndarray:
    outline = np.asarray(outline_of(opening))
    return (outline.min(axis=0) + outline.max(axis=0)) / 2


def _fits(scene: Scene, want: Wanted, middle: np.ndarray, size: np.ndarray) -> tuple[float, str] | NoCut:
    """Return the least web beside the opening and what it is beside; or what is too near."""
    panel, hole = want.panel, shapely.Polygon(outline_of(want.opening(middle - size / 2, size)))
    webs = [(float(shapely.distance(hole, shapely.boundary(panel.inner))) if panel.inner.contains(hole) else -1.0, "the edge of the wall")]
    others = [(shapely.Polygon(outline_of(o)), o.name) for o in scene.opening if o.wall == want.wall]
    webs += [(-1.0 if hole.intersects(other) else float(shapely.distance(hole, other)), name) for other, name in others]
    web, beside = min(webs)
    if web >= least_web(panel.thickness):
        return web, beside
    says = f"the opening would be {size[0]:.0f} x {size[1]:.0f} mm at {middle[0] - size[0] / 2:.0f}, {middle[1] - size[1] / 2:.0f}, and "
    says += f"reach over {beside}" if web < 0 else f"leave {web:.1f} mm of material to {beside}"
    remedy = f"{least_web(panel.thickness):g} mm have to stay, twice the sheet. Ask for a smaller patch, or move lamp or target."
    return NoCut((beside,), says, remedy, None)
