"""
An address as a QR symbol, to be read off a screen by a tablet.

Takes text; gives rows of 0 and 1, or lines for a terminal. The symbol itself (ISO/IEC 18004) is reportlab's.
"""

from __future__ import annotations

QUIET = 4
"""Modules of light around the symbol (ISO/IEC 18004, 5.3.8)."""


def qr_rows(text: str) -> list[list[int]]:
    """Return the modules of the symbol, 1 dark, with its quiet zone."""
    from reportlab.graphics.barcode.qrencoder import QRCode, QRErrorCorrectLevel

    code = QRCode(None, QRErrorCorrectLevel.M)
    code.addData(text)
    code.make()
    side = code.getModuleCount()
    blank, margin = [0] * (side + 2 * QUIET), [0] * QUIET
    rows = [[*margin, *(int(bool(code.isDark(r, c))) for c in range(side)), *margin] for r in range(side)]
    return [*([blank] * QUIET), *rows, *([blank] * QUIET)]


def qr_text(text: str) -> str:
    """Return the symbol for a terminal, two rows a line, dark on light whatever the terminal's own colours."""
    rows = qr_rows(text)
    rows += [rows[0]] * (len(rows) % 2)
    lines = ["".join(" ▄▀█"[2 * upper + lower] for upper, lower in zip(*pair)) for pair in zip(rows[::2], rows[1::2])]
    return "\n".join(f"\x1b[38;5;16;48;5;231m{line}\x1b[0m" for line in lines)
