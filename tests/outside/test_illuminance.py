"""
Chapter 1 of the reference values, and the lamp's figures of chapter 6: illuminance by points, discs, rectangles, polygons.

Sources (`reference-values.json` says which were seen): CIE S 017 and ANSI/IES definitions for the point; J. R. Howell, A
Catalog of Radiation Heat Transfer Configuration Factors, B-3, B-4, B-12 to B-14, with independent quadrature; J. H.
Lambert, Photometria (1760). The reference is in metres: inputs become millimetres here.
"""

import numpy as np
import pytest
from reference import agree, each

from previz.light.lamps import Emitter, axis_candela, beam_exponent, intensity
from photometry import (
    disc_factor,
    face_illuminance,
    face_luminance,
    point_illuminance,
    polygon_factor,
    rectangle_factor,
    tilted_disc_factor,
    upright_rectangle_factor,
)
from previz.light.units import MM_PER_M


def mm(metres):
    return np.asarray(metres, dtype=float) * MM_PER_M


def agree_on_face(case, factor):
    agree(case, "F", factor)
    agree(case, "E_lx", face_illuminance(case["inputs"]["L_cd_m2"], factor))


class TestPointSource:
    """Inverse square and cosine: ANSI/IES lighting definitions; CIE S 017 e-ILV term 17-25-104."""

    @each("1.1a", "1.1b", "1.1c")
    def test_distance_and_angle(self, case):
        """The receiver's normal is turned by theta from the source."""
        given, theta = case["inputs"], np.radians(case["inputs"]["theta_deg"])
        normal = [[np.sin(theta), 0, np.cos(theta)]]
        agree(case, "E_lx", point_illuminance(given["I_cd"], [0, 0, mm(given["d_m"])], [[0, 0, 0]], normal)[0])

    @each("1.1d", "1.1e")
    def test_in_space(self, case):
        """Source, receiver and normal anywhere."""
        given = case["inputs"]
        found = point_illuminance(given["I_cd"], mm(given["source_m"]), [mm(given["point_m"])], [given["normal"]])
        agree(case, "E_lx", found[0])


class TestDisc:
    """Howell B-12, B-13, B-14; B-14 also by 2-D quadrature."""

    @each("1.2a", "1.2b")
    def test_on_the_axis(self, case):
        """B-12: the receiver faces the disc's centre."""
        agree_on_face(case, disc_factor(mm(case["inputs"]["R_m"]), mm(case["inputs"]["d_m"])))

    @each("1.2c")
    def test_tilted(self, case):
        """B-13: the receiver is turned and sees the whole disc."""
        given = case["inputs"]
        agree_on_face(case, tilted_disc_factor(mm(given["R_m"]), mm(given["d_m"]), np.radians(given["tilt_deg"])))

    @each("1.3")
    def test_off_the_axis(self, case):
        """B-14: the receiver stays parallel to the disc."""
        given = case["inputs"]
        agree_on_face(case, disc_factor(mm(given["R_m"]), mm(given["d_m"]), mm(given["offset_m"])))


class TestRectangle:
    """Howell B-3, B-4 by corner sums, and Lambert's polygon formula on the same rectangles."""

    @each("1.4")
    def test_facing(self, case):
        """B-3: receiver and rectangle are parallel."""
        x0, x1, y0, y1, d = mm([case["inputs"][key] for key in ("x0_m", "x1_m", "y0_m", "y1_m", "dist_m")])
        agree_on_face(case, rectangle_factor((x0, x1), (y0, y1), d))
        corners = [(x0, y0, d), (x1, y0, d), (x1, y1, d), (x0, y1, d)]
        agree_on_face(case, polygon_factor(corners, [[0, 0, 0]], [[0, 0, 1]])[0])

    @each("1.5")
    def test_standing(self, case):
        """B-4: the rectangle stands at right angles to the receiver's plane."""
        x0, x1, z0, z1, d = mm([case["inputs"][key] for key in ("x0_m", "x1_m", "z0_m", "z1_m", "dist_m")])
        agree_on_face(case, upright_rectangle_factor((x0, x1), (z0, z1), d))
        corners = [(x0, d, z0), (x1, d, z0), (x1, d, z1), (x0, d, z1)]
        agree_on_face(case, polygon_factor(corners, [[0, 0, 0]], [[0, 0, 1]])[0])


@each("1.6")
def test_polygon(case):
    """Lambert's formula (Photometria, 1760; Baum, Rushmeier and Winget 1989), checked by a brute-force area integral."""
    given = case["inputs"]
    agree_on_face(case, polygon_factor(mm(given["vertices_m"]), [mm(given["point_m"])], [given["normal"]])[0])


@each("1.7")
class TestFiveTimesRule:
    """ANSI/IES, "inverse square law": 1 % at five times the largest dimension; here the exact error of the point formula."""

    LUMINANCE = 1e4

    def error_at(self, factor, area_mm2, distance_mm):
        as_point = self.LUMINANCE / face_luminance(1, area_mm2)
        point = point_illuminance(as_point, [0, 0, distance_mm], [[0, 0, 0]], [[0, 0, 1]])[0]
        return point / face_illuminance(self.LUMINANCE, factor) - 1

    def test_disc(self, case):
        """Exactly 1 / (4 k^2)."""
        k = case["inputs"]["k"]
        agree(case, "disc_err", self.error_at(disc_factor(50, k * 100), np.pi * 50**2, k * 100))

    @pytest.mark.parametrize(("key", "dimension"), [("square_side_err", 100), ("square_diag_err", 100 * 2**0.5)])
    def test_square(self, case, key, dimension):
        """The largest dimension taken as the side, and as the diagonal."""
        distance = case["inputs"]["k"] * dimension
        agree(case, key, self.error_at(rectangle_factor((-50, 50), (-50, 50), distance), 1e4, distance))

    def test_line(self, case):
        """A very narrow panel is a line."""
        distance = case["inputs"]["k"] * 100
        agree(case, "line_err", self.error_at(rectangle_factor((-50, 50), (-0.01, 0.01), distance), 2, distance))


class TestLampFigures:
    """SI Brochure and IES beam angle: what a maker's lumens and beam mean."""

    @each("6.3f")
    def test_lambertian_lumens(self, case):
        """A Lambertian face gives flux / pi on its axis."""
        agree(case, "I0_cd", axis_candela(case["inputs"]["flux_lm"], beam_exponent(120.0)))

    @each("6.5")
    def test_half_intensity_at_the_edge_of_the_beam(self, case):
        """At the rim of the beam's diameter the lamp gives half of its axis candela (IES beam angle, secondary source seen)."""
        edge = np.array([case["outputs"]["diam_m"] / 2, 0.0, case["inputs"]["dist_m"]])
        lamp = Emitter("key", "point", np.zeros(3), np.array([0.0, 0, 1]), np.zeros(3), np.zeros(3), np.ones(3), beam_exponent(case["inputs"]["beam_deg"]))
        assert intensity(lamp, [edge / np.linalg.norm(edge)])[0] == pytest.approx(0.5, rel=case["tol"]["rel"])
