"""
Chapter 3 of the reference values: visibility, phase function, airlight, a window's shaft, decay.

Sources (`reference-values.json` says which were seen): AMS Glossary of Meteorology for visibility; Henyey and Greenstein,
Astrophys. J. 93, 70 (1941); Sun et al., SIGGRAPH 2005, and quadrature of 30 digits for single scattering; CDC MMWR 43
RR-13 (1994) for a ventilated box. The reference is in metres: inputs become millimetres here.
"""

import numpy as np
import pytest
from airlight import airlight, even_airlight
from reference import agree, cases, each

from previz.haze.medium import Medium, extinction_at
from previz.haze.phase import henyey_greenstein
from previz.light.units import MM_PER_M
from previz.scene.model import Haze

SPHERE = np.polynomial.legendre.leggauss(400)


def mm(metres):
    return np.asarray(metres, dtype=float) * MM_PER_M


@each("3.1a", "3.1b", "3.1c")
def test_visibility(case):
    """Koschmieder: 3.912 / V gives the extinction back (AMS Glossary of Meteorology, "visual-range formula"); ln 50 within 1e-5."""
    sigma, found = case["inputs"]["sigma_per_m"], case["outputs"]
    assert extinction_at(Haze(visibility=found["V_rounded_const_m"])) == pytest.approx(sigma, rel=case["tol"]["rel"])
    assert extinction_at(Haze(visibility=found["V_koschmieder_m"])) == pytest.approx(sigma, rel=1e-5)


@each("3.2")
class TestHenyeyGreenstein:
    """Henyey and Greenstein, Astrophys. J. 93, 70 (1941) (from memory; the AMS Glossary's entry seen)."""

    def test_values(self, case):
        """Per steradian, 0 degrees is straight on."""
        agree(case, "p", henyey_greenstein(np.cos(np.radians(case["inputs"]["theta_deg"])), case["inputs"]["g"]))

    def test_whole_sphere(self, case):
        """All scattered light goes somewhere, and its mean cosine is g."""
        cos, weight = SPHERE
        p = 2 * np.pi * weight * henyey_greenstein(cos, case["inputs"]["g"])
        assert p.sum() == pytest.approx(case["outputs"]["integral_4pi"], abs=case["tol"]["integral_abs"])
        assert p @ cos == pytest.approx(case["outputs"]["mean_cos"], abs=case["tol"]["integral_abs"])


@each("3.3", "3.4")
class TestAirlight:
    """Single scattering of a point source: Sun et al., SIGGRAPH 2005 (equations from memory), and quadrature of 30 digits."""

    def setup_of(self, case, g):
        given = case["inputs"]
        gamma = np.radians(given["gamma_deg"])
        return {
            "medium": Medium(given["sigma_per_m"], 1.0, g, ()),
            "candela": 1.0,
            "source": mm([given["Dsv_m"], 0, 0]),
            "lens": np.zeros(3),
            "directions": np.array([[np.cos(gamma), np.sin(gamma), 0]]),
            "begin": mm(given["t0_m"]),
            "end": mm(given["t1_m"]),
        }

    @pytest.mark.parametrize(("key", "g"), [("L_iso", 0.0), ("L_g0.6", 0.6)])
    def test_quadrature(self, case, key, g):
        """Even and forward scattering."""
        agree(case, key, airlight(**self.setup_of(case, g), nodes=512)[0], "quadrature_rel")

    @pytest.mark.parametrize(("key", "g"), [("L_iso", 0.0), ("L_g0.6", 0.6)])
    def test_quadrature_with_few_nodes(self, case, key, g):
        """What a caller gets who names no number of nodes."""
        agree(case, key, airlight(**self.setup_of(case, g))[0])

    def test_closed_form(self, case):
        """Even scattering by the special function."""
        agree(case, "L_iso", even_airlight(**self.setup_of(case, 0.0))[0], "quadrature_rel")


@each("3.5")
class TestWindowShaft:
    """A window's shaft seen from the side: the view ray clipped to the frustum, then single scattering; brute force agrees."""

    def lit_stretch(self, given):
        """Clip the ray to the four planes through the source and the window's edges, and to the room's side of the wall."""
        source, lens, ray = (np.array(given[key], dtype=float) for key in ("source_m", "camera_m", "dir"))
        (y0, y1), (z0, z1) = ((given[f"{axis}0_m"], given[f"{axis}1_m"]) for axis in "yz")
        corners = np.array([(0, y0, z0), (0, y1, z0), (0, y1, z1), (0, y0, z1)])
        inward = np.cross(corners - source, np.roll(corners, -1, axis=0) - source)
        normals = np.vstack([inward, [1, 0, 0]])
        offsets = np.append(normals[:4] @ source, 0)
        gain, start = normals @ ray, offsets - normals @ lens
        at = np.divide(start, gain, out=np.full(5, np.nan), where=gain != 0)
        return np.nanmax(at[gain > 0], initial=0), np.nanmin(at[gain < 0], initial=np.inf)

    def test_shaft(self, case):
        """Where the ray is lit, and the luminance that it gathers there."""
        given = case["inputs"]
        begin, end = self.lit_stretch(given)
        agree(case, "t0_m", begin)
        agree(case, "t1_m", end)
        medium = Medium(given["sigma_per_m"], 1.0, given["g"], ())
        found = airlight(medium, given["I_cd"], mm(given["source_m"]), mm(given["camera_m"]), np.array([given["dir"]]), mm(begin), mm(end))
        agree(case, "L_cd_m2", found[0])


@each("3.9")
def test_decay(case):
    """A well-mixed ventilated box (CDC MMWR 43 RR-13, 1994): the extinction after t by the half-life of that ventilation."""
    given, found = case["inputs"], case["outputs"]
    haze = Haze(extinction=given["sigma0_per_m"], half_life=60 * found["half_life_min"])
    agree(case, "sigma_t_per_m", extinction_at(haze, 60 * given["t_min"]))


def test_table_is_whole():
    """Every case of the table has a name of its own, and none has gone."""
    names = [case["id"] for chapter in "12345678" for case in cases(chapter)]
    assert len(set(names)) == len(names) == 207
