"""Closed-form stability of the worst case, and what the plant heard."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from quietseat.assess import capacity
from quietseat.assess.capacity import Duty
from quietseat.assess.checks.common import (
    EDGE,
    View,
    failed,
    margin_above,
    margin_below,
    near,
    noted,
    open_check,
    said,
)
from quietseat.assess.checks.duty import nameplate
from quietseat.assess.copies import changed
from quietseat.assess.hydraulics import Hydraulics, Pipes
from quietseat.basis import Basis
from quietseat.dynamics.parameters import ranges
from quietseat.dynamics.screening import SMALL_VESSEL, Situation, screen
from quietseat.formula import Sheet
from quietseat.model import Chatter, Finding, Location, Stability, Valve
from quietseat.piping.friction import friction_factor
from quietseat.piping.resistance import Resistance, bore_area, pipe_bore, referred_loss
from quietseat.status import CalculationFailed, Status

Piece = tuple[float, float, float, float]  # length m, bore m, Darcy friction factor, K

CLOSED = "closed form"
SETTLE = "To settle it: "  # what follows in the words of an open finding is a task
MARCHED_RULE = (
    "stability in time: quiet below a share of the critical length and a probability of chatter, unstable above others "
    "(verdict rule, estimate)"
)
RULE = "closed-form stability: quarter-wave critical length, force balance, wave return, cycle period"
HEARD_RULE = "reported in the history (words of the register)"
TRIM_RULE = "liquid wants a liquid trim (API RP 576)"
PILOT_RULE = "a pilot that senses at the valve inlet: loss and wave there within its blowdown (estimate)"
WORST = ("chatters", "flutters", "cycles", "unproven", "quiet")


def stability(view: View, sheet: Sheet) -> Stability:
    """Screen the Location at its lowest credible flow and its full flow, once for each phase it relieves."""
    ready = [c for c in view.cases if c.duty is not None and c.result.full_flow is not None]
    if not ready or view.set_gauge is None:
        reason = next((c.result.reason for c in view.cases if c.result.reason), "no case to run")
        return Stability(Status.NOT_COMPUTED, reason, words=f"Not judged: {reason}.")
    sheet.section("Stability")
    try:
        found = [screen(situation, view.basis, sheet) for situation in situations(view)]
    except (ValueError, ZeroDivisionError, OverflowError) as error:  # data no valve can have, such as 100 % blowdown
        reason = f"the equations have no value here ({error})"
        return Stability(Status.NOT_COMPUTED, reason, words=f"Not judged: {reason}.")
    return found[0] if len(found) == 1 else min(found, key=lambda s: WORST.index(s.verdict))


def situations(view: View) -> list[Situation]:
    """What stability is judged on: for each phase the case with the lowest credible flow, with its pipes."""
    ready = [c for c in view.cases if c.duty is not None and c.result.full_flow is not None]
    return [_situation(view.location, view.pipes, case, least, view.basis) for case, least in _lowest(view, ready)]


def modulating(valve: Valve) -> bool:
    """True for a pilot that opens only as far as the flow needs."""
    return valve.kind == "pilot" and valve.pilot_action == "modulating"


def _lowest(view: View, ready: list[Hydraulics]) -> list[tuple[Hydraulics, float | None]]:
    """For each phase the case that needs the smallest share of the full flow, and its flow.

    Thermal cases count only where there is nothing else; a nameplate rate is no credible flow.
    """
    phases: dict[str, list[Hydraulics]] = {}
    for case in ready:
        assert case.duty is not None
        phases.setdefault(case.duty.state.phase, []).append(case)
    out: list[tuple[Hydraulics, float | None]] = []
    for cases in phases.values():
        heavy = [c for c in cases if view.location.cases[c.index].cause != "thermal"] or cases
        known = [c for c in heavy if c.result.required_flow is not None and not nameplate(view, c)]
        if known:
            # A modulating pilot is judged at the flow it has to pass: the largest is its worst.
            worst = max if modulating(view.location.valve) else min
            case = worst(known, key=lambda c: (c.result.required_flow or 0.0) / (c.result.full_flow or 1.0))
            out.append((case, case.result.required_flow))
        else:
            out.append((heavy[0], None))
    return out


def _situation(location: Location, pipes: Pipes, case: Hydraulics, least: float | None, basis: Basis) -> Situation:
    valve, duty, inlet = location.valve, case.duty, pipes.inlet
    assert isinstance(duty, Duty)
    state = duty.state
    origin = location.origins.get("valve.blowdown")
    full_flow, loss = case.result.full_flow, case.inlet_loss
    share = case.result.inlet_loss_required
    if modulating(valve) and least and full_flow and least < full_flow and share is not None:
        # It opens only as far as needed (API 520-2 counts its inlet loss at the required flow too).
        full_flow, loss = least, share * basis.gauge(valve.set_pressure or 0.0)
    return Situation(
        kind=valve.kind or "conventional", phase=state.phase, set_pressure=valve.set_pressure or 0.0,
        atmospheric=basis.atmospheric_pressure, full_flow=full_flow, least_flow=least,
        pilot_action=valve.pilot_action, pilot_sense=valve.pilot_sense, pilot_bleed=valve.pilot_bleed,
        blowdown=valve.blowdown if valve.blowdown is not None else basis.default_blowdown,
        blowdown_is_default=valve.blowdown is None or (origin is not None and origin.how in ("default", "assumed")),
        relieving_pressure=duty.rated_pressure, sound_speed=duty.sound_speed,
        molar_mass=state.molar_mass, k=state.k, Z=state.Z, temperature=state.temperature, density=state.density,
        inlet_length=inlet.length if inlet else None, inlet_loss_full=loss,
        segments=tuple([(length, bore_area(bore)) for length, bore in inlet.acoustic]) if inlet else (),
        pipe_area=inlet.area if inlet else None,
        vessel_volume=location.vessel.volume, built_up=case.result.built_up or 0.0,
        effective_area=valve.effective_area, dynamics=location.dynamics, orifice=valve.orifice,
        lift_restriction=valve.lift_restriction, bellows=valve.kind == "bellows",
        pipes=runs_of(inlet, full_flow, state.viscosity, basis) if inlet else (),
        superimposed=duty.superimposed, outlet_bore=_outlet_bore(pipes, valve),
        outlet_pipe=_outlet_pipe(pipes, full_flow, basis), fluid=location.cases[case.index].fluid,
        full_area=_full_area(valve, duty),
    )  # fmt: skip


def runs_of(line: Resistance, flow: float | None, viscosity: float | None, basis: Basis) -> tuple[Piece, ...]:
    """The runs of a line as length m, bore m, Darcy friction factor and K, both at this flow.

    A run without length gives its K to the next one that has some (or the one before), carried over to its bore.
    """
    out: list[Piece] = []
    waiting: list[tuple[float, float]] = []  # K and bore of runs without length
    for run in line.runs:
        loss = run.K_fittings + run.K_enlargement
        if run.length <= 0.0:
            waiting.append((loss, run.diameter))
            continue
        if run.friction_factor is not None:
            f = run.friction_factor
        else:
            flux = (flow or 0.0) / run.area
            mu = viscosity if flux > 0.0 else None
            f = friction_factor(run.roughness, run.diameter, flux, mu, basis.friction_correlation, Sheet(record=False))
        loss += sum(referred_loss(k, bore, run.diameter) for k, bore in waiting)
        waiting = []
        out.append((run.length, run.diameter, f, loss))
    if waiting and out:
        length, bore, f, loss = out[-1]
        out[-1] = (length, bore, f, loss + sum(referred_loss(k, other, bore) for k, other in waiting))
    return tuple(out)


def _outlet_bore(pipes: Pipes, valve: Valve) -> float | None:
    if valve.outlet_size is None:
        return pipes.outlet.bore if pipes.outlet else None
    try:
        return pipe_bore(valve.outlet_size, "40")[0]
    except CalculationFailed:
        return pipes.outlet.bore if pipes.outlet else None


def _outlet_pipe(pipes: Pipes, flow: float | None, basis: Basis) -> Piece | None:
    """The outlet line as one run of its smallest bore; None where nobody gave it a length."""
    line = pipes.outlet
    if line is None or line.length <= 0.0:
        return None
    pieces = runs_of(line, flow, None, basis)
    friction = sum(f * length / line.length for length, _, f, _ in pieces)
    return line.length, line.bore, friction, line.K_total


def _full_area(valve: Valve, duty: Duty) -> float | None:
    """Un-derated flow area at full lift, without a lift restriction, m2."""
    try:
        whole = capacity.pairs(changed(valve, {"lift_restriction": None}), duty, Sheet(record=False))[1]
    except CalculationFailed:
        return None
    return whole.area * whole.coefficient


def check(view: View) -> list[Finding]:
    """The stability verdict as findings, with what the history reports."""
    found = view.stability
    heard = [event for event in view.location.history.events if event.event == "chatter"]
    out = _calculated(view, found)
    if view.location.valve.liquid_trim is False and any(case.phase == "liquid" for case in view.location.cases):
        out.append(noted("chatter", "thin", "vapour trim in liquid: it opens late and hammers", TRIM_RULE))
    if not heard:
        return out
    words = f'"{heard[0].note}"' if heard[0].note else "once" if len(heard) == 1 else f"{len(heard)} times"
    if any(f.code == "chatter" and f.outcome == "pass" for f in out):
        out.append(noted("chatter", "thin", f"reported chattering ({words}) though {found.judged_by} says quiet", HEARD_RULE,
                         rests_on=("history",)))  # fmt: skip
    elif not any(f.code == "chatter" and f.outcome == "fail" for f in out):
        out = [f for f in out if f.code != "chatter"]
        out.append(failed("chatter", f"reported chattering ({words}); {found.judged_by}: {found.words}", HEARD_RULE,
                          severity="stop", rests_on=("history",)))  # fmt: skip
    return out


def by_balance(found: Stability) -> bool:
    """True where a spring valve fails by the force balance, not by the length of its inlet line."""
    return found.verdict == "chatters" and found.criterion == "balance"


def _figures(view: View, found: Stability) -> dict[str, Any]:
    """Value, limit and margin of the criterion that decided: force balance (Pa) or inlet line (m)."""
    used, allowed = found.force_balance_used, found.force_balance_allowed
    length, critical = found.inlet_length, found.critical_length
    if found.verdict == "flutters":  # the damping of a small vessel decides: neither of the two
        return {"confidence": "estimate"}
    balance = used is not None and allowed is not None and allowed > 0.0
    if found.verdict == "chatters":
        balance = balance and by_balance(found)
    elif length is not None and critical:
        too_long = length >= view.basis.critical_length_margin * critical
        held = found.verdict == "quiet" and length > critical  # quiet on its upper stop, whatever the length
        balance = balance and (held or (not too_long and (used or 0.0) > (allowed or 0.0)))
    if balance and used is not None and allowed is not None:
        return {"value": used, "limit": allowed, "margin": margin_below(used, allowed), "unit": "Pa", "step": "dp_used",
                "confidence": "estimate"}  # fmt: skip
    if length is None or not critical:
        return {"confidence": "estimate"}
    return {"value": length, "limit": critical, "margin": margin_below(length, critical), "unit": "m", "step": "L_crit",
            "confidence": "estimate"}  # fmt: skip


def _probability(view: View, found: Chatter) -> dict[str, Any]:
    """Value, limit and margin of a marched verdict: the probability of chatter against the limit it stands next to."""
    basis, value = view.basis, found.chatter_probability
    if value is None:
        return {"value": None, "limit": None, "margin": None, "unit": "", "step": "", "confidence": "estimate"}
    limit = basis.chatter_quiet if found.verdict == "quiet" else basis.chatter_unstable
    return {"value": value, "limit": limit, "margin": margin_below(value, limit), "unit": "fraction", "step": "P_chatter",
            "confidence": "estimate"}  # fmt: skip


def _calculated(view: View, found: Stability) -> list[Finding]:
    if found.status is not Status.OK:
        return [open_check("chatter", found.words or found.reason, RULE)]
    base = Finding("chatter", "note", "pass", RULE, found.words, **_figures(view, found))
    hunting = _hunting(view, found)
    if hunting is not None:
        return [hunting]
    if view.chatter is not None and found.judged_by != CLOSED:
        base = replace(base, rule=MARCHED_RULE, **_probability(view, view.chatter))
    if found.verdict == "quiet":
        return [_quiet(view, base)]
    doubt = _doubt(view, found)
    if found.verdict in ("chatters", "flutters", "cycles") and doubt:
        words = f"{found.words.rstrip('.')} (fails only on a default: {said(doubt)})"
        return [replace(base, outcome="open", words=words, rests_on=doubt)]
    if found.verdict in ("chatters", "flutters"):
        return [replace(base, outcome="fail", severity="stop" if found.verdict == "chatters" else "act")]
    if found.verdict == "cycles":
        return _cycling(view, found, base)
    words = found.words or found.reason or "stability not computed"
    if view.chatter is not None and found.judged_by != CLOSED and view.chatter.measure and SETTLE not in words:
        words = f"{words.rstrip('.')}. {SETTLE}{view.chatter.measure}."
    return [replace(base, outcome="open", words=words, confidence="")]


def _hunting(view: View, found: Stability) -> Finding | None:
    """A pilot that senses at the valve inlet and loses more there than its highest blowdown cannot work.

    Where only the default blowdown says so, the range of the trade counts: its highest value.
    """
    valve, set_gauge, used = view.location.valve, view.set_gauge or 0.0, found.force_balance_used
    if valve.kind != "pilot" or valve.pilot_sense == "remote" or used is None or not set_gauge:
        return None
    modulating = valve.pilot_action == "modulating"
    blowdown = view.location.dynamics.pilot_blowdown
    if blowdown is None:
        known = valve.blowdown is not None and not view.rests_on("valve.blowdown")
        span = ranges()["pilot_blowdown_modulating" if modulating else "pilot_blowdown_snap"]
        blowdown = (valve.blowdown or 0.0) if known else span.high
    limit = blowdown * set_gauge
    if used <= limit * (1 + EDGE) or limit <= 0.0:
        return None
    lost, spare = near(used / set_gauge, blowdown)
    when = "at the required flow" if modulating else "as the valve opens"
    words = f"The pilot senses at the valve inlet and loses {lost} of set there {when}, more than its blowdown of {spare}: " \
        "it shuts the valve and opens it again."  # fmt: skip
    rests = view.rests_on("valve.kind", "valve.pilot_sense", "valve.pilot_action", "inlet.size")
    if rests:
        return Finding("cycling", "note", "open", PILOT_RULE, f"{words.rstrip('.')} (fails only on a default: {said(rests)})",
                       used, limit, margin_below(used, limit), "Pa", "dp_used", rests_on=rests)  # fmt: skip
    return Finding("cycling", "stop", "fail", PILOT_RULE, words, used, limit, margin_below(used, limit), "Pa", "dp_used",
                   confidence="estimate")  # fmt: skip


def _doubt(view: View, found: Stability) -> tuple[str, ...]:
    """Defaults that may be all there is to a failure: the kind, the inlet size, or the back pressure of the force balance."""
    rests = view.rests_on("valve.kind", "inlet.size")
    if found.judged_by != CLOSED:  # the unknown parts were drawn; what is left to doubt is the outlet line
        pushed = view.chatter is not None and view.chatter.limited_by == "back pressure"
        return rests or (view.rests_on("outlet.size") if pushed else ())
    if rests or found.force_balance_used is None or found.force_balance_allowed is None:
        return rests
    length, critical = found.inlet_length or 0.0, found.critical_length
    if critical is None or length > view.basis.critical_length_excess * critical:
        return ()  # the length alone decides
    back = max((case.result.built_up or 0.0 for case in view.cases), default=0.0)
    if found.force_balance_used - back > found.force_balance_allowed:
        return ()
    return view.rests_on("outlet.size")


def _cycling(view: View, found: Stability, base: Finding) -> list[Finding]:
    """Opening and shutting again; a thermal relief valve does so by nature."""
    period, limit = found.cycle_period, view.basis.damaging_period
    cases = view.location.cases
    if cases and all(case.cause == "thermal" for case in cases) and (period is None or period >= limit):
        return [replace(base, words=f"{found.words} Thermal relief does so by nature.")]
    if period is not None and period < limit:
        return [Finding("cycling", "stop", "fail", RULE, found.words, period, limit, margin_above(period, limit), unit="s",
                        step="T_cycle", confidence="estimate")]  # fmt: skip
    finding = Finding("cycling", "act", "fail", RULE, found.words, confidence="estimate")
    share, least = _least_share(view), view.basis.cycling_utilisation
    if share is None or share >= least:
        return [finding]
    return [replace(finding, value=share, limit=least, margin=margin_above(share, least), unit="fraction")]


def _least_share(view: View) -> float | None:
    """The smallest required flow over the full flow it was screened with."""
    ready = [c for c in view.cases if c.duty is not None and c.result.full_flow]
    shares = [least / (case.result.full_flow or 1.0) for case, least in _lowest(view, ready) if least is not None]
    return min(shares, default=None)


def _quiet(view: View, base: Finding) -> Finding:
    """Quiet, but open where it rests on a default or on a check that could not be made."""
    marched = view.stability.judged_by != CLOSED  # then blowdown and an unknown volume were drawn from their ranges
    rests = view.rests_on("valve.kind") if marched else view.rests_on("valve.kind", "valve.blowdown")
    if rests:
        words = f"{base.words.rstrip('.')} (passes only on a default: {said(rests)})"
        return replace(base, outcome="open", words=words, rests_on=rests)
    location = view.location
    if location.vessel.volume is None and location.valve.kind != "pilot" and not marched:
        if any(case.phase == "liquid" for case in location.cases):
            words = f"{base.words.rstrip('.')}; but the protected volume is unknown, and with liquid a small one swings with the disc"
            return replace(base, outcome="open", words=words)
        least = SMALL_VESSEL * (view.pipes.inlet.volume if view.pipes.inlet is not None else 0.0)
        words = f"{base.words.rstrip('.')}; taken that the protected volume is at least {least:.2g} m3 ({SMALL_VESSEL:.0f} inlet lines)"
        return replace(base, words=words)
    return base
