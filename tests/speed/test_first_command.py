"""The first command after an install against the second."""

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
GOAL_RATIO = 3.0


@pytest.fixture
def installed(tmp_path):
    """A folder that holds the package as an install lays it out, without any cache."""
    shutil.copytree(ROOT / "previz", tmp_path / "site" / "previz", ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "home").mkdir()
    return tmp_path


def command_seconds(installed, *arguments, user=None):
    """Run one command of the installed package; return its wall-clock time. [s]"""
    kept = {key: value for key, value in os.environ.items() if not key.startswith(("NUMBA_", "PYTHON", "XDG_"))}
    environment = kept | {"PYTHONPATH": str(installed / "site"), "HOME": str(installed / "home")}
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "previz", *arguments], env=environment, cwd=installed, capture_output=True, text=True, user=user
    )
    spent = time.perf_counter() - start
    assert done.returncode in (0, 1), done.stderr
    return spent


@pytest.mark.parametrize("verb", ["check", "frame"])
def test_first_against_second(installed, figures, verb):
    """The same command twice on a fresh install: the first, which compiles, takes at most three times as long."""
    scene = ROOT / "scenes" / "attic.toml"
    arguments = [verb, str(scene)] + (["-o", "picture.png"] if verb == "frame" else [])
    first = command_seconds(installed, *arguments)
    second = min(command_seconds(installed, *arguments) for _ in range(2))
    figures.keep(f"first_command_{verb}", first_seconds=first, second_seconds=second, ratio=first / second)
    assert first <= GOAL_RATIO * second
