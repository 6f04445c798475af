"""What happens to a valve over the years: failures and repairs, and the pressure it lets the plant run at."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from quietseat import units
from quietseat.assess.checks.pressure import operating_limit
from quietseat.basis import Basis
from quietseat.economics.draws import Input
from quietseat.formula import Money, One, PaG, formula
from quietseat.lifecycle.leaking import demands, until_found
from quietseat.lifecycle.lines import HISTORY_YEARS, State, spread_of_row
from quietseat.lifecycle.records import Line, flat
from quietseat.model import Assessment, Location, Spread, Valve
from quietseat.reliability import Life, Setting, learn_valve, setting, yearly_failures
from quietseat.reliability.observed import when
from quietseat.status import CalculationFailed

CHATTER = ("chatters", "flutters", "cycles")
UPKEEP = ("upkeep", "spares", "bellows", "lapping", "failures")  # what a stated cost of the history is a cost of


@formula("definition")
def share_of_set(change: PaG, set_gauge: PaG) -> One:
    """A change of operating pressure in per cent of set."""
    return 100 * change / set_gauge


@formula("definition")
def failed_demands(demands: One, share: One, cost: Money) -> Money:
    """Yearly cost of demands on which the valve does not open."""
    return demands * share * cost


# -- failures --------------------------------------------------------------------------------------------------


def fails(state: State, found: Assessment | None) -> None:
    """Seats that begin to leak between services, repairs the history tells of, demands on which the valve does not open."""
    chatters = found is not None and found.stability.verdict in CHATTER
    try:
        at = setting(state.place, state.basis, chatters=chatters)
        leaking, opening = (_aging(state, at, mode, chatters) for mode in ("leak", "open"))
    except CalculationFailed as failed:
        for part in ("lapping", "failures", "failed-demands"):
            state.why_nothing[part] = f"not computed ({failed.reason})"
        return
    scheduled = _a_year(state, state.lines)
    new = yearly_failures(leaking.life, state.years, state.interval, seen=True)
    beyond = _as_before(state, scheduled, _a_year(state, _repairs(state, new, leaking.rate))) if state.standing else 0.0
    if beyond:
        _mended_sooner(state, beyond)
    expected = _after_mending(state, new)
    unplanned = _repairs(state, expected, leaking.rate)
    if beyond:
        state.lines += [line for line in unplanned if line.part not in UPKEEP]
    else:
        state.lines += unplanned
        number, words, mark = sum(expected), leaking.words, leaking.life.confidence
        state.notes.append(f"seats that begin to leak: {number:.2g} in {state.years} years, {words} ({mark})")
    if state.repaired:
        _mend(state, state.listed([1.0] + [0.0] * (state.years - 1), float(state.remedy.valves)))
    _not_opening(state, opening.life.hidden(state.interval), opening.rate)


class _Aging(NamedTuple):
    """How one mode of failure comes: the life, the range of its failures, and the words."""

    life: Life
    rate: Input
    words: str


def _aging(state: State, at: Setting, mode: str, chatters: bool) -> _Aging:
    """By table; of the valve that stays by its own history where that has a result: 90 % interval of what it leaves open."""
    life, plain = at.life(mode), state.range_of("failure-rate", "failures")
    learned = learn_valve(state.place, mode, state.basis, chatters=chatters) if state.standing else None
    if learned is None or not learned.looks:
        return _Aging(life, plain, at.words)
    mean = learned.mean_factor()
    spread = Spread(min(1.0, learned.factor(0.05) / mean), 1.0, max(1.0, learned.factor(0.95) / mean))
    rate = replace(plain, spread=spread, source="history, 90 % interval")
    return _Aging(replace(life, eta=learned.eta_at_mean()), rate, f"{at.words}; {learned.words()}")


def _mended_sooner(state: State, beyond: float) -> None:
    """Repairs that go on as in the history mend the leak that was found: the first one comes when its price has been paid."""
    if not state.leaking or state.repaired:
        return
    before, state.lines = state.lines, []
    _mend(state, state.listed([1.0] + [0.0] * (state.years - 1), float(state.remedy.valves)))
    once, state.lines = _a_year(state, state.lines) * state.years, before
    if once / beyond < state.leaks_until:
        state.leaks_until = once / beyond
        state.until_words = f"for {state.leaks_until:.2g} years, until the next of the repairs that go on as in the history"


def _after_mending(state: State, new: list[float]) -> list[float]:
    """Seats that begin to leak in each year: none while the seat leaks already, then as of a seat that is new."""
    begun = 0 if state.repaired or not state.leaking else round(state.leaks_until)
    return ([0.0] * begun + new)[: state.years]


def _a_year(state: State, lines: list[Line]) -> float:
    """Money a year of lines, middle; what is paid now is not counted."""
    return sum(sum(line.weights[1:]) * line.amount() for line in lines if line.part in UPKEEP) / state.years


def _repairs(state: State, expected: list[float], rate: Input) -> list[Line]:
    """What a seat that begins to leak costs: its repair, and what is lost until it is found."""
    before, state.lines = state.lines, []
    weights = state.listed(expected, float(state.remedy.valves))
    _mend(state, weights, rate)
    until_found(state, weights, rate)
    made, state.lines = state.lines, before
    return made


def _mend(state: State, weights: tuple[float, ...], *rate: Input) -> None:
    """Unplanned repair of a seat: lapping, removal, new parts, and the standstill where an hour of it has a price."""
    state.bought("lapping", "shop-test", weights, *rate)
    state.worked("failures", "remove-refit", weights, *rate)
    row, price = state.maintenance("remove-refit"), state.basis.outage_cost_per_hour
    hours = Input(f"hours: {row['title']}", spread_of_row(row), "labour", "h")
    state.add("failures", "outage hours of unplanned removal", tuple(weight * price for weight in weights), hours,
              state.range_of("outage-cost"), *rate, source="outage_cost_per_hour of the Basis")  # fmt: skip
    state.bought("spares", "nozzle-disc", weights, *rate, state.range_of("nozzle-disc-share"))


def _as_before(state: State, scheduled: float, unplanned: float) -> float:
    """Where the history tells of dearer repairs than schedule and Weibull lives explain, they go on as before.

    Returns what they cost a year beyond the schedule; 0 where they do not.
    """
    events = state.place.history.events
    paid = sum(event.cost for event in events if event.cost is not None)
    renewed = sum(1.0 if event.value is None else event.value for event in events if event.event == "bellows")
    years = years_of_record(state.place)
    if not paid and renewed and state.place.valve.kind == "bellows":
        planned = 1.0 / (state.interval * max(state.basis.bellows_life_intervals, 1.0))
        more = max(renewed / years - planned, 0.0)
        again = state.range_of("repair-rate", "failures")
        state.bought("bellows", "bellows", state.yearly(more), again)
        state.worked("bellows", "remove-refit", state.yearly(more), again)
        state.notes.append(f"bellows renewed as before: {renewed:g} in {years:.3g} years (history), {more:.2g} a year beyond the schedule")
    beyond = paid / years - scheduled
    if beyond <= unplanned:
        if paid:
            state.notes.append(f"history: {paid:.6g} in {years:.3g} years, no more than schedule and Weibull lives explain: those are used")
        return 0.0
    cost = Input("repairs a year beyond the schedule", flat(beyond), "", state.basis.currency)
    state.add("failures", "repairs as in the history", state.yearly(1.0), cost, state.range_of("repair-rate", "failures"),
              source=f"history: {paid:.6g} in {years:.3g} years, less {scheduled:.4g} a year of the schedule")  # fmt: skip
    state.why_nothing["lapping"] = "counted in the repairs of the history"
    state.notes.append(f"repairs beyond the schedule go on as before: {paid:.6g} in {years:.3g} years (history)")
    return beyond


def years_of_record(place: Location) -> float:
    """Years the history covers: from its first to its last dated entry, five at least (what a register's columns cover)."""
    dated = [at for event in place.history.events if (at := when(event.date)) is not None]
    return max(HISTORY_YEARS, max(dated) - min(dated)) if dated else HISTORY_YEARS


def _not_opening(state: State, share: float, rate: Input) -> None:
    basis = state.basis
    if basis.failed_demand_cost == 0.0:
        state.why_nothing["failed-demands"] = "no price of a failed demand was stated (failed_demand_cost)"
        return
    events, source = demands(state)
    yearly = failed_demands(events, share, basis.failed_demand_cost)
    state.add("failed-demands", "demands x share of time failed unseen x cost", state.yearly(yearly),
              state.range_of("demands"), rate, state.range_of("failed-demand-cost"),
              source=f"{source}; {share:.3g} of demands not opened (API RP 581 lives)")  # fmt: skip


def uncured(state: State, stops: int) -> None:
    """Stated yearly cost of each finding of severity stop that stays."""
    price = state.basis.misfit_cost
    if price == 0.0 or stops == 0:
        state.why_nothing["uncured"] = "no finding of severity stop stays" if stops == 0 else "no price was stated (misfit_cost)"
        return
    state.add("uncured", f"{stops} findings left", state.yearly(stops * price), state.range_of("uncured-cost"),
              source="misfit_cost of the Basis")  # fmt: skip


# -- operating pressure ----------------------------------------------------------------------------------------


def most_operating(valve: Valve, basis: Basis) -> float | None:
    """Highest operating pressure a valve allows, gauge Pa: limit of seat and kind, its simmer, its reseating; None: set unknown."""
    if valve.set_pressure is None:
        return None
    set_gauge = basis.gauge(valve.set_pressure)
    limit, _ = operating_limit(valve, set_gauge, basis)
    simmer = "simmer_pilot" if valve.kind == "pilot" else "simmer_soft" if valve.seat == "soft" else "simmer_metal"
    reseat = 1.0 - valve.blowdown if valve.blowdown is not None else 1.0
    return float(set_gauge * min(limit, getattr(basis, simmer), reseat))


def operates(state: State) -> None:
    """What the plant earns or loses by the operating pressure the remedy allows, against the present one.

    A gain counts only where the Basis says that the relief valve is what keeps the pressure down; a loss always.
    """
    basis, part = state.basis, "operating"
    change, words = operating_change(state)
    if state.standing:
        state.why_nothing[part] = "the valve stays as it is"
    elif change is None or change == 0.0:
        state.why_nothing[part] = words
    elif change > 0.0 and basis.operating_constraint != "relief valve":
        state.why_nothing[part] = f"{words}; not counted: nobody said that the relief valve is the constraint (operating_constraint)"
    elif basis.operating_value == 0.0:
        state.why_nothing[part] = f"{words}; no value of operating range was stated (operating_value)"
    else:
        set_gauge = basis.gauge(state.present.valve.set_pressure or 0.0)
        yearly = share_of_set(change, set_gauge) * basis.operating_value
        state.add(part, words, state.yearly(-yearly), state.range_of("operating-value"), source="operating_value of the Basis")


def operating_change(state: State) -> tuple[float | None, str]:
    """Change of the operating pressure against the present one, Pa, and the words for it; None: not known."""
    basis, now, then = state.basis, state.present, state.place
    allowed_now, allowed_then = most_operating(now.valve, basis), most_operating(then.valve, basis)
    if allowed_now is None or allowed_then is None:
        return None, "set pressure unknown"
    before, after = now.vessel.operating_pressure, then.vessel.operating_pressure
    if before is not None and after is not None and after < before:
        return after - before, f"operating pressure falls by {_bar(before - after)}"
    level = allowed_now if before is None else max(allowed_now, basis.gauge(before))
    change = max(0.0, allowed_then - level)
    if change == 0.0:
        return 0.0, "the remedy allows no higher operating pressure"
    return change, f"operating pressure may rise by {_bar(change)}: up to the limit of the seat, its simmer and reseating"


def _bar(difference: float) -> str:
    return f"{units.to(difference, 'bar'):.3g} bar"
