"""
A drawing: lines and words in millimetres of paper, from the lower left, the same for a PDF page and for SVG.

Takes what to draw; gives it to leaves, or as SVG. Every line of text knows its box, so that no two can meet unnoticed.
Knows nothing of sets.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.sax.saxutils import escape

import numpy as np
import shapely

from previz.frames.lettering import printable
from previz.sheets.leaves import DASHES, INK, LARGE_PT, SMALL_PT, Leaves
from previz.sheets.letters import width_mm
from previz.sheets.tiles import text_box

PT_MM = 25.4 / 72
HATCH_MM = 1.1
"""Between the lines that mark a cut (own choice; ISO 128-50 asks for an even distance that suits the area)."""
THINNEST_HATCHED_MM = 1.4
"""A cut thinner than this on paper is filled instead, as ISO 128-50 lets thin sections be."""


@dataclass(frozen=True)
class Shape:
    """Lines as one shape, (k, 2) points each [mm]; pen [mm], 0 for none; `fill` a colour or empty."""

    rings: tuple
    closed: bool = True
    pen: float = 0.18
    colour: str = INK
    dash: str = ""
    fill: str = ""


@dataclass(frozen=True)
class Words:
    """A line of text as `Leaves.text` takes it."""

    at: tuple[float, float]
    text: str
    style: dict

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, low, right, high. [mm]"""
        return text_box(self.at, self.text, self.style)


@dataclass
class Drawing:
    """
    What is drawn, in order, on a paper of width and height [mm].

    name    of its file
    title   what it shows
    """

    name: str
    title: str
    size: tuple[float, float]
    shapes: list[Shape] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)

    def line(self, points, **style) -> None:
        """Draw an open line through (k, 2) points."""
        self.shapes.append(Shape((np.asarray(points, float),), closed=False, **style))

    def ring(self, points, **style) -> None:
        """Draw a closed line through (k, 2) points."""
        self.shapes.append(Shape((np.asarray(points, float),), **style))

    def text(self, at, text: str, *, ground: bool = False, **style) -> None:
        """Write a line of text; see `Leaves.text`. With `ground` lines that pass behind it are broken off round it."""
        if not text:
            return
        words = Words((float(at[0]), float(at[1])), printable(text), style)
        self.words.append(words)
        if ground:
            left, low, right, high = words.box
            self.shapes.append(Shape((np.array([(left - 0.5, low), (right + 0.5, low), (right + 0.5, high), (left - 0.5, high)]),), pen=0, fill="#ffffff"))

    def geometry(self, shape, **style) -> None:
        """Draw any flat geometry: polygons with their holes, lines."""
        for part in shapely.get_parts(shape):
            if part.geom_type == "Polygon" and part.area > 1e-9:
                rings = tuple(np.asarray(ring.coords)[:-1] for ring in (part.exterior, *part.interiors))
                self.shapes.append(Shape(rings, **style))
            elif part.geom_type in ("LineString", "LinearRing") and part.length > 1e-6:
                self.shapes.append(Shape((np.asarray(part.coords),), closed=False, **{**style, "fill": ""}))

    def cut(self, shape, pen: float = 0.4) -> None:
        """Draw what a plane cuts through: a thick outline, hatched at 45 degrees, filled where it is thin."""
        for part in shapely.get_parts(shape):
            thin = shapely.buffer(part, -THINNEST_HATCHED_MM / 2).is_empty
            self.geometry(part, pen=0.2 if thin else pen, fill=INK if thin else "")
            if not thin:
                for hatch in hatching(part):
                    self.line(hatch, pen=0.1)

    def draw_on(self, leaves: Leaves, at=(0.0, 0.0)) -> None:
        """Draw it on the page, its lower left corner at `at`."""
        shift = np.asarray(at, float)
        for shape in self.shapes:
            rings = [ring + shift for ring in shape.rings]
            leaves.shape(rings, closed=shape.closed, pen=shape.pen, colour=shape.colour, dash=shape.dash, fill=shape.fill)
        for words in self.words:
            leaves.text(np.asarray(words.at) + shift, words.text, **words.style)

    def svg(self) -> str:
        """Return it as SVG 1.1, one unit is 1 mm; each line of text keeps its width in any font."""
        width, height = self.size
        lines = [
            '<?xml version="1.0" encoding="UTF-8"?>',
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.4f}mm" height="{height:.4f}mm" viewBox="0 0 {width:.4f} {height:.4f}">',
            f"<title>{escape(printable(self.title))}</title>",
            f'<rect width="{width:.4f}" height="{height:.4f}" fill="#ffffff"/>',
            *(_svg_shape(shape, height) for shape in self.shapes),
            *(_svg_words(words, height) for words in self.words),
        ]
        return "\n".join([*lines, "</svg>", ""])


def hatching(polygon) -> list[np.ndarray]:
    """Return lines at 45 degrees across a polygon, `HATCH_MM` apart, (2, 2) each. [mm]"""
    left, low, right, high = polygon.bounds
    step = HATCH_MM * np.sqrt(2)
    starts = np.arange(np.floor((left - high) / step) * step, right - low + step, step)
    lines = shapely.linestrings([[(c + low, low), (c + high, high)] for c in starts])
    inside = shapely.get_parts(shapely.intersection(lines, polygon))
    return [np.asarray(part.coords) for part in shapely.get_parts(inside) if part.geom_type == "LineString" and not part.is_empty]


def _svg_shape(shape, height):
    parts = []
    for ring in shape.rings:
        corners = " L ".join(f"{x:.4f},{height - y:.4f}" for x, y in ring)
        parts.append(f"M {corners}{' Z' if shape.closed else ''}")
    dashes = f' stroke-dasharray="{" ".join(f"{part:g}" for part in DASHES[shape.dash])}"' if shape.dash else ""
    stroke = f'stroke="{shape.colour}" stroke-width="{shape.pen:g}" stroke-linejoin="round"' if shape.pen else 'stroke="none"'
    return f'<path d="{" ".join(parts)}" fill="{shape.fill or "none"}" fill-rule="evenodd" {stroke}{dashes}/>'


def _svg_words(words, height):
    style, (x, y) = words.style, words.at
    points = LARGE_PT if style.get("large") else SMALL_PT
    anchor = {"left": "start", "middle": "middle", "right": "end"}[style.get("anchor", "left")]
    turn = f' transform="rotate(-90 {x:.3f} {height - y:.3f})"' if style.get("upright") else ""
    size = f'font-size="{points * PT_MM:.3f}" textLength="{width_mm(words.text, points):.3f}" lengthAdjust="spacingAndGlyphs"'
    return (
        f'<text x="{x:.3f}" y="{height - y:.3f}" {size} font-family="DejaVu Sans, sans-serif" text-anchor="{anchor}" '
        f'fill="{style.get("colour", INK)}"{turn}>{escape(words.text)}</text>'
    )
