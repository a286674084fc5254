"""
Text that flows down pages: lines, headings and rows of tables, a new page where one is full.

Takes leaves and a page size; keeps the height that is reached. Knows nothing of what is written.
"""

from __future__ import annotations

from previz.sheets.leaves import AMBER, INK, LINE_MM, SOFT, Leaves
from previz.sheets.paper import SIDE_MM

LEFT = SIDE_MM + 4


class Flow:
    """Lines of text down pages, a new page where one is full."""

    def __init__(self, leaves: Leaves, page: tuple[float, float]):
        self.leaves, self.page = leaves, page
        self.width = page[0] - 2 * LEFT

    def begin(self, bookmark: str, level: int = 0) -> None:
        """Begin a page, with a bookmark where one is given."""
        self.leaves.page(self.page, bookmark, level)
        self.y = self.page[1] - 20
        self.leaves.text((self.page[0] - LEFT, 10), str(self.leaves.number), anchor="right", colour=SOFT)

    def room_for(self, height: float) -> None:
        """Begin another page where less than `height` is left. [mm]"""
        if self.y - height < 16:
            self.begin("")

    def holds(self, text: str, remedy: str, *, more: bool) -> bool:
        """Return whether the page has room for a finding and its remedy, and a line to say that there are more."""
        lines = len(self.leaves.lines_of(text, self.width)) + (len(self.leaves.lines_of(remedy, self.width - 4)) if remedy else 0)
        return self.y - (lines + more) * LINE_MM - 0.8 >= 16

    def words(self, text: str, *, large=False, colour=INK, indent=0.0, after=0.0) -> None:
        """Write text over as many lines as it takes."""
        step = LINE_MM if not large else 6.2
        for line in self.leaves.lines_of(text, self.width - indent, large=large):
            self.room_for(step)
            self.leaves.text((LEFT + indent, self.y), line, large=large, colour=colour)
            self.y -= step
        self.y -= after

    def heading(self, text: str) -> None:
        """Write a heading with a rule under it."""
        self.room_for(14)
        self.y -= 3
        self.leaves.text((LEFT, self.y), text, colour=AMBER)
        self.y -= 1.6
        self.leaves.line([(LEFT, self.y), (LEFT + self.width, self.y)], pen=0.12)
        self.y -= 4.2

    def row(self, cells, columns, colour=INK) -> None:
        """Write cells at the columns (left edges, share of the width), the longest cut to fit."""
        self.room_for(LINE_MM)
        stops = [*columns[1:], 1.0]
        for cell, left, right in zip(cells, columns, stops):
            text = self.leaves.clipped(cell, (right - left) * self.width - 2)
            self.leaves.text((LEFT + left * self.width, self.y), text, colour=colour)
        self.y -= LINE_MM


def counted(number: int, noun: str) -> str:
    """Return "1 sheet" or "3 sheets"."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
