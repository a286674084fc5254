"""
The exposure chart: a picture's luminance in stops about middle grey, with a scale beside it and readings on it.

Takes linear RGB and the camera's settings; gives a page. Everything on it is laid out first, as boxes that never meet
but for the readings, which lie on the picture, and drawn after.

The ramp goes from deep teal to pale straw in equal steps of lightness, so that a stop looks like a stop anywhere on it.

    stops   log2 of luminance over the luminance that meters as middle grey (ISO 2720)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from previz.camera.exposure import luminance_metered
from previz.camera.tone import encode_srgb
from previz.frames.contact import INK, PAPER, SOFT, Box, Words, broken, height_of, width_of
from previz.frames.lettering import printable
from previz.light.colour import luminance

SPAN = 6
"""Stops on either side of middle grey that the ramp covers: as far as the tone curve's white (own choice)."""

DARK, PALE = (0.24, 0.035, 215.0), (0.965, 0.075, 100.0)
"""Both ends of the ramp in OKLab, as lightness, chroma and hue; all between them is a colour that screens can show [1], [1], [degrees] (own choice)."""

BOW = 0.03
"""Chroma that the middle of the ramp has above the straight line between its ends (own choice)."""

NARROWEST = 320
READINGS = (5, 3)
"""Readings on the picture, across and down (own choice)."""

MARGIN, GAP, BAR, TICK = 20, 14, 22, 7
_SIZE, _SMALL = 17, 15
HEADING = "Stops about middle grey"


@dataclass(frozen=True)
class Layout:
    """
    The chart before it is drawn. [pixel]

    size      columns, rows
    picture   where the picture goes
    bar       where the ramp goes, brightest at the top
    words     every line of text beside the picture
    readings  lines of text on the picture
    """

    size: tuple[int, int]
    picture: Box
    bar: Box
    words: tuple[Words, ...]
    readings: tuple[Words, ...]

    @property
    def boxes(self) -> list[Box]:
        """Picture, ramp and words: no two may meet."""
        return [self.picture, self.bar, *(words.box for words in self.words)]


def stops_about_grey(linear, iso: float, stop: float, seconds: float) -> np.ndarray:
    """Return (...) stops above the luminance that meters as middle grey; `linear` (..., 3) in cd/m2, black is -inf."""
    with np.errstate(divide="ignore"):
        return np.log2(np.maximum(luminance(linear), 0) / luminance_metered(iso, stop, seconds))


def ramp(stops) -> np.ndarray:
    """
    Return the colour (..., 3) uint8 sRGB of `stops` (...), the ends of the ramp beyond `SPAN`.

    Notes
    -----
    Lightness rises evenly in OKLab, hue turns evenly, chroma bows. B. Ottosson, A perceptual color space for image
    processing, 2020 (matrices from memory; the round trip of white and of the primaries is tested).
    """
    share = np.clip((np.asarray(stops, float) + SPAN) / (2 * SPAN), 0, 1)
    lightness, chroma, hue = (low + (high - low) * share for low, high in zip(DARK, PALE))
    chroma = chroma + BOW * 4 * share * (1 - share)
    angle = np.radians(hue)
    return encode_srgb(oklab_to_rgb(np.stack([lightness, chroma * np.cos(angle), chroma * np.sin(angle)], axis=-1)))


_TO_ROOTS = np.array([[1, 0.3963377774, 0.2158037573], [1, -0.1055613458, -0.0638541728], [1, -0.0894841775, -1.2914855480]])
_TO_RGB = np.array([[4.0767416621, -3.3077115913, 0.2309699292], [-1.2684380046, 2.6097574011, -0.3413193965], [-0.0041960863, -0.7034186147, 1.7076147010]])


def oklab_to_rgb(lab) -> np.ndarray:
    """Return linear Rec. 709 RGB (..., 3), clipped to 0 to 1, of OKLab (..., 3)."""
    return np.clip((np.asarray(lab) @ _TO_ROOTS.T) ** 3 @ _TO_RGB.T, 0, 1)


def chart_layout(stops: np.ndarray, footer: str) -> Layout:
    """Return where everything of the chart of `stops` (rows, columns) goes, under a picture at least `NARROWEST` wide."""
    rows, columns = stops.shape
    times = max(1, -(-NARROWEST // columns))
    width, height = columns * times, rows * times
    scale_width = max(width_of(text, _SIZE) for _, text in _ticks(1)) + TICK + 6 + BAR
    line = height_of(_SIZE)
    top = MARGIN + line + GAP
    tall = max(height, 5 * line)
    picture = (MARGIN, top, MARGIN + width, top + height)
    left = picture[2] + GAP
    # Labels stand half a line over both ends of the ramp.
    bar = (left, top + line / 2, left + BAR, top + tall - line / 2)
    step = next(s for s in (1, 2, 3, 6) if (bar[3] - bar[1]) * s / (2 * SPAN) >= line or s == 6)
    words = [Words(HEADING, MARGIN, MARGIN, _SIZE, INK)]
    words += [Words(text, bar[2] + TICK + 6, _height_of_stop(bar, stop) - line / 2, _SIZE, INK if stop == 0 else SOFT) for stop, text in _ticks(step)]
    right = max(left + scale_width, MARGIN + width_of(HEADING, _SIZE))
    y = top + tall + GAP
    for text in broken(footer, _SMALL, right - MARGIN):
        words.append(Words(text, MARGIN, y, _SMALL, SOFT))
        y += height_of(_SMALL)
    return Layout((int(right + MARGIN), int(y + MARGIN)), picture, bar, tuple(words), _readings(stops, picture, times))


def chart(linear: np.ndarray, iso: float, stop: float, seconds: float, title: str = "") -> np.ndarray:
    """
    Return the chart of a frame.

    Parameters
    ----------
    linear : (rows, columns, 3) float array
        [cd/m2]
    iso, stop, seconds : float
        ISO set, effective f-number, exposure time. [ISO], [1], [s]
    title : str
        Said under the picture, before the settings.

    Returns
    -------
    (rows, columns, 3) uint8 array
        sRGB; larger than the picture, whose pixels it holds whole.
    """
    stops = stops_about_grey(linear, iso, stop, seconds)
    grey = luminance_metered(iso, stop, seconds)
    footer = f"{printable(title) + ': ' if title else ''}middle grey is {grey:.3g} cd/m2 at ISO {iso:.0f}, effective f/{stop:.3g}, 1/{1 / seconds:.0f}\u00a0s."
    layout = chart_layout(stops, footer)
    page = Image.new("RGB", layout.size, PAPER)
    left, top, right, bottom = (int(edge) for edge in layout.picture)
    page.paste(Image.fromarray(ramp(stops)).resize((right - left, bottom - top), Image.Resampling.NEAREST), (left, top))
    draw = ImageDraw.Draw(page)
    _draw_bar(page, draw, layout.bar)
    for words in layout.readings:
        a, b, c, d = words.box
        draw.rectangle((a - 3, b - 1, c + 2, d), fill=PAPER)
    for words in (*layout.words, *layout.readings):
        words.draw_on(draw)
    return np.array(page)


def _ticks(step: int) -> list[tuple[int, str]]:
    """Stops on the scale and what is written there."""
    ends = {SPAN: f"+{SPAN} and over", -SPAN: f"-{SPAN} and under", 0: "middle grey"}
    return [(stop, ends.get(stop, f"{stop:+d}")) for stop in range(SPAN, -SPAN - 1, -step)]


def _height_of_stop(bar: Box, stop: float) -> float:
    return bar[1] + (SPAN - stop) / (2 * SPAN) * (bar[3] - bar[1])


def _readings(stops: np.ndarray, picture: Box, times: int) -> tuple[Words, ...]:
    """The mean luminance around the middles of even parts of the picture, in stops, where the picture has room for them."""
    line, width = height_of(_SMALL), width_of("-12.3", _SMALL)
    across = min(READINGS[0], int((picture[2] - picture[0]) // (2 * width)))
    down = min(READINGS[1], int((picture[3] - picture[1]) // (2 * line)))
    words = []
    for row in range(down):
        for column in range(across):
            y, x = (int((place + 0.5) * length / count) for place, length, count in zip((row, column), stops.shape, (down, across)))
            near = 2.0 ** stops[max(y - 3, 0) : y + 4, max(x - 3, 0) : x + 4]
            mean = float(near.mean())
            text = f"{np.log2(mean):+.1f}".replace("-0.0", "0.0").replace("+0.0", "0.0") if mean > 0 else "black"
            centre = picture[0] + (x + 0.5) * times, picture[1] + (y + 0.5) * times
            words.append(Words(text, round(centre[0] - width_of(text, _SMALL) / 2), round(centre[1] - line / 2), _SMALL, INK))
    return tuple(words)


def _draw_bar(page, draw, bar):
    left, top, right, bottom = (round(edge) for edge in bar)
    stops = SPAN - (np.arange(bottom - top) + 0.5) / (bottom - top) * 2 * SPAN
    page.paste(Image.fromarray(np.repeat(ramp(stops)[:, None], right - left, axis=1)), (left, top))
    for stop in range(-SPAN, SPAN + 1):
        y = round(_height_of_stop(bar, stop))
        draw.line((right, y, right + TICK, y), fill=INK, width=2 if stop == 0 else 1)
