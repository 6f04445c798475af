"""What a valve lets go over the years: a leak found and how long it goes on, what gets out beside the seat, lifts, charges."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import lru_cache
from math import ceil

from quietseat.economics.bill import yearly_carbon
from quietseat.economics.draws import Input
from quietseat.emissions import Split, charge_on, fittings, footprint, lift_of, repair_on, route
from quietseat.formula import One, formula, kg, kg_s, s
from quietseat.leakage import Beside, beside
from quietseat.leakage.gather import lifts_a_year
from quietseat.leakage.report import NOBODY_FOUND, yearly_charge
from quietseat.lifecycle.lines import State
from quietseat.model import Assessment, Chatter, Location, Spread
from quietseat.remedies.work import HOURS_A_YEAR, made_of

DAYS_A_YEAR = 365.25
YEAR = HOURS_A_YEAR * 3600.0  # s
LEAK = "leak rate"  # of the seat as it is: the input whose break-even is asked for
BESIDE = {"simmer": "simmering seat", "pilot-bleed": "bleeding pilot"}
TONNE = 1000.0  # kg


@formula("definition")
def released_once(flow: kg_s, time: s) -> kg:
    """Mass released in one lift of a stated time."""
    return flow * time


@formula("definition")
def share_of_year(end: One, year: One) -> One:
    """Share of a year (1 = the first) during which something goes on that ends so many years from now."""
    return max(0, min(1, end - year + 1))


# -- what a mass costs -----------------------------------------------------------------------------------------


@lru_cache(maxsize=256)
def _per_kg(made: Split, where: str | None, gwp_set: str) -> tuple[float, float]:
    """CO2 equivalent, and methane that reaches the air, of one kilogram lost. where: what it discharges to, None = the open."""
    mark = footprint(1.0 / 3600.0, 1.0, gwp_set, where, methane_fraction=made.methane, carbon_fraction=made.carbon, co2_fraction=made.co2)
    return mark.co2e, mark.methane


def let_go(
    state: State, what: str, seconds: tuple[float, ...], where: str | None, source: str, *inputs: Input, part: str = "",
    ranged: bool = True,
) -> None:  # fmt: skip
    """Product, carbon and methane charge of what gets out: seconds (or times) of each year x rate (or mass) of the inputs.

    where: what it discharges to, None = the open. part: where product and carbon are both put, "" = each in its own.
    ranged: with the ranges of the prices.
    """
    basis, way, made = state.basis, route(where), made_of(state.place.cases)
    priced = "utility_price" if made.utility else "product_price"
    product, carbon = ((state.range_of(name),) if ranged else () for name in ("product-price", "carbon-price"))
    if not way.returned:
        state.add(part or "product", f"{what}: product", seconds, *inputs, *product, state.stated(priced), source=source)
    co2e, methane = _per_kg(made, where, basis.gwp_set)
    tonnes = yearly_carbon(co2e=co2e, value=1.0)
    state.add(part or "carbon", f"{what}: CO2 equivalent", tuple(tonnes * time for time in seconds), *inputs, *carbon,
              state.stated("carbon_price"), source=f"{basis.gwp_set}; {way.words}")  # fmt: skip
    if basis.rule_pack != "none" and route(state.place.outlet.discharge_to).fugitive:
        due = [charge_on(basis.rule_pack, _day(state, year)) for year in range(state.years + 1)]
        charges = tuple(
            yearly_charge(methane=methane * time, tonne=TONNE, charge=charge) for time, (charge, _) in zip(seconds, due, strict=True)
        )
        said = "; ".join(dict.fromkeys(words for _, words in due[1:] if words))
        state.add("carbon", f"{what}: methane charge", charges, *inputs, source=said)


def _day(state: State, year: int) -> date:
    """The day whose rules hold in a year of the account: its last one, year 0 being the cost year of the Basis."""
    return date(state.basis.cost_year + year, 12, 31)


# -- the leak of the seat --------------------------------------------------------------------------------------


def found_leak(state: State) -> None:
    """How long a leak that was found and is left goes on: until what mends it, as the account pays for it.

    A rule pack that is switched on and asks for its repair: its days, and the repair is paid for. Else the next service
    inside the horizon, which laps and tests the seat. Else the whole horizon.
    """
    if not state.leaking:
        return
    rule, due = _rule(state), max(ceil(state.interval - 1e-9), 1)
    if rule is not None:
        state.leaks_until, state.repaired = rule[0] / DAYS_A_YEAR, True
        state.until_words = f"for the {rule[0]:g} days of {rule[1]}, and that repair is paid for"
    elif due <= state.years:
        state.leaks_until = float(due)
        state.until_words = f"until the service of year {due} laps and tests the seat (interval of the Basis)"
    else:
        state.until_words = "for the whole horizon: no service falls due in it"


def _rule(state: State) -> tuple[float, str] | None:
    if not route(state.place.outlet.discharge_to).fugitive:
        return None
    readings = [event.value for event in state.present.history.events if event.event == "leak" and event.value is not None]
    return repair_on(state.basis.rule_pack, _day(state, 0), max(readings, default=None), state.cost.leak_rate.mid / state.remedy.valves)


def leaks(state: State) -> None:
    """Product and carbon of the leak, and the labour of surveys where the leak is fugitive."""
    basis, place, cost = state.basis, state.place, state.cost
    where, way = place.outlet.discharge_to, route(place.outlet.discharge_to)
    seat, valves = cost.leak_rate, float(state.remedy.valves)
    if place.valve.kind == "pilot":
        tubes = fittings()
        rest = Spread(tubes.low, tubes.mid, tubes.high).times(valves)
        # sorted: a difference of equal sums can end a last digit apart
        seat = Spread(*sorted(max(0.0, getattr(seat, end) - getattr(rest, end)) for end in ("low", "mid", "high")))
        let_go(state, "leak of the pilot, tube and fittings", state.yearly(YEAR), None, f"{tubes.words} ({tubes.confidence})",
               Input("leak rate of pilot, tube and fittings", rest, "leak", "kg/s"))  # fmt: skip
    shares = [share_of_year(end=state.leaks_until, year=float(year)) for year in range(1, state.years + 1)]
    let_go(state, "leak of the seat", state.listed(shares, YEAR), where, cost.leak_basis, Input(LEAK, seat, "leak", "kg/s"))
    if state.tight is not None and state.leaks_until < state.years:
        rate, words = state.tight
        let_go(state, "leak of the seat once mended", state.listed([1.0 - share for share in shares], YEAR), where, words,
               Input("leak rate of the mended seat", rate.times(valves), "leak", "kg/s"))  # fmt: skip
    for one in state.beside.parts:
        if one.name in BESIDE:
            rate = Spread(one.low, one.mid, one.high).times(valves)
            let_go(state, f"leak of the {BESIDE[one.name]}", state.yearly(YEAR), where, f"{one.words} ({one.confidence})",
                   Input(f"leak rate: {BESIDE[one.name]}", rate, "leak", "kg/s"))  # fmt: skip
    if state.leaking:
        state.notes.append(f"the leak found goes on {state.until_words}; then the seat leaks what its test allows until it fails again")
    if state.unknown:
        state.notes.append(NOBODY_FOUND)
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
    state.bought("survey", "survey-visit", state.yearly(valves), state.range_of("survey-visits"), points)


def until_found(state: State, weights: tuple[float, ...], rate: Input) -> None:
    """Product and carbon of a seat that begins to leak, until somebody finds it. weights: such seats in each year."""
    where = state.place.outlet.discharge_to
    if route(where).returned:
        return
    spread, words = state.once_leaking
    let_go(state, "leak of failed seats until found", tuple(weight * YEAR for weight in weights), where, words,
           Input("leak rate of a seat that has begun to leak", spread, "leak", "kg/s", words), state.range_of("time-to-find"), rate,
           ranged=False)  # fmt: skip


# -- lifts -----------------------------------------------------------------------------------------------------


def beside_seat(state: State, chatter: Chatter | None) -> Beside:
    """What gets out beside the shut seat, as `leak` counts it; a remedy's seat has just been made good, the lifts stay."""
    return beside(_with_history(state.place, state.present), state.basis, chatter=chatter, mended=not state.standing)


def _with_history(place: Location, present: Location) -> Location:
    return place if place.history is present.history else replace(place, history=present.history)


def simulated_over_model(held: Beside) -> float | None:
    """Mass of a lift of a valve by simulation over that of the cycle model; None where it was not marched in time."""
    if held.lift is None or held.happened is None or held.lift.by != "simulation":
        return None
    model = lift_of(replace(held.happened, simulated=None))
    return held.lift.mid / model.mid if model.mid > 0.0 else None


def lifts(state: State, found: Assessment | None, scale: float | None) -> None:
    """Product and carbon of relief events: the mass of a lift where the history tells of lifts, else a flow for a time.

    A snap action passes its full flow, a modulating pilot what is required. scale: simulation over cycle model of the
    present valve; a remedy that was not marched with traces takes it too, so that it is not credited with a change of method.
    """
    place = state.place
    if route(place.outlet.discharge_to).returned:
        state.why_nothing["releases"] = "lifts go back into the process"
        return
    where = place.outlet.discharge_to
    cycled = next((one for one in state.beside.parts if one.name == "lifts"), None)
    if cycled is not None:
        spread, words = Spread(cycled.low, cycled.mid, cycled.high), cycled.words
        if scale is not None and state.beside.lift is not None and state.beside.lift.by != "simulation":
            spread = spread.times(scale)
            words += f"; times {scale:.3g}, what the simulation of the present valve gives over the cycle model"
        let_go(state, "lifts", state.yearly(YEAR), where, f"{words} ({cycled.confidence})", Input("mean rate of lifts", spread, "", "kg/s"),
               state.range_of("demands"), part="releases", ranged=False)  # fmt: skip
        return
    modulating = place.valve.kind == "pilot" and place.valve.pilot_action == "modulating"
    cases = found.cases if found is not None else ()
    flows = [one for case in cases if (one := case.required_flow if modulating else case.full_flow) is not None]
    if not flows:
        state.why_nothing["releases"] = "not computed (no case gives a flow): mass of a lift unknown"
        return
    events, source = demands(state)
    once = released_once(min(flows), 1.0)  # the smallest case is the one that comes most often
    what = "required" if modulating else "full"
    let_go(state, f"relief events at {what} flow", state.yearly(events * once), where, f"{source}; {what} flow {min(flows):.4g} kg/s",
           state.range_of("demands"), state.range_of("lift-time"), part="releases", ranged=False)  # fmt: skip


def demands(state: State) -> tuple[float, str]:
    """Relief events a year and where the number comes from."""
    seen = lifts_a_year(state.present.history.events)
    if seen > 0.0:
        return seen, f"{seen:.3g} lifts a year (history)"
    return state.basis.demands_per_year, "demands_per_year of the Basis"


