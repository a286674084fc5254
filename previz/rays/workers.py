"""
Work shared between threads, with the same result whatever their number.

Each piece of work is a pure function of its index, results come back in order, and sums are taken in that order.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor


def worker_count(workers: int | None) -> int:
    """Return `workers`, or the number of cores this process may use where it is None."""
    if workers is not None:
        return max(1, workers)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def in_order(work: Callable, items: list, workers: int | None, given_up: threading.Event | None = None) -> Iterator:
    """
    Yield `work(item)` for each of `items`, in their order.

    At most twice as many results as workers wait at a time, so memory stays bounded whatever the number of items.
    An exception, Ctrl-C included, stops what has not started; `given_up` is then set for what has, and at the end.
    """
    count = worker_count(workers)
    if count == 1 or len(items) <= 1:
        yield from map(work, items)
        return
    with ThreadPoolExecutor(count) as pool:
        waiting = []
        try:
            for item in items:
                waiting.append(pool.submit(work, item))
                if len(waiting) >= 2 * count:
                    yield waiting.pop(0).result()
            while waiting:
                yield waiting.pop(0).result()
        finally:
            if given_up is not None:
                given_up.set()
            for future in waiting:
                future.cancel()
