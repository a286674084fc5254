"""
Everything of a set in one folder: pictures, reels, report, and the page that shows them.

Takes a study and its lit set; writes files and gives their paths. Each file is renamed into place when it is whole.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from previz.check.page import ShotFiles, page
from previz.check.report import report, report_json
from previz.check.study import Study, Taken
from previz.check.text import number, report_text
from previz.frames.reel import write_reel
from previz.frames.still import lit_at_roll, still
from previz.scene.files import replacing


def default_folder(scene_path: Path) -> Path:
    """Return where the outputs of a scene go unless the maker says otherwise: renders/ and the scene's name."""
    return Path("renders") / Path(scene_path).stem


def file_stem(name: str) -> str:
    """Return a name that the maker gave as one that every file system takes: "Clock / dolly" is "clock-dolly"."""
    return re.sub(r"[^\w]+", "-", name.lower()).strip("-") or "shot"


def write_text(path: Path, text: str) -> None:
    """Write a text file, whole or not at all."""
    with replacing(path) as temporary:
        temporary.write_text(text, encoding="utf-8")


def write_picture(path: Path, rgb) -> None:
    """Write (rows, columns, 3) uint8 sRGB as a picture of the kind that the name ends in."""
    import imageio.v3 as imageio

    with replacing(path) as temporary:
        imageio.imwrite(temporary, rgb)


def write_folder(study: Study, lit, folder: Path, *, size: tuple[int, int], reel_size: tuple[int, int], workers: int | None, watch: Callable) -> Path:
    """
    Write all of a set into `folder`; return the path of its page.

    The report comes first, so that figures are there while pictures are being made.
    """
    figures = report(study)
    write_text(folder / "report.json", report_json(figures))
    write_text(folder / "report.txt", report_text(figures))
    files = {}
    for taken in study.shots:
        files[taken.shot.name] = _shot_files(taken, lit, folder, size, reel_size, workers, watch)
    write_text(folder / "index.html", page(figures, files))
    return folder / "index.html"


def _moments(taken: Taken) -> list[tuple[str, float]]:
    """Return the moments of the take that are shown as pictures, each with its name. [s]"""
    if taken.shot.move == "still":
        return [("middle", taken.shot.take_s / 2)]
    return [("middle", taken.shot.take_s / 2), ("start", 0.0), ("end", taken.shot.take_s)]


def _shot_files(taken: Taken, lit, folder: Path, size, reel_size, workers, watch) -> ShotFiles:
    shot, stem = taken.shot, file_stem(taken.shot.name)
    lit = lit_at_roll(lit, shot)
    stills = []
    for moment, take_s in _moments(taken):
        file = f"{stem}-{moment}.png"
        picture = still(lit, shot, taken.move, take_s, size, workers=workers, progress=watch(f"{shot.name}, {moment}"))
        write_picture(folder / file, picture.rgb)
        stills.append((file, f"{shot.name}, {moment} of the move: {number(take_s)} s of the take, {number(take_s * shot.fps / shot.playback)} s of the clip"))
    reel = write_reel(lit, taken, folder / f"{stem}.mp4", size=reel_size, workers=workers, progress=watch(f"{shot.name}, reel"))
    return ShotFiles(stills, *reel)
