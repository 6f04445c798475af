"""Formulas of stability in closed form: waves, force balance, quarter wave, bare vessel, cycling, pilots.

Every one is the only copy of its equation; the branches stand in `screening`.
"""

from __future__ import annotations

from math import pi, sqrt
from typing import Annotated

from quietseat.formula import (
    Hz,
    N,
    N_m,
    One,
    Pa,
    PaD,
    PaG,
    formula,
    kg,
    kg_m3,
    kg_s,
    m,
    m2,
    m3,
    m_s,
    rad_s,
    s,
)

per_m = Annotated[float, "1/m"]
kg_sPa = Annotated[float, "kg/s/Pa"]
kg_sm = Annotated[float, "kg/s/m"]
Ns_m = Annotated[float, "N*s/m"]

_WAVE = "acoustics of a line open to a vessel"
_MODEL = "one-degree-of-freedom valve model (computed)"
_QUARTER = "linear theory of a valve on a line, first order near the quarter wave (computed)"


@formula(_WAVE)
def quarter_wave_frequency(length: m, sound_speed: m_s) -> Hz:
    """Quarter-wave frequency of the inlet line."""
    return sound_speed / (4 * length)


@formula("single mass on a spring")
def valve_frequency(spring_rate: N_m, mass: kg) -> Hz:
    """Natural frequency of the disc on its spring."""
    return sqrt(spring_rate / mass) / (2 * pi)


@formula("popping-valve runs of a one-degree-of-freedom model: 0.6 to 0.8 periods (computed)")
def opening_time_frequency(stroke_cycles: One, frequency: Hz) -> s:
    """Opening time from the valve's own frequency."""
    return stroke_cycles / frequency


@formula("Cremers, Friedel and Pallaks 2001, J. Loss Prev. 14:261 (memory-lo)", empirical=True)
def opening_time_cremers(seat_diameter: m, set_pressure: Pa, atmospheric: Pa, lift_fraction: One) -> s:
    """Opening time by the correlation of Cremers et al."""
    return (  # type: ignore[no-any-return]
        0.015
        + 0.02
        * sqrt(2 * seat_diameter)
        / ((set_pressure / atmospheric) ** (2 / 3) * (1 - atmospheric / set_pressure) ** 2)
    ) * lift_fraction**0.7


@formula("acoustics: flow ramped over longer than the wave return (computed)")
def ramp_drop(inertance: per_m, flow: kg_s, opening_time: s) -> PaD:
    """Wave drop at the valve while it opens, slow opening."""
    return 2 * inertance * flow / opening_time


@formula("Joukowsky")
def sudden_drop(sound_speed: m_s, flow: kg_s, area: m2) -> PaD:
    """Wave drop at the valve, opening faster than the wave returns."""
    return sound_speed * flow / area


@formula("Joukowsky")
def surge(density: kg_m3, sound_speed: m_s, velocity: m_s) -> PaD:
    """Pressure surge when a liquid column of this velocity is stopped."""
    return density * sound_speed * velocity


@formula("characteristics: choked valve at the end of a line (computed)")
def throat_ratio(mach: One, k: One) -> One:
    """Valve flow area over pipe area that gives this Mach number in the pipe."""
    return mach * ((2 / (k + 1)) * (1 + (k - 1) / 2 * mach**2)) ** (-(k + 1) / (2 * (k - 1)))  # type: ignore[no-any-return]


@formula("simple expansion wave of an ideal gas (computed)")
def expansion_drop(pressure: Pa, mach: One, k: One) -> PaD:
    """Wave drop at the valve on sudden opening from rest, exact gas."""
    return pressure * (1 - (1 + (k - 1) / 2 * mach) ** (-2 * k / (k - 1)))  # type: ignore[no-any-return]


@formula("force balance at the pop: set (1 + OP) - reseat")
def balance_allowed(set_gauge: PaG, blowdown: One, overpressure: One) -> PaD:
    """Pressure the valve may lose before its spring wins."""
    return set_gauge * (blowdown + overpressure)


@formula("simple force balance, API 520-2 type (form computed, attribution memory-md)")
def balance_used(loss: PaD, wave: PaD, back: PaD) -> PaD:
    """Pressure lost at the pop: friction, wave and the back pressure felt by the disc."""
    return loss + wave + back


@formula(_MODEL)
def disc_area(seat_area: m2, area_ratio: One, knee: One, lift_fraction: One) -> m2:
    """Effective disc area at a lift."""
    return seat_area * (1 + (area_ratio - 1) * min(lift_fraction / knee, 1))


@formula(_MODEL)
def disc_pressure(back: Pa, spring_rate: N_m, precompression: m, lift: m, disc_area: m2) -> Pa:
    """Pressure at the valve that holds the disc at a lift."""
    return back + spring_rate * (precompression + lift) / disc_area


@formula("flow of a curtain: proportional to lift and pressure")
def flow_at_lift_gas(full_flow: kg_s, lift: m, stop_lift: m, pressure: Pa, relieving_pressure: Pa) -> kg_s:
    """Gas flow at part lift."""
    return full_flow * lift / stop_lift * pressure / relieving_pressure


@formula("flow of a curtain: proportional to lift and the root of the pressure difference")
def flow_at_lift_liquid(full_flow: kg_s, lift: m, stop_lift: m, pressure: Pa, relieving_pressure: Pa, back: Pa) -> kg_s:
    """Liquid flow at part lift (also low-pressure gas)."""
    return full_flow * lift / stop_lift * sqrt((pressure - back) / (relieving_pressure - back))


@formula("flow_at_lift_gas and disc_pressure solved for the lift")
def lift_for_gas(
    flow: kg_s, full_flow: kg_s, relieving_pressure: Pa, stop_lift: m, back: Pa, spring_rate: N_m,
    precompression: m, disc_area: m2,
) -> m:  # fmt: skip
    """Lift at which the valve passes a gas flow in equilibrium."""
    return (
        2 * flow * relieving_pressure * stop_lift / full_flow
        / (back + spring_rate * precompression / disc_area
           + sqrt((back + spring_rate * precompression / disc_area) ** 2
                  + 4 * spring_rate / disc_area * flow * relieving_pressure * stop_lift / full_flow))
    )  # fmt: skip


@formula("flow_at_lift_liquid and disc_pressure, one round of the fixed point")
def lift_for_liquid(
    flow: kg_s, full_flow: kg_s, relieving_pressure: Pa, stop_lift: m, back: Pa, spring_rate: N_m,
    precompression: m, disc_area: m2, guess: m,
) -> m:  # fmt: skip
    """Lift at which the valve passes a liquid flow in equilibrium."""
    return (
        stop_lift * flow / full_flow
        * sqrt((relieving_pressure - back) * disc_area / (spring_rate * (precompression + guess)))
    )  # fmt: skip


@formula("d ln(flow)/d ln(p0) of an isentropic choked nozzle")
def exponent_choked(k: One) -> One:
    """How the flow follows the inlet pressure: choked gas."""
    return (k + 1) / (2 * k)


@formula("d ln(flow)/d ln(p0) of an isentropic subcritical nozzle")
def exponent_subcritical(k: One, pressure_ratio: One) -> One:
    """How the flow follows the inlet pressure: gas below choking."""
    return (k + 1) / (2 * k) - (2 / k * pressure_ratio ** (2 / k) - (k + 1) / k * pressure_ratio ** ((k + 1) / k)) / (  # type: ignore[no-any-return]
        2 * (pressure_ratio ** (2 / k) - pressure_ratio ** ((k + 1) / k))
    )


@formula("d ln(flow)/d ln(p0) of an orifice")
def exponent_liquid(pressure: Pa, back: Pa) -> One:
    """How the flow follows the inlet pressure: liquid."""
    return pressure / (2 * (pressure - back))


@formula(_QUARTER)
def coupled_frequency(spring_rate: N_m, disc_area: m2, pressure: Pa, exponent: One, lift: m, mass: kg) -> rad_s:
    """Frequency below which the line drives the disc: spring plus the stiffness of the flow."""
    return sqrt((spring_rate + disc_area * pressure / (exponent * lift)) / mass)


@formula(_QUARTER)
def critical_length(sound_speed: m_s, coupled_frequency: rad_s) -> m:
    """Shortest inlet line whose quarter wave drives the disc."""
    return pi * sound_speed / (2 * coupled_frequency)


@formula("flow proportional to pressure")
def holding_pressure_gas(relieving_pressure: Pa, flow: kg_s, full_flow: kg_s) -> Pa:
    """Pressure at which the valve at its stop passes a flow, gas."""
    return relieving_pressure * flow / full_flow


@formula("flow proportional to the root of the pressure difference")
def holding_pressure_liquid(relieving_pressure: Pa, back: Pa, flow: kg_s, full_flow: kg_s) -> Pa:
    """Pressure at which the valve at its stop passes a flow, liquid."""
    return back + (relieving_pressure - back) * (flow / full_flow) ** 2


@formula("force on the disc at its upper stop (computed)")
def hold_surplus(
    disc_area: m2,
    pressure: Pa,
    loss: PaD,
    wave: PaD,
    back: Pa,
    spring_rate: N_m,
    precompression: m,
    stop_lift: m,
) -> N:
    """Force that keeps the disc on its upper stop after loss and wave."""
    return disc_area * (pressure - loss - wave - back) - spring_rate * (precompression + stop_lift)


@formula("small change of the valve flow with pressure")
def gain_pressure(exponent: One, flow: kg_s, pressure: Pa) -> kg_sPa:
    """Change of flow with inlet pressure."""
    return exponent * flow / pressure


@formula("small change of the curtain flow with lift")
def gain_lift(flow: kg_s, lift: m) -> kg_sm:
    """Change of flow with lift."""
    return flow / lift


@formula("viscous damping from its ratio")
def damping(damping_ratio: One, spring_rate: N_m, mass: kg) -> Ns_m:
    """Viscous damping of the disc."""
    return damping_ratio * 2 * sqrt(spring_rate * mass)


@formula("Routh criterion of vessel and valve without a line (computed)")
def damping_needed(
    volume: m3,
    sound_speed: m_s,
    mass: kg,
    spring_rate: N_m,
    disc_area: m2,
    gain_pressure: kg_sPa,
    gain_lift: kg_sm,
) -> Ns_m:
    """Damping the disc needs so that a small vessel does not drive it."""
    return (
        2 * mass * gain_lift * disc_area
        / (volume / sound_speed**2 * spring_rate + mass * gain_pressure**2 * sound_speed**2 / volume
           + sqrt((volume / sound_speed**2 * spring_rate + mass * gain_pressure**2 * sound_speed**2 / volume) ** 2
                  + 4 * gain_pressure * mass * gain_lift * disc_area))
    )  # fmt: skip


@formula("vessel emptied by the surplus of the valve and filled by the source (computed)")
def cycle_period(volume: m3, blowdown: One, set_gauge: PaG, sound_speed: m_s, inflow: kg_s, valve_flow: kg_s) -> s:
    """Period of opening and shutting when the source is smaller than the valve."""
    return volume * blowdown * set_gauge / sound_speed**2 * (1 / inflow + 1 / (valve_flow - inflow))


@formula("share of a pilot's blowdown that loss and wave may use (estimate)")
def pilot_allowed(set_gauge: PaG, blowdown: One, share: One) -> PaD:
    """Pressure an integrally sensed pilot may lose before it shuts the valve."""
    return share * blowdown * set_gauge


@formula("geometry")
def bore_area(bore: m) -> m2:
    """Area of a bore."""
    return pi / 4 * bore**2
