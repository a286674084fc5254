"""
Templates as open files for cutting machines: one SVG and one DXF for each piece, in millimetres, as seen from outside.

Takes a piece; gives text. Layers are cut, score and engrave, by name. Both hold true sizes: a machine has no printer's error.
"""

from __future__ import annotations

import io
from contextlib import contextmanager
from xml.sax.saxutils import escape, quoteattr

import ezdxf
import numpy as np
from ezdxf import units
from ezdxf.enums import TextEntityAlignment

from previz.sheets.pieces import Piece
from previz.sheets.strokes import LAYERS, mark_spot, strokes_of

MARGIN_MM = 5.0
SVG_COLOURS = {"cut": "#000000", "score": "#6d665b", "engrave": "#b36b00"}
DXF_COLOURS = {"cut": 7, "score": 8, "engrave": 30}
"""AutoCAD colour index of each layer, as the DXF reference numbers them: 7 black or white, 8 grey, 30 orange."""
LETTER_MM = 4.0


def template_svg(mark: str, piece: Piece) -> str:
    """Return a piece as SVG 1.1: one unit is 1 mm, a group for each layer, a path for each line, its role and name as data."""
    width, height = piece.size
    w, h = width + 2 * MARGIN_MM, height + 2 * MARGIN_MM
    strokes = strokes_of(piece)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:.4f}mm" height="{h:.4f}mm" viewBox="0 0 {w:.4f} {h:.4f}">',
        f"<title>{escape(mark)} {escape(piece.name)}</title>",
        f"<desc>{escape(description(piece))}</desc>",
    ]
    for layer in LAYERS:
        lines.append(f'<g id="{layer}" fill="none" stroke="{SVG_COLOURS[layer]}" stroke-width="0.1">')
        lines += [_path(stroke, h) for stroke in strokes if stroke.layer == layer]
        if layer == "engrave":
            lines.append(_svg_mark(mark, piece, h))
        lines.append("</g>")
    return "\n".join([*lines, "</svg>", ""])


def description(piece: Piece) -> str:
    """Return what a maker must know of a piece in one paragraph: thickness, view, joints, bevels."""
    width, height = piece.size
    parts = [f"{piece.kind}, {piece.thickness:g} mm thick, {width:.2f} x {height:.2f} mm, millimetres, seen from outside, up is up."]
    parts += [f"{joint.edge}: {joint.says}." for joint in piece.joints]
    bevels = dict.fromkeys((b.edge, round(b.degrees, 2), b.larger) for b in piece.bevels)
    parts += [f"Bevel of the {edge}: {degrees:g} degrees from square; the {face} face is the larger one." for edge, degrees, face in bevels]
    return " ".join(parts)


def _path(stroke, height):
    corners = " L ".join(f"{x + MARGIN_MM:.4f},{height - y - MARGIN_MM:.4f}" for x, y in stroke.points)
    name = f" data-opening={quoteattr(stroke.name)}" if stroke.name else ""
    return f'<path class="{stroke.role}"{name} d="M {corners}{" Z" if stroke.closed else ""}"/>'


def _svg_mark(mark, piece, height):
    (x, y), _ = mark_spot(piece)
    place = f'x="{x + MARGIN_MM:.2f}" y="{height - y - MARGIN_MM:.2f}"'
    return f'<text {place} font-size="{LETTER_MM:g}" font-family="sans-serif" text-anchor="middle" stroke="none" fill="{SVG_COLOURS["engrave"]}">{escape(mark)} ↑ {escape(piece.name)}</text>'


def template_dxf(mark: str, piece: Piece) -> str:
    """Return a piece as DXF R2010, unit millimetre, datum at the origin, closed polylines on the layers cut, score and engrave."""
    with same_bytes():
        document = ezdxf.new("R2010", units=units.MM)
        document.header["$MEASUREMENT"] = 1
        space = document.modelspace()
        for layer in LAYERS:
            document.layers.add(layer, color=DXF_COLOURS[layer])
        for stroke in strokes_of(piece):
            space.add_lwpolyline(np.asarray(stroke.points), close=stroke.closed, dxfattribs={"layer": stroke.layer})
        (x, y), _ = mark_spot(piece)
        text = space.add_text(f"{mark} {piece.name} (outside, up is up)", height=LETTER_MM, dxfattribs={"layer": "engrave"})
        text.set_placement((x, y), align=TextEntityAlignment.MIDDLE_CENTER)
        stream = io.StringIO()
        document.write(stream)
    return stream.getvalue()


@contextmanager
def same_bytes():
    """Write DXF so within the block. Without this every DXF would hold the moment and a number of its own; the same scene must give the same bytes."""
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before
