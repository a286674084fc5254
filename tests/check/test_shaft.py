"""Contrast of a shaft: as defined, opening by opening, and with a remedy that has been tried."""

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose
from rooms import plain_room, view_across

from previz.build.assemble import build_set
from previz.check import light  # noqa: F401
from previz.check.finding import RULES
from previz.check.shaft import READS, THRESHOLD, _openings, measured, shafts
from previz.frames.hazed import light_layers
from previz.rays.lit import light_set
from previz.scene.model import Scene


@pytest.fixture(scope="module")
def two_windows():
    """The room of the comparisons with a second window beside the first."""
    tables = plain_room().model_dump(by_alias=True)
    first = tables["opening"][0]
    second = {**first, "name": "slit", "at": [15.0, 85.0], "size": [20.0, 72.0], "bars": None}
    scene = Scene.model_validate({**tables, "opening": [first, second]})
    return light_set(scene, build_set(scene, folder=None), texels=1500, rays=16)


class TestDefinition:
    """Stops with and without, over the shaft's own pixels."""

    def test_a_drawn_shaft(self):
        """A quarter of the frame gains a stop, another 1 %, which no eye sees."""
        without = np.full((10, 20), 3.0)
        added = np.zeros((10, 20))
        added[:, :5], added[:, 5:10] = 3.0, 0.03
        shaft = measured("key", "window", without + added, added)
        assert (shaft.contrast_stops, shaft.frame_share, shaft.reads) == (pytest.approx(1), 0.25, True)
        assert shaft.times_threshold == pytest.approx(1 / THRESHOLD)

    @pytest.mark.parametrize("contrast, columns, reads", [(1.01 * READS, 20, True), (0.99 * READS, 20, False), (1.0, 0, False)])
    def test_reads_at_the_threshold_of_visibility(self, contrast, columns, reads):
        """5 % (WMO-No. 8; from memory) over enough of the frame."""
        added = np.zeros((10, 20))
        added[:, :columns] = contrast
        assert measured("key", "window", 1 + added, added).reads is reads

    def test_shafts_add_up(self, two_windows):
        """Opening by opening, together all light that haze scatters once."""
        view, samples = view_across(48, 27), dict(passes=2, lamp_samples=4, haze_samples=1, once=True)
        apart = [light_layers(one, view, **samples).haze for one in _openings(two_windows).values()]
        assert len(apart) == 2 and all(part.max() > 0 for part in apart)
        together = light_layers(two_windows, view, **samples).haze
        assert_allclose(sum(apart), together, rtol=1e-4, atol=1e-6 * together.max())

    def test_stained_panes_add_up(self, two_windows):
        """The same where one opening is stained and the other is not."""
        first, second = two_windows.scene.opening
        scene = two_windows.scene.model_copy(update={"opening": (first, second.model_copy(update={"tint": "#ff8040"}))})
        stained, view = light_set(scene, build_set(scene, folder=None), texels=200, rays=4), view_across(24, 14)
        apart = [light_layers(one, view, passes=1, lamp_samples=4, once=True).haze for one in _openings(stained).values()]
        together = light_layers(stained, view, passes=1, lamp_samples=4, once=True).haze
        assert_allclose(sum(apart), together, rtol=1e-4, atol=1e-6 * together.max())
        assert together[..., 0].max() > 1.01 * together[..., 2].max()

    def test_twice_the_lamp_is_the_same_contrast(self, two_windows):
        """One lamp lights shaft and background alike, so its strength cancels."""
        view = view_across(48, 27)
        brighter = dataclasses.replace(two_windows, emitters=tuple(dataclasses.replace(e, candela=2 * e.candela) for e in two_windows.emitters))
        for one, other in zip(shafts(two_windows, view, 0.8), shafts(brighter, view, 0.8)):
            assert (one.opening, one.frame_share) == (other.opening, other.frame_share)
            assert other.contrast_stops == pytest.approx(one.contrast_stops, rel=1e-4)


class TestRule:
    """What the maker is told."""

    def test_one_that_reads(self, plain_study):
        """With its stops, and in the report's figures."""
        (finding,) = RULES["shafts"](plain_study)
        assert finding.level == "ok" and finding.says.startswith("The shaft of key through window reads: ")
        assert plain_study.shots[0].shafts[0].opening == "window"

    def test_thin_haze_and_a_remedy_that_works(self, study_of):
        """Haze too thin to see; at the density that the remedy names, the shaft reads."""
        thin = 0.02
        study = study_of(haze={"extinction": thin})
        shaft = study.shots[0].shafts[0]
        (finding,) = RULES["shafts"](study)
        assert finding.level in ("care", "stop") and not shaft.reads
        if shaft.reads_at_extinction_per_m is None:
            assert not study_of(haze={"extinction": 4 * thin}).shots[0].shafts[0].reads
        else:
            assert study_of(haze={"extinction": shaft.reads_at_extinction_per_m}).shots[0].shafts[0].reads

    def test_none_at_all(self, study_of):
        """A lamp turned to where no opening lets it in."""
        study = study_of(lamp={"at": [-600, 100, 600]})
        (finding,) = RULES["shafts"](study)
        assert finding.level == "stop" and finding.says.startswith("No shaft shows")

    def test_clear_air_has_none(self, study_of):
        """Another rule speaks of that."""
        study = study_of(haze={"extinction": 0})
        assert study.shots[0].shafts == () and list(RULES["shafts"](study)) == []
