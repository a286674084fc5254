"""A photometric file that cannot be used is a fault of the scene file, with its line and the place in the file."""

from pathlib import Path

import pytest

from previz.build.load import load_set
from previz.frames.store import fingerprint
from previz.light.lamps import emitters
from previz.light.measured import unusable_files
from previz.scene.faults import PrevizError, SceneFaults

REF = Path(__file__).parents[1] / "outside" / "REF-A.ies"
SCENE = """
[[room]]
name = "attic"
plan = [[0, 0], [300, 0], [300, 200], [0, 200]]
height = 120

[[lamp]]
name = "key"
kind = "ies"
file = "spot.ies"
at = [150, -600, 300]
toward = [150, 100, 0]

[[shot]]
name = "still"
from = [100, 100, 60]
look = {pan = 0}
"""


@pytest.fixture
def scene(tmp_path):
    """Write the scene, and beside it the text given as its photometric file; return the scene's path."""

    def write(text):
        (tmp_path / "room.toml").write_text(SCENE)
        if text is not None:
            (tmp_path / "spot.ies").write_text(text)
        return tmp_path / "room.toml"

    return write


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (None, None, "there is no such file"),
        ("900", "-900", "spot.ies: -900 on line 10"),
        ("7 1 1 2", "8 1 1 2", "vertical angles must rise (got spot.ies: 0 after 90)"),
        ("0 10 20", "0 10 1e9", "spot.ies: 1e9 on line 12"),
        ("TILT=NONE", "TILT", "line TILT="),
    ],
)
def test_fault(scene, old, new, words):
    """Every fault names the scene file's line and says what stands where."""
    text = REF.read_text()
    with pytest.raises(SceneFaults) as caught:
        load_set(scene(None if old is None else text.replace(old, new)), unusable_files)
    message = str(caught.value)
    assert 'room.toml:10: [[lamp]] "key" file: ' in message, message
    assert words.replace("line 10", f"line {_line_of('900 600')}").replace("line 12", f"line {_line_of('0 10 20')}") in message, message


def _line_of(piece):
    return next(i for i, line in enumerate(REF.read_text().splitlines(), 1) if piece in line)


def test_without_the_check_it_is_still_a_plain_message(scene):
    """Code that lights a set without looking at its files first."""
    file, built = load_set(scene("nothing"))
    with pytest.raises(PrevizError, match='lamp "key": file spot.ies: must be a photometric file'):
        emitters(file.scene, built)


def test_a_changed_file_is_another_picture(scene):
    """Kept frames of a reel are thrown away when the lamp's file changes."""
    marks = []
    for text in (REF.read_text(), REF.read_text().replace("900", "901")):
        file, built = load_set(scene(text), unusable_files)
        marks.append(fingerprint(file.scene, file.scene.shot[0], built))
    assert marks[0] != marks[1]
