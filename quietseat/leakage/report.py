"""One valve's leakage: every basis, the one that applies, and what it comes to in product, carbon and charges."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple

from quietseat.basis import Basis
from quietseat.emissions import (
    Leak,
    LeakFacts,
    LiftMass,
    Lifts,
    Part,
    Split,
    bleed,
    choose,
    credit,
    fittings,
    footprint,
    judge,
    leak_rate,
    lift_of,
    lifts,
    route,
    side_by_side,
    simmer,
)  # fmt: skip
from quietseat.formula import Money, One, Sheet, formula, kg
from quietseat.leakage.gather import Known, facts_of, history, lifts_of
from quietseat.leakage.records import ZERO, LeakReport, Since
from quietseat.model import Chatter, Location, Spread
from quietseat.status import CalculationFailed, Status

HOURS_A_YEAR = 8760.0
_HELD = ("measured", "screening")  # a reading or rate taken in operation holds what simmers and bleeds
NOBODY_FOUND = (
    "nothing is known of a leak: the population factor applies to what the valve leaks; the money of remedies counts the leak that "
    "API 527 allows, before and after, so that no remedy is credited with a leak nobody found"
)
_OPEN = "atmosphere"  # tube and fittings stand in the open, wherever the valve discharges


@formula("definition; counts only above the threshold of the facility")
def yearly_charge(methane: kg, tonne: kg, charge: Money) -> Money:
    """Charge on the methane of a year."""
    return methane / tonne * charge


@formula("definition")
def hours_between(days: One) -> One:
    """Hours in a number of days."""
    return 24 * days


def report(
    location: Location, basis: Basis, *, today: date | None = None, chatter: Chatter | None = None, mended: bool = False,
    record: bool = True,
) -> LeakReport:  # fmt: skip
    """What one valve leaks, on every basis side by side.

    today: the day the dates of the history are held against (default: the calendar). chatter: of this valve marched in
    time, with its traces: then the mass of a lift is that of the simulation. mended: the seat has just been made good, so
    only its allowance is left (pilots keep their fittings). record: keep the steps. Never raises for data: status and
    reason say how it ended.
    """
    day = today or date.today()
    sheet = Sheet(record)
    known = history(location, basis, day)
    facts, split = facts_of(location, basis, known, mended)
    leaks = side_by_side(facts, sheet, basis.leak_basis)
    chosen = next((leak for leak in leaks if leak.applies), None)
    found = LeakReport(
        Status.OK, "", route(facts.discharge_to, split is None or split.carbon > 0), facts.discharge_to or _OPEN, facts, leaks, chosen, split
    )
    reason = _missing(chosen, split)
    if reason:
        found = replace(found, status=Status.NOT_COMPUTED, reason=reason)
    elif chosen is not None and split is not None:
        found = _counted(found, chosen, split, location, basis, known, chatter, sheet)
        found = _ruled(found, basis, known, day)
    if chosen is not None and nobody_found(chosen.basis, basis):
        found = replace(found, notes=(NOBODY_FOUND,))
    return replace(found, problems=tuple(known.problems), assumptions=tuple(known.assumptions), steps=tuple(sheet.steps()))


def nobody_found(chosen: str, basis: Basis) -> bool:
    """True where the population factor applies because nothing is known, while the money counts what API 527 allows."""
    return chosen == "population" and basis.leak_basis == "history"


def _missing(chosen: Leak | None, split: Split | None) -> str:
    """Why there is no figure, or ""."""
    if chosen is None:
        return "no basis of leakage applies"
    if chosen.mid is None:
        return f"{chosen.basis}: {chosen.why}"
    return "" if split is not None else "the composition cannot be read"


def _counted(
    found: LeakReport, chosen: Leak, split: Split, location: Location, basis: Basis, known: Known, chatter: Chatter | None,
    sheet: Sheet,
) -> LeakReport:  # fmt: skip
    """The report with product, CO2 equivalent and methane of a year, seat and parts."""
    seat = _range(chosen)
    sheet.section("CO2 equivalent of the basis that applies")
    product, co2e, methane = _yearly(seat, split, basis, found.facts.discharge_to, sheet)
    _, parts, _, lift = _beside(location, basis, found.facts, chosen.basis, known, chatter, sheet)
    more_co2e = ZERO
    for part in parts:
        where = _OPEN if part.name == "pilot-fittings" else found.facts.discharge_to
        more = _yearly(_range(part), split, basis, where, Sheet(record=False))
        product, more_co2e, methane = product + more[0], more_co2e + more[1], methane + more[2]
    residual = _residual(found.facts)
    before = seat.mid if found.route.fugitive else 0.0
    return replace(
        found, parts=parts, product=product, co2e=co2e, co2e_parts=more_co2e, methane=methane, residual=residual,
        credit=_credit(before, residual), lift=lift, since=_since(seat, split, basis, found.facts, known),
    )  # fmt: skip


class Beside(NamedTuple):
    """What gets out beside the shut seat; what is known of the lifts, and the mass of one where it can be had."""

    basis: str  # of the seat, the one that applies
    parts: tuple[Part, ...]
    happened: Lifts | None
    lift: LiftMass | None


def beside(location: Location, basis: Basis, *, chatter: Chatter | None = None, mended: bool = False) -> Beside:
    """What `report` says of simmer, pilot, fittings and lifts, without its seven bases: for the money of many remedies."""
    known = history(location, basis, date.today())
    facts, _ = facts_of(location, basis, known, mended)
    return _beside(location, basis, facts, choose(facts, basis.leak_basis)[0], known, chatter, Sheet(record=False))


def _beside(
    location: Location, basis: Basis, facts: LeakFacts, chosen: str, known: Known, chatter: Chatter | None, sheet: Sheet
) -> Beside:
    happened = lifts_of(location, basis, facts, chatter)
    sheet.section("beside the shut seat")
    lift = _lift(happened, known, sheet)
    parts = _parts(facts, location, basis, chosen, known, sheet)
    if happened is not None and lift is not None and happened.a_year:
        parts = (*parts, lifts(happened, sheet, lift))
    sheet.section("")
    return Beside(chosen, parts, happened, lift)


def _range(one: Leak | Part) -> Spread:
    return Spread(one.low or 0.0, one.mid or 0.0, one.high or 0.0)


def _yearly(
    rate: Spread, split: Split, basis: Basis, where: str | None, sheet: Sheet, hours: float = HOURS_A_YEAR
) -> tuple[Spread, Spread, Spread]:
    """Product lost, CO2 equivalent and methane that reaches the air, kg over the hours; low to high."""
    marks = [
        footprint(value, hours, basis.gwp_set, where, sheet if at == 1 else Sheet(record=False), methane_fraction=methane,
                  carbon_fraction=split.carbon, co2_fraction=split.co2)
        for at, (value, methane) in enumerate(
            ((rate.low, split.methane_low), (rate.mid, split.methane), (rate.high, split.methane_high)))
    ]  # fmt: skip
    return (
        Spread(*(mark.product for mark in marks)), Spread(*(mark.co2e for mark in marks)), Spread(*(mark.methane for mark in marks))
    )


def _lift(happened: Lifts | None, known: Known, sheet: Sheet) -> LiftMass | None:
    """Mass of one lift; where the history tells of lifts and it cannot be had, that is a problem."""
    if happened is None:
        return None
    try:
        return lift_of(happened, sheet)
    except CalculationFailed as failed:
        if happened.a_year:
            known.uncounted(f"{happened.a_year:g} lifts a year: {failed.reason}")
        return None


def _parts(facts: LeakFacts, location: Location, basis: Basis, chosen: str, known: Known, sheet: Sheet) -> tuple[Part, ...]:
    """What gets out beside the shut seat, lifts apart; what cannot be counted is a problem, not a zero."""
    valve = location.valve
    pilot, bleeds = valve.kind == "pilot", valve.pilot_bleed
    start = basis.simmer_pilot if pilot else basis.simmer_soft if facts.seat == "soft" else basis.simmer_metal
    asked: list[Callable[[], Part | None]] = []
    if pilot:
        asked.append(lambda: fittings(sheet))
    if chosen not in _HELD:
        # A pilot that bleeds has begun before it simmers; one that does not bleed is still until set. Where nobody states
        # the kind, only modulating pilots have a null zone at whose end they may bleed.
        bleeding = pilot and (bleeds is not None or valve.pilot_action != "snap")
        asked.append((lambda: bleed(facts, bleeds, sheet)) if bleeding else (lambda: simmer(facts, start, sheet)))
    out = []
    for one in asked:
        try:
            part = one()
        except CalculationFailed as failed:
            known.uncounted(failed.reason)
            continue
        if part is not None:
            out.append(part)
    return tuple(out)


def _residual(facts: LeakFacts) -> Spread | None:
    """What a soft-seated pilot in this place would still leak: its allowance and its fittings, kg/s."""
    try:
        seat = leak_rate("in-spec", replace(facts, seat="soft"))
    except CalculationFailed:
        return None
    more = fittings()
    return Spread(seat.low, seat.mid, seat.high) + Spread(more.low, more.mid, more.high)


def _credit(before: float, residual: Spread | None) -> Spread | None:
    """Share of the leak a pilot would take away: worst to best residual; None where there is no fugitive leak."""
    if residual is None or before <= 0:
        return None
    return Spread(*(credit(before, value) for value in (residual.high, residual.mid, residual.low)))


def _since(seat: Spread, split: Split, basis: Basis, facts: LeakFacts, known: Known) -> Since | None:
    """The leak over the hours from the last clean survey until it was found."""
    if known.survey is None or known.read_on is None or not known.found_leaking:
        return None
    hours = hours_between(days=(known.read_on - known.survey).days)
    product, co2e, _ = _yearly(seat, split, basis, facts.discharge_to, Sheet(record=False), hours)
    return Since(known.survey, known.read_on, hours, product, co2e)


def _ruled(found: LeakReport, basis: Basis, known: Known, day: date) -> LeakReport:
    """The report with what the rule pack says on the day of the reading, else today."""
    pack = basis.rule_pack
    if pack == "none":
        return found
    if not found.route.fugitive:
        return replace(found, rules=(f"{pack}: {found.route.words}; the thresholds are for leaks to atmosphere",))
    at = known.read_on or day
    ruled = judge(pack, at, known.ppm, found.facts.measured)
    due = judge(pack, day, None, None).charge
    charge: Sequence[float] = [yearly_charge(methane=mass, tonne=1000.0, charge=due) for mass in _values(found.methane)]
    return replace(found, rules=ruled.words, charge=Spread(*charge))


def _values(range_: Spread) -> tuple[float, float, float]:
    return range_.low, range_.mid, range_.high
