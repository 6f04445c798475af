"""The dynamic verdict: what closed form leaves in doubt is marched in time, a whole fleet in one batch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from quietseat.assess.checks.common import View
from quietseat.assess.checks.stability import WORST, situations
from quietseat.assess.copies import changed
from quietseat.basis import Basis
from quietseat.dynamics.screening import screen
from quietseat.dynamics.situation import Situation
from quietseat.formula import Sheet
from quietseat.model import Chatter, Stability
from quietseat.status import Status

if TYPE_CHECKING:
    from quietseat.march.chatter import Question

# What the marching found to limit the valve, as a criterion of closed form.
_CRITERIA = {
    "inlet wave": "length", "inlet loss": "balance", "back pressure": "balance", "small vessel": "vessel",
    "oversize": "oversize", "pilot": "pilot",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Asking:
    """How a fleet is marched. samples: draws a valve (fewer for a pilot, every draw of which is marched).

    details: traces, map and limits as well. ends: only the smallest credible and the rated flow, as for remedies.
    """

    samples: int
    details: bool = False
    engine: str = "local"
    ends: bool = False


def in_doubt(view: View) -> bool:
    """True where the Basis has this valve marched: closed form ended without a verdict (or all are marched)."""
    found, choice = view.stability, view.basis.time_marching
    if choice == "none" or found.status is not Status.OK:
        return False
    return choice == "all" or found.verdict == "unproven"


def march(views: Sequence[tuple[View, Sheet]], basis: Basis, asking: Asking) -> list[View]:
    """The views with the dynamic verdict where closed form left one in doubt; one batch for all of them.

    A valve that cannot be marched keeps its closed form, and its sheet says why.
    """
    owners: list[int] = []
    questions: list[Question] = []
    settled: dict[int, list[Stability]] = {}
    for place, (view, _) in enumerate(views):
        if not in_doubt(view):
            continue
        for situation, closed in _apart(view):
            if basis.time_marching != "all" and closed.verdict != "unproven":
                settled.setdefault(place, []).append(closed)
                continue
            owners.append(place)
            questions.append(_question(situation, asking))
    if not questions:
        return [view for view, _ in views]
    from quietseat.march.chatter import chatter_many

    answers: dict[int, list[Chatter]] = {}
    for place, answer in zip(owners, chatter_many(questions, basis, engine=asking.engine)):
        answers.setdefault(place, []).append(answer)
    return [
        _judged(view, sheet, answers[place], settled.get(place, [])) if place in answers else view
        for place, (view, sheet) in enumerate(views)
    ]


def _question(situation: Situation, asking: Asking) -> Question:
    from quietseat.march.chatter import Question
    from quietseat.march.job import fewer

    samples = fewer(situation, asking.samples, ends=asking.ends)
    return Question(situation, samples=samples, details=asking.details, ends=asking.ends)


def _apart(view: View) -> list[tuple[Situation, Stability]]:
    """Each situation of a valve with its own closed form."""
    each = situations(view)
    if len(each) == 1:
        return [(each[0], view.stability)]
    return [(situation, screen(situation, view.basis, Sheet(record=False))) for situation in each]


def _judged(view: View, sheet: Sheet, answers: list[Chatter], settled: list[Stability]) -> View:
    """The view with its worst answer; closed form stays where no answer ended ok."""
    ended = [answer for answer in answers if answer.status is Status.OK]
    if len(ended) < len(answers):
        broken = next(answer for answer in answers if answer.status is not Status.OK)
        sheet.note("march", "marching in time", f"not done: {broken.reason}; closed form stands", "")
        return view
    worst = min(ended, key=lambda answer: WORST.index(answer.verdict))
    sheet.section("Stability in time")
    why = view.stability.reason or "the Basis has every valve marched"
    sheet.note("march", "why it is marched in time", why, "closed form leaves it in doubt")
    _steps(sheet, worst)
    stability = replace(
        view.stability, verdict=worst.verdict, words=worst.words, reason=worst.reason or worst.measure,
        criterion=_CRITERIA.get(worst.limited_by, ""), judged_by="marching in time",
        cycle_period=worst.cycle_period if worst.cycle_period is not None else view.stability.cycle_period,
    )  # fmt: skip
    if any(WORST.index(closed.verdict) < WORST.index(worst.verdict) for closed in settled):
        stability = min(settled, key=lambda closed: WORST.index(closed.verdict))
    return changed(view, {"stability": stability, "chatter": worst, "chatter_doubt": why})


def _steps(sheet: Sheet, found: Chatter) -> None:
    if not sheet.record:
        return
    source = f"{found.samples} draws, seed {found.seed}, {found.marched} cases marched in time, {found.cells} cells"
    if found.chatter_probability is not None:
        sheet.given("P_chatter", "probability of chatter", found.chatter_probability, "", source)
    if found.interval is not None:
        low, high = found.interval
        sheet.note("interval", "95 % interval of that probability", f"{low:.3g} to {high:.3g}", "binomial")
    if found.drawn:
        names = ", ".join(name.replace("_", " ") for name in found.drawn)
        sheet.note("drawn", "drawn from their ranges, not stated", names, "table dynamics_ranges: estimate")
    for parameter, share in found.sensitivities[:3]:
        sheet.given("S", f"share of the spread explained by {parameter}", share, "", "first-order sensitivity")
    sheet.note("verdict", "stability in time", f"{found.verdict}: {found.words}", "verdict rule (estimate)")

