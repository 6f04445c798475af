"""What would keep a valve quiet: the longest inlet, the smallest flow, a blowdown, a restricted lift.

Each is searched with linear theory over all draws by the verdict rule; the candidates next to the bound are then
marched with fewer draws, and the farthest that the rule still calls quiet is given.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quietseat.basis import Basis
from quietseat.dynamics.situation import Situation
from quietseat.march import job as jobs
from quietseat.march.batch import march_all
from quietseat.march.draws import BLOWDOWN_GAS, BLOWDOWN_LIQUID
from quietseat.march.job import Job, Question
from quietseat.march.verdict import judge
from quietseat.march.weigh import weigh
from quietseat.model import Chatter, ChatterLimits
from quietseat.status import CalculationFailed

LENGTHS = np.geomspace(0.1, 4.0, 17)  # times the inlet
FLOWS = np.array([0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])  # times full flow
BLOWDOWNS = 10
LIFTS = np.array([0.95, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3])
LEAST_LIFT = 0.002  # m, and 30 % of full lift: the code case for restricted lift (memory-hi)
HALVINGS = 4
CONFIRMED = 3  # candidates marched for each limit


def stretched(situation: Situation, factor: float) -> Situation:
    """The same valve on an inlet line of so many times the length, fittings unchanged."""
    if situation.pipes:
        return replace(
            situation, pipes=tuple((length * factor, bore, friction, loss) for length, bore, friction, loss in situation.pipes)
        )
    loss = None if situation.inlet_loss_full is None else situation.inlet_loss_full * factor
    if situation.segments:
        return replace(
            situation, segments=tuple((length * factor, area) for length, area in situation.segments), inlet_loss_full=loss
        )
    length = None if situation.inlet_length is None else situation.inlet_length * factor
    return replace(situation, inlet_length=length, inlet_loss_full=loss)


Searches = dict[str, list[tuple[float, Job]]]  # by limit: candidates in the order they are preferred


def limits(
    asked: Sequence[tuple[Chatter, Job]], basis: Basis, *, engine: str, march: Callable[..., list[Any]]
) -> list[ChatterLimits]:
    """The four limits of each spring valve; None with a word where nothing in the range searched stays quiet.

    asked: what was told of a valve, and its job. The candidates of all valves are marched in one batch.
    """
    searches = [_searches(told, job, basis) for told, job in asked]
    confirmed = _confirm(searches, basis, engine=engine, march=march)
    return [_limits(told, job, found) for (told, job), found in zip(asked, confirmed, strict=True)]


def _searches(told: Chatter, job: Job, basis: Basis) -> Searches:
    question = replace(job.question, details=False, samples=min(job.draws.count, 4 * basis.remedy_samples))
    searches = {
        "length": _bounded(LENGTHS[::-1], lambda factor: _longer(question, factor), basis),
        "flow": _bounded(FLOWS * job.rated, lambda flow: _smaller(question, job, flow), basis),
    }
    if told.verdict != "quiet":
        searches["blowdown"] = _candidates(_wider(question), basis)
        searches["lift"] = _candidates(_lower(question, job, basis), basis)
    return searches


def _limits(told: Chatter, job: Job, confirmed: dict[str, float]) -> ChatterLimits:
    words: list[str] = []
    length, flow = confirmed.get("length"), confirmed.get("flow")
    if length is None:
        words.append("no inlet length between a tenth and four times the present one stays quiet")
    elif length >= LENGTHS[-1] * 0.999:
        words.append("still quiet at four times the present inlet; nothing longer was searched")
    if flow is None:
        words.append("no flow up to the rated one stays quiet")
    if told.verdict != "quiet":
        if confirmed.get("blowdown") is None:
            words.append("no blowdown within the limits of the standard cures it")
        if confirmed.get("lift") is None:
            words.append("no lift down to 30 % (and 2 mm) cures it, or what is left does not pass the required flow")
    return ChatterLimits(
        None if length is None else length * job.at.line.length, flow, confirmed.get("blowdown"), confirmed.get("lift"),
        tuple(words),
    )  # fmt: skip


Candidate = tuple[float, Question]


def _longer(question: Question, factor: float) -> Question:
    return replace(question, situation=stretched(question.situation, factor))


def _smaller(question: Question, job: Job, flow: float) -> Question:
    """The same valve with another smallest flow, kg/s."""
    if job.question.flow is not None:
        return replace(question, flow=flow, as_built=_built(job))
    return replace(question, situation=replace(question.situation, least_flow=flow, full_flow=job.rated))


def _built(job: Job) -> bool:
    given = job.question.as_built
    return job.question.flow is not None if given is None else given


def _wider(question: Question) -> list[Candidate]:
    """More blowdown, the smallest change first."""
    situation = question.situation
    low, high = BLOWDOWN_LIQUID if situation.phase == "liquid" else BLOWDOWN_GAS
    start = max(situation.blowdown, low)
    if start >= high:
        return []
    dynamics = replace(situation.dynamics, effective_area_ratio=None)
    return [
        (float(value), replace(question, situation=replace(
            situation, blowdown=float(value), blowdown_is_default=False, dynamics=dynamics)))
        for value in np.linspace(start, high, BLOWDOWNS + 1)[1:]
    ]  # fmt: skip


def _lower(question: Question, job: Job, basis: Basis) -> list[Candidate]:
    """A restricted lift, the smallest change first, as long as the required flow still passes."""
    situation = question.situation
    present = situation.lift_restriction or 1.0
    lift = float(job.middle.max_lift[0])
    whole = job.middle_feature("valve_flow") or 0.0
    full = job.rated
    out: list[Candidate] = []
    for part in LIFTS[present - 1e-9 > LIFTS]:
        if part * lift < LEAST_LIFT:
            break
        other = replace(situation, lift_restriction=float(part))
        try:
            probe = jobs.prepare(replace(question, situation=other, samples=1), basis)
        except CalculationFailed:
            continue
        left = full * (probe.middle_feature("valve_flow") or 0.0) / whole if whole > 0 else 0.0
        needed = job.question.flow if job.question.flow is not None else situation.least_flow or 0.0
        if left < needed:
            break
        out.append((float(part), replace(question, situation=replace(other, full_flow=left))))
    return out


def _candidates(tried: Sequence[Candidate], basis: Basis) -> list[tuple[float, Job]]:
    """From the first candidate that linear theory calls quiet on: the next few, to be marched."""
    out: list[tuple[float, Job]] = []
    for value, question in tried:
        if len(out) == CONFIRMED:
            break
        try:
            job = jobs.prepare(question, basis)
        except CalculationFailed:
            continue
        if out or likely_quiet(job, basis):
            out.append((value, job))
    return out


def _bounded(values: NDArray[np.float64], make: Callable[[float], Question], basis: Basis) -> list[tuple[float, Job]]:
    """Candidates from the bound that linear theory gives, refined by halving, towards the quiet side."""
    last: float | None = None  # the value before the first quiet one
    for value in values:
        job = _prepared(make(float(value)), basis)
        if job is not None and likely_quiet(job, basis):
            break
        last = float(value)
    else:
        return []
    good = float(value)
    tried = [(good, make(good))]
    if last is not None:
        bad, edge = last, good
        for _ in range(HALVINGS):
            middle = 0.5 * (bad + edge)
            job = _prepared(make(middle), basis)
            if job is not None and likely_quiet(job, basis):
                edge = middle
            else:
                bad = middle
        tried = [(edge, make(edge)), (0.5 * (edge + good), make(0.5 * (edge + good))), *tried]
    out = [(one, _prepared(question, basis)) for one, question in tried]
    return [(one, job) for one, job in out if job is not None]


def _prepared(question: Question, basis: Basis) -> Job | None:
    try:
        return jobs.prepare(question, basis)
    except CalculationFailed:
        return None


def likely_quiet(job: Job, basis: Basis) -> bool:
    """The verdict rule with the best guess of linear theory for doubtful samples."""
    known = replace(weigh(job, jobs.likely(job), basis)[0], least_known=True, single=False)
    return judge(known, basis)[0] == "quiet"


def _confirm(
    searches: Sequence[Searches], basis: Basis, *, engine: str, march: Callable[..., list[Any]]
) -> list[dict[str, float]]:
    """March the candidates of all limits of all valves in one batch with fewer draws; the first of each that stays quiet."""
    fewer = [{name: [(value, _fewer(job, basis)) for value, job in found] for name, found in one.items()} for one in searches]
    march_all([job for one in fewer for found in one.values() for _, job in found], engine=engine, march=march)
    return [{name: value for name, found in one.items() if (value := _first_quiet(found, basis)) is not None} for one in fewer]


def _fewer(job: Job, basis: Basis) -> Job:
    return jobs.prepare(replace(job.question, samples=min(job.draws.count, basis.remedy_samples), ends=True), basis)


def _first_quiet(found: Sequence[tuple[float, Job]], basis: Basis) -> float | None:
    for value, job in found:
        evidence = replace(weigh(job, jobs.worst(job), basis)[0], least_known=True)
        if judge(evidence, basis)[0] == "quiet":
            return value
    return None
