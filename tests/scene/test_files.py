"""Outputs come whole or not at all, and failures in plain words."""

import os
import signal
import stat
import subprocess
import sys
import textwrap

import pytest

from previz.scene.faults import OptionFault, OutsideFault, PrevizError
from previz.scene.files import outside, replacing


def names(folder):
    """Return what a folder holds."""
    return sorted(entry.name for entry in folder.iterdir())


class TestReplacing:
    """A temporary file beside the final one, renamed when it is whole."""

    def test_whole_file_takes_the_place(self, tmp_path):
        """The old one stands until the new one is whole."""
        path = tmp_path / "deep" / "still.png"
        with replacing(path) as part:
            assert (part.parent, part.suffix) == (path.parent, ".png")
            part.write_text("old")
        with replacing(path) as part:
            part.write_text("new")
            assert "old" == path.read_text()
        assert "new" == path.read_text()
        assert ["still.png"] == names(path.parent)

    def test_permissions_are_a_plain_file_s(self, tmp_path):
        """Not those of a private temporary file."""
        (tmp_path / "plain").write_text("")
        with replacing(tmp_path / "made"):
            pass
        modes = {stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("plain", "made")}
        assert 1 == len(modes)

    @pytest.mark.parametrize("failure", [ValueError, KeyboardInterrupt, PrevizError])
    def test_failure_leaves_the_old_file(self, tmp_path, failure):
        """Any failure, Ctrl-C too, passes on and leaves nothing behind."""
        path = tmp_path / "report.json"
        path.write_text("old")
        with pytest.raises(failure), replacing(path) as part:
            part.write_text("half")
            raise failure
        assert ("old", ["report.json"]) == (path.read_text(), names(tmp_path))

    def test_interrupted_process_leaves_nothing(self, tmp_path):
        """A real Ctrl-C to a real process."""
        program = f"""
            import signal, time
            from previz.scene.files import replacing
            # A test run in the background inherits an ignored Ctrl-C; a maker's terminal does not.
            signal.signal(signal.SIGINT, signal.default_int_handler)
            with replacing({str(tmp_path / "reel.mp4")!r}) as part:
                part.write_text("half")
                print("writing", flush=True)
                time.sleep(30)
        """
        child = subprocess.Popen([sys.executable, "-c", textwrap.dedent(program)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        with child:
            assert b"writing\n" == child.stdout.readline()
            child.send_signal(signal.SIGINT)
        assert (-signal.SIGINT, []) == (child.returncode, names(tmp_path))

    def test_a_folder_in_the_place(self, tmp_path):
        """That is an option's fault."""
        with pytest.raises(OptionFault) as caught, replacing(tmp_path):
            pass
        assert f"{tmp_path} is a folder, and a file should be written there\n  Give the name of a file with -o." == str(caught.value)
        assert 2 == caught.value.exit_code

    def test_a_file_in_the_folder_s_place(self, tmp_path):
        """A path through a file."""
        (tmp_path / "a").write_text("")
        with pytest.raises(OutsideFault) as caught, replacing(tmp_path / "a" / "b.png"):
            pass
        assert f"could not write {tmp_path / 'a' / 'b.png'}: part of that path is a file, not a folder\n  Give another place with -o." == str(caught.value)
        assert 3 == caught.value.exit_code

    @pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs the device that is always full")
    def test_full_disk(self, tmp_path):
        """The disk's own error, from a device that is always full."""
        path = tmp_path / "still.png"
        with pytest.raises(OutsideFault) as caught, replacing(path):
            with open("/dev/full", "wb", buffering=0) as full:
                full.write(b"x")
        assert (
            f"could not write {path}: the disk is full\n  Free some space, or write elsewhere with -o, and run the command again." == str(caught.value)
        )
        assert [] == names(tmp_path)

    @pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may write everywhere")
    def test_no_permission(self, tmp_path):
        """A folder that may only be read."""
        tmp_path.chmod(0o500)
        with pytest.raises(OutsideFault, match="there is no permission to write there"), replacing(tmp_path / "still.png"):
            pass
        tmp_path.chmod(0o700)

    def test_broken_pipe_passes(self, tmp_path):
        """Whoever reads our output may stop; that is no fault of the disk."""
        with pytest.raises(BrokenPipeError), outside(tmp_path):
            raise BrokenPipeError
