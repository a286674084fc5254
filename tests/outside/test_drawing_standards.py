"""
Paper, scales and dimensions against the standards that drawings go by.

ISO 216:2007, trimmed sizes of writing paper, A series; ANSI/ASME Y14.1, size A (letter, 8.5 x 11 inch); ISO 5455:1979,
scales; ISO 129-1:2018, running dimensioning from a common origin. From memory; the numbers are those of the standards.
"""

import math

import pytest

from previz.sheets.paper import PAPERS
from previz.sheets.scales import SERIES, scale_for, scale_text


class TestPaper:
    """Sizes."""

    @pytest.mark.parametrize("name, number", [("A4", 4), ("A3", 3)])
    def test_a_series(self, name, number):
        """A0 is a square metre with sides 1 : sqrt 2; each next size halves the long side; rounded to whole millimetres (ISO 216 allows 0.5 by rounding down)."""
        width = 1000 * 2 ** (-1 / 4 - number / 2)
        for side, exact in zip(PAPERS[name], (width, width * math.sqrt(2))):
            assert side == int(side) and abs(side - exact) <= 0.6

    def test_letter(self):
        """8.5 by 11 inch of 25.4 mm."""
        assert PAPERS["Letter"] == (pytest.approx(8.5 * 25.4), pytest.approx(11 * 25.4))


class TestScales:
    """The recommended series."""

    def test_series(self):
        """Table 1: 50:1 20:1 10:1 5:1 2:1; 1:1; 1:2 1:5 1:10 1:20 1:50 1:100 1:200 1:500 1:1000 1:2000 1:5000 1:10000, largest first."""
        wanted = ["50:1", "20:1", "10:1", "5:1", "2:1", "1:1", "1:2", "1:5", "1:10", "1:20", "1:50", "1:100", "1:200", "1:500", "1:1000", "1:2000", "1:5000", "1:10000"]
        assert [scale_text(scale) for scale in SERIES][: len(wanted)] == wanted
        assert list(SERIES) == sorted(SERIES, reverse=True)

    @pytest.mark.parametrize("width, scale", [(100, "2:1"), (199, "1:1"), (200, "1:1"), (200.1, "1:2"), (999, "1:5"), (1001, "1:10"), (199_000, "1:1000")])
    def test_the_largest_that_fits(self, width, scale):
        """On 200 mm of paper."""
        assert scale_text(scale_for((width, 10), (200, 200))) == scale
