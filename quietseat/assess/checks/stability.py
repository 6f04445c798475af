"""Closed-form stability of the worst case, and what the plant heard."""

from __future__ import annotations

from dataclasses import replace

from quietseat.assess.capacity import Duty
from quietseat.assess.checks.common import View, failed, noted, open_check, said
from quietseat.assess.checks.duty import nameplate
from quietseat.assess.hydraulics import Hydraulics, Pipes
from quietseat.basis import Basis
from quietseat.dynamics.screening import SMALL_VESSEL, Situation, screen
from quietseat.formula import Sheet
from quietseat.model import Finding, Location, Stability
from quietseat.piping.resistance import bore_area
from quietseat.status import Status

RULE = "closed-form stability: quarter-wave critical length, force balance, wave return, cycle period"
HEARD_RULE = "reported in the history (words of the register)"
TRIM_RULE = "liquid wants a liquid trim (API RP 576)"
_WORST = ("chatters", "flutters", "cycles", "unproven", "quiet")


def stability(view: View, sheet: Sheet) -> Stability:
    """Screen the Location at its lowest credible flow and its full flow, once for each phase it relieves."""
    location = view.location
    ready = [c for c in view.cases if c.duty is not None and c.result.full_flow is not None]
    if not ready or view.set_gauge is None:
        reason = next((c.result.reason for c in view.cases if c.result.reason), "no case to run")
        return Stability(Status.NOT_COMPUTED, reason, words=f"Not judged: {reason}.")
    sheet.section("Stability")
    try:
        found = [
            screen(_situation(location, view.pipes, case, least, view.basis), view.basis, sheet)
            for case, least in _lowest(view, ready)
        ]
    except (ValueError, ZeroDivisionError, OverflowError) as error:  # data no valve can have, such as 100 % blowdown
        reason = f"the equations have no value here ({error})"
        return Stability(Status.NOT_COMPUTED, reason, words=f"Not judged: {reason}.")
    return found[0] if len(found) == 1 else min(found, key=lambda s: _WORST.index(s.verdict))


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
            case = min(known, key=lambda c: (c.result.required_flow or 0.0) / (c.result.full_flow or 1.0))
            out.append((case, case.result.required_flow))
        else:
            out.append((heavy[0], None))
    return out


def _situation(location: Location, pipes: Pipes, case: Hydraulics, least: float | None, basis: Basis) -> Situation:
    valve, duty, inlet = location.valve, case.duty, pipes.inlet
    assert isinstance(duty, Duty)
    state = duty.state
    origin = location.origins.get("valve.blowdown")
    return Situation(
        kind=valve.kind or "conventional", phase=state.phase, set_pressure=valve.set_pressure or 0.0,
        atmospheric=basis.atmospheric_pressure, full_flow=case.result.full_flow, least_flow=least,
        pilot_action=valve.pilot_action, pilot_sense=valve.pilot_sense, pilot_bleed=valve.pilot_bleed,
        blowdown=valve.blowdown if valve.blowdown is not None else basis.default_blowdown,
        blowdown_is_default=valve.blowdown is None or (origin is not None and origin.how in ("default", "assumed")),
        relieving_pressure=duty.rated_pressure, sound_speed=duty.sound_speed,
        molar_mass=state.molar_mass, k=state.k, Z=state.Z, temperature=state.temperature, density=state.density,
        inlet_length=inlet.length if inlet else None, inlet_loss_full=case.inlet_loss,
        segments=tuple([(length, bore_area(bore)) for length, bore in inlet.acoustic]) if inlet else (),
        pipe_area=inlet.area if inlet else None,
        vessel_volume=location.vessel.volume, built_up=case.result.built_up or 0.0,
        effective_area=valve.effective_area, dynamics=location.dynamics, orifice=valve.orifice,
        lift_restriction=valve.lift_restriction, bellows=valve.kind == "bellows",
    )  # fmt: skip


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
        out.append(noted("chatter", "thin", f"reported chattering ({words}) though closed form says quiet", HEARD_RULE,
                         rests_on=("history",)))  # fmt: skip
    elif not any(f.code == "chatter" and f.outcome == "fail" for f in out):
        out = [f for f in out if f.code != "chatter"]
        out.append(failed("chatter", f"reported chattering ({words}); closed form: {found.words}", HEARD_RULE,
                          severity="stop", rests_on=("history",)))  # fmt: skip
    return out


def _calculated(view: View, found: Stability) -> list[Finding]:
    value, limit = found.inlet_length, found.critical_length
    margin = (limit - value) / limit if value is not None and limit else None
    base = Finding("chatter", "note", "pass", RULE, found.words, value, limit, margin, unit="m", step="L_crit",
                   confidence="estimate")  # fmt: skip
    if found.status is not Status.OK:
        return [open_check("chatter", found.words or found.reason, RULE)]
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
    return [replace(open_check("chatter", words, RULE), value=value, limit=limit, margin=margin, unit="m", step="L_crit")]


def _doubt(view: View, found: Stability) -> tuple[str, ...]:
    """Defaults that may be all there is to a failure: the kind, the inlet size, or the back pressure of the force balance."""
    rests = view.rests_on("valve.kind", "inlet.size")
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
    margin = (period - limit) / limit if period is not None and limit else None
    severity = "stop" if period is not None and period < limit else "act"
    return [Finding("cycling", severity, "fail", RULE, found.words, period, limit, margin, unit="s", step="T_cycle",
                    confidence="estimate")]  # fmt: skip


def _quiet(view: View, base: Finding) -> Finding:
    """Quiet, but open where it rests on a default or on a check that could not be made."""
    rests = view.rests_on("valve.kind", "valve.blowdown")
    if rests:
        words = f"{base.words.rstrip('.')} (passes only on a default: {said(rests)})"
        return replace(base, outcome="open", words=words, rests_on=rests)
    location = view.location
    if location.vessel.volume is None and location.valve.kind != "pilot":
        if any(case.phase == "liquid" for case in location.cases):
            words = f"{base.words.rstrip('.')}; but the protected volume is unknown, and with liquid a small one swings with the disc"
            return replace(base, outcome="open", words=words)
        least = SMALL_VESSEL * (view.pipes.inlet.volume if view.pipes.inlet is not None else 0.0)
        words = f"{base.words.rstrip('.')}; taken that the protected volume is at least {least:.2g} m3 ({SMALL_VESSEL:.0f} inlet lines)"
        return replace(base, words=words)
    return base
