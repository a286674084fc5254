"""
A window of a drawing: the part of a page that shows the set to scale, and the figures that run along its sides.

Takes a facing, what must be seen, and the room on paper; gives where each point of the set lies on the paper, at a scale of
the standard series. All words stand outside the window, so that none can lie on a line of the drawing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from previz.sheets.drawing import Drawing
from previz.sheets.labels import Column, place_labels
from previz.sheets.leaves import INK, SMALL_PT, SOFT
from previz.sheets.letters import clipped
from previz.sheets.projected import seen_flat
from previz.sheets.running import figure, spread
from previz.sheets.scales import scale_for, scale_text

EDGE_MM, HEAD_MM, FOOT_MM = 12.0, 23.0, 16.0
"""White round a page's content; over and under it are heading and scale bar."""
COLUMN_MM, STRIP_MM = 30.0, 27.0
"""Least width for names beside a window, and for figures along a side of it (own choice)."""
FIGURE_GAP_MM = 3.3


@dataclass(frozen=True)
class Window:
    """
    facing     as in `previz.sheets.projected`
    scale      paper over model
    low        what lies at `base`, as it is seen [mm]
    base, top  lower left and upper right corner on paper [mm]
    """

    facing: np.ndarray
    scale: float
    low: np.ndarray
    base: np.ndarray
    top: np.ndarray

    def flat(self, points) -> np.ndarray:
        """Return where points (n, 2), as they are seen, lie on paper. [mm]"""
        return self.base + (np.asarray(points, float) - self.low) * self.scale

    def at(self, points) -> np.ndarray:
        """Return where points of the set (n, 3) lie on paper, (n, 2). [mm]"""
        return self.flat(seen_flat(self.facing, points))

    def geometry(self, shape) -> shapely.Geometry:
        """Return what is seen as it lies on paper, cut at the window's edge."""
        placed = shapely.transform(shape, self.flat)
        return shapely.intersection(placed, shapely.box(*self.base, *self.top)) if not placed.is_empty else placed

    def holds(self, point) -> bool:
        """Return whether a point of the paper lies in it."""
        return bool(np.all(np.asarray(point) >= self.base - 1e-6) and np.all(np.asarray(point) <= self.top + 1e-6))


def window_on(facing: np.ndarray, seen: np.ndarray, low, high) -> Window:
    """
    Return the window that shows `seen` (n, 2), in the middle of the room between two corners of the paper. [mm]

    ValueError where no scale is small enough.
    """
    a, b = np.min(seen, axis=0), np.max(seen, axis=0)
    low, high = np.asarray(low, float), np.asarray(high, float)
    scale = scale_for(np.maximum(b - a, 1e-3), high - low)
    base = (low + high - (b - a) * scale) / 2
    return Window(facing, scale, a, base, base + (b - a) * scale)


def page_for(name: str, title: str, page: tuple[float, float]) -> Drawing:
    """Return an empty drawing as large as a page lying on its side, with its heading."""
    drawing = Drawing(name, title, (max(page), min(page)))
    width, height = drawing.size
    drawing.text((EDGE_MM, height - 13), clipped(title, width - 2 * EDGE_MM, 13.0), large=True)
    return drawing


def columns_beside(drawing: Drawing, window: Window, strips: tuple[bool, bool]) -> tuple[Column, Column]:
    """Return the columns for names at the left and the right of a window, outside its strips of figures."""
    width, height = drawing.size
    low, high = FOOT_MM + 2, height - HEAD_MM
    left, right = (3 + (STRIP_MM if strip else 0) for strip in strips)
    return Column(window.base[0] - left, EDGE_MM, low, high), Column(window.top[0] + right, width - EDGE_MM, low, high)


def page_window(drawing: Drawing, facing: np.ndarray, seen: np.ndarray, *, below: bool = False, left: bool = False, right: bool = False) -> Window:
    """Return the window of a page that leaves room for columns of names, and for figures at the sides that have them."""
    width, height = drawing.size
    side = EDGE_MM + COLUMN_MM + 3
    low = (side + (STRIP_MM if left else 0), FOOT_MM + (STRIP_MM if below else 4))
    high = (width - side - (STRIP_MM if right else 0), height - HEAD_MM - (7 if left else 2))
    return window_on(facing, seen, low, high)


def name_beside(drawing: Drawing, window: Window, labels, *, left: bool = False, right: bool = False) -> int:
    """Write labels into the columns at both sides; return how many found no row, which is said under the drawing."""
    rest = place_labels(drawing, labels, columns_beside(drawing, window, (left, right)))
    if rest:
        drawing.text((drawing.size[0] - EDGE_MM, 6.5), f"and {len(rest)} more, in the table of props", anchor="right", colour=SOFT)
    return len(rest)


def caption(drawing: Drawing, window: Window, says: str) -> None:
    """Write the scale and a sentence under the heading, and the scale bar at the foot."""
    width, height = drawing.size
    drawing.text((EDGE_MM, height - 18), clipped(f"Scale {scale_text(window.scale)}, millimetres of the model. {says}", width - 2 * EDGE_MM, SMALL_PT), colour=SOFT)
    scale_bar(drawing, (EDGE_MM, 9.0), window.scale)


def scale_bar(drawing: Drawing, at, scale: float) -> None:
    """Draw a bar of a round length of the model, 25 to 60 mm long on paper, and write its length."""
    length = next(step * 10.0**power for power in range(-2, 7) for step in (1, 2, 5) if step * 10.0**power * scale >= 25)
    x, y = at
    end = x + length * scale
    drawing.line([(x, y), (end, y)], pen=0.25)
    for part in range(6):
        at_x = x + length * scale * part / 5
        drawing.line([(at_x, y), (at_x, y + (1.8 if part in (0, 5) else 1.1))], pen=0.18)
    drawing.text((end + 2, y - 0.2), f"{figure(length)} mm of the model", colour=SOFT)


def figures_below(drawing: Drawing, window: Window, entries, says: str = "", strip: float = STRIP_MM) -> None:
    """Write running figures under the window: entries are (what is seen at right [mm], words); nearest to the datum first where there is no room for all."""
    low, high = window.base[0], window.top[0]
    kept = _that_fit(entries, high - low)
    values = np.array([window.base[0] + (value - window.low[0]) * window.scale for value, _ in kept])
    y = window.base[1]
    for value, place, (_, words) in zip(values, _spread(values, low - 4, high + 4), kept):
        drawing.line([(value, y - 1), (value, y - 2.5), (place, y - 5.5)], pen=0.1, colour=SOFT)
        drawing.text((place + 0.95, y - 6.3), clipped(words, strip - 6.5, SMALL_PT), upright=True, anchor="right", ground=True)
    if says and kept:
        drawing.text(((low + high) / 2, y - strip - 2.2), clipped(says, high - low + 60, SMALL_PT), anchor="middle", colour=SOFT)


def figures_beside(drawing: Drawing, window: Window, entries, says: str = "", *, right: bool = False, strip: float = STRIP_MM) -> None:
    """Write running figures at the left or the right of the window: entries are (what is seen upward [mm], words)."""
    low, high = window.base[1], window.top[1]
    kept = _that_fit(entries, high - low)
    values = np.array([window.base[1] + (value - window.low[1]) * window.scale for value, _ in kept])
    x, side, anchor = (window.top[0], 1, "left") if right else (window.base[0], -1, "right")
    for value, place, (_, words) in zip(values, _spread(values, low - 2, high + 2), kept):
        drawing.line([(x + side, value), (x + 2.5 * side, value), (x + 5.5 * side, place)], pen=0.1, colour=SOFT)
        drawing.text((x + 6.3 * side, place - 0.95), clipped(words, strip - 6.5, SMALL_PT), anchor=anchor, ground=True)
    if says and kept:
        drawing.text((x + 1.0 * side, high + 5.5), clipped(says, strip - 1.5, SMALL_PT), anchor=anchor, colour=SOFT, ground=True)


def _that_fit(entries, length):
    """The entries in order of their value, one for each value; the first ones of the list where there are too many."""
    first = {}
    for value, words in entries:
        first.setdefault(round(float(value), 2), words)
    kept = list(first.items())[: max(int(length / FIGURE_GAP_MM), 2)]
    return sorted(kept)


def _spread(values, low, high):
    """Places at least a gap apart, between low and high where they can be."""
    if not len(values):
        return values
    places = spread(values, FIGURE_GAP_MM)
    most = max(high, values[0]) - FIGURE_GAP_MM * np.arange(len(values))[::-1]
    if np.any(places > most):
        places = np.minimum(places, most)
    return places


def dot(drawing: Drawing, at, radius: float, **style) -> None:
    """Draw a circle."""
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    drawing.ring(np.asarray(at) + radius * np.column_stack([np.cos(angle), np.sin(angle)]), **style)


def datum(drawing: Drawing, window: Window) -> None:
    """Mark the datum corner, [0, 0, 0]: two short lines through it and a circle round it, where it is in the window."""
    at = window.at([[0, 0, 0]])[0]
    if window.holds(at):
        dot(drawing, at, 1.4, pen=0.25, colour=INK, fill="#ffffff")
        for step in ((2.6, 0), (0, 2.6)):
            drawing.line([at - step, at + step], pen=0.18)
