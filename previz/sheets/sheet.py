"""
`previz sheet`: the paper for the shooting day, and its drawings as files.

Takes a study, its lit set and options; writes one PDF and an SVG for each drawing, each whole or not at all.

    the whole set     bill of lamps, openings, kit and props, the day, cautions
    setup, set        plan and elevation of the setup, plan and sections of the set, to scale
    each shot         pictures, plan, settings, focus marks, clock, findings, lines to write on
    as it was set up  lines for openings, lamps and rail
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from previz.check.folder import write_text
from previz.check.report import report
from previz.check.study import Study, Taken
from previz.check.text import number
from previz.frames.lettering import printable
from previz.frames.still import lit_at_roll, still
from previz.scene.faults import OptionFault
from previz.scene.files import outside, replacing
from previz.sheets.bill import first_page, write_in
from previz.sheets.drawing import Drawing
from previz.sheets.flow import Flow
from previz.sheets.leaves import Leaves
from previz.sheets.paper import PAPERS
from previz.sheets.plan import set_drawings
from previz.sheets.setup import setup_drawings
from previz.sheets.shooting import shot_page

FORMATS = ("pdf", "svg")
PICTURE_COLUMNS = 640
"""Of each picture on a shot's page: about 260 to the inch at its size on paper (own choice)."""


def checked_paper(paper: str) -> str:
    """Return the name of a paper; OptionFault where there is none of that name."""
    if paper not in PAPERS:
        raise OptionFault(f"--paper {paper}: it must be {', '.join(PAPERS)}", "Write it like --paper Letter.")
    return paper


def checked_formats(text: str) -> tuple[str, ...]:
    """Return the formats of "pdf,svg"; OptionFault where one is none."""
    names = tuple(dict.fromkeys(name.strip().lower() for name in text.split(",")))
    for name in names:
        if name not in FORMATS:
            raise OptionFault(f"--format {text}: {name!r} is not one of {', '.join(FORMATS)}", "Write it like --format pdf,svg.")
    return names


def drawings_of(study: Study, paper: str) -> list[Drawing]:
    """Return every drawing of a set on a paper, in the order of the document."""
    return [*setup_drawings(study, PAPERS[paper]), *set_drawings(study, PAPERS[paper])]


def sheet_pdf(study: Study, figures: dict, drawings: list[Drawing], pictures: dict, paper: str) -> bytes:
    """
    Return the document.

    Parameters
    ----------
    figures : dict
        The report of `study`.
    drawings : list of Drawing
        On the same paper.
    pictures : dict
        Shot's name -> list of (words, (rows, columns, 3) uint8 array), in order of the take.
    """
    leaves = Leaves(f"{printable(study.scene.title)}: sheet for the day")
    flow = Flow(leaves, PAPERS[paper])
    first_page(flow, study, figures)
    for drawing in drawings:
        leaves.page(drawing.size, drawing.title)
        drawing.draw_on(leaves)
        leaves.text((drawing.size[0] - 12, drawing.size[1] - 9), str(leaves.number), anchor="right")
    for taken, entry in zip(study.shots, figures["shots"]):
        shot_page(flow, study, taken, entry, figures["findings"], pictures.get(taken.shot.name, []))
    write_in(flow, study)
    return leaves.finished()


def moments_of(taken: Taken) -> list[tuple[str, float]]:
    """Return the moments of the take that a shot's page shows, in order. [s]"""
    if not taken.move.changes:
        return [("middle", taken.move.take_s / 2)]
    return [("start", 0.0), ("middle", taken.move.take_s / 2), ("end", taken.move.take_s)]


def shot_pictures(lit, taken: Taken, *, workers: int | None = None, tick: Callable | None = None) -> list:
    """Return the pictures of a shot's page with their words."""
    rolled = lit_at_roll(lit, taken.shot)
    columns, rows = lit.scene.body.resolution
    size = (PICTURE_COLUMNS, max(round(PICTURE_COLUMNS * rows / columns), 1))
    found = []
    for i, (name, take_s) in enumerate(chosen := moments_of(taken)):
        picture = still(rolled, taken.shot, taken.move, take_s, size, quality="draft", workers=workers)
        found.append((f"{name}, {number(take_s)} s into the take", picture.rgb))
        if tick:
            tick((i + 1) / len(chosen))
    return found


def write_sheet(
    study: Study, lit, output: Path, *, paper: str = "A4", formats: tuple[str, ...] = ("pdf",), figures: dict | None = None,
    workers: int | None = None, watch: Callable | None = None,
) -> list[Path]:  # fmt: skip
    """
    Write the sheet and the drawings; return the paths written.

    Parameters
    ----------
    output : Path
        A folder, or a file that ends in .pdf where that is the only format.
    figures : dict, optional
        The report of `study`, where it has been made.
    """
    checked_paper(paper)
    is_file = output.suffix.lower() == ".pdf" and not output.is_dir()
    if is_file and formats != ("pdf",):
        raise OptionFault(f"-o {output}: one file cannot hold {', '.join(formats)}", "Give a folder with -o, or leave --format out.")
    drawings, written = drawings_of(study, paper), []
    if "pdf" in formats:
        pictures = {taken.shot.name: shot_pictures(lit, taken, workers=workers, tick=watch and watch(f"{taken.shot.name}, pictures for paper")) for taken in study.shots}
        data = sheet_pdf(study, figures or report(study), drawings, pictures, paper)
        written.append(output if is_file else output / "sheet.pdf")
        with replacing(written[0]) as temporary, outside(written[0]):
            temporary.write_bytes(data)
    for drawing in drawings if "svg" in formats else ():
        written.append(output / f"{drawing.name}.svg")
        write_text(written[-1], drawing.svg())
    return written
