"""
Two changes of one scene: taken together where they mean different keys, shown side by side where they mean the same.

Takes plain values and changes by key; gives what can go in and what must be asked. Knows no text.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from previz.bench.journal import Revision
from previz.bench.keys import Key, differences, followed, overlap, renamed, value_at
from previz.bench.wire import Change


@dataclass(frozen=True)
class Clash:
    """A key that two have changed: its value before both, as it is now, as it was wanted, and who made it what it is."""

    key: Key
    was: object
    theirs: object
    yours: object
    by: str


def on_top(changes: Iterable[Change], before: dict, now: dict, since: Iterable[Revision], who: str) -> tuple[list[Change], list[Clash]]:
    """
    Return the changes that `who` made on an older revision as they are on top of the newest, and where they clash with others'.

    Parameters
    ----------
    before, now : dict
        Plain values at the older revision and at the newest.
    since : revisions
        All that came between. Those of `who` clash with nothing: they were seen.
    """
    since = list(since)
    renames = [rename for revision in since for rename in renamed(revision.after())]
    moved, clashes = [], []
    for change in changes:
        key = followed(change.key, renames)
        # A row's new name is looked for under the name that the change gives it.
        moved.append(Change(key=key, to=change.to))
        others = [revision.by for revision in since if revision.by != who for touched, _, _ in revision.changes if overlap(followed(list(touched), renames), key)]
        was, theirs = value_at(before, change.key), value_at(now, key)
        if others and was != theirs != change.to:
            clashes.append(Clash(key, was, theirs, change.to, others[-1]))
    return moved, clashes


def both(before: dict, ours: dict, theirs: dict, by: str) -> tuple[list[Change], list[Clash]]:
    """Return our changes since `before` that can go on top of theirs, and those that clash."""
    touched = [change.key for change in differences(before, theirs)]
    free, clashes = [], []
    for change in differences(before, ours):
        held = value_at(theirs, change.key)
        if not any(overlap(change.key, key) for key in touched):
            free.append(change)
        elif held != change.to:
            clashes.append(Clash(change.key, value_at(before, change.key), held, change.to, by))
    return free, clashes
