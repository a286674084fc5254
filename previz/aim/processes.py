"""
Where units of work are done: processes of this machine, one thread each, or a Dask cluster that runs already.

Takes a number of processes or an address; gives an executor. Knows nothing of the work but the module that it lives in,
which processes load before they are asked for anything. Imports nothing slow, so that they can do so while others still load.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import forkserver

from previz.scene.faults import OptionFault, OutsideFault

PATIENCE_S = 10.0
"""How long a scheduler may take to answer (own choice)."""
_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
_WORK = "previz.aim.variant"
# One process loads the modules and the others are its copies. On macOS copies of a process that has loaded the system's
# own linear algebra are not safe, and Windows knows no copies: there each loads for itself.
_COPIES = sys.platform == "linux"


def loading() -> None:
    """Begin to load what processes will need, in the background; harmless where none is wanted in the end."""
    if _COPIES:
        multiprocessing.get_context("forkserver").set_forkserver_preload([_WORK])
        with _one_thread(), _unhurried():
            forkserver.ensure_running()


@contextmanager
def executor(cluster: str | None, workers: int) -> Iterator[Executor]:
    """
    Give an executor of so many processes, which leave Ctrl-C to this one and end when it ends, however that comes; or of the
    cluster whose scheduler has this address.

    Where something goes wrong, Ctrl-C included, processes are ended in the middle of what they do.

    Raises
    ------
    OptionFault, OutsideFault
        Where the library that talks to a cluster is missing, or no scheduler answers.
    """
    if cluster is not None:
        with _client(cluster) as client:
            yield client.get_executor(pure=False)
        return
    loading()
    context = multiprocessing.get_context("forkserver" if _COPIES else "spawn")
    others = set(multiprocessing.active_children())
    with _one_thread(), ProcessPoolExecutor(workers, context, _watched_over) as pool:
        # All of them start here, so that none is born later, where Ctrl-C would reach it.
        with _unhurried():
            for _ in range(workers):
                pool.submit(os.getpid)
        try:
            yield pool
        except BaseException:
            for process in set(multiprocessing.active_children()) - others:
                process.terminate()
            raise


@contextmanager
def _one_thread() -> Iterator[None]:
    """Let linear algebra of processes that start now use one thread each: they share the cores."""
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            os.environ.pop(name) if value is None else os.environ.update({name: value})


@contextmanager
def _unhurried() -> Iterator[None]:
    """Hold Ctrl-C back while processes start, from them for good, from this one until they have: they would die of it, each with a traceback."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _watched_over() -> None:
    """Leave Ctrl-C to the process that watches over this one, and go when that has gone: killed outright, it could not say so."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_go_with_it, daemon=True).start()


def _go_with_it() -> None:
    multiprocessing.parent_process().join()
    os._exit(1)  # In the middle of what it does: nobody waits for that any more, and nothing is written here.


def _client(address: str):
    try:
        from distributed import Client
    except ImportError:
        raise OptionFault(f"--cluster {address}: the library that talks to a cluster is not installed", 'Install it with pip install "previz[cluster]", or leave --cluster out to use this machine.') from None
    try:
        return Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise OutsideFault(f"--cluster {address}: no scheduler answers there", "Give it as it says when it starts, like tcp://192.168.0.10:8786, or leave --cluster out.") from error
