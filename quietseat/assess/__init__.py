"""One Location against the Basis: screen in closed form, march what is in doubt, then conclude.

The passes are apart so that a fleet is batched: everything `screen` leaves in doubt is marched in time together
before `finish` turns it into findings and a verdict.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from quietseat.assess import cause, conclude, hydraulics
from quietseat.assess import ladder as rungs
from quietseat.assess.checks import duty, history, pipes, ratings, stability
from quietseat.assess.checks import pressure as pressures
from quietseat.assess.checks.common import View, called, open_check
from quietseat.assess.complete import complete
from quietseat.assess.copies import changed
from quietseat.assess.marching import Asking, in_doubt, march
from quietseat.basis import Basis
from quietseat.formula import Sheet
from quietseat.model import Assessment, Assumption, Finding, Location, Problem, Stability
from quietseat.sizing.pressure import cdtp
from quietseat.status import CalculationFailed, Status

__all__ = ["Asking", "Screened", "assess", "assess_many", "complete", "finish", "in_doubt", "march_all", "march_each", "screen"]

_NOT_YET = Stability()
Result = TypeVar("Result")


@dataclass(frozen=True, slots=True)
class Screened:
    """A Location with everything closed form can say about it."""

    view: View
    sheet: Sheet
    assumptions: tuple[Assumption, ...]


def assess(
    location: Location, basis: Basis, *, record: bool = True, problems: tuple[Problem, ...] = (), asking: Asking | None = None
) -> Assessment:
    """One Location against the Basis. Never raises for bad data: it ends unproven and says why.

    record=False leaves the steps out (remedies of a large fleet). problems: what the register already found
    wrong with this Location; each is an open finding. asking: how to march in time what closed form leaves in
    doubt; None = closed form only.
    """
    screened = screen(location, basis, record=record, problems=problems)
    return finish(march_all([screened], basis, asking)[0] if asking else screened)


def assess_many(
    jobs: Sequence[tuple[Location, tuple[Problem, ...]]], basis: Basis, *, record: bool = True, asking: Asking | None = None
) -> list[Assessment | Exception]:
    """Many Locations; everything in doubt is marched in one batch. What broke inside stands in its place."""
    screened = [_caught(screen, location, basis, record=record, problems=problems) for location, problems in jobs]
    if asking:
        done = iter(march_each([item for item in screened if isinstance(item, Screened)], basis, asking))
        screened = [next(done) if isinstance(item, Screened) else item for item in screened]
    return [_caught(finish, item) if isinstance(item, Screened) else item for item in screened]


def _caught(call: Callable[..., Result], *args: Any, **options: Any) -> Result | Exception:
    try:
        return call(*args, **options)
    except Exception as error:  # one row's failure must not stop the fleet; the study reports it
        return error


def march_all(screened: Sequence[Screened], basis: Basis, asking: Asking) -> list[Screened]:
    """Second pass: what closed form leaves in doubt marched in time, in one batch; the others as they are."""
    views = march([(item.view, item.sheet) for item in screened], basis, asking)
    return [replace(item, view=view) for item, view in zip(screened, views)]


def march_each(screened: Sequence[Screened], basis: Basis, asking: Asking) -> list[Screened | Exception]:
    """The same; where the batch breaks inside, one by one, so that what broke stands in its own place only."""
    whole = _caught(march_all, screened, basis, asking)
    if not isinstance(whole, Exception):
        return list(whole)
    alone = [_caught(march_all, [item], basis, asking) for item in screened]
    return [item if isinstance(item, Exception) else item[0] for item in alone]


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
        reasons, tuple([f for f in everything if f.outcome == "pass"]), view.chatter, view.chatter_doubt,
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
