"""
A report as one row of figures: every single number of it by a name, with its unit.

Takes the plain values of a report; gives (name, unit) -> value. Lists along the take and outlines have no place in a row
and are left to the report itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

UNITS = {
    "_mm_s2": "mm/s2", "_mm_s": "mm/s", "_mm2": "mm2", "_mm": "mm", "_deg_s2": "deg/s2", "_deg_s": "deg/s", "_deg": "deg", "_per_m": "1/m", "_cd_m2": "cd/m2",
    "_km_h": "km/h", "_stops": "stops", "_s": "s", "_fps": "1/s", "_px": "pixel", "_margin": "share of the frame", "_share": "share", "stops_over_iso_max": "stops",
    "lux": "lx", "candela": "cd", "lumens": "lm", "kelvin": "K", "iso_needed": "ISO", "minutes": "min",
}  # fmt: skip
"""By how the name ends, the longest first."""
_LEFT_OUT = {"along", "clock", "clip_s", "capture_fps", "playback_fps", "light", "patches", "shafts"}


@dataclass(frozen=True)
class Column:
    """One figure: words from the shot or lamp down to its own name, and its unit."""

    words: tuple[str, ...]
    unit: str

    @property
    def head(self) -> str:
        """As the head of a column."""
        name = ": ".join(part for part in (" / ".join(self.words[:-1]), self.words[-1]) if part)
        return f"{name} [{self.unit}]" if self.unit else name


def tabled(figures: dict) -> dict[Column, float | bool | None]:
    """
    Return every single figure of a report.

    Shots come first, each with its plainest shaft ("shafts: contrast_stops") and then every shaft by lamp and opening; then
    lamps; then patches, all panes of one lamp, opening and face together: area added up, lux and penumbra weighted by area.
    """
    found: dict[Column, float | bool | None] = {}
    for words, value in _all(figures):
        found.setdefault(Column(words, unit_of(words[-1])), value)
    return found


def unit_of(name: str) -> str:
    """Return the unit that a figure's name ends in, or an empty text."""
    return next((unit for ending, unit in UNITS.items() if name.endswith(ending)), "")


def _all(figures: dict) -> Iterator[tuple[tuple[str, ...], object]]:
    levels = [finding["level"] for finding in figures["findings"]]
    yield ("findings", "stop"), levels.count("stop")
    yield ("findings", "care"), levels.count("care")
    for shot in figures["shots"]:
        yield from _single(shot, (shot["name"],))
        yield from _shafts(shot)
    for lamp in figures["lamps"]:
        yield from _single(lamp, ("lamp", lamp["name"]))
    yield from _patches(figures["patches"])


def _single(values: dict, above: tuple[str, ...]) -> Iterator:
    """Every number below, tables opened, lists and words left out."""
    for key, value in values.items():
        if key in _LEFT_OUT:
            continue
        if isinstance(value, dict):
            yield from _single(value, (*above, key))
        elif value is None and not unit_of(key):
            continue
        elif value is None or isinstance(value, (bool, int, float)):
            yield (*above, key), value


def _shafts(shot: dict) -> Iterator:
    shafts = shot["shafts"]
    for key in ("contrast_stops", "frame_share"):
        yield (shot["name"], "shafts", key), shafts[0][key] if shafts else None
    yield (shot["name"], "shafts", "reading"), sum(shaft["reads"] for shaft in shafts)
    for shaft in shafts:
        for key in ("contrast_stops", "frame_share"):
            yield (shot["name"], "shafts", f"{shaft['lamp']} through {shaft['opening']}", key), shaft[key]


def _patches(patches: list[dict]) -> Iterator:
    groups: dict[tuple[str, ...], list[dict]] = {}
    for patch in patches:
        groups.setdefault(("light on", patch["on"], f"{patch['lamp']} through {patch['opening']}"), []).append(patch)
    for words, group in groups.items():
        area = sum(patch["area_mm2"] for patch in group)
        yield (*words, "area_mm2"), area
        for key in ("lux", "penumbra_mm"):
            yield (*words, key), sum(patch[key] * patch["area_mm2"] for patch in group) / area if area else None
        for axis in range(3):
            yield (*words, f"centre {'xyz'[axis]}_mm"), sum(patch["centre_mm"][axis] * patch["area_mm2"] for patch in group) / area if area else None
