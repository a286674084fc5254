"""Focus along the take: what is sharp, marks of a pull, the motor; what a remedy says has been tried."""

import re

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.camera.depth import blur_mm, limits
from previz.camera.diffraction import airy_mm
from previz.camera.lens import inverse_p
from previz.check import focus, report
from previz.check.finding import RULES
from previz.scene.gear import Macro
from previz.scene.model import Lens

NEAR = {"move": "still", "to": None, "from": [150, 20, 60], "look": {"pan": 90, "tilt": -20}}
PULL = {"focus": [{"at": 0.1, "focus": 130}, {"at": 0.4, "focus": 200}, {"at": 0.6, "focus": 200}, {"at": 0.9, "focus": "table"}]}


def said_by(name, study):
    return list(RULES[name](study))


class TestWholeSubject:
    """All that is seen of it against near and far."""

    def test_sharp(self, unlit):
        """Stopped far down the table is sharp; its seen depth lies within that of its corners."""
        plain_study = unlit(shot={"stop": 90}, lens={"barrel": [[150, 20]], "focusing": "internal"})
        found = plain_study.shots[0].sharpness
        assert [f.level for f in said_by("focus", plain_study)] == ["ok"]
        low, high = found.subject_mm[found.worst]
        view = plain_study.shots[0].move.poses(found.take_s[found.worst])
        forward = [np.cos(view.tilt[0]) * np.cos(view.pan[0]), np.cos(view.tilt[0]) * np.sin(view.pan[0]), np.sin(view.tilt[0])]
        corners = np.array([[x, y, z] for x in (120, 180) for y in (80, 120) for z in (0, 30)]) - view.position
        depths = corners @ np.array(forward)
        assert depths.min() - 1 <= low < high <= depths.max() + 1

    def test_not_sharp_and_the_remedy_works(self, unlit):
        """Focused on the wall behind; the distance that is named makes the table sharp."""
        lens = {"barrel": [[150, 20]], "stop": 22, "widest": 4, "focusing": "internal"}
        study = unlit(shot=NEAR | {"focus": 300}, lens=lens, slider=None)
        (finding,) = said_by("focus", study)
        assert finding.level == "care" and "of table is sharp" in finding.says
        distance = float(re.match(r"Set focus = ([\d.]+), held", finding.remedy)[1])
        assert [f.level for f in said_by("focus", unlit(shot=NEAR | {"focus": distance}, lens=lens, slider=None))] == ["ok"]

    def test_the_report_has_it(self, plain_study):
        """Fields of the report, in millimetres and shares."""
        entry = report.report(plain_study)["shots"][0]["focus"]
        assert 0 < entry["subject_sharp_share"] < 1 and entry["hyperfocal_mm"] > entry["distance_mm"][0]
        assert len(entry["along"]["near_mm"]) == len(entry["along"]["take_s"])


class TestPull:
    """Marks in millimetres and seconds of the take."""

    def test_held_between_marks_and_smooth(self, unlit):
        """Focus is at each mark at its moment, and held between two of the same distance."""
        taken = unlit(shot=PULL).shots[0]
        assert_allclose(taken.move.focus_mm([0, 0.1, 0.4, 0.5, 0.6]), [130, 130, 200, 200, 200], atol=1e-9)
        assert [mark.at_take_s for mark in taken.sharpness.pull] == [0.1, 0.4, 0.6, 0.9]
        along = taken.move.focus_mm(np.linspace(0.1, 0.4, 101))
        assert (np.diff(along) >= 0).all() and abs(np.diff(along)[[0, -1]]).max() < 0.05

    def test_minimum_jerk(self, unlit):
        """1.875 D / T at the fastest (Flash and Hogan 1985): 70 mm in 0.3 s."""
        taken = unlit(shot=PULL | {"focus": PULL["focus"][:3]}).shots[0]
        assert_allclose(taken.sharpness.pull_mm_s, 1.875 * 70 / 0.3, rtol=1e-3)

    def test_the_motor_and_the_remedy_works(self, unlit):
        """A clip, with its marks, in which a slow motor keeps up."""
        lens = {"barrel": [[150, 20]], "pull_time": 8}
        study = unlit(shot=PULL, lens=lens)
        (finding,) = said_by("focus pull", study)
        assert finding.level == "stop"
        clip = float(re.match(r"Make the clip ([\d.]+) s", finding.remedy)[1])
        marks = [float(x) for x in re.search(r"marks at ([\d., ]+) s", finding.remedy)[1].split(", ")]
        longer = [mark | {"at": at} for mark, at in zip(PULL["focus"], marks)]
        assert [f.level for f in said_by("focus pull", unlit(shot={"clip": clip + 0.1, "focus": longer}, lens=lens))] == ["ok"]

    def test_no_pull_nothing_said(self, unlit):
        """A still shot holds its focus."""
        assert said_by("focus pull", unlit(shot=NEAR, slider=None)) == []


class TestDiffraction:
    """The Airy disc against the circle of confusion."""

    def test_too_far_down(self, unlit):
        """f/32; the stop that is named draws a point no wider than the circle of confusion."""
        lens = {"barrel": [[150, 20]], "widest": 4}
        study = unlit(shot={"stop": 32}, lens=lens)
        (finding,) = said_by("diffraction", study)
        wider = float(re.match(r"Open to f/([\d.]+)", finding.remedy)[1])
        assert said_by("diffraction", unlit(shot={"stop": wider}, lens=lens)) == []
        assert said_by("diffraction", unlit(shot={"stop": 8}, lens=lens)) == []

    def test_balance(self, plain_study):
        """At the balanced stop the worst point's defocus is as wide as the Airy disc."""
        found, lens = plain_study.shots[0].sharpness, plain_study.scene.lens
        blur = np.nanmax(blur_mm(lens.focal, found.balanced_stop, found.distance_mm[:, None], found.subject_mm, inverse_p(lens)))
        assert_allclose(blur, airy_mm(focus.working_stop(lens, found.balanced_stop, found.distance_mm.min())), rtol=1e-6)


class TestModels:
    """A published close-up sets the lens."""

    @pytest.mark.parametrize("m, distance", [(1.0, 20.0), (0.5, 60.0), (2.0, 10.0)])
    def test_macro(self, m, distance):
        """It magnifies what was published at the distance that was published."""
        from previz.camera.lens import magnification

        lens = Lens(macro=Macro(magnification=m, distance=distance), pupil=5)
        assert_allclose(magnification(lens.focal, distance + 5, inverse_p(lens)), m)

    def test_thin_and_internal_are_its_ends(self):
        """m = f/(u - f) and m = f/u give 1/P of 1 and 0."""
        for focusing, m in (("unit", 24 / (100 - 24)), ("internal", 24 / 100)):
            assert_allclose(inverse_p(Lens(macro=Macro(magnification=m, distance=100))), inverse_p(Lens(focusing=focusing)), atol=1e-12)
            near, far = limits(24, 14, 0.03, 100, inverse_p(Lens(focusing=focusing)))
            assert near < 100 < far
