"""Inlet loss and back pressure, by kind of valve."""

from __future__ import annotations

from dataclasses import replace

from quietseat import tables
from quietseat.assess.checks.common import View, called, failed, judged, margin_below, noted, open_check, percent, said
from quietseat.assess.hydraulics import Hydraulics
from quietseat.formula import One, PaD, PaG, formula
from quietseat.model import Finding, Valve

LOSS_RULE = "non-recoverable inlet loss on gauge set within the limit of the Basis (API 520-2)"
ANALYSIS_RULE = "engineering analysis: inlet loss within the blowdown less the reserve of the Basis (ISO 4126-9 reading; memory-md)"
BACK_RULE = {
    "conventional": "built-up plus variable superimposed back pressure on gauge set within 10 %, or the allowed overpressure",
    "bellows": "total back pressure on gauge set: 30 % freely, 50 % with the maker's word",
    "pilot": "total back pressure on gauge set within the limit of the Basis",
}
FLOW_RULE = "backflow preventer on a pilot valve whose outlet pressure can exceed its inlet pressure (API 520-2, memory-hi)"
MACH_RULE = "Mach number in the outlet line: for the reader, not a pass or fail"
FLOOR_RULE = "choked valve outlet: reported, contained in certification tests (common practice)"
_ADDING = {"outlet.fittings", "valve.outlet_size"}  # not counted because not known: they would only add
_ORDER = {"fail": 0, "open": 1, "thin": 2, "pass": 3}


@formula("API 520-2: back pressure as a share of gauge set pressure; definition")
def back_share(dp: PaD, p_set: PaG) -> One:
    """Back pressure over gauge set."""
    return dp / p_set


@formula("ISO 4126-9 reading: what blowdown leaves after inlet loss; memory-md")
def blowdown_left(blowdown: One, loss: One) -> One:
    """Blowdown less inlet loss."""
    return blowdown - loss


def check(view: View) -> list[Finding]:
    """Inlet loss and back pressure of the worst case, the backflow preventer, and what the outlet does."""
    out = [_worst([_inlet(view, case) for case in view.cases])]
    if view.set_gauge is not None:
        out.append(_worst([_back(view, case) for case in view.cases]))
    out += _backflow(view)
    out += _for_the_reader(view)
    return [finding for finding in out if finding is not None]


def _worst(findings: list[Finding]) -> Finding | None:
    """Of several cases the worst; equal outcomes by margin, the smaller first, none known worst of all."""
    return min(findings, key=lambda f: (_ORDER[f.outcome], f.margin if f.margin is not None else -9e9), default=None)


# -- inlet -----------------------------------------------------------------------------------------------------


def counted_at_required(valve: Valve, phase: str | None) -> bool:
    """True where the inlet loss counts at required flow: modulating pilots and liquids (API 520-2, memory-hi)."""
    return (valve.kind == "pilot" and valve.pilot_action == "modulating") or phase in ("liquid", "subcooled")


def _inlet(view: View, case: Hydraulics) -> Finding:
    result, valve = case.result, view.location.valve
    remote = valve.kind == "pilot" and valve.pilot_sense == "remote"
    if case.inlet_choked and not remote:
        words = f"{called(result.name)}: the inlet line chokes before the valve reaches its rated flow"
        return failed("inlet-loss", words, LOSS_RULE, severity="stop", case=result.name)
    rated, required = result.inlet_loss_rated, result.inlet_loss_required
    if rated is None:
        reason = case.inlet_reason or result.reason or view.pipes.inlet_reason or "inlet line unknown"
        return open_check("inlet-loss", f"{called(result.name)}: inlet loss not computed: {reason}", LOSS_RULE, case=result.name)
    at_required = counted_at_required(valve, case.duty.method if case.duty else None) and required is not None
    value = required if at_required and required is not None else rated
    beside = f"{called(result.name)}: {percent(rated)} of set at rated flow"
    if required is not None:
        beside += f", {percent(required)} at required flow"
    if remote:
        words = f"{beside}; sensed at the vessel, so the loss costs capacity, not stability"
        return Finding("inlet-loss", "note", "pass", LOSS_RULE, words, value, case=result.name)
    holds, reading = _analysis(view, value)
    rests, sway = _assumed_parts(view)
    finding = judged(view, "inlet-loss", value, view.basis.inlet_loss_limit, f"{beside}; {reading}", LOSS_RULE,
                     step="L_required" if at_required else "L_rated", case=result.name, rests_on=rests,
                     weak=_weak_parts(view), sway=sway, confidence="memory-hi")  # fmt: skip
    if finding.outcome != "fail" or not holds:
        return finding
    words = f"{finding.words}: allowed only with that analysis written down and on file"
    if rests:
        return replace(finding, outcome="open", severity="note", words=f"{words} (rests on a default: {said(rests)})")
    # It passes by the other reading, so the limit beside it is that one's.
    limit = blowdown_left(valve.blowdown or 0.0, view.basis.inlet_loss_analysis_reserve)
    return replace(finding, outcome="thin", severity="note", words=words, rule=ANALYSIS_RULE, limit=limit,
                   margin=max(0.0, margin_below(value, limit)))  # fmt: skip


def _assumed_parts(view: View) -> tuple[tuple[str, ...], float]:
    """Defaults of the inlet line this check tests, and the share of the loss they might be."""
    resistance = view.pipes.inlet
    parts = list(view.rests_on("inlet.size"))
    sway = 1.0 if parts else 0.0
    if view.location.valve.inlet_size is None:  # the step at the valve's own flange is not counted
        parts.append("valve.inlet_size")
    for name in resistance.assumed if resistance is not None else ():
        if name == "block_valve" or name.startswith("fittings"):
            parts.append(f"inlet.{name}")
            if name != "fittings":  # none counted: more of them would only add
                sway = max(sway, 0.3)
    return tuple(parts), sway


def _weak_parts(view: View) -> tuple[tuple[str, float], ...]:
    """Schedule 80 in place of 40 adds about a quarter to the loss, corroded pipe about a tenth.

    A sharp entrance is the common one; only a nozzle that reaches inward is worse.
    """
    resistance = view.pipes.inlet
    if resistance is None:
        return ()
    kinds = tables.table("entrances")
    worse = kinds.row(kind="inward")["K"] - kinds.row(kind="sharp")["K"]
    shares = {"schedule": 0.25, "roughness": 0.1, "entrance": worse / max(resistance.K_total, worse)}
    return tuple([(f"inlet.{n}", shares[n]) for n in resistance.assumed if n in shares])


def _analysis(view: View, loss: float) -> tuple[bool, str]:
    """The engineering-analysis reading, side by side with the 3 % reading; True only on a stated blowdown."""
    blowdown = view.location.valve.blowdown or 0.0
    left = blowdown_left(blowdown, loss)
    reserve = view.basis.inlet_loss_analysis_reserve
    holds = left >= reserve
    default = bool(view.rests_on("valve.blowdown"))
    words = (
        f"engineering-analysis reading: {'assumed' if default else 'stated'} blowdown {percent(blowdown)} leaves "
        f"{percent(left)} of set ({'enough' if holds else 'too little'}, {percent(reserve)} wanted)"
    )
    return holds and not default and view.stability.verdict == "quiet", words


# -- outlet ----------------------------------------------------------------------------------------------------


def _back(view: View, case: Hydraulics) -> Finding:
    result, kind = case.result, view.location.valve.kind or "conventional"
    rule, name = BACK_RULE[kind], case.result.name
    if case.outlet_blocked:
        words = f"{called(name)}: the outlet line cannot pass the rated flow"
        rests = view.rests_on("outlet.size", f"cases.{case.index}.superimposed_max")
        if rests:
            return open_check("back-pressure", f"{words} (rests on a default: {said(rests)})", rule, case=name, rests_on=rests)
        return failed("back-pressure", words, rule, severity="stop", case=name)
    if result.built_up is None or result.back_pressure is None or case.duty is None:
        reason = case.outlet_reason or result.reason or view.pipes.outlet_reason or "outlet line unknown"
        return open_check("back-pressure", f"{called(name)}: built-up back pressure not computed: {reason}", rule, case=name)
    finding = _conventional(view, case) if kind == "conventional" else _balanced(view, case, kind)
    return replace(finding, words=f"{finding.words}; homogeneous two-phase, indicative") if case.duty.indicative else finding


def _rests(view: View, case: Hydraulics) -> tuple[str, ...]:
    """Defaults behind the back pressure of a case."""
    at = f"cases.{case.index}."
    found = view.rests_on("valve.kind", f"{at}superimposed_max", f"{at}superimposed_min", f"{at}phase")
    outlet = view.pipes.outlet
    if outlet is not None and not case.outlet_stated:
        found += view.rests_on("outlet.size")
        if view.location.valve.outlet_size is None:
            found += ("valve.outlet_size",)
        if not outlet.no_pipe:
            found += tuple([f"outlet.{name}" for name in outlet.assumed if name.startswith("fittings")])
    return found


def _conventional(view: View, case: Hydraulics) -> Finding:
    """Built-up plus the swing of the superimposed back pressure; a constant one is taken up by CDTP."""
    result, duty, set_gauge = case.result, case.duty, view.set_gauge or 1.0
    assert duty is not None
    swing = max(0.0, duty.superimposed - (duty.case.superimposed_min or duty.superimposed))
    built_up = back_share(result.built_up or 0.0, set_gauge)
    value = back_share((result.built_up or 0.0) + swing, set_gauge)
    limit = back_limit(duty.overpressure, view.basis.built_up_limit)
    words = f"{called(result.name)}: built-up {percent(built_up)} and swinging superimposed {percent(back_share(swing, set_gauge))} of set"
    rests = _rests(view, case)
    if case.body_alone and value > limit:
        words += "; the built-up part is the choked outlet of the valve itself, which its certification tests contain: not failed for it"
        value = back_share(swing, set_gauge)
        if value <= limit:
            return noted("back-pressure", "thin", words, FLOOR_RULE, case=result.name, rests_on=rests)
    # Built-up alone above the limit fails whatever the header does; an assumed kind or pipe size may be all there is to it.
    alone = built_up > limit and not {"valve.kind", "outlet.size", f"cases.{case.index}.phase"} & set(rests)
    return judged(view, "back-pressure", value, limit, words, BACK_RULE["conventional"], case=result.name, rests_on=rests,
                  sway=0.0 if alone or set(rests) <= _ADDING else 1.0, confidence="memory-hi",
                  severity="stop" if value > 1.5 * limit else "act")  # fmt: skip


def back_limit(allowed: float | None, at_ten: float) -> float:
    """Limit of a conventional valve: that of the Basis at 10 % allowed overpressure, else the allowed overpressure.

    allowed: share of gauge set, None = 10 %. At less than 10 % the smaller of both counts (API 520-1, memory-hi).
    """
    if allowed is None or allowed <= 0.0 or abs(allowed - 0.10) < 0.005:
        return at_ten
    return allowed if allowed > 0.10 else min(allowed, at_ten)


def _balanced(view: View, case: Hydraulics, kind: str) -> Finding:
    """Bellows and pilot: total back pressure; above the free limit only the maker can say."""
    result, basis, set_gauge = case.result, view.basis, view.set_gauge or 1.0
    value = back_share(basis.gauge(result.back_pressure or 0.0), set_gauge)
    free, ceiling = (basis.bellows_limit, basis.bellows_ceiling) if kind == "bellows" else (basis.pilot_back_pressure_limit, 1.0)
    words = f"{called(result.name)}: total back pressure {percent(value)} of set"
    rests = _rests(view, case)
    if free < value <= ceiling:
        words = f"{words}: above {percent(free)} the maker must confirm lift and capacity"
        return Finding("back-pressure", "note", "open", BACK_RULE[kind], words, value, free, (free - value) / free,
                       case=result.name, rests_on=rests, confidence="memory-hi")  # fmt: skip
    limit = ceiling if value > ceiling else free
    certain = set(rests) <= _ADDING
    return judged(view, "back-pressure", value, limit, words, BACK_RULE[kind], case=result.name, rests_on=rests,
                  sway=0.0 if certain else 1.0, confidence="memory-hi", severity="stop")  # fmt: skip


def _backflow(view: View) -> list[Finding]:
    """A pilot valve opens backwards where the outlet pressure can exceed the inlet pressure."""
    valve = view.location.valve
    if valve.kind != "pilot" or not view.location.service.backflow or valve.backflow_preventer:
        return []
    words = "outlet pressure can exceed inlet pressure"
    if valve.backflow_preventer is None:
        return [open_check("back-pressure", f"{words}: has the pilot a backflow preventer?", FLOW_RULE)]
    return [failed("back-pressure", f"{words} and the pilot has no backflow preventer", FLOW_RULE, severity="stop")]


def _for_the_reader(view: View) -> list[Finding]:
    """Mach number in the outlet and the choked valve outlet: reported, never failed."""
    out: list[Finding] = []
    fast = max((c.result.outlet_mach or 0.0 for c in view.cases), default=0.0)
    if fast > view.basis.outlet_mach_limit:
        words = f"the outlet line reaches Mach {fast:.2g} at rated flow: look at noise, vibration and supports"
        out.append(noted("back-pressure", "pass", words, MACH_RULE))
    choked = [c for c in view.cases if c.result.body_floor and c.duty and c.result.body_floor > c.duty.superimposed]
    if choked:
        worst = max(choked, key=lambda c: c.result.body_floor or 0.0)
        gauge = view.basis.gauge(worst.result.body_floor or 0.0)
        words = f"the valve outlet itself chokes at {gauge / 1e5:.2g} barg in {called(worst.result.name)}"
        out.append(noted("back-pressure", "pass", words, FLOOR_RULE, case=worst.result.name))
    return out


__all__ = ["back_limit", "check", "counted_at_required"]
