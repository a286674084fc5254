"""
Photometric files by the North American standard LM-63, of all its editions: a lamp's intensity by direction, as measured.

Takes the text of a file; gives its figures and its `Distribution`, or an `Lm63Fault` that says what is wrong and where in
the file. Knows no scene.

ANSI/IESNA LM-63-02, section 3 (excerpt seen): the numbers are one stream, parted by commas, spaces and ends of lines, and may
wrap anywhere. Planes of types A and C share a vertical axis, those of type B a horizontal one. The layout of the stream was
seen second-hand; symmetry, -1 for absolute figures, and negative sizes for round faces are from memory.

    type C   theta is the vertical angle from straight down, phi the horizontal one, anticlockwise from above, as the lamp looks
    type A   the axis is at horizontal 0, vertical 0; vertical is a latitude, horizontal turns about the vertical
    type B   the same axis; horizontal is a latitude, vertical turns about the horizontal
             (both count horizontal angles clockwise, to the right as the lamp looks)
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from previz.light.distribution import Distribution, sampled

LARGEST_BYTES = 4_000_000
MM_PER_FOOT = 304.8
HIGHEST_CANDELA = 1e9
_TYPES = {1: "C", 2: "B", 3: "A"}
_MOST_ANGLES = 2000
_HEADER = re.compile(r"(IESNA91|IESNA:\s*LM-63|IES:\s*LM-63)", re.IGNORECASE)


class Lm63Fault(ValueError):
    """A photometric file cannot be used: what must stand there, what was found and where, what to do."""

    def __init__(self, allowed: str, found: str, remedy: str):
        super().__init__(f"{allowed} (got {found}): {remedy}")
        self.allowed, self.found, self.remedy = allowed, found, remedy


@dataclass(frozen=True)
class Photometry:
    """
    The figures of a photometric file.

    kind                        "C", "B" or "A", the system of its angles
    vertical_deg, horizontal_deg  (v,), (h,) as in the file [deg]
    candela                     (h, v), all multipliers applied [cd]
    width_mm, length_mm, height_mm  of the luminous opening; negative for a round one of that diameter [mm]
    watts                       0 where the file does not say [W]
    tilt_deg, tilt_factor       what is left of the light when the lamp is tipped from straight down by so much [deg], [1]
    """

    kind: str
    vertical_deg: np.ndarray
    horizontal_deg: np.ndarray
    candela: np.ndarray
    width_mm: float
    length_mm: float
    height_mm: float
    watts: float
    tilt_deg: np.ndarray
    tilt_factor: np.ndarray

    def tipped(self, tilt_deg: float) -> float:
        """Return the share of the light that is left when the lamp points `tilt_deg` from straight down. [deg] -> [1]"""
        return float(np.interp(tilt_deg, self.tilt_deg, self.tilt_factor))

    @property
    def zonal_lumens(self) -> np.ndarray:
        """
        (v - 1,): flux between successive vertical angles of a type C file. [lm]

        ``2 pi (cos a - cos b) (Ia + Ib) / 2`` with the mean over the planes by trapezoids: the trade's zonal method
        (IES practice; secondary source seen).
        """
        h = self.horizontal_deg
        around = self.candela[0] if len(h) == 1 else np.trapezoid(self.candela, h, axis=0) / (h[-1] - h[0])
        return -2 * np.pi * np.diff(np.cos(np.radians(self.vertical_deg))) * (around[1:] + around[:-1]) / 2

    @property
    def distribution(self) -> Distribution:
        """The intensity all round, with the symmetry that the file leaves out."""
        if self.kind == "C":
            return sampled(self._type_c, self.vertical_deg, self._whole_circle())
        return sampled(self._type_a_or_b, [1.0], [0.0, 2.0])

    def _whole_circle(self) -> np.ndarray:
        return self.horizontal_deg if len(self.horizontal_deg) == 1 else np.concatenate([self.horizontal_deg, [0.0, 360.0]])

    def _type_c(self, theta, phi) -> np.ndarray:
        first, last = self.horizontal_deg[0], self.horizontal_deg[-1]
        phi = phi % 360.0
        if last == 90.0 and first == 0.0:
            phi = np.minimum(phi % 180.0, 180.0 - phi % 180.0)
        elif last == 180.0 and first == 0.0:
            phi = np.minimum(phi, 360.0 - phi)
        elif first == 90.0:
            phi = np.where(phi < 90.0, 180.0 - phi, np.where(phi > 270.0, 540.0 - phi, phi))
        return self._looked_up(theta, phi if len(self.horizontal_deg) > 1 else np.full_like(phi, first))

    def _type_a_or_b(self, theta, phi) -> np.ndarray:
        theta, phi = np.radians(theta), np.radians(phi)
        # To the left, up and along the axis; phi turns from the left downwards.
        left, up, along = np.sin(theta) * np.cos(phi), -np.sin(theta) * np.sin(phi), np.cos(theta)
        latitude, turn = (up, -left) if self.kind == "A" else (-left, up)
        latitude, turn = np.degrees(np.arcsin(np.clip(latitude, -1, 1))), np.degrees(np.arctan2(turn, along))
        vertical, horizontal = (latitude, turn) if self.kind == "A" else (turn, latitude)
        vertical = np.abs(vertical) if self.vertical_deg[0] >= 0 else vertical
        horizontal = np.abs(horizontal) if self.horizontal_deg[0] >= 0 else horizontal
        return self._looked_up(vertical, horizontal)

    def _looked_up(self, vertical, horizontal) -> np.ndarray:
        """Linear between the file's angles, dark beyond them. [deg], [deg] -> [cd]"""
        v, h = self.vertical_deg, self.horizontal_deg
        i, down = _between(v, vertical)
        j, along = _between(h, horizontal)
        over, after = np.minimum(i + 1, len(v) - 1), np.minimum(j + 1, len(h) - 1)
        near = self.candela[j, i] * (1 - along) + self.candela[after, i] * along
        far = self.candela[j, over] * (1 - along) + self.candela[after, over] * along
        edge = 1e-6
        measured = (vertical >= v[0] - edge) & (vertical <= v[-1] + edge) & (horizontal >= h[0] - edge) & (horizontal <= h[-1] + edge)
        return np.where(measured, near * (1 - down) + far * down, 0.0)


def read_lm63(path: Path) -> Photometry:
    """
    Return the figures of a photometric file.

    Raises
    ------
    Lm63Fault
        If the file is missing, too large, or no sound LM-63 file.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise Lm63Fault("must be a photometric file (LM-63)", f"a folder, {path.name}", "Give the name of the .ies file in it.")
        with path.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise Lm63Fault("there is no such file", str(path), "Give its name relative to the scene file.") from None
    except (OSError, ValueError) as error:
        raise Lm63Fault("the file cannot be read", getattr(error, "strerror", None) or "an impossible name", "Check its name and permissions.") from None
    if len(content) > LARGEST_BYTES:
        raise Lm63Fault(f"must be at most {LARGEST_BYTES / 1e6:.0f} MB", f"more in {path.name}", "A photometric file is a page or two of numbers.")
    if b"\0" in content:
        raise Lm63Fault("must be a photometric file (LM-63), which is plain text", f"binary content in {path.name}", "Take the .ies file from its archive, or export it again.")
    return parsed(content.decode("latin-1"))


def parsed(text: str) -> Photometry:
    """
    Return the figures that the text of a photometric file holds.

    Raises
    ------
    Lm63Fault
        With the line of the text, and the place in the stream of numbers in words.
    """
    lines = text.splitlines()
    at = next((i for i, line in enumerate(lines) if line.strip().upper().startswith("TILT=")), None)
    if at is None:
        known = "its first line says LM-63" if lines and _HEADER.match(lines[0].strip()) else "no LM-63 header either"
        raise Lm63Fault("must be a photometric file (LM-63) with a line TILT=", f"none; {known}", "Check that the whole file was saved.")
    numbers = _Numbers(lines, at + 1)
    tilt_deg, tilt_factor = _tilt(lines[at].strip()[5:].strip(), at + 1, numbers)
    numbers.whole("the number of lamps", 1, 1_000_000)
    numbers.number("lumens per lamp", -1, 1e9)
    multiplier = numbers.number("the candela multiplier", 0, 1e9)
    vertical_count = numbers.whole("the number of vertical angles", 1, _MOST_ANGLES)
    horizontal_count = numbers.whole("the number of horizontal angles", 1, _MOST_ANGLES)
    kind = _TYPES[numbers.whole("the photometric type: 1 (C), 2 (B) or 3 (A)", 1, 3)]
    unit = (MM_PER_FOOT, 1000.0)[numbers.whole("the unit of the sizes: 1 (feet) or 2 (metres)", 1, 2) - 1]
    width, length, height = (unit * numbers.number(f"the {side} of the luminous opening", -1000, 1000) for side in ("width", "length", "height"))
    ballast = numbers.number("the ballast factor", 0, 1000)
    lamp_factor = numbers.number("the ballast-lamp factor", 0, 1000)
    watts = numbers.number("the input watts", 0, 1e7)
    vertical = _angles(numbers, "vertical", vertical_count, *((0, 180) if kind == "C" else (-90, 90)) if kind != "B" else (-180, 180))
    horizontal = _angles(numbers, "horizontal", horizontal_count, *(0, 360) if kind == "C" else (-180, 180))
    _symmetric(kind, vertical, horizontal)
    factor = multiplier * ballast * lamp_factor
    candela = np.array(
        [[numbers.number(f"candela {i + 1} of {vertical_count} at horizontal angle {h:g}", 0, HIGHEST_CANDELA) for i in range(vertical_count)] for h in horizontal]
    )
    numbers.ended(f"{vertical_count} vertical angles, {horizontal_count} horizontal ones and {vertical_count * horizontal_count} candela values")
    candela = candela * factor
    if not 0 < candela.max() <= HIGHEST_CANDELA:
        found = "none" if candela.max() == 0 else f"{candela.max():.3g} cd"
        raise Lm63Fault(f"must give some light, at most {HIGHEST_CANDELA:.0e} cd", found, "Look at the candela values, the multiplier and the ballast factors.")
    return Photometry(kind, vertical, horizontal, candela, width, length, height, watts, tilt_deg, tilt_factor)


class _Numbers:
    """The one stream of numbers of a file, from a line on."""

    def __init__(self, lines: list[str], first: int):
        self._tokens = [(word, i + 1) for i in range(first, len(lines)) for word in lines[i].replace(",", " ").split()]
        self._next = 0

    def number(self, what: str, low: float, high: float) -> float:
        if self._next >= len(self._tokens):
            raise Lm63Fault(f"{what} is missing", "the end of the file", "The counts promise more numbers than the file has: save it again, whole.")
        word, line = self._tokens[self._next]
        self._next += 1
        try:
            value = float(word) if "_" not in word else math.nan
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            shown = word if len(word) <= 20 else word[:17] + "..."
            words = f"{low:g} to {high:g}" if high < 1e5 else "a number, not negative" if low == 0 else f"a number from {low:g} on"
            raise Lm63Fault(f"{what} must be {words}", f"{shown} on line {line}", f"Correct line {line} of the file, or the counts before it, or export it again.")
        return value

    def whole(self, what: str, low: int, high: int) -> int:
        value = self.number(what, low, high)
        if value != int(value):
            raise Lm63Fault(f"{what} must be a whole number", f"{value:g} on line {self._tokens[self._next - 1][1]}", "Correct it, or export the file again.")
        return int(value)

    def ended(self, promised: str) -> None:
        left = len(self._tokens) - self._next
        if left:
            line = self._tokens[self._next][1]
            raise Lm63Fault(f"must end after {promised}", f"{left} more number{'s' if left > 1 else ''}, from line {line}", "Correct the counts, or export the file again.")


def _tilt(how: str, line: int, numbers: _Numbers) -> tuple[np.ndarray, np.ndarray]:
    """The factors of a tipped lamp: [0], [1] for TILT=NONE. [deg], [1]"""
    if how.upper() == "NONE":
        return np.zeros(1), np.ones(1)
    if how.upper() != "INCLUDE":
        found = f"TILT={how[:40]} on line {line}"
        raise Lm63Fault("TILT= must be NONE or INCLUDE", found, "Write the factors into the file after TILT=INCLUDE, or TILT=NONE if tipping the lamp changes nothing.")
    numbers.whole("the lamp-to-luminaire geometry", 1, 3)
    count = numbers.whole("the number of tilt angles", 1, _MOST_ANGLES)
    angles = _angles(numbers, "tilt", count, 0, 180)
    return angles, np.array([numbers.number(f"tilt factor {i + 1} of {count}", 0, 100) for i in range(count)])


def _angles(numbers: _Numbers, which: str, count: int, low: float, high: float) -> np.ndarray:
    """`count` angles, each above the one before. [deg]"""
    found = []
    for i in range(count):
        found.append(numbers.number(f"{which} angle {i + 1} of {count}", low, high))
        if i and found[-1] <= found[-2]:
            raise Lm63Fault(f"{which} angles must rise", f"{found[-1]:g} after {found[-2]:g}", "Correct the counts or the angles, or export the file again.")
    return np.array(found)


def _symmetric(kind: str, vertical: np.ndarray, horizontal: np.ndarray) -> None:
    """Complain of planes that are not a whole, a half, a quarter or an axis of symmetry."""
    first, last = horizontal[0], horizontal[-1]
    if kind == "C" and len(horizontal) > 1 and (first, last) not in ((0, 90), (0, 180), (0, 360), (90, 270)):
        raise Lm63Fault("horizontal angles must run from 0 to 90, 180 or 360, or from 90 to 270", f"{first:g} to {last:g}", "Measure or export the missing planes.")
    if len(vertical) < 2:
        raise Lm63Fault("the number of vertical angles must be 2 or more", "1", "Export the file again, with its vertical angles.")


def _between(angles: np.ndarray, wanted) -> tuple[np.ndarray, np.ndarray]:
    """The angle at or before each wanted one, and the share of the way to the next."""
    if len(angles) == 1:
        return np.zeros(np.shape(wanted), int), np.zeros(np.shape(wanted))
    i = np.clip(np.searchsorted(angles, wanted, side="right") - 1, 0, len(angles) - 2)
    return i, np.clip((wanted - angles[i]) / (angles[i + 1] - angles[i]), 0.0, 1.0)
