"""
All tests, in two processes side by side where there are two cores: most tests keep one core busy.

    python tests [options of pytest]

Folders that are run only when named (`norecursedirs` of pyproject.toml) are left out here too. What the first process says is
printed when it ends, then what the second says; the exit code is the first that is not 0.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
NAMED_ONLY = {"speed", "soak"}
FIRST = {"aim", "bench", "sheets", "test_bad_input.py"}
"""About half of the work; what is not listed here belongs to the other half."""


def halves() -> tuple[list[str], list[str]]:
    """Return folders and modules of tests for each process."""
    places = [p for p in sorted(HERE.iterdir()) if (p.is_dir() and any(p.glob("test_*.py")) and p.name not in NAMED_ONLY) or p.match("test_*.py")]
    return [str(p) for p in places if p.name in FIRST], [str(p) for p in places if p.name not in FIRST]


def main(options: list[str]) -> int:
    """Run both halves and return pytest's exit code."""
    if (os.cpu_count() or 1) < 2:
        return subprocess.run([sys.executable, "-m", "pytest", *options]).returncode
    first, second = halves()
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *options]
    with tempfile.TemporaryFile() as said:
        beside = subprocess.Popen([*command, *first], stdout=said, stderr=subprocess.STDOUT)
        try:
            code = subprocess.run([*command, *second]).returncode
            other = beside.wait()
        finally:
            beside.terminate()
        said.seek(0)
        sys.stdout.flush()
        sys.stdout.buffer.write(said.read())
        sys.stdout.flush()
    return code or other


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
