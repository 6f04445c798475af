"""Fluids by the names plants use, and their states from the property library (loaded at first use).

Only pure fluids (and air) have a key; mixtures such as natural gas or LPG have none, and say why.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

from quietseat.formula import R
from quietseat.status import CalculationFailed, Status
from quietseat.tables import Row, table

if TYPE_CHECKING:
    from types import ModuleType

LIBRARY = "CoolProp 8, Helmholtz equations of state (HEOS)"

# Words which say the state, not the fluid; dropped when the name is not known with them.
_STATE_WORDS = (
    "vapour", "vapor", "vapours", "vapors", "vap", "gas", "liquid", "liq", "sat", "saturated", "dry", "wet", "pure",
    "superheated", "sh", "lp", "mp", "hp", "hot", "cold", "gaseous", "compressed", "liquefied", "liquified", "anhydrous",
)  # fmt: skip
_BRACKETS = re.compile(r"[(\[][^)\]]*[)\]]")
_SPLIT = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True, slots=True)
class FluidState:
    """One state of a fluid. None = the library has no value there."""

    key: str
    phase: str  # gas, liquid, two-phase, supercritical
    pressure: float  # Pa absolute
    temperature: float  # K
    quality: float | None  # vapour mass fraction, two-phase only
    molar_mass: float  # kg/mol
    k_ideal: float  # ideal-gas cp/cv at this temperature
    Z: float
    density: float  # kg/m3
    viscosity: float | None  # Pa s
    sound_speed: float | None  # m/s, single phase only
    saturation_temperature: float | None  # K at this pressure, below the critical pressure
    saturation_pressure: float | None  # Pa absolute at this temperature, below the critical temperature
    latent_heat: float | None  # J/kg at this pressure
    critical_pressure: float  # Pa absolute
    critical_temperature: float  # K
    reduced_volume: float  # specific volume / critical specific volume
    entropy: float  # J/kg/K
    enthalpy: float  # J/kg
    cp: float | None  # J/kg/K, single phase only
    source: str = LIBRARY


@cache
def _names() -> Mapping[str, Row]:
    """Every name and alias, reduced, to its row of the table."""
    out: dict[str, Row] = {}
    rows = table("fluids").rows
    for row in rows:
        for name in (row["name"], *(row["aliases"] or "").split("|")):
            reduced = _reduce(name)
            if not reduced:
                continue
            if out.get(reduced, row) is not row:
                raise ValueError(f"table fluids: {name!r} names both {out[reduced]['name']} and {row['name']}")
            out[reduced] = row
    for row in rows:  # the library's own names; water and steam share one
        if row["key"] is not None:
            out.setdefault(_reduce(row["key"]), row)
    return out


def _reduce(name: str) -> str:
    return "".join(_SPLIT.split(name.lower()))


@lru_cache(maxsize=4096)
def entry(name: str) -> Row | None:
    """The row of the fluids table for a name as a plant writes it, or None if it is not known.

    Case, spaces, hyphens and words of state ("vapour", "sat") do not matter. The row's `key` is None where there is no
    pure fluid of the library behind the name; `note` says why.
    """
    names = _names()
    bare = _BRACKETS.sub(" ", name)
    for text in (name, bare):
        found = names.get(_reduce(text))
        if found is not None:
            return found
    words = [word for word in _SPLIT.split(bare.lower()) if word and word not in _STATE_WORDS]
    if not words:
        return None
    found = names.get("".join(words))
    if found is not None:
        return found
    inside = [part for part in re.findall(r"[(\[]([^)\]]*)[)\]]", name) if names.get(_reduce(part))]
    return names.get(_reduce(inside[0])) if len(inside) == 1 else None


def resolve(name: str | None) -> str | None:
    """The library key of a fluid name ("Propane vapour" -> "n-Propane"), or None (see `why_not`)."""
    found = entry(name) if name else None
    return found["key"] if found is not None else None


def why_not(name: str | None) -> str:
    """Why a name has no pure fluid of the library, in one sentence; "" if it has one."""
    if not name:
        return "no fluid given"
    found = entry(name)
    if found is None:
        return f"{name!r} is not a fluid this tool knows by name"
    if found["key"] is None:
        return f"{found['name']}: {found['note']}"
    return ""


@cache
def _library() -> ModuleType:
    import CoolProp

    return CoolProp


@cache
def _abstract(key: str) -> Any:
    """The library's state object of one fluid, made once. Raises CalculationFailed for an unknown key."""
    try:
        return _library().AbstractState("HEOS", key)
    except ValueError:
        raise CalculationFailed(Status.NOT_COMPUTED, f"the property library has no fluid {key!r}") from None


def _update(key: str, pair: str, first: float, second: float, words: str) -> Any:
    state = _abstract(key)
    try:
        state.update(getattr(_library(), pair), first, second)
    except ValueError as error:
        reason = str(error).split(" : ")[0].split("\n")[0]
        raise CalculationFailed(Status.OUT_OF_RANGE, f"{key} at {words}: {reason}") from None
    return state


def _maybe(read: Any) -> float | None:
    """A property the library may not have at this state."""
    try:
        value = float(read())
    except ValueError:
        return None
    return value if value == value and abs(value) != float("inf") else None


def known(key: str) -> str:
    """The library key for a key or a name. Raises CalculationFailed saying why there is none."""
    found = resolve(key)
    if found is None:
        raise CalculationFailed(Status.NOT_COMPUTED, f"no properties: {why_not(key)}")
    return found


def molar_mass(name: str) -> float:
    """Molar mass (kg/mol) of a fluid by key or name. Raises CalculationFailed where the library has no such fluid."""
    return float(_abstract(known(name)).molar_mass())


@lru_cache(maxsize=8192)
def state(
    key: str, pressure: float, temperature: float | None = None, quality: float | None = None
) -> FluidState:
    """State at a pressure (Pa absolute) and a temperature (K), or on the saturation line at a quality (0 to 1).

    key: library key or plant name. Raises CalculationFailed where the library has no such fluid or state.
    """
    key = known(key)
    if (temperature is None) == (quality is None):
        raise CalculationFailed(Status.NOT_COMPUTED, f"{key}: give either temperature or quality")
    if quality is not None:
        if not 0.0 <= quality <= 1.0:
            raise CalculationFailed(Status.OUT_OF_RANGE, f"{key}: quality {quality:.4g} is not between 0 and 1")
        at = _update(key, "PQ_INPUTS", pressure, quality, f"{pressure / 1e5:.5g} bara, quality {quality:.4g}")
    else:
        assert temperature is not None
        at = _update(key, "PT_INPUTS", pressure, temperature, f"{pressure / 1e5:.5g} bara, {temperature:.5g} K")
    return _read(key, at, pressure, quality)


def _read(key: str, at: Any, pressure: float, quality: float | None) -> FluidState:
    """Everything of the state that the library object now holds."""
    T, rho, M = at.T(), at.rhomass(), at.molar_mass()
    p_c, T_c, rho_c = at.p_critical(), at.T_critical(), at.rhomass_critical()
    cp0 = at.cp0molar()
    entropy, enthalpy = at.smass(), at.hmass()
    mixed = quality is not None and 0.0 < quality < 1.0
    viscosity = None if mixed else _maybe(at.viscosity)
    sound = None if mixed else _maybe(at.speed_sound)
    cp = None if mixed else _maybe(at.cpmass)
    T_sat, latent = _boiling(key, pressure) if pressure < p_c else (None, None)
    P_sat = _saturation_pressure(key, T) if T_c > T else None
    if mixed:
        phase = "two-phase"
    elif quality is not None:
        phase = "gas" if quality == 1.0 else "liquid"
    elif T_sat is not None:
        phase = "gas" if T_sat <= T else "liquid"
    else:
        phase = "supercritical" if T_c <= T else "liquid"
    return FluidState(
        key, phase, pressure, T, quality, M, cp0 / (cp0 - R), pressure * M / (rho * R * T), rho, viscosity, sound,
        T_sat, P_sat, latent, p_c, T_c, rho_c / rho, entropy, enthalpy, cp,
    )  # fmt: skip


@lru_cache(maxsize=8192)
def _boiling(key: str, pressure: float) -> tuple[float | None, float | None]:
    """Saturation temperature and latent heat at a pressure, or None where there is none."""
    try:
        at = _update(key, "PQ_INPUTS", pressure, 0.0, "")
        liquid, T = at.hmass(), at.T()
        at = _update(key, "PQ_INPUTS", pressure, 1.0, "")
    except CalculationFailed:
        return None, None
    return T, at.hmass() - liquid


@lru_cache(maxsize=8192)
def _saturation_pressure(key: str, temperature: float) -> float | None:
    try:
        return float(_update(key, "QT_INPUTS", 0.0, temperature, "").p())
    except CalculationFailed:
        return None


def saturation_temperature(key: str, pressure: float) -> float:
    """Boiling temperature (K) at a pressure (Pa absolute). Raises CalculationFailed above critical or below triple."""
    key = known(key)
    found = _boiling(key, pressure)[0]
    if found is None:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"{key} has no boiling temperature at {pressure / 1e5:.5g} bara")
    return found


def saturation_pressure(key: str, temperature: float) -> float:
    """Vapour pressure (Pa absolute) at a temperature (K). Raises CalculationFailed above critical or below triple."""
    key = known(key)
    found = _saturation_pressure(key, temperature)
    if found is None:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"{key} has no vapour pressure at {temperature:.5g} K")
    return found


def isentrope(key: str, entropy: float, pressure: float) -> tuple[float, float]:
    """Density (kg/m3) and enthalpy (J/kg) at a pressure (Pa absolute) on an isentrope (J/kg/K), two-phase included."""
    at = _update(key, "PSmass_INPUTS", pressure, entropy, f"{pressure / 1e5:.5g} bara on the isentrope")
    return float(at.rhomass()), float(at.hmass())


def isentrope_volume(key: str, entropy: float, pressure: float) -> float:
    """Specific volume (m3/kg) at a pressure (Pa absolute) on an isentrope (J/kg/K); v9 of the omega method."""
    return 1.0 / isentrope(known(key), entropy, pressure)[0]


def lowest_pressure(key: str) -> float:
    """The pressure (Pa absolute) of the triple point: below it the library has no flow state."""
    return float(_abstract(known(key)).p_triple())
