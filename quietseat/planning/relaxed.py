"""The linear relaxation of a plan of very many valves, in a fraction of the time a solver takes over all columns.

Limits couple the valves, and there are few of them. At given prices of what is scarce every valve chooses for itself; prices are found by
cutting planes over the few limits (Dantzig and Wolfe 1960). Valves whose choice is clear at these prices are then set, the doubtful ones
solved as a linear programme, and its own prices must confirm every clear choice: the optimum over all columns, or more valves count as
doubtful.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from quietseat.planning.plan import Columns, limits_of

__all__ = ["relaxed"]

CORE = 300  # valves solved for as they are
CUTS = 30  # of the search for prices
DOUBTFUL = 100  # valves solved for at first
GROWTH = 4
NEAR = 1e-9  # share of the greatest gain that counts as equal
SCALE = 1e2  # limits as rows of this size: the solver's absolute tolerance is then no money


class _Fleet:
    """Columns grouped by valve, with what each takes of every limit as a share of it."""

    def __init__(self, cols: Columns, gain: Any, inside: Sequence[int]) -> None:
        import numpy as np

        self.np, self.gain = np, gain
        self.starts = np.flatnonzero(np.diff(cols.item, prepend=-1))  # columns stand valve by valve
        self.count = len(self.starts)
        self.owner = np.repeat(np.arange(self.count), np.diff(self.starts, append=len(gain)))
        self.must = np.isin(cols.item[self.starts], inside)
        limits = limits_of(cols)
        self.use = np.array([limit.use / max(limit.amount, 1e-9) for limit in limits]).reshape(len(limits), len(gain))
        self.near = NEAR * max(1.0, float(np.abs(gain).max(initial=0.0)))

    def choose(self, prices: Any) -> tuple[Any, Any, Any]:
        """What every valve does at these prices: its column (-1: none), what that gains, and by how much the next best falls short."""
        np = self.np
        net = self.gain - prices @ self.use
        best = np.maximum.reduceat(net, self.starts)
        at = np.flatnonzero(net >= best[self.owner])
        at = at[np.diff(self.owner[at], prepend=-1) > 0]  # the first of equals
        rest = net.copy()
        rest[at] = -np.inf
        second = np.maximum.reduceat(rest, self.starts)
        none = np.where(self.must, -np.inf, 0.0)
        taken = best >= none
        ahead = np.where(taken, best - np.maximum(second, none), -best)
        return np.where(taken, at, -1), np.where(taken, best, 0.0), ahead

    def prices(self, found: Any) -> Any:
        """Prices of the limits in scipy's answer."""
        return -found.ineqlin.marginals[: len(self.use)] * SCALE


def relaxed(cols: Columns, gain: Any, inside: Sequence[int]) -> Any:
    """Part of each column in the best relaxed plan, or None where nothing satisfies the limits. inside: items that must be in."""
    fleet = _Fleet(cols, gain, inside)
    np = fleet.np
    if fleet.must.sum() < len(set(inside)):
        return None  # one that must be in has no column
    if fleet.must.any() and _solved(fleet, np.zeros(len(gain)), fleet.must).status != 0:
        return None  # not even alone
    if fleet.count <= CORE:
        return _confirmed(fleet, np.full(fleet.count, -1), np.ones(fleet.count, bool))
    prices = _guess(fleet)
    choice, _, ahead = fleet.choose(prices)
    x = _confirmed(fleet, choice, _least(ahead, DOUBTFUL))
    if x is not None:
        return x
    choice, _, ahead = fleet.choose(_prices(fleet, prices))
    many = DOUBTFUL
    while True:
        x = _confirmed(fleet, choice, _least(ahead, many))
        if x is not None or many >= fleet.count:
            return x
        many *= GROWTH


def _least(ahead: Any, many: int) -> Any:
    """Marks the so many valves whose choice is least clear."""
    import numpy as np

    marked = np.zeros(len(ahead), bool)
    marked[np.argsort(ahead, kind="stable")[:many]] = True
    return marked


def _guess(fleet: _Fleet) -> Any:
    """Prices from the few valves that gain most for what they take: right where few are chosen."""
    np = fleet.np
    pays = np.maximum.reduceat(fleet.gain / (fleet.use.sum(axis=0) + 1e-9), fleet.starts)
    found = _solved(fleet, np.zeros(len(fleet.gain)), _least(np.where(fleet.must, -np.inf, -pays), CORE))
    return fleet.prices(found) if found.status == 0 else np.zeros(len(fleet.use))


def _prices(fleet: _Fleet, prices: Any) -> Any:
    """Prices of the limits at which the valves' own choices fill them, close to the best. prices: where the search starts."""
    from scipy.optimize import linprog

    np, k = fleet.np, len(fleet.use)
    gains: list[float] = []
    uses: list[Any] = []
    dear = 1e3 * max(1.0, float(np.abs(fleet.gain).sum()))  # what going over a limit costs the search
    for _ in range(CUTS if k else 0):
        choice, won, _ = fleet.choose(prices)
        bound = float(won.sum() + prices.sum())
        taken = choice[choice >= 0]
        gains.append(float(fleet.gain[taken].sum()))
        uses.append(fleet.use[:, taken].sum(axis=1))
        size = max(1.0, abs(max(gains)))
        cost = np.concatenate([-np.array(gains), np.full(k, dear)]) / size
        rows = np.hstack([np.array(uses).T, -np.eye(k)])
        whole = np.concatenate([np.ones(len(gains)), np.zeros(k)])[None]
        found = linprog(cost, A_ub=rows, b_ub=np.ones(k), A_eq=whole, b_eq=[1.0], bounds=(0, None), method="highs")
        if found.status != 0 or bound / size + found.fun <= NEAR:
            break
        prices = np.maximum(0.0, -found.ineqlin.marginals * size)
    return prices


def _confirmed(fleet: _Fleet, choice: Any, doubtful: Any) -> Any:
    """The doubtful valves solved for with the others as they chose; None where the prices found then speak against a choice."""
    np = fleet.np
    x = np.zeros(len(fleet.gain))
    x[choice[~doubtful & (choice >= 0)]] = 1.0
    found = _solved(fleet, x, doubtful)
    if found.status != 0:
        return None
    net = fleet.gain - fleet.prices(found) @ fleet.use
    best = np.maximum.reduceat(net, fleet.starts)
    none = np.where(fleet.must, -np.inf, 0.0)
    chosen = np.where(choice >= 0, net[choice], 0.0)
    if (np.maximum(best, none) - chosen > fleet.near)[~doubtful].any():
        return None
    x[doubtful[fleet.owner]] = found.x
    return x


def _solved(fleet: _Fleet, taken: Any, some: Any) -> Any:
    """scipy's answer for some of the valves within what the parts already set leave of the limits."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_matrix, vstack

    np = fleet.np
    part = np.flatnonzero(some[fleet.owner])
    ids, rows = np.unique(fleet.owner[part], return_inverse=True)
    one = csr_matrix((np.ones(len(part)), (rows, np.arange(len(part)))), shape=(len(ids), len(part)))
    must = fleet.must[ids]
    limits = np.concatenate([(1.0 - fleet.use @ taken) * SCALE, np.ones((~must).sum())])
    held = {"A_eq": one[must], "b_eq": np.ones(must.sum())} if must.any() else {}
    table = vstack([csr_matrix(fleet.use[:, part] * SCALE), one[~must]])
    return linprog(-fleet.gain[part], A_ub=table, b_ub=limits, bounds=(0, None), method="highs", **held)
