"""What sizing is asked and what it answers. SI; pressures absolute."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Protocol

from quietseat.status import Status

METHODS = ("gas", "steam", "liquid", "two-phase", "subcooled", "hem")
KINDS = ("conventional", "bellows", "pilot")
EDITIONS = ("7E", "8E", "9E", "10E")
API, ISO = "API 520-1", "ISO 4126-7"
FACTORS = ("Kd", "Kb", "Kw", "Kc", "Kv", "Kp", "KN", "KSH")

_NONE: Mapping[str, float] = MappingProxyType({})


class ChoicesLike(Protocol):
    """The choices of the Basis that sizing reads; a Basis and `Choices` both fit."""

    @property
    def constants(self) -> str: ...
    @property
    def units_of_constants(self) -> str: ...
    @property
    def napier_below_one(self) -> str: ...
    @property
    def omega_root(self) -> str: ...
    @property
    def low_subcooling(self) -> str: ...
    @property
    def viscosity_area(self) -> str: ...
    @property
    def edition(self) -> str: ...
    @property
    def standard(self) -> str: ...
    @property
    def factor_reading(self) -> str: ...
    @property
    def atmospheric_pressure(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Choices:
    """Stand-in for a Basis, with its defaults.

    constants: "exact" or "printed"; units_of_constants: "SI" or "USC" (which printed roundings);
    napier_below_one: "clamp" or "follow"; omega_root: "exact" or "fit"; low_subcooling: "closed" or
    "implicit"; viscosity_area: "orifice" (the selected one, as the standard does) or "required".
    """

    constants: str = "printed"
    units_of_constants: str = "SI"
    napier_below_one: str = "clamp"
    omega_root: str = "exact"
    low_subcooling: str = "closed"
    viscosity_area: str = "orifice"
    edition: str = "10E"
    standard: str = API
    factor_reading: str = "two decimals"  # or "digitised": how Kb and Kw are read off the bellows curves
    atmospheric_pressure: float = 101325.0  # Pa


@dataclass(frozen=True, slots=True)
class Request:
    """One sizing question. `method` is needed; what else is needed depends on it. None = not known."""

    method: str  # gas, steam, liquid, two-phase, subcooled, hem
    standard: str | None = None  # None = the choices'
    edition: str | None = None
    relieving_pressure: float | None = None  # Pa absolute; or the two ways below
    set_pressure: float | None = None  # Pa absolute
    overpressure: float | None = None  # fraction of gauge set
    mawp: float | None = None  # Pa absolute
    accumulation: float | None = None  # factor on gauge MAWP, 1.10
    back_pressure: float | None = None  # Pa absolute, total at the valve outlet; None = atmospheric
    kind: str = "conventional"  # conventional, bellows, pilot
    flow: float | None = None  # kg/s
    volume_flow: float | None = None  # m3/s, liquids
    molar_mass: float | None = None  # kg/mol
    k: float | None = None  # ideal-gas cp/cv at relieving temperature
    temperature: float | None = None  # K
    Z: float | None = None  # None = 1
    reduced_volume: float | None = None  # specific volume / critical specific volume, for the near-critical flag
    specific_gravity: float | None = None  # liquid, water at 15.6 degC = 1
    density: float | None = None  # kg/m3, liquid at P1
    viscosity: float | None = None  # Pa s
    viscosity_ssu: float | None = None  # Saybolt seconds universal; takes the printed Reynolds shortcut
    certified: bool = True  # liquid: valve with capacity certification
    specific_volume: float | None = None  # m3/kg at P1 (two-phase mixture; ISO steam)
    specific_volume_90: float | None = None  # m3/kg at 0.9 P1, same entropy
    saturation_pressure: float | None = None  # Pa absolute
    density_90: float | None = None  # kg/m3 of the mixture at 0.9 of the saturation pressure
    fluid: str | None = None  # name or key of the property library (hem)
    quality: float | None = None  # vapour mass fraction at the inlet (hem)
    coefficient: float | None = None  # API Kd or ISO Kdr
    coefficient_source: str = ""  # where the coefficient comes from; "" = the user
    area: float | None = None  # m2; ISO: size returns the flow through it
    overrides: Mapping[str, float] = field(default_factory=lambda: _NONE)  # Kd Kb Kw Kc Kv Kp KN KSH


@dataclass(frozen=True, slots=True)
class Result:
    """The answer of `size`. `status` other than ok: `reason` says why and the areas are None."""

    status: Status = Status.OK
    reason: str = ""
    method: str = ""
    standard: str = ""
    edition: str = ""
    regime: str = ""  # critical, subcritical, liquid, subcooled-high, subcooled-low
    required_area: float | None = None  # m2, effective (API) or flow area (ISO)
    orifice: str | None = None  # letter of one valve that is enough
    orifice_reason: str = ""  # why there is none
    valves: tuple[int, str] | None = None  # how many of which letter, where one is too small
    selected_area: float | None = None  # m2, of the letter (times the number of valves)
    relieving_pressure: float | None = None  # Pa absolute
    back_pressure: float | None = None  # Pa absolute
    factors: Mapping[str, float] = field(default_factory=lambda: _NONE)
    mass_flux: float | None = None  # kg/m2/s before any factor K
    flow: float | None = None  # kg/s
    volume_flow: float | None = None  # m3/s, liquids
    omega: float | None = None
    eta_c: float | None = None
    choking_pressure: float | None = None  # Pa absolute
    reynolds: float | None = None
    flags: tuple[str, ...] = ()  # doubts that do not stop the calculation


@dataclass(frozen=True, slots=True)
class Pressures:
    """The pressures one calculation works with, all resolved."""

    relieving: float  # Pa absolute, P1
    back: float  # Pa absolute, P2
    atmospheric: float  # Pa
    set_pressure: float | None  # Pa absolute
    overpressure: float | None  # (P1 - set)/(set - atmospheric)
    factor_reading: str = "two decimals"


@dataclass(frozen=True, slots=True)
class Flux:
    """What one square metre of nozzle passes, and the factors that stand between it and an area."""

    mass_flux: float  # kg/m2/s before any factor
    product: float  # product of all factors except Kv
    regime: str
    factors: Mapping[str, float]
    area_constant: float = 1.0  # the printed area constant of the two-phase equations, else 1
    density: float | None = None  # kg/m3, where a volume flow makes sense
    omega: float | None = None
    eta_c: float | None = None
    choking_pressure: float | None = None
    viscous: bool = False  # Kv still to be found from the area
