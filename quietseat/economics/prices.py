"""Prices from the tables of estimates (USD, to be overwritten by the site) times `basis.price_factor`; hours times rates."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Annotated, NamedTuple, Protocol

from quietseat.basis import Basis
from quietseat.economics.own import price_table
from quietseat.formula import Money, One, formula
from quietseat.model import Spread, Valve, Work
from quietseat.tables import Row

ZERO = Spread(0.0, 0.0, 0.0)

# Units of money matters: people price a crew hour, a kilogram and a tonne, not a second.
Hours = Annotated[float, "h"]
MoneyHour = Annotated[float, "money/h"]
MoneyKg = Annotated[float, "money/kg"]


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


def new_valve(valve: Valve, basis: Basis) -> Spread | None:
    """Price of a new valve of this kind, size, class, material, seat and body pattern; None: size not priced.

    Source: tables spring_prices, price_factors, price_ratios (estimates without a source).
    """
    if valve.inlet_size is None:
        return None
    return _valve_price(
        valve.inlet_size, valve.inlet_class or 150, is_stainless(valve), valve.kind or "conventional",
        valve.seat == "soft", valve.body_pattern or "", basis.price_factor, basis.price_tables,
    )  # fmt: skip


@lru_cache(maxsize=4096)
def _valve_price(
    inlet: float, rating: int, stainless: bool, kind: str, soft: bool, pattern: str, factor: float, own: str
) -> Spread | None:
    rows = [row for row in price_table("spring_prices", own) if row["inlet"] >= inlet - 1e-9]
    if not rows:
        return None
    base = _spread(min(rows, key=lambda row: row["inlet"]))
    one = Spread(1.0, 1.0, 1.0)
    classed = spread_of("price_factors", f"class-{rating}", own) or one
    material = spread_of("price_factors", "stainless", own) if stainless else one
    ratio = design = one
    if kind == "pilot":
        ratio = _by_size("price_ratios", inlet, None, own)
        if pattern == "spring":
            design = spread_of("price_factors", "spring-dimensions", own) or one
    elif kind == "bellows":
        design = spread_of("price_factors", "bellows", own) or one
    if soft and kind != "pilot":
        design = _times(design, spread_of("price_factors", "soft-seat", own) or one)
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
                    basis.bellows_life_intervals, basis.labour_rate, basis.price_factor, basis.price_tables)  # fmt: skip
    return _each(once, lambda money: yearly_upkeep(money, max(interval, 0.25)))


@lru_cache(maxsize=1024)
def _service(inlet: float, kind: str, disk: bool, bellows_life: float, rate: float, factor: float, own: str) -> Spread:
    parts = [_by_size("maintenance_costs", inlet, "shop-test", own)]
    if kind == "pilot":
        parts += [_item("maintenance_costs", "pilot-rebuild", own), _item("maintenance_costs", "soft-goods-kit", own)]
    if kind == "bellows":
        parts.append(_item("maintenance_costs", "bellows", own).times(1 / max(bellows_life, 1.0)))
    if disk:
        renewal = spread_of("remedy_costs", "rupture-disk", own) or ZERO
        parts.append(Spread(renewal.low, renewal.low, renewal.mid))  # the disk alone, the holder stays
    money = ZERO
    for part in parts:
        money = money + part.times(factor)
    return money + _each(_item("maintenance_costs", "remove-refit", own), lambda hours: labour(hours, rate))


class PriceLevel(Protocol):
    """What an item of work reads from the Basis."""

    @property
    def engineering_rate(self) -> float: ...
    @property
    def field_factor(self) -> float: ...
    @property
    def price_factor(self) -> float: ...
    @property
    def price_tables(self) -> str: ...


class Prices(NamedTuple):
    """The same by itself: a small key under which work lists can be kept."""

    engineering_rate: float
    field_factor: float
    price_factor: float
    price_tables: str


def prices(basis: PriceLevel) -> Prices:
    """The price level of a Basis."""
    return Prices(basis.engineering_rate, basis.field_factor, basis.price_factor, basis.price_tables)


def service_work(
    title: str, item: str, basis: PriceLevel, *, outage: bool = True, times: float = 1.0, size: float | None = None,
    field: bool = False,
) -> Work:  # fmt: skip
    """One row of the table work_hours as a Work item: crew hours, engineering hours or money by its unit.

    times: how many of it; size: NPS for welds (next size up); field: apply the Basis's field factor.
    """
    row = _work_row(item, size, basis.price_tables)
    amount = _spread(row).times(times)
    source = row.cite("low")
    if row["unit"] == "USD":
        return Work(title, ZERO, amount.times(basis.price_factor), outage, source)
    if item in ("engineering", "documents"):
        money = _each(amount, lambda hours: labour(hours, basis.engineering_rate))
        return Work(title, ZERO, money, False, source, "engineering")
    return Work(title, amount.times(basis.field_factor) if field else amount, ZERO, outage, source)


def priced(item: str, basis: PriceLevel, title: str = "", *, outage: bool = False) -> Work:
    """One row of the table remedy_costs as a Work item of money."""
    row = price_table("remedy_costs", basis.price_tables).row(item=item)
    return Work(title or row["title"], ZERO, _spread(row).times(basis.price_factor), outage, row.cite("low"))


@lru_cache(maxsize=512)
def spread_of(name: str, item: str, own: str = "") -> Spread | None:
    """Low, mid and high of one item of a table keyed by item, or None. own: the folder of the site's own prices."""
    row = price_table(name, own).get(item=item)
    return None if row is None else _spread(row)


@lru_cache(maxsize=256)
def _item(name: str, item: str, own: str) -> Spread:
    return _spread(price_table(name, own).where(item=item)[0])


def maintenance(item: str, basis: PriceLevel, inlet: float = 2.0) -> Spread:
    """Money of one row of the table maintenance_costs, by inlet NPS where it depends on it."""
    return _by_size("maintenance_costs", inlet, item, basis.price_tables).times(basis.price_factor)


@lru_cache(maxsize=512)
def _by_size(name: str, inlet: float, item: str | None, own: str) -> Spread:
    rows = price_table(name, own).where(item=item) if item else price_table(name, own).rows
    for row in rows:
        if row["size_up_to"] is None or inlet <= row["size_up_to"]:
            return _spread(row)
    return _spread(rows[-1])


@lru_cache(maxsize=256)
def _work_row(item: str, size: float | None, own: str) -> Row:
    rows = price_table("work_hours", own).where(item=item)
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
