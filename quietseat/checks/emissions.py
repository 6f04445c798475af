"""Calculations of leakage that checks can name: each calls what a user's answer is made of. SI; `a_year` is kg in 8760 h."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from quietseat import emissions
from quietseat.emissions import LeakFacts, Lifts
from quietseat.emissions.bases import factor_rate
from quietseat.emissions.carbon import footprint, potential

Found = dict[str, Any]
YEAR = 8760 * 3600.0
# Methane at 20 barg and 300 K behind a small metal seat, to atmosphere: the valve of the worked examples.
_METHANE: Mapping[str, Any] = {
    "set_pressure": 11e5, "atmospheric": 101325.0, "operating_pressure": 21.01325e5, "molar_mass": 0.01604, "k": 1.31,
    "temperature": 300.0, "effective_area": 1e-4, "discharge_to": "atmosphere",
}  # fmt: skip


def _facts(more: Mapping[str, Any]) -> LeakFacts:
    return LeakFacts(**{**_METHANE, **more})


def basis(name: str, **more: Any) -> Found:
    """One basis of leakage of the valve of the worked examples, with some facts changed."""
    found = emissions.leak_rate(name, _facts(more))
    return {"low": found.low, "rate": found.mid, "high": found.high, "a_year": found.mid * YEAR}


def applies(**more: Any) -> Found:
    """The basis that applies."""
    return {"basis": emissions.choose(_facts(more))[0]}


def factor(name: str) -> Found:
    """One factor of the leak bases for methane."""
    rate = factor_rate(name, _facts({}))
    return {"rate": rate, "a_year": rate * YEAR}


def bubbles(bubbles_per_minute: float, molar_mass: float, temperature: float) -> Found:
    """Bubbles of the tightness test as mass."""
    rate = emissions.bubbles_to_mass(bubbles_per_minute, molar_mass, temperature)
    return {"rate": rate, "a_year": rate * YEAR}


def composition(fluid: str, molar_mass: float | None = None) -> Found:
    """What a gas is made of."""
    found = emissions.split(fluid, molar_mass)
    return {"methane": found.methane, "carbon": found.carbon, "co2": found.co2, "molar_mass": found.molar_mass}


def yearly(rate: float, gwp_set: str, discharge_to: str, **more: Any) -> Found:
    """Product and CO2 equivalent of a year of a leak."""
    found = footprint(rate, 8760, gwp_set, discharge_to, **more)
    return {"product": found.product, "co2e": found.co2e, "methane": found.methane}


def warming(gwp_set: str) -> Found:
    """Warming potential of fossil methane."""
    return {"potential": potential(gwp_set)[0]}


def lift(a_year: float = 1.0, **more: Any) -> Found:
    """Mass of the lifts of a year, low and middle."""
    found = emissions.lifts(Lifts(a_year, **more))
    return {"low": found.low * YEAR, "mass": found.mid * YEAR}


def fitting() -> Found:
    """What the fittings of a pilot leak."""
    found = emissions.fittings()
    return {"low": found.low, "rate": found.mid, "high": found.high}


def rule(pack: str, day: str, ppm: float | None = None, rate: float | None = None) -> Found:
    """What a rule pack says on a day."""
    found = emissions.judge(pack, date.fromisoformat(day), ppm, rate)
    return {"charge": found.charge, "over": "yes" if found.over else "no"}


CALCULATIONS: Mapping[str, Callable[..., Found]] = {
    "leak basis": basis, "leak basis that applies": applies, "leak factor": factor, "bubbles to mass": bubbles,
    "composition": composition, "leak of a year": yearly, "warming potential": warming, "lifts of a year": lift,
    "fittings of a pilot": fitting, "rule pack": rule,
}  # fmt: skip
