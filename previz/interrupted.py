"""
What is said after Ctrl-C: what is kept, and what to type to go on.

Takes a command as typed; gives text. Whatever the verb, files are written beside their final name and renamed into place,
so none is half-written.
"""

from __future__ import annotations

import os
import shlex
import subprocess

_KEPT = {
    "reel": "The frames that were done are kept, and the next run goes on after them.",
    "make": "The files that were done stay, and the next run goes on after the frames of a reel that were done.",
    "explore": "The variants that were done are kept, and the next run does only what is missing.",
}


def interrupted(arguments: list[str]) -> str:
    """Return what to say of an interrupted command, its arguments as typed after `previz`."""
    kept = next((_KEPT[word] for word in arguments[:1] if word in _KEPT), "What was not done is kept nowhere: the next run begins anew.")
    typed = subprocess.list2cmdline(arguments) if os.name == "nt" else shlex.join(arguments)
    return f"Interrupted. Nothing is left half-written. {kept}\n  Type it again: previz {typed}"
