"""Textbook problems put to the programme of a plan: items are valves with one remedy, knapsacks are windows with a budget."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from quietseat import basis as bases
from quietseat.economics.discount import discount_factor, rate_of
from quietseat.model import Spread
from quietseat.planning.plan import columns, solve
from quietseat.planning.records import ZERO, Item, Option, Terms, Window
from quietseat.planning.worth import factor, kept_share, net_worth

Found = dict[str, Any]


def knapsack(profits: Sequence[float], weights: Sequence[float], capacities: Sequence[float]) -> Found:
    """Greatest profit of items in knapsacks of these capacities, each item at most once; numbers of the items taken."""
    items = tuple(
        Item(str(number), 0, 1, ("leaks",), (_option(float(profit), float(weight)),))
        for number, (profit, weight) in enumerate(zip(profits, weights, strict=True), start=1)
    )
    windows = tuple(Window(f"W{number}", None, 1.0, 1.0, 10.0, float(size)) for number, size in enumerate(capacities))
    cols = columns(items, Terms(windows, None), bases.make({}))
    plan = solve(cols)
    taken = sorted(int(cols.at(column)[0].tag) for column in plan.chosen)
    return {"value": plan.value, "bound": plan.bound, "taken": " ".join(map(str, taken))}


def _option(profit: float, weight: float) -> Option:
    spend, saved = Spread(weight, weight, weight), Spread(profit + weight, profit + weight, profit + weight)
    return Option("item", "Item", "yes", "", spend, ((saved, ZERO),), 0.0, 0.0, 0.0)


def delayed(rate: float, horizon: float, delay: float, yearly: float, spend: float) -> Found:
    """Net worth of a remedy that saves an amount a year over the horizon and is bought after a delay."""
    basis = bases.make({"discount_rate": f"{100 * rate!r} %", "horizon_years": horizon})
    whole = factor(rate_of(basis), horizon)
    kept = kept_share(whole, factor(rate_of(basis), delay))
    return {"value": net_worth(yearly * whole, kept, spend, discount_factor(rate_of(basis), delay))}


CALCULATIONS: Mapping[str, Callable[..., Found]] = {"knapsack": knapsack, "delayed remedy": delayed}
