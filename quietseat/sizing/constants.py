"""The unit constants of the sizing equations: exact, or rounded as printed in SI or in US units.

Every equation stands once, in SI. What differs between "exact" and "printed" is one number in front of it; a
printed number is turned to SI here by the units its book states.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from math import pi, sqrt

from quietseat.formula import R, Sheet
from quietseat.sizing.request import ChoicesLike
from quietseat.units import UNITS

# The units the printed constants are written in.
POUND, INCH, FOOT, PSI, GALLON_MINUTE, LITRE_MINUTE, CENTIPOISE, RANKINE, HOUR, BAR = (
    UNITS[name].factor for name in ("lb", "in", "ft", "psi", "gpm", "L/min", "cP", "degR", "h", "bar")
)
GRAM_MOLE = 1e-3  # kg/mol: g/mol and lb/lbmol are the same number

WATER_DENSITY = 999.01  # kg/m3, what a specific gravity of 1 stands for in the liquid equations (computed)

_FLOW_SI, _FLOW_USC = 1 / HOUR, POUND / HOUR  # kg/h, lb/h
_GAS_SI = _FLOW_SI / (1e-6 * 1e3 * sqrt(GRAM_MOLE))  # kg/h; mm2, kPa, g/mol, K
_GAS_USC = _FLOW_USC / (INCH**2 * PSI * sqrt(GRAM_MOLE / RANKINE))  # lb/h; in2, psi, lb/lbmol, degR
_GAS_ISO = _FLOW_SI / (BAR * 1e-6 * sqrt(GRAM_MOLE))  # kg/h; mm2, bar, g/mol, K
_STEAM_SI, _STEAM_USC = _FLOW_SI / (1e-6 * 1e3), _FLOW_USC / (INCH**2 * PSI)
_FLUX_USC = POUND / FOOT**2 / sqrt(PSI * POUND / FOOT**3)  # lb/s.ft2; psi, lb/ft3
_REYNOLDS_SI = CENTIPOISE * 1e-3 / LITRE_MINUTE  # L/min, cP, mm2
_REYNOLDS_USC = CENTIPOISE * INCH / GALLON_MINUTE  # gpm, cP, in2

_API = "API 520-1"


@dataclass(frozen=True, slots=True)
class UnitConstant:
    """One constant in coherent SI: its value, unit, and where it stands."""

    value: float
    unit: str
    source: str


# form: (SI unit, exact value or None, (as printed in SI, in coherent SI), (as printed in US units, same), source).
# A printed SI constant which stands in the numerator of an area is inverted here.
_FORMS: Mapping[str, tuple[str, float | None, tuple[str, float], tuple[str, float], str]] = {
    "gas": (
        "(J/mol/K)**-0.5", 1 / sqrt(R), ("0.03948", 0.03948 * _GAS_SI), ("520", 520 * _GAS_USC),
        f"{_API} coefficient C; 0.03948 and 520 seen",
    ),
    "subcritical": (
        "(J/mol/K)**-0.5", sqrt(2 / R), ("17.9", _GAS_SI / 17.9), ("735", 735 * _GAS_USC),
        f"{_API} subcritical gas equation; 17.9 and 735 seen",
    ),
    "steam": (
        "s/m", None, ("190.5", _STEAM_SI / 190.5), ("51.5", 51.5 * _STEAM_USC),
        f"{_API} steam equation (Napier); 190.5 and 51.5 seen",
    ),
    "steam-7E": (
        "s/m", None, ("190.4", _STEAM_SI / 190.4), ("51.5", 51.5 * _STEAM_USC),
        f"{_API} 7E steam equation (Napier); 190.4 memory-hi, 51.5 seen",
    ),
    "liquid": (
        "m/s/Pa**0.5", sqrt(2 / WATER_DENSITY),
        ("11.78", LITRE_MINUTE / (11.78 * 1e-6 * sqrt(1e3))), ("38", 38 * GALLON_MINUTE / (INCH**2 * sqrt(PSI))),
        f"{_API} liquid equation; 11.78 seen, 38 memory-hi",
    ),
    "reynolds": (
        "kg/m**3", 2 / sqrt(pi) * WATER_DENSITY, ("18 800", 18800 * _REYNOLDS_SI), ("2800", 2800 * _REYNOLDS_USC),
        f"{_API} Reynolds number; 18 800 seen, 2800 memory-hi",
    ),
    "reynolds-ssu": (
        "s/m**2", None, ("85 220", 85220 * 1e-3 / LITRE_MINUTE), ("12 700", 12700 * INCH / GALLON_MINUTE),
        f"{_API} Reynolds number from Saybolt seconds; memory-hi",
    ),
    "two-phase": (
        "", 1.0, ("1", 1.0), ("68.09", 68.09 * _FLUX_USC), f"{_API} Annex C omega method; seen, 68.09 memory-hi",
    ),
    "all-liquid": (
        "", sqrt(2), ("1.414", 1.414), ("96.3", 96.3 * _FLUX_USC),
        f"{_API} Annex C high subcooling; 1.414 seen (polykin), 96.3 memory-hi",
    ),
    "area": (
        "", 1.0, ("277.8", 277.8 * 1e-6 / _FLOW_SI), ("0.04", 0.04 * INCH**2 / _FLOW_USC * POUND / FOOT**2),
        f"{_API} Annex C two-phase area; 277.8 seen, 0.04 memory-hi",
    ),
    "area-subcooled": (
        "", 1.0, ("16.67", 16.67 * 1e-6 / LITRE_MINUTE),
        ("0.3208", 0.3208 * INCH**2 / (GALLON_MINUTE / FOOT**3) / FOOT**2),
        f"{_API} Annex C subcooled area; 16.67 seen, 0.3208 memory-hi",
    ),
    "napier-top": (
        "1/Pa", None, ("0.02764", 0.02764 / 1e3), ("0.1906", 0.1906 / PSI), f"{_API} Napier correction KN; seen",
    ),
    "napier-bottom": (
        "1/Pa", None, ("0.03324", 0.03324 / 1e3), ("0.2292", 0.2292 / PSI), f"{_API} Napier correction KN; seen",
    ),
    "napier-from": (
        "Pa", None, ("10 339 kPa", 10339e3), ("1500 psia", 1500 * PSI), f"{_API} Napier correction KN; seen",
    ),
    "napier-to": (
        "Pa", None, ("22 057 kPa", 22057e3), ("3200 psia", 3200 * PSI), f"{_API} Napier correction KN; seen",
    ),
    "iso-gas": (
        "(J/mol/K)**-0.5", 1 / sqrt(R), ("3.948", 3.948 * _GAS_ISO), ("3.948", 0.0),
        "ISO 4126-7 coefficient C; computed",
    ),
    "iso-volume": (
        "(J/mol/K)**0.5", sqrt(R),
        ("0.2883", 0.2883 * sqrt(BAR * GRAM_MOLE)), ("0.2883", 0.0),
        "ISO 4126-7 gas and steam by specific volume; memory-hi",
    ),
    "iso-liquid": (
        "", sqrt(2), ("1.61", 1.61 * _FLOW_SI / (1e-6 * sqrt(BAR))), ("1.61", 0.0),
        "ISO 4126-7 liquid equation; memory-hi",
    ),
}  # fmt: skip


def book_unit(system: str) -> float:
    """SI value of 1 of the gas coefficient C as a book writes it: "SI", "USC" (API) or "iso"."""
    return _BOOK_UNITS[system]


_BOOK_UNITS = {"SI": _GAS_SI, "USC": _GAS_USC, "iso": _GAS_ISO}


@cache
def _constant(form: str, constants: str, units: str) -> UnitConstant:
    unit, exact, (text_si, si), (text_usc, usc), source = _FORMS[form]
    if constants == "exact" and exact is not None:
        return UnitConstant(exact, unit, f"exact, not rounded as printed; {source}")
    if units == "USC" and usc:
        return UnitConstant(usc, unit, f"{text_usc} as printed for US units; {source}")
    return UnitConstant(si, unit, f"{text_si} as printed for SI units; {source}")


def constant(symbol: str, form: str, choices: ChoicesLike, sheet: Sheet) -> float:
    """The constant of one equation form, in SI, recorded as a step.

    form: a key of this module's table. Taken by choices.constants ("exact", "printed") and, where printed,
    choices.units_of_constants ("SI", "USC"). Steam and the Napier correction have no exact form: printed.
    """
    found = _constant(form, choices.constants, choices.units_of_constants)
    if sheet.record:
        sheet.given(symbol, "unit constant, in coherent SI", found.value, found.unit, found.source)
    return found.value
