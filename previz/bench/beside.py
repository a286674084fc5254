"""
The process beside the server, as the server sees it: asked one thing at a time, told to stop, started again when it has died.

Takes questions (`beside_main` lists them); gives bytes. What takes seconds is done there, at a lower priority, so that dragging and
the server stay quick.
"""

from __future__ import annotations

import json
import queue
import subprocess
import sys
import threading
from collections.abc import Callable

CLOSE_S = 5.0


class Broken(Exception):
    """A question was broken off because its answer is no longer wanted."""


class Failed(Exception):
    """A question could not be answered; `str()` says why."""


class Beside:
    """
    The process beside.

    Parameters
    ----------
    workers : int or None
        Threads that it may use; None is all cores.

    Notes
    -----
    `ask` is for one thread; `stop` and `close` may be called from any.
    """

    def __init__(self, workers: int | None = None):
        self._arguments = [] if workers is None else [str(workers)]
        self._process, self._answers = None, None
        self._count, self._asked, self._stopped = 0, None, None
        self._guard = threading.Lock()
        self._closed = False

    def ask(self, question: dict, said: Callable[[float], None], wanted: Callable[[], bool]) -> bytes:
        """
        Return the answer to a question; `said` is called with the share of it that is done, `wanted` once, when it can be stopped.

        Raises
        ------
        Broken
            If `stop` was called meanwhile.
        Failed
            If it cannot be answered, or the process died of it.
        """
        with self._guard:
            if self._closed:
                raise Broken
            self._start()
            self._count += 1
            n = self._asked = self._count
            answers = self._answers
            self._send({"n": n, **question})
        if not wanted():
            self.stop()
        try:
            return self._answer(n, answers, said)
        finally:
            with self._guard:
                self._asked = None

    def _answer(self, n: int, answers: queue.Queue, said: Callable[[float], None]) -> bytes:
        while True:
            header, payload = answers.get()
            if header is None:
                if self._closed:
                    raise Broken
                raise Failed("The work beside the page ended on its own; it may have run out of memory.")
            if header["n"] != n:
                continue
            if "share" in header:
                said(header["share"])
            elif "bytes" in header:
                return payload
            elif "broken" in header:
                raise Broken
            else:
                raise Failed(header["fault"])

    def stop(self) -> None:
        """Break off what is being asked, if anything is."""
        with self._guard:
            if self._asked is not None and self._stopped != self._asked:
                self._stopped = self._asked
                self._send({"stop": self._asked})

    def close(self) -> None:
        """End the process."""
        with self._guard:
            self._closed = True
            process = self._process
        if process is None:
            return
        process.kill()
        process.wait(CLOSE_S)
        process.stdin.close()

    def _start(self) -> None:
        if self._process is not None and self._process.poll() is None:
            return
        if self._process is not None:
            self._process.stdin.close()
        lower = {"creationflags": subprocess.BELOW_NORMAL_PRIORITY_CLASS} if sys.platform == "win32" else {}
        self._process = subprocess.Popen([sys.executable, "-m", "previz.bench.beside_main", *self._arguments], stdin=subprocess.PIPE, stdout=subprocess.PIPE, **lower)
        self._answers = queue.Queue()
        threading.Thread(target=_listen, args=(self._process, self._answers), daemon=True).start()

    def _send(self, line: dict) -> None:
        try:
            self._process.stdin.write(json.dumps(line).encode() + b"\n")
            self._process.stdin.flush()
        except OSError:
            pass  # It has died; whoever waits for the answer is told so by its end.


def _listen(process: subprocess.Popen, answers: queue.Queue) -> None:
    """Hand on answers until the process ends."""
    with process.stdout as reading:
        for line in reading:
            header = json.loads(line)
            answers.put((header, reading.read(header["bytes"]) if "bytes" in header else b""))
    process.wait()
    answers.put((None, b""))
