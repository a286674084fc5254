"""
Letters on paper: the font as the PDF library embeds it, and how wide its text prints.

What stands for a character that the font lacks is in `previz.frames.lettering`.
"""

from __future__ import annotations

import functools

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from previz.frames.lettering import font_file, printable

FONT = "previz-sans"


@functools.cache
def font() -> TTFont:
    """Register the font with the PDF library and return it."""
    made = TTFont(FONT, str(font_file()))
    pdfmetrics.registerFont(made)
    return made


def width_mm(text: str, points: float) -> float:
    """Return the width of printed text. [mm]"""
    font()
    return pdfmetrics.stringWidth(text, FONT, points) * 25.4 / 72


def clipped(text: str, width: float, points: float) -> str:
    """Return `text` as it prints, cut to `width` mm with three dots where it is longer."""
    text = printable(text)
    if width_mm(text, points) <= width:
        return text
    return next(text[:i] + "..." for i in range(len(text), -1, -1) if width_mm(text[:i] + "...", points) <= width or not i)
