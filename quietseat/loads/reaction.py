"""Reaction force of an open discharge, API 520-2."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Annotated

from quietseat.formula import GRAVITY, K, N, One, Pa, R, Sheet, formula, kg_m3, kg_mol, kg_s, m2
from quietseat.sizing.constants import FOOT, GRAM_MOLE, HOUR, INCH, RANKINE
from quietseat.sizing.request import ChoicesLike
from quietseat.status import CalculationFailed, Status

ReactionConstant = Annotated[float, "(J/mol/K)**0.5"]
_API = "API 520-2 reaction force (memory-hi)"

# Printed 129 (SI) and 1/366 (US) round the square root of 2 R; printed 2.898e6 (US) rounds a pure 1 in SI.
_GAS = {
    "exact": (2 * R) ** 0.5,
    "SI": 129 * GRAM_MOLE**0.5,
    "USC": GRAVITY * HOUR / 366 * (GRAM_MOLE / RANKINE) ** 0.5,
}
_MIXTURE = {"exact": 1.0, "SI": 1.0, "USC": HOUR**2 * GRAVITY * INCH**2 / FOOT**3 / 2.898e6}


@formula(f"{_API}, gas; T is the stagnation temperature")
def gas_reaction(
    constant: ReactionConstant, flow: kg_s, k: One, temperature: K, molar_mass: kg_mol, area: m2, exit_pressure: Pa,
    atmospheric: Pa,
) -> N:  # fmt: skip
    """Reaction force of a gas discharge."""
    return constant * flow * sqrt(k * temperature / ((k + 1) * molar_mass)) + area * (exit_pressure - atmospheric)


@formula(f"{_API}, two-phase")
def mixture_reaction(
    constant: One, flow: kg_s, area: m2, quality: One, gas_density: kg_m3, liquid_density: kg_m3, exit_pressure: Pa,
    atmospheric: Pa,
) -> N:  # fmt: skip
    """Reaction force of a two-phase discharge."""
    return constant * flow**2 / area * (quality / gas_density + (1 - quality) / liquid_density) + area * (
        exit_pressure - atmospheric
    )


@formula("structural dynamics of a suddenly applied load")
def dynamic_load(force: N, load_factor: One) -> N:
    """Force times the dynamic load factor."""
    return force * load_factor


@dataclass(frozen=True, slots=True)
class Reaction:
    """Reaction force, N: static, and with the dynamic load factor."""

    force: float
    dynamic: float
    load_factor: float
    confidence: str = "memory-hi"


def _form(choices: ChoicesLike) -> str:
    return "exact" if choices.constants == "exact" else choices.units_of_constants


def _exit(area: float, exit_pressure: float | None, atmospheric: float) -> float:
    if area <= 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "outlet area must be positive")
    return atmospheric if exit_pressure is None else exit_pressure


def reaction_gas(
    flow: float,
    k: float,
    temperature: float,
    molar_mass: float,
    area: float,
    choices: ChoicesLike,
    sheet: Sheet,
    *,
    exit_pressure: float | None = None,
    atmospheric: float = 101325.0,
    load_factor: float = 2.0,
) -> Reaction:
    """Reaction force of a gas or vapour leaving an open outlet.

    flow kg/s; temperature K stagnation; molar_mass kg/mol; area m2 of the outlet; exit_pressure Pa absolute, static,
    when it chokes (None = atmospheric). Raises CalculationFailed for values that are not positive.
    Source: API 520-2 (memory-hi).
    """
    if min(flow, k, temperature, molar_mass) <= 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "flow, k, temperature and molar mass must be positive")
    pressure = _exit(area, exit_pressure, atmospheric)
    force = sheet.apply(
        "F", gas_reaction, constant=_GAS[_form(choices)], flow=flow, k=k, temperature=temperature,
        molar_mass=molar_mass, area=area, exit_pressure=pressure, atmospheric=atmospheric,
    )  # fmt: skip
    return Reaction(force, sheet.apply("F_d", dynamic_load, force=force, load_factor=load_factor), load_factor)


def reaction_two_phase(
    flow: float,
    quality: float,
    gas_density: float,
    liquid_density: float,
    area: float,
    choices: ChoicesLike,
    sheet: Sheet,
    *,
    exit_pressure: float | None = None,
    atmospheric: float = 101325.0,
    load_factor: float = 2.0,
) -> Reaction:
    """Reaction force of a two-phase discharge; quality = vapour mass fraction at the exit, 0 to 1.

    Raises CalculationFailed for values out of range. Source: API 520-2 (memory-hi).
    """
    if min(flow, gas_density, liquid_density) <= 0 or not 0 <= quality <= 1:
        raise CalculationFailed(Status.OUT_OF_RANGE, "flow and densities must be positive, quality 0 to 1")
    pressure = _exit(area, exit_pressure, atmospheric)
    force = sheet.apply(
        "F", mixture_reaction, constant=_MIXTURE[_form(choices)], flow=flow, area=area, quality=quality,
        gas_density=gas_density, liquid_density=liquid_density, exit_pressure=pressure, atmospheric=atmospheric,
    )  # fmt: skip
    return Reaction(force, sheet.apply("F_d", dynamic_load, force=force, load_factor=load_factor), load_factor)
