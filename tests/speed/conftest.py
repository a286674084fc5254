"""
Benchmarks: each compares two runs on the same machine, minutes apart at most, and says their ratio.

Run by name, `python -m pytest tests/speed -s`; the ordinary test run leaves them out. Figures go to one JSON file
(`--speed-json`, default renders/speed.json) that keeps what other benchmarks wrote, plots beside it.
"""

from __future__ import annotations

import json
import os
import platform
import time
from pathlib import Path

import pytest
from reference_renderer import llvm_library

ROOT = Path(__file__).parents[2]


def pytest_addoption(parser):
    parser.addoption("--speed-json", default=str(ROOT / "renders" / "speed.json"), help="where the benchmarks' figures go")


def pytest_collection_modifyitems(items):
    for item in items:
        item.add_marker(pytest.mark.speed)


class Figures:
    """The JSON file of figures: one entry a benchmark, with the machine that it ran on."""

    def __init__(self, path: Path):
        self.path = path

    def keep(self, name: str, **figures):
        """Write `figures` under `name` and print them."""
        known = json.loads(self.path.read_text()) if self.path.exists() else {}
        known[name] = figures | {"machine": f"{platform.machine()}, {len(os.sched_getaffinity(0))} cores", "at": time.strftime("%Y-%m-%d %H:%M")}
        self.path.parent.mkdir(parents=True, exist_ok=True)
        beside = self.path.with_suffix(".part")
        beside.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n")
        beside.replace(self.path)
        print(f"\n{name}:", *(f"\n  {key} = {_short(value)}" for key, value in figures.items()))


def _short(value):
    return f"{value:.4g}" if isinstance(value, float) else value


@pytest.fixture
def figures(request) -> Figures:
    """The file that figures go to."""
    return Figures(Path(request.config.getoption("--speed-json")))


@pytest.fixture
def seconds():
    """
    A function that runs each of `works` `times` times, in turns, and returns the shortest wall-clock time of each. [s]

    In turns, so that whatever else the machine does disturbs all alike; the shortest, since that is the least disturbed.
    """

    def shortest(*works, times: int = 5) -> list[float]:
        found = [[] for _ in works]
        for _ in range(times):
            for work, spent in zip(works, found):
                start = time.perf_counter()
                work()
                spent.append(time.perf_counter() - start)
        return [min(spent) for spent in found]

    return shortest


@pytest.fixture(scope="module")
def mitsuba():
    """Mitsuba with its compiled back end."""
    library = llvm_library()
    if library is None:
        pytest.skip("no LLVM library of version 15 or later found: install libllvm19, or set DRJIT_LIBLLVM_PATH")
    os.environ["DRJIT_LIBLLVM_PATH"] = library
    import mitsuba

    mitsuba.set_variant("llvm_ad_rgb")
    return mitsuba
