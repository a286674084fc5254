"""How exact one must be: closed forms, propagation against draws, and what straight lines cannot tell."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from previz.aim.tolerance import Bound, Figures, Quantity, tolerance

ONES = tuple(Quantity(f"q{i}", "mm", 0.1, 1e3) for i in range(4))


def of(changes, allowed=1.0, quantities=ONES, tries=2000, **keys):
    """Return the tolerance of one figure."""
    figures = Figures((Bound("figure", "mm", allowed, **keys),), tuple(range(len(quantities))), lambda q: (np.atleast_1d(changes(q)),), tries)
    return tolerance(quantities, (figures,), 1)


class TestPropagation:
    """Straight lines and draws."""

    def test_alone_is_the_bound_over_the_rate(self):
        """3 q0 - 0.5 q1: a third and two of a bound of 1; what has no say is free up to its most."""
        found = of(lambda q: 3 * q[0] - 0.5 * q[1])
        assert_allclose(found.alone, [1 / 3, 2, 1e3, 1e3])
        assert found.first == ("figure", "figure", None, None)

    def test_the_additive_model_of_jcgm_101(self):
        """
        Four evenly spread inputs of standard uncertainty 1, added up: u = 2, and 95 % lie within 3.88.

        JCGM 101:2008, 9.2.3 (figures from memory). Allowances are scaled so that 2 u is the bound, here 4.
        """
        found = of(lambda q: q.sum(), allowed=4.0, tries=20_000)
        (held,) = found.held
        assert_allclose(found.together, np.sqrt(3), rtol=1e-9)
        assert_allclose(held.linear, 2.0, rtol=1e-9)
        assert_allclose(held.tried, 2.0, rtol=0.02)
        assert_allclose(held.reach, 3.88, rtol=0.02)
        assert held.kept > 0.95 and not held.bent

    def test_a_shift_counts_by_its_size(self):
        """Two parts at right angles, by Pythagoras; together 2 u is the bound."""
        found = of(lambda q: np.array([3 * q[0], 4 * q[0]]), allowed=10.0)
        assert_allclose(found.alone[0], 2.0)
        assert_allclose(found.held[0].linear, 5.0, rtol=1e-9)

    def test_the_narrowest_bound_decides(self):
        """Of two figures the one that goes first is named."""
        figures = tuple(Figures((Bound(name, "mm", allowed),), (0,), lambda q: (q[:1],), 50) for name, allowed in (("wide", 5.0), ("narrow", 2.0)))
        found = tolerance(ONES[:1], figures, 1)
        assert found.first == ("narrow",) and found.alone[0] == pytest.approx(2.0)

    def test_only_less_is_worse_one_way(self):
        """Half of all draws gain clearance, and keep any bound."""
        assert of(lambda q: 10 * q[0] if q[0] > 0 else 0.9 * q[0], allowed=0.5, one_way=True).held[0].kept > 0.5

    @pytest.mark.parametrize("bend", (lambda q: 20 * q[0] ** 2, lambda q: np.exp(3 * q[0]) - 1, lambda q: q[0] if abs(q[0]) < 0.3 else np.nan))
    def test_what_is_bent_is_said(self, bend):
        """A square has no slope at all, an exponential leaves its tangent, and a figure may cease to be: draws tell all three."""
        (held,) = of(bend, quantities=(Quantity("q", "mm", 0.05, 1.0),)).held
        assert held.bent

    def test_the_same_draws_each_time(self):
        """Seeded."""
        first, again = (of(lambda q: np.sin(q[0])).held[0] for _ in range(2))
        assert replace(first, rates=None) == replace(again, rates=None)
