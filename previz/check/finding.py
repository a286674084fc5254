"""
Findings: what a rule says about the set, and the list of rules.

A rule is a function of the study that yields findings; `@rule("clearance")` puts it on the list under the name
of the thing that it judges. Rules decide nothing about how they are shown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

LEVELS = ("stop", "care", "ok")
"""From what must change before the day, by what to keep an eye on, to what was looked at and is in order."""


@dataclass(frozen=True)
class Finding:
    """
    One sentence and one remedy.

    level    one of `LEVELS`
    about    what it concerns: a shot's, a lamp's or an opening's name, "haze", "the set"
    says     the finding, one sentence
    remedy   what to do about it, one sentence; empty for "ok"
    """

    level: str
    about: str
    says: str
    remedy: str = ""

    def __post_init__(self):
        if self.level not in LEVELS or bool(self.remedy) == (self.level == "ok"):
            raise ValueError(f"a finding of level {self.level!r} with remedy {self.remedy!r}")


RULES: dict[str, Callable[..., Iterable[Finding]]] = {}

ORDER = ("fit", "focus", "seen", "gear", "rigging", "light", "shown", "wander", "thickness", "clock", "pace", "flicker", "day", "cautions")
"""Modules of rules in the order that their findings are read in, whichever is imported first; others follow."""


def rule(name: str):
    """Register a rule under `name`. ValueError if the name is taken."""

    def register(function):
        if name in RULES:
            raise ValueError(f"there is a rule named {name!r} already")
        RULES[name] = function
        return function

    return register


def findings(study) -> list[Finding]:
    """Return what every rule says about `study`: by level, then in the order of the rules, then as each gives them."""
    said = [finding for judge in sorted(RULES.values(), key=_place) for finding in judge(study)]
    return sorted(said, key=lambda finding: LEVELS.index(finding.level))


def _place(judge: Callable) -> int:
    module = judge.__module__.rpartition(".")[2]
    return ORDER.index(module) if module in ORDER else len(ORDER)
