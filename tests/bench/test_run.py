"""`previz bench` where it cannot begin: one plain message, exit code 2, and nothing is left behind."""

import socket

import pytest
from served import SCENE

from previz.bench.document import Document, folder_of
from previz.cli import run


@pytest.fixture
def path(tmp_path):
    """A scene file of its own."""
    path = tmp_path / "room.toml"
    path.write_text(SCENE)
    return path


def refused(capsys, *arguments) -> str:
    """What is said on standard error."""
    assert run(["bench", *map(str, arguments)]) == 2
    said = capsys.readouterr()
    assert said.out == "" and "Traceback" not in said.err
    return said.err


class TestCannotBegin:
    """What is wrong, and what to do about it."""

    def test_a_faulty_file(self, path, capsys):
        """As every verb says it: all faults with their lines."""
        path.write_text(SCENE.replace("height = 180", "height = -1").replace("extinction = 1.5", "extinction = 1,5"))
        assert "room.toml:" in refused(capsys, path)
        assert not folder_of(path).exists()

    @pytest.mark.parametrize("options", [["--port", "80"], ["--port", "99999"], ["--workers", "0"]])
    def test_options_out_of_range(self, path, capsys, options):
        """With the range."""
        assert f"{' '.join(options)}: it must be from" in refused(capsys, path, *options)

    def test_a_port_that_is_taken(self, path, capsys):
        """And the scene can be opened elsewhere after that."""
        with socket.socket() as other:
            other.bind(("127.0.0.1", 0))
            other.listen()
            port = other.getsockname()[1]
            assert f"port {port}: " in refused(capsys, path, "--port", port)
        Document(path).close()

    def test_a_scene_that_is_on_a_bench(self, path, capsys):
        """Two servers would write over each other."""
        document = Document(path)
        assert "on a bench already" in refused(capsys, path)
        document.close()
