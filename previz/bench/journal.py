"""
What was changed, in the order in which it was: one line a revision, on the disk before anybody is told.

A line is JSON, a tab and its checksum. The first holds the text as it was found; each revision holds what it cut out of the
text and put there, so that the text at any revision can be built, and taken back. A line that was being written when the
machine stopped is left out. Knows no scene.
"""

from __future__ import annotations

import json
import os
import sys
import zlib
from dataclasses import asdict, dataclass
from pathlib import Path

from previz.bench.keys import Key
from previz.bench.wire import Change
from previz.scene.faults import OptionFault
from previz.scene.files import outside
from previz.scene.rewrite import Splice, spliced

NAME, LOCK = "journal.jsonl", "lock"


@dataclass(frozen=True)
class Revision:
    """
    One revision of a scene file.

    rev      its number; the text as found is 1
    by       who made it: a client, or "" for a change outside
    id       the client's own name for it
    kind     "edit", "undo", "redo", "back" (to an earlier one), "outside"
    of       the revision that an undo or redo takes back, or that "back" restores; 0 for none
    says     in words, for the history
    when     ISO 8601, UTC
    changes  (key, what it held, what it holds now), one after the other
    made     splices that made this text of the one before, one after the other
    """

    rev: int
    by: str
    id: str
    kind: str
    of: int
    says: str
    when: str
    changes: tuple[tuple[Key, object, object], ...]
    made: tuple[Splice, ...]

    def after(self) -> list[Change]:
        """Return what it changed, as it is told."""
        return [Change(key=key, to=now) for key, _, now in self.changes]


class Journal:
    """
    The journal of one scene file, in a folder of its own; held by one process at a time.

    Parameters
    ----------
    folder : Path
        Made where it is missing, and kept out of git.

    Raises
    ------
    OptionFault
        If another process holds it.
    OutsideFault
        If it cannot be written.
    """

    def __init__(self, folder: Path):
        self.folder = folder
        self.first, self.revisions, self.saved = "", [], 0
        with outside(folder):
            folder.mkdir(exist_ok=True)
            ignore = folder / ".gitignore"
            if not ignore.exists():
                ignore.write_text("*\n", encoding="utf-8")
            self._lock = open(folder / LOCK, "a+b")
            if not _held(self._lock):
                self._lock.close()
                raise OptionFault(f"{folder}: this scene is on a bench already", "Use that page, or end the other previz bench first.")
            self._file = open(folder / NAME, "a+b")
        self.begun = self._read()

    def begin(self, text: str) -> None:
        """Start an empty journal with the text as found."""
        self.first, self.begun = text, True
        self._write({"first": text}, sync=True)

    def add(self, revision: Revision) -> None:
        """Write a revision; it is on the disk when this returns. OutsideFault if it cannot be, and nothing is kept of it."""
        self._write(asdict(revision), sync=True)
        self.revisions.append(revision)

    def mark_saved(self, rev: int) -> None:
        """Note that the scene file holds a revision; the note may be lost, because the file tells by itself."""
        if rev != self.saved:
            self._write({"saved": rev}, sync=False)
            self.saved = rev

    @property
    def last(self) -> int:
        """The newest revision."""
        return self.revisions[-1].rev if self.revisions else 1

    def revision(self, rev: int) -> Revision:
        """Return a revision by number, 2 to `last`."""
        return self.revisions[rev - 2]

    def texts_back(self, text: str):
        """Yield (revision number, text) from the newest, whose text is `text`, back to the first."""
        yield self.last, text
        for revision in reversed(self.revisions):
            text = spliced(text, inverse(revision.made))
            yield revision.rev - 1, text

    def newest_text(self) -> str:
        """Return the text at the newest revision."""
        text = self.first
        for revision in self.revisions:
            text = spliced(text, revision.made)
        return text

    def close(self) -> None:
        """Let another process have it."""
        self._file.close()
        self._lock.close()

    def _read(self) -> bool:
        """Take in what is there; cut off a torn end, and set a damaged journal aside. Whether there is anything."""
        with outside(self.folder / NAME):
            self._file.seek(0)
            whole = self._file.read()
            sound = 0
            try:
                for line in whole.splitlines(keepends=True):
                    self._take(_checked(line))
                    sound += len(line)
            except ValueError:
                if whole[sound:].count(b"\n") > 1 or sound == 0:
                    self._set_aside(whole)
                    return False
            if sound < len(whole):
                self._file.truncate(sound)
            self._length = sound
        return sound > 0

    def _take(self, entry):
        if "first" in entry:
            self.first = entry["first"]
        elif "saved" in entry:
            self.saved = entry["saved"]
        else:
            entry["changes"] = tuple(tuple(change) for change in entry["changes"])
            entry["made"] = tuple(Splice(*splice) for splice in entry["made"])
            revision = Revision(**entry)
            if revision.rev != self.last + 1:
                raise ValueError("a revision is missing")
            self.revisions.append(revision)

    def _set_aside(self, whole):
        """Keep what cannot be read under another name, and begin anew."""
        kept = next(path for number in range(1, 10_000) if not (path := self.folder / f"journal-damaged-{number}.jsonl").exists())
        kept.write_bytes(whole)
        self._file.truncate(0)
        self.first, self.revisions, self.saved, self._length = "", [], 0, 0

    def _write(self, entry, sync):
        text = json.dumps(entry, ensure_ascii=False, separators=(",", ":")).encode()
        line = text + b"\t%08x\n" % zlib.crc32(text)
        with outside(self.folder / NAME):
            try:
                self._file.write(line)
                self._file.flush()
                if sync:
                    os.fsync(self._file.fileno())
            except OSError:
                self._file.truncate(self._length)
                raise
        self._length += len(line)


def inverse(made) -> list[Splice]:
    """Return the splices that take splices back, in the order in which they must be done."""
    return [Splice(at, put, cut) for at, cut, put in reversed(made)]


def _checked(line: bytes) -> dict:
    """The entry of a line; ValueError where it is not whole."""
    text, tab, mark = line.rpartition(b"\t")
    if not tab or not line.endswith(b"\n") or mark.strip() != b"%08x" % zlib.crc32(text):
        raise ValueError("not whole")
    return json.loads(text)


def _held(file) -> bool:
    """Take a file for this process alone, until it ends; whether that worked."""
    try:
        if sys.platform == "win32":
            import msvcrt

            file.seek(0)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
