"""
The one font of pictures and papers, and what stands for a character that it lacks.

Takes names as the maker typed them; gives text that shows without a blank box. The font is DejaVu Sans, which covers
Latin, Greek, Cyrillic, Georgian, Armenian and much else; it comes inside the package matplotlib.
"""

from __future__ import annotations

import functools
import importlib.util
import unicodedata
from pathlib import Path

from fontTools.ttLib import TTFont

_KANA = ("HIRAGANA LETTER", "KATAKANA LETTER", "HALFWIDTH KATAKANA LETTER")
_RIGHT_TO_LEFT = {"R", "AL"}


@functools.cache
def font_file() -> Path:
    """Return the path of the font."""
    # matplotlib itself takes a third of a second to import; only its folder is wanted.
    package = importlib.util.find_spec("matplotlib").submodule_search_locations[0]
    return Path(package) / "mpl-data" / "fonts" / "ttf" / "DejaVuSans.ttf"


@functools.cache
def _glyphs() -> frozenset[int]:
    with TTFont(font_file(), lazy=True) as font:
        return frozenset(font.getBestCmap())


def missing(text: str) -> str:
    """Return the characters of `text` that the font cannot print as they are, each once."""
    glyphs = _glyphs()
    return "".join(dict.fromkeys(c for c in text if not _unseen(c) and (ord(c) not in glyphs or unicodedata.bidirectional(c) in _RIGHT_TO_LEFT)))


def printable(text: str) -> str:
    """
    Return `text` with a plain substitute for each character that cannot be printed.

    Kana are spelt out, other letters and signs become their Unicode name or number in brackets: never a blank box.
    """
    lacking = set(missing(text))
    return "".join(_substitute(c) if c in lacking else c for c in text if not _unseen(c))


def _unseen(character):
    """Whether a character only joins others or picks a variant of the one before it."""
    return unicodedata.category(character) == "Cf" or 0xFE00 <= ord(character) <= 0xFE0F


def _substitute(character):
    name = unicodedata.name(character, "")
    if name.startswith(_KANA):
        return name.split()[-1].lower()
    if not name or "IDEOGRAPH" in name:
        return f"[U+{ord(character):04X}]"
    return f"[{name.lower()}]"
