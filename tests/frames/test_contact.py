"""The contact sheet: a page whose parts never meet, and outlines that lie where the light does."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from PIL import Image, ImageDraw

from previz.camera.view import Poses, view_at
from previz.frames.contact import PAPER, Moment, _font, contact_sheet, cut_to, height_of, sheet_layout, width_of
from previz.frames.outlines import AMBER, visible_outlines, with_outlines
from previz.scene.model import Scene

LENS = Scene.model_validate({"lens": {"focal": 18}, "body": {"sensor": [36, 24]}})


def _moments(count=12, rows=90, columns=160, clearance=12.3):
    return [Moment(np.full((rows, columns, 3), 40 + i, np.uint8), i / 2, i / 10, clearance) for i in range(count)]


def _meet(one, other):
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _check(layout):
    for one, other in itertools.combinations(layout.boxes, 2):
        assert not _meet(one, other), (one, other)
    columns, rows = layout.size
    for left, top, right, bottom in layout.boxes:
        assert 0 <= left < right <= columns and 0 <= top < bottom <= rows


class TestLayout:
    """Where things go on the page."""

    @pytest.mark.parametrize("rows, columns", [(270, 480), (540, 960), (480, 270), (400, 400), (16, 8192), (1080, 1920)])
    @pytest.mark.parametrize("count", [1, 2, 5, 12])
    def test_nothing_meets(self, rows, columns, count):
        """Pictures, rules, words and legend keep apart and stay on the page, whatever the shape of the frame."""
        _check(sheet_layout(_moments(count, rows, columns), "The clockmaker's attic: round the clock", "1:12, arc"))

    @settings(max_examples=40, deadline=None)
    @given(heading=st.text(min_size=0, max_size=300), figures=st.text(max_size=300), clip=st.floats(0, 3600), clear=st.floats(0, 1e5))
    def test_any_words(self, heading, figures, clip, clear):
        """However long the title and the numbers, nothing meets."""
        heading, figures = (" ".join(text.split()) for text in (heading, figures))
        _check(sheet_layout([Moment(np.zeros((90, 160, 3), np.uint8), clip * i / 11, clip * i / 55, clear) for i in range(12)], heading or "x", figures or "x"))

    def test_boxes_hold_their_letters(self):
        """No ink of a line of text lies outside its box."""
        for words in sheet_layout(_moments(), "Ångström's jetty: quay, Type f", "1:24, path, gjpqy").words:
            page = Image.new("L", (1800, 200), 0)
            ImageDraw.Draw(page).text((100, 100), words.text, font=_font(words.size), fill=255)
            left, top, right, bottom = page.getbbox()
            assert 100 <= left and right <= 100 + width_of(words.text, words.size)
            assert 100 <= top and bottom <= 100 + height_of(words.size)

    def test_captions_say_times_and_clearance(self):
        """Each picture has its clip time, its take time and its clearance."""
        words = [w.text for w in sheet_layout(_moments(2), "a", "b").words]
        assert words[3:] == ["clip 0.00 s, take 0.00 s", "12.3 mm clear", "clip 0.50 s, take 0.10 s", "12.3 mm clear"]

    def test_contact_is_named(self):
        """A lens that touches the set says so instead of a distance."""
        assert "touches" in [w.text for w in sheet_layout(_moments(1, clearance=0.0), "a", "b").words]

    def test_long_lines_are_cut(self):
        """A line that is too long ends in three dots and fits."""
        cut = cut_to("a long line " * 50, 19, 300)
        assert cut.endswith("...") and width_of(cut, 19) <= 300


class TestPage:
    """The page as drawn."""

    def test_pictures_are_where_the_layout_says(self):
        """The middle of each picture's box holds that picture, the page's corners hold paper."""
        moments = _moments()
        page, layout = contact_sheet(moments, "a", "b"), sheet_layout(moments, "a", "b")
        assert page.shape == (layout.size[1], layout.size[0], 3)
        for i, (left, top, right, bottom) in enumerate(layout.pictures):
            assert (page[int(top + bottom) // 2, int(left + right) // 2] == 40 + i).all()
        assert (page[[0, 0, -1, -1], [0, -1, 0, -1]] == PAPER).all()


def _view(size=(200, 120)):
    return view_at(LENS, Poses(np.array([0.0, 0.0, 50.0]), 0.0, 0.0), 1e6, size)


SQUARE = np.array([[100.0, -20, 30], [100, 20, 30], [100, 20, 70], [100, -20, 70]])


class TestOutlines:
    """Outlines over a picture."""

    def test_a_square_by_hand(self):
        """A 40 mm square 100 mm ahead of an 18 mm lens spans 40 / 200 of a 36 mm wide frame, centred."""
        drawn = visible_outlines(_view(), np.full((120, 200), 100.0), [SQUARE])
        rows, columns = np.nonzero(drawn)
        assert_allclose([columns.min(), columns.max() + 1], [80, 120], atol=1)
        assert_allclose([rows.min(), rows.max() + 1], [40, 80], atol=1)
        assert not drawn[45:75, 85:115].any()

    def test_what_stands_before_hides_it(self):
        """Where something is nearer, the outline is not drawn."""
        depth = np.full((120, 200), 100.0)
        depth[:, :100] = 60.0
        drawn = visible_outlines(_view(), depth, [SQUARE])
        assert not drawn[:, :98].any() and drawn[:, 102:].any()

    def test_an_outline_around_the_lens_is_clipped(self):
        """Corners behind the lens are cut off; what lies ahead is drawn without a jump across the picture."""
        floor = np.array([[-80.0, -20, 0], [300, -20, 0], [300, 20, 0], [-80, 20, 0]])
        drawn = visible_outlines(_view(), np.full((120, 200), np.inf), [floor])
        assert drawn.any() and not drawn[:60].any()

    def test_no_outlines_leave_the_picture(self):
        """Without outlines, and with all of them behind the lens, the picture stays as it is."""
        rgb = np.full((120, 200, 3), 77, np.uint8)
        for outlines in ([], [SQUARE * [-1, 1, 1]]):
            assert np.array_equal(rgb, with_outlines(rgb, _view(), np.full((120, 200), np.inf), outlines))

    def test_the_line_is_amber_and_unbroken(self):
        """Each pixel of the outline is the full colour, on black and on white."""
        for shade in (0, 255):
            rgb = np.full((120, 200, 3), shade, np.uint8)
            depth = np.full((120, 200), 100.0)
            drawn = with_outlines(rgb, _view(), depth, [SQUARE])
            assert (drawn[visible_outlines(_view(), depth, [SQUARE])] == AMBER).all()
