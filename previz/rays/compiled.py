"""
How a loop over rays becomes machine code: numba, compiled on first use and kept for the next run.

Compiled loops read arrays number by number, `a[i, 0]`, never a row at a time, `a[i]`: a row is a new view whose reference
count is kept up by an atomic operation, which cost the direct-light loop three quarters of its time.

A read-only installation folder moves numba's cache to the user's own cache folder; where that cannot be written
either, the loop is compiled anew in each run and nothing else changes.
"""

from __future__ import annotations

from numba import njit

# Every liberty with rounding except those that would break infinities, which mean "leaves the set".
_FASTMATH = {"contract", "arcp", "nsz", "afn", "reassoc"}
_OPTIONS = {"nogil": True, "fastmath": _FASTMATH, "error_model": "numpy"}


def compiled(function):
    """Return `function` compiled by numba without the GIL, cached on disk where some folder can be written."""
    try:
        return njit(cache=True, **_OPTIONS)(function)
    except RuntimeError:
        # numba says so when neither the package's folder nor the user's cache folder can be written.
        return njit(**_OPTIONS)(function)
