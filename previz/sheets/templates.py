"""
Wall templates as a PDF: a first page, then for each piece a map with its joints and openings, and its sheets at 1:1.

Takes pieces; gives the bytes of the document. The sheets are drawn by `previz.sheets.tiles`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from previz.frames.lettering import printable
from previz.sheets.flow import LEFT, Flow, counted
from previz.sheets.leaves import AMBER, LIGHT, SOFT, Leaves
from previz.sheets.paper import PAPERS, Tiling
from previz.sheets.pieces import Piece
from previz.sheets.running import figure
from previz.sheets.tiles import PENS, draw_sheets, drawn_last_first, letters, opening_letters, tiling_of
from previz.sheets.webs import weak_webs, weakest_allowed

CAUTIONS = (
    "Knives: a fresh blade, a steel rule, several light passes, and the free hand behind the blade. Laser cutters: never unattended, with their own "
    "extraction, and only material that its maker declares fit for a laser. Wear eye protection; keep the dust of sanding and sawing out of your lungs. "
    "(Common practice. Labels, manuals and local rules have the word.)"
)
STEPS = (
    "Print at 100 %, never “fit to page”. Measure the bar at the foot of a sheet: it must be 100 mm. If it is not, run previz cut again with --measured and what you read.",
    "Every template is seen from OUTSIDE the set. The arrow points up; on a floor and a ceiling, away from the datum edge below.",
    "Trim a sheet along the left and the lower side of its frame, lay that edge on the dotted line of its neighbour so that every line runs on, and glue.",
    "Solid lines are cut square. Where a second face is dashed, bevel to it afterwards; the angle is from square.",
    "Measure from ONE datum: the lower left corner of each piece. All figures run from there, in millimetres.",
)


@dataclass(frozen=True)
class Numbered:
    """A piece with what it is called on paper and how it lies on the sheets."""

    mark: str
    piece: Piece
    tiling: Tiling


def numbered(pieces: tuple[Piece, ...], paper: str, stretch: float) -> list[Numbered]:
    """Return the pieces marked P1, P2, ... and laid over sheets; `stretch` is what the printer's error is made up with."""
    return [Numbered(f"P{i + 1}", piece, tiling_of(piece, paper, stretch)) for i, piece in enumerate(pieces)]


def templates_pdf(title: str, scale: float, pieces: tuple[Piece, ...], *, paper: str = "A4", measured: float = 100.0, notes: tuple[str, ...] = ()) -> bytes:
    """
    Return the PDF.

    Parameters
    ----------
    title, scale : str, float
        Of the scene.
    paper : one of `PAPERS`
    measured : float
        What the 100 mm bar of an earlier print measured; all is drawn larger by 100 / measured. [mm]
    notes : tuple of str
        Findings, for the first page.
    """
    stretch = 100.0 / measured
    all_of_it = numbered(pieces, paper, stretch)
    leaves = Leaves(f"{printable(title)}: wall templates")
    flow = Flow(leaves, PAPERS[paper])
    _first_page(flow, title, scale, all_of_it, paper, measured, notes)
    for one in all_of_it:
        _map_page(flow, one)
        draw_sheets(leaves, one.mark, one.piece, one.tiling, stretch)
    return leaves.finished()


def _first_page(flow, title, scale, all_of_it, paper, measured, notes):
    flow.begin("Read this first")
    flow.words(title, large=True)
    sheets = sum(one.tiling.count for one in all_of_it)
    corrected = f", corrected for a bar that measured {measured:g} mm" if measured != 100 else ""
    flow.words(f"Wall templates at 1:1 of the model (scale 1:{scale:g}): {counted(len(all_of_it), 'piece')} on {counted(sheets, 'sheet')} of {paper}{corrected}", colour=SOFT)
    flow.heading("How to use them")
    for number, step in enumerate(STEPS, 1):
        flow.words(f"{number}.  {step}", after=0.8)
    flow.heading("Take care")
    flow.words(CAUTIONS)
    flow.heading("Pieces")
    columns = (0.0, 0.07, 0.42, 0.54, 0.74, 0.88)
    flow.row(("", "name", "kind", "size, mm", "thick, mm", "sheets"), columns, SOFT)
    for one in all_of_it:
        size = " × ".join(figure(v) for v in one.piece.size)
        flow.row((one.mark, one.piece.name, one.piece.kind, size, f"{one.piece.thickness:g}", str(one.tiling.count)), columns)
    _plans(flow, all_of_it)
    if notes:
        flow.heading("Keep an eye on this")
        for note in notes:
            flow.words(note, after=0.8)


def _plans(flow, all_of_it):
    """The walls of each room from above, as they are cut: which runs through, which butts."""
    rooms = dict.fromkeys(one.piece.name.split(".")[0] for one in all_of_it)
    for room in rooms:
        walls = [one for one in all_of_it if one.piece.kind == "wall" and one.piece.name.split(".")[0] == room]
        if walls:
            _plan(flow, room, walls)


def _plan(flow, room, walls):
    prints = [_seen_from_above(one.piece) for one in walls]
    box = shapely.union_all(prints).bounds
    across, deep = box[2] - box[0], box[3] - box[1]
    factor = min(flow.width * 0.55 / across, 52 / deep)
    flow.room_for(deep * factor + 22)
    flow.heading(f"Walls of {room} from above: how they meet")
    low = np.array([LEFT + (flow.width - across * factor) / 2, flow.y - deep * factor - 2])
    place = lambda points: low + (np.asarray(points) - box[:2]) * factor
    for one, shape in zip(walls, prints):
        flow.leaves.line(place(shape.exterior.coords[:-1]), closed=True, pen=0.25, fill="#ffffff")
    for one in walls:
        # inside the room, clear of the wall
        middle = one.piece.origin + one.piece.axes[0] * one.piece.size[0] / 2
        at = place(middle[:2]) - one.piece.axes[2, :2] * 5
        flow.leaves.text(at - (0, 1), one.mark, anchor="middle")
    flow.y = low[1] - 5


def _seen_from_above(piece):
    (a, _, b, _), (c, _, d, _) = piece.inner.bounds, piece.outer.bounds
    corners = np.array([(a, 0, 0), (c, 0, piece.thickness), (d, 0, piece.thickness), (b, 0, 0)])
    return shapely.Polygon((piece.origin + corners @ piece.axes)[:, :2])


def _map_page(flow, one):
    piece = one.piece
    flow.begin(f"{one.mark} {piece.name}")
    flow.words(f"{one.mark}   {piece.name}", large=True)
    width, height = (figure(v) for v in piece.size)
    flow.words(f"{piece.kind}, {piece.thickness:g} mm thick, cut from {width} × {height} mm; seen from outside; {counted(one.tiling.count, 'sheet')}", colour=SOFT, after=2)
    _draw_map(flow, one)
    flow.heading("Joints")
    for joint in piece.joints:
        flow.words(f"{joint.edge}: {joint.says}.", after=0.4)
    for bevel in dict.fromkeys((b.edge, round(b.degrees, 2), b.larger) for b in piece.bevels):
        flow.words(f"Bevel of the {bevel[0]}: {bevel[1]:g} degrees from square; the {bevel[2]} face reaches to the solid line.", colour=AMBER, after=0.4)
    if piece.cuts:
        _bill(flow, piece)
    webs = weak_webs(piece)
    if webs:
        flow.heading(f"Weak webs: narrower than 2 thicknesses, {weakest_allowed(piece):g} mm (common practice)")
        for web in webs:
            flow.words(f"{web.first} to {web.second}: {figure(web.width)} mm")


def _bill(flow, piece):
    flow.heading("Openings, measured from the lower left corner")
    columns = (0.0, 0.05, 0.31, 0.42, 0.53, 0.64, 0.75)
    flow.row(("", "name", "left, mm", "low, mm", "width, mm", "height, mm", "bars, width × depth"), columns, SOFT)
    for letter, cut in zip(letters(len(piece.cuts)), piece.cuts):
        left, low, right, high = cut.box
        flow.row((letter, cut.opening.name, figure(left), figure(low), figure(right - left), figure(high - low), _bars(cut)), columns)


def _bars(cut):
    slats = f"{cut.opening.slats.count} slats" if cut.opening.slats else ""
    if cut.opening.bars is None or cut.bars.is_empty:
        return slats
    bars = cut.opening.bars
    kind = "stay: cut the panes" if cut.bars_stay else "glued in"
    return f"{bars.width:g} × {bars.depth:g}, {kind}"


def _draw_map(flow, one):
    """The piece in small, light through its openings, with the frames of its sheets."""
    piece, leaves, tiling = one.piece, flow.leaves, one.tiling
    low, high = np.array(tiling.low), np.array(tiling.sheets[-1].begins) + tiling.frame
    factor = min(flow.width / (high - low)[0], 105 / (high - low)[1])
    base = np.array([LEFT + (flow.width - (high - low)[0] * factor) / 2, flow.y - (high - low)[1] * factor])
    place = lambda points: base + (np.asarray(points) - low) * factor
    for sheet in tiling.sheets:
        a, b = np.array(sheet.begins), np.array(sheet.begins) + tiling.frame
        leaves.line(place([a, (b[0], a[1]), b, (a[0], b[1])]), closed=True, pen=0.1, colour=SOFT, dash="dotted")
        if tiling.count > 1:
            leaves.text(place(a) + (1, 1), str(sheet.number), colour=SOFT)
    strokes = drawn_last_first(piece)
    for stroke in strokes:
        if stroke.role in ("opening", "pane"):
            leaves.line(place(stroke.points), closed=True, pen=0, fill=LIGHT)
    for stroke in strokes:
        pen, colour, dash = PENS[stroke.layer]
        leaves.line(place(stroke.points), closed=stroke.closed, pen=pen, colour=colour, dash=dash)
    for at, letter, style in opening_letters(piece, place, factor):
        leaves.text(at, letter, colour=AMBER, **style)
    flow.y = base[1] - 4
