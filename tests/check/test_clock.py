"""The haze clock: what pictures say from the spray on, how many takes fit, and its drawing."""

import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.check import report
from previz.check.clock import takes_that_fit
from previz.check.clock_chart import clock_svg
from previz.check.finding import RULES

THINNING = {"extinction": 0.8, "half_life": 30}


@pytest.fixture(scope="module")
def study(study_of):
    return study_of(haze=THINNING, shot={"subject": "table", "move": "still", "to": None})


@pytest.mark.parametrize("first, last, take, reset, takes", [(0, 100, 10, 20, 4), (0, 100, 100, 20, 1), (0, 99, 100, 20, 0), (5, 14.9, 1, 1, 5), (None, None, 1, 1, 0)])
def test_takes_that_fit(first, last, take, reset, takes):
    """Counted one by one: the last take ends within the window."""
    found, again = takes_that_fit(first, last, take, reset)
    assert found == takes
    if takes:
        assert first + (takes - 1) * (take + reset) + take <= last + 1e-9 < first + takes * (take + reset) + take
        assert again == pytest.approx(last - take)


class TestClock:
    """What it says of a plain room."""

    def test_thin_haze_is_in_proportion(self, study):
        """Single scattering: once the haze is thin, half of it gives half the contrast."""
        found = study.shots[0].clock
        contrast = 2.0**found.contrast_stops - 1
        assert found.usable_from_s is not None and found.usable_to_s > found.usable_from_s
        assert (np.diff(found.contrast_stops) < 0.05).all() and (np.diff(found.veil) < 1e-3).all()
        halves = [i for i in range(len(found.after_spray_s)) if found.after_spray_s[i] % 30 == 0]
        last, before = contrast[halves[-1]], contrast[halves[-2]]
        assert 0.4 < last / before < 0.75

    def test_a_longer_half_life_is_a_longer_window(self, study, study_of):
        """Twice the half-life, the same pictures twice as late."""
        slower = study_of(haze=THINNING | {"half_life": 60}, shot={"move": "still", "to": None}).shots[0].clock
        assert_allclose(slower.usable_to_s, 2 * study.shots[0].clock.usable_to_s, rtol=0.02)

    def test_silent_where_it_stands(self, plain_study):
        """No half-life, no clock."""
        assert plain_study.shots[0].clock is None and list(RULES["haze clock"](plain_study)) == []
        entry = report.report(plain_study)["shots"][0]["haze"]
        assert entry["usable_from_s"] is None and entry["clock"] is None

    def test_rolled_too_late_and_the_remedy_works(self, study, study_of):
        """A number of seconds at which the take ends in time."""
        late = study_of(haze=THINNING, shot={"start_after": 500, "move": "still", "to": None})
        (finding,) = RULES["haze clock"](late)
        assert finding.level == "care" and finding.remedy.startswith("Set start_after = ")
        better = float(finding.remedy.split("= ")[1].split()[0])
        (again,) = RULES["haze clock"](study_of(haze=THINNING, shot={"start_after": better, "move": "still", "to": None}))
        assert again.level == "ok"

    def test_drawing(self, study):
        """Well-formed, with a bar for each take that fits."""
        shot = study.shots[0].shot
        entry = report.plain(report.clock_entry(study.shots[0].clock, shot))
        drawn = ElementTree.fromstring(clock_svg(entry, 'glide & "go" <1>', shot.take_s, shot.reset))
        bars = [e for e in drawn.iter("{http://www.w3.org/2000/svg}rect") if e.get("height") == "16" and e.get("fill") != "none"]
        assert len(bars) == entry["takes_that_fit"] > 0
