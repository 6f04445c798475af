"""Pool fire on a vessel with liquid: heat input and relief rate, API 521."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated

from quietseat.formula import J_kg, K, One, Sheet, W, W_m2K, formula, kg_s, m2
from quietseat.sizing.constants import FOOT, HOUR
from quietseat.status import CalculationFailed, Status
from quietseat.tables import NotInTable, table

BTU = 1055.05585262  # J, International Table (definition)
LATENT_FLOOR = 115e3  # J/kg (50 Btu/lb), API 521 near the critical point (memory-hi)
WETTED_HEIGHT = 7.6  # m (25 ft) above grade or fire level counted as wetted, API 521 (memory-hi)

# Printed SI constants and the exact conversion of the printed US ones (21 000, 34 500 Btu/h.ft^1.64).
_DRAINED = {"printed": 43200.0, "exact": 21000 * BTU / HOUR / (FOOT**2) ** 0.82}
_UNDRAINED = {"printed": 70900.0, "exact": 34500 * BTU / HOUR / (FOOT**2) ** 0.82}
_INSULATED = {"printed": 66570.0, "exact": 21000 * BTU / HOUR / FOOT**2}

FireConstant = Annotated[float, "W/m**1.64"]
W_m2 = Annotated[float, "W/m**2"]


@formula("API 521 pool fire, wetted area (memory-hi)", valid={"area": (0.0, 1e4)}, empirical=True)
def heat_input(constant: FireConstant, factor: One, area: m2) -> W:
    """Heat a pool fire puts into the wetted surface."""
    return constant * factor * area**0.82  # type: ignore[no-any-return]


@formula("API 521 environment factor of insulation (memory-hi); flame at 904 degC", empirical=True)
def insulation_factor(conductance: W_m2K, temperature: K, constant: W_m2) -> One:
    """Environment factor of insulation that stays on in a fire."""
    return conductance * (904 - (temperature - 273.15)) / constant


@formula("API 521 vapour from the heat input (memory-hi)")
def vapour_flow(heat: W, latent_heat: J_kg) -> kg_s:
    """Relief rate of boiling liquid."""
    return heat / latent_heat


@dataclass(frozen=True, slots=True)
class WettedFire:
    """Heat input, environment factor and relief rate of a wetted fire."""

    heat: float  # W
    factor: float
    latent_heat: float  # J/kg as used
    flow: float  # kg/s
    confidence: str
    flags: tuple[str, ...] = ()


@lru_cache(maxsize=64)
def environment_factor(equipment: str) -> tuple[float, str]:
    """Environment factor F of a row of the table fire_factors, with its mark. Raises CalculationFailed."""
    try:
        row = table("fire_factors").row(equipment=equipment)
    except NotInTable as error:
        raise CalculationFailed(Status.NOT_COMPUTED, f"environment factor unknown: {error}") from None
    return float(row["F"]), str(row["provenance"])


def wetted_fire(
    area: float,
    latent_heat: float,
    sheet: Sheet,
    *,
    drained: bool = False,
    equipment: str = "bare",
    conductance: float | None = None,
    temperature: float | None = None,
    constants: str = "printed",
) -> WettedFire:
    """Relief rate of a vessel with liquid in a pool fire.

    area: wetted surface, m2, within WETTED_HEIGHT of the fire. latent_heat: J/kg at relieving pressure, held at
    or above 115 kJ/kg. drained: adequate drainage and firefighting are shown (the default assumes they are not).
    equipment: a row of fire_factors; conductance (W/m2K) with temperature (K, relieving) takes its place.
    constants: "printed" (SI) or "exact" (converted from the US ones). Raises CalculationFailed for an area
    or latent heat that is not positive, and an unknown row. Source: API 521 (memory-hi).
    """
    if area <= 0 or latent_heat <= 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "wetted area and latent heat must be positive")
    if constants not in _DRAINED:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"fire constants {constants!r} are neither printed nor exact")
    flags: list[str] = []
    if conductance is not None and temperature is not None:
        confidence = "memory-hi"
        factor = sheet.apply(
            "F", insulation_factor, conductance=conductance, temperature=temperature,
            constant=_INSULATED[constants],
        )  # fmt: skip
        if not 0 <= factor <= 1:
            raise CalculationFailed(Status.OUT_OF_RANGE, f"environment factor {factor:.3g} is not between 0 and 1")
    else:
        factor, confidence = environment_factor(equipment)
        sheet.given("F", f"environment factor, {equipment}", factor, "", f"ISO 23251 Table 6 ({confidence})")
    constant = (_DRAINED if drained else _UNDRAINED)[constants]
    drainage = "adequate drainage and firefighting" if drained else "no adequate drainage or firefighting shown"
    sheet.note("drainage", "drainage class", drainage, "API 521 (memory-hi)")
    heat = sheet.apply("Q", heat_input, constant=constant, factor=factor, area=area)
    if latent_heat < LATENT_FLOOR:
        flags.append(f"latent heat {latent_heat / 1e3:.3g} kJ/kg raised to the floor of 115 kJ/kg")
        sheet.note("latent", "latent heat near the critical point", flags[-1], "API 521 (memory-hi)")
        latent_heat = LATENT_FLOOR
    flow = sheet.apply("W", vapour_flow, heat=heat, latent_heat=latent_heat)
    return WettedFire(heat, factor, latent_heat, flow, "memory-hi", tuple(flags))
