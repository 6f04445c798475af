"""Pilot-operated valves in closed form: what the pilot feels of the inlet line, against its blowdown."""

from __future__ import annotations

from quietseat.dynamics import closed
from quietseat.dynamics.parameters import ranges
from quietseat.dynamics.situation import (
    Limits,
    Run,
    Situation,
    cycle_period,
    cycle_words,
    pop_words,
    share,
    sound_speed,
    stroke_time,
    waves,
)
from quietseat.formula import Sheet
from quietseat.model import Stability
from quietseat.status import Status

PROOF = "the maker's proof on this line"


def judge(situation: Situation, line: Run, flow: float, basis: Limits, sheet: Sheet) -> Stability:
    """Pilot valve: what the pilot feels, against its blowdown; the main valve by its stroke time."""
    known = ranges()
    speed = sound_speed(situation, sheet)
    # The pilot's dead time comes before the stroke and does not count.
    stroke = stroke_time("pilot-main-piston", "any")[0]
    opening = sheet.given("t_o", "stroke time of the main valve", stroke, "s", "table opening_times (estimate)")
    wave = waves(situation, line, flow, speed, opening, sheet)
    set_gauge = situation.set_pressure - situation.atmospheric
    snap = situation.pilot_action != "modulating"
    span = known["pilot_blowdown_snap" if snap else "pilot_blowdown_modulating"]
    stated = situation.dynamics.pilot_blowdown
    if stated is None and not situation.blowdown_is_default:
        stated = situation.blowdown
    low, mid, high = (stated, stated, stated) if stated is not None else (span.low, span.mid, span.high)
    loss = situation.inlet_loss_full
    # A pilot that senses at the vessel does not feel loss and wave: there is no balance to print or to report.
    remote = situation.pilot_sense == "remote"
    felt = Sheet(record=False) if remote else sheet
    used = felt.apply("dp_used", closed.balance_used, loss=loss or 0.0, wave=wave.drop, back=0.0)
    allowed = felt.apply(
        "dp_allowed",
        closed.pilot_allowed,
        set_gauge=set_gauge,
        blowdown=mid,
        share=known["pilot_loss_share"].mid,
    )
    # A snap pilot holds the main valve fully open: any smaller flow is passed in pops.
    period, cycles = cycle_period(situation, flow, mid, flow if snap else 0.0, speed, basis, sheet)
    verdict, words, reason = _conclude_pilot(situation, used, (low, mid, high), loss, cycles, period, basis, sheet)
    if sheet.record:
        sheet.note("verdict", "stability in closed form", f"{verdict}: {words}", "pilot criteria (estimate)")
    return Stability(
        Status.OK, reason, None, line.acoustic, wave.return_time, opening, wave.drop,
        None if remote else used, None if remote else allowed, period, None, verdict, words,
    )  # fmt: skip


def _conclude_pilot(
    situation: Situation, used: float, blowdowns: tuple[float, float, float], loss: float | None, cycles: bool,
    period: float | None, basis: Limits, sheet: Sheet,
) -> tuple[str, str, str]:  # fmt: skip
    """Verdict of a pilot valve from its sensing, action and blowdown."""
    set_gauge = situation.set_pressure - situation.atmospheric
    low, mid, high = blowdowns
    remote = situation.pilot_sense == "remote"
    modulating = situation.pilot_action == "modulating"
    open_points: list[str] = []
    if situation.pilot_action is None:
        open_points.append("whether the pilot snaps or modulates is unknown")
    if not remote:
        if situation.pilot_action == "snap" and used > closed.pilot_allowed(set_gauge, high, 1.0):
            return "cycles", (
                f"The pilot senses at the valve inlet and loses {share(used, situation)} of set as the valve opens, more "
                f"than its blowdown ({100 * high:.2g} %): it shuts the valve and opens it again, fast."
            ), ""  # fmt: skip
        if loss is None:
            open_points.append("the inlet loss is unknown")
        elif used > closed.pilot_allowed(set_gauge, low, ranges()["pilot_loss_share"].mid):
            open_points.append(
                f"the pilot senses at the valve inlet and may lose {share(used, situation)} of set there: "
                f"{PROOF}, or sense at the vessel"
            )
        elif situation.pilot_bleed == "bleeding" and (
            loss > basis.inlet_loss_limit * set_gauge or mid < ranges()["pilot_wave_blowdown"].low
        ):
            open_points.append("a bleeding pilot sensing at the inlet needs a low loss and enough blowdown: " + PROOF)
    else:
        open_points += _sense_line(situation, basis, sheet)
    if modulating:
        open_points.insert(0, f"a modulating pilot hinges on seal friction, damping and pilot parts: {PROOF}")
    if situation.phase == "two-phase":
        open_points.append("the inlet is two-phase, closed forms are only indicative there")
    if situation.least_flow is None:
        open_points.append("the lowest credible flow is unknown")
    if open_points:
        reason = "; ".join(open_points)
        return "unproven", f"Not proven quiet: {reason}.", reason
    if cycles:
        return "cycles", cycle_words(situation, period, basis), ""
    where = (
        "at the vessel, so the inlet line does not mislead it"
        if remote
        else "at the inlet, where loss and wave stay small"
    )
    derate = ""
    if loss is not None and loss > basis.inlet_loss_limit * set_gauge:
        derate = f" The main valve still loses {share(loss, situation)} of set in the inlet line: derate its capacity."
    return "quiet", f"Screened quiet: the pilot senses {where}.{pop_words(period)}{derate}", ""


def _sense_line(situation: Situation, basis: Limits, sheet: Sheet) -> list[str]:
    """Open points of a remote sense line: bore area against the rule, bore unknown."""
    bore = situation.dynamics.sense_bore
    if bore is None:
        return ["the bore of the sense line is unknown: measure it"]
    area = sheet.apply("A_sense", closed.bore_area, bore=bore)
    if area < basis.sense_area * (1 - 1e-9):
        return [
            f"the sense line has {area * 1e6:.3g} mm2, the rule asks for {basis.sense_area * 1e6:.3g} mm2: a wider tube"
        ]
    return []
