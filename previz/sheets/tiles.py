"""
The sheets of one piece at 1:1: frame, crop marks, running dimensions, and the 100 mm bar.

Takes a piece and how it lies on paper; draws its pages. Every sheet has each line that passes through its frame.
"""

from __future__ import annotations

import numpy as np
import shapely

from previz.sheets.leaves import INK, LARGE_PT, SMALL_PT, SOFT, Leaves
from previz.sheets.letters import width_mm
from previz.sheets.paper import FOOT_MM, OVERLAP_MM, SIDE_MM, Tiling, tiling
from previz.sheets.pieces import Piece
from previz.sheets.running import figure, positions, spread
from previz.sheets.strokes import LAYERS, mark_spot, strokes_of

DATUM_MM, CLEAR_MM = 19.0, 4.0
"""Paper round a piece: for the figures at its left and foot, and at the other sides."""
GAP_MM = 3.2
"""From one running figure to the next."""
BAR_MM = 100.0
PENS = {"cut": (0.25, INK, ""), "score": (0.12, SOFT, ""), "engrave": (0.15, INK, "dashed")}
"""Of each layer: width [mm], colour and dashes."""


def tiling_of(piece: Piece, paper: str, stretch: float) -> Tiling:
    """Return the sheets that a piece takes, its figures included."""
    width, height = (v * stretch for v in piece.size)
    along, up = (spread(v * stretch, GAP_MM) for v in positions(piece))
    low = (-DATUM_MM + min(along[0], 0.0), -DATUM_MM + min(up[0], 0.0))
    high = (max(width, along[-1]) + CLEAR_MM, max(height, up[-1]) + CLEAR_MM)
    return tiling(paper, low, high)


def draw_sheets(leaves: Leaves, mark: str, piece: Piece, tiling: Tiling, stretch: float) -> None:
    """Draw one page for each sheet of the piece."""
    strokes = [(stroke, stroke.points * stretch) for stroke in drawn_last_first(piece)]
    words = [*_figures(piece, stretch), *_marks(mark, piece, stretch)]
    leaders = _leaders(piece, stretch)
    for sheet in tiling.sheets:
        leaves.page(tiling.page, f"sheet {sheet.number}", level=1)
        corner = np.array([SIDE_MM, FOOT_MM])
        shift = corner - sheet.begins
        low, high = np.array(sheet.begins), np.array(sheet.begins) + tiling.frame
        with leaves.within(corner, corner + tiling.frame):
            for stroke, points in strokes:
                if _touches(points, low, high):
                    pen, colour, dash = PENS[stroke.layer]
                    leaves.line(points + shift, closed=stroke.closed, pen=pen, colour=colour, dash=dash)
            for points in leaders:
                if _touches(points, low, high):
                    leaves.line(points + shift, pen=0.1, colour=SOFT)
            for at, text, style in words:
                if _inside(at, text, style, low, high):
                    leaves.text(np.asarray(at) + shift, text, **style)
        _frame(leaves, tiling, sheet, corner)
        _header(leaves, mark, piece, tiling, sheet, stretch)
        _footer(leaves, tiling, stretch)


def drawn_last_first(piece: Piece):
    """Return the strokes with those that are cut at the end, so that no dashes show beside a solid line."""
    return sorted(strokes_of(piece), key=lambda stroke: LAYERS.index(stroke.layer), reverse=True)


def _touches(points, low, high):
    return bool(np.all(points.max(axis=0) >= low) and np.all(points.min(axis=0) <= high))


def text_box(at, text, style) -> tuple[float, float, float, float]:
    """Return left, low, right, high of a line of text. [mm]"""
    points = LARGE_PT if style.get("large") else SMALL_PT
    width, height = width_mm(text, points), points * 25.4 / 72
    start = {"left": 0.0, "middle": -0.5, "right": -1.0}[style.get("anchor", "left")] * width
    if style.get("upright"):
        return at[0] - 0.76 * height, at[1] + start, at[0] + 0.24 * height, at[1] + start + width
    return at[0] + start, at[1] - 0.24 * height, at[0] + start + width, at[1] + 0.76 * height


def _inside(at, text, style, low, high):
    a, b, c, d = text_box(at, text, style)
    return a >= low[0] and b >= low[1] and c <= high[0] and d <= high[1]


def _figures(piece, stretch):
    """Running figures below and to the left of the piece."""
    along, up = positions(piece)
    for value, place in zip(along, spread(along * stretch, GAP_MM)):
        yield (place + 0.95, -7.5), figure(value), {"upright": True, "anchor": "right"}
    for value, place in zip(up, spread(up * stretch, GAP_MM)):
        yield (-7.5, place - 0.95), figure(value), {"anchor": "right"}


def _leaders(piece, stretch):
    along, up = positions(piece)
    lines = [np.array([(v * stretch, -1.5), (v * stretch, -3.5), (p, -6.5)]) for v, p in zip(along, spread(along * stretch, GAP_MM))]
    lines += [np.array([(-1.5, v * stretch), (-3.5, v * stretch), (-6.5, p)]) for v, p in zip(up, spread(up * stretch, GAP_MM))]
    return lines


def _marks(mark, piece, stretch):
    """The piece's number and its up arrow where there is space, and a letter in each opening."""
    (x, y), radius = mark_spot(piece)
    if radius > 9:
        yield (x * stretch, y * stretch + 1), f"{mark} ↑", {"large": True, "anchor": "middle"}
        yield (x * stretch, y * stretch - 4), "outside", {"anchor": "middle"}
    elif radius > 2.5:
        yield (x * stretch, y * stretch - 0.9), f"{mark} ↑", {"anchor": "middle"}
    yield from opening_letters(piece, lambda spot: spot * stretch, stretch)


def opening_letters(piece, place, factor):
    """
    A letter in each opening, or below one too narrow for it; `place` takes points of the piece to paper, `factor` larger.

    A letter that would lie on another is left out: letters run on in order.
    """
    taken = shapely.Polygon()
    for letter, cut in zip(letters(len(piece.cuts)), piece.cuts):
        free = max(cut.panes, key=lambda pane: pane.area) if cut.panes else cut.hole
        if free.is_empty:
            continue
        left, _, right, high = free.bounds
        if (right - left) * factor > width_mm(letter, SMALL_PT) + 0.6:
            spot = place(np.asarray(shapely.point_on_surface(free).coords[0])) - (0, 0.9)
        else:
            spot = place(np.array([(left + right) / 2, cut.hole.bounds[1]])) - (0, 3.2)
        box = shapely.box(*text_box(spot, letter, {"anchor": "middle"}))
        if not shapely.intersects(taken, box):
            taken = shapely.union(taken, box)
            yield spot, letter, {"anchor": "middle"}


def letters(count: int) -> list[str]:
    """Return short names for openings: A, B, ... Z, A2, B2, ..."""
    return [chr(65 + i % 26) + (str(i // 26 + 1) if i >= 26 else "") for i in range(count)]


def _frame(leaves, tiling, sheet, corner):
    """Crop marks outside the frame's corners; the dashed lines on which the neighbours are laid."""
    (x0, y0), (x1, y1) = corner, corner + tiling.frame
    for x, sx in ((x0, -1), (x1, 1)):
        for y, sy in ((y0, -1), (y1, 1)):
            leaves.line([(x + sx * 1, y), (x + sx * 5, y)], pen=0.1)
            leaves.line([(x, y + sy * 1), (x, y + sy * 5)], pen=0.1)
    inner_x, inner_y = x1 - OVERLAP_MM, y1 - OVERLAP_MM
    if sheet.column < tiling.columns:
        leaves.line([(inner_x, y0), (inner_x, y1)], pen=0.1, colour=SOFT, dash="dotted")
        leaves.text((x1 + 4.2, (y0 + y1) / 2), f"sheet {sheet.number + 1} from the dotted line on", upright=True, anchor="middle", colour=SOFT)
    if sheet.row < tiling.rows:
        leaves.line([(x0, inner_y), (x1, inner_y)], pen=0.1, colour=SOFT, dash="dotted")
        leaves.text(((x0 + x1) / 2, y1 + 1.8), f"sheet {sheet.number + tiling.columns} from the dotted line on", anchor="middle", colour=SOFT)


def _header(leaves, mark, piece, tiling, sheet, stretch):
    width, height = tiling.page
    y = height - 9
    place = f"sheet {sheet.number} of {tiling.count}: column {sheet.column} of {tiling.columns}, row {sheet.row} of {tiling.rows}"
    leaves.text((width - SIDE_MM, y), place, anchor="right", colour=INK)
    leaves.text((SIDE_MM, y), leaves.clipped(f"{mark}   {piece.name}", width - 2 * SIDE_MM - width_mm(place, SMALL_PT) - 6, large=True), large=True)
    begins = ", ".join(f"{v / stretch:.3f}" for v in sheet.begins)
    leaves.text((SIDE_MM, y - 4.6), f"{piece.thickness:g} mm thick, seen from outside. Lower left corner of the frame: {begins} mm from the datum", colour=SOFT)


def _footer(leaves, tiling, stretch):
    bar = BAR_MM * stretch
    y = 15.0
    leaves.line([(SIDE_MM, y), (SIDE_MM + bar, y)], pen=0.25)
    for tenth in range(11):
        x = SIDE_MM + bar * tenth / 10
        leaves.line([(x, y), (x, y + (2.4 if tenth % 5 == 0 else 1.4))], pen=0.25 if tenth in (0, 10) else 0.12)
    leaves.text((SIDE_MM, y - 3.6), "100 mm from end to end. If your print differs: previz cut --measured WHAT-YOU-READ", colour=SOFT)
    leaves.text((SIDE_MM, y - 7.2), "solid: cut square     dashed: bevel to here, or walls stand here     fine grey: glazing bars", colour=SOFT)
    leaves.text((tiling.page[0] - SIDE_MM, y - 7.2), str(leaves.number), anchor="right", colour=SOFT)
