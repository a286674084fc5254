"""
Every message whole, as its reader sees it.

messages.txt holds the cases: a title after ===, a file (@room stands for the room below), and after --- what is printed.
Every message there was read by eye before it was taken in.
"""

import re
import tomllib
from pathlib import Path

import pytest

from previz.scene import crossrefs, plane
from previz.scene.faults import SceneFaults
from previz.scene.read import scene_from
from previz.scene.tables import drafted


ROOM = """\
[[room]]
name = "hall"
plan = [[0, 0], [300, 0], [300, 200], [0, 200]]
walls = ["south", "east", "north", "west"]
height = 100
"""


def cases():
    """Return {title: (file, message)}."""
    text = Path(__file__).with_name("messages.txt").read_text(encoding="utf-8")
    found = {}
    for block in re.split(r"^=== ", text, flags=re.MULTILINE)[1:]:
        title, rest = block.split("\n", 1)
        typed, message = rest.split("---\n", 1)
        found[title] = typed.replace("@room\n", ROOM), message.rstrip("\n")
    return found


CASES = cases()


@pytest.mark.parametrize("title", CASES)
def test_message_is_whole(title):
    """File, line, key, rule, what was found, the line with its mark, and the remedy."""
    typed, expected = CASES[title]
    with pytest.raises(SceneFaults) as caught:
        scene_from(typed, Path("s.toml"))
    assert expected == str(caught.value)
    assert caught.value.exit_code == 2


@pytest.mark.parametrize("title", CASES)
def test_message_speaks_to_a_maker(title):
    """No blank is left unfilled, no word of a library shows, and every fault has a remedy that ends as a sentence."""
    _, message = CASES[title]
    # what was typed may say anything; the words around it may not
    ours = "\n".join(line for line in message.splitlines() if not line.startswith("    "))
    assert not re.search(r"pydantic|input should|validation|constrained|None|\{\}|tuple|dict\b|traceback", ours, re.IGNORECASE)
    with pytest.raises(SceneFaults) as caught:
        scene_from(CASES[title][0], Path("s.toml"))
    assert all(fault.remedy.endswith((".", "?")) for fault in caught.value.faults)


@pytest.mark.parametrize("rule", [*crossrefs.RULES, *plane.RULES], ids=lambda rule: rule.__name__)
def test_each_rule_has_its_message(rule):
    """No rule goes without a case above."""
    assert any(_breaks(rule, typed) for typed, _ in CASES.values())


def _breaks(rule, typed):
    try:
        values = tomllib.loads(typed)
    except ValueError:
        return False
    return any(True for _ in rule(drafted(values)[0]))
