"""The first command after an install against the second, and an install that nobody may write to."""

import ctypes
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
GOAL_RATIO = 3.0
SCENE = ROOT / "scenes" / "clockmakers-attic.toml"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """The package as pip builds and installs it, its loops compiled on the way."""
    site = tmp_path_factory.mktemp("wheel") / "site"
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target", str(site), str(ROOT)], check=True)
    print(f"\ninstalled in {time.perf_counter() - start:.0f} s")
    return site


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """A folder that holds the package as `pip install .` leaves it, from a clean copy of the sources."""
    folder = tmp_path_factory.mktemp("install")
    for name in ("previz", ".packaging", "pyproject.toml", "requirements.lock", "README.md", "LICENSE", "scenes"):
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
        copy(ROOT / name, folder / "source" / name, **({"ignore": shutil.ignore_patterns("__pycache__")} if copy is shutil.copytree else {}))
    command = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target", str(folder / "site"), str(folder / "source")]
    subprocess.run(command, check=True, capture_output=True)
    return folder / "site"


@pytest.fixture
def installed(built, tmp_path):
    """The fresh install, and an empty home."""
    shutil.copytree(built, tmp_path / "site")
    (tmp_path / "home").mkdir()
    return tmp_path


def obey_permissions():
    """Make root obey file permissions, as everybody else does: drop the capability to override them (capabilities(7))."""
    PR_CAPBSET_DROP, CAP_DAC_OVERRIDE = 24, 1
    ctypes.CDLL(None).prctl(PR_CAPBSET_DROP, CAP_DAC_OVERRIDE)


def command_seconds(installed, *arguments):
    """Run one command of the installed package; return its wall-clock time. [s]"""
    kept = {key: value for key, value in os.environ.items() if not key.startswith(("NUMBA_", "PYTHON", "XDG_"))}
    environment = kept | {"PYTHONPATH": str(installed / "site"), "HOME": str(installed / "home")}
    command = [sys.executable, "-m", "previz", *arguments]
    start = time.perf_counter()
    done = subprocess.run(command, env=environment, cwd=installed / "home", capture_output=True, text=True, preexec_fn=obey_permissions if sys.platform == "linux" else None)
    spent = time.perf_counter() - start
    assert done.returncode in (0, 1), done.stderr
    return spent


@pytest.mark.parametrize("verb", ["check", "frame"])
def test_first_against_second(installed, figures, verb):
    """The same command twice on a fresh install: the first takes at most three times as long."""
    arguments = [verb, str(SCENE)] + (["-o", "picture.png"] if verb == "frame" else [])
    first = command_seconds(installed, *arguments)
    second = min(command_seconds(installed, *arguments) for _ in range(2))
    figures.keep(f"first_command_{verb}", first_seconds=first, second_seconds=second, ratio=first / second)
    assert first <= GOAL_RATIO * second


@pytest.mark.skipif(sys.platform != "linux", reason="permissions are set as Linux has them")
def test_nobody_may_write(installed, figures):
    """A read-only install that was not compiled ahead, and a read-only home: nothing can be kept, and the command still does its work."""
    for kept in (installed / "site").rglob("*.nb[ic]"):
        kept.unlink()
    folder = installed / "home" / "out"
    folder.mkdir()
    folder.chmod(0o777)
    for path in [*installed.rglob("*"), installed]:
        if path != folder:
            path.chmod(0o555 if path.is_dir() else 0o444)
    spent = command_seconds(installed, "frame", str(SCENE), "-o", str(folder / "picture.png"))
    assert (folder / "picture.png").stat().st_size > 0
    figures.keep("first_command_read_only", seconds=spent)
