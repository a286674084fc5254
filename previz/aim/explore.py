"""
Many variants of one scene, each worked out once: shared between processes, kept on disk, put side by side.

Takes a scene file, variants and wishes; gives rows of figures, and a folder:

    variants.csv             a row a variant: its values, every figure, what is best
    variants.png, -2, ...    the contact sheet
    variants/MARK.json, .png what came of each variant, under the fingerprint of its scene

A variant whose two files are there is not worked out again, so an interrupted run goes on where it stopped. Work goes to
any `concurrent.futures.Executor`: processes of this machine, or a Dask cluster that runs already.
"""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, suppress
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
from PIL import Image

from previz.aim.pareto import Best, marked, unknown
from previz.aim.processes import executor
from previz.aim.tabled import Column, tabled
from previz.aim.variant import Done, Job, Look, bake, fingerprint, geometry, shot_of, work_out
from previz.aim.vary import Variant, Vary
from previz.rays.workers import worker_count
from previz.scene.faults import OptionFault, OutsideFault, SceneFaults
from previz.scene.files import outside, replacing
from previz.scene.read import SceneFile, scene_from

KEPT = "variants"
_LIGHT = ".light-"
_STOPS = Column(("findings", "stop"), "")


@dataclass(frozen=True)
class Row:
    """
    One variant worked out.

    picture   its file, None without a shot
    figures   by column; empty where it was refused
    refused   why it cannot be built
    """

    variant: Variant
    picture: Path | None
    figures: dict[Column, object]
    refused: str

    @property
    def stops(self) -> str:
        """How many findings say stop, in words; empty where none does."""
        count = self.figures.get(_STOPS)
        return f"{count} finding{'s say' if count > 1 else ' says'} stop" if count else ""


@dataclass(frozen=True)
class Explored:
    """
    All variants.

    varied   the keys
    rows     in the order of the variants
    wishes   and `best`, which of the rows no other beats in all of them
    worked   how many were worked out in this run
    baked    how many times hemisphere rays were cast in it
    """

    varied: tuple[Vary, ...]
    rows: tuple[Row, ...]
    wishes: tuple[Best, ...]
    best: np.ndarray
    worked: int
    baked: int

    @cached_property
    def columns(self) -> list[Column]:
        """Every figure that any of the rows has, in the order that they first come."""
        return list(dict.fromkeys(column for row in self.rows for column in row.figures))

    @cached_property
    def wished(self) -> np.ndarray:
        """The figures (rows, wishes) that are wished for; NaN where a row lacks one."""
        columns = [wish.columns(self.columns) for wish in self.wishes]
        return np.array([[wish.of(row.figures, meant) for wish, meant in zip(self.wishes, columns)] for row in self.rows]).reshape(len(self.rows), len(self.wishes))

    @cached_property
    def units(self) -> list[str]:
        """The unit of each wish."""
        return [next((column.unit for column in wish.columns(self.columns)), "") for wish in self.wishes]


def explore(
    file: SceneFile, varied: tuple[Vary, ...], variants: Sequence[Variant], folder: Path, *, look: Look = Look(), wishes: Sequence[Best] = (),
    cluster: str | None = None, workers: int | None = None, watch: Callable | None = None,
) -> Explored:  # fmt: skip
    """
    Return every variant worked out, those that lie in `folder` already read from there.

    Parameters
    ----------
    folder : Path
        Where answers are kept; other runs may keep theirs there too.
    cluster : str or None
        Address of the scheduler of a Dask cluster, to work there; None for processes of this machine.
    workers : int or None
        How many processes; all cores by default.
    watch : callable or None
        Given a label, returns a function called with the share done.

    Raises
    ------
    OptionFault, OutsideFault
        For a shot or a figure that there is none of, a cluster that does not answer, a process that was killed.
    """
    shot_of(file.scene, look)
    tick = watch("variants") if watch else lambda share: None
    kept = folder / KEPT
    scenes = [_read(variant.text, file.path) for variant in variants]
    marks = [fingerprint(scene, variant.text, look)[:20] for scene, variant in zip(scenes, variants)]
    waiting = {mark: number for number, mark in enumerate(marks) if _answer(kept, mark) is None}
    baked = 0
    with outside(folder):
        kept.mkdir(parents=True, exist_ok=True)
    with ExitStack() as stack:
        if waiting:
            pool = stack.enter_context(executor(cluster, min(worker_count(workers), len(waiting))))
            stack.callback(_forget_light, kept)
            done = _all_done(pool, file, variants, scenes, waiting, look, kept, workers, watch)
            for count, (mark, one, here) in enumerate(done, len(variants) - len(waiting) + 1):
                baked += here + one.baked
                _keep(kept, mark, one)
                tick(count / len(variants))
    rows = tuple(_row(variant, kept, mark) for variant, mark in zip(variants, marks))
    explored = Explored(varied, rows, tuple(wishes), np.zeros(len(rows), bool), len(waiting), baked)
    if explored.columns and (said := unknown(wishes, explored.columns)):
        raise OptionFault(said)
    best = marked(explored.wished, [wish.highest for wish in wishes])
    return replace(explored, best=best)


def _read(text: str, path: Path) -> SceneFile | None:
    try:
        return scene_from(text, path)
    except SceneFaults:
        return None


def _forget_light(kept: Path) -> None:
    """Take stored transport away, also what a run left that was killed; a worker that still wants one bakes for itself."""
    for path in kept.glob(f"{_LIGHT}*"):
        with suppress(OSError):  # On Windows a file that is being read cannot go; the next run takes it.
            path.unlink()


def _all_done(pool: Executor, file, variants, scenes, waiting, look, kept, workers, watch) -> Iterator[tuple[str, Done, int]]:
    """
    Yield (mark, what came of it, how often it was baked here for) of each variant that waits, in the order of their ends.

    Variants of one geometry follow each other; where there are several their transport is baked first, by all of
    `workers`, and shared; what a killed run baked is taken from there.
    """
    path = str(file.path.absolute())
    groups = {mark: geometry(scenes[number], look) if scenes[number] else "" for mark, number in waiting.items()}
    alike, files, here = Counter(groups.values()), {"": None}, 0
    futures = {}
    try:
        for mark in sorted(waiting, key=lambda mark: (groups[mark], waiting[mark])):
            group, number = groups[mark], waiting[mark]
            if group not in files:
                light = (kept / f"{_LIGHT}{group[:20]}").absolute()
                there = light.is_file()
                baked = not there and alike[group] > 1 and bake(scenes[number], look, light, workers, watch("light") if watch else None)
                files[group] = str(light) if there or baked else None
                here += baked
            futures[pool.submit(work_out, Job(variants[number].text, path, look, files[group]))] = mark
        for future in as_completed(futures):
            yield futures[future], future.result(), here
            here = 0
    except BrokenProcessPool as error:
        raise OutsideFault("a process that worked on a variant was ended from outside", "Perhaps memory ran out: give fewer --workers. What was done is kept; run the command again.") from error
    finally:
        for future in futures:
            future.cancel()


def _keep(kept: Path, mark: str, done: Done) -> None:
    """Write what came of a variant; the JSON last, so that where it is, all is."""
    if done.picture is not None:
        with replacing(kept / f"{mark}.png") as temporary:
            temporary.write_bytes(done.picture)
    answer = {"schema": 1, "refused": done.refused, "picture": done.picture is not None, "report": json.loads(done.report) if done.report else None}
    with replacing(kept / f"{mark}.json") as temporary:
        temporary.write_text(json.dumps(answer, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _answer(kept: Path, mark: str) -> dict | None:
    """Return what is kept of a variant; None where it is not there whole."""
    try:
        answer = json.loads((kept / f"{mark}.json").read_text(encoding="utf-8"))
        if answer["picture"]:
            with Image.open(kept / f"{mark}.png") as picture:
                picture.verify()
        return answer if answer["report"] or answer["refused"] else None
    except (OSError, SyntaxError, ValueError, KeyError, TypeError):
        return None


def _row(variant: Variant, kept: Path, mark: str) -> Row:
    answer = _answer(kept, mark)
    figures = tabled(answer["report"]) if answer["report"] else {}
    return Row(variant, kept / f"{mark}.png" if answer["picture"] else None, figures, answer["refused"])


def summary(explored: Explored) -> dict:
    """Return all variants as plain values, for a program."""
    variants = []
    for number, row in enumerate(explored.rows):
        picture = f"{KEPT}/{row.picture.name}" if row.picture else None
        figures = {column.head: value for column, value in row.figures.items()}
        variants.append({"number": row.variant.number, "values": row.variant.values, "best": bool(explored.best[number]), "refused": row.refused, "picture": picture, "figures": figures})
    best = [{"figure": wish.name, "way": "max" if wish.highest else "min"} for wish in explored.wishes]
    return {"schema": 1, "varied": [{"key": vary.key, "unit": vary.unit} for vary in explored.varied], "best": best, "worked_out": explored.worked, "baked": explored.baked, "variants": variants}


def summary_text(explored: Explored) -> str:
    """Return what a person wants to know first: how many, and the best ones with their values."""
    refused = sum(bool(row.refused) for row in explored.rows)
    stops = sum(bool(row.stops) for row in explored.rows)
    lines = [f"{len(explored.rows)} variants, {explored.worked} of them worked out now, {stops} with a finding that says stop" + (f", {refused} that cannot be built" if refused else "")]
    if explored.wishes:
        lines.append(f"No other is as good in {' and '.join(wish.says for wish in explored.wishes)}:")
        units, wished = explored.units, explored.wished
        for number in np.flatnonzero(explored.best):
            row = explored.rows[number]
            lines.append(f"  variant {row.variant.number}" + (f": {row.stops}" if row.stops else ""))
            lines += [f"    {vary.key} = {_cell(row.variant.values[vary.key])} {vary.unit}".rstrip() for vary in explored.varied]
            lines += [f"    {wish.name} {value:.4g} {unit}".rstrip() for wish, value, unit in zip(explored.wishes, wished[number], units)]
    return "\n".join(lines) + "\n"


def all_stopped(explored: Explored) -> bool:
    """Return whether no variant can be built without a finding that says stop."""
    return all(row.refused or row.stops for row in explored.rows)


def table_csv(explored: Explored) -> str:
    """Return all variants as CSV text: number, picture, values, what is best, why refused, every figure; units in the head."""
    columns = explored.columns
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    varied = [f"{vary.key} [{vary.unit}]" if vary.unit else vary.key for vary in explored.varied]
    best = [f"best in {', '.join(wish.says for wish in explored.wishes)}"] if explored.wishes else []
    out.writerow(["variant", "picture", *varied, *best, "cannot be built", *(column.head for column in columns)])
    for row, mark in zip(explored.rows, explored.best):
        figures = [_cell(row.figures.get(column)) for column in columns]
        picture = f"{KEPT}/{row.picture.name}" if row.picture else ""
        out.writerow([row.variant.number, picture, *(_cell(value) for value in row.variant.values.values()), *(["best" if mark else ""] if best else []), row.refused, *figures])
    return text.getvalue()


def _cell(value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{round(value, 9) + 0.0:.6g}" if isinstance(value, float) else str(value)
