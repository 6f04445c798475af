"""Thermal expansion of blocked-in liquid, API 521."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from quietseat.formula import KD, One, PaD, Sheet, W, formula, kg_m3, kg_s, m, m3_s
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table

per_K = Annotated[float, "1/K"]
per_Pa = Annotated[float, "1/Pa"]
J_kgKD = Annotated[float, "J/kg/delta K"]


@formula("API 521 thermal expansion (memory-hi)")
def expansion_volume_flow(expansion: per_K, heat: W, density: kg_m3, heat_capacity: J_kgKD) -> m3_s:
    """Volume a heated liquid gains each second."""
    return expansion * heat / (density * heat_capacity)


@formula("definition")
def mass_flow(volume_flow: m3_s, density: kg_m3) -> kg_s:
    """Mass flow of a volume flow."""
    return volume_flow * density


@formula("trapped liquid in a thin pipe (memory-md)")
def trapped_rise(
    warming: KD, expansion: per_K, pipe_expansion: per_K, compressibility: per_Pa, diameter: m, wall: m,
    modulus: PaD, poisson: One,
) -> PaD:  # fmt: skip
    """Pressure rise of a liquid shut in a pipe and warmed."""
    return (
        warming
        * (expansion - 3 * pipe_expansion)
        / (compressibility + diameter / (2 * modulus * wall) * (2.5 - 2 * poisson))
    )


@dataclass(frozen=True, slots=True)
class Expansion:
    """Relief rate of a heated, blocked-in liquid."""

    volume_flow: float  # m3/s
    flow: float  # kg/s
    confidence: str = "memory-hi"


def expansion_coefficient(api_gravity: float | None = None) -> float:
    """Cubic expansion coefficient, 1/K: of hydrocarbons by API gravity, of water without one.

    Raises CalculationFailed for a gravity outside 3 to 100. Source: table thermal_expansion.
    """
    held = table("thermal_expansion")
    if api_gravity is None:
        return float(held.where(liquid="water")[0]["alpha"])
    if api_gravity < 3:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"API gravity {api_gravity:g} is below 3, the end of the table")
    # 100 stands for "94-100 and lighter".
    return float(held.next_up("api_gravity_up_to", min(api_gravity, 100.0))["alpha"])


def thermal_expansion(expansion: float, heat: float, density: float, heat_capacity: float, sheet: Sheet) -> Expansion:
    """Relief rate of blocked-in liquid.

    expansion: cubic, 1/K; heat: W absorbed; density: kg/m3; heat_capacity: J/kg/K. Raises CalculationFailed when
    one is not positive. Source: API 521 (memory-hi).
    """
    if min(expansion, heat, density, heat_capacity) <= 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "expansion, heat, density and heat capacity must be positive")
    volume = sheet.apply(
        "V",
        expansion_volume_flow,
        expansion=expansion,
        heat=heat,
        density=density,
        heat_capacity=heat_capacity,
    )
    return Expansion(volume, sheet.apply("W", mass_flow, volume_flow=volume, density=density))
