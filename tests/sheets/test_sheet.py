"""`previz sheet` as its users meet it: one document with a page for each shot, options that are wrong."""

import io
import re

import numpy as np
import pdfplumber
import pytest
from readable import assert_readable

from previz.check.report import report
from previz.cli import run
from previz.frames.lettering import printable
from previz.sheets.fields import fields
from previz.sheets.paper import PAPERS
from previz.sheets.pieces import pieces_of
from previz.sheets.sheet import drawings_of, sheet_pdf
from previz.sheets.templates import templates_pdf

PICTURE = np.tile(np.linspace(0, 255, 64, dtype=np.uint8)[None, :, None], (36, 1, 3))


@pytest.fixture(scope="module")
def sheet(studied):
    """Return the sheet on a paper, with plain pictures, as bytes."""
    study, _ = studied
    made = {}

    def on(paper):
        if paper not in made:
            pictures = {taken.shot.name: [(f"{name} of the take", PICTURE) for name in ("start", "middle", "end")] for taken in study.shots}
            made[paper] = sheet_pdf(study, report(study), drawings_of(study, paper), pictures, paper)
        return made[paper]

    return on


class TestDocument:
    """The PDF."""

    @pytest.mark.parametrize("paper", ["A4", "Letter"])
    def test_every_page_can_be_read(self, paper, sheet):
        """No text on text, none off the page, two sizes of type, fonts embedded; sheets upright, drawings on their side."""
        assert_readable(sheet(paper))
        with pdfplumber.open(io.BytesIO(sheet(paper))) as document:
            sizes = {tuple(sorted((round(float(page.width) * 25.4 / 72, 1), round(float(page.height) * 25.4 / 72, 1)))) for page in document.pages}
        assert sizes == {tuple(sorted(PAPERS[paper]))}

    def test_bookmarks_title_language(self, sheet, studied):
        """Each part of the document has its bookmark; title and language are told to readers."""
        study, _ = studied
        with pdfplumber.open(io.BytesIO(sheet("A4"))) as document:
            names = [title for _, title, *_ in document.doc.get_outlines()]
            assert document.metadata["Title"] == f"{printable(study.scene.title)}: sheet for the day"
            assert document.doc.catalog["Lang"] == b"en"
        expected = ["The whole set", *(printable(d.title) for d in drawings_of(study, "A4")), *(printable(t.shot.name) for t in study.shots), "As it was set up"]
        assert names == expected

    def test_the_same_bytes(self, studied):
        """Made again from the same study."""
        study, _ = studied
        again = sheet_pdf(study, report(study), drawings_of(study, "A4"), {}, "A4")
        assert again == sheet_pdf(study, report(study), drawings_of(study, "A4"), {}, "A4")

    def test_templates_too(self, studied):
        """The same of the wall templates."""
        scene = studied[0].scene
        with pdfplumber.open(io.BytesIO(templates_pdf(scene.title, scene.scale, pieces_of(scene)))) as document:
            assert document.doc.catalog["Lang"] == b"en" and list(document.doc.get_outlines())
            assert all("+" in char["fontname"] for page in document.pages for char in page.chars)

    def test_every_name(self, sheet, studied):
        """Openings, props, lamps and shots are all printed in full, in any script."""
        scene = studied[0].scene
        text = re.sub(r"\s+", "", "".join(assert_readable(sheet("A4"))))
        rows = {re.sub(r"-\d+$", "", prop.name) for prop in scene.prop}
        for name in [*rows, *(o.name for o in scene.opening), *(lamp.name for lamp in scene.lamp), *(shot.name for shot in scene.shot)]:
            assert re.sub(r"\s+", "", printable(name)) in text, name

    def test_a_shot_is_a_page(self, sheet, studied):
        """With its three pictures, settings, the clock, and every field to write in, under the name that is read back."""
        study, _ = studied
        (shot,) = [taken.shot for taken in study.shots]
        with pdfplumber.open(io.BytesIO(sheet("A4"))) as document:
            (page,) = [page for page in document.pages if page.images]
            text = page.extract_text()
            assert len(page.images) == 3
        for words in ("f/14", "180 degrees, 1/240 s", "120 a second, shown at 24", "0 spray", "8 roll", "8.6 cut", "mark start, 20 on the rail", "mark end, 60 on the rail"):
            assert words in text
        for field in fields(study.scene, study.built):
            if field.name.startswith(f"shot.{shot.name}."):
                assert field.name.rsplit(".", 1)[1] in text

    def test_fields_of_lamps_and_rail(self, sheet, studied):
        """On the last page, each with a line to write on."""
        study, _ = studied
        chosen = [field for field in fields(study.scene, study.built) if not field.name.startswith("shot.")]
        with pdfplumber.open(io.BytesIO(sheet("A4"))) as document:
            page = document.pages[-1]
            lines = [line for line in page.lines if line["x1"] - line["x0"] < 80 and abs(line["y1"] - line["y0"]) < 0.01]
            text = page.extract_text()
        assert len(lines) == len(chosen) and "asshot" in text
        assert "above table 580 mm" in text and "above floor 1,300 mm" in text

    def test_light_can_be_told_in_a_grey_print(self, studied):
        """Shafts, patches and paper differ by at least a twentieth in luminance, and lines stand out from both (own choice)."""
        from previz.light.colour import LUMINANCE_WEIGHTS
        from previz.sheets.leaves import AMBER, LIGHT
        from previz.sheets.plan import BRIGHT

        linear = [(np.array([int(c[i : i + 2], 16) for i in (1, 3, 5)]) / 255) ** 2.2 @ LUMINANCE_WEIGHTS for c in ("#ffffff", LIGHT, BRIGHT, AMBER)]
        assert all(a - b > 0.05 for a, b in zip(linear, linear[1:]))


class TestCommand:
    """From the command line."""

    def test_files(self, scene_file, tmp_path, monkeypatch, capsys):
        """The sheet and the drawings, in a folder."""
        monkeypatch.chdir(tmp_path)
        assert run(["sheet", "plain.toml", "--format", "pdf,svg", "-o", "a"]) in (0, 1)
        names = sorted(capsys.readouterr().out.split())
        assert names == [f"a/{name}" for name in ("plan.svg", "section-across.svg", "section-along.svg", "setup-elevation.svg", "setup-plan.svg", "sheet.pdf")]

    @pytest.mark.parametrize(
        "options, says",
        [
            (["--paper", "B5"], "--paper B5: it must be A4, A3, Letter\n  Write it like --paper Letter.\n"),
            (["--format", "pdf,png"], "--format pdf,png: 'png' is not one of pdf, svg\n  Write it like --format pdf,svg.\n"),
        ],
    )
    def test_options_that_are_wrong(self, options, says, scene_file, tmp_path, monkeypatch, capsys):
        """In whole sentences, with what to do, and nothing written."""
        monkeypatch.chdir(tmp_path)
        assert run(["sheet", "plain.toml", *options]) == 2
        assert capsys.readouterr().err.startswith(says)
        assert [path.name for path in tmp_path.iterdir()] == ["plain.toml"]
