"""What a remedy buys and the work it needs: items with hours and money from the tables, never typed here."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from quietseat import economics
from quietseat.basis import Basis
from quietseat.economics import ZERO, Bill, Prices, maintenance, priced, service_work
from quietseat.economics.own import price_table
from quietseat.emissions import LeakFacts, Split, fittings, footprint, leak_rate, route, split
from quietseat.formula import Money, One, formula
from quietseat.model import Case, Fit, Location, Spread, Valve, Work
from quietseat.remedies.trouble import Trouble
from quietseat.status import CalculationFailed

HOURS_A_YEAR = 8760.0
HISTORY_YEARS = 5.0  # repairs and bellows are counted over five years (fields of the register)
ASKING = Spread(0.5, 1.0, 2.0)  # hours to fetch one missing figure in the field, estimate


@formula("definition")
def yearly_repairs(cost: Money, years: One) -> Money:
    """Repairs a year."""
    return cost / years


class Costing:
    """Prices the remedies of one Location; leak rates and work lists shared by several remedies are kept."""

    def __init__(self, trouble: Trouble) -> None:
        self.trouble = trouble
        self.basis = trouble.basis
        self._leaks: dict[tuple[str, bool], tuple[Spread, Spread, Spread, str]] = {}

    def bill(self, location: Location, capital: Spread, work: tuple[Work, ...], *, leaking: bool, valves: int = 1,
             yearly: Spread = ZERO) -> Bill:  # fmt: skip
        """The bill of a changed Location. leaking: history says it leaks and this remedy does not stop it."""
        upkeep = economics.overhaul(location.valve, self.basis)
        leak, product, co2e, words = self.leak(location.valve.seat or "metal", leaking)
        if location.valve.kind == "pilot":  # tube and fittings leak on in the open, so a pilot never takes all of a leak away
            more = fittings()
            rest = self._yearly(Spread(more.low, more.mid, more.high), None)
            leak, product, co2e = leak + rest[0], product + rest[1], co2e + rest[2]
            words += f"; and {more.words} ({more.confidence})"
        return Bill(capital, work, upkeep.times(valves) + yearly, leak.times(valves), product.times(valves),
                    co2e.times(valves), words, made_of(location.cases).utility)  # fmt: skip

    def repairs(self) -> Spread:
        """Yearly repairs the history tells of, on top of planned upkeep: stated costs, else bellows renewed."""
        events = self.trouble.location.history.events
        stated = sum(event.cost for event in events if event.cost is not None)
        if stated > 0:
            yearly = yearly_repairs(stated, HISTORY_YEARS)
            return Spread(yearly, yearly, yearly)
        renewed = sum(1.0 if event.value is None else event.value for event in events if event.event == "bellows")
        return maintenance("bellows", self.basis).times(renewed / HISTORY_YEARS)

    def leak(self, seat: str, leaking: bool) -> tuple[Spread, Spread, Spread, str]:
        """Leak rate kg/s, product and CO2 equivalent kg a year, and the basis in words, of one valve with this seat."""
        found = self._leaks.get((seat, leaking))
        if found is None:
            found = self._leaks[seat, leaking] = self._leak_now(seat, leaking)
        return found

    def _leak_now(self, seat: str, leaking: bool) -> tuple[Spread, Spread, Spread, str]:
        location, basis = self.trouble.location, self.basis
        facts = _facts(location, seat, leaking, basis)
        if facts is None:
            return ZERO, ZERO, ZERO, "not computed (set pressure unknown): leakage is not counted"
        try:
            rate = leak_rate(_leak_basis(basis.leak_basis, location.outlet.discharge_to), facts)
            leak, product, co2e = self._yearly(Spread(rate.low, rate.mid, rate.high), facts.discharge_to)
        except CalculationFailed as failed:
            return ZERO, ZERO, ZERO, f"not computed ({failed.reason}): leakage is not counted"
        return leak, product, co2e, f"{rate.basis}: {rate.source}; {rate.words} ({rate.confidence})"

    def _yearly(self, rate: Spread, where: str | None) -> tuple[Spread, Spread, Spread]:
        """A leak with the product and CO2 equivalent of a year, kg. where: what it discharges to, None = the open."""
        made = made_of(self.trouble.location.cases)
        marks = [
            footprint(value, HOURS_A_YEAR, self.basis.gwp_set, where, methane_fraction=made.methane, carbon_fraction=made.carbon,
                      co2_fraction=made.co2)
            for value in (rate.low, rate.mid, rate.high)
        ]  # fmt: skip
        return rate, Spread(*(mark.product for mark in marks)), Spread(*(mark.co2e for mark in marks))


def _leak_basis(chosen: str, discharge: str | None) -> str:
    """Survey factors count leaks to atmosphere only: into a closed system the gap or the allowance stands in."""
    if route(discharge).fugitive or chosen in ("history", "api-527"):
        return chosen
    return "gap" if chosen == "leaker" else "api-527"


def _facts(location: Location, seat: str, leaking: bool, basis: Basis) -> LeakFacts | None:
    valve = location.valve
    if valve.set_pressure is None:
        return None
    case = location.cases[0] if location.cases else Case()
    readings = [event.value for event in location.history.events if event.event == "leak" and event.value is not None]
    vessel = location.vessel
    return LeakFacts(
        valve.set_pressure, basis.atmospheric_pressure, vessel.operating_pressure, valve.effective_area or _area(valve.orifice),
        valve.inlet_size, seat, "liquid" if case.phase == "liquid" else "gas",
        case.molar_mass if case.phase != "steam" else WATER, case.k or (1.3 if case.phase == "steam" else None),
        vessel.operating_temperature or case.temperature, density=case.density, discharge_to=location.outlet.discharge_to, found_leaking=leaking,
        Z=case.Z if case.phase != "liquid" else None, ppm=max(readings) if leaking and readings else None, measured=location.history.measured_rate if leaking else None,
    )  # fmt: skip


WATER = 0.01801528  # kg/mol


@lru_cache(maxsize=32)
def _area(letter: str | None) -> float | None:
    from quietseat.sizing.letters import letters

    return letters().get(letter) if letter else None


def made_of(cases: tuple[Case, ...]) -> Split:
    """What the fluid of the first case is made of; a composition that cannot be read counts as methane, the worst."""
    case = cases[0] if cases else Case()
    if case.phase == "steam":
        return split("steam", None)
    try:
        return split(case.fluid, case.molar_mass, case.phase or "gas")
    except CalculationFailed:
        return split(None, None)


class Toolbox:
    """Work lists at one price level; each list is made once and shared."""

    def __init__(self, level: Prices) -> None:
        self.level = level
        self._kept: dict[tuple[object, ...], tuple[Work, ...]] = {}

    def change_out(self) -> tuple[Work, ...]:
        """Take the valve out and refit on the same flanges."""
        return self._keep("out", lambda: (self._hours("drop-in", "take out and refit on the same flanges"),))

    def documents(self) -> tuple[Work, ...]:
        """Datasheet, management of change, registers."""
        title = "documents: datasheet, management of change, registers"
        return self._keep("documents", lambda: (self._hours("documents", title),))

    def engineering(self) -> tuple[Work, ...]:
        """Isometric, stress check, management of change, hazard review."""
        title = "engineering: isometric, stress, hazard review"
        return self._keep("engineering", lambda: (self._hours("engineering", title),))

    def part(self, *items: str) -> tuple[Work, ...]:
        """Parts and services that are bought, by their rows in remedy_costs."""
        return self._keep(("part", items), lambda: tuple(priced(item, self.level) for item in items))

    def shop(self, inlet: float | None) -> tuple[Work, ...]:
        """Shop test, lap and reset of the valve that stays."""
        size = inlet or 2.0

        def make() -> tuple[Work, ...]:
            return (Work("shop: test, lap and reset", ZERO, maintenance("shop-test", self.level, size), False, _SHOP),)

        return self._keep(("shop", size), make)

    def welding(self, size: float, welds: int, alloy: bool, what: str) -> tuple[Work, ...]:
        """Cut, weld, radiograph and test a pipe of this NPS; hot work, decontamination, paint and material with it."""
        return self._keep(("weld", size, welds, alloy, what), lambda: self._welding(size, welds, alloy, what))

    def _welding(self, size: float, welds: int, alloy: bool, what: str) -> tuple[Work, ...]:
        times = welds * (spread_mid("factor-alloy", self.level.price_tables) if alloy else 1.0)
        level = self.level
        return (
            service_work(f"{what}: cut, fit up and weld ({welds} welds NPS {size:g})", "weld", level, times=times, size=size,
                         field=True),
            service_work(f"{what}: radiography", "radiography", level, times=welds),
            service_work(f"{what}: radiography call-out", "radiography-callout", level, outage=False),
            service_work(f"{what}: hydrostatic test", "spool-test", level),
            service_work(f"{what}: decontaminate and blind", "decontaminate", level),
            service_work(f"{what}: hot-work permit and fire watch", "hot-work", level),
            service_work(f"{what}: paint and insulation", "paint", level, outage=False),
            priced("spool", level, f"{what}: material"),
        )  # fmt: skip

    def spool(self, size: float | None, alloy: bool, what: str = "outlet spool") -> tuple[Work, ...]:
        """A spool cut out and welded in, the same for every remedy: two welds with all that belongs to them, and access.

        size: NPS of the line. Engineering and documents belong to the job as a whole.
        """
        return self.welding(size or 4.0, 2, alloy, what) + self.access()

    def access(self) -> tuple[Work, ...]:
        """Crane and scaffold of a job on the pipework."""
        return self._keep(
            "access", lambda: (self._hours("scaffold", "scaffold"), self._hours("crane", "crane, one day"))
        )

    def fitting(self, fit: Fit, outlet: float | None, alloy: bool) -> tuple[Work, ...]:
        """What a fit verdict costs besides the change-out: nothing, a spacer, or a spool."""
        if fit.verdict == "spacer":
            return self.part("spool")
        if fit.verdict == "spool":
            return self.spool(outlet, alloy)
        return ()

    def asking(self, wanted: tuple[str, ...]) -> tuple[Work, ...]:
        """Fetching missing figures: one item each."""
        return tuple(Work(f"measure or ask: {what}", ASKING, ZERO, False, "estimate") for what in wanted)

    def _hours(self, item: str, title: str) -> Work:
        return service_work(title, item, self.level)

    def _keep(self, key: object, make: Callable[[], tuple[Work, ...]]) -> tuple[Work, ...]:
        found = self._kept.get((key,))
        if found is None:
            found = self._kept[(key,)] = make()
        return found


_SHOP = "practice: maintenance costs, memory-md"


@lru_cache(maxsize=8)
def spread_mid(item: str, own: str) -> float:
    """Middle of one factor of work_hours. own: the folder of the site's own prices, or ""."""
    return float(price_table("work_hours", own).where(item=item)[0]["mid"])


@lru_cache(maxsize=8)
def toolbox(level: Prices) -> Toolbox:
    """The Toolbox of a price level."""
    return Toolbox(level)


def alloyed(valve: Valve) -> bool:
    """True where the pipework is taken to be stainless, as the body is."""
    return economics.is_stainless(valve)
