"""
The contact sheet of variants: each picture with the values that made it, and a mark on those that no other beats.

Takes what was explored; gives pages. Everything is laid out as lines of text under pictures of one size, in the sheet's own
hand (`previz.frames.contact`). Reads the pictures from disk.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from PIL import Image, ImageDraw

from previz.aim.explore import Explored, Row
from previz.frames.contact import CAPTION_SIZE, FIGURES_SIZE, GAP, HAIR, HEADING_SIZE, INK, MARGIN, PAGE_COLUMNS, PAPER, SOFT, Words, cut_to, height_of, picture_size, resized
from previz.frames.lettering import printable
from previz.frames.outlines import AMBER
from previz.frames.picture import read_picture

ON_A_PAGE = 30
_FRAME = 6


def variant_pages(explored: Explored, title: str) -> Iterator[np.ndarray]:
    """Yield pages (rows, columns, 3) uint8 sRGB of up to `ON_A_PAGE` variants; none where no variant has a picture."""
    shape = next((read_picture(row.picture).shape for row in explored.rows if row.picture), None)
    if shape is None:
        return
    numbers = range(len(explored.rows))
    for first in numbers[::ON_A_PAGE]:
        yield _page(explored, title, numbers[first : first + ON_A_PAGE], (shape[1], shape[0]))


def _page(explored: Explored, title: str, numbers: range, size: tuple[int, int]) -> np.ndarray:
    wide, high = picture_size(max(len(numbers), 3), size)
    across = max(1, (PAGE_COLUMNS - 2 * MARGIN + GAP) // (wide + GAP))
    captions = [_caption(explored, number) for number in numbers]
    line = height_of(CAPTION_SIZE)
    cell = high + _FRAME + 4 + line * max(map(len, captions)) + GAP
    top = MARGIN + height_of(HEADING_SIZE) + 6 + height_of(FIGURES_SIZE) + GAP
    page = Image.new("RGB", (PAGE_COLUMNS, top + -(-len(numbers) // across) * cell - GAP + MARGIN), PAPER)
    draw = ImageDraw.Draw(page)
    for words in _head(explored, title, numbers):
        words.draw_on(draw)
    for place, (number, caption) in enumerate(zip(numbers, captions)):
        left, y = MARGIN + place % across * (wide + GAP), top + place // across * cell
        _picture(page, draw, explored.rows[number], bool(explored.best[number]), (left, y, wide, high))
        for count, (text, colour) in enumerate(caption):
            Words(cut_to(printable(text), CAPTION_SIZE, wide), left, y + high + _FRAME + 4 + count * line, CAPTION_SIZE, colour).draw_on(draw)
    return np.array(page)


def _picture(page: Image.Image, draw: ImageDraw.ImageDraw, row: Row, best: bool, place: tuple[int, int, int, int]) -> None:
    left, top, wide, high = place
    if best:
        draw.rectangle((left - _FRAME, top - _FRAME, left + wide + _FRAME - 1, top + high + _FRAME - 1), fill=AMBER)
    if row.picture is None:
        draw.rectangle((left, top, left + wide - 1, top + high - 1), outline=HAIR)
        return
    page.paste(Image.fromarray(resized(read_picture(row.picture), (wide, high))), (left, top))


def _head(explored: Explored, title: str, numbers: range) -> Iterator[Words]:
    wide = PAGE_COLUMNS - 2 * MARGIN
    yield Words(cut_to(printable(title), HEADING_SIZE, wide), MARGIN, MARGIN, HEADING_SIZE, INK)
    says = f"variants {numbers[0] + 1} to {numbers[-1] + 1} of {len(explored.rows)}"
    if explored.wishes:
        says += f"; framed: no other is as good in {' and '.join(wish.says for wish in explored.wishes)}"
    yield Words(cut_to(printable(says), FIGURES_SIZE, wide), MARGIN, MARGIN + height_of(HEADING_SIZE) + 6, FIGURES_SIZE, SOFT)


def _caption(explored: Explored, number: int) -> list[tuple[str, tuple[int, int, int]]]:
    """Its number and whether a finding says stop, a line a value, a line a wish, and why it cannot be built."""
    row = explored.rows[number]
    units = {vary.key: vary.unit for vary in explored.varied}
    lines = [(f"{row.variant.number}" + (f": {row.stops}" if row.stops else ""), INK)]
    lines += [(f"{key} {shown(value)} {units[key]}".rstrip(), SOFT) for key, value in row.variant.values.items()]
    if row.refused:
        return [*lines, ("cannot be built: variants.csv says why", INK)]
    wished = zip(explored.wishes, explored.wished[number], explored.units)
    return [*lines, *((f"{wish.name} {shown(float(value))} {unit}".rstrip(), INK) for wish, value, unit in wished)]


def shown(value) -> str:
    """Return a value as a person reads it: four figures at most."""
    if isinstance(value, float):
        return "unknown" if np.isnan(value) else f"{value:.4g}"
    return str(value)
