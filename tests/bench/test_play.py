"""The move played by the browser: the same picture as the engine's own frame."""

import base64
import io
import json

import numpy as np
import pytest
from on_the_bench import light_of
from PIL import Image

from previz.bench.packing import packed
from previz.bench.play import play_pack
from previz.bench.walk import walk_pack
from previz.build.load import load_set
from previz.frames.still import lit_at_roll, still
from previz.light.measured import unusable_files
from previz.rays.lit import light_set
from previz.rig.moves import plan_move

MEAN_ERROR = 0.03
"""What a played frame may be off the engine's, mean of all pixels over the picture's mean."""


BULB = """
[[lamp]]
name = "bulb"
kind = "point"
at = [60, 60, 150]
toward = [60, 60, 0]
candela = 2

[haze]
extinction = 1.5
"""


def unpacked(data):
    """Return header and arrays of packed bytes."""
    length = int.from_bytes(data[:4], "little")
    header = json.loads(data[4 : 4 + length])
    arrays = {}
    for name, place in header["arrays"].items():
        count = int(np.prod(place["shape"]))
        arrays[name] = np.frombuffer(data, place["type"], count, 4 + length + place["at"]).reshape(place["shape"])
    return header, arrays


def engine_picture(path, share, size):
    """Return the engine's picture of the first shot at a share of its take, uint8."""
    loaded, built = load_set(path, unusable_files)
    shot = loaded.scene.shot[0]
    move = plan_move(loaded.scene, shot, built)
    lit = lit_at_roll(light_set(loaded.scene, built), shot)
    return still(lit, shot, move, share * move.take_s, size, quality="good").rgb


@pytest.fixture(scope="module")
def lit(tmp_path_factory, scene_text):
    """The plain room, two lamps of which one hangs inside, coarsely lit."""
    path = tmp_path_factory.mktemp("set") / "room.toml"
    path.write_text(scene_text + BULB)
    loaded, built = load_set(path, unusable_files)
    return light_set(loaded.scene, built, texels=2000, rays=16)


class TestPackedBytes:
    """What the page is sent."""

    def test_arrays_come_back_as_they_were(self):
        """Types, shapes and numbers, each array where a browser may read it without copying."""
        arrays = {"a": np.arange(3, dtype=np.uint8), "b": np.arange(4, dtype=np.float32).reshape(2, 2), "c": np.array([0.5, 2.0], np.float16)}
        header, back = unpacked(packed({"schema": 1}, arrays))
        assert all(np.array_equal(back[name], array) and back[name].dtype == array.dtype for name, array in arrays.items())
        assert all(place["at"] % 8 == 0 for place in header["arrays"].values())

    def test_direct_light_on_a_face_is_the_engines(self, lit):
        """The sum over all texels of the floor is its illuminance times its area, as the engine has it for points spread over it."""
        header, arrays = unpacked(play_pack(lit, lit.scene.shot[0], detail=0.02))
        floor = next(i for i, face in enumerate(lit.built.faces) if face.name == "room.floor" or (lit.built.parts[face.part].name == "room.floor" and face.side == "inside"))
        left, bottom, columns, rows = arrays["fine"][floor].astype(int)
        candela = np.array([source["rgb"] for source in header["sources"]]) @ [0.2126, 0.7152, 0.0722]
        picture = arrays["direct0"][:, bottom : bottom + rows, left : left + columns].astype(float)
        light = sum(picture[s // picture.shape[-1], ..., s % picture.shape[-1]] * candela[s] for s in range(len(candela)))
        grid = np.stack(np.meshgrid(np.linspace(0, 300, 61)[:-1] + 2.5, np.linspace(0, 200, 41)[:-1] + 2.5), axis=-1).reshape(-1, 2)
        points = np.column_stack([grid, np.zeros(len(grid))])
        clear = lit.direct(points, np.tile([0.0, 0.0, 1.0], (len(points), 1)), np.arange(len(points)) % 16, _on_lamps(lit), extinction_per_m=0.0)
        under_the_table = (abs(grid[:, 0] - 150) < 30) & (abs(grid[:, 1] - 100) < 20)
        expected = (clear @ (lit.behind_tints(lit.candela) @ [0.2126, 0.7152, 0.0722]))[~under_the_table].sum() / len(grid)
        assert light.mean() == pytest.approx(expected, rel=0.05)

    def test_a_lamp_inside_has_an_upright_grid(self, lit):
        """A lamp outside is looked along, one inside stands in the middle of its light."""
        header, _ = unpacked(play_pack(lit, lit.scene.shot[0], detail=0.02))
        seen = {header["lamps"][source["lamp"]]: shaft["seen"] for source, shaft in zip(header["sources"], header["lights"][0]["shafts"])}
        assert seen == {"key": True, "bulb": False}

    def test_walls_hide_only_what_is_behind_them(self, lit):
        """Each wall's triangles carry the way out of the room; props carry none."""
        _, arrays = unpacked(walk_pack(lit))
        built = lit.built
        outward = arrays["outward"].reshape(-1, 3, 3)[:, 0]
        for part in built.parts:
            expected = {"room.east": [1, 0, 0], "room.west": [-1, 0, 0], "room.ceiling": [0, 0, 1], "table": [0, 0, 0]}.get(part.name)
            if expected is not None:
                assert np.allclose(outward[part.first : part.last], expected, atol=1e-6)


def _on_lamps(lit):
    from previz.rays.kernels import lamp_points

    return lamp_points(lit.lamps, 16, 16)


class TestPlayedFrames:
    """What a maker sees while the move plays."""

    def test_a_played_frame_is_the_engines(self, bench, waiting):
        """The same view, drawn by the card at twice the size and seen at one: no more than 3 % off in the mean, haze and focus included."""
        page = bench.open(width=320, height=640, device_scale_factor=2)
        page.set_default_timeout(240_000)
        page.get_by_role("button", name="Play the move").click()
        page.get_by_role("button", name="Stop here").click()
        slider = page.locator("#paper-lens input[type=range]").first
        shown = page.locator("canvas.played").evaluate(
            "canvas => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(canvas.toDataURL('image/png')))))"
        )
        played = Image.open(io.BytesIO(base64.b64decode(shown.split(",")[1]))).convert("RGB")
        size = (played.width // 2, played.height // 2)
        played = light_of(np.asarray(played)[: 2 * size[1], : 2 * size[0]]).reshape(size[1], 2, size[0], 2).mean(axis=(1, 3))
        wanted = light_of(engine_picture(bench.scene, float(slider.input_value()) / float(slider.get_attribute("max")), size))
        assert wanted.std() > 0.2 * wanted.mean()
        assert abs(played - wanted).mean() / wanted.mean() < MEAN_ERROR
