"""A meter's readings set a lamp's level: by the distance law, by the light that surfaces add, and by their mean in stops."""

from pathlib import Path

import numpy as np
import pytest

from previz.build.assemble import build_set
from previz.light.colour import LUMINANCE_WEIGHTS, luminance
from previz.rays.lit import light_set, lit_anew
from previz.rays.readings import calibrations
from previz.scene.model import Scene

ROOM = {"name": "room", "plan": [[0, 0], [800, 0], [800, 600], [0, 600]], "height": 500.0, "finish": "wall"}
LAMP = {"name": "key", "kind": "point", "at": (400, 300, 480), "toward": (400, 300, 0), "candela": 100}


def lit_by(measured, *, reflect=0.0, haze=0.0, texels=300, rays=8, **keys):
    """Return a closed room lit by one point lamp under its ceiling, with the readings of a meter."""
    lamp = {k: v for k, v in (LAMP | keys | {"measured": measured}).items() if v is not None}
    scene = Scene.model_validate({"room": [ROOM], "finish": {"wall": {"reflect": reflect}}, "lamp": [lamp], "haze": {"extinction": haze}})
    return light_set(scene, build_set(scene, Path()), texels=texels, rays=rays, workers=1)


def level(lit):
    """The luminous intensity on the lamp's axis. [cd]"""
    return float(luminance(lit.emitters[0].candela))


class TestBlackRoom:
    """No light but straight from the lamp: I = E d^2."""

    @pytest.mark.parametrize("haze", [0.0, 2.0])
    def test_one_reading_is_met(self, haze):
        """900 lux at 400 mm is 144 cd, read before the haze was there."""
        lit = lit_by([{"at": (400, 300, 80), "lux": 900}], haze=haze)
        assert level(lit) == pytest.approx(144, rel=1e-4)
        assert lit.calibrations[0].factor == pytest.approx(1.44, rel=1e-4) and lit.calibrations[0].residual_stops == pytest.approx([0])

    def test_a_lamp_without_a_figure(self):
        """Readings alone are enough."""
        assert level(lit_by([{"at": (400, 300, 80), "lux": 900}], candela=None)) == pytest.approx(144, rel=1e-4)

    def test_facing(self):
        """A meter that looks 60 degrees aside reads half."""
        aside = (400 + 100 * 3**0.5, 300, 180)
        assert level(lit_by([{"at": (400, 300, 80), "lux": 450, "facing": aside}])) == pytest.approx(144, rel=1e-4)

    def test_several_readings_meet_half_way_in_stops(self):
        """Twice and half of the light leave the level, a stop over and under."""
        lit = lit_by([{"at": (400, 300, 80), "lux": 2 * 625}, {"at": (400, 300, 80), "lux": 625 / 2}])
        assert level(lit) == pytest.approx(100, rel=1e-4)
        assert lit.calibrations[0].residual_stops == pytest.approx([1, -1], abs=1e-3)

    def test_a_reading_in_the_dark_is_left_out(self):
        """Above the lamp, which shines down, there is nothing to read."""
        lit = lit_by([{"at": (400, 300, 80), "lux": 900}, {"at": (700, 300, 490), "lux": 5}])
        assert level(lit) == pytest.approx(144, rel=1e-4) and np.isnan(lit.calibrations[0].residual_stops[1])

    def test_nothing_seen_changes_nothing(self):
        """The level stays as typed."""
        lit = lit_by([{"at": (700, 300, 490), "lux": 5}])
        assert level(lit) == 100 and lit.calibrations[0].factor == 1


def test_surfaces_add_their_light():
    """A meter that lies on the floor and looks up reads the floor's own illuminance, bounce included (pale room)."""
    at = np.array([250.0, 200.0, 0.01])
    lit = lit_by([{"at": tuple(at), "lux": 100, "facing": (250, 200, 100)}], reflect=0.7, texels=3000, rays=256)
    one = lit.calibrations[0]
    clear = lit_by([], reflect=0.7, texels=3000, rays=256)
    near = np.linalg.norm(clear.texels.position - at, axis=1) < 40
    bounce = (clear.bounce_colour[0] @ LUMINANCE_WEIGHTS)[near]
    # The floor's lower side, seen from outside, lies in the dark.
    bounce = bounce[bounce > 0].mean()
    straight = clear.illuminance([at], [[0, 0, 1.0]])[0, 0]
    assert bounce > 0.3 * straight
    assert one.computed[0] == pytest.approx(straight + bounce, rel=0.02)
    assert calibrations(clear) == ()


def test_another_day_in_the_same_set():
    """A lamp that stands elsewhere, read anew: the kept transport gives what a set lit from the start gives."""
    there = {"at": (500, 250, 450), "candela": None}
    before, fresh = lit_by([{"at": (400, 300, 80), "lux": 900}], reflect=0.5, haze=1.0), lit_by([{"at": (400, 300, 80), "lux": 700}], reflect=0.5, haze=1.0, **there)
    again = lit_anew(before, fresh.scene)
    assert again.calibrations[0].factor == pytest.approx(fresh.calibrations[0].factor)
    assert np.allclose(again.candela, fresh.candela) and np.allclose(again.bounce_colour[0], fresh.bounce_colour[0])
