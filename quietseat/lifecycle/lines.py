"""The lines of the account of one state: what is paid in which year, and which uncertain quantities it rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import ceil
from typing import Any

from quietseat.basis import Basis
from quietseat.economics.discount import discounted, horizon, rate_of
from quietseat.economics.draws import Input
from quietseat.economics.own import price_table
from quietseat.leakage import Beside
from quietseat.lifecycle.records import Line, flat
from quietseat.model import Cost, Location, Remedy, Spread
from quietseat.remedies.heating import HEATED

# Prices of the Basis that stand in the account as inputs of their own, by choice.
STATED = {"product_price": "price of product", "utility_price": "price of water, steam or air", "carbon_price": "price of carbon"}
NOTHING_BESIDE = Beside("", (), None, None)
HISTORY_YEARS = 5.0  # repairs, bellows and lifts are counted over five years (fields of the register)


@dataclass(frozen=True, slots=True)
class OwnPrice:
    """What the register's own work orders say an item costs, labour included, and in which words."""

    spread: Spread
    words: str


@dataclass(slots=True)
class State:
    """One state of a valve being priced: the place as it then is, what is bought, and the lines found so far."""

    place: Location
    basis: Basis
    remedy: Remedy
    cost: Cost
    standing: bool  # the valve stays as it is
    present: Location  # the place as it is now
    learned: Mapping[str, OwnPrice]  # prices the register's own work orders tell, by item of maintenance_costs
    once_leaking: tuple[Spread, str]  # leak rate of a seat that has failed, and its basis
    unknown: bool = False  # nothing is known of a leak of the present valve
    tight: tuple[Spread, str] | None = None  # leak rate of its seat once mended; None: no leak was found, or this state ends it
    years: int = 0
    rate: float = 0.0
    leaks_until: float = 0.0  # years from now until the leak of the seat ends; the horizon where nothing mends it
    until_words: str = "all the years"
    repaired: bool = False  # a repair of its own ends it, in the first year
    beside: Beside = NOTHING_BESIDE  # the shut seat
    lines: list[Line] = field(default_factory=list)
    why_nothing: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.years, self.rate = horizon(self.basis), rate_of(self.basis)
        self.leaks_until = float(self.years)

    @property
    def leaking(self) -> bool:
        """A leak was found, and this state leaves it as it is."""
        return self.tight is not None

    # -- when -------------------------------------------------------------------------------------------------

    def now(self, amount: float = 1.0) -> tuple[float, ...]:
        """Paid once, now."""
        return (amount, *([0.0] * self.years))

    def yearly(self, amount: float) -> tuple[float, ...]:
        """Paid at the end of each year."""
        return (0.0, *([amount] * self.years))

    def listed(self, amounts: Sequence[float], factor: float) -> tuple[float, ...]:
        """Paid at the end of each year, so much in each."""
        return (0.0, *(amount * factor for amount in amounts))

    def every(self, interval: float, amount: float) -> tuple[float, ...]:
        """Paid at the end of the years in which an interval is over, the first one interval from now."""
        out = [0.0] * (self.years + 1)
        count = 1
        while ceil(count * interval - 1e-9) <= self.years:
            out[max(ceil(count * interval - 1e-9), 1)] += amount
            count += 1
        return tuple(out)

    @property
    def interval(self) -> float:
        """Years between two services."""
        pilot = self.place.valve.kind == "pilot"
        return max(self.basis.interval_pilot_years if pilot else self.basis.interval_spring_years, 0.25)

    # -- what -------------------------------------------------------------------------------------------------

    def add(self, part: str, title: str, weights: tuple[float, ...], *inputs: Input, source: str = "", hours: bool = False) -> None:
        """One more line; none where no year has a weight or an input is nothing at all.

        A price of the Basis that is nothing keeps its line, so that a reader can put one in.
        """
        if any(weights) and all(one.spread.high > 0.0 or one.name in STATED.values() for one in inputs):
            self.lines.append(Line(part, title, weights, inputs, discounted(weights, self.rate), source, hours, self.standing))

    def stated(self, choice: str) -> Input:
        """A price of the Basis as an input that is known."""
        unit = f"{self.basis.currency}/{'t' if choice == 'carbon_price' else 'kg'}"
        return Input(STATED[choice], flat(getattr(self.basis, choice)), "", unit, f"{choice} of the Basis")

    def range_of(self, item: str, group: str = "") -> Input:
        """One row of the table `lifecycle`, with the site's own figures, as an input."""
        return _range_of(item, group, self.basis.price_tables)

    def maintenance(self, item: str) -> Any:
        """One row of maintenance_costs, by inlet size where it depends on it."""
        return _maintenance(item, self.place.valve.inlet_size or 2.0, self.basis.price_tables)

    def bought(self, part: str, item: str, weights: tuple[float, ...], *more: Input) -> None:
        """A line of money after the table maintenance_costs, price factor included."""
        row, own = self.maintenance(item), self.learned.get(item)
        spread = own.spread if own else spread_of_row(row).times(self.basis.price_factor)
        source = own.words if own else row.cite()
        self.add(part, row["title"], weights, Input(row["title"], spread, "prices", self.basis.currency), *more, source=source)

    def worked(self, part: str, item: str, weights: tuple[float, ...], *more: Input) -> None:
        """A line of crew hours after the table maintenance_costs, at the Basis's rate; none where own work orders hold them."""
        if item == "remove-refit" and "shop-test" in self.learned:
            return
        row = self.maintenance(item)
        hours = Input(f"hours: {row['title']}", spread_of_row(row), "labour", "h")
        rate = self.basis.labour_rate
        paid = tuple(weight * rate for weight in weights)
        self.add(part, row["title"], paid, hours, self.labour, *more, source=row.cite(), hours=True)

    @property
    def labour(self) -> Input:
        """Price of an hour over the Basis's rate."""
        return self.range_of("labour-rate", "labour")


@lru_cache(maxsize=512)
def _range_of(item: str, group: str, own: str) -> Input:
    row = price_table("lifecycle", own).row(item=item)
    return Input(row["title"], spread_of_row(row), group, str(row["unit"]), row.cite())


@lru_cache(maxsize=512)
def _maintenance(item: str, inlet: float, own: str) -> Any:
    rows = price_table("maintenance_costs", own).where(item=item)
    return next((row for row in rows if row["size_up_to"] is None or inlet <= row["size_up_to"]), rows[-1])


def spread_of_row(row: Any) -> Spread:
    """Low, mid and high of a row."""
    return Spread(float(row["low"]), float(row["mid"]), float(row["high"]))


# -- what is bought now ----------------------------------------------------------------------------------------


def bought_now(state: State) -> None:
    """Capital, engineering, fit work by task, outage hours beyond the window, residual value."""
    basis, remedy = state.basis, state.remedy
    if state.standing:
        for part in ("capital", "engineering", "fit-work", "outage", "residual"):
            state.why_nothing[part] = "the valve stays as it is"
        return
    capital = Input("capital", state.cost.capital, "prices", basis.currency)
    state.add("capital", "new valve and parts", state.now(), capital, source="tables of prices (estimates)")
    for work in remedy.work:
        part = "engineering" if work.kind == "engineering" else "fit-work"
        group = "labour" if work.kind == "engineering" else "prices"
        hours = Input(f"hours: {work.item}", work.hours, "labour", "h")
        state.add(part, work.item, state.now(basis.labour_rate), hours, state.labour, source=work.source, hours=True)
        state.add(part, work.item, state.now(), Input(work.item, work.money, group, basis.currency), source=work.source)
    _outage(state)
    remaining = 1.0 - state.years / basis.valve_life_years if basis.valve_life_years > 0 else 0.0
    if remaining <= 0.0:
        state.why_nothing["residual"] = "the horizon is no shorter than the valve's life"
    at_end = tuple(-max(remaining, 0.0) if year == state.years else 0.0 for year in range(state.years + 1))
    state.add("residual", "share of the capital not used up", at_end, capital, state.range_of("residual-share"),
              source="straight line over valve_life_years (estimate)")  # fmt: skip


def _outage(state: State) -> None:
    basis = state.basis
    hours = [sum(getattr(work.hours, end) for work in state.remedy.work if work.outage) for end in ("low", "mid", "high")]
    window = basis.outage_days * basis.crew_hours_per_day
    beyond = Spread(*(max(0.0, value - window) for value in hours))
    if beyond.high == 0.0:
        state.why_nothing["outage"] = f"{hours[1]:.3g} hours with the line open fall inside the window of {window:.4g} h"
    elif basis.outage_cost_per_hour == 0.0:
        state.why_nothing["outage"] = "no price of an outage hour was stated (outage_cost_per_hour)"
    late = Input("outage hours beyond the window", beyond, "labour", "h")
    state.add("outage", f"hours beyond {window:.4g} h", state.now(basis.outage_cost_per_hour), late,
              state.range_of("outage-cost"), source="work with the line open against outage_days x crew_hours_per_day")  # fmt: skip


# -- upkeep ----------------------------------------------------------------------------------------------------


def kept_up(state: State) -> None:
    """Scheduled service, soft goods, bellows and disk of the valves that stand there then."""
    basis, valve, count = state.basis, state.place.valve, state.remedy.valves
    if valve.inlet_size is None:
        state.notes.append("inlet size unknown: service priced as for NPS 2")
    due = state.every(state.interval, float(count))
    if not any(due):
        state.why_nothing["upkeep"] = "no service falls due inside the horizon"
    state.bought("upkeep", "shop-test", due)
    state.worked("upkeep", "remove-refit", due)
    if valve.kind == "pilot":
        state.bought("upkeep", "pilot-rebuild", due)
        state.bought("spares", "soft-goods-kit", due)
    if valve.rupture_disk:
        row = price_table("remedy_costs", basis.price_tables).row(item="rupture-disk")
        low, mid = float(row["low"]), float(row["mid"])
        spread = Spread(low, low, mid).times(basis.price_factor)  # the disk alone, the holder stays
        state.add("spares", "rupture disk renewed", due, Input("rupture disk renewed", spread, "prices", basis.currency),
                  source=row.cite())  # fmt: skip
    if HEATED in state.remedy.name:
        row = price_table("remedy_costs", basis.price_tables).row(item="heating-year")
        state.add("upkeep", "heat of the valve and its inlet", state.yearly(float(count)),
                  Input("heat of the valve and its inlet", spread_of_row(row).times(basis.price_factor), "prices", basis.currency),
                  source=row.cite())  # fmt: skip
    if valve.kind == "bellows":
        renewed = state.every(state.interval * max(basis.bellows_life_intervals, 1.0), float(count))
        state.bought("bellows", "bellows", renewed)
    else:
        state.why_nothing["bellows"] = "the valve has no bellows"
