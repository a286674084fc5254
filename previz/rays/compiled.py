"""
How a loop over rays becomes machine code: numba, compiled once and kept.

`pip install` compiles every loop while it builds the package (see `previz.frames.ahead`), so the first command after it
is as quick as any. Where that was not possible, or on another processor, a loop is compiled on first use and kept beside
the package; a read-only package moves the store to the user's own cache folder; where that cannot be written either,
loops are compiled in each run and nothing else changes.

numba notices when a function's own file changes, not when a function that it calls does. All of previz's loops
therefore count as one file: any change in any of them makes all of them anew.

Compiled loops read arrays number by number, `a[i, 0]`, never a row at a time, `a[i]`: a row is a new view whose reference
count is kept up by an atomic operation, which cost the direct-light loop three quarters of its time.
"""

from __future__ import annotations

import functools
import hashlib
from pathlib import Path

import numba
from numba.core.caching import InTreeCacheLocator, UserWideCacheLocator

_PACKAGE = Path(__file__).resolve().parents[1]
# Every liberty with rounding except those that would break infinities, which mean "leaves the set".
_FASTMATH = {"contract", "arcp", "nsz", "afn", "reassoc"}
_OPTIONS = {"nogil": True, "fastmath": _FASTMATH, "error_model": "numpy"}


@functools.cache
def _stamp() -> str:
    """Return one hash of all files that hold compiled loops."""
    files = sorted(path for path in _PACKAGE.rglob("*.py") if b"compiled(" in (text := path.read_bytes()) or b"@compiled" in text)
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()


class _OneStamp:
    """A store for previz's own loops, fresh as long as none of them has changed."""

    def get_source_stamp(self):
        return _stamp()

    @classmethod
    def from_function(cls, function, file):
        return super().from_function(function, file) if Path(file).resolve().is_relative_to(_PACKAGE) else None


class BesideThePackage(_OneStamp, InTreeCacheLocator):
    """In the package's own folder, where it can be written."""


class InTheUsersCache(_OneStamp, UserWideCacheLocator):
    """In the user's cache folder."""


_OURS = ",".join(f"{__name__}.{store.__name__}" for store in (BesideThePackage, InTheUsersCache))
if numba.config.CACHE_LOCATOR_CLASSES is None or _OURS not in numba.config.CACHE_LOCATOR_CLASSES:
    # numba's own stores follow ours, for other packages in the same process.
    theirs = numba.config.CACHE_LOCATOR_CLASSES or "UserProvidedCacheLocator,InTreeCacheLocator,UserWideCacheLocator,ZipCacheLocator"
    numba.config.CACHE_LOCATOR_CLASSES = f"{_OURS},{theirs}"


def compiled(function):
    """Return `function` compiled by numba without the GIL, kept on disk where some folder can be written."""
    try:
        return numba.njit(cache=True, **_OPTIONS)(function)
    except RuntimeError:
        # numba says so when neither the package's folder nor the user's cache folder can be written.
        return numba.njit(**_OPTIONS)(function)
