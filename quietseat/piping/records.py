"""The records of the piping calculations, and the choices they need from the Basis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from quietseat.status import CalculationFailed, Status


class Choices(Protocol):
    """The part of the Basis that piping reads."""

    @property
    def atmospheric_pressure(self) -> float: ...  # Pa absolute
    @property
    def default_roughness(self) -> float: ...  # m
    @property
    def default_schedule(self) -> str: ...  # "by size", "40", "80"
    @property
    def default_entrance(self) -> str: ...
    @property
    def default_block_valve(self) -> str: ...
    @property
    def friction_correlation(self) -> str: ...  # Colebrook, Haaland


@dataclass(frozen=True, slots=True)
class FlowState:
    """The fluid as it leaves the vessel. None = not known.

    `pressure` is the stagnation pressure in the vessel. Two-phase density is the omega line
    v = specific_volume (1 + omega (reference_pressure/p - 1)); reference_pressure None = `pressure`.
    """

    phase: str  # gas, steam, liquid, two-phase
    pressure: float  # Pa absolute
    temperature: float | None = None  # K
    molar_mass: float | None = None  # kg/mol
    k: float | None = None  # ideal-gas cp/cv
    Z: float | None = None
    density: float | None = None  # kg/m3, liquids
    viscosity: float | None = None  # Pa s
    specific_volume: float | None = None  # m3/kg at reference_pressure, two-phase
    omega: float | None = None
    reference_pressure: float | None = None  # Pa absolute
    saturation_pressure: float | None = None  # Pa absolute, liquids
    Z_outlet: float | None = None  # in the outlet pipe; None = 1


@dataclass(frozen=True, slots=True)
class InletResult:
    """Non-recoverable loss from the vessel to the valve inlet flange at one flow.

    loss, mach, stagnation are None unless status is ok. static_head is reported beside the loss, never in it.
    """

    loss: float | None  # Pa, of stagnation pressure
    fraction: float | None  # of gauge set, where the set was given
    mach: float | None  # at the valve inlet; None for liquid
    static_head: float | None  # Pa, density x g x rise; None where rise or density is unknown
    stagnation: float | None  # Pa absolute at the valve inlet, static head not counted
    status: Status
    reason: str
    K_total: float | None  # fittings and friction at this flow, on the smallest bore
    length: float  # m
    indicative: bool  # True: homogeneous two-phase
    choked: bool  # the line cannot pass the flow
    assumed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OutletResult:
    """Static pressure at the valve outlet flange at one flow, marched upstream from the discharge point."""

    built_up: float | None  # Pa, outlet_static - superimposed
    outlet_static: float | None  # Pa absolute at the valve outlet flange
    mach_outlet: float | None  # at the valve outlet flange; None for liquid
    mach_exit: float | None  # at the discharge point
    mach_max: float | None  # highest of the line
    choked: bool  # somewhere in the line
    floor: float | None  # Pa absolute: static pressure of the choked valve outlet, whatever the pipe
    above_floor: float | None  # Pa, outlet_static - max(floor, superimposed): what the pipe adds
    exit_pressure: float | None  # Pa absolute, static
    exit_temperature: float | None  # K, static, gas
    exit_bore: float | None  # m
    status: Status
    reason: str
    K_total: float | None  # on the smallest bore
    length: float
    indicative: bool
    assumed: tuple[str, ...]


def known(value: float | None, what: str, mend: str = "") -> float:
    """The value, or CalculationFailed when nobody stated it. Missing is never zero."""
    if value is None:
        raise CalculationFailed(Status.NOT_COMPUTED, f"{what} unknown{': ' + mend if mend else ''}")
    return value


def positive_flow(flow: float, label: str) -> float:
    """The flow in kg/s, or CalculationFailed where it is not above zero."""
    if not flow > 0.0:
        raise CalculationFailed(Status.NOT_COMPUTED, f"{label} flow unknown or not above zero ({flow:.6g} kg/s)")
    return flow
