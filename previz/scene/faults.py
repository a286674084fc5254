"""
Every way in which previz tells its user that something is wrong.

    PrevizError          exit 2   anything that previz reports in one plain message, without a traceback
        SceneFaults      exit 2   the maker's file: a list of Fault, all that were found
        OptionFault      exit 2   the command line: an option or argument
        OutsideFault     exit 3   the world outside: disk full, no permission, no video encoder

Takes what is wrong in words; gives the text that is printed. Knows nothing of TOML or of the model.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

SHOWN = 100
_WIDEST_LINE = 100


class PrevizError(Exception):
    """Something that its user can put right; `str()` is the whole message."""

    exit_code = 2


class OptionFault(PrevizError):
    """An option or argument of a command is wrong."""

    def __init__(self, says: str, remedy: str = ""):
        super().__init__(f"{says}\n  {remedy}" if remedy else says)
        self.says, self.remedy = says, remedy


class OutsideFault(OptionFault):
    """Something outside previz failed: the disk, a permission, an encoder."""

    exit_code = 3


@dataclass(frozen=True)
class Fault:
    """
    One thing wrong in the maker's file.

    file     as the maker named it
    line     counted from 1; 0 where the fault is the file's as a whole
    key      where in the file: '[[lamp]] "key" lux_at_1m'; empty for the file as a whole
    found    what stands there, as typed; empty where nothing does
    allowed  what must stand there, from "must be" on, or what is wrong with it
    remedy   what to do about it: one or two sentences
    source   the line of the file; empty where it would not help
    span     columns of `source` to mark, from and up to; equal for no mark
    path     key path in the file, rows counted as typed; empty for the file as a whole
    """

    file: Path
    line: int
    key: str
    found: str
    allowed: str
    remedy: str
    source: str = ""
    span: tuple[int, int] = (0, 0)
    path: tuple[str | int, ...] = ()

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else f"{self.file}"
        parts = [place, self.key, self.allowed + (f" (got {self.found})" if self.found else "")]
        lines = [": ".join(part for part in parts if part), *self._quoted(), *(["  " + self.remedy] if self.remedy else [])]
        return "\n".join("".join(c if c.isprintable() else "?" for c in line) for line in lines)

    def _quoted(self) -> list[str]:
        """The source line, cut to a readable width around its mark, and the mark below it."""
        if not self.source.strip():
            return []
        start, stop = self.span
        lead = len(self.source) - len(self.source.lstrip())
        first = lead if stop - lead <= _WIDEST_LINE else max(start - 20, lead)
        shown = self.source[first : first + _WIDEST_LINE].rstrip()
        if stop <= start:
            return ["    " + shown]
        width = max(min(stop - first, len(shown)) - (start - first), 1)
        return ["    " + shown, "    " + " " * (start - first) + "^" * width]


class SceneFaults(PrevizError):
    """The maker's file is wrong; `faults` holds every fault found, in the order of the file."""

    def __init__(self, faults: list[Fault]):
        files = list(dict.fromkeys(fault.file for fault in faults))
        self.faults = sorted(faults, key=lambda fault: (files.index(fault.file), fault.line))
        super().__init__(self._message())

    def _message(self) -> str:
        shown = [str(fault) for fault in self.faults[:SHOWN]]
        rest = len(self.faults) - len(shown)
        if rest:
            shown.append(f"... and {rest:,} more. Put these right first.")
        if len(self.faults) > 1:
            files = dict.fromkeys(str(fault.file) for fault in self.faults)
            shown.append(f"{len(self.faults):,} faults in {' and '.join(files)}.")
        return "\n".join(shown)
