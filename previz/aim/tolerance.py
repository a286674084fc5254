"""
Tolerance: how far each quantity may be off before a figure leaves its bounds, linearised and tried by chance.

Takes functions of deviations, each with what it may change by; gives allowances and how well straight lines describe them.
Knows nothing of sets or lamps.

    deviation   of a quantity from the plan [its unit]
    change      of a figure from its value at the plan: (k,), one number or the parts of a shift; its size is their root sum of squares
    rate        size of the change for one unit of a deviation
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

COVERAGE = 2.0
"""Twice the standard uncertainty covers about 95 % (JCGM 100:2008, 6.3.3)."""
BENT = 0.2
"""Straight lines that are off by more than this share of the spread, root mean square over the draws, are said to be (own choice)."""
KEPT = 0.95
"""So many draws shall keep each bound; where straight lines promise too much, the allowances of what it depends on shrink together until they do."""
_SHRINK, _ROUNDS = 0.7, 6
_CLOSE, _NEAR, _GROW, _FINE, _HALVINGS = 0.01, 0.1, 1.5, 0.04, 12
"""Where lines say, a bound passed by less than the first share is met, and so is one that is used up but for the second; how a search goes on beyond, to which share it halves, and how often at most (own choice)."""
_TOO_SMALL, _NO_SAY, _ROUNDING = 0.25, 1e-3, 1e-9
"""Of a bound: nobody minds how straight what stays that far within it is; what moves it by less has no say in it (own choice)."""


@dataclass(frozen=True)
class Quantity:
    """
    What may be off.

    name  in the maker's words: "lamp, height"
    unit  "mm" | "deg" | "%"
    step  by which rates are found, either way
    most  no allowance is told beyond this: nobody is so far off
    """

    name: str
    unit: str
    step: float
    most: float


@dataclass(frozen=True)
class Bound:
    """
    What a figure may change by.

    name      "middle of the light", "clearance"
    unit      "mm" | "stops"
    allowed   size of the change
    one_way   True where only less is worse, as of clearance and contrast
    """

    name: str
    unit: str
    allowed: float
    one_way: bool = False


@dataclass(frozen=True)
class Figures:
    """
    Figures that are found together.

    bounds   m of them
    depends  numbers of the quantities that they depend on
    changes  of deviations (n,) from the plan: m arrays (k,), not a number where there is no such figure any more
    tries    how many draws they are worth
    """

    bounds: tuple[Bound, ...]
    depends: tuple[int, ...]
    changes: Callable[[np.ndarray], tuple[np.ndarray, ...]]
    tries: int


@dataclass(frozen=True)
class Held:
    """
    How a figure keeps its bound when every quantity is off at once, each by as much as it may.

    rates       (n,) [unit of the figure per unit of the quantity]
    linear      standard uncertainty by propagation, ``u^2 = sum (c a)^2 / 3`` [unit]
    tried       root mean square of the changes that were drawn [unit]
    reach       change that 95 % of the draws stay within [unit]
    kept        share of the draws within the bound [1]
    tries       draws
    bent        straight lines do not describe it
    """

    bound: Bound
    rates: np.ndarray
    linear: float
    tried: float
    reach: float
    kept: float
    tries: int
    bent: bool


@dataclass(frozen=True)
class Tolerance:
    """
    How exact one has to be.

    alone     (n,) each quantity, all others right, tried either way
    by_lines  (n,) the same by straight lines
    together  (n,) each, all of them off at once
    first     (n,) name of the figure that leaves its bound first, None where none does within `Quantity.most`
    held      of each figure
    """

    quantities: tuple[Quantity, ...]
    alone: np.ndarray
    by_lines: np.ndarray
    together: np.ndarray
    first: tuple[str | None, ...]
    held: tuple[Held, ...]


def tolerance(quantities: tuple[Quantity, ...], figures: tuple[Figures, ...], seed: int, progress: Callable[[float], None] | None = None) -> Tolerance:
    """
    Return how far each quantity may be off.

    Notes
    -----
    A quantity that may be off by a either way counts as spread evenly, ``u = a / sqrt(3)`` (JCGM 100:2008, 4.3.7), and
    ``u_c^2 = sum c_i^2 u_i^2`` (5.1.2). Alone a is bound / c where the figures, tried there, say the same; else it is searched for
    by trying. Together each is scaled by the share at which ``2 u_c`` is
    within every bound that it has a say in. The draws follow JCGM 101:2008, and are compared with straight lines through the same draws; where fewer
    than `KEPT` of them keep a bound, the shares of its quantities shrink and it is drawn again.
    """
    count = _Counted(sum(6 * len(f.depends) + f.tries for f in figures), progress)
    lines = [_lines(quantities, f, count) for f in figures]
    rates = [np.linalg.norm(line, axis=1) for group in lines for line in group]
    bounds = [bound for f in figures for bound in f.bounds]
    by_lines = np.minimum([q.most for q in quantities], np.min([_over(bound.allowed, rate) for bound, rate in zip(bounds, rates)], axis=0))
    each = iter(rates)
    alone, first, bent = _alone(quantities, figures, [[next(each) for _ in f.bounds] for f in figures], by_lines, count)
    spread = [np.sqrt(((rate * alone) ** 2).sum() / 3) for rate in rates]
    shares = np.array([np.where(rate * alone > _NO_SAY * bound.allowed, min(1.0, bound.allowed / (COVERAGE * u)) if u > 0 else 1.0, 1.0) for bound, u, rate in zip(bounds, spread, rates)]).min(axis=0)
    share, held = _shrunk(figures, lines, alone, shares, bent, seed, count)
    return Tolerance(quantities, alone, by_lines, share * alone, first, held)


def _alone(quantities, figures, rates, by_lines, count: _Counted) -> tuple[np.ndarray, tuple[str | None, ...], set[str]]:
    """
    Return how far each quantity may be off alone, which bound goes first, and of which bounds straight lines promise too much.

    Figures are tried in their order, no farther than those before allow.
    """
    alone, first, bent = by_lines.copy(), [], set()
    for i, quantity in enumerate(quantities):
        spent = next((bound.name for f, group in zip(figures, rates) for bound, rate in zip(f.bounds, group) if bound.allowed <= 0 and rate[i] > 0), None)
        limit, goes = (quantity.most, None) if spent is None else (0.0, spent)
        for f, group in zip(figures, rates):
            if i in f.depends and limit > 0:
                promised = min(float(_over(bound.allowed, rate)[i]) for bound, rate in zip(f.bounds, group))
                limit, goes = _limit(f, np.eye(len(quantities))[i], min(promised or quantity.step, limit), limit, goes, count)
        alone[i] = limit
        first.append(goes)
        if goes is not None and limit < (1 - BENT) * by_lines[i]:
            bent.add(goes)
    return alone, tuple(first), bent


def _limit(figures: Figures, along: np.ndarray, promised: float, limit: float, goes: str | None, count: _Counted) -> tuple[float, str | None]:
    """
    Return how far, `limit` at most, one quantity may be off before a bound breaks, and the bound's name; `goes` where none does.

    It is tried as far as lines promise and half as far, either way; where a bound is broken there or is still far, the place
    where it breaks is searched for.
    """

    def tried(far: float) -> tuple[float, str | None]:
        """How much of its bound the worst figure has used, and its name."""
        worst, name = 0.0, None
        for way in (far, -far):
            for bound, change in zip(figures.bounds, figures.changes(way * along)):
                if bound.allowed > 0 and (used := _size(bound, change[None])[0] / bound.allowed) > worst:
                    worst, name = used, bound.name
            count.one()
        return worst, name

    kept, at, broken = 0.0, promised / 2, None
    while broken is None:
        used, name = tried(at)
        if used > 1 + (_CLOSE if at == promised else _ROUNDING):
            broken, goes = at, name
        elif at == promised and used >= 1 - _NEAR:
            return at, name
        elif at >= limit:
            return limit, goes
        else:
            kept, at = at, promised if at < promised else min(_GROW * at, limit)
    for _ in range(_HALVINGS):
        if broken - kept <= _FINE * broken:
            break
        middle = (kept + broken) / 2
        used, name = tried(middle)
        kept, broken, goes = (kept, middle, name) if used > 1 + _ROUNDING else (middle, broken, goes)
    return kept, goes


def _size(bound: Bound, changes: np.ndarray) -> np.ndarray:
    """Return the size of changes (n, k) as the bound counts it; endless where there is no figure any more."""
    # Where only less is worse, what is gained keeps the bound too.
    size = np.maximum(-changes[:, 0], 0.0) if bound.one_way else np.linalg.norm(changes, axis=1)
    return np.where(np.isfinite(changes).all(axis=1), size, np.inf)


def _shrunk(figures, lines, alone: np.ndarray, share: np.ndarray, bent: set[str], seed: int, count: _Counted) -> tuple[np.ndarray, tuple[Held, ...]]:
    """Draw, and shrink the shares of what a figure depends on while too few draws keep its bound; what was bent at first is said to be."""
    drawn: dict[int, tuple[tuple, list[Held]]] = {}
    bent, share = set(bent), share.copy()
    for turn in range(_ROUNDS):
        for i, one in enumerate(figures):
            depends = list(one.depends)
            own = tuple(share[depends])
            if i in drawn and drawn[i][0] == own:
                continue
            held = _tried(one, lines[i], share * alone, seed, count)
            drawn[i] = own, held
            bent |= {one.bound.name for one in held if one.bent}
            if turn < _ROUNDS - 1 and any(one.kept < KEPT and one.bound.allowed > 0 for one in held):
                share[depends] *= _SHRINK
                break
        else:
            break
    held = [one for i in range(len(figures)) for one in drawn[i][1]]
    return share, tuple(replace(one, bent=one.bound.name in bent) for one in held)


class _Counted:
    """Tells progress, one piece of work at a time."""

    def __init__(self, whole: int, progress):
        self._whole, self._done, self._progress = whole, 0, progress

    def one(self) -> None:
        self._done += 1
        if self._progress:
            self._progress(min(1.0, self._done / self._whole))


def _over(allowed: float, rate: np.ndarray) -> np.ndarray:
    return np.where(rate > 0, max(allowed, 0.0) / np.maximum(rate, 1e-300), np.inf)


def _lines(quantities, figures: Figures, count: _Counted) -> list[np.ndarray]:
    """Return for each figure (n, k): its change for one unit of each quantity, by central differences; on one side where the other has no figure."""
    found = [np.zeros((len(quantities), len(part))) for part in figures.changes(np.zeros(len(quantities)))]
    for i in figures.depends:
        step = np.zeros(len(quantities))
        step[i] = quantities[i].step
        ahead, behind = figures.changes(step), figures.changes(-step)
        for line, more, less in zip(found, ahead, behind):
            line[i] = np.nanmean([more, -less], axis=0) / quantities[i].step if np.isfinite([more, less]).any() else np.inf
        count.one()
        count.one()
    return found


def _tried(figures: Figures, lines: list[np.ndarray], together: np.ndarray, seed: int, count: _Counted) -> list[Held]:
    """Draw deviations evenly within what they may be, and look what the figures do."""
    draws = np.random.default_rng(seed).uniform(-1, 1, (figures.tries, len(together))) * together
    changes = []
    for draw in draws:
        changes.append(figures.changes(draw))
        count.one()
    return [_judged(bound, line, together, draws @ line, np.array([change[j] for change in changes])) for j, (bound, line) in enumerate(zip(figures.bounds, lines))]


def _judged(bound: Bound, line: np.ndarray, together: np.ndarray, straight: np.ndarray, true: np.ndarray) -> Held:
    rates = np.linalg.norm(line, axis=1)
    there = np.isfinite(true).all(axis=1)
    linear = float(np.sqrt(((rates * together) ** 2).sum() / 3))
    tried, ought, apart = (_rms(some[there]) for some in (true, straight, true - straight))
    reach = float(np.quantile(np.linalg.norm(true[there], axis=1), 0.95)) if there.any() else np.nan
    kept = float((_size(bound, true) <= bound.allowed * (1 + _ROUNDING)).mean())
    large = max(tried, ought) if there.any() else 0.0
    bent = not there.all() or apart > BENT * large and large > _TOO_SMALL * bound.allowed
    return Held(bound, rates, linear, tried, reach, kept, len(true), bool(bent))


def _rms(changes: np.ndarray) -> float:
    """Return the root mean square size of changes (n, k); not a number of none."""
    return float(np.sqrt((changes**2).sum(axis=1).mean())) if len(changes) else np.nan
