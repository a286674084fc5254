"""Photometric files as they come: every edition, symmetry and unit; what is wrong with a bad one, and where."""

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from previz.light.distribution import Distribution
from previz.light.lm63 import Lm63Fault, parsed, read_lm63

BARE = "TILT=NONE\n1 -1 1 3 1 1 2 0 0 0\n1 1 10\n0 45 90\n0\n100 50 0\n"


def file(horizontal, planes, *, vertical="0 45 90", kind=1):
    """Return the text of a file with these horizontal angles and candela planes."""
    return f"TILT=NONE\n1 -1 1 {len(vertical.split())} {len(horizontal.split())} {kind} 2 0 0 0\n1 1 10\n{vertical}\n{horizontal}\n{planes}\n"


class TestEditions:
    """1986 to 2019."""

    @pytest.mark.parametrize("header", ["", "IESNA91\n", "IESNA:LM-63-1995\n[TEST] A1\n", "IESNA:LM-63-2002\n[MANUFAC] none\n[MORE] at all\n", "IES:LM-63-2019\n[OTHER] TILTED\n", "A lamp of 1986\nwithout a header\n"])
    def test_header(self, header):
        """What stands before TILT= changes no figure."""
        assert parsed(header + BARE).candela == pytest.approx(np.array([[100, 50, 0]]))

    @pytest.mark.parametrize("change", [lambda t: t.replace(" ", ","), lambda t: t.replace(" ", "\n"), lambda t: t.replace("\n", "\r\n"), lambda t: t.replace("\n", " ").replace("NONE ", "NONE\n")])
    def test_one_stream(self, change):
        """Commas, ends of lines anywhere, none at all."""
        found, plain = parsed(change(BARE)), parsed(BARE)
        np.testing.assert_array_equal(found.candela, plain.candela)
        np.testing.assert_array_equal(found.vertical_deg, plain.vertical_deg)

    def test_multipliers(self):
        """Candela multiplier, ballast factor and ballast-lamp factor; none of them touches the sizes."""
        text = BARE.replace("1 -1 1 3 1 1 2 0 0 0\n1 1 10", "1 -1 2 3 1 1 1 1 -0.5 0\n0.9 0.5 10")
        found = parsed(text)
        assert found.candela[0, 0] == pytest.approx(90) and (found.width_mm, found.length_mm) == pytest.approx((304.8, -152.4))

    def test_tilt(self):
        """TILT=INCLUDE: linear between its angles."""
        found = parsed(BARE.replace("TILT=NONE", "TILT=INCLUDE\n1 3 0 90 180 1.0 0.8 0.9"))
        assert [found.tipped(x) for x in (0, 45, 90, 135)] == pytest.approx([1, 0.9, 0.8, 0.85])
        assert parsed(BARE).tipped(70) == 1


class TestSymmetry:
    """What the file leaves out is filled in."""

    @pytest.mark.parametrize(
        ("horizontal", "values", "wanted"),
        [
            ("0", [1], [1, 1, 1, 1]),
            ("0 90", [1, 2], [1, 2, 1, 2]),
            ("0 90 180", [1, 2, 3], [1, 2, 3, 2]),
            ("90 180 270", [1, 2, 3], [2, 1, 2, 3]),
            ("0 90 180 270 360", [1, 2, 3, 4, 1], [1, 2, 3, 4]),
        ],
    )
    def test_planes(self, horizontal, values, wanted):
        """The level at 45 degrees from the axis, to the left and then anticlockwise as the lamp looks."""
        spread = parsed(file(horizontal, "\n".join(f"9 {v} 0" for v in values))).distribution
        assert spread.towards(np.full(4, np.pi / 4), np.radians([0, 90, 180, 270])) == pytest.approx(wanted)

    def test_dark_beyond_the_angles(self):
        """Nothing is invented where nothing was measured."""
        spread = parsed(BARE).distribution
        assert spread.towards(np.radians([22.5, 100, 180]), 0.0) == pytest.approx([75, 0, 0])

    def test_flux_of_a_sphere(self):
        """100 cd all round are 400 pi lumens."""
        spread = parsed(file("0", "100 100 100", vertical="0 90 180")).distribution
        assert spread.lumens == pytest.approx(400 * np.pi) and spread.width_deg(0.5) == 360

    def test_type_a_counts_to_the_right(self):
        """Horizontal angles of types A and B are clockwise (LM-63-02, section 3; excerpt seen)."""
        spread = parsed(file("-90 0 90", "0 0 0\n0 5 0\n0 7 0", vertical="-90 0 90", kind=3)).distribution
        left, right = spread.towards(np.radians([80, 80]), np.radians([0, 180]))
        assert left < 1 and right > 6

    def test_halves_of_type_b(self):
        """Angles from 0 on stand for both sides."""
        spread = parsed(file("0 45 90", "8 4 0\n4 2 0\n0 0 0", kind=2)).distribution
        assert spread.towards(np.radians([45] * 4), np.radians([0, 90, 180, 270])) == pytest.approx([4, 4, 4, 4])


class TestFaults:
    """What is wrong, where, and what to do."""

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ("", "TILT="),
            ("no lamp", "TILT="),
            (BARE.replace("3 1 1 2", "4 1 1 2"), "vertical angles must rise"),
            (BARE.replace("100 50 0", "100 50"), "candela 3 of 3 at horizontal angle 0 is missing"),
            (BARE.replace("100 50 0", "100 50 0 0 0"), "2 more numbers, from line 6"),
            (BARE.replace("100 50", "100 -50"), "-50 on line 6"),
            (BARE.replace("0 45 90", "0 45 1e9"), "1e9 on line 4"),
            (BARE.replace("0 45 90", "0 45 ninety"), "ninety on line 4"),
            (BARE.replace("0 45 90", "0 45 nan"), "nan on line 4"),
            (BARE.replace("0 45 90", "0 90 45"), "45 after 90"),
            (BARE.replace("3 1 1 2", "3 1 4 2"), "4 on line 2"),
            (BARE.replace("3 1 1 2", "2.5 1 1 2"), "2.5 on line 2"),
            (BARE.replace("3 1 1 2", "3 999999999 1 2"), "999999999 on line 2"),
            (BARE.replace("100 50 0", "0 0 0"), "must give some light"),
            (BARE.replace("NONE", "lamp.tlt"), "TILT=lamp.tlt on line 1"),
            (file("0 120", "1 1 1 2 2 2"), "0 to 120"),
        ],
    )
    def test_fault(self, text, words):
        """A sentence with the place in it, and a remedy."""
        with pytest.raises(Lm63Fault, match=re.escape(words)) as fault:
            parsed(text)
        assert fault.value.remedy.endswith(".")

    @pytest.mark.parametrize("content", [None, b"\0\1\2", b"x" * 5_000_000])
    def test_unreadable(self, content, tmp_path):
        """Missing, binary or far too large."""
        if content is not None:
            (tmp_path / "a.ies").write_bytes(content)
        with pytest.raises(Lm63Fault):
            read_lm63(tmp_path / "a.ies")
        with pytest.raises(Lm63Fault):
            read_lm63(tmp_path)


WORDS = st.one_of(st.sampled_from(["0", "1", "2", "3", "90", "180", "-1", "1e9", "1e309", "nan", "x", "0.5", ",", "\n", "TILT=NONE", "1_0", "\x85", "\u0663"]), st.integers(-5, 400).map(str))


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.text(max_size=200), st.lists(WORDS, max_size=40).map(lambda words: "TILT=NONE\n" + " ".join(words))))
@example(BARE)
@example("TILT=INCLUDE")
def test_any_text_is_read_or_refused(text):
    """Sound figures or a fault, nothing else."""
    try:
        spread = parsed(text).distribution
    except Lm63Fault:
        return
    assert isinstance(spread, Distribution) and np.isfinite(spread.candela).all() and (spread.candela >= 0).all() and spread.lumens >= 0


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_a_damaged_file_is_read_or_refused(data):
    """A good file with a piece changed."""
    text = (Path(__file__).parents[1] / "outside" / "REF-B.ies").read_text()
    a = data.draw(st.integers(0, len(text)))
    b = data.draw(st.integers(a, min(len(text), a + 12)))
    try:
        spread = parsed(text[:a] + data.draw(st.one_of(WORDS, st.text(max_size=4))) + text[b:]).distribution
    except Lm63Fault:
        return
    assert np.isfinite(spread.candela).all() and (spread.candela >= 0).all()
