"""Names in any script on pictures: never a blank box."""

import numpy as np
import pytest

from previz.frames.chart import chart, chart_layout
from previz.frames.contact import Moment, sheet_layout
from previz.frames.lettering import missing, printable

NAMES = ["Σοφίτα του ωρολογοποιού", "工房の朝", "чердак", "attic \N{MANTELPIECE CLOCK}", "שעון", "a\u00a0b"]


def words_of(name):
    """Every line of text on a contact sheet and on a chart that bear `name`."""
    moment = Moment(np.zeros((54, 96, 3), np.uint8), 0.0, 0.0, 12.0)
    sheet = sheet_layout([moment], name, f"{name}, clip 5 s")
    footer = chart_layout(np.zeros((54, 96)), f"{printable(name)}: middle grey at 1/240\u00a0s.")
    return [words.text for words in (*sheet.words, *footer.words)]


@pytest.mark.parametrize("name", NAMES)
def test_no_blank_box(name):
    """Each sign that is drawn is one that the font has."""
    assert "" == missing("".join(words_of(name)))
    assert chart(np.ones((54, 96, 3)), 800, 16, 1 / 240, name).shape[2] == 3


def test_what_the_font_has_stays():
    """Greek and Cyrillic are written as they are; what is missing is named."""
    assert NAMES[0] == printable(NAMES[0])
    assert "attic [mantelpiece clock]" == printable(NAMES[3])
