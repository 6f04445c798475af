"""What a remedy costs over the horizon: capital, work, upkeep, leakage and carbon as low, mid and high.

The only home of discounting. Prices come from tables of estimates (USD, to be overwritten by the site) times
`basis.price_factor`; hours times the Basis's rates. Lows are added to lows and highs to highs, as if all
errors went the same way: an honest outer range, not a confidence band.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, NamedTuple, Protocol

from quietseat.basis import Basis
from quietseat.formula import Money, One, Sheet, formula, kg
from quietseat.model import Cost, Spread, Valve, Work
from quietseat.tables import Row, table

__all__ = [
    "Bill", "PriceLevel", "Prices", "annuity", "maintenance", "new_valve", "overhaul", "present_value", "price",
    "priced", "prices", "service_work", "spread_of", "together", "years_factor",
]  # fmt: skip

KG_PER_TONNE = 1000.0
ZERO = Spread(0.0, 0.0, 0.0)

# Units of money matters: people price a crew hour, a kilogram and a tonne, not a second.
Hours = Annotated[float, "h"]
MoneyHour = Annotated[float, "money/h"]
MoneyKg = Annotated[float, "money/kg"]


@formula("closed form: sum of (1 + r)^-t, t = 1..n", valid={"rate": (1e-9, 1.0), "years": (0.0, 100.0)})
def annuity(rate: One, years: One) -> One:
    """Present value of 1 a year over the years, paid at each year's end."""
    return (1 - (1 + rate) ** -years) / rate  # type: ignore[no-any-return]


@formula("definition")
def present_value(yearly: Money, factor: One) -> Money:
    """Present value of a yearly amount."""
    return yearly * factor


@formula("definition")
def valve_price(base: Money, rating: One, material: One, design: One, ratio: One) -> Money:
    """Price of a new valve: class 150 carbon-steel spring valve times its factors."""
    return base * rating * material * design * ratio


@formula("definition")
def labour(hours: Hours, rate: MoneyHour) -> Money:
    """Crew hours times the price of a crew hour."""
    return hours * rate


@formula("definition")
def yearly_upkeep(once: Money, interval: One) -> Money:
    """Cost of one service spread over its interval in years."""
    return once / interval


@formula("definition")
def yearly_product(product: kg, value: MoneyKg) -> Money:
    """Value of the product leaked in a year: kilograms times the price of a kilogram."""
    return product * value


@formula("definition", empirical=True)
def yearly_carbon(co2e: kg, value: Money) -> Money:
    """Yearly kilograms of CO2 equivalent times the price of a tonne."""
    return co2e / KG_PER_TONNE * value


@formula("definition")
def together(capital: Money, work: Money, upkeep: Money, leakage: Money, carbon: Money) -> Money:
    """Total cost: the sum of the printed parts."""
    return capital + work + upkeep + leakage + carbon


@dataclass(frozen=True, slots=True)
class Bill:
    """What a remedy buys and changes, before it is priced.

    capital: money once (price_factor already in). work: items with crew hours and money besides. upkeep:
    money a year. leak: kg/s; product and co2e: kg lost and kg CO2 equivalent a year. leak_basis: in words.
    """

    capital: Spread = ZERO
    work: tuple[Work, ...] = ()
    upkeep: Spread = ZERO
    leak: Spread = ZERO
    product: Spread = ZERO
    co2e: Spread = ZERO
    leak_basis: str = ""


def years_factor(basis: Basis, sheet: Sheet) -> float:
    """Present-value factor of a yearly amount over the Basis's horizon at its discount rate."""
    if basis.discount_rate < 1e-9:
        sheet.note("F", "Present-value factor", "discount rate 0: the years themselves", "limit of the annuity")
        return basis.horizon_years
    return sheet.apply("F", annuity, rate=basis.discount_rate, years=basis.horizon_years)


def price(bill: Bill, basis: Basis, sheet: Sheet | None = None) -> Cost:
    """The cost of a remedy over the horizon: present value in the Basis's currency, low, mid and high."""
    sheet = sheet or Sheet(False)
    factor = years_factor(basis, sheet)
    hours, money, outage = 0.0, [0.0, 0.0, 0.0], 0.0
    for item in bill.work:
        for index, (worked, paid) in enumerate(zip(_parts(item.hours), _parts(item.money), strict=True)):
            money[index] += labour(worked, basis.labour_rate) + paid
        hours += item.hours.mid
        if item.outage:
            outage += item.hours.mid
    lost = labour(outage, basis.outage_cost_per_hour)
    work = Spread(money[0] + lost, money[1] + lost, money[2] + lost)
    upkeep = _each(bill.upkeep, lambda yearly: present_value(yearly, factor))
    leakage = _each(bill.product, lambda lost: present_value(yearly_product(lost, basis.product_price), factor))
    carbon = _each(bill.co2e, lambda co2e: present_value(yearly_carbon(co2e, basis.carbon_price), factor))
    parts = (bill.capital, work, upkeep, leakage, carbon)
    low = together(*(part.low for part in parts))
    high = together(*(part.high for part in parts))
    mid = sheet.apply(
        "total", together, capital=bill.capital.mid, work=work.mid, upkeep=upkeep.mid, leakage=leakage.mid,
        carbon=carbon.mid,
    )  # fmt: skip
    return Cost(*parts, Spread(low, mid, high), basis.currency, bill.leak, bill.leak_basis, outage, hours)


def new_valve(valve: Valve, basis: Basis) -> Spread | None:
    """Price of a new valve of this kind, size, class, material, seat and body pattern; None: size not priced.

    Source: tables spring_prices, price_factors, price_ratios (estimates without a source).
    """
    if valve.inlet_size is None:
        return None
    return _valve_price(
        valve.inlet_size, valve.inlet_class or 150, is_stainless(valve), valve.kind or "conventional",
        valve.seat == "soft", valve.body_pattern or "", basis.price_factor,
    )  # fmt: skip


@lru_cache(maxsize=4096)
def _valve_price(
    inlet: float, rating: int, stainless: bool, kind: str, soft: bool, pattern: str, factor: float
) -> Spread | None:
    rows = [row for row in table("spring_prices") if row["inlet"] >= inlet - 1e-9]
    if not rows:
        return None
    base = _spread(min(rows, key=lambda row: row["inlet"]))
    one = Spread(1.0, 1.0, 1.0)
    classed = spread_of("price_factors", f"class-{rating}") or one
    material = spread_of("price_factors", "stainless") if stainless else one
    ratio = design = one
    if kind == "pilot":
        ratio = _by_size("price_ratios", inlet, None)
        if pattern == "spring":
            design = spread_of("price_factors", "spring-dimensions") or one
    elif kind == "bellows":
        design = spread_of("price_factors", "bellows") or one
    if soft and kind != "pilot":
        design = _times(design, spread_of("price_factors", "soft-seat") or one)
    factors = [_parts(part) for part in (base, classed, material or one, design, ratio)]
    return Spread(*(valve_price(*values) * factor for values in zip(*factors, strict=True)))


def overhaul(valve: Valve, basis: Basis) -> Spread:
    """Yearly upkeep of a valve: shop service and refit over the test interval of its kind.

    A pilot adds its rebuild and soft goods, a bellows its share of a new bellows, a disk its renewal.
    Source: table maintenance_costs (ranges the site must overwrite).
    """
    pilot = valve.kind == "pilot"
    interval = basis.interval_pilot_years if pilot else basis.interval_spring_years
    once = _service(valve.inlet_size or 2.0, valve.kind or "conventional", bool(valve.rupture_disk),
                    basis.bellows_life_intervals, basis.labour_rate, basis.price_factor)  # fmt: skip
    return _each(once, lambda money: yearly_upkeep(money, max(interval, 0.25)))


@lru_cache(maxsize=1024)
def _service(inlet: float, kind: str, disk: bool, bellows_life: float, rate: float, factor: float) -> Spread:
    parts = [_by_size("maintenance_costs", inlet, "shop-test")]
    if kind == "pilot":
        parts += [_item("maintenance_costs", "pilot-rebuild"), _item("maintenance_costs", "soft-goods-kit")]
    if kind == "bellows":
        parts.append(_item("maintenance_costs", "bellows").times(1 / max(bellows_life, 1.0)))
    if disk:
        renewal = spread_of("remedy_costs", "rupture-disk") or ZERO
        parts.append(Spread(renewal.low, renewal.low, renewal.mid))  # the disk alone, the holder stays
    money = ZERO
    for part in parts:
        money = money + part.times(factor)
    return money + _each(_item("maintenance_costs", "remove-refit"), lambda hours: labour(hours, rate))


class PriceLevel(Protocol):
    """What an item of work reads from the Basis."""

    @property
    def engineering_rate(self) -> float: ...
    @property
    def field_factor(self) -> float: ...
    @property
    def price_factor(self) -> float: ...


class Prices(NamedTuple):
    """The same by itself: a small key under which work lists can be kept."""

    engineering_rate: float
    field_factor: float
    price_factor: float


def prices(basis: PriceLevel) -> Prices:
    """The price level of a Basis."""
    return Prices(basis.engineering_rate, basis.field_factor, basis.price_factor)


def service_work(
    title: str, item: str, basis: PriceLevel, *, outage: bool = True, times: float = 1.0, size: float | None = None,
    field: bool = False,
) -> Work:  # fmt: skip
    """One row of the table work_hours as a Work item: crew hours, engineering hours or money by its unit.

    times: how many of it; size: NPS for welds (next size up); field: apply the Basis's field factor.
    """
    row = _work_row(item, size)
    amount = _spread(row).times(times)
    source = row.cite("low")
    if row["unit"] == "USD":
        return Work(title, ZERO, amount.times(basis.price_factor), outage, source)
    if item in ("engineering", "documents"):
        money = _each(amount, lambda hours: labour(hours, basis.engineering_rate))
        return Work(title, ZERO, money, False, source)
    return Work(title, amount.times(basis.field_factor) if field else amount, ZERO, outage, source)


def priced(item: str, basis: PriceLevel, title: str = "", *, outage: bool = False) -> Work:
    """One row of the table remedy_costs as a Work item of money."""
    row = table("remedy_costs").row(item=item)
    return Work(title or row["title"], ZERO, _spread(row).times(basis.price_factor), outage, row.cite("low"))


@lru_cache(maxsize=512)
def spread_of(name: str, item: str) -> Spread | None:
    """Low, mid and high of one item of a table keyed by item, or None."""
    row = table(name).get(item=item)
    return None if row is None else _spread(row)


@lru_cache(maxsize=256)
def _item(name: str, item: str) -> Spread:
    return _spread(table(name).where(item=item)[0])


def maintenance(item: str, basis: PriceLevel, inlet: float = 2.0) -> Spread:
    """Money of one row of the table maintenance_costs, by inlet NPS where it depends on it."""
    return _by_size("maintenance_costs", inlet, item).times(basis.price_factor)


@lru_cache(maxsize=512)
def _by_size(name: str, inlet: float, item: str | None) -> Spread:
    rows = table(name).where(item=item) if item else table(name).rows
    for row in rows:
        if row["size_up_to"] is None or inlet <= row["size_up_to"]:
            return _spread(row)
    return _spread(rows[-1])


@lru_cache(maxsize=256)
def _work_row(item: str, size: float | None) -> Row:
    rows = table("work_hours").where(item=item)
    sized = sorted((row for row in rows if row["size"] is not None), key=lambda row: float(row["size"]))
    if not sized:
        return rows[0]
    for row in sized:
        if size is None or size <= row["size"] + 1e-9:
            return row
    return sized[-1]


def _spread(row: Row) -> Spread:
    return Spread(float(row["low"]), float(row["mid"]), float(row["high"]))


def _parts(spread: Spread) -> tuple[float, float, float]:
    return spread.low, spread.mid, spread.high


def _each(spread: Spread, function: Callable[[float], float]) -> Spread:
    return Spread(function(spread.low), function(spread.mid), function(spread.high))


def _times(a: Spread, b: Spread) -> Spread:
    return Spread(a.low * b.low, a.mid * b.mid, a.high * b.high)


def is_stainless(valve: Valve) -> bool:
    """True where the body material is read as stainless."""
    material = (valve.body_material or "").upper().replace(" ", "")
    return any(word in material for word in ("CF8M", "CF8", "CF3", "316", "304", "STAINLESS")) or material.startswith(
        "SS"
    )
