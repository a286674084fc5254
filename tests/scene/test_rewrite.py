"""A scene file rewritten: only what spells a changed value changes."""

import tomllib

import pytest

from previz.scene.rewrite import rewritten, spliced, splices

TEXT = """# my set
title = "x"  # mine

# the first lamp
[[lamp]]
name = "key"  # on the tall stand
at = [1, 2,  # measured twice
      3]
gel = { stops = 1, mired = 20 }

# a stool
[[prop]]
name = "stool"
at = [0, 0, 0]

# the second lamp, typed later
[[lamp]]
name = "fill"
at = [1, 2, 3]

[lens]
focal = 24  # as bought"""


def changed_lines(text, changes):
    """Return (lines gone, lines come) of a text rewritten."""
    before, after = text.splitlines(), rewritten(text, changes, None).splitlines()
    return [line for line in before if line not in after], [line for line in after if line not in before]


class TestOneValue:
    """A value that stands in the file already."""

    def test_comment_beside_it_stays(self):
        """The rest of its line is the maker's."""
        assert changed_lines(TEXT, {("lens", "focal"): 35.5}) == (["focal = 24  # as bought"], ["focal = 35.5  # as bought"])

    def test_rows_between_rows_of_another_table_stay_where_they_are(self):
        """Tables of two kinds may alternate in a file."""
        assert rewritten(TEXT, {("lamp", 1, "at"): [4, 5, 6]}, None) == TEXT.replace("at = [1, 2, 3]", "at = [4, 5, 6]")

    def test_one_number_of_a_list(self):
        """Comments inside a list stay where the list is not replaced as a whole."""
        assert rewritten(TEXT, {("lamp", 0, "at", 1): 7}, None) == TEXT.replace("[1, 2,  #", "[1, 7,  #")

    def test_a_table_as_a_whole_changes_key_by_key(self):
        """Its comments are the maker's too."""
        assert "focal = 35  # as bought\nstop = 16" in rewritten(TEXT, {("lens",): {"focal": 35, "stop": 16}}, None)


class TestComeAndGo:
    """Keys, tables and rows that are added or taken away."""

    @pytest.mark.parametrize(
        "path, value, come",
        [
            (("scale",), 24, ["scale = 24"]),
            (("lamp", 0, "dim"), 0.5, ["dim = 0.5"]),
            (("lamp", 0, "diffusion", "distance"), 90, ["diffusion = { distance = 90 }"]),
            (("haze", "extinction"), 1.5, ["[haze]", "extinction = 1.5"]),
            (("haze", "uneven", "size"), 30, ["[haze]", "uneven = { size = 30 }"]),
            (("finish", "old oak", "reflect"), 0.3, ['[finish."old oak"]', "reflect = 0.3"]),
            (("opening", 0), {"name": "slit", "at": [1.5, 2]}, ["[[opening]]", 'name = "slit"', "at = [1.5, 2]"]),
        ],
    )
    def test_added(self, path, value, come):
        """Nothing goes for what comes, also where the table on the way is missing."""
        assert changed_lines(TEXT, {path: value}) == ([], come)

    def test_a_new_row_stands_below_its_like(self):
        """Lamps with the lamps."""
        now = rewritten(TEXT, {("lamp", 2): {"name": "rim", "at": [7, 8, 9]}}, None)
        assert now.index('"fill"') < now.index('"rim"') < now.index("[lens]")

    def test_a_row_that_goes_takes_no_comment_of_another(self):
        """What stands above the next row is the next row's."""
        now = rewritten(TEXT, {("lamp", 0): None}, None)
        assert "# a stool\n[[prop]]" in now and '"key"' not in now

    def test_a_key_that_goes_takes_its_line(self):
        """And its comma, in braces."""
        assert changed_lines(TEXT, {("lamp", 0, "gel", "stops"): None, ("title",): None}) == (['title = "x"  # mine', "gel = { stops = 1, mired = 20 }"], ["gel = { mired = 20 }"])

    def test_other_ways_to_write_tables(self):
        """Dotted keys, rows in a list, ends of line of another system."""
        assert rewritten("haze.extinction = 1\n", {("haze", "g"): 0.5}) == "haze.extinction = 1\nhaze.g = 0.5\n"
        assert tomllib.loads(rewritten('lamp = [{ name = "a" }]\n', {("lamp", 1): {"name": "b"}})) == {"lamp": [{"name": "a"}, {"name": "b"}]}
        assert rewritten("[lens]\r\nfocal = 2\r\n", {("lens", "stop"): 16}) == "[lens]\r\nfocal = 2\r\nstop = 16\r\n"


class TestSplices:
    """What is cut and put can be taken back."""

    def test_back_again(self):
        """The inverse restores the very text."""
        made = splices(TEXT, [(("lamp", 0), None), (("lens", "focal"), 35), (("scale",), 3)])
        now = spliced(TEXT, made)
        assert spliced(now, [splice._replace(cut=splice.put, put=splice.cut) for splice in reversed(made)]) == TEXT

    def test_of_another_text(self):
        """A text that was changed otherwise is not touched."""
        with pytest.raises(ValueError, match="changed otherwise"):
            spliced(TEXT[5:], splices(TEXT, [(("lens", "focal"), 35)]))
