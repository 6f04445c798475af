"""What happens to a valve over the years: failures, leakage, surveys, lifts, and the pressure it lets the plant run at."""

from __future__ import annotations

from dataclasses import replace

from quietseat import units
from quietseat.assess.checks.pressure import operating_limit
from quietseat.basis import Basis
from quietseat.economics.bill import yearly_carbon
from quietseat.economics.draws import Input
from quietseat.emissions import Part, fittings, footprint, route
from quietseat.formula import Money, One, PaG, formula, kg, kg_s, s
from quietseat.leakage import report
from quietseat.leakage.gather import lifts_a_year
from quietseat.lifecycle.lines import HISTORY_YEARS, State, spread_of_row
from quietseat.lifecycle.records import Line, flat
from quietseat.model import Assessment, Location, Spread, Valve
from quietseat.reliability import Life, Setting, learn_valve, setting, yearly_failures
from quietseat.reliability.observed import when
from quietseat.remedies.work import HOURS_A_YEAR, made_of
from quietseat.status import CalculationFailed

SECONDS = 3600.0
BESIDE = {"simmer": "simmering seat", "pilot-bleed": "bleeding pilot"}
CHATTER = ("chatters", "flutters", "cycles")
UPKEEP = ("upkeep", "spares", "bellows", "lapping", "failures")  # what a stated cost of the history is a cost of


@formula("definition")
def released_once(flow: kg_s, time: s) -> kg:
    """Mass released in one lift of a stated time."""
    return flow * time


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
        leaking, words = _life(state, at, "leak", chatters)
        opening, _ = _life(state, at, "open", chatters)
    except CalculationFailed as failed:
        for part in ("lapping", "failures", "failed-demands"):
            state.why_nothing[part] = f"not computed ({failed.reason})"
        return
    rate = _rate_range(state, "leak", chatters)
    scheduled = _a_year(state, state.lines)
    expected = yearly_failures(leaking, state.years, state.interval, seen=True)
    unplanned = _repairs(state, expected, rate)
    if state.standing and _as_before(state, scheduled, _a_year(state, unplanned)):
        state.lines += [line for line in unplanned if line.part not in UPKEEP]
    else:
        state.lines += unplanned
        state.notes.append(f"seats that begin to leak: {sum(expected):.2g} in {state.years} years, {words} ({leaking.confidence})")
    _not_opening(state, opening.hidden(state.interval), _rate_range(state, "open", chatters))


def _life(state: State, at: Setting, mode: str, chatters: bool) -> tuple[Life, str]:
    """The life of a mode: by table, and of the valve that stays by its own history where that has a result."""
    life = at.life(mode)
    learned = learn_valve(state.place, mode, state.basis, chatters=chatters) if state.standing else None
    if learned is None or not learned.looks:
        return life, at.words
    return replace(life, eta=learned.eta_at_mean()), f"{at.words}; {learned.words()}"


def _rate_range(state: State, mode: str, chatters: bool) -> Input:
    """Failures over those of the life used: 90 % interval of what the history leaves open, else the range of the table."""
    plain = state.range_of("failure-rate", "failures")
    learned = learn_valve(state.place, mode, state.basis, chatters=chatters) if state.standing else None
    if learned is None or not learned.looks:
        return plain
    mean = learned.mean_factor()
    spread = Spread(min(1.0, learned.factor(0.05) / mean), 1.0, max(1.0, learned.factor(0.95) / mean))
    return replace(plain, spread=spread, source="history, 90 % interval")


def _a_year(state: State, lines: list[Line]) -> float:
    """Money a year of lines, middle; what is paid now is not counted."""
    return sum(sum(line.weights[1:]) * line.amount() for line in lines if line.part in UPKEEP) / state.years


def _repairs(state: State, expected: list[float], rate: Input) -> list[Line]:
    """What a seat that begins to leak costs: removal, lapping, new parts, standstill, and what is lost until it is found."""
    before, state.lines = state.lines, []
    weights = state.listed(expected, float(state.remedy.valves))
    state.bought("lapping", "shop-test", weights, rate)
    state.worked("failures", "remove-refit", weights, rate)
    _standstill(state, weights, rate)
    _until_found(state, weights, rate)
    state.bought("spares", "nozzle-disc", weights, rate, state.range_of("nozzle-disc-share"))
    made, state.lines = state.lines, before
    return made


def _standstill(state: State, weights: tuple[float, ...], rate: Input) -> None:
    """An unplanned removal stops the plant for its hours, where an hour has a price."""
    row = state.maintenance("remove-refit")
    hours = Input(f"hours: {row['title']}", spread_of_row(row), "labour", "h")
    price = state.basis.outage_cost_per_hour
    state.add("failures", "outage hours of unplanned removal", tuple(weight * price for weight in weights), hours,
              state.range_of("outage-cost"), rate, source="outage_cost_per_hour of the Basis")  # fmt: skip


def _until_found(state: State, weights: tuple[float, ...], rate: Input) -> None:
    """Product and carbon of a seat that begins to leak, until somebody finds it."""
    basis, place, rates = state.basis, state.place, state.once_leaking
    if rates is None or route(place.outlet.discharge_to).returned:
        return
    value = basis.product_price + yearly_carbon(carbon_of(place, place.outlet.discharge_to, basis), basis.carbon_price)
    leak = Input("leak rate of a seat that has begun to leak", rates[0], "leak", "kg/s", rates[1])
    lost = tuple(weight * HOURS_A_YEAR * SECONDS * value for weight in weights)
    state.add("product", "leak of failed seats until found, product and carbon", lost, leak, state.range_of("time-to-find"), rate,
              source=rates[1])  # fmt: skip


def _as_before(state: State, scheduled: float, unplanned: float) -> bool:
    """Where the history tells of dearer repairs than schedule and Weibull lives explain, they go on as before."""
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
        return False
    cost = Input("repairs a year beyond the schedule", flat(beyond), "", state.basis.currency)
    state.add("failures", "repairs as in the history", state.yearly(1.0), cost, state.range_of("repair-rate", "failures"),
              source=f"history: {paid:.6g} in {years:.3g} years, less {scheduled:.4g} a year of the schedule")  # fmt: skip
    state.why_nothing["lapping"] = "counted in the repairs of the history"
    state.notes.append(f"repairs beyond the schedule go on as before: {paid:.6g} in {years:.3g} years (history)")
    return True


def years_of_record(place: Location) -> float:
    """Years the history covers: from its first to its last dated entry, five at least (what a register's columns cover)."""
    dated = [at for event in place.history.events if (at := when(event.date)) is not None]
    return max(HISTORY_YEARS, max(dated) - min(dated)) if dated else HISTORY_YEARS


def _demands(state: State) -> tuple[float, str]:
    """Relief events a year and where the number comes from."""
    seen = lifts_a_year(state.present.history.events)
    if seen > 0.0:
        return seen, f"{seen:.3g} lifts a year (history)"
    return state.basis.demands_per_year, "demands_per_year of the Basis"


def _not_opening(state: State, share: float, rate: Input) -> None:
    basis = state.basis
    if basis.failed_demand_cost == 0.0:
        state.why_nothing["failed-demands"] = "no price of a failed demand was stated (failed_demand_cost)"
        return
    demands, source = _demands(state)
    yearly = failed_demands(demands, share, basis.failed_demand_cost)
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


# -- leakage ---------------------------------------------------------------------------------------------------


def leaks(state: State) -> None:
    """Product and carbon of the leak, and the labour of surveys where the leak is fugitive."""
    basis, place, cost = state.basis, state.place, state.cost
    way = route(place.outlet.discharge_to)
    seat = cost.leak_rate
    if place.valve.kind == "pilot":
        tubes = fittings()
        rest = Spread(tubes.low, tubes.mid, tubes.high).times(float(state.remedy.valves))
        # sorted: a difference of equal sums can end a last digit apart
        seat = Spread(*sorted(max(0.0, getattr(seat, end) - getattr(rest, end)) for end in ("low", "mid", "high")))
        _lost(state, "pilot, tube and fittings", Input("leak rate of pilot, tube and fittings", rest, "leak", "kg/s"), None,
              f"{tubes.words} ({tubes.confidence})")  # fmt: skip
    _lost(state, "seat", Input("leak rate", seat, "leak", "kg/s"), place.outlet.discharge_to, cost.leak_basis)
    for one in _beside(state):
        if one.name in BESIDE:
            rate = Input(f"leak rate: {BESIDE[one.name]}", Spread(one.low, one.mid, one.high).times(state.remedy.valves), "leak", "kg/s")
            _lost(state, BESIDE[one.name], rate, place.outlet.discharge_to, f"{one.words} ({one.confidence})")
    if cost.leak_rate.high == 0.0:
        state.why_nothing["product"] = state.why_nothing["carbon"] = cost.leak_basis or "no leakage"
    elif basis.carbon_price == 0.0:
        state.why_nothing["carbon"] = "no price of carbon was stated (carbon_price)"
    if way.returned:
        state.why_nothing["product"] = way.words
    if not way.fugitive:
        state.why_nothing["survey"] = f"{way.words}: no survey"
        return
    points = state.range_of("survey-points-pilot" if place.valve.kind == "pilot" else "survey-points-spring")
    state.bought("survey", "survey-visit", state.yearly(float(state.remedy.valves)), state.range_of("survey-visits"), points)


def _beside(state: State) -> tuple[Part, ...]:
    """What gets out beside the shut seat, as `leak` counts it; a remedy's seat has just been made good, the lifts stay."""
    place = replace(state.place, history=state.present.history)
    return report(place, state.basis, mended=not state.standing, record=False).parts


def _lost(state: State, what: str, leak: Input, where: str | None, source: str) -> None:
    """Product and carbon of one leak that goes on all year. where: what it discharges to, None = the open."""
    basis, way = state.basis, route(where)
    lost = 0.0 if way.returned else HOURS_A_YEAR * SECONDS
    state.add("product", f"leak of the {what}: rate x hours x price", state.yearly(lost * basis.product_price), leak,
              state.range_of("product-price"), source=source)  # fmt: skip
    price = yearly_carbon(carbon_of(state.place, where, basis), basis.carbon_price)
    state.add("carbon", f"leak of the {what}: rate x hours x CO2 equivalent x price", state.yearly(HOURS_A_YEAR * SECONDS * price),
              leak, state.range_of("carbon-price"), source=f"{basis.gwp_set}; {way.words}")  # fmt: skip


def carbon_of(place: Location, where: str | None, basis: Basis) -> float:
    """Kilograms of CO2 equivalent of one kilogram lost. where: what it discharges to, None = the open."""
    made = made_of(place.cases)
    mark = footprint(1.0 / SECONDS, 1.0, basis.gwp_set, where, methane_fraction=made.methane, carbon_fraction=made.carbon,
                     co2_fraction=made.co2)  # fmt: skip
    return mark.co2e


# -- lifts -----------------------------------------------------------------------------------------------------


def lifts(state: State, found: Assessment | None) -> None:
    """Product and carbon of relief events: by the cycle model where the history tells of lifts, else a flow for a time.

    A snap action passes its full flow, a modulating pilot what is required.
    """
    basis, place = state.basis, state.place
    if route(place.outlet.discharge_to).returned:
        state.why_nothing["releases"] = "lifts go back into the process"
        return
    value = basis.product_price + yearly_carbon(carbon_of(place, place.outlet.discharge_to, basis), basis.carbon_price)
    cycled = next((one for one in _beside(state) if one.name == "lifts"), None)
    if cycled is not None:
        rate = Input("mean rate of lifts", Spread(cycled.low, cycled.mid, cycled.high), "", "kg/s")
        state.add("releases", "lifts, mean rate x year", state.yearly(HOURS_A_YEAR * SECONDS * value), rate, state.range_of("demands"),
                  source=f"{cycled.words} ({cycled.confidence})")  # fmt: skip
        return
    modulating = place.valve.kind == "pilot" and place.valve.pilot_action == "modulating"
    cases = found.cases if found is not None else ()
    flows = [one for case in cases if (one := case.required_flow if modulating else case.full_flow) is not None]
    if not flows:
        state.why_nothing["releases"] = "not computed (no case gives a flow): mass of a lift unknown"
        return
    demands, source = _demands(state)
    once = released_once(min(flows), 1.0)  # the smallest case is the one that comes most often
    what = "required" if modulating else "full"
    state.add("releases", f"lifts x {what} flow x time open", state.yearly(demands * once * value), state.range_of("demands"),
              state.range_of("lift-time"), source=f"{source}; {what} flow {min(flows):.4g} kg/s")  # fmt: skip


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
