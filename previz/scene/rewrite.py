"""
A scene file with some values changed, and everything else as the maker typed it: comments, order and spaces.

Takes the file's text and new values by key path; gives text, or what is cut out of it and put into it and where. Only
those characters change that spell a changed value. Checks nothing: the result is read again like any file.
"""

from __future__ import annotations

import functools
import re
import tomllib
from collections.abc import Iterable, Mapping
from typing import NamedTuple

import tomlkit

from previz.scene.marks import Mark, Marks

Path = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")


class Splice(NamedTuple):
    """At an offset of the text, what is cut out and what is put there instead."""

    at: int
    cut: str
    put: str

    @property
    def grows(self) -> int:
        """How much longer the text is after it."""
        return len(self.put) - len(self.cut)


def rewritten(text: str, changes: Mapping[Path, object], digits: int | None = 2) -> str:
    """
    Return the TOML `text` with values changed, added or taken away.

    Parameters
    ----------
    changes : mapping of key path to value
        ("lamp", 0, "at"): [1.0, 2.0, 3.0], one after the other. Tables on the way are made where they are missing; a row
        past the last of [[tables]] is added as a whole, ("opening", 3): {...}. None takes a key, a table or a row away.
    digits : int or None
        Kept after the decimal point; None keeps all, for what a maker has measured.
    """
    return spliced(text, splices(text, changes.items(), digits))


def splices(text: str, changes: Iterable[tuple[Path, object]], digits: int | None = None) -> list[Splice]:
    """Return what `rewritten` does to the text, each splice on top of those before it."""
    made = []
    for path, value in changes:
        for path, value in _one_by_one(text, tuple(path), value):
            for splice in _sheet(text).splices(path, value, digits):
                made.append(splice)
                text = spliced(text, [splice])
    return made


def spliced(text: str, made: Iterable[Splice]) -> str:
    """Return a text after splices, one after the other; ValueError where it is not the text that they are about."""
    for at, cut, put in made:
        if text[at : at + len(cut)] != cut:
            raise ValueError("this text has been changed otherwise")
        text = text[:at] + put + text[at + len(cut) :]
    return text


def _one_by_one(text, path, value):
    """A table that has lines of its own, replaced as a whole: key by key, so that comments beside what stays are kept."""
    if not isinstance(value, Mapping):
        return [(path, value)]
    try:
        held = _value_at(tomllib.loads(text), path)
    except (KeyError, IndexError):
        return [(path, value)]
    if not isinstance(held, dict) or _sheet(text).own(path) is not None:
        return [(path, value)]
    gone = [((*path, key), None) for key in held if key not in value]
    return gone + [((*path, key), item) for key, item in value.items() if held.get(key) != item]


@functools.lru_cache(maxsize=2)
def _sheet(text: str) -> _Sheet:
    """The statements of a text: while something is dragged, the same one is asked again and again."""
    return _Sheet(text)


class _Line(NamedTuple):
    """One statement: its path, its mark, where its lines begin and end."""

    path: Path
    mark: Mark
    start: int
    end: int


class _Sheet:
    """The statements of one text, in order: headers of tables and rows, and key = value below them."""

    def __init__(self, text: str):
        self.text = text
        self.end_of_line = "\r\n" if "\r\n" in text else "\n"
        self.marks = Marks(text).marks
        longest: dict[int, tuple[Path, Mark]] = {}
        for path, mark in self.marks.items():
            if id(mark) not in longest or len(path) > len(longest[id(mark)][0]):
                longest[id(mark)] = path, mark
        self.lines: list[_Line] = []
        self.headers: dict[Path, int] = {}
        for path, mark in sorted(longest.values(), key=lambda one: one[1].key[0]):
            start = text.rfind("\n", 0, mark.key[0]) + 1
            if not self.lines or mark.key[0] >= self.lines[-1].mark.value[1]:
                if mark.value[0] == mark.value[1]:
                    self.headers[path] = len(self.lines)
                self.lines.append(_Line(path, mark, start, self._line_end(mark.value[1])))

    def splices(self, path: Path, value, digits) -> list[Splice]:
        """Return what puts a value in its place."""
        if value is None:
            return self._without(path)
        return [self._with(path, value, digits)]

    def _with(self, path, value, digits):
        mark = self.own(path)
        if mark is not None:
            return self._replaced(mark.value, _spelt(value, digits))
        if isinstance(path[-1], int):
            return self._with_row(path, value, digits)
        parent = path[:-1]
        if not parent and not isinstance(value, Mapping):
            return self._with_line(self._last_of(None), path[-1:], value, digits)
        if self._is_section(path) and isinstance(value, Mapping) and self.own(parent) is None:
            return self._with_section(path, value, digits)
        if parent in self.headers:
            return self._with_line(self._last_of(self.headers[parent]), path[-1:], value, digits)
        if (mark := self.own(parent)) is not None:
            return self._in_braces(mark, path[-1], value, digits)
        for number, line in reversed(list(enumerate(self.lines))):
            above = self._header_above(number)
            if number not in self.headers.values() and line.path[: len(parent)] == parent and len(above) < len(parent):
                return self._with_line(line, path[len(above) :], value, digits)
        return self._with(parent, {path[-1]: value}, digits)

    def own(self, path):
        """Return the mark of a key that is spelt out with its value; None for tables by header and for what only dotted keys name."""
        mark = self.marks.get(path)
        if mark is None or mark.value[0] == mark.value[1]:
            return None
        # A dotted key marks the tables on its way too, with the same mark.
        return None if any(other[: len(path)] == path and len(other) > len(path) and self.marks[other] is mark for other in self.marks) else mark

    def _replaced(self, span, spelt):
        return Splice(span[0], self.text[slice(*span)], spelt)

    def _with_line(self, after, names, value, digits):
        """A new line key = value below a statement, or at the top where there is none."""
        line = f"{'.'.join(_key(name) for name in names)} = {_spelt(value, digits)}{self.end_of_line}"
        if after is None:
            return Splice(0, "", line)
        indent = self.text[after.start : after.mark.key[0]] if self.lines.index(after) not in self.headers.values() else ""
        return Splice(after.end, "", self._broken(after.end) + indent + line)

    def _last_of(self, header):
        """The last key = value of a table, or its header; of the file's top where `header` is None."""
        found = self.lines[header] if header is not None else None
        for number in range(0 if header is None else header + 1, len(self.lines)):
            if number in self.headers.values():
                break
            found = self.lines[number]
        return found

    def _header_above(self, number):
        """The path of the table that a statement stands in; () at the file's top."""
        above = [header for header in self.headers.values() if header < number]
        return self.lines[max(above)].path if above else ()

    @staticmethod
    def _is_section(path):
        """Whether a table is one that a maker writes with a header of its own."""
        return len(path) == (2 if path[0] == "finish" else 1)

    def _in_braces(self, mark, name, value, digits):
        """One more key of an inline table."""
        start, stop = mark.value
        inside = self.text[start + 1 : stop - 1]
        kept = inside.rstrip()
        pair = f"{_key(name)} = {_spelt(value, digits)}"
        put = f", {pair}" if kept else f" {pair}" if inside else f" {pair} "
        return Splice(start + 1 + len(kept), "", put)

    def _with_row(self, path, value, digits):
        *table, number = path
        table = tuple(table)
        if (mark := self.own(table)) is not None:
            held = _value_at(tomllib.loads(self.text), table)
            return self._replaced(mark.value, _spelt([*held, value], digits))
        return self._with_section(table, value, digits, after=(*table, number - 1))

    def _with_section(self, path, value, digits, after=None):
        """A new [table], or a new [[row]] below the row `after`, or at the end."""
        row = after is not None
        name = ".".join(_key(part) for part in path)
        end = self.end_of_line
        body = "".join(f"{_key(key)} = {_spelt(item, digits)}{end}" for key, item in value.items())
        section = f"[[{name}]]{end}{body}" if row else f"[{name}]{end}{body}"
        at = self._section(self.headers[after])[1] if after in self.headers else len(self.text.rstrip())
        rest = self.text[at:]
        if not rest.strip():
            return Splice(at, rest, (end * 2 if at else "") + section)
        return Splice(at, "", self._broken(at) + end + section)

    def _section(self, header):
        """From a table's header to the end of its last key, its own tables included."""
        path = self.lines[header].path
        last = header
        while last + 1 < len(self.lines) and (last + 1 not in self.headers.values() or self.lines[last + 1].path[: len(path)] == path):
            last += 1
        return self.lines[header].start, self.lines[last].end

    def _without(self, path):
        if path in self.headers:
            start, end = self._section(self.headers[path])
            # The blank lines below it go too, unless it is followed by nothing but them.
            blank = re.compile(r"(?:[ \t]*\r?\n)*").match(self.text, end).end()
            return [Splice(start, self.text[start:blank], "")]
        mark = self.own(path)
        if mark is None:
            return self._without_all(path)
        line = next((line for line in self.lines if line.mark is mark), None)
        if line is not None:
            return [Splice(line.start, self.text[line.start : line.end], "")]
        held = _value_at(tomllib.loads(self.text), path[:-1])
        if isinstance(held, list):
            kept = [item for number, item in enumerate(held) if number != path[-1]]
            return [self._replaced(self.own(path[:-1]).value, _spelt(kept, None))]
        return [self._out_of_braces(mark)]

    def _without_all(self, path):
        """Every line whose dotted key, or every table whose header, begins with a path; from the last back."""
        cut = []
        for number, line in reversed(list(enumerate(self.lines))):
            if line.path[: len(path)] == path:
                start, end = self._section(number) if number in self.headers.values() else (line.start, line.end)
                if not any(start < splice.at + len(splice.cut) and splice.at < end for splice in cut):
                    cut.append(Splice(start, self.text[start:end], ""))
        return cut

    def _out_of_braces(self, mark):
        """A key of an inline table, with the comma behind it, or before it where it is the last."""
        start, stop = mark.key[0], mark.value[1]
        if behind := re.compile(r"\s*,[ \t]*").match(self.text, stop):
            stop = behind.end()
        elif before := re.search(r"\s*,\s*$", self.text[:start]):
            start = before.start()
        return Splice(start, self.text[start:stop], "")

    def _line_end(self, at):
        end = self.text.find("\n", at)
        return len(self.text) if end < 0 else end + 1

    def _broken(self, at):
        """The end of line that is missing where the file's last line has none."""
        return "" if not at or self.text[at - 1] == "\n" else self.end_of_line


def _value_at(typed, path):
    for part in path:
        typed = typed[part]
    return typed


def _key(name) -> str:
    return name if _BARE.fullmatch(name) else tomlkit.item(name).as_string()


def _spelt(value, digits: int | None) -> str:
    """A value as TOML, on one line; numbers without more digits than a maker can measure."""
    if isinstance(value, Mapping):
        pairs = ", ".join(f"{_key(key)} = {_spelt(item, digits)}" for key, item in value.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_spelt(item, digits) for item in value) + "]"
    if isinstance(value, float):
        value = int(value) if value.is_integer() else value if digits is None else round(value, digits)
    return tomlkit.item(value).as_string()
