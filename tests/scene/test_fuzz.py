"""
Whatever the file holds, reading it ends in a scene or in SceneFaults, soon.

Values of every shape go into every key of the model; valid scenes are mutated; bytes come at random.
"""

import time
from pathlib import Path

import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from previz.scene.explain import keys_of, single_class
from previz.scene.faults import SceneFaults
from previz.scene.model import KINDS, Bars, Finish, Opening, OutlineShape, Pitch, Repeat, Room, Shot, Slab, Slats
from previz.scene.read import read_scene, scene_from
from previz.scene.starter import STARTER
from previz.scene.tables import ROWS, SINGLES

SOON_S = 5.0
FUZZ = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
TABLES = [Room, Opening, Shot, Finish, Bars, Slats, Pitch, Repeat, Slab, OutlineShape]
TABLES += [single_class(table) for table in SINGLES] + [model for _, kinds in KINDS.values() for model in kinds.values()]
KEYS = sorted({key for table in TABLES for key in keys_of(table)} | {*ROWS, *SINGLES, "finish", "title", "scale", "seed"})
WORDS = ["", "rect", "arch", "lancet", "round", "flat", "x", "box", "disc", "rooms", "slide", "plain", "hall", "hall.1", "hall.slope", "hall.ceiling", "#ff0000", "5", "a.b"]

numbers = st.one_of(
    st.integers(-5, 400),
    st.integers(-(10**400), 10**400),
    st.floats(-10, 500),
    st.sampled_from([float("nan"), float("inf"), -float("inf"), 1e300, -1e300, 5e-324, 0.0, -0.0]),
)
plain = st.one_of(numbers, st.booleans(), st.sampled_from(WORDS), st.text(max_size=8), st.datetimes(), st.dates(), st.times())
keys = st.one_of(st.sampled_from(KEYS), st.text(max_size=6))
values = st.recursive(plain, lambda inner: st.lists(inner, max_size=5) | st.dictionaries(keys, inner, max_size=5), max_leaves=25)


def toml(data):
    """Return plain values as TOML text, or None where TOML cannot write them."""
    try:
        return tomlkit.dumps(data)
    except (ValueError, TypeError, tomlkit.exceptions.TOMLKitError):
        return None


def survives(text):
    """Read a text; only SceneFaults may come of it, and soon."""
    begin = time.perf_counter()
    try:
        file = scene_from(text, Path("s.toml"))
    except SceneFaults as faults:
        assert faults.faults
        assert all(fault.remedy and fault.allowed and fault.line >= 0 for fault in faults.faults)
        assert str(faults)
    else:
        assert file.scene.room or file.scene.mesh
    assert time.perf_counter() - begin < SOON_S


class TestTables:
    """Any value in any key."""

    @FUZZ
    @given(st.dictionaries(keys, values, max_size=8))
    def test_whole_files(self, data):
        """Tables at random."""
        if (text := toml(data)) is not None:
            survives(text)

    @FUZZ
    @given(st.data())
    def test_rows(self, data):
        """A good room, and one row with values at random in its own keys."""
        table = data.draw(st.sampled_from([*ROWS, *SINGLES, "finish"]))
        kind = data.draw(st.sampled_from(list(KINDS[table][1]))) if table in KINDS else None
        model = KINDS[table][1][kind] if kind else ROWS.get(table) or (Finish if table == "finish" else single_class(table))
        row = data.draw(st.dictionaries(st.sampled_from(list(keys_of(model))), values, max_size=8)) | ({"kind": kind} if kind else {})
        whole = {"finish": {"a": row}} if table == "finish" else {table: [row] if table in ROWS else row}
        hall = {"name": "hall", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "height": 100}
        whole["room"] = [hall, *whole.get("room", [])]
        if (text := toml(whole)) is not None:
            survives(text)

    @pytest.mark.parametrize("key", KEYS)
    @pytest.mark.parametrize("value", ["nan", "-inf", "1e300", "9" * 400, '"5"', "true", "[]", "{}", "1979-05-27", "[[[[1]]]]"])
    def test_each_key_takes_the_worst(self, key, value):
        """Each key in each table that knows it, with each of the worst values."""
        for header in _headers(key):
            survives(f"{header}\n{key} = {value}\n")


def _headers(key):
    """Where a key may stand."""
    for table, model in ROWS.items():
        models = [("", model)] if model else [(f'kind = "{kind}"\n', one) for kind, one in KINDS[table][1].items()]
        yield from (f"[[{table}]]\n{kind}" for kind, one in models if key in keys_of(one))
    yield from (f"[{table}]" for table in SINGLES if key in keys_of(single_class(table)))
    yield ""


@st.composite
def plans(draw):
    """A plan at random, sound or not."""
    point = st.tuples(st.integers(0, 40), st.integers(0, 40)).map(list)
    return draw(st.lists(point, min_size=3, max_size=9))


class TestGeometry:
    """Plans, roofs and openings that any hand might draw."""

    @FUZZ
    @given(plans(), st.sampled_from(["flat", "x", "y"]), st.floats(1, 80), st.floats(0.1, 50), st.data())
    def test_rooms(self, plan, ridge, pitch, wall, data):
        """Whatever the plan, its walls, roof and openings are judged without a stumble."""
        roof = ridge if ridge == "flat" else {"pitch": pitch, "ridge": ridge}
        panel = data.draw(st.sampled_from(["1", "2", "3", "ceiling", "floor", "slope", "slope.1", "slope.2"]))
        size = data.draw(st.lists(st.floats(0.1, 60), min_size=2, max_size=2))
        shape = data.draw(st.sampled_from(["rect", "arch", "lancet", {"outline": data.draw(plans())}]))
        opening = {"name": "w", "wall": f"hall.{panel}", "shape": shape, "at": data.draw(st.lists(st.floats(-5, 50), min_size=2, max_size=2))}
        opening |= {} if isinstance(shape, dict) else {"size": size}
        opening["bars"] = {"columns": data.draw(st.integers(1, 9)), "rows": 2, "width": 1, "depth": 0.05}
        opening["repeat"] = {"count": data.draw(st.integers(1, 4)), "step": [data.draw(st.floats(-9, 9)), 1]}
        opened = data.draw(st.lists(st.sampled_from(["1", "2", "3"]), unique=True))
        room = {"name": "hall", "plan": plan, "height": 40, "wall": wall, "roof": roof, "open": opened}
        survives(tomlkit.dumps({"room": [room], "opening": [opening]}))


class TestText:
    """Any text, any bytes."""

    @FUZZ
    @given(st.integers(0, len(STARTER) - 1), st.integers(0, 40), st.text(alphabet="[]{}\"'=,.#\\\n 5a-\x00é", max_size=4))
    def test_mutated_scenes(self, at, cut, put):
        """A good file with a piece cut out and another put in."""
        survives(STARTER[:at] + put + STARTER[at + cut :])

    @FUZZ
    @given(st.lists(st.sampled_from(STARTER.splitlines(keepends=True)), max_size=30))
    def test_shuffled_lines(self, lines):
        """The lines of a good file in any order, and again."""
        survives("".join(lines))

    @FUZZ
    @given(data=st.binary(max_size=300))
    def test_bytes(self, data, tmp_path):
        """Bytes at random."""
        path = tmp_path / "s.toml"
        path.write_bytes(data)
        with pytest.raises(SceneFaults):
            read_scene(path)
