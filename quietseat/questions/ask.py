"""What to ask for next: the expected gain of knowing each missing or doubtful value before deciding, per hour of asking.

Every unknown of a valve is put at three equally likely answers; the valve is assessed and its remedies proposed for each
combination of an orthogonal array; deciding now, for all of them at once, is compared with deciding when the answer is in.
A wrong decision costs a second job later: `late_cure_factor` times the cheapest cure, and the misfit cost the Basis states.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from quietseat.assess import Asking, assess, assess_many
from quietseat.basis import Basis
from quietseat.economics import present_value, years_factor
from quietseat.formula import Money, One, Sheet, formula
from quietseat.model import Assessment, Location, Problem, Remedy
from quietseat.questions import answers
from quietseat.questions.answers import Answer
from quietseat.questions.open import NOBODY, Task, asked_where, tasks
from quietseat.questions.unknowns import Unknown, answered, of
from quietseat.questions.worth import decided, scenarios, worth_of, worth_of_all
from quietseat.remedies import propose

KEEP = "keep"
DRAWS = 12  # of a possible answer marched in time: enough to tell a plain class, few enough for nine answers a valve
_QUIET = Sheet(False)


@formula("definition")
def left_wrong(cure: Money, late: One, misfit: Money) -> Money:
    """Cost of having left a finding that needs a cure: the cure as a late job, and what the misfit costs meanwhile."""
    return cure * late + misfit


@dataclass(frozen=True, slots=True)
class Question:
    """One question. value: money gained on average by knowing before deciding; None where it cannot be valued (reason says why).

    kind: contradiction (the register says two things), worth (valued), open check (its verdict waits for it). answers: the fields an
    answer may go into, the likeliest first.
    """

    tag: str
    field: str
    title: str
    place: str
    who: str
    hours: float
    value: float | None
    reason: str
    now: str = ""
    unit: str = ""
    sheet: str = ""
    row: int | None = None
    source: str = ""
    kind: str = "worth"
    answers: tuple[Answer, ...] = ()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one answer would lead to: which remedies clear, at what money now, and how many stop findings stand."""

    fails: bool
    stops: int
    spend: Mapping[str, float]
    clears: frozenset[str]
    titles: Mapping[str, str] = field(default_factory=dict)


@dataclass(slots=True)
class Asked:
    """The questions of one valve, and what knowing all of it would be worth."""

    tag: str
    questions: list[Question] = field(default_factory=list)
    worth_of_all: float = 0.0
    failed: str = ""  # why the calculation broke; the other valves go on


def asked(jobs: Sequence[tuple[Location, tuple[Problem, ...]]], basis: Basis) -> list[Asked]:
    """The questions worth asking about each valve. jobs: Locations as read, with what the register found wrong with them.

    What closed form leaves in doubt is marched in time with a few draws (all valves in one batch) unless the Basis marches nothing;
    the remedies of each answer are judged in closed form.
    """
    out: list[Asked] = []
    pending: list[_Pending] = []
    judged: list[tuple[Asked, Location, Assessment]] = []
    for location, problems in jobs:
        found = Asked(location.tag)
        out.append(found)
        try:
            now = assess(location, basis, record=False, problems=problems)
        except Exception as error:  # one row's failure must not stop the fleet
            found.failed = f"{type(error).__name__}: {error}"
            continue
        judged.append((found, location, now))
        found.questions += [_conflict(location, problem) for problem in now.problems]
        unknowns = of(location, now, basis)
        if unknowns:
            runs = scenarios(len(unknowns))
            places = [answered(location, dict(zip(unknowns, levels)), basis) for levels in runs.tolist()]
            pending.append(_Pending(found, location, now, unknowns, runs, places))
    asking = Asking(DRAWS, ends=True) if basis.time_marching != "none" else None
    results = iter(assess_many([(place, ()) for one in pending for place in one.places], basis, record=False, asking=asking))
    for one in pending:
        answers = [(place, next(results)) for place in one.places]
        try:
            _value(one, [_outcome(place, answer, basis) for place, answer in answers], basis)
        except Exception as error:
            one.found.failed = f"{type(error).__name__}: {error}"
    for found, location, now in judged:
        found.questions += [_task(location, task) for task in tasks(now, [one.field for one in found.questions])]
    return out


@dataclass(frozen=True, slots=True)
class _Pending:
    """A valve whose answers are being assessed."""

    found: Asked
    location: Location
    now: Assessment
    unknowns: list[Unknown]
    runs: Any
    places: list[Location]


def _value(one: _Pending, outcomes: Sequence[Outcome], basis: Basis) -> None:
    actions, costs = table_of(outcomes, basis)
    best, _ = decided(costs)
    titles = {name: title for outcome in outcomes for name, title in outcome.titles.items()} | {KEEP: "leave it as it is"}
    one.found.worth_of_all = max(0.0, worth_of_all(costs))
    for place, unknown in enumerate(one.unknowns):
        value = worth_of(costs, one.runs[:, place].tolist())
        reason = _reason(unknown, [titles.get(name, name) for name in actions], costs, one.runs[:, place], best)
        if value > 0.0 or _opens(one.now, unknown):
            one.found.questions.append(_question(one.location, unknown, value, reason))


def _outcome(location: Location, found: Assessment | Exception, basis: Basis) -> Outcome:
    if isinstance(found, Exception):
        raise found
    remedies = propose(location, found, basis)
    failing = [f for f in found.findings if f.outcome == "fail"]
    spend = {r.name: _money(r) for r in remedies if r.cost is not None and r.name not in (KEEP, "measure-first")}
    clears = frozenset(r.name for r in remedies if r.name in spend and r.clears != "no")
    stops = len({f.code for f in failing if f.severity == "stop"})
    return Outcome(bool(failing), stops, spend, clears, {r.name: r.title for r in remedies})


def _money(remedy: Remedy) -> float:
    """Money now, middle: capital and work."""
    return remedy.cost.capital.mid + remedy.cost.work.mid if remedy.cost else 0.0


def table_of(outcomes: Sequence[Outcome], basis: Basis) -> tuple[list[str], Any]:
    """Actions and their cost in each scenario (actions, scenarios), money: keep, and every remedy that is the cheapest cure somewhere.

    Where no remedy clears, all actions cost the same: knowing changes nothing there.
    """
    cheapest = [min(one.clears, key=lambda name: (one.spend[name], name), default=None) for one in outcomes]
    actions = [KEEP, *sorted({name for name in cheapest if name is not None})]
    prices = {name: float(np.mean([one.spend[name] for one in outcomes if name in one.spend])) for name in actions[1:]}
    misfit = present_value(basis.misfit_cost, years_factor(basis, _QUIET)) if basis.misfit_cost > 0 else 0.0
    costs = np.zeros((len(actions), len(outcomes)))
    for column, (one, cure) in enumerate(zip(outcomes, cheapest)):
        late = left_wrong(one.spend[cure], basis.late_cure_factor, misfit * one.stops) if one.fails and cure else 0.0
        for line, name in enumerate(actions):
            done = 0.0 if name == KEEP else one.spend.get(name, prices.get(name, 0.0))
            cured = name in one.clears or not one.fails
            costs[line, column] = done + (0.0 if cured else late)
    return actions, costs


def _opens(now: Assessment, unknown: Unknown) -> bool:
    """An open check hangs on it: it is asked for whatever it is worth in money."""
    key = unknown.field.rpartition(".")[2]
    words = {"length": f"{unknown.field.partition('.')[0]} length", "flow": "required rate", "mawp": "MAWP", "volume": "volume"}.get(key)
    opened = [f for f in now.findings if f.outcome == "open"]
    return any(unknown.field in f.rests_on or (words is not None and words in f.words) for f in opened)


def _reason(unknown: Unknown, actions: Sequence[str], costs: Any, levels: Any, best: int) -> str:
    """Which answers would change what is done."""
    said = []
    for level in sorted(set(levels.tolist())):
        choice, _ = decided(costs[:, levels == level])
        said.append((shown(unknown, level), actions[choice]))
    if len({action for _, action in said}) == 1:
        return f"whatever the answer, one would {_lower(actions[best])}; but a check stays open without it"
    return "; ".join(f"at {value}: {_lower(action)}" for value, action in said) + f"; without knowing: {_lower(actions[best])}"


def _lower(title: str) -> str:
    """A title inside a sentence."""
    return title[:1].lower() + title[1:]


def shown(unknown: Unknown, level: int) -> str:
    """One possible answer in the unit of the form."""
    value, unit = unknown.levels[level], str(unknown.row["unit"] or "")
    if isinstance(value, str):
        return value
    scale = {"barg": 1e-5, "kg/h": 3600.0, "%": 100.0}.get(unit, 1.0)
    return f"{float(f'{value * scale:.3g}'):g} {unit}".strip()


def _question(location: Location, unknown: Unknown, value: float, reason: str) -> Question:
    row = unknown.row
    return Question(
        location.tag, unknown.field, str(row["title"]), str(row["place"]), str(row["who"]), float(row["hours"]), value, reason,
        unknown.now, str(row["unit"] or row["words"] or ""), location.sheet or "", location.row, f"range and hours: {row['provenance']}",
        answers=answers.of_field(location, unknown.field),
    )  # fmt: skip


def _task(location: Location, task: Task) -> Question:
    """What closes an open check and cannot be put into money here."""
    words, row, field = task
    return Question(
        location.tag, field, words, str(row["place"]), str(row["who"]), float(row["hours"]), None,
        "the verdict stays open until this is known", "not known", str(row["unit"] or ""), location.sheet or "", location.row,
        f"hours: {row['provenance']}", "open check", answers.of_field(location, field),
    )  # fmt: skip


def _conflict(location: Location, problem: Problem) -> Question:
    """What the register contradicts itself in: asked first, valued by nobody. Who and where go by the field that decides it."""
    found = answers.of_problem(location, problem)
    place, who, hours = asked_where(problem.settles[0].field) if problem.settles else NOBODY
    return Question(
        location.tag, problem.field or "", problem.rule.removeprefix("check: "), place, who, hours,
        None, f"the register contradicts itself: the verdict stays open until it is settled ({problem.mend})",
        next((said for one in found for said, where in one.offers if where == "as written"), str(problem.value or "")), "", location.sheet or "", location.row, "hours: estimate", "contradiction", found,
    )  # fmt: skip
