"""What a plan is worth knowing by: value against budget, stability of the choice, and what would have to change to be in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from quietseat.economics.draws import joined, quantile
from quietseat.model import Spread
from quietseat.planning.plan import NEAR, Columns, Plan, early_of, limits_of, scaled, solve, unbudgeted
from quietseat.planning.programme import SMALL, Programme
from quietseat.planning.records import Terms

__all__ = ["curve", "enters_at", "only", "stability", "useful", "weighted"]

POINTS = 20
EXACT_PRICE = 400  # columns up to which the price that lets a valve in is searched with integer plans
EXACT_CURVE = 1500  # columns up to which every point of the curve is an integer plan
ALIKE = 0.5  # correlation between valves of one price or one saving being off, estimate
CORRELATED = "prices are off together (one-factor normal, correlation 0.5 between valves, estimate)"
Z90 = 1.2815515655446004  # normal quantile of 0.9 (closed form)


def weighted(cols: Columns) -> Any:
    """Value with stop findings at a weight no value can outbid: one linear relaxation in place of three stages."""
    import numpy as np

    heavy = 100.0 * max(1.0, float(np.abs(cols.value).max(initial=0.0)))
    late = float(cols.delay.max(initial=0.0)) or 1.0
    return heavy * cols.stops * (1.0 - 0.25 * cols.delay / late)


def curve(free: Columns, terms: Terms, budget: float) -> tuple[list[dict[str, float]], str]:
    """About twenty points of budget -> value and stop findings cured; every budget of the plan is scaled alike.

    free: the columns whatever they cost. budget: what the budgets of the terms come to. Returns the points, and how they
    were solved in words.
    """
    exact = len(free.item) <= EXACT_CURVE
    ends = max(budget, useful(free)) or 1.0
    points = []
    for number in range(POINTS + 1):
        amount = ends * number / POINTS
        here = scaled(terms, amount / budget) if budget > 0 else replace(unbudgeted(terms), budget=amount)
        points.append(_point(replace(free, terms=here), amount, exact))
    words = "each point an integer plan" if exact else "linear relaxation, so a valve may count in part"
    words += "; every budget is scaled alike, crew hours and outage days stay; value may fall where the money cures a stop finding instead"
    return points, words


def useful(cols: Columns) -> float:
    """Money beyond which nothing more is bought: the dearest useful remedy of every valve."""
    import numpy as np

    wanted = (cols.value > 0) | (cols.stops > 0)
    if not wanted.any():
        return 0.0
    most = np.zeros(len(cols.items))
    np.maximum.at(most, cols.item[wanted], cols.spend[wanted])
    return float(most.sum())


def _point(cols: Columns, budget: float, exact: bool) -> dict[str, float]:
    import numpy as np

    open_ = np.ones(len(cols.item), bool)
    for limit in limits_of(cols):
        open_ &= limit.use <= limit.amount * (1 + 1e-9)
    if not open_.any():
        return {"budget": budget, "value": 0.0, "spent": 0.0, "stop_findings_cured": 0.0, "count": 0.0}
    part = only(cols, open_)
    if exact:
        x = solve(part).x
    else:
        found = Programme(part.item, limits_of(part)).relaxed(weighted(part) + part.value)
        x = found.x if found is not None else np.zeros(len(part.item))
    return {
        "budget": budget, "value": float(part.value @ x), "spent": float(part.spend @ x),
        "stop_findings_cured": float(part.stops @ x), "count": float(x.sum()),
    }  # fmt: skip


def only(cols: Columns, kept: Any) -> Columns:
    """The columns marked in a boolean array."""
    arrays = (cols.item, cols.option, cols.window, cols.spend, cols.outage, cols.other, cols.value, cols.stops, cols.delay,
              cols.kept, cols.discount)  # fmt: skip
    return Columns(cols.items, cols.terms, *(array[kept] for array in arrays))


def stability(plan: Plan, seed: int) -> tuple[list[float], list[dict[str, int]], int, str]:
    """How often each valve is in the best set over draws of cost and value, and which remedies it is cured by.

    Returns shares by number of the valve, counts by remedy, the number of draws and how they were solved. Each draw is a
    linear relaxation; a valve counts with the part of it that is in.
    """
    import numpy as np

    cols = plan.columns
    draws = 200 if len(cols.item) <= SMALL else 20
    shares = np.zeros(len(cols.items))
    remedies: list[dict[str, int]] = [{} for _ in cols.items]
    for number in range(draws if len(cols.item) else 0):
        spend, value = _draw(cols, np.random.default_rng((seed, number)))
        open_ = np.ones(len(cols.item), bool)
        for limit in limits_of(cols, spend):
            open_ &= limit.use <= limit.amount
        if not open_.any():
            continue
        part = only(cols, open_)
        gain = weighted(cols)[open_] + value[open_]
        found = Programme(part.item, limits_of(part, spend[open_])).relaxed(gain)
        if found is None:
            continue
        np.add.at(shares, part.item, found.x)
        for column in np.flatnonzero(found.x > 0.5).tolist():
            name = part.at(column)[1].remedy
            held = remedies[int(part.item[column])]
            held[name] = held.get(name, 0) + 1
    words = f"{draws} seeded draws of cost and value (seed {seed}), each solved as its linear relaxation; {CORRELATED}"
    return [min(1.0, float(share) / draws) for share in shares], remedies, draws, words


def _draw(cols: Columns, dice: Any) -> tuple[Any, Any]:
    """Money and worth of every column in one possible world. Before and after of one valve are off by the same share."""
    from scipy.special import ndtr

    shared = dice.standard_normal(4)
    own = dice.standard_normal((4, len(cols.items)))
    normal = [[joined(ALIKE, float(shared[part]), float(value)) for value in own[part]] for part in range(4)]
    share = ndtr(normal)
    spend_of: dict[tuple[int, int], tuple[float, float]] = {}
    spend, value = cols.spend.copy(), cols.value.copy()
    for column, (i, j) in enumerate(zip(cols.item.tolist(), cols.option.tolist(), strict=True)):
        if (i, j) not in spend_of:
            option = cols.items[i].options[j]
            money = quantile(option.spend, float(share[0][i]))
            if option.saved is not None:
                # The distribution is of the net value: what is spent more must not be counted twice.
                saved = _two_sided(option.saved, normal[1][i]) + option.extra + money - option.spend.mid
            else:
                saved = option.extra + sum(
                    quantile(before, float(share[1 + part][i])) - quantile(after, float(share[1 + part][i]))
                    for part, (before, after) in enumerate(option.running)
                )
            spend_of[i, j] = money, saved
        money, saved = spend_of[i, j]
        spend[column] = money
        value[column] = saved * cols.kept[column] - money * cols.discount[column]
    return spend, value


def _two_sided(spread: Spread, normal: float) -> float:
    """A normal quantity with its own spread on each side of the middle; low and high are P10 and P90."""
    return spread.mid + normal / Z90 * (spread.high - spread.mid if normal > 0 else spread.mid - spread.low)


def enters_at(plan: Plan, column: int, price: Callable[[int], float]) -> tuple[float, str]:
    """How much cheaper a column would have to be to be in the best plan, all else the same, and how that was found.

    Small plans: the plan is solved with the column forced in at ever closer prices. Large ones: `price` gives the answer
    from the prices of the linear relaxation.
    """
    cols = plan.columns
    estimate = price(column)
    if len(cols.item) > EXACT_PRICE:
        return estimate, "from the prices of the linear relaxation"
    high = float(cols.spend[column])
    if not _enters(plan, column, high):
        return float("inf"), "solved again with it forced in"
    first = min(high, max(estimate, 1.0))
    low, high = (0.0, first) if _enters(plan, column, first) else (first, high)
    while high - low > max(1.0, 0.01 * high):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if _enters(plan, column, middle) else (middle, high)
    return high, "solved again with it forced in"


def _enters(plan: Plan, column: int, less: float) -> bool:
    """Whether a plan with this column, made cheaper, is no worse than the plan: in stop findings cured, then in value."""
    import numpy as np

    cols = plan.columns
    spend, value, forced = cols.spend.copy(), cols.value.copy(), np.zeros(len(cols.item))
    spend[column] -= less
    value[column] += less * cols.discount[column]
    forced[column] = 1.0
    programme = Programme(cols.item, limits_of(cols, spend))
    programme.hold(forced, 1.0)
    stages = [(cols.stops, plan.stops, 0.5)] if plan.stops > 0 else []
    if plan.early > 0:
        stages.append((early_of(cols), plan.early, NEAR * max(1.0, plan.early)))
    for gain, held, near in stages:
        first = programme.best(gain)
        if first is None or abs(first.value - held) > near:
            return first is not None and first.value > held
        programme.hold(gain, held - near)
    found = programme.best(value)
    return found is not None and found.value >= plan.value - 1e-6 * max(1.0, abs(plan.value))
