"""Lamps as emitting faces: where they point, how large and how strong they are."""

from pathlib import Path

import numpy as np
import pytest

from previz.build.assemble import build_set
from previz.light.colour import luminance
from previz.light.lamps import beam_exponent, emitters, face_points, intensity
from previz.scene.faults import PrevizError
from previz.scene.model import Scene

LAMP = {"name": "key", "kind": "point", "at": (-400.0, 0.0, 350.0), "toward": (0.0, 0.0, 90.0), "candela": 1000.0}
ROOM = {"name": "room", "plan": [[0, 0], [300, 0], [300, 200], [0, 200]], "height": 180, "wall": 6, "walls": ["south", "east", "north", "west"]}
WINDOW = {"name": "window", "wall": "room.west", "at": [50, 60], "size": [60, 80], "bars": {"columns": 2, "rows": 2, "width": 4, "depth": 4}}
SLIT = {"name": "slit", "wall": "room.south", "at": [40, 100], "size": [10, 50], "repeat": {"count": 3, "step": [30, 0]}}
DRUM = {"name": "drum", "kind": "cylinder", "size": [40, 30], "at": [100, 100, 0]}
STOOL = {"name": "stool", "kind": "box", "size": [20, 20, 30], "at": [150, 100, 0], "repeat": {"count": 3, "step": [30, 0, 0]}}


def spelled_out(table):
    """The rows of a `repeat`, as the reader of the scene file writes them."""
    if "repeat" not in table:
        return [table]
    count, step = table["repeat"]["count"], table["repeat"]["step"]
    plain = {key: value for key, value in table.items() if key != "repeat"}
    return [plain | {"name": f"{table['name']}-{i + 1}", "at": [a + i * s for a, s in zip(table["at"], step)]} for i in range(count)]


@pytest.fixture(scope="module")
def built():
    openings, props = [*spelled_out(WINDOW), *spelled_out(SLIT)], [*spelled_out(DRUM), *spelled_out(STOOL)]
    return build_set(Scene.model_validate({"room": [ROOM], "opening": openings, "prop": props}), Path())


@pytest.fixture
def lamp(built):
    """Give the emitter of one lamp, made from `LAMP` with some keys changed."""
    return lambda **keys: emitters(Scene.model_validate({"lamp": [LAMP | keys]}), built)[0]




class TestAim:
    """toward is a point, an opening or a prop."""

    @pytest.mark.parametrize(
        ("toward", "point"),
        [
            ((10.0, 20.0, 30.0), (10, 20, 30)),
            ("window", (-3, 120, 100)),  # along runs from the wall's first corner (0, 200) down to (0, 0)
            ("slit-2", (75, -3, 125)),
            ("slit", (75, -3, 125)),
            ("drum", (100, 100, 15)),
            ("stool-3", (210, 100, 15)),
            ("stool", (180, 100, 15)),
        ],
    )
    def test_axis_passes_the_target(self, lamp, toward, point):
        """The middle of the panes at half the wall's thickness; the middle of a prop; a row as a whole or one of it.

        A tenth of a millimetre allows for the flats of a round prop.
        """
        emitter = lamp(toward=toward)
        travel = np.array(point) - emitter.centre
        assert travel @ emitter.normal > 0
        assert np.linalg.norm(np.cross(travel, emitter.normal)) < 0.1

    def test_at_itself(self, lamp):
        """A lamp needs somewhere to shine."""
        with pytest.raises(PrevizError) as fault:
            lamp(toward=LAMP["at"])
        assert str(fault.value) == 'lamp "key": it points at itself: toward is the place where it stands. Move at or toward.'

    def test_at_nothing(self, lamp):
        """A name that is neither opening nor prop; a wall is neither."""
        with pytest.raises(PrevizError) as fault:
            lamp(toward="room")
        assert str(fault.value) == (
            'lamp "key": toward = "room" is neither an opening nor a prop of this set. Give a name that it has, or [x, y, z].'
        )


class TestFace:
    """The shape and the sides of the emitting face."""

    @pytest.mark.parametrize("toward", [(0.0, 50.0, 10.0), (-400.0, 0.0, 0.0), (-400.0, 0.0, 900.0), (-400.0, -300.0, 350.0)])
    def test_panel_sides(self, lamp, toward):
        """The first side is level, the second at right angles to it and to the axis, also straight up and down."""
        panel = lamp(kind="panel", size=(60.0, 20.0), toward=toward)
        assert panel.half_u[2] == pytest.approx(0, abs=1e-12)
        assert np.linalg.norm(panel.half_u) == pytest.approx(30)
        np.testing.assert_allclose(np.cross(panel.normal, panel.half_u) / 3, panel.half_v, atol=1e-12)
        assert np.linalg.norm(panel.half_v) == pytest.approx(10)

    def test_disc(self, lamp):
        """Both half sides are the radius."""
        disc = lamp(kind="disc", diameter=70.0)
        assert np.linalg.norm([disc.half_u, disc.half_v], axis=1) == pytest.approx([35, 35])

    def test_point(self, lamp):
        """No extent."""
        point = lamp()
        assert not point.half_u.any() and not point.half_v.any()

    def test_points_cover_a_disc_evenly(self, lamp):
        """An even grid keeps its mean square radius, R^2 / 2, and its centre; the rim is the square's rim."""
        disc = lamp(kind="disc", diameter=70.0)
        steps = (np.arange(200) + 0.5) / 200
        offset = face_points(disc, np.array(np.meshgrid(steps, steps)).reshape(2, -1).T) - disc.centre
        assert np.abs(offset @ disc.normal).max() < 1e-9
        assert np.square(offset).sum(axis=1).mean() == pytest.approx(35**2 / 2, rel=1e-4)
        np.testing.assert_allclose(offset.mean(axis=0), 0, atol=1e-9)
        rim = face_points(disc, np.column_stack([np.ones(50), np.linspace(0, 1, 50)])) - disc.centre
        np.testing.assert_allclose(np.linalg.norm(rim, axis=1), 35)

    def test_equal_squares_become_equal_areas(self, lamp):
        """The concentric map keeps area: as many samples in the inner half of the disc's area as in the outer."""
        disc = lamp(kind="disc", diameter=70.0)
        unit = np.random.default_rng(5).random((40_000, 2))
        inner = np.linalg.norm(face_points(disc, unit) - disc.centre, axis=1) < 35 / 2**0.5
        assert inner.mean() == pytest.approx(0.5, abs=0.01)

    def test_points_of_a_panel(self, lamp):
        """The unit square's corners are the panel's."""
        panel = lamp(kind="panel", size=(60.0, 20.0))
        corner = face_points(panel, [[0, 0], [1, 1]]) - panel.centre
        np.testing.assert_allclose(corner, [-panel.half_u - panel.half_v, panel.half_u + panel.half_v])


class TestLevel:
    """lux_at_1m, candela or lumens; then gel and dim."""

    @pytest.mark.parametrize(
        ("keys", "candela"),
        [
            ({"candela": None, "lux_at_1m": 2500.0}, 2500),
            ({"candela": 1200.0}, 1200),
            ({"candela": None, "lumens": 3000.0}, 3000 / np.pi),
            ({"candela": None, "lumens": 3000.0, "beam": 40.0}, 3000 * (beam_exponent(40) + 1) / (2 * np.pi)),
            ({"gel": 1.0}, 500),
            ({"gel": 2.5, "dim": 0.5}, 500 * 2**-2.5),
            ({"dim": 0.0}, 0),
            ({"colour": "#ff9040"}, 1000),
        ],
    )
    def test_candela(self, lamp, keys, candela):
        """The luminance of the RGB is the intensity on the axis, whatever the colour."""
        assert luminance(lamp(**keys).candela) == pytest.approx(candela)

    @pytest.mark.parametrize("beam", [1.0, 12.0, 60.0, 120.0, 170.0])
    def test_lumens_are_the_integral_of_the_intensity(self, lamp, beam):
        """All that goes into the half space before the face, by quadrature over rings of equal solid angle."""
        emitter = lamp(candela=None, lumens=800.0, beam=beam)
        cos = 1 - (np.arange(200_000) + 0.5) / 200_000
        side = np.array([-emitter.normal[2], 0, emitter.normal[0]])
        directions = cos[:, None] * emitter.normal + np.sqrt(1 - cos**2)[:, None] * side / np.linalg.norm(side)
        flux = 2 * np.pi * luminance(emitter.candela) * intensity(emitter, directions).mean()
        assert flux == pytest.approx(800, rel=2e-3)

    def test_no_level(self, lamp):
        """A lamp without a figure is a fault."""
        with pytest.raises(PrevizError) as fault:
            lamp(candela=None)
        assert str(fault.value) == 'lamp "key": it gives no level of light. Add lux_at_1m, candela or lumens.'

    def test_black(self, lamp):
        """A lamp of black light is a fault."""
        with pytest.raises(PrevizError) as fault:
            lamp(colour="#000000")
        assert str(fault.value) == (
            'lamp "key": colour #000000: black is no colour of light. Give the colour of the light; dim = 0 puts it out.'
        )


class TestBeam:
    """I0 cos^n, n by the half-intensity angle."""

    def test_lambertian(self):
        """120 degrees between the half-intensity directions is a face of even luminance."""
        assert beam_exponent(120.0) == pytest.approx(1)

    @pytest.mark.parametrize("beam", [1.0, 25.0, 90.0, 170.0])
    def test_half_intensity(self, lamp, beam):
        """Half of the axis value at half the beam angle."""
        emitter, half = lamp(beam=beam), np.radians(beam / 2)
        side = emitter.half_v if emitter.half_v.any() else np.cross(emitter.normal, [0, 1, 0])
        direction = np.cos(half) * emitter.normal + np.sin(half) * side / np.linalg.norm(side)
        assert intensity(emitter, [direction])[0] == pytest.approx(0.5)

    def test_nothing_behind(self, lamp):
        """A face has one lit side; along it and behind it there is no light."""
        emitter = lamp(beam=170.0)
        np.testing.assert_array_equal(intensity(emitter, [-emitter.normal]), 0)
