"""Money: discounting (its only home), prices, the bill of a remedy, and draws of everything uncertain in them."""

from __future__ import annotations

from quietseat.economics.bill import Bill, price, together
from quietseat.economics.discount import annuity, present_value, years_factor
from quietseat.economics.prices import (
    ZERO,
    PriceLevel,
    Prices,
    is_stainless,
    maintenance,
    new_valve,
    overhaul,
    priced,
    prices,
    service_work,
    spread_of,
)  # fmt: skip

__all__ = [
    "ZERO", "Bill", "PriceLevel", "Prices", "annuity", "is_stainless", "maintenance", "new_valve", "overhaul", "present_value",
    "price", "priced", "prices", "service_work", "spread_of", "together", "years_factor",
]  # fmt: skip
