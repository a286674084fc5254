"""The light of a frame kept apart: its sum is the frame, and lamps can be mixed anew."""

import dataclasses

import numpy as np
import OpenEXR
import pytest
from numpy.testing import assert_allclose
from rooms import painted_room, view_across

from previz.build.assemble import build_set
from previz.frames.hazed import hazed_frame, light_layers
from previz.frames.layers import LayeredStill, channel_names, parsed_mix, read_layers, shown, write_layers
from previz.rays.lit import light_set, relit
from previz.scene.faults import OptionFault
from previz.scene.model import Scene

SAMPLES = dict(passes=2, lamp_samples=4, haze_samples=1)


@pytest.fixture(scope="module")
def lit():
    """A painted room under two lamps of different colours."""
    tables = painted_room().model_dump(by_alias=True)
    key = tables["lamp"][0]
    second = {**key, "name": "fill", "at": [key["at"][0], key["at"][1] + 150, key["at"][2] + 60], "colour": "#88aaff", "dim": 0.5}
    scene = Scene.model_validate({**tables, "lamp": [key, second]})
    return light_set(scene, build_set(scene, folder=None), texels=3000, rays=32)


@pytest.fixture(scope="module")
def layers(lit):
    """Its light in one view, kept apart."""
    return light_layers(lit, view_across(96, 54), **SAMPLES)


@pytest.fixture(scope="module")
def kept(layers, lit):
    """The picture as it is stored."""
    return LayeredStill(layers, shown(lit, view_across(96, 54)), ("key", "fill"), tuple(p.name for p in lit.built.parts), 800.0, 14.0, 1 / 240, "mark")


class TestLayers:
    """One code path, two ways to add it up."""

    def test_the_frame_is_their_sum(self, lit, layers):
        """Every pixel, to the figures of float32."""
        frame = hazed_frame(lit, view_across(96, 54), **SAMPLES)
        assert_allclose(layers.mixed([1, 1]), frame, rtol=1e-5, atol=1e-6 * frame.max())

    def test_a_dimmed_lamp_is_a_mix(self, lit, layers):
        """Light adds up: a lamp at half its level, lit anew and drawn, is the mix of stored layers."""
        halved = tuple(dataclasses.replace(e, candela=e.candela * level) for e, level in zip(lit.emitters, (0.5, 0.0)))
        frame = hazed_frame(relit(lit, lamps=halved), view_across(96, 54), **SAMPLES)
        assert_allclose(layers.mixed([0.5, 0]), frame, rtol=1e-4, atol=1e-5 * frame.max())

    def test_each_way_of_light_is_there(self, layers):
        """Direct, bounced and scattered light of both lamps, none of it negative."""
        for part in (layers.direct, layers.bounce, layers.haze):
            assert part.shape == (2, 54, 96, 3) and part.min() >= 0
            assert (part.max(axis=(1, 2, 3)) > 0).all()


class TestFile:
    """Layers go into a file that other programs read, and come back."""

    def test_it_comes_back_whole(self, kept, tmp_path):
        """Every number, to the bit."""
        write_layers(tmp_path / "a.exr", kept)
        back = read_layers(tmp_path / "a.exr")
        for group in ("layers", "shown"):
            for field in dataclasses.fields(getattr(kept, group)):
                assert np.array_equal(getattr(getattr(back, group), field.name), getattr(getattr(kept, group), field.name))
        assert (back.lamps, back.parts, back.iso, back.stop, back.seconds, back.fingerprint) == (kept.lamps, kept.parts, 800.0, 14.0, 1 / 240, "mark")

    def test_channels_carry_documented_names(self, kept, tmp_path):
        """As the module's header lists them; R, G and B are the sum of all light."""
        write_layers(tmp_path / "a.exr", kept)
        with OpenEXR.File(str(tmp_path / "a.exr"), separate_channels=True) as file:
            pixels = {name: channel.pixels for name, channel in file.channels().items()}
        light = [f"{kind}.{lamp}.{colour}" for kind in ("lamp", "bounce", "haze") for lamp in ("key", "fill") for colour in "RGB"]
        assert set(pixels) == {*light, "R", "G", "B", "depth.Z", "haze.depth", "normal.X", "normal.Y", "normal.Z", "part.id"}
        for colour in "RGB":
            assert_allclose(pixels[colour], sum(pixels[name] for name in light if name.endswith(colour)), rtol=1e-5)

    def test_lamps_of_like_names_stay_apart(self):
        """Dots part the names of channels, so a name has none; two lamps never share one."""
        assert channel_names(["key", "a.b", "a b", "a_b"]) == ["key", "a_b", "a_b_2", "a_b_3"]

    def test_what_a_pixel_shows(self, kept, lit):
        """The floor is level and below the lens, and haze dims the way to it as much as it does in the picture."""
        view = view_across(96, 54)
        floor = np.argwhere(kept.shown.normal[..., 2] > 0.999)
        row, column = floor[-1]
        direction = view.directions(np.array([column + 0.5]), np.array([row + 0.5]))[0]
        distance = kept.shown.depth_mm[row, column] / (direction @ view.forward)
        assert (view.position + distance * direction)[2] == pytest.approx(0, abs=0.01) 
        assert kept.shown.haze_depth[row, column] == pytest.approx(lit.trimmed.extinction_per_m * distance / 1000, rel=1e-4)

    def test_other_haze_is_a_first_look(self, kept, lit):
        """A fifth more or less haze, against the frame lit and drawn anew: within 5 % root mean square in blocks, and well nearer than doing nothing."""
        for times in (0.8, 1.2):
            medium = dataclasses.replace(lit.medium, extinction_per_m=times * lit.medium.extinction_per_m)
            true = hazed_frame(relit(lit, medium=medium), view_across(96, 54), **SAMPLES)
            blocks = [np.mean(a.sum(axis=2)[:50, :95].reshape(10, 5, 19, 5), axis=(1, 3)) for a in (kept.mixed({"haze": times}), kept.mixed({}), true)]
            error, nothing = (np.sqrt(np.mean((a / blocks[2] - 1) ** 2)) for a in blocks[:2])
            assert error < 0.05 and error < 0.6 * nothing

    def test_exposure_is_stops(self, kept):
        """One stop brighter is the picture at twice the ISO."""
        assert np.array_equal(kept.developed({"exposure": 1}), dataclasses.replace(kept, iso=1600.0).developed({}))

    @pytest.mark.parametrize("content", [b"", b"not a picture", b"\x76\x2f\x31\x01 cut short"])
    def test_other_files_are_refused(self, tmp_path, content):
        """Said in one message, whatever lies there."""
        (tmp_path / "b.exr").write_bytes(content)
        with pytest.raises(OptionFault, match="holds no layers"):
            read_layers(tmp_path / "b.exr")

    @pytest.mark.parametrize(
        "text, says",
        [
            ("moon=1", '"moon" is no lamp of this picture\n  It has key, fill, haze, exposure; write it like --mix key=0.5.'),
            ("key", '"key" is no lamp of this picture'),
            ("", '"" is no lamp of this picture'),
            ("key=1,key=2", "key is given twice"),
            ("key=-1", "key must be a level from 0 to 1000, and is -1"),
            ("key=nan", "key must be a level from 0 to 1000, and is nan"),
            ("exposure=99", "exposure must be stops from -20 to 20, and is 99"),
        ],
    )
    def test_mixes_that_cannot_be(self, text, says):
        """What is wrong, and what the picture has."""
        with pytest.raises(OptionFault) as refused:
            parsed_mix(text, ("key", "fill"))
        assert says.removeprefix('"key"') in str(refused.value)


class TestPaper:
    """Light that tracing paper sends on."""

    def test_goes_with_its_lamp_or_by_its_own_name(self, kept):
        """Dimming the lamp dims its paper; the paper's own level goes first; channels' names serve as well."""
        papered = dataclasses.replace(kept, lamps=("key", "key through blind"), sources=("key", "key"))
        assert papered.levels(parsed_mix("key=0.5", papered.lamps)).tolist() == [0.5, 0.5]
        assert papered.levels(parsed_mix("key=0.5,key_through_blind=2", papered.lamps)).tolist() == [0.5, 2.0]
        with pytest.raises(OptionFault) as fault:
            parsed_mix("key_through_blindd=1", papered.lamps)
        assert fault.value.remedy == 'Did you mean "key through blind"?'

    def test_is_kept_in_the_file(self, kept, tmp_path):
        """Sources and white balance come back as they were written."""
        white = [[1.0, 0.0, 0.0], [0.0, 0.5, 0.0], [0.0, 0.0, 2.0]]
        write_layers(tmp_path / "p.exr", dataclasses.replace(kept, sources=("key", "key"), white=white))
        back = read_layers(tmp_path / "p.exr")
        assert back.sources == ("key", "key") and back.white == white
        assert back.levels({"key": 0.0}).tolist() == [0.0, 0.0]
