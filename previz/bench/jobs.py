"""
Jobs: verbs of the command line run from the page, one after another, each as a process of its own.

Takes a verb and options that are on its list; gives a job with its progress, what it says and the files that it wrote. No option
names a file: outputs go where the verb itself puts them, renders/SCENE/. Progress comes as lines of JSON (`previz.progress`).
A job that is cancelled is interrupted as by Ctrl-C, and ended when it does not listen.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from previz.bench.job_options import arguments
from previz.check.folder import default_folder
from previz.progress import LINES, PROGRESS
from previz.scene.faults import OptionFault

KEPT_JOBS, MOST_WAITING = 50, 10
"""Jobs that are listed, and that may wait their turn (own choice)."""

LONGEST_SAYING = 8_000
PATIENCE_S = 5.0
"""Between asking a job to stop and ending it (own choice)."""

NICE = 10
"""How far a job steps back for what a person waits for (own choice)."""

FOLDERS = {"explore": "explore", "export": "open-files", "aim": "aim"}
"""Of verbs that write into a folder within that of the scene's outputs."""

ANSWER, MAP = "aimed.toml", "map.svg"
"""What aim writes: the scene with the answer in it, which the page can put into the file, and where the lamp may stand."""

DONE, SAYS_STOP = 0, 1


@dataclass
class Job:
    """One verb with its options, and how far it is."""

    id: str
    verb: str
    command: list[str]
    folder: Path
    options: dict
    state: str = "waiting"
    share: float | None = None
    says: str = ""
    files: list[str] = field(default_factory=list)
    again: bool = False
    process: subprocess.Popen | None = None

    def told(self) -> dict:
        """Return what the page is told of it."""
        return {"job": self.id, "verb": self.verb, "options": self.options, "state": self.state, "share": self.share, "says": self.says, "files": list(self.files), "again": self.again}


class Jobs:
    """
    The jobs of one scene.

    Parameters
    ----------
    path : Path
        The scene file.
    tell : callable
        Given a client or None, and a message; called from threads of this object.
    base : Path or None
        The folder that verbs are run in, and so write renders/SCENE/ in; None is the one that the server was started in.
    """

    def __init__(self, path: Path, *, tell: Callable[[str | None, dict], None], base: Path | None = None):
        self._path, self._tell = Path(path).absolute(), tell
        self._base = (base or Path()).absolute()
        self._folder = self._base / default_folder(path)
        self._jobs: dict[str, Job] = {}
        self._waiting: queue.SimpleQueue[Job | None] = queue.SimpleQueue()
        self._guard = threading.Lock()
        self._count, self._closed = 0, False
        self._thread = threading.Thread(target=self._work, daemon=True, name="bench jobs")
        self._thread.start()

    def start(self, verb: str, options: dict) -> dict:
        """
        Put a verb in the queue, and return what the page is told of it.

        Raises
        ------
        OptionFault
            If there is no such verb or option, a value is none of its own, or too many jobs wait.
        """
        typed = arguments(verb, options)
        folder = self._folder / FOLDERS[verb] if verb in FOLDERS else self._folder
        with self._guard:
            _room_for_one(self._jobs.values())
            self._count += 1
            job = Job(str(self._count), verb, [sys.executable, "-m", "previz", verb, *_named(verb, options, folder), *typed[0], "--", str(self._path), *typed[1]], folder, options)
            self._jobs[job.id] = job
            for old in list(self._jobs.values())[:-KEPT_JOBS]:
                if old.state not in ("waiting", "running"):
                    del self._jobs[old.id]
        self._say(job)
        self._waiting.put(job)
        return job.told()

    def cancel(self, id: str) -> None:
        """Stop a job; nothing happens where there is none of that name, or it is over."""
        with self._guard:
            job = self._jobs.get(id)
            if job is None or job.state not in ("waiting", "running"):
                return
            job.state, job.share, job.says, process = "cancelled", None, "", job.process
        if process is not None:
            _interrupt(process)
        self._say(job)

    def listed(self) -> list[dict]:
        """Return what the page is told of each job, the newest last."""
        with self._guard:
            return [job.told() for job in self._jobs.values()]

    def file(self, id: str, name: str) -> Path | None:
        """Return the path of a file that a job wrote; None where it wrote none of that name."""
        with self._guard:
            job = self._jobs.get(id)
            return job.folder / name if job is not None and name in job.files else None

    def close(self) -> None:
        """End all jobs."""
        with self._guard:
            self._closed = True
            open_ones = [job.id for job in self._jobs.values()]
        for id in open_ones:
            self.cancel(id)
        self._waiting.put(None)
        self._thread.join(2 * PATIENCE_S)

    def _say(self, job: Job) -> None:
        with self._guard:
            told = job.told()
        self._tell(None, {"did": "job", **told})

    def _work(self) -> None:
        while (job := self._waiting.get()) is not None:
            try:
                self._run(job)
            except OSError as fault:
                with self._guard:
                    job.state, job.says = "failed", f"{fault.filename or 'the system'}: {fault.strerror or fault}"
                self._say(job)

    def _run(self, job: Job) -> None:
        with self._guard:
            if job.state == "cancelled" or self._closed:
                return
            job.state, job.share = "running", 0.0
        self._say(job)
        before = _written(job.folder)
        own = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP} if sys.platform == "win32" else {"start_new_session": True}
        environment = {**os.environ, PROGRESS: LINES}
        with subprocess.Popen(
            job.command, cwd=self._base, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment, text=True, encoding="utf-8", errors="replace", **own
        ) as process:
            _step_back(process)
            with self._guard:
                job.process = process
                unwanted = job.state == "cancelled"
            if unwanted:
                _interrupt(process)
            said: list[str] = []
            listening = threading.Thread(target=self._listen, args=(job, process.stderr, said), daemon=True)
            listening.start()
            printed = process.stdout.read()
            listening.join()
            code = process.wait()
        self._end(job, code, printed, "".join(said), before)

    def _listen(self, job: Job, reading: IO[str], said: list[str]) -> None:
        """Take progress out of what a process says on standard error, and keep the rest."""
        for line in reading:
            told = _progress(line)
            if told is None:
                said.append(line)
                continue
            with self._guard:
                if job.state != "running":
                    continue
                job.says, job.share = told
            self._say(job)

    def _end(self, job: Job, code: int, printed: str, said: str, before: dict) -> None:
        with self._guard:
            job.process, job.share = None, None
            if job.state != "cancelled":
                job.state = "done" if code in (DONE, SAYS_STOP) else "failed"
            job.files = sorted(name for name, mark in _written(job.folder).items() if before.get(name) != mark)
            words = said if job.state == "failed" else _in_words(job, printed) + said
            if code == SAYS_STOP and job.state == "done" and job.verb != "aim":
                words += "A finding says stop."
            job.says = "" if job.state == "cancelled" else words.strip()[:LONGEST_SAYING]
            older = [other for other in self._jobs.values() if other is not job and other.folder == job.folder and not set(other.files).isdisjoint(job.files)]
            for other in older:
                other.files, other.again = [name for name in other.files if name not in job.files], True
        for changed in (*older, job):
            self._say(changed)


def _room_for_one(jobs) -> None:
    if sum(job.state == "waiting" for job in jobs) >= MOST_WAITING:
        raise OptionFault(f"{MOST_WAITING} jobs wait already", "Cancel one of them, or wait until one is done.")


def _named(verb: str, options: dict, folder: Path) -> list[str]:
    """The files that a verb is told to write; nothing where it knows itself, or writes none."""
    if verb == "check":
        return ["-o", str(folder / "report.txt")]
    if verb != "aim" or options.get("tolerance"):
        return []
    if "shafts" in options:
        return ["-o", str(folder)]
    return ["-o", str(folder / ANSWER), *([] if "open" in options else ["--map", str(folder / MAP)])]


def _in_words(job: Job, printed: str) -> str:
    """What a verb printed, without the paths of the files that it wrote."""
    return "".join(f"{line}\n" for line in printed.splitlines() if Path(line).name not in job.files)


def _written(folder: Path) -> dict[str, tuple[int, int]]:
    """Return the files of a folder by name with date and size; none where there is no such folder."""
    try:
        return {entry.name: (entry.stat().st_mtime_ns, entry.stat().st_size) for entry in os.scandir(folder) if entry.is_file() and not entry.name.startswith(".")}
    except FileNotFoundError:
        return {}


def _progress(line: str) -> tuple[str, float] | None:
    """What a line of progress says and its share done; None for any other line."""
    try:
        told = json.loads(line)
        return str(told["doing"]), float(told["share"])
    except (ValueError, KeyError, TypeError):
        return None


def _step_back(process: subprocess.Popen) -> None:
    if hasattr(os, "setpriority"):
        try:
            os.setpriority(os.PRIO_PROCESS, process.pid, NICE)
        except OSError:
            pass  # It is over already.


def _interrupt(process: subprocess.Popen) -> None:
    """Interrupt a process as Ctrl-C does, and end it when it does not listen."""

    def end() -> None:
        if process.poll() is None:
            process.kill()

    try:
        process.send_signal(signal.CTRL_BREAK_EVENT if sys.platform == "win32" else signal.SIGINT)
    except OSError:
        return
    killer = threading.Timer(PATIENCE_S, end)
    killer.daemon = True
    killer.start()
