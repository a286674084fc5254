"""Jobs: verbs by button, with what may be asked of them, what they write, and how they are stopped."""

import threading
from pathlib import Path

import pytest

import previz
from previz.bench.job_options import OPTIONS, arguments
from previz.bench.jobs import Jobs
from previz.scene.faults import OptionFault

PATIENCE_S = 120


class Told:
    """What a `Jobs` told the page, in order."""

    def __init__(self):
        self.all, self._new = [], threading.Condition()

    def __call__(self, who, message):
        with self._new:
            self.all.append(message)
            self._new.notify_all()

    def wait(self, **wanted):
        """Return the first message whose keys have these values."""

        def found():
            return next((one for one in self.all if all(one[key] == value for key, value in wanted.items())), None)

        with self._new:
            assert self._new.wait_for(found, PATIENCE_S), f"never told of {wanted}"
            return found()


@pytest.fixture
def told():
    """What is told."""
    return Told()


@pytest.fixture
def jobs(scene_file, told, monkeypatch):
    """The jobs of the plain room, by the same previz as is tested here."""
    monkeypatch.setenv("PYTHONPATH", str(Path(previz.__file__).parents[1]))
    jobs = Jobs(scene_file, tell=told, base=scene_file.parent)
    yield jobs
    jobs.close()


def test_templates_by_button(jobs, told, scene_file):
    """They wait, run and are done; their files are there by name, and no other file is."""
    job = jobs.start("cut", {"format": "pdf,dxf", "paper": "A3"})
    assert (job["verb"], job["state"]) == ("cut", "waiting")
    done = told.wait(job=job["job"], state="done")
    assert "templates.pdf" in done["files"] and any(name.endswith(".dxf") for name in done["files"])
    assert jobs.file(job["job"], "templates.pdf") == scene_file.parent / "renders" / "plain" / "templates.pdf"
    assert jobs.file(job["job"], "templates.pdf").read_bytes().startswith(b"%PDF")
    assert jobs.file(job["job"], "../../plain.toml") is None and jobs.file("9", "templates.pdf") is None
    assert [one["state"] for one in told.all if one["job"] == job["job"]] == ["waiting", "running", "done"]


def test_a_job_says_how_far_it_is_and_is_stopped(jobs, told, scene_file):
    """All of it, stopped while light is worked out: nothing is left half-written. The next one runs, and says in its own words what is wrong with the file by then."""
    first, second = jobs.start("make", {"size": "64x36"}), jobs.start("aim", {"wish": ["window > table"]})
    running = told.wait(job=first["job"], says="light")
    assert 0 < running["share"] <= 1
    scene_file.write_text(scene_file.read_text().replace('toward = "window"', 'toward = "windw"'))
    jobs.cancel(first["job"])
    failed = told.wait(job=second["job"], state="failed")
    assert 'Did you mean "window"?' in failed["says"] and "plain.toml:" in failed["says"]
    stopped = next(one for one in jobs.listed() if one["job"] == first["job"])
    assert stopped["state"] == "cancelled" and not any(name.startswith(".") for name in stopped["files"])


@pytest.mark.parametrize(
    "verb, options, says",
    [
        ("rm", {}, "there is no job 'rm'"),
        ("cut", {"output": "/etc/hosts"}, "no option 'output'"),
        ("cut", {"paper": "A9"}, "A4, A3, Letter"),
        ("cut", {"measured": "100"}, "must be a number"),
        ("cut", {"measured": True}, "must be a number"),
        ("make", {"size": "960x540; ls"}, "width x height"),
        ("reel", {"shot": "a\nb"}, "text of 1 to 200"),
        ("aim", {}, "say what light shall land where"),
        ("aim", {"wish": ["a > b"], "map": "x.svg"}, "no option 'map'"),
        ("explore", {"vary": ["prop.table.file=a.stl,b.stl"]}, "with numbers"),
        ("explore", {"vary": ["lamp.key.at.z=1..2"], "cluster": "tcp://10.0.0.1"}, "no option 'cluster'"),
        ("export", {"only": "gltf,exe"}, "gltf, usd, csv, json, patches"),
    ],
)
def test_what_is_not_on_the_list_is_refused(verb, options, says):
    """No file, no address, nothing that is no value of its option."""
    with pytest.raises(OptionFault, match=says):
        arguments(verb, options)


def test_a_text_never_becomes_an_option(scene_file):
    """What begins with a dash stays the value of its option, or a wish."""
    before, after = arguments("aim", {"wish": ["--map=/tmp/x.svg"], "lamp": "-o"})
    assert before == ["--lamp=-o"] and after == ["--map=/tmp/x.svg"]


def test_every_option_is_one_of_its_verb():
    """The command line knows each by that name."""
    from previz.cli import app

    commands = {command.callback.__name__: command.callback for command in app.registered_commands}
    for verb, options in OPTIONS.items():
        taken = {"wish" if name == "wishes" else name for name in commands[verb].__annotations__}
        assert set(options) <= taken, verb
