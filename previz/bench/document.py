"""
The scene file on the bench: edited by key by several at once, undone, saved, and taken up again when it is changed by hand.

    edit by key --> clashes? --> text --> sound? --> journal (on the disk) --> told --> file, renamed into place
                    asked        |        refused
                                 +-- every character that spells no changed value stays

Takes keys and values; gives outcomes. What is told has been written down before. Knows no clients' connections and no light.
"""

from __future__ import annotations

import datetime
import os
import stat
import threading
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from previz.bench.journal import Journal, Revision
from previz.bench.keys import NoSuchPlace, applied, differences, is_row, named, path_of, row_value, value_at
from previz.bench.merge import Clash, both, on_top
from previz.bench.renaming import with_mentions
from previz.bench.stage import Stage
from previz.bench.undoing import Stacks, exact, taken_back
from previz.bench.wire import Change, plain_value
from previz.scene.faults import Fault, OptionFault, PrevizError, SceneFaults
from previz.scene.files import outside, replacing
from previz.scene.read import SceneFile, scene_again, scene_from
from previz.scene.rewrite import Splice, spliced, splices
from previz.scene.text import LARGEST_BYTES, text_of

BY_HAND = ""
"""Who changes the file outside."""


@dataclass(frozen=True)
class Accepted:
    """A revision that counts from now on; `again` where it was sent before and counts once."""

    revision: Revision
    again: bool = False


@dataclass(frozen=True)
class Refused:
    """Nothing was changed; faults, each with its key as the page writes it (None for the file as a whole)."""

    faults: tuple[tuple[list | None, str, str, int], ...]


@dataclass(frozen=True)
class Asked:
    """Nothing was changed: others have changed the same since."""

    clashes: tuple[Clash, ...]


@dataclass(frozen=True)
class TakenUp:
    """The file was changed by hand. `asked`: whose unsaved edits clash with it, by the edit's id."""

    revision: Revision
    asked: tuple[tuple[str, str, tuple[Clash, ...]], ...] = ()


@dataclass(frozen=True)
class Faulty:
    """The file on the disk has faults and is left alone."""

    faults: tuple[tuple[list | None, str, str, int], ...]


Outcome = Accepted | Refused | Asked


class Document:
    """
    One scene file on the bench.

    Attributes
    ----------
    path : Path
        As the maker named it.
    text, rev, file : str, int, SceneFile
        As edited, which the file on the disk may not hold yet.
    faults : tuple
        Of the file on the disk; empty where it is sound.

    Any thread may call; one is served at a time.

    Raises
    ------
    SceneFaults
        If the file has faults.
    OptionFault, OutsideFault
        If it is on another bench already, or its folder cannot be written.
    """

    def __init__(self, path: Path):
        self.path = Path(path)
        self._alone = threading.RLock()
        self._stage = Stage(workers=1)
        disk = text_of(self.path)
        sound = self._sound(disk)
        with outside(self.path), self.path.open("rb") as file:
            self._mark = b"\xef\xbb\xbf" if file.read(3) == b"\xef\xbb\xbf" else b""
        self.faults: tuple = ()
        self._journal = Journal(folder_of(self.path.resolve()))
        self._stacks: dict[str, Stacks] = {}
        self._ids: dict[tuple[str, str], int] = {}
        if not self._journal.begun:
            self._journal.begin(disk)
        for revision in self._journal.revisions:
            self._remember(revision)
        self.text, self.file, self._disk, self._last_good = disk, sound, disk, disk
        self._typed = tomllib.loads(disk)
        self.questions = self._resume(disk)

    def _resume(self, disk):
        """Take up the journal where it was left: edits that are not in the file yet, and a file that was changed meanwhile."""
        newest = self._journal.newest_text()
        if newest == disk:
            self._journal.mark_saved(self.rev)
            return ()
        saved = max(self._journal.saved, 1)
        left = next((text for rev, text in self._journal.texts_back(newest) if rev == saved), disk)
        if any(text == disk for rev, text in self._journal.texts_back(newest) if rev >= saved):
            left = disk
        try:
            self.text, self.file, self._typed = newest, self._sound(newest), tomllib.loads(newest)
        except SceneFaults:
            # Something beside the file, like a kit piece, has changed so that the newest text holds no longer.
            self.text, self._typed, left = newest, tomllib.loads(newest), newest
        if left == disk:
            self._last_good = disk
            return ()
        self._last_good, self._disk = left, left
        taken = self.look()
        return taken.asked if isinstance(taken, TakenUp) else ()

    @property
    def rev(self) -> int:
        """The newest revision; the text as found is 1."""
        return self._journal.last

    @property
    def unsaved(self) -> bool:
        """Whether the file on the disk does not hold the newest revision."""
        return self.text != self._disk

    def edit(self, who: str, id: str, base: int, changes: Iterable[Change], says: str) -> Outcome:
        """Change keys on top of revision `base`; another's edits of other keys since are kept."""
        with self._alone:
            if (again := self._again(who, id)) is not None:
                return again
            if self.faults:
                return Refused(self.faults)
            if not 1 <= base <= self.rev:
                return self._no("this page shows a revision that is not in the history", "Reload the page.")
            since = self._journal.revisions[base - 1 :]
            before = self._typed
            if any(revision.by != who for revision in since):
                before = tomllib.loads(self._text_at(base))
            try:
                for change in changes:
                    self._stays_inside(change)
                changes = with_mentions(before, [Change(key=change.key, to=row_value(change)) for change in changes])
                moved, clashes = on_top(changes, before, self._typed, since, who)
                if clashes:
                    return Asked(tuple(clashes))
                return self._change(who, id, "edit", 0, moved, says)
            except NoSuchPlace as fault:
                return Refused(((fault.key, fault.says, fault.remedy, 0),))

    def undo(self, who: str, id: str, base: int | None = None, answer: str | None = None) -> Outcome:
        """Take back the last edit of `who` that stands; where others have changed the same since, `answer` says what then."""
        return self._back(who, id, "undo", base, answer)

    def redo(self, who: str, id: str, base: int | None = None, answer: str | None = None) -> Outcome:
        """Do again what `who` undid last; as `undo`."""
        return self._back(who, id, "redo", base, answer)

    def back_to(self, who: str, id: str, rev: int) -> Outcome:
        """Restore the text of an earlier revision, as a new one."""
        with self._alone:
            if (again := self._again(who, id)) is not None:
                return again
            if self.faults:
                return Refused(self.faults)
            if not 1 <= rev <= self.rev:
                return self._no(f"the history has no revision {rev}", f"It has 1 to {self.rev}.")
            text = self._text_at(rev)
            return self._settle(who, id, "back", rev, text, differences(self._typed, tomllib.loads(text)), f"Go back to revision {rev}", whole_splice(self.text, text))

    def tried(self, changes: Iterable[Change]) -> SceneFile | Refused:
        """Return the scene as it would be with some changes; nothing is kept of it, and whether it can be built is left open."""
        with self._alone:
            text, typed, file = self.text, self._typed, self.file
        now = typed
        try:
            for change in changes:
                self._stays_inside(change)
                text = spliced(text, splices(text, [(path_of(now, change.key), row_value(change))]))
                now = applied(now, [change])
            return scene_again(file, text, now)
        except NoSuchPlace as fault:
            return Refused(((fault.key, fault.says, fault.remedy, 0),))
        except SceneFaults as fault:
            return self._refusal(fault, now)
        except (KeyError, IndexError, TypeError, AttributeError, ValueError):
            return self._no("the file cannot hold this", "Change it in the file itself.")

    def save(self) -> tuple[TakenUp | Faulty | None, int | None]:
        """
        Write the file, where it holds less than was edited; return what was found there first, and the revision that it holds now; None while it has faults.

        Raises
        ------
        OutsideFault
            Where it cannot be written; the journal keeps every edit.
        """
        with self._alone:
            found = self.look()
            if self.faults:
                return found, None
            # Edits that took one another back leave the text that is there already: their revision is saved as it stands.
            if self.unsaved:
                # Where the name is a link, what it leads to is written.
                with replacing(self.path.resolve()) as temporary, temporary.open("wb") as file:
                    file.write(self._mark + self.text.encode("utf-8"))
                    file.flush()
                    os.fsync(file.fileno())
                    os.chmod(temporary, stat.S_IMODE(self.path.stat().st_mode))
                self._disk = self._last_good = self.text
            self._journal.mark_saved(self.rev)
            return found, self.rev

    def look(self, anew: bool = False) -> TakenUp | Faulty | None:
        """
        Look whether the file was changed by hand, and take that up, merged by key with what is not saved.

        Parameters
        ----------
        anew : bool
            Also where its text is the same: something that it names has changed.
        """
        with self._alone:
            try:
                text = text_of(self.path)
                if text == self._disk and not self.faults and not anew:
                    return None
                self._disk = text
                self._sound(text)
            except SceneFaults as faults:
                told = self._told(faults.faults, _typed_or_none(self._disk))
                changed, self.faults = told != self.faults, told
                return Faulty(told) if changed else None
            mended, self.faults = bool(self.faults), ()
            if text == self._last_good and not anew:
                return self._taken(self.text, [], "The file is sound again") if mended else None
            return self._merge(text)

    def history(self, before: int | None = None, most: int = 200) -> list[Revision]:
        """Return up to `most` revisions older than `before`, the newest first."""
        with self._alone:
            last = len(self._journal.revisions) if before is None else max(min(before - 2, len(self._journal.revisions)), 0)
            return self._journal.revisions[max(last - most, 0) : last][::-1]

    @property
    def typed(self) -> dict:
        """The plain values as typed."""
        return self._typed

    def close(self) -> None:
        """Save and let go of the file."""
        with self._alone:
            try:
                self.save()
            finally:
                self._journal.close()

    def _again(self, who, id):
        """An edit that was sent before, because its sender did not hear of it."""
        rev = self._ids.get((who, id))
        return None if rev is None else Accepted(self._journal.revision(rev), again=True)

    def _back(self, who, id, kind, base, answer):
        with self._alone:
            if (again := self._again(who, id)) is not None:
                return again
            if self.faults:
                return Refused(self.faults)
            stacks = self._stacks.setdefault(who, Stacks())
            stack = stacks.undo if kind == "undo" else stacks.redo
            if not stack:
                return self._no(f"there is nothing to {kind}", "Others' edits are theirs to undo; the history goes back to any revision.")
            of = self._journal.revision(stack[-1])
            answered = answer if base == self.rev else None
            if answered == "theirs":
                return self._settle(who, id, kind, of.rev, self.text, [], f"Leave: {of.says}", [])
            return self._take_back(who, id, kind, of, answered == "mine")

    def _take_back(self, who, id, kind, of, regardless):
        since = self._journal.revisions[of.rev - 1 :]
        wanted, after, clashes = taken_back(of, since, self._typed)
        if clashes and not regardless:
            return Asked(tuple(clashes))
        says = f"{'Undo' if kind == 'undo' else 'Redo'}: {_bare(of.says)}"
        made = exact(of, since) if not clashes else None
        if made is not None:
            try:
                text = spliced(self.text, made)
            except ValueError:
                text = ""
            if _written(_typed_or_none(text)) == _written(after):
                return self._settle(who, id, kind, of.rev, text, wanted or of.after(), says, made)
        return self._change(who, id, kind, of.rev, wanted, says)

    def _change(self, who, id, kind, of, changes, says):
        """Spell changes in the text, and settle that."""
        try:
            made, after = self._spelt(self.text, self._typed, changes)
        except ValueError as fault:
            return self._refusal(fault, self._typed)
        return self._settle(who, id, kind, of, spliced(self.text, made), changes, says, made)

    def _spelt(self, text, typed, changes):
        """The splices that spell changes, and the plain values after them; ValueError where the text cannot hold them."""
        made = []
        for change in changes:
            path = path_of(typed, change.key)
            value = row_value(change)
            if is_row(change.key) and value is not None:
                self._new_row(typed, change, value)
            try:
                one = splices(text, [(path, value)])
                text = spliced(text, one)
                now = tomllib.loads(text)
            except (KeyError, IndexError, TypeError, AttributeError, tomllib.TOMLDecodeError) as error:
                raise ValueError(f"the file cannot hold this: {error}") from error
            if _written(now) != _written(applied(typed, [change])):
                raise ValueError("the way in which this table is written does not take that; change it in the file itself")
            typed = now
            made += one
        return made, typed

    def _stays_inside(self, change):
        """NoSuchPlace where a page names a file outside the scene's folder: only the maker may, in the file itself."""
        folder = self.path.parent.resolve()
        for name in _files(change.key[-1], change.to):
            try:
                inside = (folder / name).resolve().is_relative_to(folder)
            except (OSError, ValueError, RuntimeError):
                inside = False  # This cannot be a file's name.
            if not inside:
                raise NoSuchPlace(change.key, "a file that a page names lies in the scene's folder", "Send the file from the page, or type its place into the scene file by hand.")

    def _new_row(self, typed, change, value):
        """NoSuchPlace where a row cannot be added like this."""
        table, name = change.key
        if not isinstance(value, dict):
            raise NoSuchPlace(change.key, "a row is a table of keys", "Give its keys, or null to take it away.")
        if value["name"] != name:
            raise NoSuchPlace(change.key, "a row's key is its name", f'Write it like ["{table}", "{name}"] with that name, or none.')
        if value_at(typed, change.key) is not None:
            raise NoSuchPlace(change.key, f'there is a {table} "{name}" already', "Give the new one another name.")

    def _settle(self, who, id, kind, of, text, changes, says, made):
        """Make a text the newest revision, unless it holds no sound scene."""
        typed = _typed_or_none(text)
        try:
            if len(text.encode("utf-8")) > LARGEST_BYTES:
                return self._no(f"the file would be larger than {LARGEST_BYTES / 1e6:.0f} MB", "Keep large shapes in mesh files.")
            file = self._sound(text) if text != self.text else self.file
        except SceneFaults as fault:
            return self._refusal(fault, typed)
        try:
            revision = self._write(who, id, kind, of, text, file, typed, changes, says, made)
        except OptionFault as fault:
            return self._refusal(fault, typed)
        return Accepted(revision)

    def _write(self, who, id, kind, of, text, file, typed, changes, says, made):
        """Write a revision into the journal, then count it."""
        held, listed = self._typed, []
        for change in changes:
            listed.append((change.key, value_at(held, change.key), change.to))
            if len(changes) > 1:
                held = applied(held, [change])
        now = datetime.datetime.now(datetime.timezone.utc).isoformat(timespec="seconds")
        revision = Revision(self.rev + 1, who, id, kind, of, says, now, tuple(listed), tuple(made))
        self._journal.add(revision)
        self.text, self.file, self._typed = text, file, typed
        self._remember(revision)
        return revision

    def _remember(self, revision):
        """Which edits were had, and what each client can undo and redo."""
        if revision.by == BY_HAND:
            return
        if revision.id:
            self._ids[revision.by, revision.id] = revision.rev
        self._stacks.setdefault(revision.by, Stacks()).count(revision)

    def _merge(self, text):
        """Take up a sound text from the disk, with what is edited and not saved on top."""
        theirs, base = tomllib.loads(text), tomllib.loads(self._last_good)
        since = self._unsaved_revisions()
        merged, clashes = text, []
        if self.text != self._last_good:
            free, clashes = both(base, self._typed, theirs, BY_HAND)
            try:
                merged = spliced(text, self._spelt(text, theirs, free)[0])
                self._sound(merged)
            except (SceneFaults, NoSuchPlace, ValueError):
                merged = text
                clashes = [Clash(c.key, value_at(base, c.key), value_at(theirs, c.key), c.to, BY_HAND) for c in differences(base, self._typed)]
        self._last_good = text
        changes = differences(self._typed, tomllib.loads(merged))
        says = "The file was changed by hand" if changes else "The file was changed by hand, in its comments" if merged != self.text else "A file that the scene names has changed"
        asked: dict[tuple[str, str], list[Clash]] = {}
        for clash in clashes:
            author = next((r for r in reversed(since) if any(list(k)[: len(clash.key)] == clash.key[: len(k)] for k, _, _ in r.changes)), since[-1] if since else None)
            if author is not None:
                asked.setdefault((author.by, author.id), []).append(clash)
        return self._taken(merged, changes, says, tuple((who, id, tuple(c)) for (who, id), c in asked.items()))

    def _taken(self, text, changes, says, asked=()):
        file = self._sound(text)
        revision = self._write(BY_HAND, "", "outside", 0, text, file, tomllib.loads(text), changes, says, whole_splice(self.text, text))
        if text == self._disk:
            self._journal.mark_saved(self.rev)
        return TakenUp(revision, asked)

    def _unsaved_revisions(self):
        found = []
        for revision in reversed(self._journal.revisions):
            if revision.rev <= self._journal.saved:
                break
            found.append(revision)
        return found[::-1]

    def _text_at(self, rev):
        return next(text for number, text in self._texts_back() if number == rev)

    def _texts_back(self) -> Iterator[tuple[int, str]]:
        return self._journal.texts_back(self.text)

    def _sound(self, text) -> SceneFile:
        """The scene of a text that can be built; SceneFaults otherwise."""
        file = scene_from(text, self.path)
        self._stage.built(file)
        return file

    def _no(self, says, remedy):
        return Refused(((None, says, remedy, 0),))

    def _refusal(self, fault, typed):
        if isinstance(fault, SceneFaults):
            return Refused(self._told(fault.faults, typed))
        return self._no(getattr(fault, "says", str(fault)), getattr(fault, "remedy", ""))

    def _told(self, faults: Iterable[Fault], typed) -> tuple:
        return tuple((_key_of(fault, typed), _says(fault), fault.remedy, fault.line) for fault in list(faults)[:100])


def folder_of(path: Path) -> Path:
    """Return the hidden folder beside a scene file that its journal is in."""
    return path.parent / f".{path.stem}.bench"


def whole_splice(before: str, after: str) -> list[Splice]:
    """Return the one splice that makes `after` of `before`, without what both begin and end with; none where they are equal."""
    if before == after:
        return []
    start = len(os.path.commonprefix([before, after]))
    end = len(os.path.commonprefix([before[start:][::-1], after[start:][::-1]]))
    return [Splice(start, before[start : len(before) - end], after[start : len(after) - end])]


def _files(key, value) -> Iterator[str]:
    """The names of files in a value."""
    if key == "file" and isinstance(value, str):
        yield value
    for part, item in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield from _files(part, item)


def _bare(says):
    """What an edit was called, without the undos and redos of it."""
    while says.startswith(("Undo: ", "Redo: ")):
        says = says[6:]
    return says


def _typed_or_none(text):
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError):
        return None


def _written(typed):
    """Plain values as they compare: tables without keys and lists of no rows are not there, and 3.0 is 3."""
    return plain_value({key: value for key, value in typed.items() if value not in ({}, [])}) if typed is not None else None


def _key_of(fault, typed):
    return named(typed, fault.path) if fault.path and typed is not None else list(fault.path) or None


def _says(fault):
    return ": ".join(part for part in (fault.key, fault.allowed + (f" (got {fault.found})" if fault.found else "")) if part)
