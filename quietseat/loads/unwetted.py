"""Fire on a vessel that holds gas only: relief rate and area factor, API 521."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Annotated

from quietseat.formula import K, One, Pa, Sheet, formula, kg_mol, kg_s, m2
from quietseat.sizing.gas import gas_coefficient
from quietseat.sizing.request import ChoicesLike
from quietseat.status import CalculationFailed, Status

WALL_CARBON_STEEL = 866.0  # K (593 degC, 1100 degF), API 521 (memory-hi)
_KPA_MM2 = 1e-6 * 1e3**0.5  # mm2.kPa^0.5 to m2.Pa^0.5
LEAST_FACTOR = 182 * _KPA_MM2  # printed 0.01 in US units
UNKNOWN_FACTOR = 821 * _KPA_MM2  # printed 0.045 in US units: where nothing is known

_API = "API 521 gas expansion in an unwetted vessel (memory-hi)"
GasConstant = Annotated[float, "(J/mol/K)**-0.5"]
RootPa = Annotated[float, "Pa**0.5"]


@formula("Gay-Lussac")
def gas_temperature(normal_temperature: K, relieving_pressure: Pa, normal_pressure: Pa) -> K:
    """Gas temperature at relief."""
    return normal_temperature * relieving_pressure / normal_pressure


@formula(_API, empirical=True)
def expansion_flow(molar_mass: kg_mol, pressure: Pa, area: m2, wall: K, temperature: K) -> kg_s:
    """Relief rate of gas heated through the bare wall."""
    return 0.2772 / 3600 * sqrt(molar_mass * pressure) * area * (wall - temperature) ** 1.25 / temperature**1.1506  # type: ignore[no-any-return]


@formula(_API, empirical=True)
def area_factor(C: GasConstant, Kd: One, wall: K, temperature: K) -> RootPa:
    """Area factor F' of an unwetted vessel."""
    return 0.2772 / 3600 / (C * Kd) * (wall - temperature) ** 1.25 / temperature**0.6506  # type: ignore[no-any-return]


@formula(_API, empirical=True)
def required_area(factor: RootPa, area: m2, pressure: Pa) -> m2:
    """Required valve area from the area factor."""
    return factor * area / sqrt(pressure)


@dataclass(frozen=True, slots=True)
class UnwettedFire:
    """Relief rate, factor and area of an unwetted fire."""

    temperature: float  # K at relief
    flow: float  # kg/s
    factor: float  # Pa**0.5
    required_area: float  # m2
    confidence: str = "memory-hi"
    flags: tuple[str, ...] = ()


def unwetted_fire(
    area: float,
    molar_mass: float,
    k: float,
    normal_temperature: float,
    normal_pressure: float,
    relieving_pressure: float,
    choices: ChoicesLike,
    sheet: Sheet,
    *,
    wall: float = WALL_CARBON_STEEL,
    Kd: float = 0.975,
) -> UnwettedFire:
    """Relief rate and area of a gas-filled vessel in a fire.

    area: exposed bare surface, m2; pressures absolute Pa; wall: K, 866 for carbon steel. Raises CalculationFailed
    when the gas is as hot as the wall before it relieves (the wall fails first: the method does not hold).
    Source: API 521 (memory-hi).
    """
    if min(area, molar_mass, normal_temperature, normal_pressure, relieving_pressure) <= 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "area, molar mass, temperature and pressures must be positive")
    temperature = sheet.apply(
        "T_1", gas_temperature, normal_temperature=normal_temperature, relieving_pressure=relieving_pressure,
        normal_pressure=normal_pressure,
    )  # fmt: skip
    if temperature >= wall:
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"the gas would be at {temperature:.0f} K when it relieves, the wall limit is {wall:.0f} K: "
            "a valve does not protect this vessel; insulate, cool or depressure it",
        )
    flow = sheet.apply(
        "W", expansion_flow, molar_mass=molar_mass, pressure=relieving_pressure, area=area, wall=wall,
        temperature=temperature,
    )  # fmt: skip
    C = gas_coefficient(k, "gas", choices, sheet)
    factor, flags = sheet.apply("F'", area_factor, C=C, Kd=Kd, wall=wall, temperature=temperature), []
    if factor < LEAST_FACTOR:
        flags.append("area factor raised to its printed floor (0.01 in US units)")
        sheet.note("F'", "floor of the area factor", flags[-1], _API)
        factor = LEAST_FACTOR
    needed = sheet.apply("A", required_area, factor=factor, area=area, pressure=relieving_pressure)
    return UnwettedFire(temperature, flow, factor, needed, flags=tuple(flags))
