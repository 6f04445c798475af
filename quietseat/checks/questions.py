"""Calculations of the value of asking that checks can name."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from quietseat.questions.worth import decided, worth_of, worth_of_all


def knowing(costs: Sequence[Sequence[float]], levels: Sequence[int] = ()) -> dict[str, Any]:
    """Expected cost of the best action, and what perfect or partial knowledge is worth; costs by action and equally likely scenario."""
    import numpy as np

    table = np.asarray(costs, dtype=float)
    found = {"expected_cost": decided(table)[1], "worth_of_all": worth_of_all(table)}
    return {**found, "worth_of": worth_of(table, levels)} if levels else found


CALCULATIONS: dict[str, Callable[..., dict[str, Any]]] = {"knowing": knowing}
