"""
Longer questions of `previz aim` and `previz explore`: asked with progress shown, the answer printed, what was asked for written.

Takes what was typed, a scene file and its built set; gives whether there was an answer, or how it was. Data goes to standard output.
"""

from __future__ import annotations

import sys
from pathlib import Path

from previz.aim.ask import ask_for_layout, ask_for_tolerance
from previz.aim.explore import all_stopped, explore, summary, summary_text, table_csv
from previz.aim.pareto import bests
from previz.aim.variant import Look
from previz.aim.variants_sheet import variant_pages
from previz.aim.vary import variants
from previz.check.folder import write_text
from previz.check.report import report_json
from previz.frames.picture import write_picture
from previz.progress import watched
from previz.scene.faults import OptionFault


def asked_layouts(loaded, built, wishes, shafts, contrast, dark, free, lamp, shot, json: bool, output: Path | None, workers) -> bool:
    """Search lamp and openings together, and write each answer with its picture where a folder is given."""
    if len(wishes) != 1:
        raise OptionFault("--shafts takes one target", 'Write it like --shafts 2 "bench top".')
    with watched() as watch:
        asked = ask_for_layout(loaded, built, wishes[0], shafts, contrast, dark, free, lamp, shot, workers=workers, watch=watch)
    sys.stdout.write(report_json(asked.values) if json else asked.text)
    for number, (proposal, text) in enumerate(zip(asked.proposals, asked.scenes()), start=1):
        if output is not None:
            write_text(output / f"layout-{number}.toml", text)
            write_picture(output / f"layout-{number}.png", proposal.rgb)
            print(output / f"layout-{number}.toml", file=sys.stderr if json else sys.stdout)
    return asked.solved


def asked_tolerance(loaded, built, wish: str, lamp, shot, within, json: bool, workers) -> None:
    """Find how far everything may be off for a wish."""
    with watched() as watch:
        asked = ask_for_tolerance(loaded, built, wish, lamp, shot, within, workers=workers, watch=watch)
    sys.stdout.write(report_json(asked.values) if json else asked.text)


def asked_variants(loaded, vary: list[str], samples: int | None, best: list[str], look: Look, cluster: str | None, json: bool, folder: Path, workers) -> bool:
    """Work out the variants, write table and contact sheets into a folder, and return whether none can be built without a finding that says stop."""
    found, wrong = [], []
    for read in (lambda: variants(loaded, vary, samples), lambda: bests(best)):
        try:
            found.append(read())
        except OptionFault as fault:
            wrong.append(str(fault))
    if wrong:
        raise OptionFault("\n".join(wrong))
    asked, wishes = found
    with watched() as watch:
        explored = explore(loaded, *asked, folder, look=look, wishes=wishes, cluster=cluster, workers=workers, watch=watch)
    sys.stdout.write(report_json(summary(explored)) if json else summary_text(explored))
    write_text(folder / "variants.csv", table_csv(explored))
    written = [folder / "variants.csv"]
    for number, page in enumerate(variant_pages(explored, loaded.scene.title), 1):
        written.append(folder / f"variants{f'-{number}' if number > 1 else ''}.png")
        write_picture(written[-1], page)
    for path in written:
        print(path, file=sys.stderr if json else sys.stdout)
    return all_stopped(explored)
