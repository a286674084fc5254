"""
What one client may take back, and how: to the very text where nothing since is woven into it, else key by key.

Takes revisions; gives stacks, splices and changes. Writes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from previz.bench.journal import Revision, inverse
from previz.bench.keys import Key, NoSuchPlace, applied, followed, renamed, value_at
from previz.bench.merge import Clash
from previz.bench.wire import Change
from previz.scene.rewrite import Splice


@dataclass
class Stacks:
    """What one client can undo and redo: revision numbers, the newest last."""

    undo: list[int] = field(default_factory=list)
    redo: list[int] = field(default_factory=list)

    def count(self, revision: Revision) -> None:
        """Take in the newest revision of this client; an undo or redo that changes nothing passes over the one that it is of."""
        if revision.kind not in ("undo", "redo"):
            self.undo.append(revision.rev)
            self.redo.clear()
            return
        source, goal = (self.undo, self.redo) if revision.kind == "undo" else (self.redo, self.undo)
        if revision.of in source:
            source.remove(revision.of)
        if revision.changes:
            goal.append(revision.rev)


def taken_back(of: Revision, since: Iterable[Revision], typed: dict) -> tuple[list[Change], dict, list[Clash]]:
    """
    Return the changes that take a revision back from plain values, these values after them, and where others have changed the same.

    A row that was renamed since is found under its new name. What cannot be taken back because its row is gone is a clash.
    """
    since = list(since)
    renames = [rename for revision in since for rename in renamed(revision.after())]
    by = next((revision.by for revision in reversed(since) if revision.by != of.by), of.by)
    wanted: list[Change] = []
    clashes: list[Clash] = []
    for key, was, now in reversed(of.changes):
        key = _called_now(typed, list(key), now, renames)
        held = value_at(typed, key)
        if held != now and held != was:
            clashes.append(Clash(key, now, held, was, by))
        if held != was:
            wanted.append(Change(key=key, to=was))
            try:
                typed = applied(typed, wanted[-1:])
            except NoSuchPlace:
                pass
    return wanted, typed, clashes


def _called_now(typed, key: Key, now, renames):
    """A key of a revision by the names that rows have before it is taken back."""
    if renamed([Change(key=key, to=now)]):
        key = [key[0], now, "name"]
    there = value_at(typed, key[:2]) is not None if len(key) > 2 else True
    return key if there else followed(key, renames)


def exact(of: Revision, since: Iterable[Revision]) -> list[Splice] | None:
    """Return the splices that take back what a revision did to the text, comments included, on top of the newest; None where later ones touch the same."""
    back = inverse(of.made)
    for later in (splice for revision in since for splice in revision.made):
        moved = []
        for splice in back:
            if later.at + len(later.cut) <= splice.at:
                moved.append(splice._replace(at=splice.at + later.grows))
            elif splice.at + len(splice.cut) <= later.at:
                moved.append(splice)
                later = later._replace(at=later.at + splice.grows)
            else:
                return None
        back = moved
    return back
