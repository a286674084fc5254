"""
How exact one must be, in the maker's words.

Takes what was found; gives text for a person and plain values for a program.
"""

from __future__ import annotations

import math
import textwrap

from previz.aim.offs import CLEAR_MM, Off
from previz.aim.tolerance import BENT, Held, Quantity, Tolerance

_WIDTH = 79


def tolerance_text(lamp: str, wish: str, shot: str | None, off: Off, found: Tolerance) -> str:
    """Return allowances and what becomes of each figure, for a terminal of 80 columns."""
    lines = [f"{lamp}: {wish}" + (f", shot {shot}" if shot else ""), ""]
    lines += [f"{'may be off by':<26}{'alone  ':>13}{'all at once':>13}   first to go"]
    for quantity, alone, by_lines, together, first in zip(found.quantities, found.alone, found.by_lines, found.together, found.first):
        mark = " *" if abs(alone - by_lines) > BENT * by_lines else ""
        lines.append(f"{quantity.name[:25]:<26}{_amount(quantity, alone, first) + f'{mark:<2}':>13}{_amount(quantity, together, first):>13}   {first or '-'}"[:_WIDTH])
    lines += ["", f"{'all of them off at once':<26}{'bound':>12}{'by lines':>12}{'tried':>12}{'kept':>8}{'tries':>7}"]
    lines += [_held(one) for one in found.held]
    lines += ["", *(line for note in _notes(off, found) for line in textwrap.wrap(note, _WIDTH)), ""]
    return "\n".join(lines)


def _amount(quantity: Quantity, value: float, first: str | None) -> str:
    """As a maker reads it off a rule: tenths below ten, rounded down, never finer than a tenth of a millimetre or degree."""
    if first is None and value >= quantity.most:
        return f"over {quantity.most:g} {quantity.unit}"
    return f"{math.floor(value):.0f} {quantity.unit}" if value >= 10 else f"{math.floor(10 * value + 1e-9) / 10:.1f} {quantity.unit}"


def _held(one: Held) -> str:
    bound, mark = one.bound, " *" if one.bent else ""
    lines, tried = (f"{value:.2g}" if math.isfinite(value) else "-" for value in (2 * one.linear, 2 * one.tried))
    return f"{bound.name:<26}{f'{bound.allowed:.2g} {bound.unit}':>12}{lines:>12}{tried:>12}{f'{_percent(one.kept)} %':>8}{one.tries:>7}{mark}"


def _percent(kept: float) -> int:
    """Rounded down: 100 is every day."""
    return math.floor(100 * kept + 1e-9)


def _notes(off: Off, found: Tolerance) -> list[str]:
    said = [f"The middle of the light lands {off.miss_mm:.0f} mm from its target by the plan; all this counts from where it lands."] if off.miss_mm > 1 else []
    least = min((one.kept for one in found.held), default=1.0)
    said.append(f"Alone: all else is right, tried either way. All at once: every one is off, each by up to so much; of the days tried so, {_percent(least)} % or more kept each bound. Where a cut would leave its wall or meet another opening, the middle of the light is said to go first.")
    if any(one.bent for one in found.held) or (abs(found.alone - found.by_lines) > BENT * found.by_lines).any():
        said.append("* Straight lines do not describe it: go by what was tried.")
    if off.clearance_mm is not None:
        said.append("Framing and focus are not among the bounds: a rail so far off gives another picture, in the same light.")
    if off.clearance_mm is not None and off.clearance_mm <= CLEAR_MM:
        said.append(f"The lens comes within {off.clearance_mm:.1f} mm by the plan, and {CLEAR_MM:g} mm shall stay: nothing may be off. Change the move first.")
    return said


def tolerance_values(lamp: str, wish: str, shot: str | None, off: Off, found: Tolerance) -> dict:
    """Return the same for a program."""
    rows = zip(found.quantities, found.alone, found.by_lines, found.together, found.first, strict=True)
    return {
        "schema": 1,
        "lamp": lamp,
        "wish": wish,
        "shot": shot,
        "miss_mm": _six(off.miss_mm),
        "quantities": [{"name": q.name, "unit": q.unit, "alone": _six(a), "alone_by_lines": _six(by), "together": _six(t), "first": f, "most": q.most} for q, a, by, t, f in rows],
        "figures": [_values(one, found) for one in found.held],
    }


def _values(one: Held, found: Tolerance) -> dict:
    rates = {q.name: _six(rate) for q, rate in zip(found.quantities, one.rates) if rate}
    return {
        "name": one.bound.name, "unit": one.bound.unit, "allowed": _six(one.bound.allowed), "one_way": one.bound.one_way, "rates": rates,
        "uncertainty_by_lines": _six(one.linear), "uncertainty_tried": _six(one.tried), "reach_95": _six(one.reach), "kept_share": _six(one.kept),
        "tries": one.tries, "bent": one.bent,
    }  # fmt: skip


def _six(value: float) -> float | None:
    return float(f"{float(value):.6g}") if math.isfinite(value) else None
