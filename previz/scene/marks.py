"""
Where in a TOML text each value stands, so that a fault can show its line.

Takes text; gives a Mark for every key path: tables ("haze",), rows of [[tables]] ("lamp", 0), keys ("lamp", 0, "at"),
members of lists and inline tables ("lamp", 0, "at", 2). The parsers of TOML keep no such marks. The text need not be
sound: the scan goes as far as it can and then stops, and the parser says what is wrong there.

Also the two limits that keep a parser from choking: how deep brackets nest, and how many parts a dotted key has.
"""

from __future__ import annotations

import bisect
import re
from dataclasses import dataclass

from tomlkit import parse
from tomlkit.exceptions import TOMLKitError

DEEPEST = 32
MOST_PARTS = 16

_BLANK = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_LINE_END = re.compile(r"[^\n]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_PLAIN_VALUE = re.compile(r"[^\s,#\[\]{}]+(?: [0-9:.]+[^\s,#\[\]{}]*)?")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}' r"|'''.*?'{3,5}" r'|"(?:[^"\\\n]|\\.)*"' r"|'[^'\n]*'",
    re.DOTALL,
)

Path = tuple[str | int, ...]


@dataclass(frozen=True)
class Mark:
    """Offsets into the text: of a key (or a table's header) and of its value. A table's header has no value: both are equal."""

    key: tuple[int, int]
    value: tuple[int, int]


class TooDeep(Exception):
    """Brackets nest deeper than DEEPEST, or a dotted key has more than MOST_PARTS parts; holds the offset."""

    def __init__(self, offset: int):
        super().__init__(offset)
        self.offset = offset


class _Stopped(Exception):
    """The text is not TOML from here on."""


class Marks:
    """
    The marks of one text.

    marks  Mark by key path; of a key given twice, the second
    twice  (first, second) Mark of each key given twice
    """

    def __init__(self, text: str):
        self.text = text
        self._starts = [0] + [match.end() for match in re.finditer("\n", text)]
        self.marks: dict[Path, Mark] = {}
        self.twice: list[tuple[Mark, Mark]] = []
        _Scan(self).run()

    def nearest(self, path: Path) -> tuple[Path, Mark | None]:
        """Return the longest part of `path` that has a mark, and the mark; (), None where not even its table has one."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.marks:
                return path[:length], self.marks[path[:length]]
        return (), None

    def line_at(self, offset: int) -> int:
        """Return the line of an offset, counted from 1."""
        return bisect.bisect_right(self._starts, offset)

    def column_at(self, offset: int) -> int:
        """Return the column of an offset, counted from 0."""
        return offset - self._starts[self.line_at(offset) - 1]

    def line_text(self, line: int) -> str:
        """Return a line, counted from 1, without its end."""
        start = self._starts[min(line, len(self._starts)) - 1]
        return _LINE_END.match(self.text, start)[0].rstrip("\r")


class _Scan:
    """One pass over the text. Each method reads one thing of TOML's grammar and leaves `at` behind it."""

    def __init__(self, marks: Marks):
        self.text, self.marks, self.out = marks.text, marks.marks, marks
        self.at = 0
        self.table: Path = ()
        self.rows: dict[Path, int] = {}

    def run(self):
        """expressions: headers and key = value, one a line"""
        try:
            while self._skip(_BLANK) < len(self.text):
                self._header() if self.text[self.at] == "[" else self._pair(self.table, 0)
        except _Stopped:
            pass

    def _header(self):
        """[ key ] or [[ key ]]"""
        start, double = self.at, self.text.startswith("[[", self.at)
        self.at += 2 if double else 1
        parts = self._key()
        self._expect("]]" if double else "]")
        self.table = self._resolved(parts, double)
        mark = Mark((start, self.at), (self.at, self.at))
        self.marks[self.table] = mark
        for length in range(1, len(self.table)):
            self.marks.setdefault(self.table[:length], mark)

    def _resolved(self, parts, double):
        """The path of a header: names of [[rows]] mean their last row."""
        path: Path = ()
        for part in parts[:-1]:
            path = self._last_row(path + (part,))
        path += (parts[-1],)
        if not double:
            return self._last_row(path)
        self.rows[path] = self.rows.get(path, -1) + 1
        return path + (self.rows[path],)

    def _last_row(self, path):
        return path + (self.rows[path],) if path in self.rows else path

    def _pair(self, table, depth):
        """key = value"""
        start = self.at
        parts = self._key()
        key = (start, self._end_of_key)
        self._expect("=")
        self._skip(_SPACE)
        begin = self.at
        path = table + tuple(parts)
        self._value(path, depth)
        mark = Mark(key, (begin, self.at))
        for length in range(len(table) + 1, len(path)):
            self.marks.setdefault(path[:length], mark)
        if path in self.marks:
            self.out.twice.append((self.marks[path], mark))
        self.marks[path] = mark

    def _key(self):
        """part . part . part"""
        parts = []
        while True:
            self._skip(_SPACE)
            parts.append(self._key_part())
            self._end_of_key = self.at
            if len(parts) > MOST_PARTS:
                raise TooDeep(self.at)
            self._skip(_SPACE)
            if not self.text.startswith(".", self.at):
                return parts
            self.at += 1

    def _key_part(self):
        if match := _BARE_KEY.match(self.text, self.at):
            self.at = match.end()
            return match[0]
        match = _STRING.match(self.text, self.at)
        if not match or match[0].startswith(('"""', "'''")):
            raise _Stopped
        self.at = match.end()
        return _unquoted(match[0])

    def _value(self, path, depth):
        if depth > DEEPEST:
            raise TooDeep(self.at)
        first = self.text[self.at : self.at + 1]
        if first == "[":
            self._list(path, depth)
        elif first == "{":
            self._inline(path, depth)
        elif match := (_STRING if first in ("'", '"') else _PLAIN_VALUE).match(self.text, self.at):
            self.at = match.end()
        else:
            raise _Stopped

    def _list(self, path, depth):
        """[ value, value ] over as many lines as it likes"""
        self.at += 1
        for index in range(len(self.text)):
            self._skip(_BLANK)
            if self.text.startswith("]", self.at):
                break
            begin = self.at
            self._value(path + (index,), depth + 1)
            self.marks[path + (index,)] = Mark((begin, self.at), (begin, self.at))
            self._skip(_BLANK)
            if not self.text.startswith(",", self.at):
                break
            self.at += 1
        self._expect("]")

    def _inline(self, path, depth):
        """{ key = value, key = value }"""
        self.at += 1
        while not self.text.startswith("}", self._skip(_BLANK)):
            self._pair(path, depth + 1)
            self._skip(_BLANK)
            if not self.text.startswith(",", self.at):
                break
            self.at += 1
        self._expect("}")

    def _skip(self, pattern):
        self.at = pattern.match(self.text, self.at).end()
        return self.at

    def _expect(self, mark):
        self._skip(_SPACE)
        if not self.text.startswith(mark, self.at):
            raise _Stopped
        self.at += len(mark)


def _unquoted(token):
    """The name that a quoted key spells."""
    if token.startswith("'") or "\\" not in token:
        return token[1:-1]
    try:
        return str(parse(f"name = {token}")["name"])
    except TOMLKitError as error:
        raise _Stopped from error
