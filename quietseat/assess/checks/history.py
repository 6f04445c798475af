"""What the shop and the plant saw: stuck, leaking, bellows, chatter, corrosion, fouling."""

from __future__ import annotations

from quietseat.assess.checks.common import View, failed, judged, noted, open_check, percent
from quietseat.assess.checks.pressure import ratio, set_tolerance
from quietseat.leakage.gather import specified
from quietseat.model import Event, Finding
from quietseat.reliability.observed import as_left

STUCK_RULE = "as-found pop below the stuck ratio of the Basis, against CDTP (API RP 581, 576)"
POP_RULE = "as-found pop within the set tolerance (plus or minus 3 %, or 2 psi up to 70 psig), against CDTP"
CLEANED_RULE = "the first pop, before cleaning, is the as-found result (API RP 576)"
MEASURED_RULE = "measured leak within what the seat may leak by its specification (API 527)"
LEAK_RULE = "no leak reported and readings below the limit of the Basis (40 CFR 65.111)"
BELLOWS_RULE = "a bellows lasts longer than the test intervals of the Basis"
KIND_RULE = "history and kind agree"
WORD_RULE = "reported in the history (words of the register)"
LIFT_RULE = "more than 5 lifts a year halve the life (API RP 581, memory-md)"
FIVE_YEARS = 5.0  # over which the register counts overhauls and renewals
LIFTS = 5.0
_HISTORY = ("history",)


def check(view: View) -> list[Finding]:
    """Every event of the history, each judged once by kind."""
    events = view.location.history.events
    if not events:
        return _measured(view)
    by_kind: dict[str, list[Event]] = {}
    for event in events:
        by_kind.setdefault(event.event, []).append(event)
    out = _pops(view, by_kind.get("pop", []))
    stuck = by_kind.get("stuck")
    if stuck:
        out.append(failed("stuck", f"reported stuck: {_said(stuck)}", WORD_RULE, severity="stop", rests_on=_HISTORY))
    out += _leaks(view, by_kind.get("leak", [])) or _measured(view)
    out += _bellows(view, by_kind.get("bellows", []))
    out += _reported(by_kind)
    return out


def _said(events: list[Event]) -> str:
    words = [event.note for event in events if event.note]
    return f'"{words[0]}"' if words else "once" if len(events) == 1 else f"{len(events)} times"


def _pops(view: View, events: list[Event]) -> list[Finding]:
    """As-found pops against CDTP: the stated one, else the calculated one, else set. The worst high and low count."""
    reference = view.location.valve.cdtp or view.cdtp or view.location.valve.set_pressure
    base = view.basis.gauge(reference) if reference is not None else 0.0
    if base <= 0:
        return []
    found: dict[str, Finding] = {}
    for event in events:
        if event.value is None:
            continue
        if as_left(event):
            words = f"popped after cleaning ({_said([event])}): no as-found result"
            found.setdefault("data", noted("data", "thin", words, CLEANED_RULE, rests_on=_HISTORY))
            continue
        judgement = _pop(view, ratio(view.basis.gauge(event.value), base), set_tolerance(base, view.basis))
        if judgement is None:
            continue
        old = found.get(judgement.code)
        if old is None or (judgement.margin or 0.0) < (old.margin or 0.0):
            found[judgement.code] = judgement
    return list(found.values())


def _pop(view: View, value: float, tolerance: float) -> Finding | None:
    """One as-found pop over the cold differential test pressure, gauge; None within the tolerance."""
    basis = view.basis
    words = f"as-found pop {percent(value)} of the cold differential test pressure"
    if value >= basis.stuck_ratio:
        limit = 1 + tolerance
        return judged(view, "stuck", value, limit, f"{words}: counts as failed to open", STUCK_RULE, severity="stop",
                      rests_on=_HISTORY)  # fmt: skip
    if value > 1 + 2 * tolerance:
        return judged(view, "stuck", value, 1 + tolerance, f"{words}: opens late", POP_RULE, rests_on=_HISTORY)
    if value < basis.pop_low_ratio and value < 1 - tolerance:
        return judged(view, "corrosion", value, 1 - tolerance, f"{words}: spring weakened, setting moved, or tested wrong",
                      POP_RULE, above=True, rests_on=_HISTORY)  # fmt: skip
    if value > 1 + tolerance + 1e-9:
        return noted("stuck", "thin", f"{words}: outside the set tolerance", POP_RULE, rests_on=_HISTORY)
    if value < 1 - tolerance - 1e-9:
        return noted("corrosion", "thin", f"{words}: outside the set tolerance", POP_RULE, rests_on=_HISTORY)
    return None


def _leaks(view: View, events: list[Event]) -> list[Finding]:
    readings = [event.value for event in events if event.value is not None]
    words = [event for event in events if event.value is None]
    # A reading at the limit counts as leaking, so what passes stays a hair below it.
    worst, limit = max(readings, default=0.0), view.basis.leak_ppm * (1 - 1e-9)
    if readings and worst > limit:
        return [Finding("leaks", "act", "fail", LEAK_RULE, f"leak reading {worst:.0f} ppm", worst, limit,
                        (limit - worst) / limit, unit="ppm", rests_on=_HISTORY)]  # fmt: skip
    if words:
        return [failed("leaks", f"reported leaking: {_said(words)}", WORD_RULE, rests_on=_HISTORY)]
    return []


def _measured(view: View) -> list[Finding]:
    """A leak rate somebody measured, against the specification of the seat."""
    rate = view.location.history.measured_rate
    allowed = specified(view.location, view.basis) if rate is not None else None
    if rate is None or allowed is None or rate <= allowed:
        return []
    words = f"{3600 * rate:.3g} kg/h measured, {3600 * allowed:.2g} kg/h allowed"
    margin = (allowed - rate) / allowed if allowed > 0 else None  # a soft seat may leak nothing
    return [Finding("leaks", "act", "fail", MEASURED_RULE, words, rate, allowed, margin, unit="kg/s", rests_on=_HISTORY)]


def _bellows(view: View, events: list[Event]) -> list[Finding]:
    count = sum(event.value if event.value is not None else 1.0 for event in events)
    if not count:
        return []
    basis = view.basis
    allowed = max(1.0, FIVE_YEARS / (basis.interval_spring_years * basis.bellows_life_intervals))
    counted = any(event.value is not None for event in events)
    times = "once" if count == 1 else f"{count:.0f} times"
    words = f"bellows renewed {times}{' in five years' if counted else ''}"
    out: list[Finding] = []
    if view.location.valve.kind == "conventional":
        out.append(open_check("data", "the history speaks of a bellows, the register of none: which is it?", KIND_RULE,
                              rests_on=view.rests_on("valve.kind")))  # fmt: skip
    if count > allowed:
        out.append(judged(view, "bellows", count, allowed, words, BELLOWS_RULE, rests_on=_HISTORY))
    else:
        out.append(Finding("bellows", "note", "thin", BELLOWS_RULE, words, count, allowed, rests_on=_HISTORY))
    return out


def _reported(by_kind: dict[str, list[Event]]) -> list[Finding]:
    """Corrosion and fouling words, and lifts; reported chatter is judged with stability."""
    out: list[Finding] = []
    for kind in ("corrosion", "fouling"):
        if by_kind.get(kind):
            out.append(failed(kind, f"reported {kind}: {_said(by_kind[kind])}", WORD_RULE, rests_on=_HISTORY))
    lifts = max((event.value for event in by_kind.get("lift", []) if event.value is not None), default=0.0)
    if lifts > LIFTS:
        out.append(Finding("cycling", "note", "thin", LIFT_RULE, f"{lifts:.0f} lifts a year", lifts, LIFTS, unit="1/year",
                           rests_on=_HISTORY))  # fmt: skip
    return out
