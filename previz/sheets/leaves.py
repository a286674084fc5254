"""
Leaves: the pages of a PDF, in millimetres from the lower left, in our look: ink on paper, one amber for light, two sizes of type.

Takes what to draw; gives the bytes of a document with title, bookmarks and an embedded font, the same each time.
Knows no template.
"""

from __future__ import annotations

import io
from contextlib import contextmanager

import numpy as np
from PIL import Image
from reportlab.lib.colors import HexColor
from reportlab.lib.utils import ImageReader, simpleSplit
from reportlab.pdfgen.canvas import FILL_EVEN_ODD, Canvas

from previz.frames.lettering import printable
from previz.sheets.letters import FONT, clipped, font, width_mm

LARGE_PT, SMALL_PT = 13.0, 7.5
INK, SOFT, AMBER, LIGHT = "#23201b", "#6d665b", "#b36b00", "#f7e6c4"
MM = 72 / 25.4
LINE_MM = 3.7
"""From one line of small type to the next."""
DASHES = {"": (), "dashed": (2.0, 1.2), "dotted": (0.4, 0.9)}


class Leaves:
    """A document being drawn, page by page."""

    def __init__(self, title: str):
        font()
        self._bytes = io.BytesIO()
        self._canvas = Canvas(self._bytes, invariant=1, pageCompression=1, initialFontName=FONT, initialFontSize=SMALL_PT, lang="en")
        self._canvas.setTitle(title)
        self._canvas.setAuthor("previz")
        self._canvas.setSubject("Paper for the bench, in millimetres")
        self._canvas.setCreator("previz")
        self._canvas.showOutline()
        self.number = 0

    def page(self, size: tuple[float, float], bookmark: str = "", level: int = 0) -> None:
        """Begin the next page, width and height in mm; with a bookmark where one is given."""
        if self.number:
            self._canvas.showPage()
        self.number += 1
        self.size = size
        self._canvas.setPageSize((size[0] * MM, size[1] * MM))
        if bookmark:
            self._canvas.bookmarkPage(f"p{self.number}")
            self._canvas.addOutlineEntry(printable(bookmark), f"p{self.number}", level, closed=level == 0 and self.number > 1)

    def text(self, at, words: str, *, large=False, colour=INK, anchor="left", upright=False) -> None:
        """Write one line; `anchor` is left, middle or right of `at`, `upright` turns it to read from the right."""
        points = LARGE_PT if large else SMALL_PT
        words = printable(words)
        shift = {"left": 0.0, "middle": -0.5, "right": -1.0}[anchor] * width_mm(words, points)
        canvas = self._canvas
        canvas.saveState()
        canvas.setFillColor(HexColor(colour))
        canvas.translate(at[0] * MM, at[1] * MM)
        if upright:
            canvas.rotate(90)
        canvas.setFont(FONT, points)
        canvas.drawString(shift * MM, 0, words)
        canvas.restoreState()

    def lines_of(self, words: str, width: float, *, large=False) -> list[str]:
        """Return `words` as lines that are at most `width` mm wide; a word too long for one is broken."""
        points = LARGE_PT if large else SMALL_PT
        found = []
        for line in simpleSplit(printable(words), FONT, points, width * MM):
            while width_mm(line, points) > width:
                count = next(i for i in range(len(line), 0, -1) if i == 1 or width_mm(line[:i], points) <= width)
                found.append(line[:count])
                line = line[count:]
            found.append(line)
        return found

    def clipped(self, words: str, width: float, *, large=False) -> str:
        """Return `words`, cut to `width` mm with three dots where they are longer."""
        return clipped(words, width, LARGE_PT if large else SMALL_PT)

    def line(self, points: np.ndarray, *, closed=False, pen=0.18, colour=INK, dash="", fill="") -> None:
        """Draw a line through (k, 2) points; pen in mm."""
        self.shape([points], closed=closed, pen=pen, colour=colour, dash=dash, fill=fill)

    def shape(self, rings, *, closed=True, pen=0.18, colour=INK, dash="", fill="") -> None:
        """Draw several lines, (k, 2) points each, as one shape: what lies inside an odd number of them is filled; pen in mm, 0 for none."""
        canvas = self._canvas
        canvas.saveState()
        canvas.setStrokeColor(HexColor(colour))
        canvas.setLineWidth(pen * MM)
        canvas.setLineJoin(1)
        if DASHES[dash]:
            canvas.setDash([part * MM for part in DASHES[dash]])
        path = canvas.beginPath()
        for points in rings:
            corners = np.asarray(points, dtype=float) * MM
            path.moveTo(*corners[0])
            for corner in corners[1:]:
                path.lineTo(*corner)
            if closed:
                path.close()
        if fill:
            canvas.setFillColor(HexColor(fill))
        canvas.drawPath(path, stroke=1 if pen else 0, fill=1 if fill else 0, fillMode=FILL_EVEN_ODD)
        canvas.restoreState()

    def picture(self, rgb: np.ndarray, low, high) -> None:
        """Place a picture (rows, columns, 3) uint8 between two corners. [mm]"""
        width, height = high[0] - low[0], high[1] - low[1]
        self._canvas.drawImage(ImageReader(Image.fromarray(rgb)), low[0] * MM, low[1] * MM, width * MM, height * MM)

    @contextmanager
    def within(self, low, high):
        """Clip what is drawn to a rectangle."""
        canvas = self._canvas
        canvas.saveState()
        path = canvas.beginPath()
        path.rect(low[0] * MM, low[1] * MM, (high[0] - low[0]) * MM, (high[1] - low[1]) * MM)
        canvas.clipPath(path, stroke=0, fill=0)
        yield
        canvas.restoreState()

    def finished(self) -> bytes:
        """Return the document."""
        self._canvas.showPage()
        self._canvas.save()
        return self._bytes.getvalue()
