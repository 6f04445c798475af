"""What knowing something before deciding is worth: expected cost with and without, over equally likely scenarios."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Costs = NDArray[np.float64]

ROUNDING = 1e-12  # of the greatest cost: less than that is no gain
LEVELS = 3  # a range stands as the middles of its three equally likely thirds


def decided(costs: Costs) -> tuple[int, float]:
    """The action with the least expected cost and that cost. costs: (actions, scenarios), money; scenarios equally likely."""
    means = np.asarray(costs, dtype=np.float64).mean(axis=1)
    best = int(means.argmin())
    return best, float(means[best])


def worth_of_all(costs: Costs) -> float:
    """Expected value of perfect information, money: how much less the best action of each scenario costs than the best one for all.

    Source: closed form, Raiffa and Schlaifer, Applied Statistical Decision Theory (1961), from memory.
    """
    table = np.asarray(costs, dtype=np.float64)
    return decided(table)[1] - float(table.min(axis=0).mean())


def worth_of(costs: Costs, levels: Sequence[int]) -> float:
    """Expected value of knowing one thing, money: `levels` says which of its levels each scenario has.

    Never negative: whoever knows may still decide as without. Source: as `worth_of_all`, with the other unknowns averaged out.
    """
    table, given = np.asarray(costs, dtype=np.float64), np.asarray(levels)
    known = sum(decided(table[:, given == level])[1] * float((given == level).mean()) for level in np.unique(given))
    gain = decided(table)[1] - float(known)
    return gain if gain > ROUNDING * float(np.abs(table).max()) else 0.0


@lru_cache(maxsize=16)
def scenarios(unknowns: int) -> NDArray[np.int64]:
    """Levels 0 to 2 of each unknown (scenarios, unknowns), every pair of levels of any two equally often (orthogonal array).

    All combinations of up to two unknowns; 3^k runs by linear codes over three numbers beyond: 9 runs serve 4 unknowns, 27 serve 13.
    Raises ValueError beyond 13. Source: Rao's construction, columns are the points of a projective space; closed form.
    """
    if unknowns < 1 or unknowns > 13:
        raise ValueError(f"{unknowns} unknowns: 1 to 13 can be asked together")
    size = 1 if unknowns == 1 else 2 if unknowns <= 4 else 3
    runs: Any = np.indices((LEVELS,) * size).reshape(size, -1)
    points = [point for point in np.ndindex(*(LEVELS,) * size) if next((digit for digit in point if digit), 0) == 1]
    points.sort(key=lambda point: (sum(digit != 0 for digit in point), point))
    return np.asarray([(np.asarray(point) @ runs) % LEVELS for point in points[:unknowns]], dtype=np.int64).T
