"""
`previz asshot`: the set as it was really set up, asked with progress shown, the answer printed.

Takes what was typed, a scene file and its built set; gives the figures of the day. Data goes to standard output.
"""

from __future__ import annotations

import sys
from pathlib import Path

from previz.check.folder import default_folder, file_stem, write_text
from previz.check.report import report_json
from previz.frames.picture import picture_kind, write_picture
from previz.progress import watched
from previz.scene.faults import OptionFault
from previz.sheets.comparison import compare, comparison_json, comparison_text
from previz.sheets.fields import fields
from previz.sheets.filled import blank_csv
from previz.sheets.marked import blank_points
from previz.sheets.photo import check_photo
from previz.sheets.photo_picture import marked_copy
from previz.sheets.photo_words import photo_text, photo_values


def one_question(*, marks, blank, photo, **with_photo) -> None:
    """OptionFault unless one of three things is asked, with what belongs to it."""
    if sum(given is not None for given in (marks, blank, photo)) != 1:
        raise OptionFault("asshot needs one of --marks, --photo and --blank", "--blank FILE writes an empty sheet; --marks FILE reads the filled one; --photo FILE goes with --points FILE.")
    if photo is not None and with_photo["points"] is None:
        raise OptionFault("--photo goes with --points", "--blank points.toml writes one to fill in.")
    alone = [name for name, value in with_photo.items() if value is not None and photo is None]
    if alone:
        raise OptionFault(f"--{alone[0]} goes with --photo", "Add --photo FILE, or leave it out.")


def blank_written(loaded, built, blank: Path) -> None:
    """Write an empty sheet of all that can be measured on the day, or of all that can be marked in a photo where its name ends in .toml."""
    photo = blank.suffix.lower() == ".toml"
    write_text(blank, blank_points(loaded.scene, built) if photo else blank_csv(loaded.scene.title, fields(loaded.scene, built)))
    print(blank)


def photo_checked(loaded, built, photo: Path, points: Path, shot: str | None, focal: float | None, json: bool, output: Path | None) -> None:
    """Find camera and lamps in a photo, say how to move the stands, and write a marked copy of it."""
    output = output or default_folder(loaded.path) / f"{file_stem(photo.stem)}-marked.png"
    if picture_kind(output) and output.exists() and any(output.resolve() == path.resolve() for path in (photo, points)):
        raise OptionFault(f"-o {output}: it would overwrite what it is made from", "Give another name.")
    found = check_photo(loaded.scene, built, photo, points, shot, focal)
    sys.stdout.write(report_json(photo_values(found)) if json else photo_text(found))
    write_picture(output, marked_copy(found, built))
    print(output, file=sys.stderr if json else sys.stdout)


def marks_compared(loaded, built, marks: Path, json: bool, output: Path | None, workers) -> dict:
    """Hold what was measured against the plan, and return the report of the set as it was set up."""
    with watched() as watch:
        compared = compare(loaded, built, marks, output or loaded.path.with_name(f"{loaded.path.stem}-asshot.toml"), workers=workers, watch=watch)
    sys.stdout.write(comparison_json(compared) if json else comparison_text(compared))
    return compared.figures
