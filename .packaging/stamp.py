"""
Whether the built page of the bench is that of the sources beside it.

Vite leaves a stamp in what it builds (`previz/bench/front/stamp.ts`): a line "SHA-256, two spaces, name" for each source, as
sha256sum writes them. The build of the wheel and the tests of the page compare it with the sources.
"""

import hashlib
from pathlib import Path

FRONT, PAGE = Path("previz/bench/front"), Path("previz/bench/page")
STAMP = "sources.sha256"
NOT_SOURCES = ("node_modules", ".vite")


def stamp(front):
    """Return the stamp of the sources in a folder."""
    inside = {path.relative_to(front).as_posix(): path for path in front.rglob("*") if path.is_file() and not set(path.relative_to(front).parts) & set(NOT_SOURCES)}
    return "".join(f"{hashlib.sha256(inside[name].read_bytes()).hexdigest()}  {name}\n" for name in sorted(inside))


def page_is_due(root):
    """Return whether the page is missing or was built from other sources than those in `root`."""
    told = root / PAGE / STAMP
    return (root / FRONT).is_dir() and not (told.is_file() and told.read_text() == stamp(root / FRONT))
