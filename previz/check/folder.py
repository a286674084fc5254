"""
Everything of a set in one folder: pictures, reels, report, and the page that shows them.

Takes a study and its lit set; writes files and gives their names. Each file is renamed into place when it is whole.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from previz.check.clock_chart import clock_svg
from previz.check.page import ShotFiles, page
from previz.check.report import clock_entry, plain, report, report_json
from previz.check.study import Study, Taken
from previz.check.text import number, report_text
from previz.frames.picture import write_picture
from previz.frames.reel import write_reel
from previz.frames.still import lit_at_roll, still
from previz.rays.patches import patches
from previz.scene.files import replacing

REEL_SIZE = (480, 270)
"""Of a reel's frames, columns and rows: enough to judge a move, and quick (own choice)."""


def default_folder(scene_path: Path) -> Path:
    """Return where the outputs of a scene go unless the maker says otherwise: renders/ and the scene's name."""
    return Path("renders") / Path(scene_path).stem


def file_stem(name: str) -> str:
    """Return a name that the maker gave as one that every file system takes: "Clock / dolly" is "clock-dolly"."""
    return re.sub(r"[^\w]+", "-", name.lower()).strip("-")[:60] or "shot"


def file_stems(names) -> dict[str, str]:
    """Return the file stem of each of `names`, no two alike even where letters are folded."""
    stems: dict[str, str] = {}
    for name in names:
        stem, count = file_stem(name), 1
        while stem in stems.values():
            count += 1
            stem = f"{file_stem(name)}-{count}"
        stems[name] = stem
    return stems


def write_text(path: Path, text: str) -> None:
    """Write a text file, whole or not at all."""
    with replacing(path) as temporary:
        temporary.write_text(text, encoding="utf-8")


def write_folder(study: Study, lit, folder: Path, *, size: tuple[int, int], papers=(), workers: int | None, watch: Callable) -> tuple[dict, Path]:
    """
    Write all of a set into `folder`; return its report and the path of its page.

    The report comes first, so that the figures are there while pictures are being made.

    Parameters
    ----------
    study, lit : Study, LitSet
        Of the same set.
    size : (columns, rows)
        Of the pictures. [pixel]
    papers : sequence of (str, str)
        Files that are in the folder already and what each is, for the page to link.
    watch : callable
        Given a label, returns a function called with the share done.
    """
    figures = report(study)
    write_text(folder / "report.json", report_json(figures))
    write_text(folder / "report.txt", report_text(figures))
    stems = file_stems(taken.shot.name for taken in study.shots)
    outlines = [patch.outline_mm for patch in study.patches]
    files = {taken.shot.name: _shot_files(taken, lit, folder, stems[taken.shot.name], size, outlines, workers, watch) for taken in study.shots}
    write_text(folder / "index.html", page(figures, files, tuple(papers)))
    return figures, folder / "index.html"


def outlines_of(lit) -> list:
    """Return the outline of each patch of a lit set, (k, 3) each. [mm]"""
    return [patch.outline_mm for patch in patches(lit.built, lit.emitters, lit)]


def moments(taken: Taken) -> list[tuple[str, float]]:
    """Return the moments of the take that are shown as pictures, each with its name. [s]"""
    middle = ("middle", taken.shot.take_s / 2)
    return [middle, ("start", 0.0), ("end", taken.shot.take_s)] if taken.move.changes else [middle]


def _shot_files(taken: Taken, lit, folder: Path, stem: str, size, outlines, workers, watch) -> ShotFiles:
    shot, rolled = taken.shot, lit_at_roll(lit, taken.shot)
    outlines = outlines_of(rolled) if shot.lamps else outlines
    stills = []
    for name, take_s in moments(taken):
        picture = still(rolled, shot, taken.move, take_s, size, workers=workers, progress=watch(f"{shot.name}, {name}"))
        write_picture(folder / f"{stem}-{name}.png", picture.rgb)
        if name == "middle":
            write_picture(folder / f"{stem}-chart.png", picture.chart(shot.name))
        stills.append((f"{stem}-{name}.png", f"{shot.name}, {name}: {number(take_s)} s into the take, {number(take_s * shot.fps / shot.playback)} s of the clip"))
    reel, contact = write_reel(rolled, shot, taken.move, folder / f"{stem}.mp4", size=REEL_SIZE, outlines=outlines, workers=workers, progress=watch(f"{shot.name}, reel"))
    return ShotFiles(stills, reel.name, contact.name, f"{stem}-chart.png", _clock_file(taken, folder / f"{stem}-haze.svg"))


def _clock_file(taken: Taken, path: Path) -> str | None:
    """Draw the haze clock of a shot; None where it has none."""
    if taken.clock is None:
        return None
    write_text(path, clock_svg(plain(clock_entry(taken.clock, taken.shot)), taken.shot.name, taken.shot.take_s, taken.shot.reset))
    return path.name
