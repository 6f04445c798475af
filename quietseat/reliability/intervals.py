"""Advice on the overhaul interval: what it risks, which one keeps a target, which one is cheapest; and kinds compared."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from quietseat.formula import Money, One, Sheet, formula
from quietseat.reliability.weibull import Risk, check_time, years
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table, weakest

PerYear = Annotated[float, "1/year"]
MoneyYear = Annotated[float, "money/year"]

SHORTEST, LONGEST = 0.5, 10.0  # years
INTERVALS = (0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0)
_STEP = 0.25  # years between the intervals tried before the best is refined
_ALIKE = 1.1  # probabilities within this ratio are called alike


@formula("definition: hidden failures, as new after every overhaul")
def cost_a_year(
    interval: years, overhaul: Money, demand_damage: Money, demands: PerYear, down: One, leak_repair: Money, leaks: One,
    leak_year: MoneyYear, leaking: One,
) -> MoneyYear:  # fmt: skip
    """Yearly cost: overhauls and leak repairs over their interval, demands on a failed valve, time leaking."""
    return (overhaul + leak_repair * leaks) / interval + demand_damage * demands * down + leak_year * leaking


@dataclass(frozen=True, slots=True)
class Costs:
    """What the interval trades, in money of one currency.

    overhaul: one overhaul. demand_damage: what it costs when a demand meets a valve that does not open; demands: demands a
    year. leak_repair: more work for a leak found at overhaul; leak_year: a year of leaking (product, carbon, charges).
    """

    overhaul: float
    demand_damage: float = 0.0
    demands: float = 0.0
    leak_repair: float = 0.0
    leak_year: float = 0.0


@dataclass(frozen=True, slots=True)
class Point:
    """What one interval in years means: probabilities at its end, means over it (failure unseen), and cost a year."""

    interval: float
    open_end: float
    open_mean: float
    leak_end: float
    leak_mean: float
    cost: float | None = None


@dataclass(frozen=True, slots=True)
class Advice:
    """Risk against interval, the interval that keeps the target, and the cheapest one.

    keeps: years until the probability of not opening reaches the target (may lie outside the curve). cheapest: years, None
    without costs; edge: it is the shortest or longest one tried, so that the optimum may lie beyond.
    """

    curve: tuple[Point, ...]
    target: float
    keeps: float
    cheapest: Point | None
    edge: bool
    confidence: str
    words: tuple[str, ...]


def point(opening: Risk, leaking: Risk, interval: float, costs: Costs | None = None) -> Point:
    """Risk and cost of one interval in years. Raises CalculationFailed where it is not positive."""
    check_time(interval, "overhaul interval", 1e-6)
    found = Point(
        interval, opening.within(interval), opening.hidden(interval), leaking.within(interval), leaking.hidden(interval)
    )
    if costs is None:
        return found
    cost = cost_a_year(
        interval, costs.overhaul, costs.demand_damage, costs.demands, found.open_mean, costs.leak_repair, found.leak_end,
        costs.leak_year, found.leak_mean,
    )  # fmt: skip
    return Point(interval, found.open_end, found.open_mean, found.leak_end, found.leak_mean, cost)


def advise(opening: Risk, leaking: Risk, target: float, costs: Costs | None = None, sheet: Sheet | None = None) -> Advice:
    """Advice on the overhaul interval of one valve.

    opening, leaking: the lives of its two failure modes, by table (`life`) or learned (`Learned`). target: largest
    probability of not opening at the end of the interval (`basis.open_target`). Intervals from 0.5 to 10 years are tried.
    Raises CalculationFailed for a target that is not between 0 and 1 and for negative costs.
    """
    if not 0 < target < 1:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"target probability {target:g} is not between 0 and 1")
    curve = tuple(point(opening, leaking, years, costs) for years in INTERVALS)
    keeps = opening.reaches(target)
    best = cheapest(opening, leaking, costs) if costs is not None else None
    edge = best is not None and (best.interval <= SHORTEST * 1.001 or best.interval >= LONGEST * 0.999)
    words = [_kept(target, keeps)]
    if sheet is not None:
        _record(sheet, target, keeps, best, costs)
    if best is not None:
        words.append(f"cheapest at {best.interval:.2g} years" + (" (an end of the range tried)" if edge else "")
                     + f": {100 * best.open_end:.2g} % not to open and {100 * best.leak_end:.2g} % to leak at its end")  # fmt: skip
        if best.interval > keeps:
            words.append("the cheapest interval does not keep the target: the target decides")
    return Advice(curve, target, keeps, best, edge, weakest([opening.confidence, leaking.confidence]), tuple(words))


def _record(sheet: Sheet, target: float, keeps: float, best: Point | None, costs: Costs | None) -> None:
    """The two answers of the advice as steps."""
    sheet.given("P_target", "largest probability of not opening at the end", target, "", "Basis: open_target")
    sheet.given("T_target", "interval that keeps it", keeps, "year", "inverse of the probability in time")
    if best is None or costs is None:
        return
    sheet.note("T", "cheapest interval", f"{best.interval:.3g} years of 0.5 to 10 tried", "least yearly cost")
    sheet.apply(
        "cost", cost_a_year, interval=best.interval, overhaul=costs.overhaul, demand_damage=costs.demand_damage,
        demands=costs.demands, down=best.open_mean, leak_repair=costs.leak_repair, leaks=best.leak_end,
        leak_year=costs.leak_year, leaking=best.leak_mean,
    )  # fmt: skip


def _kept(target: float, keeps: float) -> str:
    said = f"an overhaul every {keeps:.2g} years keeps the probability of not opening at {100 * target:.2g} % or less"
    if keeps < SHORTEST:
        return f"{said}: shorter than {SHORTEST:g} years, so that another kind, a second valve or cleaner service is the answer"
    return f"{said}: longer than {LONGEST:g} years, where codes and other damage decide" if keeps > LONGEST else said


def cheapest(opening: Risk, leaking: Risk, costs: Costs) -> Point:
    """The interval between 0.5 and 10 years with the least yearly cost. Raises CalculationFailed for negative costs."""
    from scipy.optimize import minimize_scalar

    amounts = (costs.overhaul, costs.demand_damage, costs.demands, costs.leak_repair, costs.leak_year)
    if not all(amount >= 0 and math.isfinite(amount) for amount in amounts):
        raise CalculationFailed(Status.OUT_OF_RANGE, f"costs of the interval must be finite and not negative: {costs}")

    def cost(years: float) -> float:
        return point(opening, leaking, float(years), costs).cost or 0.0

    tried = [SHORTEST + _STEP * i for i in range(round((LONGEST - SHORTEST) / _STEP) + 1)]
    near = min(tried, key=cost)  # the cost may have two dips: the grid finds the right one, the search its bottom
    found = minimize_scalar(cost, bounds=(max(SHORTEST, near - _STEP), min(LONGEST, near + _STEP)), method="bounded",
                            options={"xatol": 1e-6})  # fmt: skip
    return point(opening, leaking, min((near, float(found.x)), key=cost), costs)


# --- kinds compared -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Change:
    """One failure mode before and after a change of valve, over the same time.

    ratio: new over old probability, None where the old one is 0. same_risk: interval of the new valve with the old one's
    probability, years. verdict: better, worse or alike.
    """

    mode: str
    old: float
    new: float
    ratio: float | None
    same_risk: float
    verdict: str
    words: str


def compare(old: Mapping[str, Risk], new: Mapping[str, Risk], time: float, *, names: tuple[str, str]) -> tuple[Change, ...]:
    """Old valve against the one that would replace it, mode by mode, at an interval in years.

    old, new: mode (open, leak) to life, each with its own modifiers: what the change cures (chatter) is no longer among
    those of the new one. names: what to call the two. Raises CalculationFailed for a time that is not positive.
    """
    check_time(time, "interval to compare at", 1e-6)
    return tuple(_change(mode, old[mode], new[mode], time, names) for mode in old if mode in new)


def _change(mode: str, old: Risk, new: Risk, time: float, names: tuple[str, str]) -> Change:
    before, after = old.within(time), new.within(time)
    same = new.reaches(min(before, 1 - 1e-9)) if before > 0 else 0.0
    ratio = after / before if before > 0 else None
    verdict = "alike" if ratio is not None and 1 / _ALIKE <= ratio <= _ALIKE else "worse" if after > before else "better"
    was, now = names
    what = {"open": "not to open on demand", "leak": "to leak"}[mode]
    words = f"{now} against {was}: {100 * after:.2g} % {what} within {time:g} years against {100 * before:.2g} %"
    if verdict == "worse":
        words += f": less reliable; the same risk needs an overhaul every {same:.2g} years"
        if mode == "open" and new.kind == "pilot":
            words += f". How a pilot fails unseen: {table('failure_modes').row(mode='dangerous').text}"
    elif verdict == "better":
        words += f": more reliable; the same risk is reached after {same:.2g} years"
    else:
        words += ": alike"
    return Change(mode, before, after, ratio, same, verdict, words)
