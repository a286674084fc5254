"""
The order of a day's shots that costs least to change between, from what each change costs.

Takes a table of costs, cost[a, b] for shooting b right after a; gives an order and what it costs. The day begins and ends
with any shot. Knows nothing of what is changed.

Up to `EXACT` shots the order is the cheapest there is (M. Held and R. M. Karp, A dynamic programming approach to sequencing
problems, J. SIAM 10, 1962, 196, from memory). Beyond, the nearest shot comes next, from the best beginning; then stretches
are turned round (2-opt) and single shots are put elsewhere as long as that saves anything.
"""

from __future__ import annotations

import numpy as np

EXACT = 10
"""Most shots whose order is found exactly: 2^n n^2 sums, a tenth of a second for ten (own choice)."""

_SAVES = 1e-9


def path_cost(cost: np.ndarray, order) -> float:
    """Return what an order costs, in the unit of `cost`."""
    order = np.asarray(order, int)
    return float(cost[order[:-1], order[1:]].sum())


def cheapest_order(cost: np.ndarray) -> list[int]:
    """
    Return the order of n shots that costs least: exactly up to `EXACT`, else nearly.

    Parameters
    ----------
    cost : (n, n) float array
        Not negative; the diagonal is not read. Where orders cost the same, the earlier shots of the list come first.
    """
    cost = np.round(np.asarray(cost, float), 9)
    if len(cost) < 2:
        return list(range(len(cost)))
    found = exact_order(cost) if len(cost) <= EXACT else near_order(cost)
    written = list(range(len(cost)))
    return written if path_cost(cost, written) <= path_cost(cost, found) + _SAVES else found


def exact_order(cost: np.ndarray) -> list[int]:
    """Return the cheapest order of all, by Held and Karp's dynamic programme over sets of shots still to come: `least` is for going through a set, beginning with one of it."""
    n = len(cost)
    least, after = np.full((1 << n, n), np.inf), np.full((1 << n, n), -1)
    least[1 << np.arange(n), np.arange(n)] = 0.0
    for coming in range(1, 1 << n):
        for shot in range(n):
            rest = coming ^ (1 << shot)
            if coming >> shot & 1 and rest:
                ways = least[rest] + cost[shot]
                after[coming, shot] = ways.argmin()
                least[coming, shot] = ways.min()
    order, coming = [int(least[-1].argmin())], (1 << n) - 1
    while (later := int(after[coming, order[-1]])) >= 0:
        coming ^= 1 << order[-1]
        order.append(later)
    return order


def near_order(cost: np.ndarray) -> list[int]:
    """Return a cheap order: nearest next from the best beginning, then turned and moved about until nothing saves."""
    order = min((_nearest_next(cost, first) for first in range(len(cost))), key=lambda order: path_cost(cost, order))
    while True:
        better = min(_neighbours(order), key=lambda other: path_cost(cost, other))
        if path_cost(cost, better) >= path_cost(cost, order) - _SAVES:
            return order
        order = better


def _nearest_next(cost, first):
    order, left = [first], [shot for shot in range(len(cost)) if shot != first]
    while left:
        order.append(min(left, key=lambda shot: cost[order[-1], shot]))
        left.remove(order[-1])
    return order


def _neighbours(order):
    """Orders with one stretch turned round, or one shot elsewhere."""
    n = len(order)
    for a in range(n):
        for b in range(a + 2, n + 1):
            yield order[:a] + order[a:b][::-1] + order[b:]
    for a in range(n):
        rest = order[:a] + order[a + 1 :]
        for b in range(n):
            yield rest[:b] + [order[a]] + rest[b:]
