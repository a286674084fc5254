"""Questions as typed: names looked up, faults in plain words, and a scene file that says what was found."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from previz.aim.ask import ask_for_lamp
from previz.aim.landing import middle_of
from previz.build.load import load_set
from previz.light.lamps import emitters
from previz.rays.panes import Panel
from previz.rays.patches import landed
from previz.rays.shadows import Surface
from previz.scene.faults import OptionFault
from previz.scene.rewrite import rewritten

ATTIC = Path(__file__).parents[2] / "scenes" / "clockmakers-attic.toml"


@pytest.fixture(scope="module")
def attic():
    """The attic, read and built."""
    return load_set(ATTIC)


class TestAsked:
    """On a demo set."""

    def test_the_scene_as_rewritten_lands_the_light(self, attic, tmp_path):
        """Read again, the lamp of the written file puts the middle of its patch on the drawer's front of the floor; comments stay."""
        asked = ask_for_lamp(*attic, ["round window[1,1] > attic.floor@120,160"], [], None, None)
        text = asked.scene_with(1)
        assert [line for line in text.split("\n") if line.startswith("#")] == [line for line in ATTIC.read_text().split("\n") if line.startswith("#")]
        again = tmp_path / "aimed.toml"
        again.write_text(text)
        file, built = load_set(again)
        pane = [p for p in built.apertures_named("round window") if p.pane == (1, 1)]
        found = landed(Surface.of(built), Panel(tuple(pane)), emitters(file.scene, built)[0])
        lands = middle_of([one for one in found if one.fields["on"] == "attic.floor"])
        assert np.linalg.norm(lands - asked.wishes[0].onto.point) < 0.5

    def test_all_that_is_printed_fits_eighty_columns(self, attic):
        """Answers and obstacles."""
        for text in ("round window > mantel clock", "round window > longcase dial"):
            assert max(len(line) for line in ask_for_lamp(*attic, [text], [], None, None).text.split("\n")) <= 80

    @pytest.mark.parametrize(
        ("text", "says"),
        [
            ("windw > mantel clock", 'Did you mean "round window"'),
            ("round window > mantle clock", 'Did you mean "mantel clock"'),
            ("round window", "Write it like"),
            ("round window[5,0] > mantel clock", "[1,1]"),
            ("round window > attic.floor@900,10", "off the face"),
        ],
    )
    def test_faults_say_what_to_do(self, attic, text, says):
        """A name that is not there gets the nearest that is."""
        with pytest.raises(OptionFault) as fault:
            ask_for_lamp(*attic, [text], [], None, None)
        assert says in str(fault.value)

    def test_what_shall_stay_dark_stays_dark(self, attic):
        """With a target to be left dark no answer's lamp sees any of it."""
        asked = ask_for_lamp(*attic, ["round window > mantel clock"], ["longcase dial"], None, None)
        assert asked.found.answers
        from previz.aim.wishes import target

        samples = target(attic[1], "longcase dial").samples
        for answer in asked.found.answers:
            assert asked.ground.tracer.blocked(samples, np.tile(answer.at, (len(samples), 1))).all()


class TestRewritten:
    """One value changes, nothing else."""

    def test_a_value_changes_in_its_line(self):
        """Comments, spaces and order stay."""
        text = '# top\n[[lamp]]\nname = "key"   # the sun\nat = [1, 2, 3]\n'
        assert rewritten(text, {("lamp", 0, "at"): [4.0, 5.25, 6.0]}) == text.replace("[1, 2, 3]", "[4, 5.25, 6]")

    def test_a_row_is_added_at_the_end(self):
        """[[opening]] number 1 where there was number 0."""
        text = '[[opening]]\nname = "a"\n\n[[lamp]]\nname = "key"\n'
        import tomllib

        read = tomllib.loads(rewritten(text, {("opening", 1): {"name": "b", "at": (1.0, 2.0)}}))
        assert [row["name"] for row in read["opening"]] == ["a", "b"] and read["opening"][1]["at"] == [1, 2]
