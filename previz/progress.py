"""
Progress of long work, on standard error: a moving bar where a person watches, a plain line now and then elsewhere, lines of
JSON {"doing", "share"} where the program that started it asks for them (PREVIZ_PROGRESS=lines in the environment).

`with watched() as watch: do(progress=watch("light"))` hands each piece of work a function that it calls
with the share done, 0 to 1. Data never goes here.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

EVERY_S, STEP, LONGEST_SILENCE_S = 5.0, 0.1, 60.0
"""A plain line comes after so many seconds and so much more done, or after a longer silence."""

PROGRESS, LINES = "PREVIZ_PROGRESS", "lines"
LINE_EVERY_S = 0.2

Tick = Callable[[float], None]


@contextmanager
def watched() -> Iterator[Callable[[str], Tick]]:
    """Give a function that takes a label and returns a progress function for work of that name."""
    if os.environ.get(PROGRESS) == LINES:
        yield _json_line
        return
    if not sys.stderr.isatty():
        yield _plain_line
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description:<24}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bars:

        def bar(label: str) -> Tick:
            task = bars.add_task(label, total=1.0)
            return lambda share: bars.update(task, completed=share)

        yield bar


def _plain_line(label: str) -> Tick:
    said_s, said_share = time.monotonic(), 0.0

    def tick(share: float) -> None:
        nonlocal said_s, said_share
        waited = time.monotonic() - said_s
        if waited >= EVERY_S and share - said_share >= STEP or waited >= LONGEST_SILENCE_S:
            said_s, said_share = time.monotonic(), share
            print(f"{label}: {100 * share:.0f} %", file=sys.stderr, flush=True)

    return tick


def _json_line(label: str) -> Tick:
    said_s = 0.0

    def tick(share: float) -> None:
        nonlocal said_s
        if share >= 1 or time.monotonic() - said_s >= LINE_EVERY_S:
            said_s = time.monotonic()
            print(json.dumps({"doing": label, "share": round(share, 3)}), file=sys.stderr, flush=True)

    return tick
