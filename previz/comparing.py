"""
`previz asshot`: the set as it was really set up, asked with progress shown, the answer printed.

Takes what was typed, a scene file and its built set; gives the figures of the day. Data goes to standard output.
"""

from __future__ import annotations

import sys
from pathlib import Path

from previz.check.folder import write_text
from previz.progress import watched
from previz.sheets.comparison import compare, comparison_json, comparison_text
from previz.sheets.fields import fields
from previz.sheets.filled import blank_csv


def blank_written(loaded, built, blank: Path) -> None:
    """Write an empty sheet of all that can be measured on the day."""
    write_text(blank, blank_csv(loaded.scene.title, fields(loaded.scene, built)))
    print(blank)


def marks_compared(loaded, built, marks: Path, json: bool, output: Path | None, workers) -> dict:
    """Hold what was measured against the plan, and return the report of the set as it was set up."""
    with watched() as watch:
        compared = compare(loaded, built, marks, output or loaded.path.with_name(f"{loaded.path.stem}-asshot.toml"), workers=workers, watch=watch)
    sys.stdout.write(comparison_json(compared) if json else comparison_text(compared))
    return compared.figures
