"""What the tests of the command line share: a small scene file, and the program run as its users run it."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

import previz as package

SCENE = """
title = "Plain room"

[[room]]
name = "room"
plan = [[0, 0], [300, 0], [300, 200], [0, 200]]
walls = ["south", "east", "north", "west"]
open = ["south"]
height = 180

[[opening]]
name = "window"
wall = "room.east"
at = [60, 60]
size = [80, 90]
bars = { columns = 2, rows = 3, width = 4, depth = 4 }

[[prop]]
name = "table"
kind = "box"
size = [60, 40, 30]
at = [150, 100, 0]

[[lamp]]
name = "key"
kind = "disc"
diameter = 60
at = [900, 100, 600]
toward = "window"
lux_at_1m = 20000

[lens]
barrel = [[150, 20]]

[[shot]]
name = "past the table"
clip = 0.5
move = "slide"
from = [120, -30, 60]
to = [180, -30, 60]
look = { pan = 90, tilt = -10 }
subject = "table"
focus = "table"
iso = 1600
playback = 24
"""

# A shell that starts its jobs in the background hands on an interrupt that is ignored; a terminal does not.
PREVIZ = [sys.executable, "-c", "import signal; signal.signal(signal.SIGINT, signal.default_int_handler); from previz.cli import main; main()"]


# The same previz as the tests import, wherever the process is started.
SAME = {**os.environ, "PYTHONPATH": str(Path(package.__file__).parents[1])}


@pytest.fixture(scope="session")
def scene_text():
    """The text of a scene file that is in order."""
    return SCENE


@pytest.fixture
def scene_file(tmp_path):
    """The path of a scene file that is in order, alone in its folder."""
    path = tmp_path / "plain.toml"
    path.write_text(SCENE)
    return path


@pytest.fixture
def previz(tmp_path):
    """Run `previz` with arguments in a folder of its own, as a process; give what subprocess gives."""

    def run(*arguments, **options):
        into = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options}
        return subprocess.run([*PREVIZ, *map(str, arguments)], cwd=tmp_path, env=SAME, text=True, timeout=300, **into)

    return run


@pytest.fixture
def previz_started(tmp_path):
    """Start `previz` and give the process."""

    def start(*arguments, **options):
        return subprocess.Popen([*PREVIZ, *map(str, arguments)], cwd=tmp_path, env=SAME, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **options)

    return start
