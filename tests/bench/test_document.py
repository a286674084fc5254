"""The scene file on the bench: what was acknowledged is never lost, and nothing changes that nobody changed."""

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from previz.bench.document import Accepted, Asked, Document, Faulty, Refused, TakenUp, folder_of
from previz.bench.keys import applied
from previz.bench.wire import Change, plain_value
from previz.scene.faults import OptionFault, SceneFaults

SCENE = Path(__file__).with_name("small_room.toml").read_text(encoding="utf-8")


def change(*key, to):
    """A change as it comes over the wire."""
    return Change(key=list(key), to=to)


@pytest.fixture
def path(tmp_path):
    """A scene file of its own."""
    path = tmp_path / "room.toml"
    path.write_text(SCENE)
    return path


@pytest.fixture
def document(path):
    """The scene file on the bench."""
    document = Document(path)
    yield document
    document.close()


def stopped(document):
    """A document as a power cut leaves it: nothing is saved, nothing is closed properly."""
    document._journal.close()


class TestEdits:
    """One client."""

    def test_only_what_was_edited_changes(self, document, path):
        """Comments, order and spaces are the maker's."""
        assert isinstance(document.edit("a", "1", 1, [change("lamp", "key", "at", to=[910, 120.5, 600])], "Move lamp key"), Accepted)
        document.save()
        assert path.read_text() == SCENE.replace("[900, 100, 600]", "[910, 120.5, 600]")

    def test_refused_in_the_makers_words(self, document, path):
        """All faults at once, each with its key and line, and nothing is written."""
        refused = document.edit("a", "1", 1, [change("lamp", "key", "beam", to=500), change("shot", "past the table", "look", to="tabel")], "")
        assert isinstance(refused, Refused)
        assert [key for key, *_ in refused.faults] == [["lamp", "key", "beam"], ["shot", "past the table", "look"]]
        assert "table" in refused.faults[1][2] and refused.faults[1][3] > 0
        assert document.rev == 1 and path.read_text() == SCENE

    def test_what_shows_on_the_solids_is_refused_too(self, document):
        """A lamp inside a wall can be typed, not built."""
        refused = document.edit("a", "1", 1, [change("lamp", "key", "at", to=[302, 20, 20])], "")
        assert isinstance(refused, Refused) and "inside" in refused.faults[0][1] and refused.faults[0][0] == ["lamp", "key", "at"]

    @pytest.mark.parametrize("key", [["lamp", "no such", "at"], ["lamp"], ["lamp", 0, "at"], [3], ["title", "x"], ["lamp", "key", "at", "x"]])
    def test_keys_that_lead_nowhere(self, document, key):
        """Words, no traceback."""
        assert isinstance(document.edit("a", "1", 1, [change(*key, to=1)], ""), Refused)

    @pytest.mark.parametrize("name", ["/etc/hostname", "../other.stl", "away/other.stl", "./../room/../../x.stl", "nul\x00.stl"])
    def test_a_page_names_no_file_outside_the_folder(self, document, path, name):
        """Not by dots, not by a link; what the maker typed is another matter."""
        (path.parent / "away").symlink_to(path.parent.parent)
        row = {"kind": "mesh", "file": name, "at": [50, 50, 0]}
        for outcome in (document.edit("a", "1", 1, [change("prop", "clock", to=row)], ""), document.tried([change("prop", "clock", to=row)])):
            assert isinstance(outcome, Refused)
            assert "in the scene's folder" in outcome.faults[0][1]

    def test_an_edit_sent_twice_counts_once(self, document):
        """A client that did not hear of it sends it again."""
        first = document.edit("a", "1", 1, [change("scale", to=24)], "")
        again = document.edit("a", "1", 1, [change("scale", to=24)], "")
        assert again.again and again.revision == first.revision and document.rev == 2

    def test_rows_come_and_go(self, document):
        """By name, with what they need."""
        row = {"kind": "sphere", "size": 20, "at": [50, 50, 0]}
        assert isinstance(document.edit("a", "1", 1, [change("prop", "ball", to=row)], "Add ball"), Accepted)
        assert [prop.name for prop in document.file.scene.prop] == ["table", "ball"]
        assert isinstance(document.edit("a", "2", 2, [change("prop", "ball", to=row)], ""), Refused)
        assert isinstance(document.edit("a", "3", 2, [change("prop", "ball", to=None)], ""), Accepted)
        assert document.text == SCENE

    def test_a_new_name_is_known_wherever_the_old_one_was(self, document):
        """What aims at it, looks at it or hangs in it goes on doing so; undo takes all of it back."""
        for number, (table, old, new) in enumerate([("opening", "window", "east window"), ("prop", "table", "bench"), ("room", "room", "attic"), ("lamp", "key", "sun")]):
            assert isinstance(document.edit("a", str(number), document.rev, [change(table, old, "name", to=new)], ""), Accepted)
        scene = document.file.scene
        assert scene.lamp[0].toward == "east window" and scene.opening[0].wall == "attic.east"
        assert scene.shot[0].subject == "bench" and scene.shot[0].lamps == {"sun": True}
        for number in range(4):
            document.undo("a", f"u{number}")
        assert document.text == SCENE

    def test_a_lamp_dragged_is_not_kept(self, document):
        """A try gives the scene as it would be."""
        assert document.tried([change("lamp", "key", "dim", to=0.5)]).scene.lamp[0].dim == 0.5
        assert isinstance(document.tried([change("lamp", "key", "dim", to=5)]), Refused)
        assert document.text == SCENE and document.rev == 1


class TestTwoClients:
    """What others changed since."""

    def test_other_keys_are_merged(self, document):
        """Both edits of revision 1 count."""
        document.edit("a", "1", 1, [change("lamp", "key", "at", to=[910, 100, 600])], "")
        assert isinstance(document.edit("b", "1", 1, [change("lamp", "key", "dim", to=0.5)], ""), Accepted)
        assert document.file.scene.lamp[0].at[0] == 910 and document.file.scene.lamp[0].dim == 0.5

    def test_the_same_key_is_asked_about(self, document):
        """Then answered by sending it again on top of what is there."""
        document.edit("a", "1", 1, [change("haze", "extinction", to=2)], "")
        asked = document.edit("b", "1", 1, [change("haze", "extinction", to=3)], "")
        assert isinstance(asked, Asked)
        clash = asked.clashes[0]
        assert (clash.key, clash.was, clash.theirs, clash.yours, clash.by) == (["haze", "extinction"], 1.5, 2, 3, "a")
        assert isinstance(document.edit("b", "2", document.rev, [change("haze", "extinction", to=3)], ""), Accepted)

    def test_a_row_that_another_changed_is_not_taken_away_unasked(self, document):
        """One key lies within the other."""
        document.edit("a", "1", 1, [change("lamp", "fill", "candela", to=50)], "")
        assert isinstance(document.edit("b", "1", 1, [change("lamp", "fill", to=None)], ""), Asked)

    def test_a_renamed_row_is_followed(self, document):
        """An edit of the old name goes to the new one."""
        document.edit("a", "1", 1, [change("lamp", "fill", "name", to="lantern")], "")
        assert isinstance(document.edit("b", "1", 1, [change("lamp", "fill", "candela", to=50)], ""), Accepted)
        assert document.file.scene.lamp[1].candela == 50


class TestUndo:
    """Without limit, each client its own, also after a restart."""

    def test_back_to_the_very_text_and_forth_again(self, document, path):
        """A row that was taken away comes back with its comments and its place."""
        edits = [
            [change("lamp", "key", "at", to=[910, 100, 600])],
            [change("lamp", "fill", to=None)],
            [change("haze", "extinction", to=None), change("haze", "visibility", to=2)],
            [change("title", to="Attic")],
            [change("prop", "table", "name", to="bench"), change("prop", "bench", "turn", to=10)],
        ]
        texts = [document.text]
        for number, edit in enumerate(edits):
            assert isinstance(document.edit("a", str(number), document.rev, edit, "Edit"), Accepted)
            texts.append(document.text)
        for number, text in reversed(list(enumerate(texts[:-1]))):
            assert isinstance(document.undo("a", f"u{number}"), Accepted)
            assert document.text == text
            if number == 3:
                document.close()
                document.__init__(path)
        assert isinstance(document.undo("a", "x"), Refused)
        for number, text in enumerate(texts[1:]):
            assert isinstance(document.redo("a", f"r{number}"), Accepted)
            assert document.text == text
        assert isinstance(document.redo("a", "y"), Refused)

    def test_others_edits_stay(self, document):
        """Undo takes back what this client did, wherever it stands by now."""
        document.edit("a", "1", 1, [change("lamp", "fill", to=None)], "Take fill away")
        document.edit("b", "1", 2, [change("title", to="A longer title than there was"), change("haze", "g", to=0.5)], "")
        document.undo("a", "2")
        assert document.text == SCENE.replace('"Small room"', '"A longer title than there was"').replace("# per metre\n", "# per metre\ng = 0.5\n")

    def test_what_another_changed_since_is_asked_about(self, document):
        """Mine takes it back all the same, theirs goes on to the edit before it."""
        for number, value in enumerate((2, 3)):
            document.edit("a", str(number), document.rev, [change("haze", "extinction", to=value)], "")
        document.edit("b", "1", document.rev, [change("haze", "extinction", to=4)], "")
        assert isinstance(document.undo("a", "u1"), Asked)
        assert isinstance(document.undo("a", "u2", document.rev, "theirs"), Accepted)
        assert document.file.scene.haze.extinction == 4
        assert isinstance(document.undo("a", "u3", document.rev - 1, "mine"), Asked)  # It has seen an older revision.
        assert isinstance(document.undo("a", "u4", document.rev, "mine"), Accepted)
        assert document.file.scene.haze.extinction == 1.5

    def test_back_to_a_revision(self, document):
        """The history is not cut off by that."""
        for number in range(4):
            document.edit("a", str(number), document.rev, [change("scale", to=12 + number)], f"Scale {number}")
        assert isinstance(document.back_to("b", "1", 1), Accepted)
        assert document.text == SCENE
        assert isinstance(document.undo("b", "2"), Accepted)
        assert document.file.scene.scale == 15
        assert [revision.says for revision in document.history(before=4)] == ["Scale 1", "Scale 0"]
        assert isinstance(document.back_to("b", "3", 99), Refused)


class TestOutside:
    """The file changed by hand while it is on the bench."""

    def test_taken_up_and_merged_with_what_is_not_saved(self, document, path):
        """By key; the maker's new comment stays."""
        document.edit("a", "1", 1, [change("lamp", "key", "dim", to=0.5)], "")
        path.write_text(SCENE.replace("extinction = 1.5", "extinction = 2.5  # thicker"))
        found, saved = document.save()
        assert isinstance(found, TakenUp) and saved == document.rev == 3
        assert path.read_text() == document.text == SCENE.replace("extinction = 1.5", "extinction = 2.5  # thicker").replace("lux_at_1m = 20000\n", "lux_at_1m = 20000\ndim = 0.5\n")

    def test_the_same_key_is_asked_about(self, document, path):
        """What was typed stands meanwhile; the edit is in the history."""
        document.edit("a", "1", 1, [change("haze", "extinction", to=3)], "")
        path.write_text(SCENE.replace("extinction = 1.5", "extinction = 2.5"))
        found = document.look()
        assert document.file.scene.haze.extinction == 2.5
        ((who, id, clashes),) = found.asked
        assert (who, id, clashes[0].was, clashes[0].theirs, clashes[0].yours) == ("a", "1", 1.5, 2.5, 3)

    def test_a_file_with_faults_is_never_written_over(self, document, path):
        """Edits wait until it is put right."""
        document.edit("a", "1", 1, [change("scale", to=24)], "")
        path.write_text("lamp = [")
        assert isinstance(document.look(), Faulty) and document.look() is None
        assert isinstance(document.edit("a", "2", 2, [change("scale", to=6)], ""), Refused)
        assert document.save() == (None, None) and path.read_text() == "lamp = ["
        path.unlink()
        assert isinstance(document.look(), Faulty)
        path.write_text(SCENE)
        assert isinstance(document.look(), TakenUp)
        assert document.save()[1] == document.rev and "scale = 24" in path.read_text()

    def test_a_change_in_comments_alone(self, document, path):
        """Is taken up too."""
        path.write_text("# a new first line\n" + SCENE)
        assert "comments" in document.look().revision.says and document.text.startswith("# a new")

    def test_marks_of_other_systems_are_kept(self, tmp_path):
        """A byte order mark, ends of line, the file's permissions, a name that is a link."""
        path = tmp_path / "real.toml"
        path.write_bytes(b"\xef\xbb\xbf" + SCENE.replace("\n", "\r\n").encode())
        path.chmod(0o640)
        link = tmp_path / "link.toml"
        link.symlink_to(path)
        document = Document(link)
        document.edit("a", "1", 1, [change("haze", "g", to=0.5)], "")
        document.close()
        data = path.read_bytes()
        assert data.startswith(b"\xef\xbb\xbf# A small") and b"\r\ng = 0.5\r\n" in data and b"\n" not in data.replace(b"\r\n", b"")
        assert link.is_symlink() and path.stat().st_mode & 0o777 == 0o640


class TestStopped:
    """The machine stops at any moment."""

    def test_edits_that_are_not_in_the_file_yet(self, path):
        """Are in the journal, and go into the file at the next start."""
        document = Document(path)
        document.edit("a", "1", 1, [change("scale", to=24)], "")
        stopped(document)
        assert path.read_text() == SCENE
        document = Document(path)
        assert document.file.scene.scale == 24 and document.unsaved
        document.close()
        assert "scale = 24" in path.read_text()

    def test_changed_by_hand_before_the_next_start(self, path):
        """Both count."""
        document = Document(path)
        document.edit("a", "1", 1, [change("scale", to=24)], "")
        stopped(document)
        path.write_text(SCENE.replace('"Small room"', '"By hand"'))
        document = Document(path)
        document.close()
        assert path.read_text() == SCENE.replace('title = "Small room"  # for now\n', 'title = "By hand"  # for now\nscale = 24\n')

    def test_an_older_file_put_back_by_hand(self, path):
        """Is what the maker wants, not an edit that was lost."""
        document = Document(path)
        document.edit("a", "1", 1, [change("scale", to=24)], "")
        document.close()
        path.write_text(SCENE)
        document = Document(path)
        assert document.text == SCENE and document.history()[0].kind == "outside"
        document.close()

    @pytest.mark.parametrize("lost", [1, 7, 100, 400])
    def test_a_torn_journal(self, path, lost):
        """Its last line is left out, and what went before is whole."""
        document = Document(path)
        for number in range(3):
            document.edit("a", str(number), document.rev, [change("scale", to=20 + number)], "")
        stopped(document)
        journal = folder_of(path) / "journal.jsonl"
        journal.write_bytes(journal.read_bytes()[:-lost])
        document = Document(path)
        assert document.rev < 4 and document.file.scene.scale == (12 if document.rev == 1 else 18 + document.rev)
        assert isinstance(document.edit("a", "9", document.rev, [change("scale", to=6)], ""), Accepted)
        document.close()

    def test_a_damaged_journal_is_set_aside(self, path):
        """Nothing is thrown away, and the file is as it was."""
        document = Document(path)
        document.edit("a", "1", 1, [change("scale", to=24)], "")
        document.close()
        journal = folder_of(path) / "journal.jsonl"
        journal.write_bytes(b"nonsense\n" * 3 + journal.read_bytes())
        document = Document(path)
        assert document.rev == 1 and document.file.scene.scale == 24
        assert (folder_of(path) / "journal-damaged-1.jsonl").exists()
        document.close()

    def test_one_bench_a_scene(self, document, path):
        """Two would write over each other."""
        with pytest.raises(OptionFault, match="on a bench already"):
            Document(path)

    def test_a_faulty_file_does_not_start(self, path):
        """As with every verb: all faults, and nothing is written."""
        path.write_text(SCENE.replace("height = 180", "height = -1"))
        with pytest.raises(SceneFaults):
            Document(path)
        assert not folder_of(path).exists()


NUMBERS = {
    ("lamp", "key", "at"): st.tuples(st.integers(850, 950), st.integers(50, 150), st.integers(500, 700)).map(list),
    ("lamp", "key", "dim"): st.sampled_from([None, 0, 0.25, 1]),
    ("lamp", "fill", "candela"): st.integers(10, 90),
    ("haze", "extinction"): st.floats(0.5, 3).map(lambda value: round(value, 2)),
    ("haze", "g"): st.sampled_from([None, 0.1, 0.8]),
    ("scale",): st.sampled_from([None, 6, 24]),
    ("title",): st.text("abc #\"'\\=äß", max_size=10),
    ("opening", "window", "size"): st.tuples(st.integers(70, 90), st.integers(70, 100)).map(list),
    ("prop", "ball"): st.sampled_from([None, {"name": "ball", "kind": "sphere", "size": 20, "at": [50, 50, 0]}]),
    ("finish", "oak"): st.sampled_from([None, {"reflect": 0.3}, {"colour": "#806040"}]),
    ("lamp", "key", "gel", "stops"): st.sampled_from([None, 0.5, 1]),
}
COMMENTS = re.findall(r"#.*", SCENE)


class TwoClients(RuleBasedStateMachine):
    """Two clients edit at random, each on a revision that it has seen, while the file is saved, changed by hand, or the machine stops."""

    folders = None

    @initialize()
    def open(self):
        self.path = next(self.folders) / "room.toml"
        self.path.write_text(SCENE)
        self.document, self.expected, self.count = Document(self.path), tomllib.loads(SCENE), 0
        self.seen = {"a": 1, "b": 1}
        self.texts = {1: SCENE}

    @rule(who=st.sampled_from("ab"), data=st.data(), behind=st.booleans())
    def edit(self, who, data, behind):
        keys = data.draw(st.lists(st.sampled_from(sorted(NUMBERS)), min_size=1, max_size=3, unique=True))
        changes = [change(*key, to=data.draw(NUMBERS[key])) for key in keys]
        if any(c.key == ["prop", "ball"] and c.to and "ball" in self.document.text for c in changes):
            return
        self.count += 1
        outcome = self.document.edit(who, str(self.count), self.seen[who] if behind else self.document.rev, changes, "Edit")
        if isinstance(outcome, Accepted):
            self.expected = applied(self.expected, changes)
        else:
            assert isinstance(outcome, Asked) and behind, outcome
        self.accepted()

    @rule(who=st.sampled_from("ab"), kind=st.sampled_from(["undo", "redo"]))
    def back(self, who, kind):
        self.count += 1
        outcome = getattr(self.document, kind)(who, str(self.count))
        if isinstance(outcome, Accepted):
            self.expected = applied(self.expected, outcome.revision.after())
        self.accepted()

    @rule(rev=st.integers(1, 40))
    def back_to(self, rev):
        self.count += 1
        if isinstance(self.document.back_to("a", str(self.count), rev), Accepted):
            assert self.document.text == self.texts[rev]
            self.expected = tomllib.loads(self.texts[rev])
        self.accepted()

    @rule(who=st.sampled_from("ab"))
    def see(self, who):
        self.seen[who] = self.document.rev

    @rule()
    def save(self):
        self.document.save()
        assert self.path.read_text() == self.document.text

    @rule(value=st.integers(1, 9))
    def by_hand(self, value):
        self.document.save()
        self.path.write_text(re.sub(r"^clip = .*", f"clip = {value}", self.document.text, flags=re.M))
        self.document.look()
        self.expected["shot"][0]["clip"] = value
        self.accepted()

    @rule()
    def stop(self):
        stopped(self.document)
        self.document = Document(self.path)

    def accepted(self):
        self.texts.setdefault(self.document.rev, self.document.text)

    @invariant()
    def nothing_acknowledged_is_lost(self):
        """The values are those of all accepted edits in order, and every comment stands."""
        if hasattr(self, "document"):
            present = {key: value for key, value in self.expected.items() if value not in ({}, [])}
            assert plain_value(tomllib.loads(self.document.text)) == plain_value(present)
            assert self.texts[self.document.rev] == self.document.text
            if "extinction" in self.expected.get("haze", {}):
                assert [comment for comment in COMMENTS if comment not in self.document.text] == []

    def teardown(self):
        if hasattr(self, "document"):
            self.document.close()
            assert self.path.read_text() == self.document.text


def test_two_clients_at_random(tmp_path):
    """Every acknowledged edit is in the text, whatever happens in between."""

    def folders():
        number = 0
        while True:
            number += 1
            folder = tmp_path / str(number)
            folder.mkdir()
            yield folder

    TwoClients.folders = folders()
    slow = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
    run_state_machine_as_test(TwoClients, settings=settings(max_examples=5, stateful_step_count=8, deadline=None, suppress_health_check=slow))
