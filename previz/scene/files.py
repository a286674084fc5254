"""
Outputs written beside their final name and renamed into place: nobody ever sees half a file.

Takes the final path; gives a temporary one to write. Knows nothing of what is written.
"""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from previz.scene.faults import OptionFault, OutsideFault

_REASONS = {
    errno.ENOSPC: ("the disk is full", "Free some space, or write elsewhere with -o, and run the command again."),
    errno.EDQUOT: ("your share of the disk is used up", "Free some space, or write elsewhere with -o, and run the command again."),
    errno.EFBIG: ("the file grew larger than this disk allows", "Write to another disk with -o."),
    errno.EACCES: ("there is no permission to write there", "Write elsewhere with -o, or change the folder's permissions."),
    errno.EPERM: ("there is no permission to write there", "Write elsewhere with -o, or change the folder's permissions."),
    errno.EROFS: ("that disk can only be read", "Write elsewhere with -o."),
    errno.ENOTDIR: ("part of that path is a file, not a folder", "Give another place with -o."),
    errno.EEXIST: ("part of that path is a file, not a folder", "Give another place with -o."),
    errno.ENAMETOOLONG: ("the name is too long", "Give a shorter name with -o."),
}


@contextlib.contextmanager
def replacing(path: str | Path) -> Iterator[Path]:
    """
    Yield a temporary path beside `path`, of the same suffix; rename it into place when the block ends well.

    The folder is made where it is missing. On any failure, Ctrl-C included, the temporary file goes and
    whatever stood at `path` stays as it was.

    Raises
    ------
    OptionFault
        If `path` is a folder.
    OutsideFault
        For every OSError in the block or around it, with the reason in plain words.
    """
    path = Path(path)
    if path.is_dir():
        raise OptionFault(f"{path} is a folder, and a file should be written there", "Give the name of a file with -o.")
    with outside(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = _beside(path)
        try:
            yield temporary
            os.replace(temporary, path)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise


@contextlib.contextmanager
def outside(path: str | Path) -> Iterator[None]:
    """Turn every OSError of the block into an OutsideFault about writing `path`; BrokenPipeError passes."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        says, remedy = _REASONS.get(error.errno, (error.strerror or str(error), "Write elsewhere with -o, or put that right first."))
        raise OutsideFault(f"could not write {path}: {says}", remedy) from error


def _beside(path):
    """An empty file next to `path`, with the permissions that a plain new file would have."""
    handle, name = tempfile.mkstemp(prefix=f".{path.stem[:80]}-", suffix=path.suffix, dir=path.parent)
    os.close(handle)
    mask = os.umask(0)
    os.umask(mask)
    os.chmod(name, 0o666 & ~mask)
    return Path(name)
