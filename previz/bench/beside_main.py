"""
What runs in the process beside the server: fine pictures, figures and packs, one question after another.

Questions come as JSON, a line each, on standard input; answers go to standard output as a line of JSON, followed by as many bytes
as it says. A question that is no longer wanted is broken off where it is, and what was baked for it so far stays baked.

    in    {"n", "what": "picture" | "figures" | "play" | "walk", "path", "text", "bake": [texels, rays], ...}   or   {"stop": n}
    out   {"n", "share"}    how far it is, 0 to 1
          {"n", "bytes"}    done: so many bytes follow
          {"n", "broken"}   broken off
          {"n", "fault"}    what went wrong, in words

Knows no clients and no revisions. It ends with its input.
"""

from __future__ import annotations

import _thread
import json
import os
import queue
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable
from pathlib import Path

from previz.bench.figures import figures_of
from previz.bench.glance import png
from previz.bench.stage import Stage
from previz.frames.still import still
from previz.rig.moves import plan_move
from previz.scene.faults import PrevizError
from previz.scene.read import SceneFile, scene_from

SAYS_EVERY_S, AGAIN_S = 0.2, 0.01
NICE = 5
"""How far the work beside steps back for what a person waits for (own choice)."""

Tick = Callable[[float], None]


def _picture(stage: Stage, file: SceneFile, asked: dict, tick: Tick) -> bytes:
    shot = _shot(file, asked)
    # The bake, where there is one, is most of the work.
    lit = stage.rolled(file, shot, progress=lambda share: tick(share / 2))
    move = plan_move(file.scene, shot, lit.built)
    picture = still(lit, shot, move, asked["take_s"], tuple(asked["size"]), quality=asked["quality"], workers=stage.workers, progress=lambda share: tick(0.5 + share / 2))
    return png(picture.rgb)


def _figures(stage: Stage, file: SceneFile, asked: dict, tick: Tick) -> bytes:
    return json.dumps(figures_of(stage, file, tick), allow_nan=False).encode()


def _play(stage: Stage, file: SceneFile, asked: dict, tick: Tick) -> bytes:
    from previz.bench.play import play_pack

    return play_pack(stage.lit(file, progress=tick), _shot(file, asked), workers=stage.workers, progress=tick)


def _walk(stage: Stage, file: SceneFile, asked: dict, tick: Tick) -> bytes:
    from previz.bench.walk import walk_pack

    return walk_pack(stage.lit(file, progress=tick), workers=stage.workers)


ANSWERS = {"picture": _picture, "figures": _figures, "play": _play, "walk": _walk}


def _shot(file: SceneFile, asked: dict):
    return next(shot for shot in file.scene.shot if shot.name == asked["shot"])


class Desk:
    """Where questions come in on one thread and are answered on the main one."""

    def __init__(self, workers: int | None, reading, writing):
        self._workers, self._reading, self._writing = workers, reading, writing
        self._stages: dict[tuple[int, int], Stage] = {}
        self._asked, self._answers = queue.SimpleQueue(), queue.SimpleQueue()
        self._now, self._given_up, self._guard = None, 0, threading.Lock()

    def serve(self) -> None:
        """Answer until the input ends."""
        threading.Thread(target=self._read, daemon=True).start()
        threading.Thread(target=self._write, daemon=True).start()
        while True:
            try:
                self._one(self._asked.get())
            except KeyboardInterrupt:
                # Came after its question was answered, or from a terminal; whoever asks ends this process, nobody else.
                continue

    def _one(self, asked: dict) -> None:
        n = asked["n"]
        with self._guard:
            if n <= self._given_up:
                return self._answers.put(({"n": n, "broken": True}, b""))
            self._now = n
        try:
            answer = ANSWERS[asked["what"]](self._stage(*asked["bake"]), scene_from(asked["text"], Path(asked["path"])), asked, self._ticker(n))
            reply = ({"n": n, "bytes": len(answer)}, answer)
        except KeyboardInterrupt:
            reply = ({"n": n, "broken": True}, b"")
        except PrevizError as fault:
            reply = ({"n": n, "fault": str(fault)}, b"")
        except Exception as fault:
            traceback.print_exc()
            reply = ({"n": n, "fault": f"This is a fault of previz, not of your file: {fault}"}, b"")
        with self._guard:
            self._now = None
        self._answers.put(reply)

    def _stage(self, texels: int, rays: int) -> Stage:
        """The stage of one grade of light."""
        if (texels, rays) not in self._stages:
            self._stages[texels, rays] = Stage(texels, rays, self._workers)
        return self._stages[texels, rays]

    def _ticker(self, n: int) -> Tick:
        said_s = time.monotonic()

        def tick(share: float) -> None:
            nonlocal said_s
            if time.monotonic() - said_s >= SAYS_EVERY_S:
                said_s = time.monotonic()
                self._answers.put(({"n": n, "share": round(share, 3)}, b""))

        return tick

    def _read(self) -> None:
        for line in self._reading:
            asked = json.loads(line)
            if "stop" not in asked:
                self._asked.put(asked)
                continue
            with self._guard:
                self._given_up = asked["stop"]
                if self._now == asked["stop"]:
                    _interrupt()
        os._exit(0)

    def _write(self) -> None:
        while True:
            header, payload = self._answers.get()
            try:
                self._writing.write(json.dumps(header).encode() + b"\n" + payload)
                self._writing.flush()
            except OSError:
                os._exit(0)


def _interrupt() -> None:
    """Raise KeyboardInterrupt in the main thread, waking it where it waits for others."""
    if hasattr(signal, "pthread_kill"):
        signal.pthread_kill(threading.main_thread().ident, signal.SIGINT)
    else:
        _thread.interrupt_main()


def _unraisable(met) -> None:
    """An interrupt that falls while something is tidied away is lost, and Python would show it as a fault: it is sent again, a moment later."""
    if issubclass(met.exc_type, KeyboardInterrupt):
        threading.Timer(AGAIN_S, _interrupt).start()
    else:
        sys.__unraisablehook__(met)


def main() -> None:
    """Serve standard input with as many workers as the argument says; all cores where it is left out."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    sys.unraisablehook = _unraisable
    if hasattr(os, "nice"):
        os.nice(NICE)
    # Whatever else prints must not get between the answers.
    writing = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    Desk(int(sys.argv[1]) if len(sys.argv) > 1 else None, sys.stdin.buffer, writing).serve()


if __name__ == "__main__":
    main()
