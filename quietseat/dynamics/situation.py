"""What a screening works on: the situation, the inlet line, its waves, cycling, and the words they share."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import cos, pi, sin
from typing import Protocol

from quietseat.dynamics import closed
from quietseat.dynamics.parameters import ranges
from quietseat.formula import R, Sheet
from quietseat.model import Dynamics
from quietseat.piping import sonic
from quietseat.sizing import gas as gas_flow
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table

_EMPTY = Dynamics()


class Limits(Protocol):
    """What a screening reads from the Basis."""

    @property
    def opening_time(self) -> str: ...  # "valve-frequency" or "cremers"
    @property
    def critical_length_margin(self) -> float: ...
    @property
    def critical_length_excess(self) -> float: ...
    @property
    def cycling_utilisation(self) -> float: ...
    @property
    def damaging_period(self) -> float: ...
    @property
    def inlet_loss_limit(self) -> float: ...
    @property
    def sense_area(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Situation:
    """What a screening needs to know. SI; pressures absolute Pa, losses differences; None = not known."""

    kind: str  # conventional, bellows, pilot
    phase: str  # gas, steam, liquid, two-phase
    set_pressure: float
    atmospheric: float
    blowdown: float  # fraction of gauge set
    relieving_pressure: float
    full_flow: float | None = None  # kg/s un-derated, at the lift the valve can reach
    least_flow: float | None = None  # kg/s, required flow of the smallest credible case
    blowdown_is_default: bool = False
    overpressure_now: float = 0.0  # fraction of gauge set, 0 at the pop
    pilot_action: str | None = None
    pilot_sense: str | None = None
    pilot_bleed: str | None = None
    sound_speed: float | None = None
    molar_mass: float | None = None
    k: float | None = None
    Z: float | None = None
    temperature: float | None = None
    density: float | None = None
    inlet_loss_full: float | None = None  # Pa at full flow
    inlet_length: float | None = None  # m of true length, vessel to valve
    pipe_area: float | None = None
    segments: tuple[tuple[float, float], ...] = ()  # (length, area) from vessel to valve; wins over the two above
    vessel_volume: float | None = None
    built_up: float = 0.0  # Pa at full flow
    dynamics: Dynamics = _EMPTY
    orifice: str | None = None
    effective_area: float | None = None
    lift_restriction: float | None = None
    bellows: bool = False
    # What marching in time needs beyond closed form; None or () = not known, then a plain reading of the above.
    pipes: tuple[tuple[float, float, float, float], ...] = ()  # length m, bore m, Darcy friction, K; vessel to valve
    superimposed: float | None = None  # Pa absolute, the back pressure before the valve opens
    outlet_bore: float | None = None  # m, of the outlet flange
    outlet_pipe: tuple[float, float, float, float] | None = None  # as `pipes`, the outlet line as one run
    fluid: str | None = None  # name in the property library
    full_area: float | None = None  # m2 un-derated flow area at full lift (actual area x actual coefficient)
    reported: bool = False  # the plant reports chatter, hammering or beaten seats


@dataclass(frozen=True, slots=True)
class Run:
    """The inlet line as acoustics see it; m, m2, 1/m, m3."""

    length: float
    acoustic: float  # length of the plain pipe with the same quarter wave
    area: float  # at the valve
    inertance: float  # sum of length over area
    volume: float


@dataclass(frozen=True, slots=True)
class Wave:
    """The pressure wave at opening: sound speed m/s, times s, pressure drop Pa."""

    sound_speed: float
    return_time: float
    opening_time: float
    drop: float


def equivalent_length(segments: tuple[tuple[float, float], ...]) -> float:
    """Length of the plain pipe with the same quarter wave as a stepped line, m.

    segments: (length m, area m2) from vessel to valve. The lowest wave number at which the line, open at
    the vessel, carries no flow at the shut valve; found by a bracketed secant.
    """
    total = sum(length for length, _ in segments)
    first = segments[0][1]
    if all(abs(area - first) <= 1e-9 * first for _, area in segments):
        return total

    def flow_at_valve(number: float) -> float:
        pressure, flow = 0.0, 1.0
        for length, area in segments:
            c, w = cos(number * length), sin(number * length)
            pressure, flow = pressure * c + flow * w / area, flow * c - pressure * w * area
        return flow

    low, high = 0.0, pi / total
    f_low, f_high = 1.0, flow_at_valve(high)
    if f_high >= 0:
        return total
    for _ in range(60):
        guess = (low * f_high - high * f_low) / (f_high - f_low)
        value = flow_at_valve(guess)
        if abs(value) < 1e-8:
            break
        if value > 0:
            low, f_low, f_high = guess, value, f_high / 2
        else:
            high, f_high, f_low = guess, value, f_low / 2
    return pi / (2 * guess)


def parts_of(situation: Situation) -> tuple[tuple[float, float], ...]:
    """Length (m) and area (m2) of each part of the inlet line. Raises CalculationFailed where length or bore is unknown."""
    if situation.segments:
        return situation.segments
    if situation.inlet_length is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "length of the inlet line unknown")
    if situation.pipe_area is None or situation.pipe_area <= 0:
        raise CalculationFailed(Status.NOT_COMPUTED, "bore of the inlet line unknown")
    return ((situation.inlet_length, situation.pipe_area),)


def run_of(situation: Situation) -> Run:
    """The inlet line of a situation. Raises CalculationFailed where length or bore is unknown."""
    parts = parts_of(situation)
    if not situation.segments:  # a valve may stand on the vessel itself
        ((length, area),) = parts
        if length < 0:
            raise CalculationFailed(Status.OUT_OF_RANGE, "length of the inlet line is negative")
        return Run(length, length, area, length / area, length * area)
    if any(length < 0 or area <= 0 for length, area in parts) or sum(length for length, _ in parts) <= 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "a segment of the inlet line has no length or bore")
    return Run(
        sum(length for length, _ in parts), equivalent_length(parts), parts[-1][1],
        sum(length / area for length, area in parts), sum(length * area for length, area in parts),
    )  # fmt: skip


def sound_speed(situation: Situation, sheet: Sheet) -> float:
    """Sound speed at the valve inlet, m/s: as stated, of the ideal gas with Z, or the estimate for a liquid."""
    if situation.sound_speed is not None:
        return situation.sound_speed
    if situation.phase in ("liquid", "two-phase"):
        if situation.phase == "two-phase":
            raise CalculationFailed(Status.NOT_COMPUTED, "sound speed of the two-phase inlet unknown")
        return sheet.given(
            "a", "sound speed of the liquid, not stated", ranges()["sound_speed_liquid"].low, "m/s",
            "table dynamics_ranges (estimate)",
        )  # fmt: skip
    k, molar_mass, temperature = situation.k, situation.molar_mass, situation.temperature
    if k is None or molar_mass is None or temperature is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "sound speed unknown: molar mass, k or temperature missing")
    return sheet.apply(
        "a", sonic.sound_speed_gas, k=k, Z=situation.Z or 1.0, temperature=temperature, molar_mass=molar_mass
    )


@lru_cache(maxsize=8)
def stroke_time(device: str, phase: str) -> tuple[float, float]:
    """Middle and high end of the stroke time of a kind of valve, s (table opening_times)."""
    row = table("opening_times").row(device=device, phase=phase)
    return float(row["mid"]), float(row["high"])


def waves(situation: Situation, line: Run, flow: float, speed: float, opening: float, sheet: Sheet) -> Wave:
    """Wave return and the drop at the valve while it opens."""
    travel = sheet.apply("t_1", sonic.travel_time, length=line.length, sound_speed=speed)
    back = sheet.apply("t_w", sonic.wave_return, travel=travel)
    if opening >= back:
        if sheet.record:
            sheet.note("wave", "opening against wave return", f"slow: {opening:.4g} s >= {back:.4g} s", "acoustics")
        drop = sheet.apply("dp_w", closed.ramp_drop, inertance=line.inertance, flow=flow, opening_time=opening)
        return Wave(speed, back, opening, drop)
    if sheet.record:
        sheet.note("wave", "opening against wave return", f"sudden: {opening:.4g} s < {back:.4g} s", "acoustics")
    k, molar_mass, temperature = situation.k, situation.molar_mass, situation.temperature
    if situation.phase in ("liquid", "two-phase") or k is None or molar_mass is None or temperature is None:
        drop = sheet.apply("dp_w", closed.sudden_drop, sound_speed=speed, flow=flow, area=line.area)
        return Wave(speed, back, opening, drop)
    k = max(k, 1.001)
    coefficient = sheet.apply("C", gas_flow.coefficient, c=R**-0.5, k=k)
    flux = sheet.apply(
        "G", gas_flow.critical_flux, C=coefficient, P1=situation.relieving_pressure, M=molar_mass, T=temperature,
        Z=situation.Z or 1.0,
    )  # fmt: skip
    mach = sheet.given(
        "M",
        "pipe Mach number behind the expansion wave",
        mach_of(flow / (flux * line.area), k),
        "",
        "closed.throat_ratio",
    )
    drop = sheet.apply("dp_w", closed.expansion_drop, pressure=situation.set_pressure, mach=mach, k=k)
    return Wave(speed, back, opening, drop)


def mach_of(throat_ratio: float, k: float) -> float:
    """Pipe Mach number for a valve-to-pipe area ratio: closed.throat_ratio solved by the secant rule.

    A ratio of 1 and above chokes the pipe itself: 1.
    """
    if throat_ratio >= 1:
        return 1.0
    old, new = 0.0, throat_ratio * 0.55
    f_old, f_new = -throat_ratio, closed.throat_ratio(new, k) - throat_ratio
    for _ in range(30):
        if abs(f_new) < 1e-10 or f_new == f_old:
            break
        old, new, f_old = new, min(new - f_new * (new - old) / (f_new - f_old), 1.0), f_new
        f_new = closed.throat_ratio(new, k) - throat_ratio
    return new


def cycle_period(
    situation: Situation,
    full: float,
    blowdown: float,
    lowest: float,
    speed: float,
    basis: Limits,
    sheet: Sheet,
) -> tuple[float | None, bool]:
    """Cycle period (None when it does not cycle or the volume is unknown) and whether the valve cycles."""
    least = situation.least_flow
    if least is None or least <= 0 or least >= min(lowest, full):
        return None, False
    period = None
    if situation.vessel_volume is not None:
        period = sheet.apply(
            "T_cycle", closed.cycle_period, volume=situation.vessel_volume, blowdown=blowdown,
            set_gauge=situation.set_pressure - situation.atmospheric, sound_speed=speed, inflow=least,
            valve_flow=full,
        )  # fmt: skip
    few = least / full < basis.cycling_utilisation
    return period, few or (period is not None and period < basis.damaging_period)


def share(pressure: float, situation: Situation) -> str:
    """A pressure difference (Pa) in words, as a share of gauge set."""
    percent = 100 * pressure / (situation.set_pressure - situation.atmospheric)
    return f"{percent:.0f} %" if percent >= 10 else f"{percent:.2g} %"


def pop_words(period: float | None) -> str:
    """How often a quiet valve pops at the lowest flow; empty where it does not."""
    return "" if period is None else f" At the lowest flow it opens and shuts about every {period:.2g} s."


def cycle_words(situation: Situation, period: float | None, basis: Limits) -> str:
    """Why and how fast the valve opens and shuts."""
    share = f"{100 * (situation.least_flow or 0.0) / (situation.full_flow or 1.0):.2g} %"
    words = f"The smallest case needs only {share} of what the valve passes: it opens, empties the vessel and shuts"
    if period is None:
        return f"{words}, again and again; the period is unknown because the vessel volume is."
    harm = ", fast enough to damage the seat" if period < basis.damaging_period else ""
    return f"{words} about every {period:.2g} s{harm}."


