"""What a remedy buys and changes, priced over the horizon as low, mid and high.

Lows are added to lows and highs to highs, as if all errors went the same way: an honest outer range, not a confidence
band.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from quietseat.basis import Basis
from quietseat.economics.discount import present_value, years_factor
from quietseat.economics.prices import ZERO, MoneyKg, labour
from quietseat.formula import Money, Sheet, formula, kg
from quietseat.model import Cost, Spread, Work

KG_PER_TONNE = 1000.0


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
    utility: bool = False  # what leaks is water, steam or air


def price(bill: Bill, basis: Basis, sheet: Sheet | None = None) -> Cost:
    """The first estimate of the cost of a remedy: present value in the Basis's currency, low, mid and high.

    Orders remedies while they are made; `lifecycle.ranked` puts the life-cycle account in its place.
    """
    sheet = sheet or Sheet(False)
    factor = years_factor(basis, sheet)
    hours, money, outage = 0.0, [0.0, 0.0, 0.0], 0.0
    for item in bill.work:
        for index, (worked, paid) in enumerate(zip(_parts(item.hours), _parts(item.money), strict=True)):
            money[index] += labour(worked, basis.labour_rate) + paid
        hours += item.hours.mid
        if item.outage:
            outage += item.hours.mid
    beyond = max(0.0, outage - basis.outage_days * basis.crew_hours_per_day)  # the planned window costs nothing more
    lost = labour(beyond, basis.outage_cost_per_hour)
    work = Spread(money[0] + lost, money[1] + lost, money[2] + lost)
    upkeep = _each(bill.upkeep, lambda yearly: present_value(yearly, factor))
    worth = basis.utility_price if bill.utility else basis.product_price
    leakage = _each(bill.product, lambda lost: present_value(yearly_product(lost, worth), factor))
    carbon = _each(bill.co2e, lambda co2e: present_value(yearly_carbon(co2e, basis.carbon_price), factor))
    parts = (bill.capital, work, upkeep, leakage, carbon)
    low = together(*(part.low for part in parts))
    high = together(*(part.high for part in parts))
    mid = sheet.apply(
        "total", together, capital=bill.capital.mid, work=work.mid, upkeep=upkeep.mid, leakage=leakage.mid,
        carbon=carbon.mid,
    )  # fmt: skip
    return Cost(*parts, Spread(low, mid, high), basis.currency, bill.leak, bill.leak_basis, outage, hours)


def _parts(spread: Spread) -> tuple[float, float, float]:
    return spread.low, spread.mid, spread.high


def _each(spread: Spread, function: Callable[[float], float]) -> Spread:
    return Spread(function(spread.low), function(spread.mid), function(spread.high))
