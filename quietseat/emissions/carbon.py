"""Where a leak goes, and what it comes to in product and CO2 equivalent."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from quietseat.emissions.formulas import flared, lost, price_of, released
from quietseat.emissions.seat import QUIET
from quietseat.formula import Sheet
from quietseat.sizing.constants import HOUR
from quietseat.status import CalculationFailed, Status
from quietseat.tables import NotInTable, table, weakest

SLIP = 0.02  # share of the flared gas that is not burned (memory-md)


@dataclass(frozen=True, slots=True)
class Route:
    """Where a leak goes: fugitive (survey factors apply), burned, or returned to the process."""

    fugitive: bool
    burned: bool
    returned: bool
    words: str


@dataclass(frozen=True, slots=True)
class Footprint:
    """What a leak comes to over its hours; money 0 where no price was stated."""

    product: float  # kg lost
    co2e: float  # kg
    product_cost: float
    carbon_cost: float
    potential: float
    confidence: str
    words: str
    methane: float = 0.0  # kg that reach the air


def route(discharge_to: str | None, carbon: bool = True) -> Route:
    """What happens to a leak by where the valve discharges; not stated counts as atmosphere. carbon: whether the fluid holds any."""
    if discharge_to in ("flare", "closed"):
        where = "the flare system" if discharge_to == "flare" else "a closed system"
        fate = "lost and burned" if discharge_to == "flare" else "lost, and counted as burned there"
        return Route(False, True, False, f"leaks into {where}: {fate if carbon else 'lost; no carbon in it, so no CO2 from it'}, not fugitive")
    if discharge_to == "process":
        return Route(False, False, True, "leaks back into the process: not lost, not emitted")
    stated = "to atmosphere" if discharge_to == "atmosphere" else "to atmosphere (discharge not stated)"
    return Route(True, False, False, f"leaks {stated}: fugitive")


@lru_cache(maxsize=32)
def potential(gwp_set: str, gas: str = "CH4-fossil") -> tuple[float, str]:
    """Warming potential and its mark by a named set, "AR6-100" = report and horizon in years.

    Raises CalculationFailed for a set or gas the table does not hold.
    """
    name, _, horizon = gwp_set.rpartition("-")
    try:
        row = table("gwp").row(set=name, horizon=int(horizon), gas=gas)
    except (NotInTable, ValueError) as error:
        raise CalculationFailed(Status.NOT_COMPUTED, f"no warming potential {gwp_set!r}, {gas}: {error}") from None
    return float(row["value"]), str(row["provenance"])


def footprint(
    rate: float,
    hours: float,
    gwp_set: str,
    discharge_to: str | None,
    sheet: Sheet = QUIET,
    *,
    methane_fraction: float = 1.0,
    carbon_fraction: float = 0.75,
    co2_fraction: float = 0.0,
    product_price: float = 0.0,
    carbon_price: float = 0.0,
) -> Footprint:
    """Product and CO2 equivalent of a leak over some hours.

    rate kg/s; methane_fraction, carbon_fraction (carbon that burns) and co2_fraction (CO2 already in the gas) by mass
    of the product (pure methane: 1, 0.75, 0); product_price money/kg; carbon_price money/tonne CO2e; both 0 unless
    stated. Raises CalculationFailed for an unknown gwp_set or a negative rate or time.
    """
    if rate < 0 or hours < 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "leak rate and hours must not be negative")
    way = route(discharge_to)
    factor, mark = potential(gwp_set)
    product = 0.0 if way.returned else sheet.apply("m_lost", lost, rate=rate, time=hours * HOUR)
    if way.burned:
        co2e = sheet.apply(
            "CO2e", flared, product=product, carbon_fraction=carbon_fraction, slip=SLIP,
            methane_fraction=methane_fraction, potential=factor, co2_fraction=co2_fraction,
        )  # fmt: skip
        mark = weakest((mark, "memory-md"))
    else:
        co2e = sheet.apply(
            "CO2e", released, product=product, methane_fraction=methane_fraction, potential=factor, co2_fraction=co2_fraction
        )
    return Footprint(
        product, co2e, price_of(product, product_price), price_of(co2e, carbon_price / 1000), factor, mark,
        f"{way.words}; {gwp_set} {factor:g}", product * methane_fraction * (SLIP if way.burned else 1.0),
    )  # fmt: skip
