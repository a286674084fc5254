"""Panes against published values: how much a clear sheet lets through at an angle."""

import numpy as np
import pytest

from previz.light.glass import sheet_transmittance

# tmm 0.2.0 (S. J. Byrnes, Python package), `inc_tmm`: one thick sheet of index 1.5 in air, without coherence, mean of both
# polarisations, computed in advance.
SHEET = {0: 0.923077, 30: 0.920734, 45: 0.907344, 60: 0.848128, 75: 0.618149, 85: 0.246931}


class TestSheet:
    """A clear sheet of index 1.5."""

    @pytest.mark.parametrize("degrees", SHEET)
    def test_share_at_an_angle(self, degrees):
        """Light to and fro between the two faces included."""
        assert sheet_transmittance(np.cos(np.radians(degrees))) == pytest.approx(SHEET[degrees], abs=1e-6)

    def test_one_face_at_75_degrees(self):
        """
        Natural light at 75 degrees on glass of index 1.61: one face reflects 27.1 % (problem "Reflectance of natural light at an
        interface", PCSCC equation library, 1993), its polarisations by 0.6654^2 and 0.3151^2; a sheet lets (1 - R) / (1 + R) of each through.
        """
        faces = np.array([0.6653652040734061, 0.3150533609387719]) ** 2
        assert 100 * faces.mean() == pytest.approx(27.1, abs=0.05)
        assert sheet_transmittance(np.cos(np.radians(75)), 1.61) == pytest.approx(((1 - faces) / (1 + faces)).mean(), abs=1e-9)

    def test_a_window_pane_reflects_eight_per_cent(self):
        """2 R / (1 + R) of common window glass, "about 8 %" straight on (glassproperties.com, Reflection and transmission)."""
        assert 1 - sheet_transmittance(1.0) == pytest.approx(0.08, abs=0.005)
