"""
Lamps: what the maker types about a lamp, as a face in space that gives candela in each direction.

Takes a checked scene and the built set; gives emitters in file order. Knows nothing of rays, haze or cameras.

The intensity in a direction at angle theta from the axis is ``I0 cos^n(theta)``, and nothing behind the face; a lamp with a
photometric file has it from there. An extended face gives it evenly from each part, so n = 1 is a face of even luminance (Lambert).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from previz.build.built import BuiltSet
from previz.build.places import place_of
from previz.light.colour import luminance, unit_luminance
from previz.light.distribution import Distribution
from previz.light.lm63 import Lm63Fault, Photometry, read_lm63
from previz.light.whites import white_rgb
from previz.scene.faults import PrevizError
from previz.scene.model import Diffusion, Scene


_UNKNOWN_CANDELA = 1000.0
"""Of a lamp whose readings alone say how strong it is, until they are taken into account (own choice)."""


_SHEET_STEPS, _FACE_STEPS = 128, 6


@dataclass(frozen=True)
class Emitter:
    """
    The emitting face of one lamp.

    name      the lamp's name
    shape     "point" | "disc" | "panel"
    centre    (3,) of the face [mm]
    normal    (3,) unit, the axis of the beam
    half_u    (3,) from the centre to the rim, level: a disc's radius, half a panel's width; zero for a point [mm]
    half_v    (3,) the same at right angles, normal x half_u: a disc's radius, half a panel's height [mm]
    candela   (3,) linear RGB on the axis after gel and dim, where `spread` is 1 for a measured lamp; its luminance is the
              luminous intensity I0 [cd]
    exponent  n of the beam [1]
    spread    of a measured lamp: its intensity by direction, 1 where it is highest; it goes before `exponent`
    first     (3,) unit, across the axis: where the columns of `spread` begin
    """

    name: str
    shape: str
    centre: np.ndarray
    normal: np.ndarray
    half_u: np.ndarray
    half_v: np.ndarray
    candela: np.ndarray
    exponent: float
    spread: Distribution | None = None
    first: np.ndarray = field(default_factory=lambda: np.array([1.0, 0.0, 0.0]))


def emitters(scene: Scene, built: BuiltSet) -> tuple[Emitter, ...]:
    """
    Return the emitting face of each lamp of `scene`, in file order.

    Raises
    ------
    PrevizError
        If a lamp gives no level, points at itself or at a name that the set does not have, or has the colour black.
    """
    return tuple(_emitter(lamp, built) if lamp.diffusion is None else diffused(_emitter(lamp, built), lamp.diffusion) for lamp in scene.lamp)


def stood(emitter: Emitter, at, toward) -> Emitter:
    """Return the lamp standing at `at` and pointing at `toward`, both (3,), turned as it is now about its axis. [mm]"""
    at = np.asarray(at, float)
    normal = np.asarray(toward, float) - at
    normal /= np.linalg.norm(normal)
    # Sides are told from level, as they are when a lamp is read.
    sides = np.array([_level(emitter.normal), np.cross(emitter.normal, _level(emitter.normal))])
    turned = np.array([_level(normal), np.cross(normal, _level(normal))])
    half_u, half_v, first = (np.asarray(side) @ sides.T @ turned for side in (emitter.half_u, emitter.half_v, emitter.first))
    return replace(emitter, centre=at, normal=normal, half_u=half_u, half_v=half_v, first=first)


def beam_exponent(beam_deg: float) -> float:
    """
    Return n of ``I0 cos^n`` for the full angle between the half-intensity directions. [deg] -> [1]

    Notes
    -----
    ``n = ln 0.5 / ln cos(beam / 2)``; 120 degrees is the Lambertian face, n = 1. Half of the highest intensity bounds
    the beam in the IES definition of beam angle (secondary source seen).
    """
    return float(np.log(0.5) / np.log(np.cos(np.radians(beam_deg) / 2)))


def axis_candela(lumens: float, exponent: float) -> float:
    """
    Return I0 of a face that gives `lumens` in all as ``I0 cos^n``. [lm] -> [cd]

    Notes
    -----
    The flux is I0 times the integral of cos^n over the hemisphere, ``2 pi I0 / (n + 1)``; n = 1 gives Lambert's ``pi I0``.
    """
    return lumens * (exponent + 1) / (2 * np.pi)


def intensity(emitter: Emitter, directions) -> np.ndarray:
    """
    Return the share of the axis candela that `emitter` sends into each direction.

    Parameters
    ----------
    directions : (n, 3) float array
        Unit vectors, away from the lamp. [1]

    Returns
    -------
    (n,) float array
        By its `spread`, else ``cos^n`` of the angle from the axis, 0 behind the face. [1]
    """
    cos = np.asarray(directions) @ emitter.normal
    if emitter.spread is not None:
        x, y = (np.asarray(directions) @ side for side in (emitter.first, np.cross(emitter.first, emitter.normal)))
        return emitter.spread.towards(np.arccos(np.clip(cos, -1, 1)), np.arctan2(y, x))
    return np.where(cos > 0, np.maximum(cos, 0.0) ** emitter.exponent, 0.0)


def lumens(emitter: Emitter) -> float:
    """Return the whole flux of a lamp as it stands, ``2 pi I0 / (n + 1)`` of one that falls as a cosine. [lm]"""
    candela = float(luminance(emitter.candela))
    return candela * (2 * np.pi / (emitter.exponent + 1) if emitter.spread is None else emitter.spread.lumens)


def width_deg(emitter: Emitter, share: float) -> float:
    """Return the full angle beyond which the intensity stays under `share` of the highest; of a table across its first side. [deg]"""
    if emitter.spread is not None:
        return emitter.spread.width_deg(share)
    return float(2 * np.degrees(np.arccos(share ** (1 / emitter.exponent))))


def diffused(emitter: Emitter, sheet: Diffusion) -> Emitter:
    """
    Return a diffusing sheet before a lamp as an emitting face of its own.

    Notes
    -----
    The sheet catches the flux ``sum of I cos / d^2`` over its area, by the lamp's own face and distribution, and sends its
    share on evenly by Lambert's cosine, so the intensity on its axis is that flux over pi. Its back is taken to be black to
    the set.
    """
    left = _level(emitter.normal)
    half_u, half_v = sheet.size[0] / 2 * left, sheet.size[1] / 2 * np.cross(emitter.normal, left)
    face = replace(
        emitter, shape="panel", centre=emitter.centre + sheet.distance * emitter.normal, half_u=half_u, half_v=half_v, exponent=1.0, spread=None
    )
    points = face_points(face, _grid(_SHEET_STEPS))
    caught = 0.0
    from_lamp = face_points(emitter, _grid(_FACE_STEPS)) if emitter.shape != "point" else emitter.centre[None]
    for start in from_lamp:
        way = points - start
        distance = np.linalg.norm(way, axis=1)
        way /= distance[:, None]
        caught += np.mean(intensity(emitter, way) * (way @ emitter.normal) / distance**2) / len(from_lamp)
    return replace(face, candela=emitter.candela * sheet.transmittance * caught * sheet.size[0] * sheet.size[1] / np.pi)


def _grid(steps: int) -> np.ndarray:
    """The (steps^2, 2) middles of equal squares of the unit square."""
    middle = (np.arange(steps) + 0.5) / steps
    return np.array(np.meshgrid(middle, middle)).reshape(2, -1).T


def face_points(emitter: Emitter, unit) -> np.ndarray:
    """
    Return points of the face, spread as evenly over its area as `unit` is over the unit square.

    Parameters
    ----------
    unit : (n, 2) float array
        0 to 1. [1]

    Returns
    -------
    (n, 3) float array
        On the face; the centre again and again for a point. [mm]

    References
    ----------
    Disc: P. Shirley and K. Chiu, A Low Distortion Map Between Disk and Square, J. Graphics Tools 2(3), 1997 (from memory).
    """
    square = 2 * np.asarray(unit, dtype=float) - 1
    across = disc_points(square) if emitter.shape == "disc" else square
    return emitter.centre + across[:, :1] * emitter.half_u + across[:, 1:] * emitter.half_v


def disc_points(square: np.ndarray) -> np.ndarray:
    """Return the points (n, 2) of the unit disc for those of the square from -1 to 1: squares become circles, equal areas stay equal."""
    a, b = square.T
    wide = np.abs(a) > np.abs(b)
    radius = np.where(wide, a, b)
    inverse = np.divide(1.0, radius, out=np.zeros_like(radius), where=radius != 0)
    angle = np.where(wide, np.pi / 4 * b * inverse, np.pi / 2 - np.pi / 4 * a * inverse)
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def _emitter(lamp, built: BuiltSet) -> Emitter:
    if lamp.kind == "ies":
        return _measured(lamp, built)
    exponent = beam_exponent(lamp.beam)
    centre = np.array(lamp.at, dtype=float)
    normal = _axis(lamp, centre, built)
    level = _level(normal)
    half_u, half_v = _half_sides(lamp)
    return Emitter(
        name=lamp.name,
        shape=lamp.kind,
        centre=centre,
        normal=normal,
        half_u=half_u * level,
        half_v=half_v * np.cross(normal, level),
        candela=_level_of(lamp, exponent) * colour_of(lamp),
        exponent=exponent,
    )


def _measured(lamp, built: BuiltSet) -> Emitter:
    """The emitter of a lamp with a photometric file; a lamp tipped from straight down keeps the share that the file says."""
    try:
        file = read_lm63(built.folder / lamp.file)
    except Lm63Fault as fault:
        raise PrevizError(f'lamp "{lamp.name}": file {lamp.file}: {fault}') from fault
    centre = np.array(lamp.at, dtype=float)
    normal = _axis(lamp, centre, built)
    left, turn = _level(normal), np.radians(lamp.turn)
    first = np.cos(turn) * left + np.sin(turn) * np.cross(left, normal)
    spread = file.distribution
    level = _measured_level(lamp, spread) * file.tipped(np.degrees(np.arccos(np.clip(-normal[2], -1, 1))))
    shape, half_first, half_across = measured_face(file)
    return Emitter(
        name=lamp.name,
        shape=shape,
        centre=centre,
        normal=normal,
        half_u=half_first * first,
        half_v=half_across * np.cross(normal, first),
        candela=level * 2.0**-lamp.gel_stops * lamp.dim * colour_of(lamp),
        exponent=1.0,
        spread=spread.scaled(1 / spread.peak),
        first=first,
    )


def _measured_level(lamp, spread: Distribution) -> float:
    """Return the highest intensity: the file's, or what the maker's figure makes of it. [cd]"""
    if lamp.lumens:
        return spread.peak * lamp.lumens / spread.lumens
    on_axis = lamp.lux_at_1m or lamp.candela
    if on_axis and not spread.on_axis:
        raise PrevizError(f'lamp "{lamp.name}": by its photometric file it is dark on its axis, so no figure there sets its level. Give lumens instead.')
    return spread.peak * (on_axis / spread.on_axis if on_axis else 1.0)


def measured_face(file: Photometry) -> tuple[str, float, float]:
    """
    Return the shape of the luminous opening that a file gives, half its side along horizontal angle 0 and half the other. [mm]

    Notes
    -----
    Type C: the length lies along horizontal angle 0; types A and B: the width is level. A side of 0 is taken from the
    height, for openings that stand upright. Negative sides are round (all from memory).
    """
    sides = (file.length_mm, file.width_mm) if file.kind == "C" else (file.width_mm, file.length_mm)
    along, across = (side or file.height_mm for side in sides)
    if not along or not across:
        return "point", 0.0, 0.0
    return "disc" if along < 0 or across < 0 else "panel", abs(along) / 2, abs(across) / 2


def _half_sides(lamp) -> tuple[float, float]:
    if lamp.kind == "disc":
        return lamp.diameter / 2, lamp.diameter / 2
    if lamp.kind == "panel":
        return lamp.size[0] / 2, lamp.size[1] / 2
    return 0.0, 0.0


def _level_of(lamp, exponent: float) -> float:
    """Return the luminous intensity on the axis after gel and dim: lux at 1 m in the far field is candela. [cd]"""
    if lamp.measured and not (lamp.lux_at_1m or lamp.candela or lamp.lumens):
        return _UNKNOWN_CANDELA * 2.0**-lamp.gel_stops * lamp.dim
    given = lamp.lux_at_1m or lamp.candela or (lamp.lumens and axis_candela(lamp.lumens, exponent))
    if given is None:
        raise PrevizError(f'lamp "{lamp.name}": it gives no level of light. Add lux_at_1m, candela or lumens.')
    return given * 2.0**-lamp.gel_stops * lamp.dim


def colour_of(lamp) -> np.ndarray:
    """The (3,) linear RGB of the light behind the gel, of luminance 1: a gel shifts mired, 1,000,000 / kelvin, by about as much whatever the light (common practice)."""
    if lamp.kelvin is not None:
        return white_rgb(lamp.kelvin, getattr(lamp.colour, "locus", None))
    try:
        return unit_luminance(lamp.colour)
    except ValueError as error:
        raise PrevizError(f'lamp "{lamp.name}": colour {lamp.colour}: {error}. Give the colour of the light; dim = 0 puts it out.') from error


def _axis(lamp, centre: np.ndarray, built: BuiltSet) -> np.ndarray:
    axis = _target(lamp, built) - centre
    length = np.linalg.norm(axis)
    if length < 1e-6:
        raise PrevizError(f'lamp "{lamp.name}": it points at itself: toward is the place where it stands. Move at or toward.')
    return axis / length


def _target(lamp, built: BuiltSet) -> np.ndarray:
    if not isinstance(lamp.toward, str):
        return np.array(lamp.toward, dtype=float)
    place = place_of(built, lamp.toward)
    if place is None:
        raise PrevizError(f'lamp "{lamp.name}": toward = "{lamp.toward}" is neither an opening nor a prop of this set. Give a name that it has, or [x, y, z].')
    return place


def _level(normal: np.ndarray) -> np.ndarray:
    """Return the level unit vector to the left of `normal`'s travel, x for a lamp that points straight up or down."""
    left = np.array([-normal[1], normal[0], 0.0])
    length = np.linalg.norm(left)
    return left / length if length > 1e-9 else np.array([1.0, 0.0, 0.0])
