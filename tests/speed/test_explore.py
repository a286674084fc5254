"""Many variants of a scene on one core and on two: the whole command, start and bake and contact sheet included."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SCENE = ROOT / "scenes" / "clockmakers-attic.toml"
VARY = ("--vary", "lamp.evening sun.at.z=900..1100:4", "--vary", "haze.extinction=0.5..1.5:4")
WARM = ("--vary", "haze.extinction=0.5..1.5:2")
GOAL_RATIO = 1.8


@pytest.mark.skipif(len(os.sched_getaffinity(0)) < 2, reason="takes two cores")
def test_explore_scales(figures, tmp_path):
    """Sixteen variants with two workers, at least 1.8 times as fast as with one; the same bytes. Needs a machine that does nothing else: `load_before` tells."""
    load = os.getloadavg()[0]
    _seconds(tmp_path / "warm", 2, WARM)  # Whichever came first would compile for both.
    two, one = (_seconds(tmp_path / str(workers), workers) for workers in (2, 1))
    figures.keep("explore", variants=16, one_worker_seconds=one, two_workers_seconds=two, ratio=one / two, load_before=load)
    assert _bytes(tmp_path / "1") == _bytes(tmp_path / "2")
    assert one / two >= GOAL_RATIO


def _seconds(folder: Path, workers: int, vary: tuple[str, ...] = VARY) -> float:
    """Wall-clock time of the command. [s]"""
    command = [sys.executable, "-m", "previz", "explore", SCENE, *vary, "--size", "240x135", "--workers", str(workers), "-o", folder]
    start = time.perf_counter()
    done = subprocess.run([str(part) for part in command], cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True)
    assert done.returncode in (0, 1), done.stderr  # 1: every variant has a finding that says stop
    return time.perf_counter() - start


def _bytes(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
