"""
The contact sheet: a take at a glance, on one page.

Takes pictures along the take with their times and clearances; gives the page. Everything on it is laid out first, as boxes
that never meet, and drawn after. Knows nothing of how the pictures were made.

    heading                                    legend
    line of figures
    picture  picture  picture     under each: a rule as long as the take with a mark at the moment,
    picture  picture  picture     clip time and take time, and how near the lens is to the set
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from functools import cache

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from previz.frames.lettering import font_file, printable
from previz.frames.outlines import AMBER

PAGE_COLUMNS = 1600
MARGIN, GAP = 56, 26
PAPER, INK, SOFT, HAIR = (251, 249, 244), (35, 32, 27), (109, 102, 91), (203, 195, 180)
HEADING_SIZE, FIGURES_SIZE, CAPTION_SIZE = 34, 19, 19
MOST_ACROSS, TALLEST_ROWS = 6, 900
RULE_ROWS = 12
LEGEND = "crisp edge of the light"

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Moment:
    """
    One picture of the take.

    rgb           (rows, columns, 3) uint8, sRGB
    clip_s        screen seconds from the start of the clip [s]
    take_s        real seconds from the start of the take [s]
    clearance_mm  between lens or body and the set at that moment; None where it is not known [mm]
    """

    rgb: np.ndarray
    clip_s: float
    take_s: float
    clearance_mm: float | None = None


@dataclass(frozen=True)
class Words:
    """A line of text whose box (left, top, right, bottom) holds every letter of it. [pixel]"""

    text: str
    left: float
    top: float
    size: int
    colour: tuple[int, int, int]

    @property
    def box(self) -> Box:
        """What it covers, from the ascenders of the font down to the descenders. [pixel]"""
        return self.left, self.top, self.left + width_of(self.text, self.size), self.top + height_of(self.size)

    def draw_on(self, draw: ImageDraw.ImageDraw) -> None:
        """Write it."""
        draw.text((self.left, self.top), self.text, font=_font(self.size), fill=self.colour)


@dataclass(frozen=True)
class Rule:
    """The line under a picture, as long as the take, with a mark at `share` of it."""

    box: Box
    share: float


@dataclass(frozen=True)
class Layout:
    """
    The page before it is drawn. [pixel]

    size      columns, rows
    pictures  a box for each moment
    rules     one for each moment
    words     every line of text
    legend    box of the sample line beside the legend's words
    """

    size: tuple[int, int]
    pictures: tuple[Box, ...]
    rules: tuple[Rule, ...]
    words: tuple[Words, ...]
    legend: Box

    @property
    def boxes(self) -> list[Box]:
        """Every box on the page: no two may meet."""
        return [*self.pictures, *(rule.box for rule in self.rules), *(words.box for words in self.words), self.legend]


@cache
def _font(size: int):
    return ImageFont.truetype(font_file(), size)


def width_of(text: str, size: int) -> float:
    """Return how wide a line of text is in the sheet's font. [pixel]"""
    return float(np.ceil(max(_font(size).getlength(text), _font(size).getbbox(text)[2])))


def height_of(size: int) -> int:
    """Return how high a line is, ascenders and descenders included. [pixel]"""
    return sum(_font(size).getmetrics())


def cut_to(text: str, size: int, width: float) -> str:
    """Return `text`, shortened at its end where it is wider than `width`. [pixel]"""
    if width_of(text, size) <= width:
        return text
    too_long = bisect_left(range(len(text)), True, key=lambda n: width_of(text[:n].rstrip() + "...", size) > width)
    return text[: max(too_long - 1, 0)].rstrip() + "..."


def broken(text: str, size: int, width: float) -> list[str]:
    """Return `text` in lines no wider than `width`, broken between words, a number kept with its unit. [pixel]"""
    lines: list[str] = []
    for word in text.split(" "):
        if lines and width_of(f"{lines[-1]} {word}", size) <= width:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return lines


def sheet_layout(moments: list[Moment], heading: str, figures: str) -> Layout:
    """
    Return where everything goes.

    Parameters
    ----------
    moments : list of Moment
        In order; all pictures of one size.
    heading, figures : str
        The first two lines; shortened where the page is too narrow for them.

    Returns
    -------
    Layout
    """
    rows, columns = moments[0].rgb.shape[:2]
    across, width = _cells(len(moments), columns / rows)
    picture_width, height = picture_size(len(moments), (columns, rows))
    words, legend, top = _head(printable(heading), printable(figures))
    pictures, rules = [], []
    last = moments[-1].clip_s or 1.0
    nearest = min((m.clearance_mm for m in moments if m.clearance_mm is not None), default=None)
    captions = [_caption(m, width, m.clearance_mm == nearest) for m in moments]
    cell = height + RULE_ROWS + max(_height(lines) for lines in captions) + GAP
    for i, (moment, lines) in enumerate(zip(moments, captions)):
        left, y = MARGIN + i % across * (width + GAP), top + i // across * cell
        pictures.append((left, y, left + picture_width, y + height))
        rules.append(Rule((left, y + height, left + width, y + height + RULE_ROWS), moment.clip_s / last))
        words += _placed(lines, left, y + height + RULE_ROWS, width)
    bottom = top + -(-len(moments) // across) * cell - GAP + MARGIN
    return Layout((PAGE_COLUMNS, int(bottom)), tuple(pictures), tuple(rules), tuple(words), legend)


def contact_sheet(moments: list[Moment], heading: str, figures: str) -> np.ndarray:
    """Return the page as (rows, columns, 3) uint8 sRGB; parameters as `sheet_layout`."""
    layout = sheet_layout(moments, heading, figures)
    page = Image.new("RGB", layout.size, PAPER)
    draw = ImageDraw.Draw(page)
    for moment, (left, top, right, bottom) in zip(moments, layout.pictures):
        page.paste(Image.fromarray(resized(moment.rgb, (int(right - left), int(bottom - top)))), (int(left), int(top)))
    for rule in layout.rules:
        _draw_rule(draw, rule)
    for words in layout.words:
        words.draw_on(draw)
    left, top, right, bottom = layout.legend
    draw.rectangle((left, top, right - 1, bottom - 1), fill=AMBER, outline=INK)
    return np.array(page)


def resized(rgb: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Return a picture (rows, columns, 3) uint8 at another size (columns, rows); as it is where that is its own. [pixel]"""
    return rgb if (rgb.shape[1], rgb.shape[0]) == size else np.array(Image.fromarray(rgb).resize(size, Image.Resampling.LANCZOS))


def picture_size(count: int, size: tuple[int, int]) -> tuple[int, int]:
    """Return (columns, rows) that each of `count` pictures of shape `size` has on the page: best made like that. [pixel]"""
    aspect = size[0] / size[1]
    _, width = _cells(count, aspect)
    rows = min(round(width / aspect), TALLEST_ROWS)
    return max(1, min(width, round(rows * aspect))), max(1, rows)


def _cells(count, aspect):
    """How many pictures stand side by side, three of a wide frame, more of a tall one; and how wide a place each has."""
    across = min(3 if aspect > 1.2 else 4 if aspect > 0.8 else MOST_ACROSS, max(count, 2))
    return across, (PAGE_COLUMNS - 2 * MARGIN - (across - 1) * GAP) // across


def _head(heading, figures):
    """The lines above the pictures, the legend's box, and where the pictures begin."""
    wide = PAGE_COLUMNS - 2 * MARGIN
    legend_left = PAGE_COLUMNS - MARGIN - width_of(LEGEND, FIGURES_SIZE)
    sample = 44
    second = MARGIN + height_of(HEADING_SIZE) + 6
    line = height_of(FIGURES_SIZE)
    words = [
        Words(cut_to(heading, HEADING_SIZE, wide), MARGIN, MARGIN, HEADING_SIZE, INK),
        Words(cut_to(figures, FIGURES_SIZE, legend_left - sample - 12 - GAP - MARGIN), MARGIN, second, FIGURES_SIZE, SOFT),
        Words(LEGEND, legend_left, second, FIGURES_SIZE, SOFT),
    ]
    middle = second + line / 2
    return words, (legend_left - sample - 12, middle - 2, legend_left - 12, middle + 3), int(second + line + GAP)


def _caption(moment, width, nearest):
    """The lines under a picture, each one or two pieces of text: at both ends, or one below the other where they would meet."""
    times = (f"clip {moment.clip_s:.2f} s, take {moment.take_s:.2f} s", SOFT)
    if moment.clearance_mm is None:
        return [[times]]
    clear = (f"{moment.clearance_mm:.1f} mm clear" if moment.clearance_mm > 0.05 else "touches", INK if nearest else SOFT)
    one_line = width_of(times[0], CAPTION_SIZE) + GAP + width_of(clear[0], CAPTION_SIZE) <= width
    return [[times, clear]] if one_line else [[times], [clear]]


def _height(lines):
    return len(lines) * height_of(CAPTION_SIZE)


def _placed(lines, left, top, width):
    words = []
    for number, pieces in enumerate(lines):
        y = top + number * height_of(CAPTION_SIZE)
        for end, (text, colour) in enumerate(pieces):
            text = cut_to(text, CAPTION_SIZE, width)
            words.append(Words(text, left + end * (width - width_of(text, CAPTION_SIZE)), y, CAPTION_SIZE, colour))
    return words


def _draw_rule(draw, rule):
    left, top, right, _ = rule.box
    y = top + 6
    draw.line((left, y, right - 1, y), fill=HAIR, width=1)
    x = left + 3 + rule.share * (right - left - 7)
    draw.polygon([(x - 3, top + 1), (x + 3, top + 1), (x, y + 3)], fill=INK)
