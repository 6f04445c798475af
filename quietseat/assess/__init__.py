"""One Location against the Basis: screen in closed form, then conclude.

The two passes are apart so that a fleet can be batched: everything `screen` leaves in doubt can be marched in
time together before `conclude` turns it into findings and a verdict.
"""

from __future__ import annotations

from dataclasses import dataclass

from quietseat.assess import cause, conclude, hydraulics
from quietseat.assess import ladder as rungs
from quietseat.assess.checks import duty, history, pipes, ratings, stability
from quietseat.assess.checks import pressure as pressures
from quietseat.assess.checks.common import View, called, open_check
from quietseat.assess.complete import complete
from quietseat.assess.copies import changed
from quietseat.basis import Basis
from quietseat.formula import Sheet
from quietseat.model import Assessment, Assumption, Finding, Location, Problem, Stability
from quietseat.sizing.pressure import cdtp
from quietseat.status import CalculationFailed, Status

__all__ = ["Screened", "assess", "complete", "finish", "screen"]

_NOT_YET = Stability()


@dataclass(frozen=True, slots=True)
class Screened:
    """A Location with everything closed form can say about it."""

    view: View
    sheet: Sheet
    assumptions: tuple[Assumption, ...]


def assess(location: Location, basis: Basis, *, record: bool = True, problems: tuple[Problem, ...] = ()) -> Assessment:
    """One Location against the Basis. Never raises for bad data: it ends unproven and says why.

    record=False leaves the steps out (remedies of a large fleet). problems: what the register already found
    wrong with this Location; each is an open finding.
    """
    return finish(screen(location, basis, record=record, problems=problems))


def screen(location: Location, basis: Basis, *, record: bool = True, problems: tuple[Problem, ...] = ()) -> Screened:
    """First pass: defaults, sizing, hydraulics and closed-form stability."""
    whole, assumptions = complete(location, basis)
    sheet = Sheet(record)
    ready = hydraulics.pipes(whole, basis, sheet)
    cases = tuple([hydraulics.assess_case(whole, i, ready, basis, sheet) for i in range(len(whole.cases))])
    pressure = whole.valve.set_pressure
    gauge = basis.gauge(pressure) if pressure is not None and pressure > basis.atmospheric_pressure else None
    view = View(whole, basis, ready, cases, _NOT_YET, problems, _cdtp(whole, basis, sheet), gauge)
    return Screened(changed(view, {"stability": stability.stability(view, sheet)}), sheet, assumptions)


def _cdtp(location: Location, basis: Basis, sheet: Sheet) -> float | None:
    """Calculated cold differential test pressure; the lowest superimposed back pressure is the constant part."""
    valve = location.valve
    if valve.set_pressure is None:
        return None
    constant = min((case.superimposed_min for case in location.cases if case.superimposed_min is not None), default=None)
    sheet.section("Cold differential test pressure")
    try:
        return cdtp(valve.set_pressure, constant, valve.kind or "conventional", basis.atmospheric_pressure, sheet)
    except CalculationFailed:
        return None


def finish(screened: Screened) -> Assessment:
    """Last pass: checks, findings, root cause, verdict."""
    view, sheet = screened.view, screened.sheet
    results = tuple([case.result for case in view.cases])
    ladder = rungs.ladder(view.location, results, view.basis, sheet)
    found: list[Finding] = []
    for check in (duty.check, pipes.check, pressures.check, ratings.check, stability.check, history.check, _data):
        found += check(view)
    everything = conclude.ordered(found)
    findings = tuple([f for f in everything if f.outcome != "pass"])
    word, reasons = conclude.verdict(findings)
    root = cause.root_cause(view, findings)
    return Assessment(
        view.location.tag, word, findings, results, ladder, view.stability, root.words, root.code, root.evidence,
        screened.assumptions, view.problems, tuple(sheet.steps()) if sheet.record else (), tuple(dict.fromkeys(sheet.flags)),
        next((result.status for result in results if result.status is not Status.OK), Status.OK),
        reasons, tuple([f for f in everything if f.outcome == "pass"]),
    )  # fmt: skip


def _data(view: View) -> list[Finding]:
    """What the register found wrong with this Location, and m-of-n counts that cannot be, one finding each."""
    out = [
        open_check("data", problem.sentence(), "cross-check of the register", rests_on=(problem.field or "",))
        for problem in view.problems
    ]
    for index, case in enumerate(view.location.cases):
        name = view.cases[index].result.name
        if case.required is not None and not 1 <= case.required <= (case.installed or case.required):
            words = f"{called(name)}: {case.required} of {case.installed or case.required} valves needed cannot be"
            out.append(open_check("data", words, "valves needed between one and the number installed", case=name))
    return out
