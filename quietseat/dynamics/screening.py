"""Closed-form stability of one valve on its inlet line: quiet, flutters, chatters, cycles or unproven.

The rule (estimate, limits from the Basis): quiet only if the line is shorter than a share of the critical
length at the lowest credible flow, the force balance holds, a small vessel is damped and the valve does not
cycle. Chatter if the line is well past the critical length and the disc is not held on its upper stop, or the
force balance fails beyond the spread of the blowdown. Anything between is unproven, never a pass.
"""

from __future__ import annotations

from dataclasses import dataclass

from quietseat.dynamics import closed
from quietseat.dynamics.parameters import MovingParts, moving_parts, ranges
from quietseat.dynamics.pilot import judge
from quietseat.dynamics.situation import (
    Limits,
    Run,
    Situation,
    Wave,
    cycle_period,
    cycle_words,
    equivalent_length,
    mach_of,
    pop_words,
    run_of,
    share,
    sound_speed,
    stroke_time,
    waves,
)
from quietseat.formula import Sheet
from quietseat.model import Stability
from quietseat.sizing import gas as gas_flow
from quietseat.status import CalculationFailed, Status

__all__ = ["Limits", "Situation", "equivalent_length", "mach_of", "screen"]

WEIGH = "weigh the moving parts and rate-test the spring at the next overhaul"
SMALL_VESSEL = 100.0  # times the pipe volume, practice rule of the bare-vessel check


@dataclass(frozen=True, slots=True)
class _Balance:
    used: float
    allowed: float
    outcome: str  # holds, between, fails
    loss_known: bool


@dataclass(frozen=True, slots=True)
class _Quarter:
    critical: float
    ratio: float  # inlet over critical length
    on_stop: bool  # held there at the lowest credible flow
    vessel: str  # "", quiet, doubtful, unstable
    lowest_stable: float  # kg/s


def screen(situation: Situation, basis: Limits, sheet: Sheet) -> Stability:
    """Stability of one valve in closed form.

    Never raises CalculationFailed: data that are missing or impossible end in status and reason, with the
    verdict "unproven". Source: quarter-wave and force-balance theory, sources on the steps.
    """
    if sheet.record:
        sheet.section("Stability")
    try:
        line = run_of(situation)
        if situation.full_flow is None or situation.full_flow <= 0:
            raise CalculationFailed(Status.NOT_COMPUTED, "flow at full lift unknown")
        if situation.set_pressure <= situation.atmospheric:
            raise CalculationFailed(Status.OUT_OF_RANGE, "set pressure is not above atmospheric pressure")
        if situation.kind == "pilot":
            return judge(situation, line, situation.full_flow, basis, sheet)
        return _spring(situation, line, situation.full_flow, basis, sheet)
    except CalculationFailed as failed:
        words = f"Stability could not be judged: {failed.reason}."
        return Stability(status=failed.status, reason=failed.reason, words=words)


def _opening_time(
    situation: Situation, parts: MovingParts, frequency: float, basis: Limits, sheet: Sheet
) -> tuple[float, float]:
    """Opening time by the estimate the Basis names, and its slow end. Cremers et al. is for gas only."""
    cycles, liquid = ranges()["stroke_cycles"], situation.phase == "liquid"
    if basis.opening_time == "cremers" and not liquid:
        opening = sheet.apply(
            "t_o", closed.opening_time_cremers, seat_diameter=parts.seat_diameter,
            set_pressure=situation.set_pressure, atmospheric=situation.atmospheric,
            lift_fraction=parts.stop_lift / parts.max_lift,
        )  # fmt: skip
        return opening, max(opening, stroke_time("spring", "gas")[1])
    opening = sheet.apply("t_o", closed.opening_time_frequency, stroke_cycles=cycles.mid, frequency=frequency)
    slow = closed.opening_time_frequency(cycles.high, frequency)
    return opening, max(slow, stroke_time("spring", "liquid")[1]) if liquid else slow


def _balance(
    situation: Situation, line: Run, wave: Wave, flow: float, slow: float, parts: MovingParts, sheet: Sheet
) -> _Balance:
    """Force balance at the pop, at full flow.

    It holds at the middle opening time and the lowest credible blowdown; it fails only if it also fails at the
    slow end of the opening time and the highest credible blowdown.
    """
    set_gauge = situation.set_pressure - situation.atmospheric
    back = 0.0 if situation.bellows or situation.kind == "bellows" else situation.built_up
    loss = situation.inlet_loss_full
    used = sheet.apply("dp_used", closed.balance_used, loss=loss or 0.0, wave=wave.drop, back=back)
    allowed = sheet.apply(
        "dp_allowed", closed.balance_allowed, set_gauge=set_gauge, blowdown=parts.blowdown,
        overpressure=situation.overpressure_now,
    )  # fmt: skip
    low, high = _blowdown_spread(situation, parts.blowdown)
    sure = closed.balance_allowed(set_gauge, low, situation.overpressure_now)
    never = closed.balance_allowed(set_gauge, high, situation.overpressure_now)
    outcome = "holds" if used <= sure and loss is not None else "between"
    if used > never and slow < wave.return_time:
        outcome = "fails"
    elif used > never:
        gentle = sheet.apply("dp_slow", closed.ramp_drop, inertance=line.inertance, flow=flow, opening_time=slow)
        least = sheet.apply("dp_least", closed.balance_used, loss=loss or 0.0, wave=gentle, back=back)
        outcome = "fails" if least > never else "between"
    if sheet.record:
        sheet.note(
            "balance", "force balance",
            f"{outcome}: {used:.4g} Pa against {sure:.4g} to {never:.4g} Pa (blowdown {low:.3g} to {high:.3g} of set)",
            "table dynamics_ranges: spread of the blowdown",
        )  # fmt: skip
    return _Balance(used, allowed, outcome, loss is not None)


def _blowdown_spread(situation: Situation, blowdown: float) -> tuple[float, float]:
    """Lowest and highest credible blowdown: the trade range for a default, the ring shift for a stated one."""
    known = ranges()
    if situation.blowdown_is_default:
        span = known["blowdown_liquid" if situation.phase == "liquid" else "blowdown_gas"]
        return min(span.low, blowdown), max(span.high, blowdown)
    return blowdown, blowdown + known["blowdown_spread"].mid


def _spring(situation: Situation, line: Run, flow: float, basis: Limits, sheet: Sheet) -> Stability:
    """Spring valve: waves, force balance, quarter wave, small vessel, cycling, verdict."""
    bellows = situation.bellows or situation.kind == "bellows"
    set_gauge = situation.set_pressure - situation.atmospheric
    parts = moving_parts(
        situation.dynamics, situation.orifice, set_gauge, situation.blowdown, sheet,
        effective_area=situation.effective_area, bellows=bellows, lift_restriction=situation.lift_restriction,
    )  # fmt: skip
    speed = sound_speed(situation, sheet)
    frequency = sheet.apply("f_v", closed.valve_frequency, spring_rate=parts.spring_rate, mass=parts.mass)
    opening, slow = _opening_time(situation, parts, frequency, basis, sheet)
    wave = waves(situation, line, flow, speed, opening, sheet)
    balance = _balance(situation, line, wave, flow, slow, parts, sheet)
    quarter = _quarter(situation, line, flow, parts, wave, sheet)
    period, cycling = cycle_period(situation, flow, parts.blowdown, quarter.lowest_stable, speed, basis, sheet)
    verdict, words, reason, criterion = _conclude(situation, line, parts, balance, quarter, cycling, period, basis)
    if sheet.record:
        sheet.note("verdict", "stability in closed form", f"{verdict}: {words}", "verdict rule (estimate)")
    return Stability(
        Status.OK, reason, quarter.critical, line.acoustic, wave.return_time, wave.opening_time, wave.drop,
        balance.used, balance.allowed, period, frequency, verdict, words, criterion,
    )  # fmt: skip


def _quarter(situation: Situation, line: Run, full: float, parts: MovingParts, wave: Wave, sheet: Sheet) -> _Quarter:
    """Critical length at the lift that passes the lowest flow, the stop test and the small-vessel check."""
    curve = _static_curve(situation, full, parts)
    back, area, least = curve.back, curve.area, situation.least_flow
    if least is not None and curve.lowest <= least < curve.at_stop and least > 0:
        lift = _lift(situation, least, full, parts, curve, sheet)
    else:
        lift = 0.6 * parts.stop_lift
        if sheet.record:
            sheet.note(
                "x", "lift for the critical length", "no lift passes the lowest flow in equilibrium: 0.6 of full lift",
                "popped-valve estimate (computed)",
            )  # fmt: skip
    pressure = sheet.apply(
        "p_0", closed.disc_pressure, back=back, spring_rate=parts.spring_rate, precompression=parts.precompression,
        lift=lift, disc_area=area,
    )  # fmt: skip
    exponent = _exponent(situation, curve, pressure, sheet)
    coupled = sheet.apply(
        "w_c", closed.coupled_frequency, spring_rate=parts.spring_rate, disc_area=area, pressure=pressure,
        exponent=exponent, lift=lift, mass=parts.mass,
    )  # fmt: skip
    critical = sheet.apply("L_crit", closed.critical_length, sound_speed=wave.sound_speed, coupled_frequency=coupled)
    on_stop = least is not None and least >= curve.at_stop and _held(situation, least, full, parts, curve, wave, sheet)
    vessel, volume = "", situation.vessel_volume
    if volume is not None and (situation.phase == "liquid" or volume < SMALL_VESSEL * line.volume):
        flow = _flow(situation, full, lift, parts.stop_lift, pressure, back, curve.choking)
        vessel = _small_vessel(situation, parts, area, exponent, flow, pressure, lift, wave.sound_speed, sheet)
    return _Quarter(critical, line.acoustic / critical, on_stop, vessel, curve.lowest)


@dataclass(frozen=True, slots=True)
class _Curve:
    """What the static lift curve gives: the back pressure the disc feels, areas, and the flows it can hold."""

    back: float
    choking: bool
    area: float  # effective disc area once the disc is up
    stop_area: float  # at the stop
    lowest: float  # kg/s, below it a popping valve has no lift to rest at
    at_stop: float  # kg/s, above it the disc rests on its stop


def _static_curve(situation: Situation, full: float, parts: MovingParts) -> _Curve:
    """Static lift curve of the disc. Raises CalculationFailed when back pressure leaves no flow."""
    # A bellows keeps the back pressure off the disc; its flow is taken as if there were none.
    balanced = situation.bellows or situation.kind == "bellows"
    back = situation.atmospheric if balanced else situation.atmospheric + situation.built_up
    stop = parts.stop_lift
    if situation.relieving_pressure <= back:
        raise CalculationFailed(Status.OUT_OF_RANGE, "back pressure is not below the relieving pressure")
    gas = situation.phase != "liquid"
    choking = gas and back / situation.set_pressure <= gas_flow.critical_ratio(max(situation.k or 1.3, 1.001))
    area = parts.seat_area * parts.area_ratio
    stop_area = closed.disc_area(parts.seat_area, parts.area_ratio, parts.knee, stop / parts.max_lift)
    top = closed.disc_pressure(back, parts.spring_rate, parts.precompression, stop, stop_area)
    at_stop = _flow(situation, full, stop, stop, top, back, choking)
    knee, lowest = parts.knee * parts.max_lift, 0.0
    if (parts.area_ratio - 1) / parts.knee > parts.spring_ratio:  # the valve pops
        lowest = at_stop
        if knee < stop:
            pressure = closed.disc_pressure(back, parts.spring_rate, parts.precompression, knee, area)
            lowest = _flow(situation, full, knee, stop, pressure, back, choking)
    return _Curve(back, choking, area, stop_area, lowest, at_stop)


def _flow(
    situation: Situation, full: float, lift: float, stop: float, pressure: float, back: float, choking: bool
) -> float:
    if choking:
        return closed.flow_at_lift_gas(full, lift, stop, pressure, situation.relieving_pressure)
    return closed.flow_at_lift_liquid(full, lift, stop, pressure, situation.relieving_pressure, back)


def _lift(situation: Situation, flow: float, full: float, parts: MovingParts, curve: _Curve, sheet: Sheet) -> float:
    """Lift that passes a flow: closed form for choked gas, a fixed point for liquid and low-pressure gas."""
    p1, stop = situation.relieving_pressure, parts.stop_lift
    given = {
        "flow": flow, "full_flow": full, "relieving_pressure": p1, "stop_lift": stop, "back": curve.back,
        "spring_rate": parts.spring_rate, "precompression": parts.precompression, "disc_area": curve.area,
    }  # fmt: skip
    if curve.choking:
        return sheet.apply("x", closed.lift_for_gas, **given)
    guess = stop * flow / full
    for _ in range(12):  # the precompression is several lifts long: each round gains a digit
        guess = closed.lift_for_liquid(**given, guess=guess)
    return sheet.apply("x", closed.lift_for_liquid, **given, guess=guess)


def _exponent(situation: Situation, curve: _Curve, pressure: float, sheet: Sheet) -> float:
    """How the flow follows the inlet pressure at this state."""
    if situation.phase == "liquid":
        return sheet.apply("n", closed.exponent_liquid, pressure=pressure, back=curve.back)
    k = max(situation.k or 1.3, 1.001)
    if curve.choking:
        return sheet.apply("n", closed.exponent_choked, k=k)
    return sheet.apply("n", closed.exponent_subcritical, k=k, pressure_ratio=curve.back / pressure)


def _held(
    situation: Situation, least: float, full: float, parts: MovingParts, curve: _Curve, wave: Wave, sheet: Sheet
) -> bool:
    """True if the disc stays on its upper stop at the lowest credible flow, after loss and wave."""
    loss = situation.inlet_loss_full
    if loss is None:
        return False
    p1, capped = situation.relieving_pressure, min(least, full)
    if curve.choking:
        pressure = sheet.apply(
            "p_hold", closed.holding_pressure_gas, relieving_pressure=p1, flow=capped, full_flow=full
        )
    else:
        pressure = sheet.apply(
            "p_hold", closed.holding_pressure_liquid, relieving_pressure=p1, back=curve.back, flow=capped,
            full_flow=full,
        )  # fmt: skip
    surplus = sheet.apply(
        "F_stop", closed.hold_surplus, disc_area=curve.stop_area, pressure=pressure, loss=loss, wave=wave.drop,
        back=curve.back, spring_rate=parts.spring_rate, precompression=parts.precompression,
        stop_lift=parts.stop_lift,
    )  # fmt: skip
    return surplus > 0


def _small_vessel(
    situation: Situation, parts: MovingParts, area: float, exponent: float, flow: float, pressure: float, lift: float,
    speed: float, sheet: Sheet,
) -> str:  # fmt: skip
    """Bare vessel: quiet when the low end of the damping suffices, unstable when the high end does not."""
    need = sheet.apply(
        "k_need", closed.damping_needed, volume=situation.vessel_volume or 0.0, sound_speed=speed, mass=parts.mass,
        spring_rate=parts.spring_rate, disc_area=area,
        gain_pressure=closed.gain_pressure(exponent, flow, pressure), gain_lift=closed.gain_lift(flow, lift),
    )  # fmt: skip
    span = ranges()["damping_ratio"]
    stated = situation.dynamics.damping_ratio
    low, high = (stated, stated) if stated is not None else (span.mid, span.high)
    have = sheet.apply("k", closed.damping, damping_ratio=low, spring_rate=parts.spring_rate, mass=parts.mass)
    if have >= need:
        return "quiet"
    return "unstable" if closed.damping(high, parts.spring_rate, parts.mass) < need else "doubtful"


def _conclude(
    situation: Situation, line: Run, parts: MovingParts, balance: _Balance, quarter: _Quarter, cycling: bool,
    period: float | None, basis: Limits,
) -> tuple[str, str, str, str]:  # fmt: skip
    """Verdict, words for the plant, the reason when it is unproven, and what decided."""
    ratio = quarter.ratio
    lengths = f"the inlet line ({line.acoustic:.2g} m) is {ratio:.2g} of the critical length ({quarter.critical:.2g} m)"
    lost = f"{share(balance.used, situation)} of set is lost as the valve pops, {share(balance.allowed, situation)}"
    if balance.outcome == "fails":
        return "chatters", (
            f"The valve starves itself: {lost} is what its blowdown allows, so it slams shut and opens again."
        ), "", "balance"  # fmt: skip
    if ratio > basis.critical_length_excess and not quarter.on_stop:
        return "chatters", (
            f"Pressure waves in the inlet line drive the disc: {lengths} at the lowest flow, so it hammers on its seat."
        ), "", "length"  # fmt: skip
    if quarter.vessel == "unstable" and not quarter.on_stop:
        return "flutters", (
            "The protected volume is so small that it swings with the disc; no usual damping stops that."
        ), "", "vessel"  # fmt: skip
    open_points: list[str] = []
    if situation.phase == "two-phase":
        open_points.append("the inlet is two-phase, closed forms are only indicative there")
    if situation.least_flow is None:
        open_points.append("the lowest credible flow is unknown")
    if not balance.loss_known:
        open_points.append("the inlet loss is unknown")
    elif balance.outcome == "between":
        rests = "a default blowdown" if situation.blowdown_is_default else "the ring setting"
        open_points.append(
            f"the force balance rests on {rests} and an estimated opening time ({lost} is allowed): "
            "prove both by a flow test"
        )
    if ratio >= basis.critical_length_margin and not quarter.on_stop:
        open_points.append(f"{lengths}, too close to call: {WEIGH}")
    if quarter.vessel == "doubtful" and not quarter.on_stop:
        open_points.append("the small vessel may swing with the disc: measure the damping or the volume")
    if open_points:
        reason = "; ".join(open_points)
        return "unproven", f"Not proven quiet: {reason}.", reason, ""
    if cycling:
        return "cycles", cycle_words(situation, period, basis), "", "oversize"
    held = quarter.on_stop and ratio >= basis.critical_length_margin
    why = "the disc stays on its upper stop" if held else lengths
    return "quiet", f"Screened quiet: {why}, and {lost} is allowed.{pop_words(period)}", "", "stop" if held else "length"
