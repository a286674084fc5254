"""
Paper: the sizes that templates are printed on, and how a large piece is laid over several sheets.

Takes a size in millimetres; gives sheets with the part of the piece that each shows. Knows nothing of what is drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

PAPERS = {"A4": (210.0, 297.0), "A3": (297.0, 420.0), "Letter": (215.9, 279.4)}
"""Width and height upright [mm]: ISO 216 for A4 and A3, ANSI/ASME Y14.1 size A for Letter (8.5 x 11 inch)."""

SIDE_MM, TOP_MM, FOOT_MM = 10.0, 20.0, 25.0
"""Round the frame that a template is drawn in: most printers leave 5 mm white (common practice), the rest is for text."""
OVERLAP_MM = 12.0
"""That neighbouring sheets share, to glue one on the other (own choice)."""


@dataclass(frozen=True)
class Sheet:
    """
    One sheet of a piece.

    number, column, row  from 1, from the lower left
    begins               what lies at the lower left corner of the frame, (along, up) from the piece's datum, printed size [mm]
    """

    number: int
    column: int
    row: int
    begins: tuple[float, float]


@dataclass(frozen=True)
class Tiling:
    """A piece laid over sheets of one size: page and frame (width, height), its lower left corner [mm], columns and rows."""

    page: tuple[float, float]
    frame: tuple[float, float]
    low: tuple[float, float]
    columns: int
    rows: int

    @property
    def count(self) -> int:
        """How many sheets."""
        return self.columns * self.rows

    @property
    def sheets(self) -> list[Sheet]:
        """Every sheet, row by row from the lower left."""
        step = [side - OVERLAP_MM for side in self.frame]
        places = [(row, column) for row in range(self.rows) for column in range(self.columns)]
        return [
            Sheet(i + 1, column + 1, row + 1, (self.low[0] + column * step[0], self.low[1] + row * step[1])) for i, (row, column) in enumerate(places)
        ]


def frame_of(page: tuple[float, float]) -> tuple[float, float]:
    """Return width and height of the frame on a page. [mm]"""
    return page[0] - 2 * SIDE_MM, page[1] - TOP_MM - FOOT_MM


def tiling(paper: str, low: tuple[float, float], high: tuple[float, float]) -> Tiling:
    """Return the sheets for what lies between two corners, printed size [mm], upright or sideways, whichever takes fewer."""
    width, height = PAPERS[paper]
    layouts = [_laid(page, low, high) for page in ((width, height), (height, width))]
    return min(layouts, key=lambda layout: layout.count)


def _laid(page, low, high):
    frame = frame_of(page)
    counts = [max(math.ceil((b - a - OVERLAP_MM) / (side - OVERLAP_MM) - 1e-9), 1) for a, b, side in zip(low, high, frame)]
    return Tiling(page, frame, low, *counts)
