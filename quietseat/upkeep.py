"""What a study says of a valve's reliability: its lives, what its history did to them, its interval, and other kinds beside it.

Everything is reckoned as in the money of the valve: by table and modifiers, at the mean of what the valve's own history leaves
open; a valve that replaces it has no history yet, so that it has the table alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from quietseat import plain
from quietseat.assess import complete
from quietseat.basis import Basis
from quietseat.lifecycle import Pricing
from quietseat.lifecycle.happenings import CHATTER
from quietseat.lifecycle.leaking import demands, until_found
from quietseat.lifecycle.lines import State, kept_up
from quietseat.model import Assessment, History, Location, Remedy
from quietseat.reliability import (
    MODES,
    Advice,
    Change,
    Costs,
    Learned,
    Life,
    Setting,
    advise,
    compare,
    learn_valve,
    setting,
)
from quietseat.reliability.intervals import INTERVALS
from quietseat.reliability.observed import stated_interval
from quietseat.status import CalculationFailed, Status
from quietseat.tables import weakest
from quietseat.worklog import Worklog

CLEARING = ("yes", "subject-to-proof")
AS_IT_IS = ("keep", "measure-first")  # remedies that change nothing
NO_DEMAND_PRICE = "no price of a failed demand was stated (failed_demand_cost): overhauls alone would always make the longest interval the cheapest"
TABLE_ONLY = "by the table alone: a valve that replaces this one has no history yet"


@dataclass(frozen=True, slots=True)
class Present:
    """The valve as it stands. lives: by mode, at the mean after its history; learned: what the history left open."""

    place: Location
    at: Setting
    lives: Mapping[str, Life]
    learned: Mapping[str, Learned]


@dataclass(slots=True)
class _Kind:
    """One kind of valve in its setting, and the remedies that lead to it."""

    at: Setting
    remedies: list[Remedy]
    name: str = ""


def reliability_of(
    location: Location, found: Assessment, remedies: Sequence[Remedy], basis: Basis, recommended: str | None = None,
    orders: Worklog | None = None,
) -> dict[str, Any]:  # fmt: skip
    """The reliability of one valve as plain data; times in years, probabilities as fractions, costs in the Basis's currency.

    location as read; found, remedies: its assessment and what was proposed; recommended: name of the recommended remedy; orders:
    work orders of the whole register, as the money takes them. Never raises for data: `status` and `reason` say why nothing
    could be worked out. Raises InputUnusable where the Basis's folder of prices cannot be used.
    """
    try:
        present = present_of(location, found, basis)
        interval = max(round(stated_interval(present.place, basis), 2), 0.01)  # dates are no better than that
        advice, costs, why = _advice(present, location, found, remedies, basis, orders)
        kinds = _kinds(present, remedies, basis, recommended)
        out: dict[str, Any] = {
            "status": str(Status.OK), "reason": "", "kind": present.at.kind, "severity": present.at.severity, "why": present.at.words,
            "modifiers": list(present.at.modifiers), "interval_years": interval,
            "interval_from": "register" if _stated(present.place, basis) else "Basis",
            "money_interval_years": _basis_interval(present.place, basis),
            "modes": [_mode(present, mode, interval, basis) for mode in MODES], "advice": _advised(advice, costs, why, basis),
            "compared": [_compared(present, kind, interval, recommended) for kind in kinds],
        }  # fmt: skip
    except CalculationFailed as failed:
        return {"status": str(failed.status), "reason": failed.reason}
    changes = (change for kind in out["compared"] for change in kind["changes"])
    out["less_reliable"] = [one["words"] for one in changes if one["verdict"] == "worse" and not one["same_by_table"]]
    cleaned: dict[str, Any] = plain.clean(out)
    return cleaned


def present_of(location: Location, found: Assessment, basis: Basis) -> Present:
    """The lives of a valve as it stands. Raises CalculationFailed where its kind is not known."""
    place, _ = complete(location, basis)
    chatters = found.stability.verdict in CHATTER
    at = setting(place, basis, chatters=chatters)
    learned = {mode: learn_valve(place, mode, basis, chatters=chatters) for mode in MODES}
    return Present(
        place, at, {mode: replace(at.life(mode), eta=learned[mode].eta_at_mean()) for mode in MODES}, learned
    )


def _basis_interval(place: Location, basis: Basis) -> float:
    """The interval of the Basis for the kind of a valve, at which its money is reckoned."""
    return stated_interval(replace(place, history=History()), basis)


def _stated(place: Location, basis: Basis) -> bool:
    """Whether the register states the interval: then another one in the Basis changes nothing."""
    other = {
        "interval_spring_years": basis.interval_spring_years + 1.0,
        "interval_pilot_years": basis.interval_pilot_years + 1.0,
    }
    return stated_interval(place, basis.model_copy(update=other)) == stated_interval(place, basis)


def _mode(present: Present, mode: str, interval: float, basis: Basis) -> dict[str, Any]:
    """One failure mode: the table, what the history did to it, and the probabilities at the interval."""
    table, life, learned = present.at.life(mode), present.lives[mode], present.learned[mode]
    low, high = learned.eta_interval()
    least, most = learned.within_interval(interval)
    return {
        "mode": mode, "beta": table.beta, "eta_by_table_years": learned.eta_table, "modifier": table.modifier, "modifiers": list(table.named),
        "eta_before_years": table.eta, "eta_years": life.eta, "eta_low_years": low, "eta_high_years": high,
        "probability_before": table.within(interval), "probability": life.within(interval), "probability_low": least,
        "probability_high": most, "share_failed": life.hidden(interval),
        "share_failed_in_money": life.hidden(_basis_interval(present.place, basis)),
        "factor": learned.mean_factor(), "factor_low": learned.factor(0.05), "factor_high": learned.factor(0.95),
        "weight": learned.weight, "looks": len(learned.looks), "failures": learned.failures, "expected": learned.expected,
        "assumed": learned.assumed, "silent": learned.silent, "confidence": weakest([table.confidence, learned.confidence]),
        "words": learned.words(),
    }  # fmt: skip


# -- interval --------------------------------------------------------------------------------------------------


def _advice(
    present: Present,
    location: Location,
    found: Assessment,
    remedies: Sequence[Remedy],
    basis: Basis,
    orders: Worklog | None,
) -> tuple[Advice, Costs | None, str]:
    """The advice, what it was reckoned with, and why there is no cheapest interval."""
    costs, why = None, NO_DEMAND_PRICE
    if basis.failed_demand_cost > 0.0:
        try:
            costs, why = costs_of(Pricing(location, found, remedies, basis, orders).state("keep")), ""
        except CalculationFailed as failed:
            why = failed.reason
    return advise(present.lives["open"], present.lives["leak"], basis.open_target, costs), costs, why


def costs_of(state: State) -> Costs:
    """What the interval of a valve as it is trades, by the tables of its money, each at its middle.

    state: keeping the valve. overhaul: one service with its share of bellows; a seat that leaks: one more service and what gets
    out until it is found. Raises CalculationFailed where no service falls due inside the horizon.
    """
    fresh = replace(state, lines=[], why_nothing={}, notes=[])
    kept_up(fresh)
    if not fresh.lines:
        raise CalculationFailed(
            Status.NOT_COMPUTED, "no service falls due inside the horizon, so that the money does not price one"
        )
    seldom = max(state.basis.bellows_life_intervals, 1.0)
    overhaul = sum(
        max(line.weights) * line.amount() / (seldom if line.part == "bellows" else 1.0) for line in fresh.lines
    )
    fresh.lines = []
    until_found(fresh, fresh.listed([1.0] + [0.0] * (state.years - 1), 1.0), state.range_of("failure-rate", "failures"))
    lost = sum(sum(line.weights) * line.amount() for line in fresh.lines)
    return Costs(overhaul, state.basis.failed_demand_cost, demands(state)[0], overhaul + lost)


def _advised(advice: Advice, costs: Costs | None, why: str, basis: Basis) -> dict[str, Any]:
    best = advice.cheapest
    return {
        "target": advice.target, "keeps_years": advice.keeps,
        "curve": [
            {"interval_years": one.interval, "open": one.open_end, "open_mean": one.open_mean, "leak": one.leak_end,
             "leak_mean": one.leak_mean, "cost_a_year": one.cost}
            for one in advice.curve
        ],
        "cheapest": None if best is None else {
            "interval_years": best.interval, "open": best.open_end, "leak": best.leak_end, "cost_a_year": best.cost, "edge": advice.edge,
        },
        "why_no_cheapest": why, "costs": asdict(costs) if costs else None, "currency": basis.currency,
        "confidence": advice.confidence, "words": list(advice.words),
    }  # fmt: skip


# -- kinds compared --------------------------------------------------------------------------------------------


def _kinds(present: Present, remedies: Iterable[Remedy], basis: Basis, recommended: str | None) -> list[_Kind]:
    """The kinds of the remedies that clear, the recommended one first, and a pilot in any case."""
    found: dict[tuple[Any, ...], _Kind] = {}
    for remedy in remedies:
        if remedy.clears not in CLEARING or remedy.cost is None or remedy.name in AS_IT_IS:
            continue
        verdict = remedy.assessment.stability.verdict if remedy.assessment is not None else ""
        try:
            at = setting(remedy.location, basis, chatters=verdict in CHATTER)
        except CalculationFailed:
            continue
        lives = tuple((life.eta, life.beta) for life in map(at.life, MODES))
        found.setdefault((at.kind, at.severity, lives), _Kind(at, [])).remedies.append(remedy)
    kinds = sorted(found.values(), key=lambda kind: all(one.name != recommended for one in kind.remedies))
    if not any(kind.at.kind == "pilot" for kind in kinds) and present.at.kind != "pilot":
        valve = replace(present.place.valve, kind="pilot")
        kinds.append(
            _Kind(setting(replace(present.place, valve=valve), basis, chatters="chatter" in present.at.modifiers), [])
        )
    names = [_name(kind, recommended) for kind in kinds]
    for kind, name in zip(kinds, names, strict=True):
        kind.name = name if names.count(name) == 1 else f"{name}, such as: {kind.remedies[0].title}"
    return kinds


def _name(kind: _Kind, recommended: str | None) -> str:
    noun = "a pilot" if kind.at.kind == "pilot" else f"a {kind.at.kind} valve"
    if not kind.remedies:
        return f"{noun} in its place, nothing else changed"
    if any(one.name == recommended for one in kind.remedies):
        return f"the recommended remedy ({noun})"
    return f"{noun} of the other remedies that clear"


def _compared(present: Present, kind: _Kind, interval: float, recommended: str | None) -> dict[str, Any]:
    """One kind against the present valve, both at the interval the valve has now."""
    lives = {mode: kind.at.life(mode) for mode in MODES}
    changes = compare(present.lives, lives, interval, names=(f"the present {present.at.kind} valve", kind.name))
    before, after = set(present.at.modifiers), set(kind.at.modifiers)
    return {
        "kind": kind.at.kind, "name": kind.name, "severity": kind.at.severity, "why": kind.at.words,
        "recommended": any(one.name == recommended for one in kind.remedies),
        "remedies": [one.name for one in kind.remedies], "cured": sorted(before - after), "added": sorted(after - before),
        "eta_open_years": lives["open"].eta, "eta_leak_years": lives["leak"].eta,
        "confidence": weakest([life.confidence for life in lives.values()]), "rests_on": TABLE_ONLY,
        "changes": [_change(one, lives[one.mode], present.at.life(one.mode)) for one in changes],
        "curve": {mode: [life.within(years) for years in INTERVALS] for mode, life in lives.items()},  # at the intervals of the advice
    }  # fmt: skip


def _change(one: Change, new: Life, table: Life) -> dict[str, Any]:
    """A change as plain data. same_by_table: only the history of the present valve makes a difference, no kind and no service."""
    return {
        "mode": one.mode, "present": one.old, "new": one.new, "ratio": one.ratio, "same_risk_years": one.same_risk, "verdict": one.verdict,
        "same_by_table": (new.eta, new.beta) == (table.eta, table.beta), "words": one.words,
    }  # fmt: skip
