"""Layers and mixes from the command line, and the exposure chart."""

from pathlib import Path

import imageio.v3 as imageio
import numpy as np
import pytest

from previz.cli import run

SMALL = ["--size", "64x36", "--quality", "draft"]


@pytest.fixture(autouse=True)
def in_own_folder(scene_file, monkeypatch):
    """Relative paths lie beside the scene."""
    monkeypatch.chdir(scene_file.parent)


class TestMix:
    """Lamps mixed after the render."""

    def test_from_a_layers_file(self, scene_file, capsys):
        """The file alone is enough: the scene may be gone."""
        assert run(["frame", str(scene_file), *SMALL, "--layers", "a.exr", "-o", "a.png"]) == 0
        assert run(["frame", str(scene_file), *SMALL, "-o", "plain.png"]) == 0
        scene_file.unlink()
        assert run(["frame", "a.exr", "--mix", "key=1", "-o", "same.png"]) == 0
        assert run(["frame", "a.exr", "--mix", "key=0"]) == 0
        assert capsys.readouterr().out.split() == ["a.exr", "a.png", "plain.png", "same.png", "a-mix.png"]
        pictures = [imageio.imread(name).astype(int) for name in ("plain.png", "a.png", "same.png", "a-mix.png")]
        assert abs(pictures[0] - pictures[1]).max() <= 1 and np.array_equal(pictures[1], pictures[2]) and not pictures[3].any()

    def test_from_the_scene_draws_once(self, scene_file, capsys):
        """The first mix stores its layers beside the pictures, the next one reads them; a changed scene draws anew."""
        assert run(["frame", str(scene_file), *SMALL, "--mix", "key=0.5"]) == 0
        first = Path("renders/plain/past-the-table-0.25s-layers.exr").stat().st_mtime_ns
        assert run(["frame", str(scene_file), *SMALL, "--mix", "exposure=-1"]) == 0
        assert Path("renders/plain/past-the-table-0.25s-layers.exr").stat().st_mtime_ns == first
        layers, mix = "renders/plain/past-the-table-0.25s-layers.exr", "renders/plain/past-the-table-0.25s-mix.png"
        assert capsys.readouterr().out.split() == [layers, mix, mix]
        scene_file.write_text(scene_file.read_text().replace("20000", "10000"))
        assert run(["frame", str(scene_file), *SMALL, "--mix", "key=0.5"]) == 0
        assert capsys.readouterr().out.split() == [layers, mix]

    @pytest.mark.parametrize(
        "options, says",
        [
            (["--mix", "moon=1"], '--mix moon=1: "moon" is no lamp of this picture\n  It has key, haze, exposure; write it like --mix key=0.5.\n'),
            (["--layers", "a.tif"], "--layers a.tif: layers are an OpenEXR file, so the name must end in .exr\n  Name it like frame-layers.exr.\n"),
            (["--mix", "key=1", "--proxy"], "--layers and --mix go with none of --proxy, --chart and --linear\n  Leave them out; a layers file holds the luminance too.\n"),
            (["--chart", "--proxy"], "--chart and --proxy do not go together: plain shapes have no luminance\n  Leave one of them out.\n"),
        ],
    )
    def test_what_cannot_be(self, scene_file, capsys, options, says):
        """Said before anything is drawn, and nothing written."""
        assert run(["frame", str(scene_file), *options]) == 2
        assert capsys.readouterr().err == says
        assert {path.name for path in Path().iterdir()} == {"plain.toml"}

    def test_files_that_are_no_layers(self, capsys):
        """Missing, or without a mix."""
        assert run(["frame", "gone.exr", "--mix", "key=1"]) == 2
        assert "gone.exr: there is no such file" in capsys.readouterr().err
        assert run(["frame", "gone.exr", "--layers", "b.exr"]) == 2
        assert "nothing says how to mix it" in capsys.readouterr().err


class TestChart:
    """Luminance in stops."""

    def test_beside_the_picture(self, scene_file, capsys):
        """Named as a chart, and larger than the picture by its scale."""
        assert run(["frame", str(scene_file), *SMALL, "--chart"]) == 0
        assert capsys.readouterr().out == "renders/plain/past-the-table-chart-0.25s.png\n"
        rows, columns, _ = imageio.imread("renders/plain/past-the-table-chart-0.25s.png").shape
        assert rows > 36 and columns > 320


class TestNoise:
    """Noise, on option."""

    def test_is_said_to_be_an_illustration(self, scene_file, capsys):
        """Another picture than the clean one, the same each time, and what it is stands beside its name."""
        for options in (["-o", "clean.png"], ["--noise", "-o", "a.png"], ["--noise", "-o", "b.png"]):
            assert run(["frame", str(scene_file), *SMALL, *options]) == 0
        said = capsys.readouterr()
        assert "a.png: noise is an illustration: a sensor of round figures, not yours" in said.err
        clean, a, b = (imageio.imread(name) for name in ("clean.png", "a.png", "b.png"))
        assert (a == b).all() and (a != clean).any()
