"""Many variants of a scene: what is varied, what is kept, what is best, and a cluster that loses a worker."""

from __future__ import annotations

import csv
import json
import os
import shlex
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from previz.aim.explore import KEPT, all_stopped, explore, summary_text, table_csv
from previz.aim.pareto import bests, marked
from previz.aim.tabled import Column, tabled
from previz.aim.variant import Job, Look, work_out
from previz.aim.vary import variants
from previz.asking import asked_variants
from previz.check.report import report_json
from previz.scene.faults import OptionFault, OutsideFault
from previz.scene.read import read_scene

ATTIC = Path(__file__).parents[2] / "scenes" / "clockmakers-attic.toml"
OWN = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), "PYTHONWARNINGS": "ignore"}
"""Processes that tests start import the same previz."""
QUICK = Look(size=(64, 36), texels=200, rays=4)

ROOM = """
# what the lamp shines at
[[room]]
name = "room"
plan = [[0, 0], [300, 0], [300, 200], [0, 200]]
walls = ["south", "east", "north", "west"]
height = 180

[[opening]]
name = "window"
wall = "room.east"
at = [60, 60]
size = [80, 90]

[[lamp]]
name = "key"
kind = "disc"
diameter = 60
at = [900, 100, 600]
toward = "window"
lux_at_1m = 20000

[haze]
extinction = 0.8
"""


@pytest.fixture
def room(tmp_path):
    """A room with a lamp and no shot, which is quickly worked out."""
    path = tmp_path / "room.toml"
    path.write_text(ROOM)
    return read_scene(path)


@pytest.fixture(scope="module")
def attic():
    """The attic, read."""
    return read_scene(ATTIC)


class TestVaried:
    """Keys as typed."""

    def test_a_grid_takes_every_value_with_every_other(self, attic):
        """Ends included, the file's comments kept, units as the keys are described."""
        varied, found = variants(attic, ["lamp.evening sun.at.z=800..1200:3", "haze.extinction=0.5..1.5:2", "lens.stop=16,22"])
        assert [vary.unit for vary in varied] == ["mm", "1/m", "f-number"]
        assert [tuple(one.values.values()) for one in found][:4] == [(800, 0.5, 16), (800, 0.5, 22), (800, 1.5, 16), (800, 1.5, 22)] and len(found) == 12
        assert "at = [830, 820, 800]" in found[0].text
        assert [line for line in found[0].text.split("\n") if line.startswith("#")] == [line for line in attic.text.split("\n") if line.startswith("#")]

    def test_a_hypercube_has_one_variant_in_every_strip(self, attic):
        """McKay, Beckman and Conover (1979): each of n strips of each range is met once; whole numbers stay whole; the same every time."""
        texts = ["lamp.evening sun.at.2=800..1200", "haze.extinction=0.5..1.5"]
        _, found = variants(attic, texts, 20)
        values = np.array([list(one.values.values()) for one in found])
        for column, low, high in zip(values.T, (800, 0.5), (1200, 1.5)):
            assert sorted(((column - low) / (high - low) * 20).astype(int)) == list(range(20))
        assert [one.text for one in variants(attic, texts, 20)[1]] == [one.text for one in found]
        _, whole = variants(attic, ["opening.round window.bars.columns=1..4"], 5)
        assert all(isinstance(value, int) for one in whole for value in one.values.values())

    @pytest.mark.parametrize(
        ("text", "says"),
        [
            ("lamp.evning sun.at.z=1..2", 'Did you mean "evening sun"?'),
            ("haze.extintion=1..2", "Did you mean extinction?"),
            ("haze.g=0.5..1.5:3", "haze.g, at 1.5: must be from"),
            ("haze=1..2", "this is a table"),
            ("lens.stop=3", "neither a range nor several values"),
            ("lens.stop=5..2", "up to a higher one"),
            ("lens.stop=1..2:0", "2 to 2000 values"),
            ("lamp.evening sun.at.w=1..2", "Count from 0 to 2, or x, y and z."),
            ("title.x=1..2", "one value"),
            ("foo", "not a key and its values"),
        ],
    )
    def test_faults_in_plain_words(self, attic, text, says):
        """What is wrong and what to do."""
        with pytest.raises(OptionFault) as fault:
            variants(attic, [text])
        assert says in str(fault.value)

    def test_all_faults_at_once(self, attic):
        """Two keys, a number of samples, and a key that is given twice."""
        with pytest.raises(OptionFault) as fault:
            variants(attic, ["foo", "lens.stop=5..2", "haze.g=0.1..0.2", "haze.g=0.3..0.4"], 1)
        assert str(fault.value).count("--vary") >= 3 and "--samples 1" in str(fault.value) and "varied twice" in str(fault.value)


class TestBest:
    """Marks."""

    @settings(deadline=None, max_examples=60)
    @given(arrays(float, st.tuples(st.integers(1, 12), st.integers(1, 3)), elements=st.sampled_from([0.0, 1.0, 2.0, 3.0, np.nan])))
    def test_by_the_definition(self, values):
        """Marked are those, and only those, that no other is as good as in all and better in one; NaN never."""
        for row, mark in zip(values, marked(values, [True] * values.shape[1])):
            beaten = any((other >= row).all() and (other > row).any() for other in values)
            assert mark == (np.isfinite(row).all() and not beaten)

    def test_the_worst_shot_counts(self):
        """Of figures with one name the least where more is wanted; a longer name means one of them."""
        known = [Column(("wide", "clearance", "min_mm"), "mm"), Column(("close", "clearance", "min_mm"), "mm")]
        row = dict(zip(known, (30.0, 4.0)))
        (most,), (least,), (one,) = bests(["clearance min_mm max"]), bests(["min_mm min"]), bests(["wide clearance min_mm max"])
        assert [wish.of(row, wish.columns(known)) for wish in (most, least, one)] == [4, 30, 30]

    def test_a_wish_has_a_direction(self):
        """Every wrong one is said."""
        with pytest.raises(OptionFault) as fault:
            bests(["contrast_stops", "min_mm up", "lux max"])
        assert str(fault.value).count("--best") == 4


class TestExplored:
    """Worked out, by real processes."""

    def test_lamps_and_haze_cast_no_ray_twice(self, room, tmp_path):
        """Four variants of one geometry, one bake, each as if it were alone; run again nothing is done, one that is gone is done again."""
        varied, found = variants(room, ["lamp.key.at.z=500..700:2", "haze.extinction=0.5,1.5"])
        first = explore(room, varied, found, tmp_path / "out", look=QUICK, wishes=bests(["lux max"]), workers=2)
        assert (first.worked, first.baked) == (4, 1)
        alone = tabled(json.loads(work_out(Job(found[3].text, str(room.path), QUICK)).report))
        assert first.rows[3].figures == alone
        again = explore(room, varied, found, tmp_path / "out", look=QUICK)
        assert (again.worked, again.baked) == (0, 0) and again.rows == first.rows
        kept = sorted((tmp_path / "out" / KEPT).glob("*.json"))
        before = kept[0].read_bytes()
        kept[0].write_text(before.decode()[:100])
        assert explore(room, varied, found, tmp_path / "out", look=QUICK, workers=1).worked == 1
        assert kept[0].read_bytes() == before and len(list((tmp_path / "out" / KEPT).iterdir())) == 4
        assert {row.stops for row in first.rows} == {""} and not all_stopped(first)
        stopped = replace(first, rows=tuple(replace(row, figures={**row.figures, Column(("findings", "stop"), ""): 1}) for row in first.rows))
        assert all_stopped(stopped) and ": 1 finding says stop\n" in summary_text(stopped) and "4 with a finding that says stop" in summary_text(stopped)
        with pytest.raises(OptionFault, match="Did you mean lux"):
            explore(room, varied, found, tmp_path / "out", look=QUICK, wishes=bests(["lx max"]))


class TestFromTheCommandLine:
    """As typed, broken off as a terminal does it: Ctrl-C goes to all processes at once."""

    def test_what_is_done_is_kept_and_the_rest_follows(self, previz, previz_started, scene_file, tmp_path):
        """
        One of two variants is done, since it cannot be built, and the other is in work: nothing else lies there, all processes
        are gone. The next run does the rest, tells the best one, and leaves the bytes of a run in one go.
        """
        vary, best = "opening.window.at.0=60..190:2", "lux max"
        arguments = ("explore", "plain.toml", "--vary", vary, "--best", best, "--size", "64x36", "--workers", "2", "-o", "out")
        process = previz_started(*arguments, start_new_session=True)
        while not (done := contents(tmp_path / "out", f"{KEPT}/[!.]*.json")) and process.poll() is None:
            time.sleep(0.01)
        os.killpg(process.pid, signal.SIGINT)
        shown, said = process.communicate(timeout=300)  # Ends when the last process that could write has gone.
        assert (process.returncode, shown) == (130, "") and "Traceback" not in said
        assert said.splitlines()[-2].startswith("Interrupted. Nothing is left half-written. The variants that were done are kept")
        assert said.splitlines()[-1] == f"  Type it again: previz {shlex.join(arguments)}"
        assert contents(tmp_path / "out") == done and len(done) == 1

        again = previz(*arguments)
        assert again.returncode == 0 and "2 variants, 1 of them worked out now" in again.stdout, again.stderr
        assert "variant 1\n" in again.stdout and "1 that cannot be built" in again.stdout
        head, good, bad = csv.reader((tmp_path / "out" / "variants.csv").read_text().splitlines())
        assert head[:5] == ["variant", "picture", "opening.window.at.0 [mm]", "best in lux max", "cannot be built"]
        assert any(name.endswith("area_mm2 [mm2]") for name in head)
        assert good[3] == "best" and "window" in bad[4] and bad[2] == "190"

        asked_variants(read_scene(scene_file), [vary], None, [best], Look(size=(64, 36)), None, False, tmp_path / "whole", 1)
        assert contents(tmp_path / "out") == contents(tmp_path / "whole")
        assert {"variants.csv", "variants.png", good[1]} < set(contents(tmp_path / "out"))

    def test_what_was_baked_before_it_was_killed_is_not_baked_again(self, room, tmp_path):
        """Killed outright, the first process can tell nobody: the others go by themselves. The next run takes up its light, and leaves none."""
        script, out = tmp_path / "killed.py", tmp_path / "out"
        script.write_text(KILLED)
        with subprocess.Popen([sys.executable, script, room.path, out], stdout=subprocess.PIPE, env=OWN, text=True) as process:
            assert process.communicate(timeout=300)[0] == "one is done\n"  # Ends when the last process that could write has gone.
            assert process.returncode == -signal.SIGKILL
        assert list((out / KEPT).glob(".*"))
        varied, found = variants(room, HAZES)
        rest = explore(room, varied, found, out, look=QUICK, workers=2)
        assert 0 < rest.worked < len(found) and rest.baked == 0
        assert not list((out / KEPT).glob(".light*"))


HAZES = ["haze.extinction=0.4..2.4:6"]
KILLED = f"""
import os, signal, sys
from pathlib import Path
from previz.aim.explore import explore
from previz.aim.variant import Look
from previz.aim.vary import variants
from previz.scene.read import read_scene
def killed(share):
    print("one is done", flush=True)
    os.kill(os.getpid(), signal.SIGKILL)
if __name__ == "__main__":
    room = read_scene(Path(sys.argv[1]))
    varied, found = variants(room, {HAZES!r})
    explore(room, varied, found, Path(sys.argv[2]), look={QUICK!r}, workers=2, watch=lambda label: killed if label == "variants" else lambda share: None)
"""


def contents(folder, like="**/*"):
    """Return the bytes of every file below a folder, by name."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.glob(like) if path.is_file()}


SCHEDULER = """
import sys, time
from distributed import LocalCluster
if __name__ == "__main__":
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, protocol="tcp") as cluster:
        print(cluster.scheduler_address, *(nanny.pid for nanny in cluster.workers.values()), flush=True)
        sys.stdin.read()
"""


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """Address of a real scheduler with two workers, and the process of one of them."""
    pytest.importorskip("distributed", reason='the extra "cluster" is not installed')
    script = tmp_path_factory.mktemp("cluster") / "scheduler.py"
    script.write_text(SCHEDULER)
    with subprocess.Popen([sys.executable, script], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=OWN, text=True) as served:
        address, victim, _ = served.stdout.readline().split()
        yield address, int(victim)
        served.stdin.close()


class TestCluster:
    """A real scheduler with two workers."""

    def test_pictures_are_made_there(self, cluster, scene_file, tmp_path):
        """Reports, pictures and table of a scene with a shot: the same bytes as from processes of this machine."""
        scene = read_scene(scene_file)
        varied, found = variants(scene, ["lamp.key.at.z=500..700:2"])
        for folder, options in (("far", {"cluster": cluster[0]}), ("near", {"workers": 2})):
            explored = explore(scene, varied, found, tmp_path / folder, look=QUICK, **options)
            assert explored.worked == 2 and all(row.picture for row in explored.rows)
        assert contents(tmp_path / "far") == contents(tmp_path / "near") and len(contents(tmp_path / "far")) == 4
        again = explore(scene, varied, found, tmp_path / "near", look=QUICK)
        assert again.worked == 0 and again.rows == explored.rows

    def test_a_worker_that_is_killed_loses_nothing(self, cluster, room, tmp_path):
        """One worker is killed when the first variant is done: every variant comes, the same bytes as from this machine."""
        varied, found = variants(room, ["lamp.key.at.z=500..700:6"])
        killed = []

        def watch(label):
            def tick(share):
                if label == "variants" and not killed:
                    killed.append(share)
                    os.kill(cluster[1], 9)

            return tick

        far = explore(room, varied, found, tmp_path / "far", look=QUICK, cluster=cluster[0], watch=watch)
        assert killed and killed[0] < 1 and far.worked == 6
        for row in far.rows:
            assert report_json(json.loads(work_out(Job(row.variant.text, str(room.path), QUICK)).report)) == report_json(_kept(tmp_path / "far", row, room))
        assert table_csv(far).count("\n") == 7

    def test_nobody_there(self, room, tmp_path, monkeypatch):
        """An address where nothing listens, and less patience than usual."""
        monkeypatch.setattr("previz.aim.processes.PATIENCE_S", 0.5)
        pytest.importorskip("distributed", reason='the extra "cluster" is not installed')
        varied, found = variants(room, ["lamp.key.at.z=500..700:2"])
        with pytest.raises(OutsideFault, match="no scheduler answers"):
            explore(room, varied, found, tmp_path, look=QUICK, cluster="tcp://127.0.0.1:9")


def _kept(folder, row, room):
    from previz.aim.variant import fingerprint
    from previz.scene.read import scene_from

    mark = fingerprint(scene_from(row.variant.text, room.path), row.variant.text, QUICK)[:20]
    return json.loads((folder / KEPT / f"{mark}.json").read_text())["report"]
