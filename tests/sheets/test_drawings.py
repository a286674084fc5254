"""Drawings: true to scale, no text on text, every name printed, nothing off the page."""

import dataclasses
import io
from itertools import combinations

import numpy as np
import pdfplumber
import pytest
import shapely
import svgelements
from hypothesis import given, settings
from hypothesis import strategies as st
from readable import assert_readable

from previz.frames.lettering import printable
from previz.sheets.drawing import Drawing, hatching
from previz.sheets.labels import Column, Label, place_labels
from previz.sheets.leaves import Leaves
from previz.sheets.paper import PAPERS
from previz.sheets.plan import plan_drawing, set_drawings
from previz.sheets.projected import ABOVE, FROM_SOUTH, seen_set
from previz.sheets.setup import setup_drawings, setup_plan
from previz.sheets.sheet import drawings_of

PT_MM = 25.4 / 72


def as_pdf(drawing):
    """Return a drawing as the bytes of a PDF of one page."""
    leaves = Leaves("drawing")
    leaves.page(drawing.size, drawing.title)
    drawing.draw_on(leaves)
    return leaves.finished()


def moved_lamp(study, at):
    """Return the study with its lamp elsewhere, its patches as they were."""
    lamp = study.scene.lamp[0].model_copy(update={"at": at})
    return dataclasses.replace(study, scene=study.scene.model_copy(update={"lamp": (lamp,)}))


def assert_apart(drawing):
    """No line of text meets another, and all is on the page."""
    boxes = [words.box for words in drawing.words]
    for words in drawing.words:
        left, low, right, high = words.box
        assert 0 <= left and 0 <= low and right <= drawing.size[0] and high <= drawing.size[1], words.text
    for (i, a), (j, b) in combinations(enumerate(boxes), 2):
        met = min(a[2], b[2]) - max(a[0], b[0]) > 0.01 and min(a[3], b[3]) - max(a[1], b[1]) > 0.01
        assert not met, (drawing.words[i].text, drawing.words[j].text)
    for shape in drawing.shapes:
        points = np.concatenate(shape.rings)
        assert points.min() >= -1e-6 and np.all(points.max(axis=0) <= np.array(drawing.size) + 1e-6)


class TestScale:
    """What is drawn is as long as it says, read by other programs, to 0.05 mm."""

    def test_the_room_in_a_pdf(self, studied):
        """305 mm of cut wall by 210 mm: the open wall is left off, the others are 5 mm thick; at 1:2 half of that."""
        drawing = plan_drawing(studied[0], PAPERS["A4"])
        assert any("Scale 1:2," in words.text for words in drawing.words)
        with pdfplumber.open(io.BytesIO(as_pdf(drawing))) as document:
            page = document.pages[0]
            cut = [one for one in [*page.curves, *page.lines, *page.rects] if abs(one["linewidth"] * PT_MM - 0.4) < 0.01]
            width = (max(one["x1"] for one in cut) - min(one["x0"] for one in cut)) * PT_MM
            height = (max(one["bottom"] for one in cut) - min(one["top"] for one in cut)) * PT_MM
        assert (width, height) == (pytest.approx(305 / 2, abs=0.05), pytest.approx(210 / 2, abs=0.05))

    def test_the_room_in_an_svg(self, studied):
        """The same, and the page itself is A4 on its side."""
        image = svgelements.SVG.parse(io.StringIO(plan_drawing(studied[0], PAPERS["A4"]).svg()))
        mm = 96 / 25.4
        cut = [one.bbox() for one in image.elements() if isinstance(one, svgelements.Path) and one.values.get("stroke-width") == "0.4"]
        boxes = np.array(cut) / mm
        assert (image.width / mm, image.height / mm) == (pytest.approx(297, abs=0.05), pytest.approx(210, abs=0.05))
        assert boxes[:, 2].max() - boxes[:, 0].min() == pytest.approx(305 / 2, abs=0.05)

    @pytest.mark.parametrize("paper", ["A4", "Letter"])
    def test_the_bar_under_each_drawing(self, paper, studied):
        """As long on paper as its figure says at the scale in the heading."""
        for drawing in drawings_of(studied[0], paper):
            (says,) = [words.text for words in drawing.words if words.text.endswith("mm of the model") and words.text[0].isdigit()]
            (scale,) = [words.text.split(",")[0].removeprefix("Scale ") for words in drawing.words if words.text.startswith("Scale ")]
            paper_mm, model_mm = map(float, scale.split(":"))
            with pdfplumber.open(io.BytesIO(as_pdf(drawing))) as document:
                bars = [one for one in document.pages[0].lines if abs(one["y0"] * PT_MM - 9) < 0.01 and abs(one["y1"] - one["y0"]) < 0.01]
                length = max(one["x1"] - one["x0"] for one in bars) * PT_MM
            assert length == pytest.approx(float(says.split(" ")[0]) * paper_mm / model_mm, abs=0.05), drawing.name

    def test_the_rail_lies_where_its_figures_say(self, studied):
        """From end to end 80 mm of the model, along y."""
        study = studied[0]
        drawing = setup_plan(study, PAPERS["A4"])
        (scale,) = [words.text.split(",")[0].split(":")[1] for words in drawing.words if words.text.startswith("Scale 1:")]
        rails = [np.concatenate(shape.rings) for shape in drawing.shapes if shape.pen == 1.3]
        assert np.linalg.norm(rails[0][1] - rails[0][0]) == pytest.approx(80 / float(scale), abs=0.05)
        figures = {words.text for words in drawing.words}
        assert {"0 datum", "-250 rail", "60 rail start", "140 rail end", "150 L1", "900 L1"} <= figures


class TestReadable:
    """Text that can be read, on every paper."""

    @pytest.mark.parametrize("paper", sorted(PAPERS))
    def test_no_text_on_text(self, paper, studied):
        """By the boxes of the drawing, and by another reader of the PDF."""
        for drawing in drawings_of(studied[0], paper):
            assert_apart(drawing)
            assert_readable(as_pdf(drawing))

    @pytest.mark.parametrize("name", ["παράθυρο", "まど", "夕日 sun", "clock 🕰️", "jar × 3"])
    def test_every_name_in_any_script(self, name, studied):
        """As it is, or spelt out where the font has no sign for it."""
        (text,) = assert_readable(as_pdf(plan_drawing(studied[0], PAPERS["A3"])))
        assert printable(name)[:14] in text

    def test_more_props_than_rows(self, tables, study_of, tmp_path):
        """The largest are named, and how many are left is said."""
        pegs = [{"name": f"peg {i} of its kind", "kind": "box", "size": [4, 4, 5], "at": [10 + 14 * (i % 20), 10 + 24 * (i // 20), 0]} for i in range(100)]
        study, _ = study_of(tables | {"prop": [*tables["prop"][1:2], *pegs]}, tmp_path)
        drawing = plan_drawing(study, PAPERS["A4"])
        assert_apart(drawing)
        assert any(words.text.startswith("and ") and words.text.endswith("more, in the table of props") for words in drawing.words)


class TestFarAndWide:
    """Lamps far off, sets too wide."""

    @pytest.mark.parametrize("away_mm", [4000, 20000, 90000])
    def test_a_lamp_far_away(self, away_mm, studied):
        """On the page, at a smaller scale or behind a break with its distance."""
        study = moved_lamp(studied[0], (150.0, 200.0 + away_mm, 900.0))
        for drawing in [*setup_drawings(study, PAPERS["A4"]), *set_drawings(study, PAPERS["A4"])]:
            assert_apart(drawing)
        figures = [words.text for words in setup_plan(study, PAPERS["A4"]).words]
        assert (f"{200 + away_mm} L1" in figures) != any(" m off: " in text for text in figures)

    def test_a_set_of_nine_metres(self, tables, study_of, tmp_path):
        """At a smaller scale of the series."""
        wide = tables | {"room": [tables["room"][0] | {"plan": [[0, 0], [9000, 0], [9000, 200], [0, 200]]}]}
        study, _ = study_of(wide, tmp_path)
        drawing = plan_drawing(study, PAPERS["A4"])
        assert_apart(drawing)
        assert any("Scale 1:100," in words.text for words in drawing.words)


class TestLabels:
    """Names in columns."""

    @settings(deadline=None, max_examples=60)
    @given(st.lists(st.tuples(st.floats(45, 150), st.floats(5, 95)), min_size=1, max_size=25, unique=True))
    def test_no_two_leaders_cross(self, spots):
        """Wherever the places lie; each name has a row of its own."""
        drawing = Drawing("d", "d", (200.0, 100.0))
        rest = place_labels(drawing, [Label(str(i), spot) for i, spot in enumerate(spots)], (Column(40, 10, 0, 100), Column(160, 190, 0, 100)))
        lines = [shapely.LineString(shape.rings[0]) for shape in drawing.shapes if not shape.closed]
        assert not rest and len(lines) == len(spots)
        for a, b in combinations(lines, 2):
            touch = shapely.intersection(a, b)
            assert touch.is_empty or any(np.allclose(touch.centroid.coords[0], spot, atol=1e-6) for spot in spots)
        rows = [words.at for words in drawing.words]
        assert len(set(rows)) == len(rows)


class TestSeen:
    """The set as flat geometry."""

    def test_a_plain_room_cut(self, studied):
        """Above: three walls of 5 mm less what openings take; from the south: two slabs and the north wall behind."""
        built = studied[0].built
        seen = seen_set(built, ABOVE, 100.0)
        assert seen.cut.area == pytest.approx(2 * 300 * 5 + 210 * 5, rel=1e-3)
        cut = seen_set(built, FROM_SOUTH, -100.0).cut
        assert cut.area == pytest.approx(5 * (305 + 305 + 120) - 5 * 60, rel=1e-2)

    def test_hatching_covers_evenly(self):
        """The lines times their distance make the area."""
        square = shapely.box(0, 0, 40, 40)
        length = sum(np.linalg.norm(line[1] - line[0]) for line in hatching(square))
        assert length * 1.1 == pytest.approx(square.area, rel=0.02)
