"""
What is wrong where a file is not TOML, and the likely fix.

Takes the text and the parser's complaint; gives offsets, words and a remedy. Knows the slips that makers type: a colon
for the equals sign, a comma for the decimal point, a unit behind a number, a bracket or quote left open.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import NamedTuple

from previz.scene.faults import Fault, SceneFaults
from previz.scene.marks import Marks, TooDeep
from previz.scene.text import too_deep

_MOST = 20
_LONGEST_REREAD = 200_000
_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_ROWS = ("room", "opening", "prop", "lamp", "shot")


class Slip(NamedTuple):
    """One place that is not TOML: line from 1, columns from 0 and up to, what is wrong, what to do."""

    line: int
    span: tuple[int, int]
    says: str
    remedy: str


def values_of(text: str, path: Path) -> tuple[dict, Marks]:
    """Return the plain values of a TOML text and where each stands; SceneFaults, which call the file `path`, where it is no TOML."""
    try:
        marks = Marks(text)
    except TooDeep as error:
        raise too_deep(path, text, error.offset) from None
    typed, slips = parsed(text, marks)
    if slips:
        raise SceneFaults([Fault(path, s.line, "", "", s.says, s.remedy, marks.line_text(s.line), s.span) for s in slips])
    return typed, marks


def parsed(text: str, marks: Marks) -> tuple[dict, list[Slip]]:
    """
    Return the plain values of a TOML text, and where it is not TOML.

    Each slip that ends with its line is blanked out and the rest read on, so that several come in one go; the values
    are complete only if there are none.
    """
    slips: list[Slip] = []
    lines = text.split("\n")
    while True:
        try:
            return tomllib.loads("\n".join(lines)), slips
        except (ValueError, RecursionError) as error:
            slip = _slip("\n".join(lines), str(error), marks)
        again = bool(slips) and slip.line <= slips[-1].line
        if not again:
            slips.append(slip)
        stuck = again or len(slips) == _MOST or len(text) > _LONGEST_REREAD
        if stuck or not _self_contained(lines[slip.line - 1]):
            return {}, slips
        lines[slip.line - 1] = ""


def _self_contained(line):
    """Whether a line is a statement of its own: it opens nothing that the next line would have to close."""
    bare = re.sub(r'"[^"]*"|\'[^\']*\'|#.*', "", line)
    return (
        bool(re.match(r"\s*[\w.\"'-]+\s*[=:]", line))
        and all(bare.count(a) == bare.count(b) for a, b in ("[]", "{}"))
        and '"""' not in line
        and "'''" not in line
    )


def _slip(text, complaint, marks):
    """Put the parser's complaint in a maker's words."""
    match = _PLACE.search(complaint)
    reason = complaint[: match.start()] if match else complaint
    lines = text.split("\n")
    if match and match[1]:
        line, column = int(match[1]), int(match[2]) - 1
    else:
        line = max((i + 1 for i, row in enumerate(lines) if row.strip()), default=1)
        column = len(lines[line - 1].rstrip())
    source = lines[line - 1].rstrip("\r")
    twice = _twice(reason, line, source, marks)
    if twice:
        return twice
    if "Illegal character '\\n'" in reason or (not source.strip() and line > 1):
        line, source, column = _last_written(lines, line, column)
    says, remedy = _in_words(reason, source, column)
    says = says.replace("a list is", f"the list of {_opened(lines, line)} is")
    column = min(column, max(len(source.rstrip()) - 1, 0))
    return Slip(line, _word_at(source, column), says, remedy)


def _opened(lines, line):
    """The key whose list is open at a line, and where it begins if that is elsewhere."""
    for number in range(line, max(line - 2000, 0), -1):
        if match := re.match(r"\s*([\w.-]+)\s*=\s*\[", lines[number - 1]):
            return match[1] if number == line else f"{match[1]}, begun on line {number},"
    return "this key"


def _last_written(lines, line, column):
    """The line that a complaint about a line's end, or about an empty line, is really about."""
    while line > 1 and not lines[line - 1].strip():
        line -= 1
        column = len(lines[line - 1])
    return line, lines[line - 1].rstrip("\r"), column


def _word_at(source, column):
    """The columns of the run of characters at a column."""
    match = re.compile(r"[^\s,=\[\]{}]+").match(source, column)
    return (column, match.end()) if match else (column, column + 1)


def _twice(reason, line, source, marks):
    """A key or a table that is given twice."""
    if match := re.match(r"Cannot declare \((.*?),?\) twice", reason):
        name = ".".join(part.strip(" '\"") for part in match[1].split(","))
        rows = name in _ROWS
        remedy = f"Write [[{name}]], in double brackets, above each." if rows else f"Join them under one [{name}]."
        return Slip(line, _trimmed(source), f"[{name}] is given twice", remedy)
    if reason.startswith(("Cannot overwrite", "Duplicate inline table key", "Cannot mutate", "Cannot redefine")):
        match = re.match(r"\s*([^=]*?)\s*=", source)
        inline = re.search(r"key '(.*)'$", reason)
        key = inline[1] if inline else match[1] if match else source.strip().strip("[]").strip()
        span = match.span(1) if match else _trimmed(source)
        first = next((marks.line_at(a.key[0]) for a, b in marks.twice if marks.line_at(b.key[0]) == line), None)
        if key.strip() in _ROWS:
            return Slip(line, span, f"{key} is given in two ways", f"Write [[{key}]], in double brackets, above each.")
        where = f", first on line {first}" if first and first != line else ""
        return Slip(line, span, f"{key} is given twice{where}", "Keep one of the two.")
    return None


def _trimmed(source):
    """The columns of a line without the blanks around it."""
    return len(source) - len(source.lstrip()), len(source.rstrip())


def _in_words(reason, source, column):
    """(what is wrong, remedy) for one line."""
    for test in (_quote_slip, _colon_slip, _value_slip, _open_slip):
        if found := test(source, reason):
            return found
    for start, says, remedy in _COMPLAINTS:
        if reason.startswith(start):
            return says, remedy
    return "this cannot be read", "Write key = value, one a line; text in quotes, lists in [ ], comments after #."


_COMPLAINTS = (
    ("Unclosed array", "a list is not closed, or lacks a comma", "Put a comma between its items and close it with ]."),
    ("Unclosed inline table", "a { } table is not closed, or lacks a comma", "Put a comma between its keys and close it with }."),
    ("Expected '=' after", "= is missing after a key", "Write key = value."),
    ("Expected ']' at", "a table's name is not closed", "Close it with ], like [haze]."),
    ("Expected ']]' at", "a table's name is not closed", "Close it with ]], like [[lamp]]."),
    ("Expected newline", "there is something behind the end of the value", "Write one key = value a line; comments begin with #."),
    ("Invalid initial character for a key", "no key can begin like this", "Write key = value, a [table] or a # comment."),
    ("Invalid statement", "no line can begin like this", "Write key = value, a [table] or a # comment."),
    ("Unterminated string", "a text's closing quote is missing", "Close the text with the quote that it began with."),
    ("Expected", "a text's closing quote is missing", "Close the text with the quote that it began with."),
    ("Unescaped '\\'", "\\ stands inside double quotes", "Use single quotes, or / in file names: 'props/clock.stl'."),
    ("Illegal character", "a character that may not stand here", "Remove it, or close the text before it with its quote."),
    ("Exceeds the limit", "a number has too many digits", "Write fewer digits."),
    ("Invalid date", "no such date or time", "Text goes in quotes."),
)


def _open_slip(source, reason):
    """A list that goes on to the end of the file, or a comment of another language."""
    if reason.startswith("Invalid value") and re.search(r"[\[,]\s*$", source):
        return _COMPLAINTS[0][1:]
    if reason.startswith(("Expected newline", "Invalid statement")) and re.search(r"//|;|--", source):
        return "comments begin with #", "Put # in front of the comment."
    return None


def _quote_slip(source, reason):
    if re.search(r"=\s*[“”„«]|[“”„]", source):
        return "curly quotes do not mark text", 'Use straight quotes: "like this".'
    bare = re.sub(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'", "", source).split("#")[0]
    if bare.count('"') % 2 or (bare.count("'") % 2 and '"' not in bare):
        if "Unescaped" not in reason:
            return "a text's closing quote is missing", "Close the text with the quote that it began with."
    return None


def _colon_slip(source, reason):
    match = re.match(r"\s*([A-Za-z_][\w-]*)\s*:\s*(.*)", source)
    if match and not reason.startswith("Unclosed"):
        return "a colon stands where = belongs", f"Write {match[1]} = {match[2].strip()[:40]}".rstrip() + "."
    return None


def _value_slip(source, reason):
    """The slips of a single value behind key =."""
    match = re.match(r"\s*([\w.\"'-]+)\s*=\s*([^#]*?)\s*(?:#.*)?$", source)
    if not match or reason.startswith("Unclosed"):
        return None
    key, value = match[1], match[2]
    if colour := re.fullmatch(r"\s*[^#]*=\s*(#[0-9a-fA-F]{6})\b.*", source):
        return "a colour stands in quotes, else # begins a comment", f'Write {key} = "{colour[1]}".'
    for pattern, says, better in _VALUES:
        if found := re.fullmatch(pattern, value):
            return says, f"Write {key} = {better(found)}." if better else "Write a value after =."
    return None


_VALUES = (
    (r"", "the value is missing", None),
    (r"(?i)(true|false|yes|no|on|off)", "a switch is true or false, in small letters", lambda m: "true" if m[1].lower() in ("true", "yes", "on") else "false"),
    (r"([+-]?\d+),(\d+)", "a comma stands where the decimal point belongs", lambda m: f"{m[1]}.{m[2]}"),
    (r"([+-]?\d+(?:\.\d+)?)\s*[A-Za-z°%/\"'][\w/°²]*", "a number is written without its unit", lambda m: m[1]),
    (r"([+-]?)(\.\d+)", "a number begins with a digit", lambda m: f"{m[1]}0{m[2]}"),
    (r"([+-]?\d+)\.", "a number does not end with a point", lambda m: m[1]),
    (r"([+-]?)0+(\d+(?:\.\d+)?)", "a number does not begin with 0", lambda m: m[1] + m[2]),
    (r"1:(\d+)", "a scale is written as one number", lambda m: m[1]),
    (r"\(([^()\"']*)\)", "lists stand in square brackets", lambda m: f"[{m[1]}]"),
    (r"([A-Za-z_][\w -]*)", "text stands in quotes", lambda m: f'"{m[1]}"'),
    (r"#?([0-9a-fA-F]{6})", "text stands in quotes", lambda m: f'"#{m[1]}"'),
)
