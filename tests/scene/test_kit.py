"""Kit by name: what a shelf gives, what a scene writes on top, and every way in which a kit file can be wrong."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from previz.cli import run
from previz.scene.faults import SceneFaults
from previz.scene.kit import INSTEAD, Kit, example_folder, on_top
from previz.scene.read import read_scene

ROOM = """
[[room]]
name = "hall"
plan = [[0, 0], [300, 0], [300, 200], [0, 200]]
height = 100
"""
LAMP = '[[lamp]]\nname = "key"\nkit = "{}"\nat = [900, 0, 900]\ntoward = [100, 100, 0]\n'


@pytest.fixture
def scene(tmp_path):
    """Return a function that reads a scene whose folder has these kit files."""

    def read(text, **files):
        (tmp_path / "kit").mkdir(exist_ok=True)
        for name, content in files.items():
            (tmp_path / "kit" / f"{name}.toml").write_text(content)
        top = text if text.startswith(("body", "lens")) else ""
        (tmp_path / "s.toml").write_text(top + ROOM + ("" if top else text))
        return read_scene(tmp_path / "s.toml").scene

    return read


def said(scene, *args, **files):
    """Return what is said of a scene, with the folder's name left out."""
    with pytest.raises(SceneFaults) as caught:
        scene(*args, **files)
    return "\n".join(line for line in str(caught.value).splitlines()).replace(str(caught.value.faults[0].file.parent), "")


class TestUse:
    """A piece by its name."""

    def test_by_name_alone(self, scene):
        """lens = "NAME" at the top of the file."""
        assert scene('lens = "20 mm probe"\nbody = "small sensor"\n').lens.focal == 20

    def test_what_the_scene_writes_goes_on_top(self, scene):
        """The stop is the day's, the rest is the shelf's."""
        lens = scene('[lens]\nkit = "20 mm probe"\nstop = 22\n').lens
        assert (lens.stop, lens.widest, lens.kit) == (22, 16, "20 mm probe")

    def test_own_shelf_comes_first(self, scene):
        """A maker's piece of the same name hides the example."""
        assert scene('[lens]\nkit = "20 mm probe"\n', shelf='[lens."20 mm probe"]\nfocal = 21\n').lens.focal == 21

    def test_a_piece_may_begin_from_another(self, scene):
        """Two bodies of one kind that differ in one figure."""
        body = scene('[body]\nkit = "mine"\n', shelf='[body.mine]\nkit = "small sensor"\niso_max = 1000\n').body
        assert (body.sensor, body.iso_max) == ((18, 13.5), 1000)

    def test_another_level_takes_the_place_of_the_shelfs(self, scene):
        """A lamp's level is said once."""
        lamp = scene(LAMP.format("small disc") + "lumens = 300\n").lamp[0]
        assert (lamp.lux_at_1m, lamp.lumens) == (None, 300)

    def test_another_stop_takes_the_t_number_away(self, scene):
        """A T-number belongs to its stop."""
        shelf = '[lens.a]\nwidest = 14\nt_stop = 15\n'
        assert scene('[lens]\nkit = "a"\n', shelf=shelf).lens.t_stop == 15
        assert scene('[lens]\nkit = "a"\nstop = 22\n', shelf=shelf).lens.t_stop is None

    def test_files_of_a_shelf_lie_beside_it(self, scene):
        """A photometric file is named from its kit file, and found from the scene."""
        assert scene(LAMP.format("measured"), shelf='[lamp.measured]\nkind = "ies"\nfile = "lamp.ies"\n').lamp[0].file == "kit/lamp.ies"

    def test_shelves_are_left_alone_where_nothing_is_named(self, scene):
        """Another folder called kit hurts nobody."""
        assert scene("", broken="[[[").lens.focal == 24

    @given(st.data())
    def test_on_top_leaves_one_of_each_group(self, data):
        """Whatever is written on top stands, and nothing that it replaces stays."""
        table = data.draw(st.sampled_from(sorted(INSTEAD)))
        keys = [key for group in INSTEAD[table] for key in group] + ["other"]
        below, above = (data.draw(st.dictionaries(st.sampled_from(keys), st.integers())) for _ in range(2))
        merged = on_top(table, below, above)
        assert above.items() <= merged.items()
        for group in INSTEAD[table]:
            if any(key in above for key in group):
                assert {key for key in merged if key in group} == {key for key in above if key in group}


class TestFaults:
    """Kit file, line, and what to do."""

    def test_unknown_piece(self, scene):
        """The nearest name; and no word of keys that the piece would have brought."""
        assert said(scene, LAMP.format("smal disc")) == (
            '/s.toml:8: [[lamp]] "key" kit: there is no lamp of that name in the kit (got "smal disc")\n'
            '    kit = "smal disc"\n          ^^^^^^^^^^^\n  Did you mean "small disc"?'
        )

    def test_value_in_the_kit_file(self, scene):
        """Its own line."""
        assert said(scene, '[lens]\nkit = "a"\n', shelf='# mine\n[lens.a]\nfocal = "20"\nfocl = 2\n') == (
            '/shelf.toml:3: [lens."a"] focal: must be a number above 0, at most 100,000 (got "20")\n    focal = "20"\n            ^^^^\n  Remove the quotes: focal = 20.\n'
            '/shelf.toml:4: [lens."a"] focl: is not a key of [lens."a"]\n    focl = 2\n    ^^^^\n  Did you mean focal?\n2 faults in /shelf.toml.'
        ).replace(", at most 100,000", "")

    def test_value_that_does_not_go_with_the_scene(self, scene):
        """The line in the scene, and where the value stands."""
        text = said(scene, '[lens]\nkit = "a"\n', shelf='[lens.a]\nbarrel = [[10, 20]]\npupil = 30\n')
        assert text.startswith('/s.toml:6: [lens] pupil: must lie inside the barrel, at most 10 (got from "a", shelf.toml line 3)')

    def test_kit_that_begins_from_itself(self, scene):
        """A circle is said once."""
        text = said(scene, '[lens]\nkit = "a"\n', shelf='[lens.a]\nkit = "b"\n[lens.b]\nkit = "a"\n')
        assert text.startswith('/shelf.toml:4: [lens."b"] kit: begins from itself: a > b > a')

    def test_place_on_the_shelf(self, scene):
        """Where a lamp stands is the scene's to say."""
        text = said(scene, LAMP.format("a"), shelf='[lamp.a]\nkind = "point"\nat = [0, 0, 0]\ncandela = 1\n')
        assert text.startswith('/shelf.toml:3: [lamp."a"] at: belongs in the scene, not on the shelf')

    @pytest.mark.parametrize(
        "shelf, says",
        [
            ("[lenses.a]\nfocal = 1\n", "/shelf.toml:1: [lenses]: is no table of a kit file"),
            ("[lens]\nfocal = 1\n", '/shelf.toml:2: [lens]: a kit file names each piece: [lens."NAME"]'),
            ("[lens.a]\nfocal = \n", "/shelf.toml:2: the value is missing"),
            ("[lens.a]\nfocal = 1\n[lens.a]\nfocal = 2\n", "/shelf.toml:3: [lens.a] is given twice"),
        ],
    )
    def test_layout(self, scene, shelf, says):
        """Wrong table, no name, no TOML, twice."""
        assert said(scene, '[lens]\nkit = "a"\n', shelf=shelf).startswith(says)

    def test_two_files_with_one_name(self, scene):
        """Which is meant cannot be told."""
        text = said(scene, '[lens]\nkit = "a"\n', one="[lens.a]\nfocal = 1\n", two="\n[lens.a]\nfocal = 2\n")
        assert text.startswith('/two.toml:2: [lens."a"]: one.toml has this name already, on line 1')

    def test_slider_shorter_than_its_rail(self, scene):
        """Ends farther apart than the carriage travels."""
        text = said(scene, '[slider]\nkit = "short slider"\nfrom = [0, 0, 0]\nto = [500, 0, 0]\n')
        assert "lies 500 mm from the rail's other end, and its carriage can travel 400" in text and "100 mm nearer" in text


class TestFuzz:
    """Whatever stands in a kit file, it is read or its faults are said."""

    @given(st.data())
    @settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    def test_broken_files(self, tmp_path, data):
        """The examples with stretches cut out, doubled or replaced."""
        text = data.draw(st.sampled_from([path.read_text() for path in sorted(example_folder().glob("*.toml"))]))
        for _ in range(data.draw(st.integers(1, 4))):
            start = data.draw(st.integers(0, len(text)))
            stop = data.draw(st.integers(start, min(start + 30, len(text))))
            put = data.draw(st.one_of(st.just(""), st.text(max_size=6), st.sampled_from(["[lens]", "kit = 1\n", '[lens.""]\n', "[[lens]]\n", '"', "{", text[start:stop] * 2])))
            text = text[:start] + put + text[stop:]
        (tmp_path / "kit").mkdir(exist_ok=True)
        (tmp_path / "kit" / "shelf.toml").write_text(text, encoding="utf-8")
        try:
            kit = Kit(tmp_path)
            for table, name in kit.pieces:
                kit.whole(table, name)
        except SceneFaults as faults:
            assert str(faults)


class TestExamples:
    """The shelf that comes with previz."""

    def test_every_piece_is_sound(self):
        """Each by itself, and of every table."""
        kit = Kit(example_folder().parent)
        assert {"body", "lens", "slider", "lift", "lamp"} == {table for table, _ in kit.pieces}
        for table, name in kit.pieces:
            kit.whole(table, name)

    def test_a_scene_of_examples_alone(self, scene):
        """Every piece is enough for a scene that says where it stands."""
        kit = Kit(example_folder().parent)
        for table, name in kit.pieces:
            text = f'[{table}]\nkit = "{name}"\n' if table != "lamp" else LAMP.format(name)
            scene(text + ("from = [0, 0, 0]\nto = [300, 0, 0]\n" if table == "slider" else ""))


class TestVerb:
    """previz kit."""

    def test_text(self, capsys, tmp_path, monkeypatch):
        """Figures, that they are examples, in 80 columns."""
        monkeypatch.chdir(tmp_path)
        assert run(["kit"]) == 0
        shown = capsys.readouterr().out
        assert "20 mm probe (example)" in shown and "Replace them by what stands on your own shelf" in " ".join(shown.split())
        assert max(map(len, shown.splitlines())) <= 80

    def test_own_pieces_say_where_they_stand(self, capsys, tmp_path):
        """File and line."""
        (tmp_path / "kit").mkdir()
        (tmp_path / "kit" / "shelf.toml").write_text("\n[lens.mine]\nfocal = 18\n")
        assert run(["kit", str(tmp_path), "--json"]) == 0
        (mine,) = [entry for entry in json.loads(capsys.readouterr().out)["kit"] if entry["name"] == "mine"]
        assert (mine["line"], mine["example"], mine["figures"]) == (2, False, {"focal": 18})

    def test_missing_place(self, capsys, tmp_path):
        """Said plainly."""
        assert run(["kit", str(tmp_path / "nowhere")]) == 2
        assert "there is no such file or folder" in capsys.readouterr().err
