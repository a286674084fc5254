"""`previz cut` as its users meet it: pages that can be read, names in any script, sizes that go wrong."""

import re
from pathlib import Path

import pdfplumber
import pytest
from readable import assert_readable

from previz.cli import run
from previz.scene.faults import OptionFault
from previz.scene.read import read_scene
from previz.sheets.cut import write_templates
from previz.frames.lettering import missing, printable
from previz.sheets.pieces import pieces_of
from previz.sheets.templates import templates_pdf

ROOT = Path(__file__).parents[2]
WINDOW = {"name": "window", "wall": "room.south", "at": [50, 40], "size": [60, 40]}


class TestPages:
    """Every page of every demo set."""

    @pytest.mark.parametrize("path", sorted((ROOT / "scenes").glob("*.toml")), ids=lambda path: path.stem)
    def test_demo_sets(self, path):
        """Text never collides; each sheet has its bar."""
        scene = read_scene(path).scene
        texts = assert_readable(templates_pdf(scene.title, scene.scale, pieces_of(scene)))
        sheets = [text for text in texts if "Lower left corner of the frame" in text]
        assert len(sheets) > 10 and all("100 mm from end to end" in text for text in sheets)
        assert "Knives" in texts[0]

    def test_a_crowd_of_openings(self, scene):
        """Forty slits of 2 mm: their figures stand side by side."""
        slits = [{"name": f"slit {i}", "wall": "room.south", "at": [20 + 5 * i, 20 + 0.6 * i], "size": [2, 60]} for i in range(40)]
        assert_readable(templates_pdf("t", 12, pieces_of(scene(*slits))))


class TestScripts:
    """Names in any script."""

    @pytest.mark.parametrize(
        "name, shown",
        [
            ("Εργαστήριο", "Εργαστήριο"),
            ("Мастерская", "Мастерская"),
            ("工房", "[U+5DE5][U+623F]"),
            ("まど", "mado"),
            ("clock 🕰️", "clock [mantelpiece clock]"),
            ("שער", "[hebrew letter shin][hebrew letter ayin][hebrew letter resh]"),
        ],
    )
    def test_never_a_blank_box(self, name, shown, scene, tmp_path):
        """Printed as it is, or in words, with a finding that says so."""
        assert printable(name) == shown
        made = scene(WINDOW | {"name": name}, title=name)
        written, findings = write_templates(made, tmp_path / "a.pdf")
        texts = assert_readable(written[0].read_bytes())
        assert any(shown[:12] in text for text in texts)
        about = [finding for finding in findings if finding.about == name]
        assert bool(about) == bool(missing(name)) == (shown != name)


class TestSizes:
    """Sets that are larger, or weaker, than paper and board allow."""

    def test_a_wall_of_more_than_thirty_sheets(self, scene, tmp_path):
        """It is printed, and a finding says how many sheets it takes."""
        big = scene(plan=[[0, 0], [1500, 0], [1500, 200], [0, 200]], height=1100)
        written, findings = write_templates(big, tmp_path)
        (south,) = [finding for finding in findings if finding.about == "room.south"]
        sheets = int(re.search(r"takes (\d+) sheets of A4", south.says).group(1))
        assert sheets > 30
        with pdfplumber.open(written[0]) as document:
            assert sum(f"of {sheets}: column" in (page.extract_text() or "") for page in document.pages[: sheets + 4]) == sheets

    def test_a_wall_that_no_one_would_glue(self, scene, tmp_path):
        """100 m: said, and nothing written."""
        with pytest.raises(OptionFault, match="sheets of A4, and 2,000 is the most"):
            write_templates(scene(plan=[[0, 0], [90000, 0], [90000, 200], [0, 200]], height=90000), tmp_path)
        assert not list(tmp_path.iterdir())

    def test_openings_closer_than_the_board_allows(self, scene, tmp_path):
        """Which, how near, and what to do."""
        _, findings = write_templates(scene(WINDOW, WINDOW | {"name": "second", "at": [113, 40]}), tmp_path, formats=("svg",))
        assert [(f.level, f.about, f.says) for f in findings] == [
            ("care", "room.south", "The web from window to second is 3 mm wide, less than twice the 5 mm of the sheet.")
        ]


class TestCommand:
    """From the command line."""

    def test_files_and_the_same_bytes(self, scene_file, tmp_path, monkeypatch, capsys):
        """PDF by itself, SVG and DXF when asked for; the same scene gives the same bytes."""
        monkeypatch.chdir(tmp_path)
        assert run(["cut", "plain.toml"]) == 0
        assert capsys.readouterr().out == "renders/plain/templates.pdf\n"
        for folder in ("a", "b"):
            assert run(["cut", "plain.toml", "--format", "pdf,svg,dxf", "-o", folder]) == 0
        names = sorted(path.name for path in Path("a").iterdir())
        assert len(names) == 1 + 2 * 5 and {"templates.pdf", "p1-room-east.svg", "p1-room-east.dxf"} <= set(names)
        assert all((Path("a") / name).read_bytes() == (Path("b") / name).read_bytes() for name in names)

    @pytest.mark.parametrize(
        "options, says",
        [
            (["--paper", "B5"], "--paper B5: it must be A4, A3, Letter\n  Write it like --paper A3.\n"),
            (["--format", "pdf,png"], "--format pdf,png: 'png' is not one of pdf, svg, dxf\n  Write it like --format pdf,svg.\n"),
            (["--measured", "50"], "--measured 50: the bar of 100 mm can measure 90 to 110\n"),
            (["--measured", "nan"], "--measured nan: the bar of 100 mm can measure 90 to 110\n"),
            (["--format", "svg", "-o", "a.pdf"], "-o a.pdf: one file cannot hold svg\n  Give a folder with -o, or leave --format out.\n"),
        ],
    )
    def test_options_that_are_wrong(self, options, says, scene_file, tmp_path, monkeypatch, capsys):
        """In whole sentences, with what to do."""
        monkeypatch.chdir(tmp_path)
        assert run(["cut", "plain.toml", *options]) == 2
        assert capsys.readouterr().err.startswith(says)
        assert [path.name for path in tmp_path.iterdir()] == ["plain.toml"]
