"""
`previz cut`: the templates of a scene as files, and what a maker must know before cutting.

Takes a checked scene; writes PDF, SVG and DXF, each whole or not at all, and gives findings.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from previz.check.finding import Finding
from previz.check.folder import file_stem, write_text
from previz.scene.faults import OptionFault
from previz.scene.files import outside, replacing
from previz.scene.model import Scene
from previz.sheets.drawn import template_dxf, template_svg
from previz.frames.lettering import missing, printable
from previz.sheets.paper import PAPERS
from previz.sheets.pieces import Piece, pieces_of
from previz.sheets.running import figure
from previz.sheets.templates import numbered, templates_pdf
from previz.sheets.webs import weak_webs, weakest_allowed

FORMATS = ("pdf", "svg", "dxf")
MANY_SHEETS, MOST_SHEETS = 12, 2000
"""For one piece, from when on a finding says so; for a set, from when on nothing is printed (own choice)."""
MEASURED_MM = (90.0, 110.0)
"""A printer that is off by more prints to fit, or the reading is wrong (own choice)."""


def wanted_formats(text: str) -> tuple[str, ...]:
    """Return the formats of "pdf,svg"; OptionFault where one is none."""
    names = tuple(dict.fromkeys(name.strip().lower() for name in text.split(",")))
    for name in names:
        if name not in FORMATS:
            raise OptionFault(f"--format {text}: {name!r} is not one of {', '.join(FORMATS)}", "Write it like --format pdf,svg.")
    return names


def checked_measure(measured: float) -> float:
    """Return what the bar measured; OptionFault where no printer is that far off. [mm]"""
    low, high = MEASURED_MM
    if not low <= measured <= high:
        raise OptionFault(
            f"--measured {measured:g}: the bar of 100 mm can measure {low:g} to {high:g}",
            "Print at 100 %, not “fit to page”, then measure the bar at the foot of a sheet in mm.",
        )
    return measured


def write_templates(scene: Scene, output: Path, *, paper: str = "A4", measured: float = 100.0, formats: tuple[str, ...] = ("pdf",)) -> tuple[list[Path], list[Finding]]:
    """
    Write the templates; return the paths written and the findings.

    Parameters
    ----------
    output : Path
        A folder, or a file that ends in .pdf where that is the only format.
    paper, measured, formats
        As `previz cut` takes them. SVG and DXF hold true sizes whatever the printer does.

    Raises
    ------
    OptionFault
        If the set has no walls to cut, the paper is unknown, or it takes more sheets than anyone would glue.
    """
    if paper not in PAPERS:
        raise OptionFault(f"--paper {paper}: it must be {', '.join(PAPERS)}", "Write it like --paper A3.")
    is_file = output.suffix.lower() == ".pdf" and not output.is_dir()
    if is_file and formats != ("pdf",):
        raise OptionFault(f"-o {output}: one file cannot hold {', '.join(formats)}", "Give a folder with -o, or leave --format out.")
    pieces = pieces_of(scene)
    if not pieces:
        raise OptionFault("this set has no room, so there is no wall to cut", "A set that comes as a mesh is cut by the program that it was drawn in.")
    marked = numbered(pieces, paper, 100.0 / measured)
    if "pdf" in formats:
        _not_endless(sum(one.tiling.count for one in marked), paper)
    found = list(cutting_findings(scene, marked, paper)) if "pdf" in formats else [f for piece in pieces for f in _web_findings(piece)]
    written = []
    if "pdf" in formats:
        notes = tuple(f"{finding.about}: {finding.says} {finding.remedy}" for finding in found)
        written.append(output if is_file else output / "templates.pdf")
        data = templates_pdf(scene.title, scene.scale, pieces, paper=paper, measured=measured, notes=notes)
        with replacing(written[0]) as temporary, outside(written[0]):
            temporary.write_bytes(data)
    for one in marked:
        stem = f"{one.mark.lower()}-{file_stem(one.piece.name)}"
        for kind, draw in (("svg", template_svg), ("dxf", template_dxf)):
            if kind in formats:
                write_text(output / f"{stem}.{kind}", draw(one.mark, one.piece))
                written.append(output / f"{stem}.{kind}")
    return written, found


def _not_endless(sheets, paper):
    if sheets > MOST_SHEETS:
        raise OptionFault(
            f"the templates would take {sheets:,} sheets of {paper}, and {MOST_SHEETS:,} is the most",
            "Check the sizes in the file (millimetres of the model), or have --format svg or dxf, which need no sheets.",
        )


def cutting_findings(scene: Scene, marked, paper: str) -> Iterator[Finding]:
    """Yield what a maker must know before cutting: weak webs, pieces of many sheets, names that the font cannot print."""
    for one in marked:
        yield from _web_findings(one.piece)
        sheets = one.tiling.count
        if sheets > MANY_SHEETS:
            remedy = "Take larger paper with --paper, or have --format svg printed in one piece." if paper != "A3" else "Have --format svg printed in one piece."
            yield Finding("care", one.piece.name, f"Its template takes {sheets} sheets of {paper}, and each joint adds an error.", remedy)
    yield from _letter_findings([scene.title, *(one.piece.name for one in marked), *(cut.opening.name for one in marked for cut in one.piece.cuts)])


def _web_findings(piece: Piece):
    webs = weak_webs(piece)
    if webs:
        first = webs[0]
        more = f" and {len(webs) - 1} more" if len(webs) > 1 else ""
        says = f"The web from {first.first} to {first.second} is {figure(first.width)} mm wide{more}, less than twice the {piece.thickness:g} mm of the sheet."
        yield Finding("care", piece.name, says, f"Leave {figure(weakest_allowed(piece))} mm between, take a thinner sheet there, or stiffen it before it is cut.")


def _letter_findings(names):
    for name in dict.fromkeys(names):
        lacking = missing(name)
        if lacking:
            signs = ", ".join(f"{sign} (U+{ord(sign):04X})" for sign in lacking)
            yield Finding(
                "care", name, f"The font has no sign for {signs}; on paper the name is written {printable(name)}.", "Go by the number of the piece, or type the name in other letters."
            )
