"""The order of shots that costs least."""

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from previz.check.order import EXACT, cheapest_order, exact_order, near_order, path_cost


@st.composite
def tables(draw, largest=7):
    """Costs of every change, both ways their own."""
    n = draw(st.integers(1, largest))
    return np.array(draw(st.lists(st.lists(st.integers(0, 20), min_size=n, max_size=n), min_size=n, max_size=n)), float)


class TestExact:
    """The dynamic programme."""

    @given(tables())
    @settings(max_examples=60, deadline=None)
    def test_no_order_is_cheaper(self, cost):
        """Against every order there is."""
        order = cheapest_order(cost)
        assert sorted(order) == list(range(len(cost)))
        assert path_cost(cost, order) == min(path_cost(cost, other) for other in permutations(range(len(cost))))

    def test_as_written_where_nothing_saves(self):
        """A maker's own order stays."""
        assert cheapest_order(np.ones((6, 6))) == list(range(6))

    def test_one_way_is_not_the_other(self):
        """Haze thins by itself, so from thick to thin is not from thin to thick."""
        assert exact_order(np.array([[0, 9, 9], [1, 0, 9], [9, 1, 0.0]])) == [2, 1, 0]


class TestNear:
    """Beyond ten shots."""

    @pytest.mark.parametrize("seed", range(4))
    def test_close_to_exact_where_both_can_be_found(self, seed):
        """Within a tenth on places on a bench, and never cheaper than the cheapest."""
        places = np.random.default_rng(seed).uniform(0, 1000, (9, 2))
        cost = np.linalg.norm(places[:, None] - places, axis=2)
        near, exact = path_cost(cost, near_order(cost)), path_cost(cost, exact_order(cost))
        assert exact <= near + 1e-9 <= 1.1 * exact

    def test_a_line_of_many(self):
        """Fourteen stands in a row, shuffled: along the row."""
        along = np.random.default_rng(3).permutation(14) * 100.0
        order = cheapest_order(np.abs(along[:, None] - along))
        assert len(along) > EXACT
        assert path_cost(np.abs(along[:, None] - along), order) == 1300
