"""One worker or many: the same bytes."""

import numpy as np
import pytest
from rooms import painted_room, view_across

from previz.build.assemble import build_set
from previz.frames.hazed import hazed_frame
from previz.rays.lit import light_set


@pytest.fixture(scope="module")
def built():
    """The room of the comparisons."""
    return build_set(painted_room(), folder=None)


class TestWorkers:
    """Chance belongs to pixels and texels, never to threads."""

    def test_light_is_the_same(self, built):
        """Texels, transport and bounce light do not depend on how the work was shared."""
        one, three = (light_set(painted_room(), built, texels=3000, rays=32, workers=workers) for workers in (1, 3))
        assert one.bounce.texel.tobytes() == three.bounce.texel.tobytes()
        assert one.bounce.cell.tobytes() == three.bounce.cell.tobytes()

    def test_frame_is_the_same(self, built):
        """Neither does the picture, also where tiles do not divide it evenly."""
        lit = light_set(painted_room(), built, texels=3000, rays=32)
        view = view_across(203, 117)
        frames = [hazed_frame(lit, view, passes=2, lamp_samples=4, workers=workers) for workers in (1, 2, 5)]
        assert all(np.isfinite(frame).all() and frame.max() > 0 for frame in frames)
        assert len({frame.tobytes() for frame in frames}) == 1

    def test_seed_changes_the_grain_alone(self, built):
        """Another seed is another picture with the same mean."""
        lit = light_set(painted_room(), built, texels=3000, rays=32)
        one, other = (hazed_frame(lit, view_across(120, 68), passes=4, seed=seed) for seed in (1, 2))
        assert one.tobytes() != other.tobytes()
        assert one.mean() == pytest.approx(other.mean(), rel=0.01)
