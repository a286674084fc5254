"""
A filled-in sheet: a CSV file that a maker typed from the paper of the shooting day, as measured values, or every fault of it.

Takes text and the fields of a scene; gives numbers in each field's own unit. Reads what spreadsheets write: comma, semicolon
or tab between cells, decimal comma or point, units typed behind numbers or in a column of their own, blank lines, remarks
that begin with #, UTF-8 or UTF-16 or an old Western code page. What is ambiguous is a fault, never a guess.

    field, measured, unit, planned, what        the first two in any order where a line of names says so; else in this order
    lamp.key.from A, 812 mm
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from previz.scene.draft import nearest
from previz.scene.faults import Fault, SceneFaults
from previz.sheets.fields import Field

LARGEST_BYTES = 1_000_000
NAMES = {"field": "field", "name": "field", "measured": "measured", "as shot": "measured", "value": "measured", "unit": "unit", "units": "unit", "planned": "", "what": ""}
UNITS = {
    "mm": {"mm": 1.0, "millimetres": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, '"': 25.4},
    "deg": {"deg": 1.0, "°": 1.0, "degree": 1.0, "degrees": 1.0},
    "lux": {"lux": 1.0, "lx": 1.0, "klx": 1000.0},
    "f": {"f": 1.0},
    "ISO": {"iso": 1.0},
    "fps": {"fps": 1.0, "frames/s": 1.0},
    "K": {"k": 1.0, "kelvin": 1.0},
    "s": {"s": 1.0, "sec": 1.0, "seconds": 1.0, "ms": 0.001, "min": 60.0},
}
"""What each unit may be typed as, and what it counts in the field's own; the inch is 25.4 mm (international yard and pound, 1959)."""
RANGES = {"mm": (-100_000.0, 100_000.0), "deg": (-360.0, 360.0), "lux": (1e-6, 1e9), "f": (0.31, 200.0), "ISO": (1e-3, 1e7), "fps": (1e-3, 10_000.0), "s": (0.0, 1e6), "K": (1000.0, 25_000.0)}
BLANK = ("", "-", "–", "—", "?")
_NUMBER = re.compile(r"(?P<sign>[+-]?) ?(?P<digits>(?:\d[\d.,' ]*)?\d|[.,]\d+)(?P<rest>.*)", re.S)
_GROUPED = re.compile(r"\d{1,3}([.,' ])\d{3}(\1\d{3})*")


@dataclass(frozen=True)
class Measured:
    """What was measured for a field, in its unit, on a line of the file from 1."""

    field: Field
    value: float
    line: int


class _Unclear(ValueError):
    """What a cell must be instead; its remedy."""


def blank_csv(scene_title: str, listed: tuple[Field, ...]) -> str:
    """Return an empty CSV of all fields, to be filled in and read back."""
    stream = io.StringIO()
    title = "".join(c if c.isprintable() else " " for c in scene_title)
    stream.write(f"# {title}: write what you measured into the second column; leave empty what you did not measure.\n")
    stream.write("# A place needs a height and either x and y or the tape from two corners; more is checked against each other.\n")
    rows = csv.writer(stream, lineterminator="\n")
    rows.writerow(["field", "measured", "unit", "planned", "what"])
    for one in listed:
        rows.writerow([one.name, "", one.unit, "" if one.planned is None else f"{one.planned:.1f}".removesuffix(".0"), one.says])
    return stream.getvalue()


def read_filled(path: Path, listed: tuple[Field, ...]) -> tuple[Measured, ...]:
    """
    Return what was measured, in the order of the file.

    Raises
    ------
    SceneFaults
        With every fault of the file: what was found, what is allowed, on which line.
    """
    return filled_from(_text_of(path), listed, path)


def filled_from(text: str, listed: tuple[Field, ...], path: Path) -> tuple[Measured, ...]:
    """Return what a text holds; `path` is what its faults call it."""
    reader = _Reader(path, {_folded(one.name): one for one in listed})
    lines = text.splitlines()
    bare = [re.sub(r'"[^"]*"', "", line) for line in lines if line.strip() and not line.lstrip().startswith("#")]
    reader.between = next((sign for sign in (";", "\t") if bare and sign in bare[0]), ",")
    rows = csv.reader((("\n" if line.lstrip().startswith("#") else line.replace("\0", "") + "\n") for line in lines), delimiter=reader.between)
    try:
        for cells in rows:
            reader.row([" ".join(unicodedata.normalize("NFC", cell).split()) for cell in cells], rows.line_num)
    except csv.Error as error:
        reader.fault(rows.line_num, "", "", f"this is no table: {error}", "Save it from the spreadsheet as CSV.")
    if not reader.found and not reader.faults:
        reader.fault(0, "", "", "nothing is measured in this file", "Write what you measured into the second column; `previz asshot SCENE --blank FILE` writes an empty one.")
    if reader.faults:
        raise SceneFaults(reader.faults)
    return tuple(reader.found.values())


class _Reader:
    """The file while it is read."""

    def __init__(self, path: Path, known: dict[str, Field]):
        self.path, self.known, self.between = path, known, ","
        self.columns: dict[str, int] | None = None
        self.found: dict[str, Measured] = {}
        self.faults: list[Fault] = []

    def fault(self, line: int, key: str, found: str, allowed: str, remedy: str) -> None:
        """Keep a fault."""
        self.faults.append(Fault(self.path, line, key, found[:60], allowed, remedy))

    def row(self, cells: list[str], line: int) -> None:
        """Read one line."""
        if not any(cells):
            return
        if self.columns is None:
            self.columns = {"field": 0, "measured": 1, "unit": 2}
            named = [NAMES.get(cell.casefold()) for cell in cells]
            if "field" in named:
                self.columns = {name: named.index(name) for name in ("field", "measured", "unit") if name in named}
                if "measured" not in named:
                    self.fault(line, "", ", ".join(cells), "the line of names must have a column called measured", "Call the column with your figures measured.")
                return
        name, measured, unit = (cells[self.columns[key]] if self.columns.get(key, 99) < len(cells) else "" for key in ("field", "measured", "unit"))
        field = self.known.get(_folded(name))
        if field is None:
            return self._unknown(line, name)
        if measured in BLANK:
            return
        if field.name in self.found:
            return self.fault(line, field.name, measured, f"was measured on line {self.found[field.name].line} already", "Leave one of the two, the better one.")
        try:
            if self._split_in_two(cells):
                raise _Unclear("a decimal comma between commas cannot be told from two cells", "Write a point, put the number in quotes, or save with semicolons between cells.")
            value = _checked(number_of(measured, field.unit, unit), field)
        except _Unclear as unclear:
            return self.fault(line, field.name, measured, *unclear.args)
        self.found[field.name] = Measured(field, value, line)

    def _split_in_two(self, cells) -> bool:
        """Whether a comma has cut a number: digits stand where the unit should."""
        after = cells[self.columns["measured"] + 1] if len(cells) > self.columns["measured"] + 1 else ""
        return self.between == "," and self.columns.get("unit") == self.columns["measured"] + 1 and re.fullmatch(r"\d+\D{0,9}", after) is not None

    def _unknown(self, line, name):
        if not name:
            return self.fault(line, "", "", "the name of the field is missing", "Write it in the first column, as on the sheet.")
        close = nearest(_folded(name), list(self.known))
        remedy = f'The nearest is "{self.known[close].name}".' if close else "`previz asshot SCENE --blank FILE` writes all names that this scene has."
        self.fault(line, "", name, "must be a field of this scene", remedy)


def _folded(name: str) -> str:
    return " ".join(unicodedata.normalize("NFC", name).casefold().split())


def number_of(text: str, unit: str, column: str = "") -> float:
    """
    Return the number that a maker typed, in `unit`; `column` is the unit column's cell.

    Raises
    ------
    ValueError
        With what must stand there and what to do: where it is no number, of another unit, or to be read in two ways.
    """
    text = text.replace("−", "-").replace("\u202f", " ").strip()
    if unit == "f":
        text = re.sub(r"^f\s*/?\s*", "", text, flags=re.I)
    if unit == "ISO":
        text = re.sub(r"^iso\s*", "", text, flags=re.I)
    fraction = re.fullmatch(r"1\s*/\s*(\d{1,6})\s*(s|sec|seconds)?", text) if unit == "s" else None
    if fraction and int(fraction[1]):
        return 1 / int(fraction[1])
    match = _NUMBER.fullmatch(text)
    if match is None or not match["digits"].isascii():
        raise _Unclear("must be a number", f"Write a number in {_spoken(unit)}, or leave the cell empty.")
    typed = match["rest"].strip() or column
    factor = _factor(typed, unit)
    return float(f"{match['sign']}{_plain(match['digits'])}") * factor


def _factor(typed: str, unit: str) -> float:
    known = UNITS[unit]
    for name in (typed.casefold(), typed.casefold().rstrip(".")):
        if name in known or not name:
            return known.get(name, 1.0)
    raise _Unclear(f"must be in {_spoken(unit)}", f"It may be written {', '.join(known)}, or without a unit.")


def _spoken(unit: str) -> str:
    return {"deg": "degrees", "f": "f-numbers", "s": "seconds", "K": "kelvin"}.get(unit, unit)


def _plain(digits: str) -> str:
    """Return digits as Python reads them; one comma before three digits could be thousands or a decimal, and is refused."""
    digits = digits.replace("'", " ")
    signs = [c for c in digits if c in "., "]
    if not signs:
        return digits
    last, grouped = signs[-1], _GROUPED.fullmatch(digits)
    if grouped and (len(signs) > 1 or last == " "):
        return re.sub(r"[., ]", "", digits)
    whole, _, part = digits.rpartition(last)
    if last == " " or (len(signs) > 1 and (last in whole or not _GROUPED.fullmatch(whole))):
        raise _Unclear("must be one number", "Write it with one decimal point and nothing between thousands.")
    if last == "," and grouped and not digits.startswith("0"):
        either = digits.replace(",", ""), digits.replace(",", ".")
        raise _Unclear(f"could be {either[0]} or {either[1]}", f"Write {either[0]}, or {either[1]} with a point.")
    return re.sub(r"[., ]", "", whole) + "." + part


def _checked(value: float, field: Field) -> float:
    low, high = (-90.0, 90.0) if field.key == "tilt" else (0.01, 360.0) if field.key == "shutter" and field.unit == "deg" else RANGES[field.unit]
    if field.key.startswith("from "):
        low = 0.0
    if field.unit == "mm" and field.key.startswith(("focus", "width", "height", "diameter")):
        low = 0.1
    if not low <= value <= high:
        raise _Unclear(f"must be from {low:g} to {high:g}", f"It is in {_spoken(field.unit)}; measure it again.")
    return value


def _text_of(path: Path) -> str:
    try:
        with Path(path).open("rb") as file:
            data = file.read(LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "this cannot be a file's name"
        raise SceneFaults([Fault(path, 0, "", "", f"it cannot be read: {reason}", "Check the name given to --marks.")]) from None
    if len(data) > LARGEST_BYTES:
        raise SceneFaults([Fault(path, 0, "", "", "the file is too large for a filled-in sheet", "At most 1 MB are read.")])
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        # What spreadsheets on Western systems write where they are not asked for UTF-8.
        return data.decode("cp1252", errors="replace")
