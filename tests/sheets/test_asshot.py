"""Back from the bench: what a maker types, what comes of it, and what is refused."""

import json
import math

import numpy as np
import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from previz.build.load import load_set
from previz.check.finding import Finding
from previz.cli import run
from previz.scene.faults import SceneFaults
from previz.scene.rewrite import rewritten
from previz.sheets.asshot import TAPE_MM, as_shot, changed, contradictions, place_found
from previz.sheets.fields import corners, fields
from previz.sheets.filled import blank_csv, filled_from, number_of


@pytest.fixture
def plain(scene_file):
    """The plain room: its file, its built set, its fields."""
    loaded, built = load_set(scene_file)
    return loaded, built, fields(loaded.scene, built)


def faults_of(text, listed, path="day.csv"):
    """Return the faults of a filled-in sheet."""
    with pytest.raises(SceneFaults) as caught:
        filled_from(text, listed, path)
    return caught.value.faults


class TestFields:
    """What there is to measure."""

    def test_names_are_unique_and_planned_from_the_scene(self, plain):
        """By hand: the lamp of the plain room stands at [900, 100, 600], the floor is 5 mm thick, the table 750 mm high."""
        planned = {one.name: one.planned for one in plain[2]}
        assert len(planned) == len(plain[2])
        assert planned["lamp.key.x"] == 900 and planned["lamp.key.above table"] == 605 and planned["lamp.key.above floor"] == 1355
        assert planned["lamp.key.from A"] == pytest.approx(math.sqrt(900**2 + 100**2 + 600**2))
        assert planned["lamp.key.from C"] == pytest.approx(math.sqrt(600**2 + 100**2 + 600**2))
        assert planned["shot.past the table.iso"] == 1600 and planned["lamp.key.lux.table"] is None

    def test_the_blank_sheet_reads_back(self, plain):
        """Filled in with the planned values, each field is itself."""
        lines = blank_csv("Plain\nroom", plain[2]).splitlines()
        filled = "\n".join(line.replace(",,", f",{one.planned:.4f},", 1) if one and one.planned is not None else line for line, one in zip(lines, [None] * 3 + list(plain[2])))
        found = filled_from(filled, plain[2], "day.csv")
        assert {one.field.name for one in found} == {one.name for one in plain[2] if one.planned is not None}
        assert all(one.value == pytest.approx(one.field.planned, abs=1e-4) for one in found)


class TestNumbers:
    """What may stand in a cell."""

    @pytest.mark.parametrize(
        "text, unit, wanted",
        [
            ("812", "mm", 812), ("812.5 mm", "mm", 812.5), ("812,5", "mm", 812.5), ("81,25cm", "mm", 812.5), ("0.8125 m", "mm", 812.5), ("32 in", "mm", 812.8),
            ("1 234,5", "mm", 1234.5), ("1.234,5", "mm", 1234.5), ("1,234.5", "mm", 1234.5), ("12'500", "lux", 12500), ("1,234,567", "lux", 1234567), ("41 klx", "lux", 41000),
            ("−12,5°", "deg", -12.5), ("-12.5 deg", "deg", -12.5), ("f/14", "f", 14), ("F 5,6", "f", 5.6), ("ISO 3200", "ISO", 3200), ("1/240 s", "s", 1 / 240), ("4 ms", "s", 0.004),
            (".5", "s", 0.5), ("+3", "mm", 3), ("0,125", "s", 0.125), ("830.125", "mm", 830.125),
        ],
    )  # fmt: skip
    def test_read(self, text, unit, wanted):
        """Units, signs, decimal commas, thousands."""
        assert number_of(text, unit) == pytest.approx(wanted)

    def test_the_column_of_units_counts_where_the_cell_has_none(self):
        """And the cell's own goes first."""
        assert number_of("81.2", "mm", "cm") == pytest.approx(812)
        assert number_of("812 mm", "mm", "cm") == pytest.approx(812)

    @pytest.mark.parametrize("text, unit, word", [("12,500", "lux", "12500 or 12.500"), ("1.2.3", "mm", "one number"), ("5 lux", "mm", "must be in mm"), ("about 5", "mm", "a number"), ("1,2,3", "mm", "one number"), ("٣", "mm", "a number"), ("1/0", "s", "must be")])
    def test_refused(self, text, unit, word):
        """What could be read in two ways, or in none."""
        with pytest.raises(ValueError, match=word):
            number_of(text, unit)


class TestFiles:
    """The table around the numbers."""

    @pytest.mark.parametrize(
        "text",
        [
            "field,measured\nlamp.key.x,905\n", "lamp.key.x,905", "lamp.key.x;905,0\n", "\n\n# tuesday\nLAMP.Key.X\t905 mm\r\n\r\n", "unit;measured;field\ncm;90,5;lamp.key.x",
            'field,measured,unit\n"lamp.key.x","905,0",mm\nlamp.key.y,,mm\nlamp.key.z,-,mm', "Name,As shot\n lamp.key.x , 905 \n,\n",
        ],
    )  # fmt: skip
    def test_shapes_that_are_read(self, text, plain):
        """With and without a line of names, in any order, with any usual sign between cells."""
        (one,) = filled_from(text, plain[2], "day.csv")
        assert (one.field.name, one.value) == ("lamp.key.x", pytest.approx(905))

    def test_all_faults_at_once_with_their_lines(self, plain):
        """Line, what was found, what is allowed, what to do."""
        text = "field,measured,unit\nlamp.kay.x,905,\nlamp.key.y,abc,\nlamp.key.z,600,lux\nlamp.key.tilt,95,\nlamp.key.x,900,\nlamp.key.x,901,\n"
        found = faults_of(text, plain[2])
        assert [one.line for one in found] == [2, 3, 4, 5, 7]
        assert "lamp.key.x" in found[0].remedy and found[1].found == "abc" and "mm" in found[2].allowed and "-90 to 90" in found[3].allowed and "line 6" in found[4].allowed
        assert all(one.remedy for one in found)

    def test_a_decimal_comma_between_commas(self, plain):
        """Is not silently cut to whole millimetres."""
        (one,) = faults_of("field,measured,unit,planned\nlamp.key.x,812,5,,900\n", plain[2])
        assert "comma" in one.allowed

    @pytest.mark.parametrize("text", ["", "# nothing\n", "field,measured\n", "field,measured\nlamp.key.x,\n", "field;unit\nlamp.key.x;mm\n"])
    def test_nothing_measured(self, text, plain):
        """Is said."""
        assert faults_of(text, plain[2])

    @settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(st.one_of(st.text(max_size=300), st.lists(st.tuples(st.sampled_from(["lamp.key.x", "lamp.key.tilt", "shot.past the table.stop", "field"]), st.text(max_size=12)), max_size=6).map(lambda rows: "\n".join(f"{a};{b}" for a, b in rows))))
    def test_any_text(self, plain, text):
        """Gives finite values in range, or faults with lines; nothing else."""
        try:
            found = filled_from(text, plain[2], "day.csv")
        except SceneFaults as faults:
            assert faults.faults and str(faults)
        else:
            assert found and all(math.isfinite(one.value) for one in found)

    @settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(st.binary(max_size=400))
    def test_any_bytes(self, plain, tmp_path, data):
        """Of any code page, or none."""
        from previz.sheets.filled import read_filled

        (tmp_path / "day.csv").write_bytes(data)
        try:
            read_filled(tmp_path / "day.csv", plain[2])
        except SceneFaults as faults:
            assert str(faults)


class TestPlaces:
    """Two tapes and a height."""

    @settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(st.tuples(*[st.floats(-60, 60)] * 3), st.sampled_from([("from A", "from B", "z"), ("from C", "from D", "above table"), ("from A", "from C", "from D", "above floor"), ("x", "y", "z")]))
    def test_a_moved_lamp_is_found(self, plain, off, keys):
        """By trilateration, to a hundredth of a millimetre, wherever it was moved to near its mark."""
        loaded, built, _ = plain
        at = np.array([900.0, 100.0, 600.0]) + off
        measured = {key: np.linalg.norm(at - corner) for key, corner in ((f"from {k}", c) for k, c in corners(loaded.scene, built).items())}
        measured |= {"x": at[0], "y": at[1], "z": at[2], "above table": at[2] + 5, "above floor": at[2] + 755}
        found = place_found("lamp.key", (900, 100, 600), {key: measured[key] for key in keys}, loaded.scene, built)
        # Seen from corners A and B alone the lamp is nearly in line with them: y is as sharp as the tapes cross.
        assert np.linalg.norm(found.at - at) < 0.01
        assert contradictions([found]) == []

    def test_what_was_not_measured_stays_as_planned(self, plain):
        """One height moves nothing but the height."""
        loaded, built, _ = plain
        found = place_found("lamp.key", (900, 100, 600), {"z": 580.0}, loaded.scene, built)
        assert found.at == pytest.approx([900, 100, 580], abs=1e-3)

    def test_contradictions_are_named(self, plain):
        """A tape that is 40 mm too long for the other measures; two tapes that do not meet at all."""
        loaded, built, _ = plain
        good = {"x": 900.0, "y": 100.0, "z": 600.0, "from A": math.sqrt(900**2 + 100**2 + 600**2) + 40}
        (finding,) = contradictions([place_found("lamp.key", (900, 100, 600), good, loaded.scene, built)])
        assert finding.level == "care" and "from A" in finding.says and finding.remedy
        apart = place_found("lamp.key", (900, 100, 600), {"from A": 50.0, "from B": 50.0, "z": 0.0}, loaded.scene, built)
        assert abs(apart.worst[1]) > TAPE_MM and contradictions([apart])


class TestScene:
    """The new file."""

    def test_only_what_was_measured_changes_and_remarks_stay(self, plain):
        """Also a remark behind the very value that changes."""
        loaded, built, listed = plain
        text = loaded.text.replace("at = [900, 100, 600]", "at = [900, 100, 600]   # on the tall stand")
        measured = filled_from("lamp.key.x;905\nshot.past the table.stop;16\nlamp.key.lux.table;900\nshot.past the table.end x;181", listed, "day.csv")
        now = rewritten(text, dict(as_shot(loaded.scene, built, measured).edits), digits=None)
        told = tomlkit.parse(now).unwrap()
        assert told["lamp"][0]["at"] == [905, 100, 600] and told["shot"][0]["stop"] == 16 and told["shot"][0]["to"] == [181, -30, 60]
        assert told["lamp"][0]["measured"] == [{"at": [150, 100, 35], "lux": 900}]
        assert "# on the tall stand" in now
        kept = [line for line in text.splitlines() if not line.startswith(("at = [900", "to ="))]
        assert all(line in now.splitlines() for line in kept)

    def test_a_tilt_turns_the_lamp(self, plain):
        """Pan as planned, tilt as measured, by the file's own geometry."""
        loaded, built, listed = plain
        ((path, toward),) = as_shot(loaded.scene, built, filled_from("lamp.key.tilt;-30", listed, "day.csv")).edits
        away = np.array(toward) - (900, 100, 600)
        planned = next(one.planned for one in listed if one.name == "lamp.key.pan")
        assert path == ("lamp", 0, "toward")
        assert np.degrees(np.arctan2(away[2], np.hypot(*away[:2]))) == pytest.approx(-30, abs=0.01)
        assert (np.degrees(np.arctan2(away[1], away[0])) - planned) % 360 == pytest.approx(0, abs=0.01)


OWN = """
[[shot]]
name = "later"
clip = 1
from = [150, -60, 60]
look = "table"
focus = [{ at = 0, focus = "table" }, { at = 0.1, focus = 90 }]
white = 5600
playback = 24
lamps = { key = { at = [900, 140, 500] } }

[[shot]]
name = "by its light"
from = [150, -60, 60]
look = "table"
focus = 120
white = "key"
"""


@pytest.fixture
def owned(scene_file):
    """The plain room with a pull of focus, a white, and a lamp that one shot has elsewhere."""
    scene_file.write_text(scene_file.read_text() + OWN, encoding="utf-8")
    loaded, built = load_set(scene_file)
    return loaded, built, fields(loaded.scene, built)


class TestShotsOfTheirOwn:
    """What only one shot has, and openings as they were cut."""

    def test_planned(self, owned):
        """By hand: the table is 160 mm away in plan, and the lens looks at its middle; a white by a lamp, and focus that follows, are nothing to read off."""
        planned = {one.name: one.planned for one in owned[2]}
        assert planned["shot.later.white"] == 5600 and planned["shot.past the table.white"] == 6504 and "shot.by its light.white" not in planned
        assert planned["shot.later.focus 2"] == 90 and planned["shot.later.focus 2 at"] == 0.1 and planned["shot.by its light.focus"] == 120
        assert planned["shot.later.focus 1"] == pytest.approx(math.hypot(160, 60 - 15), abs=0.01) and "shot.past the table.focus" not in planned
        assert planned["shot.later.lamp.key.y"] == 140 and "shot.past the table.lamp.key.y" not in planned
        assert [planned[f"opening.window.{key}"] for key in ("along", "up", "width", "height")] == [60, 60, 80, 90]

    def test_a_lamp_measured_in_a_shot_is_changed_in_that_shot(self, owned):
        """And the file's own lamp stays; tilt as for a lamp."""
        loaded, built, listed = owned
        text = "shot.later.lamp.key.y;150\nshot.later.lamp.key.tilt;-30\nshot.later.white;5200\nshot.later.focus 1 at;0.02\nshot.later.focus 2;85\nshot.by its light.focus;118"
        told = tomlkit.parse(rewritten(loaded.text, dict(as_shot(loaded.scene, built, filled_from(text, listed, "day.csv")).edits), digits=None)).unwrap()
        later = told["shot"][1]
        assert told["lamp"][0]["at"] == [900, 100, 600] and later["lamps"]["key"]["at"] == [900, 150, 500] and told["shot"][2]["focus"] == 118
        away = np.subtract(later["lamps"]["key"]["toward"], [900, 150, 500])
        assert np.degrees(np.arctan2(away[2], np.hypot(*away[:2]))) == pytest.approx(-30, abs=0.01)
        assert later["white"] == 5200 and later["focus"] == [{"at": 0.02, "focus": "table"}, {"at": 0.1, "focus": 85}]

    def test_an_opening_as_it_was_cut(self, owned, tmp_path):
        """Four millimetres wider, and the new file's window is."""
        loaded, built, listed = owned
        measured = filled_from("opening.window.width;84\nopening.window.along;58 mm", listed, "day.csv")
        (tmp_path / "cut.toml").write_text(rewritten(loaded.text, dict(as_shot(loaded.scene, built, measured).edits), digits=None), encoding="utf-8")
        (window,) = load_set(tmp_path / "cut.toml")[0].scene.opening
        assert window.at == (58, 60) and window.size == (84, 90)

    @pytest.mark.parametrize("text, word", [("shot.later.white;500", "1000"), ("shot.later.focus 2;-4", "0.1"), ("opening.window.width;0", "0.1"), ("shot.later.lamp.key.tilt;95", "90"), ("shot.later.lamp.key.from A;-1", "from 0")])
    def test_what_cannot_be(self, owned, text, word):
        """Is a fault with what is allowed."""
        (one,) = faults_of(text, owned[2])
        assert word in one.allowed


class TestFindings:
    """What changed."""

    def test_told_by_what_they_say_without_figures(self):
        """New, gone, and the same with another figure; what is in order is not news."""
        a, b = Finding("care", "shot", "It is 3 mm off.", "Move it 3 mm."), Finding("care", "shot", "It is 4.5 mm off.", "Move it 4.5 mm.")
        stop, fine = Finding("stop", "key", "Dark.", "Light it."), Finding("ok", "key", "In order.")
        assert [one.how for one in changed([a, fine], [b, stop])] == ["new", "figures"]
        assert [(one.how, one.before) for one in changed([stop], [fine])] == [("gone", stop)]


class TestCommand:
    """From the command line."""

    def test_there_and_back(self, scene_file, tmp_path, capsys):
        """A blank sheet, filled in, becomes a new scene that reads, with differences in mm, degrees and stops."""
        assert run(["asshot", str(scene_file), "--blank", str(tmp_path / "day.csv")]) == 0
        assert "lamp.key.lux.table" in (tmp_path / "day.csv").read_text(encoding="utf-8")
        (tmp_path / "day.csv").write_text("lamp.key.z;580\nlamp.key.tilt;-34\nshot.past the table.iso;800\nlamp.key.lux.table;2000\n")
        capsys.readouterr()
        assert run(["asshot", str(scene_file), "--marks", str(tmp_path / "day.csv"), "--json"]) in (0, 1)
        told = json.loads(capsys.readouterr().out)
        units = {one["field"]: (one["unit"], one["difference"]) for one in told["differences"]}
        assert units["lamp.key.z"] == ("mm", -20) and units["shot.past the table.iso"] == ("stops", -1)
        unit, off = units["lamp.key.lux.table"]
        planned = next(one["planned"] for one in told["differences"] if one["field"] == "lamp.key.lux.table")
        assert unit == "stops" and off == pytest.approx(math.log2(2000 / planned), abs=1e-3)
        loaded, _ = load_set(tmp_path / "plain-asshot.toml")
        assert loaded.scene.lamp[0].at == (900, 100, 580) and loaded.scene.shot[0].iso == 800
        assert told["report"]["lamps"][0]["readings"][0]["lux"] == 2000

    @pytest.mark.parametrize("options", [[], ["--marks", "nowhere.csv"], ["--marks", "day.csv", "--blank", "b.csv"], ["--marks", "day.csv", "-o", "plain.toml"], ["--marks", "day.csv", "-o", "x.txt"], ["--marks", "day.csv", "-o", "other/x.toml"]])
    def test_refused(self, options, scene_file, tmp_path, monkeypatch, capsys):
        """With exit code 2, and nothing written."""
        monkeypatch.chdir(tmp_path)
        (tmp_path / "day.csv").write_text("lamp.key.z;580\n")
        before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
        assert run(["asshot", "plain.toml", *options]) == 2
        assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before
        assert capsys.readouterr().out == ""

    def test_openings_behind_a_row(self, scene_file, tmp_path, capsys):
        """One of a row that the file repeats cannot be told apart, which is said and nothing written; one after it is changed, and no other."""
        row = '[[opening]]\nname = "gap"\nwall = "room.north"\nat = [20, 20]\nsize = [6, 60]\nrepeat = { count = 3, step = [30, 0] }\n\n'
        scene_file.write_text(scene_file.read_text().replace('[[opening]]\nname = "window"', f'{row}[[opening]]\nname = "window"'))
        (tmp_path / "day.csv").write_text("opening.gap-2.width;7\nopening.window.width;84\n")
        assert run(["asshot", str(scene_file), "--marks", str(tmp_path / "day.csv")]) == 2
        assert "opening.gap-2" in capsys.readouterr().err and not (tmp_path / "plain-asshot.toml").exists()
        file, _ = load_set(scene_file)
        number = [opening.name for opening in file.scene.opening].index("window")
        assert file.path_in_text(("opening", number, "size")) == ("opening", 1, "size") and not file.is_repeated("opening", number)

    def test_a_scene_that_would_be_at_fault_is_not_written(self, scene_file, tmp_path, capsys):
        """The lamp measured into its own target: the fault names the new file, which is not there."""
        scene_file.write_text(scene_file.read_text().replace('toward = "window"', "toward = [905, 100, 600]"))
        (tmp_path / "day.csv").write_text("lamp.key.x;905\nlamp.key.y;100\nlamp.key.z;600\n")
        assert run(["asshot", str(scene_file), "--marks", str(tmp_path / "day.csv")]) == 2
        assert not (tmp_path / "plain-asshot.toml").exists()
