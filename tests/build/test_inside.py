"""In the air of a room or not."""

import pytest

from previz.build.inside import in_a_room
from previz.build.load import load_set


class TestRooms:
    """Points against the rooms' air."""

    @pytest.mark.parametrize(
        "point, within", [((150, 100, 100), True), ((-1, 100, 100), False), ((301, 100, 100), False), ((150, 100, -1), False), ((900, 100, 600), False)]
    )
    def test_by_hand(self, scene_file, point, within):
        """The plain room reaches from its datum corner over [300, 200] mm."""
        _, built = load_set(scene_file)
        assert in_a_room(built, point) is within
