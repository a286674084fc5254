"""
The haze clock as a drawing: one shot's shafts from the spray on, in SVG.

Takes the clock's figures as the report has them; gives the text of an SVG file. Ink on paper, with patterns and not
colours to tell times apart, so that a black and white print says the same.
"""

from __future__ import annotations

import math
from html import escape

import numpy as np

WIDTH, HEIGHT = 760, 300
_LEFT, _RIGHT, _TOP, _BASE = 64, 736, 64, 214
_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 43200, 86400)
_FONT = "font-family=\"Georgia, 'DejaVu Serif', serif\""


def clock_svg(entry: dict, title: str, take_s: float, reset_s: float) -> str:
    """
    Return the drawing of one clock.

    Parameters
    ----------
    entry : dict
        The shot's ["haze"] of the report: "clock", "usable_from_s", "usable_to_s", "takes_that_fit", "spray_again_s".
    title : str
        The shot's name.
    take_s, reset_s : float
        Of one take, and between two. [s]
    """
    clock, first, last = entry["clock"], entry["usable_from_s"], entry["usable_to_s"]
    end = max(clock["times_s"][-1], 1e-6)
    x = lambda t: _LEFT + (_RIGHT - _LEFT) * t / end  # noqa: E731
    high = max(1.0, math.ceil(max(clock["over_enough_stops"])))
    y = lambda v: _BASE - (_BASE - _TOP) * min(max(v, -1.0) + 1.0, high + 1.0) / (high + 1.0)  # noqa: E731
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" role="img" aria-label="Haze clock of {escape(title)}">',
            '<defs><pattern id="thin" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path d="M0 0V7" stroke="#23201b" stroke-width="1.1"/></pattern></defs>',
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fbf9f4"/>',
            _words(_LEFT, 26, f"{title}: how the shaft of {clock['lamp']}{' through ' + clock['opening'] if clock['opening'] else ''} lasts", size=16),
            *_unusable(first, last, end, x, clock["over_enough_stops"][0] >= 0),
            *_scale(high, y),
            *_curve(clock, x, y),
            *_takes(entry, take_s, reset_s, x),
            *_axis(end, x),
            "</svg>\n",
        ]
    )


def _words(x: float, y: float, text: str, size: int = 12, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" {_FONT} font-size="{size}" text-anchor="{anchor}" fill="#23201b">{escape(text)}</text>'


def _unusable(first, last, end, x, enough_at_once: bool):
    """Times that are no good, hatched; their name above where there is room."""
    spans = [(0, end, "not usable")] if first is None else [(0, first, "milky" if enough_at_once else "too weak"), (last, end, "faded")]
    for start, stop, name in spans:
        if x(stop) - x(start) < 1:
            continue
        yield f'<rect x="{x(start):.1f}" y="{_TOP}" width="{x(stop) - x(start):.1f}" height="{_BASE - _TOP}" fill="url(#thin)" opacity="0.55"/>'
        if x(stop) - x(start) > 12 + 6 * len(name):
            yield _words((x(start) + x(stop)) / 2, _TOP - 8, name, anchor="middle")
    if first is not None and x(last) - x(first) > 60:
        yield _words((x(first) + x(last)) / 2, _TOP - 8, "shafts read", anchor="middle")


def _scale(high, y):
    """Stops over what is just enough, on the left; the line on which it is."""
    for value in range(0, int(high) + 1, max(1, round(high / 4))):
        yield _words(_LEFT - 10, y(value) + 4, "enough" if value == 0 else f"+{value}", anchor="end")
        yield f'<path d="M{_LEFT - 5} {y(value):.1f}H{_LEFT}" stroke="#23201b"/>'
    yield f'<path d="M{_LEFT} {y(0):.1f}H{_RIGHT}" stroke="#23201b" stroke-dasharray="2 4"/>'
    yield _words(_LEFT - 10, _TOP - 16, "stops", anchor="end")


def _curve(clock, x, y):
    times, values = np.array(clock["times_s"]), np.array(clock["over_enough_stops"])
    points = " ".join(f"{x(t):.1f},{y(v):.1f}" for t, v in zip(times, values) if v >= -1)
    yield f'<polyline points="{points}" fill="none" stroke="#fbf9f4" stroke-width="7"/>'
    yield f'<polyline points="{points}" fill="none" stroke="#23201b" stroke-width="2.6"/>'
    for t, v in zip(clock["after_spray_s"], np.interp(clock["after_spray_s"], times, values)):
        if v >= -1:
            yield f'<circle cx="{x(t):.1f}" cy="{y(v):.1f}" r="4" fill="#fbf9f4" stroke="#23201b" stroke-width="1.6"/>'


def _takes(entry, take_s, reset_s, x):
    """A bar for each take that fits, on a strip of tape under the curve."""
    first, count = entry["usable_from_s"], entry["takes_that_fit"]
    top = _BASE + 10
    yield f'<rect x="{_LEFT}" y="{top}" width="{_RIGHT - _LEFT}" height="16" fill="none" stroke="#23201b" stroke-width="0.8"/>'
    for k in range(min(count, 400)):
        start = x(first + k * (take_s + reset_s))
        yield f'<rect x="{start:.1f}" y="{top}" width="{max(x(first + k * (take_s + reset_s) + take_s) - start, 1.6):.1f}" height="16" fill="#23201b"/>'
    said = f"{count} take{'s' if count != 1 else ''} of {take_s:.3g} s, {reset_s:.3g} s apart" if count else "no take fits"
    again = f"; spray again from {math.floor(entry['spray_again_s']):,} s on" if entry["spray_again_s"] is not None else ""
    yield _words(_LEFT, HEIGHT - 14, f"{said}{again}.", size=13)
    yield _words(_RIGHT, HEIGHT - 14, "seconds after the spray", anchor="end")


def _axis(end, x):
    step = next((step for step in _STEPS_S if end / step <= 9), _STEPS_S[-1])
    for t in np.arange(0, end + 1e-9, step):
        yield f'<path d="M{x(t):.1f} {_BASE + 26}v6" stroke="#23201b"/>'
        yield _words(x(t), _BASE + 46, f"{t:,.0f}", anchor="middle")
    yield f'<path d="M{_LEFT} {_BASE}H{_RIGHT}M{_LEFT} {_TOP}V{_BASE}" stroke="#23201b" fill="none"/>'
