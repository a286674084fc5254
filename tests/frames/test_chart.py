"""The exposure chart: colours that mean stops, and a page on which nothing meets."""

from itertools import combinations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.camera.exposure import luminance_metered
from previz.camera.tone import encode_srgb
from previz.frames.chart import SPAN, chart, chart_layout, oklab_to_rgb, ramp, stops_about_grey

CAMERA = dict(iso=800.0, stop=16.0, seconds=1 / 240)


def of_stops(stops):
    """Grey light that many stops about middle grey. [cd/m2]"""
    return np.repeat(luminance_metered(**CAMERA) * 2.0 ** np.asarray(stops, float)[..., None], 3, axis=-1)


def meet(a, b):
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def lightness(rgb):
    """OKLab lightness of uint8 sRGB, by colour-science."""
    import colour

    return colour.XYZ_to_Oklab(colour.sRGB_to_XYZ(np.asarray(rgb) / 255))[..., 0]


class TestColours:
    """A luminance has the colour of its stop."""

    @pytest.mark.parametrize("stop", [-6, -3, -0.5, 0, 1, 4.25, 6])
    def test_a_known_luminance_in_the_picture(self, stop):
        """Between the readings every pixel of an even field is the ramp's colour there."""
        page = chart(of_stops(np.full((200, 400), stop)), **CAMERA)
        left, top, _, _ = (int(edge) for edge in chart_layout(np.full((200, 400), stop), "x").picture)
        assert (page[top + 3, left : left + 400] == ramp(stop)).all()

    def test_stops_are_powers_of_two(self):
        """ISO 2720: K N^2 / (ISO t) is middle grey; twice that is a stop more; black is below every stop."""
        grey = 12.5 * 16**2 / (800 / 240)
        assert_allclose(stops_about_grey(np.array([[grey] * 3, [2 * grey] * 3]), **CAMERA), [0, 1], atol=1e-12)
        assert stops_about_grey(np.zeros((1, 3)), **CAMERA)[0] == -np.inf
        assert (ramp(-np.inf) == ramp(-SPAN)).all() and (ramp(99) == ramp(SPAN)).all()

    def test_equal_stops_look_equal(self):
        """Lightness of OKLab, computed by another library from the coded colours, rises evenly: half a stop is half a stop anywhere."""
        pytest.importorskip("colour")
        steps = np.diff(lightness(ramp(np.arange(-SPAN, SPAN + 0.1, 0.5))))
        assert_allclose(steps, steps.mean(), rtol=0.12)

    def test_oklab_of_white_and_grey(self):
        """Ottosson 2020: white is (1, 0, 0), and a neutral of lightness l is l cubed of it."""
        assert_allclose(oklab_to_rgb([[1, 0, 0], [0.5, 0, 0]]), [[1] * 3, [0.125] * 3], atol=1e-6)
        assert (encode_srgb(oklab_to_rgb([1.0, 0, 0])) == 255).all()


class TestLayout:
    """Legible whatever the picture's shape."""

    @pytest.mark.parametrize("shape", [(16, 16), (54, 96), (540, 960), (960, 540), (16, 2000), (1200, 40)])
    def test_nothing_meets(self, shape):
        """Picture, ramp and words stand apart, inside the page; readings lie on the picture, apart from each other."""
        layout = chart_layout(np.zeros(shape), "across the room, 2.5 s: middle grey is 960 cd/m2 at ISO 800, effective f/16, 1/240 s.")
        assert not [pair for pair in combinations(layout.boxes, 2) if meet(*pair)]
        assert not [pair for pair in combinations([w.box for w in layout.readings], 2) if meet(*pair)]
        for box in layout.boxes:
            assert 0 <= box[0] < box[2] <= layout.size[0] and 0 <= box[1] < box[3] <= layout.size[1]
        for words in layout.readings:
            assert layout.picture[0] <= words.box[0] and words.box[2] <= layout.picture[2]
            assert layout.picture[1] <= words.box[1] and words.box[3] <= layout.picture[3]

    def test_the_scale_reads_from_bright_to_dark(self):
        """Middle grey in the middle, both ends named."""
        words = [w.text for w in chart_layout(np.zeros((270, 480)), "x").words]
        assert words[1] == "+6 and over" and "middle grey" in words and "-6 and under" in words

    def test_readings_are_means_of_luminance(self):
        """Three stops over, everywhere; black says so."""
        assert {w.text for w in chart_layout(np.full((270, 480), 3.0), "x").readings} == {"+3.0"}
        assert {w.text for w in chart_layout(np.full((270, 480), -np.inf), "x").readings} == {"black"}
