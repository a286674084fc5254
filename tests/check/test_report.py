"""The report as data, and as text for a person."""

import json
import math

import numpy as np
import pytest

from previz.check.report import plain, report, report_json
from previz.check.text import extent_mm, millimetres, number, patch_rows, report_text, span, where_from


class TestPlain:
    """Numbers that a program can read back."""

    @pytest.mark.parametrize(
        "value, expected",
        [(1.23456789, 1.23457), (np.float32(0.1), 0.1), (-0.0, 0.0), (math.inf, None), (math.nan, None), (np.int32(4), 4), (np.bool_(True), True), ((1, "a"), [1, "a"])],
    )
    def test_values(self, value, expected):
        """Six figures, nothing endless, nothing of numpy's."""
        got = plain(value)
        assert got == expected and type(got) is type(expected)
        assert not (isinstance(got, float) and math.copysign(1, got) < 0 and got == 0)


class TestJson:
    """The report of the contract, field by field."""

    def test_fields(self, plain_study):
        """Every field that a program may rely on."""
        figures = json.loads(report_json(report(plain_study)))
        assert (figures["schema"], figures["scene"], figures["scale"]) == (1, "Plain room", 12)
        assert set(figures["patches"][0]) == {"lamp", "opening", "pane", "on", "outline_mm", "centre_mm", "area_mm2", "lux", "penumbra_mm", "lit_share"}
        shot = figures["shots"][0]
        assert set(shot["clearance"]) == {"min_mm", "at_take_s", "between"}
        assert set(shot["framing"]) == {"subject", "worst_margin", "hidden_share"}
        assert set(shot["focus"]) == {
            "distance_mm", "near_mm", "far_mm", "pull", "pull_mm_s", "subject_sharp_share", "subject_sharp_at_take_s", "subject_mm", "stop",
            "effective_stop", "magnification", "hyperfocal_mm", "airy_mm", "coc_mm", "pixel_mm", "balanced_stop", "along",
        }  # fmt: skip
        assert set(shot["exposure"]) == {"metered_cd_m2", "ev100", "iso_needed", "stops_over_iso_max", "ways"}
        assert set(shot["rig"]) == {
            *("peak_speed_mm_s", "peak_accel_mm_s2", "peak_pan_deg_s", "peak_pan_accel_deg_s2", "travel_mm"),
            *("carriage_mm", "pan_deg", "tilt_deg", "tip_swing_mm", "axis_mm", "tip_mm"),
        }
        assert shot["lift"] is None and shot["hand"] is None
        assert shot["lamps"] == ["key"] and shot["patches"] is None and shot["flicker"] is None and figures["day"] is None
        assert set(shot["pace"]) == {
            *("believable_fps", "too_fast", "lens_mm_s", "clip_mm_s", "full_size_km_h", "eye_m"),
            *("pan_screen_deg_s", "crosses_in_s", "step_px", "smear_px"),
        }
        assert set(shot["haze"]) == {
            "extinction_at_roll_per_m", "optical_depth_across", "optical_depth_to_subject", "picture_within",
            "usable_from_s", "usable_to_s", "takes_that_fit", "spray_again_s", "reset_s", "clock",
        }  # fmt: skip
        assert shot["haze"]["extinction_at_roll_per_m"] == 0.8
        assert (shot["clip_s"], shot["take_s"], shot["slowdown"], shot["capture_fps"], shot["playback_fps"]) == (5, 1, 5, 120, 24)

    def test_same_bytes_again(self, plain_study):
        """The order of everything is fixed."""
        assert report_json(report(plain_study)) == report_json(report(plain_study))

    def test_exposure_by_the_meter(self, plain_study):
        """ISO 2720: ISO = 12.5 N^2 / (L t), with N = 14 (1 + m) and t = 1/240 s."""
        shot = report(plain_study)["shots"][0]
        focus = shot["focus"]["distance_mm"][2]
        stop = 14 * (1 + 24 / (focus - 24))
        assert shot["exposure"]["iso_needed"] == pytest.approx(12.5 * stop**2 * 240 / shot["exposure"]["metered_cd_m2"], rel=1e-4)
        assert shot["exposure"]["ev100"] == pytest.approx(math.log2(8 * shot["exposure"]["metered_cd_m2"]), rel=1e-4)


class TestNumbers:
    """Figures as a person reads them."""

    @pytest.mark.parametrize(
        "value, text", [(1843.2, "1,840"), (12.34, "12.3"), (0.04132, "0.0413"), (0, "0"), (5.0, "5"), (None, "endless"), (999.96, "1,000"), (-2.5, "-2.5"), (100, "100")]
    )
    def test_number(self, value, text):
        """Three figures and thousands marked."""
        assert number(value) == text

    def test_span(self):
        """Two ends that read the same are one."""
        assert (span([8.2, 5.1]), span([5.0, 5.0001])) == ("5.1 to 8.2", "5")

    def test_millimetres(self):
        """As read off a rule."""
        assert [millimetres(value) for value in (151.6, 9.96, 3.04)] == ["152", "10", "3"]


class TestExtent:
    """Width and height of a patch in its own plane."""

    def test_floor(self):
        """Along x and along y."""
        assert extent_mm([[0, 0, 0], [38, 0, 0], [38, 52, 0], [0, 52, 0]]) == (38, 52)

    def test_wall(self):
        """Level, and up."""
        assert extent_mm([[0, 5, 0], [0, 45, 0], [0, 45, 70], [0, 5, 70]]) == pytest.approx((40, 70))

    def test_slope(self):
        """Level, and along the slope: 30 up and 40 across is 50."""
        assert extent_mm([[0, 0, 0], [0, 20, 0], [40, 20, 30], [40, 0, 30]]) == pytest.approx((20, 50))


def patch(opening="north window", pane=(2, 1), on="bench top", width=38.0, lux=1840.0):
    """Return one patch of a report."""
    outline = [[0, 0, 0], [width, 0, 0], [width, 52, 0], [0, 52, 0]]
    return {"lamp": "key", "opening": opening, "pane": list(pane), "on": on, "outline_mm": outline, "area_mm2": 52 * width, "lux": lux, "penumbra_mm": 14.0}


def whole(patches, shots=(), findings=()):
    return {"scene": "Attic", "scale": 12, "patches": patches, "shots": list(shots), "findings": list(findings)}


class TestText:
    """80 columns, no colour."""

    def test_one_patch(self):
        """The line that a maker looks for."""
        text = report_text(whole([patch()]))
        assert "north window, pane 2,1 -> bench top  38 x 52 mm  1,840 lux  edge 14 mm soft" in text

    def test_panes_on_one_face_are_one_row(self):
        """Count, and the largest."""
        (row,) = patch_rows([patch(pane=(0, 0), width=20, lux=1000), patch(pane=(1, 0), width=30, lux=2000)])
        assert where_from(row) == "north window, 2 panes -> bench top"
        assert (row["count"], row["width"], row["lux"]) == (2, 30, 2000)

    def test_hundreds_are_cut_to_the_brightest(self):
        """What carries most light is shown, the rest counted."""
        text = report_text(whole([patch(opening=f"lancet-{i}", lux=100 + i) for i in range(1, 201)]))
        assert "lancet-200" in text and "and 188 smaller or weaker patches" in text
        assert len(text.splitlines()) < 25

    def test_no_light(self):
        """Said, not left out."""
        assert "Where the light lands: no opening throws a patch" in report_text(whole([]))

    @pytest.mark.parametrize("name", ["w", "a window with a very long name that a maker gave it on a dull day", "w" * 80])
    def test_width(self, name, plain_study):
        """No line is longer than 80 columns, whatever the names."""
        figures = report(plain_study)
        figures["patches"] = [patch(opening=name, on=name)]
        figures["shots"][0]["name"] = name
        figures["findings"][0]["about"] = name
        long = [line for line in report_text(figures).splitlines() if len(line) > 80]
        assert long == []
