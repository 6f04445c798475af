"""Discounting: the only home of it. Amounts are real, in prices of the Basis's cost year, at the end of each year."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from operator import mul

from quietseat.basis import Basis
from quietseat.formula import Money, One, Sheet, formula
from quietseat.status import CalculationFailed, Status

MOST_YEARS = 100


@formula("closed form: ratio of a sum of money growing at the discount rate and prices growing at inflation (Fisher, The Theory of Interest, 1930)")
def real_rate(rate: One, inflation: One) -> One:
    """Discount rate in constant prices."""
    return (1 + rate) / (1 + inflation) - 1


@formula("definition: worth now of 1 paid at the end of a year")
def discount_factor(rate: One, year: One) -> One:
    """Present value of 1 paid at the end of a year; year 0 is now."""
    return (1 + rate) ** -year  # type: ignore[no-any-return]


@formula("closed form: sum of (1 + r)^-t, t = 1..n", valid={"rate": (-0.5, 1.0), "years": (0.0, 100.0)})
def annuity(rate: One, years: One) -> One:
    """Present value of 1 a year over the years, paid at each year's end."""
    return (1 - (1 + rate) ** -years) / rate  # type: ignore[no-any-return]


@formula("definition")
def present_value(yearly: Money, factor: One) -> Money:
    """Present value of a yearly amount."""
    return yearly * factor


def rate_of(basis: Basis, sheet: Sheet | None = None) -> float:
    """The real discount rate of a Basis: its rate, freed of its inflation where one is stated."""
    if basis.inflation == 0.0:
        return basis.discount_rate
    return (sheet or Sheet(False)).apply("r", real_rate, rate=basis.discount_rate, inflation=basis.inflation)


def horizon(basis: Basis) -> int:
    """The horizon in whole years. Raises CalculationFailed for none, a part of a year, or more than a hundred years."""
    years = basis.horizon_years
    if years < 1 or years != round(years) or years > MOST_YEARS:
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"horizon_years = {years:g}: costs are listed year by year; state a whole number of years from 1 to {MOST_YEARS}",
        )
    return round(years)


@lru_cache(maxsize=256)
def factors(rate: float, years: int) -> tuple[float, ...]:
    """Discount factors of the years 0 (now) to `years`. Raises CalculationFailed for a rate of -100 % or less."""
    if rate <= -1.0:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"discount rate {100 * rate:g} %: must be above -100 %")
    return tuple(discount_factor(rate, year) for year in range(years + 1))


def discounted(yearly: Sequence[float], rate: float) -> float:
    """Present value of yearly amounts, the first one now: the sum of amount times discount factor."""
    worth: float = sum(map(mul, yearly, factors(rate, len(yearly) - 1)))
    return worth


def years_factor(basis: Basis, sheet: Sheet) -> float:
    """Present-value factor of a yearly amount over the Basis's horizon at its discount rate."""
    rate = rate_of(basis, sheet)
    if abs(rate) < 1e-9:
        sheet.note("F", "Present-value factor", "discount rate 0: the years themselves", "limit of the annuity")
        return basis.horizon_years
    return sheet.apply("F", annuity, rate=rate, years=basis.horizon_years)
