"""Line marks: every key path of a file knows where it stands."""

import time
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from previz.scene.marks import DEEPEST, MOST_PARTS, Marks, TooDeep

TEXT = '''title = "x"   # [not.a.table]
a.b.c = [1,
  2, {q = "]", r = [3]}]
[[room]]
name = 'a # b'
plan = [[0, 0],
  [1, 2], # a comment, with ] and "
  [3, 4],
]
[room.roof]
pitch = 1979-05-27 07:32:00
[[room]]
"na me" = """x
y = 5"""
after = -1e5
[finish."oa\\u006b"]
reflect = 0.5
[[room.shelf]]
[[room.shelf]]
size = 3
'''
PLACES = [
    (("title",), 1, '"x"'),
    (("a", "b"), 2, None),
    (("a", "b", "c", 0), 2, "1"),
    (("a", "b", "c", 1), 3, "2"),
    (("a", "b", "c", 2, "r", 0), 3, "3"),
    (("room", 0), 4, ""),
    (("room", 0, "name"), 5, "'a # b'"),
    (("room", 0, "plan"), 6, None),
    (("room", 0, "plan", 1), 7, "[1, 2]"),
    (("room", 0, "plan", 2, 1), 8, "4"),
    (("room", 0, "roof"), 10, ""),
    (("room", 0, "roof", "pitch"), 11, "1979-05-27 07:32:00"),
    (("room", 1), 12, ""),
    (("room", 1, "na me"), 13, '"""x\ny = 5"""'),
    (("room", 1, "after"), 15, "-1e5"),
    (("finish", "oak", "reflect"), 17, "0.5"),
    (("room", 1, "shelf", 1, "size"), 20, "3"),
]


class TestPlaces:
    """Tables, rows, dotted keys, inline tables, lists and strings over several lines."""

    @pytest.mark.parametrize(("path", "line", "value"), PLACES)
    def test_line_and_value(self, path, line, value):
        """Each path has its own line and the text of its value."""
        marks = Marks(TEXT)
        mark = marks.marks[path]
        assert line == marks.line_at(mark.value[0] if value else mark.key[0])
        if value is not None:
            assert value == TEXT[slice(*mark.value)]

    def test_windows_line_ends(self):
        """Carriage returns belong to the line's end."""
        marks = Marks(TEXT.replace("\n", "\r\n"))
        assert 17 == marks.line_at(marks.marks["finish", "oak", "reflect"].key[0])
        assert "reflect = 0.5" == marks.line_text(17)

    def test_nearest(self):
        """What is not in the file stands where its table does."""
        path, mark = Marks(TEXT).nearest(("room", 0, "roof", "ridge"))
        assert ("room", 0, "roof") == path
        assert "[room.roof]" == TEXT[slice(*mark.key)]
        assert ((), None) == Marks(TEXT).nearest(("haze", "g"))


def leaves(value, path=()):
    """Yield the path of everything in plain values."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, item in items:
        yield (*path, key)
        yield from leaves(item, (*path, key))


class TestAgainstParser:
    """The standard library's TOML parser is the judge."""

    @pytest.mark.parametrize("text", [TEXT, TEXT.replace("\n", "\r\n")])
    def test_every_value_has_a_mark(self, text):
        """No key path goes unmarked, and none is invented."""
        assert set(leaves(tomllib.loads(text))) == set(Marks(text).marks)

    @given(st.text(alphabet="ab.=[]{}\"'\\#,\n 1-", max_size=60))
    def test_marks_agree_on_any_text(self, text):
        """Whatever the parser can read, the scan marks whole; whatever it cannot, the scan survives."""
        marks = Marks(text)
        try:
            values = tomllib.loads(text)
        except (tomllib.TOMLDecodeError, ValueError):
            return
        assert set(leaves(values)) == set(marks.marks)


class TestLimits:
    """What would choke a parser is refused before it gets there."""

    @pytest.mark.parametrize(
        "text",
        ["a = " + "[" * 10_000, "a = " + "{b = " * 10_000, "a" + ".a" * 10_000 + " = 1", "[" + "a." * 10_000 + "a]"],
        ids=["lists", "inline tables", "dotted key", "header"],
    )
    def test_too_deep(self, text):
        """Refused at once."""
        begin = time.perf_counter()
        with pytest.raises(TooDeep):
            Marks(text)
        assert time.perf_counter() - begin < 1

    def test_just_deep_enough(self):
        """The limits themselves are allowed."""
        Marks("a = " + "[" * DEEPEST + "]" * DEEPEST)
        Marks(".".join("a" * MOST_PARTS) + " = 1")
