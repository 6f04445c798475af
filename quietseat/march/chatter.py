"""Will this valve, on this pipe, chatter: probability, reason and measurement, for one valve and for a fleet.

Unknowns are drawn (`draws`), linear theory settles the plain samples (`preselect`), the doubtful ones of all
valves are marched in one batch (`engine`), and the verdict rule of the dynamics review is applied (`verdict`).
Nothing here has been compared with a measured valve: the words are "the model predicts".
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quietseat.basis import Basis
from quietseat.march import job as jobs
from quietseat.march import preselect, words
from quietseat.march.batch import Marcher, march_all, prepare_all
from quietseat.march.details import detailed
from quietseat.march.job import MIDDLE, OUTLET, Job, Question
from quietseat.march.linear import F
from quietseat.march.sensitivities import first_order
from quietseat.march.verdict import Evidence, alone_by_length, judge
from quietseat.march.weigh import outlet_doubt, weigh
from quietseat.model import Chatter, FlowChatter
from quietseat.status import Assumption, Status

__all__ = ["Question", "chatter", "chatter_many"]

BLOCK = 300  # valves marched in one batch: some 50,000 runs; keeps memory flat for any fleet


def chatter(question: Question, basis: Basis, *, engine: str = "local") -> Chatter:
    """Stability in time of one valve over everything nobody stated.

    `chatter_probability` is the share of draws that chatter at any flow at or above the smallest credible flow
    (Situation.least_flow; where none is known, at any flow). A draw whose run gave no verdict counts as
    unproven, never as quiet. engine: "local" or "cuda". Never raises CalculationFailed: a valve that cannot be
    built ends with its status and reason and the verdict "unproven". Source: dynamics review, sections 5 and 9.
    """
    return chatter_many([question], basis, engine=engine)[0]


def chatter_many(questions: Sequence[Question], basis: Basis, *, engine: str = "local") -> list[Chatter]:
    """The same for a fleet: the doubtful samples of all valves are marched in one batch, in order of the questions."""
    from quietseat.march.engine import march

    return answer(questions, basis, engine=engine, march=march)


def answer(
    questions: Sequence[Question], basis: Basis, *, engine: str, march: Marcher, everything: bool = False
) -> list[Chatter]:
    """`chatter_many` with the march given. everything: march every sample, plain or not (bench)."""
    out = []
    block = max(len(questions), 1) if engine == "cuda" else BLOCK  # a device wants everything at once
    for start in range(0, len(questions), block):
        prepared = prepare_all(questions[start : start + block], basis)
        march_all([one for one in prepared if isinstance(one, Job)], engine=engine, march=march, everything=everything)
        told = [
            tell(one, basis) if isinstance(one, Job) else Chatter(one.status, one.reason, words=f"Not judged in time: {one.reason}.")
            for one in prepared
        ]
        wanted = [place for place, one in enumerate(prepared) if isinstance(one, Job) and one.question.details]
        pairs = [(told[place], one) for place in wanted if isinstance(one := prepared[place], Job)]
        for place, whole in zip(wanted, detailed(pairs, basis, engine=engine, march=march), strict=True):
            told[place] = whole
        out += told
    return out


def tell(job: Job, basis: Basis) -> Chatter:
    """The result of a job whose samples all have a class."""
    classes = jobs.worst(job)
    evidence, period = weigh(job, classes, basis)
    shares, count, on_stop = evidence.shares, job.draws.count, evidence.on_stop
    critical, known = job.middle_feature("critical"), evidence.least_known
    verdict, open_point = judge(evidence, basis)
    if job.single and job.refused:
        open_point = next(iter(job.refused.values()))
    ranked = first_order(job.draws.unit, _score(job, classes)) if not job.single else ()
    limited = _limited_by(job, verdict, evidence)
    measure = words.measure_for(tuple(name for name, _ in ranked), job.pilot) if verdict == "unproven" else ""
    if verdict == "unproven" and not known and shares["chatters"] + shares["flutters"] < basis.chatter_quiet:
        measure = words.FLOWS
    if verdict == "unproven" and evidence.never_quiet == outlet_doubt(job) != "":
        measure = words.OUTLET
    figures = _figures(job)
    by_length = basis.critical_length_excess if alone_by_length(evidence, basis) else None
    interval = _interval(round(shares["chatters"] * count), count)
    text = words.explain(
        verdict=verdict, limited_by=limited, count=count, shares=shares, interval=interval, length=job.acoustic,
        critical=critical, on_stop=on_stop, period=period, measure=measure, sensitivities=ranked,
        indicative=job.at.indicative, open_point=open_point, frequency=figures.get("frequency"),
        by_length=by_length,
    )  # fmt: skip
    return Chatter(
        status=_status(job, shares), reason=open_point if verdict == "unproven" else "", verdict=verdict, words=text,
        limited_by=limited, measure=measure, chatter_probability=shares["chatters"], interval=interval,
        cycling_probability=shares["cycles"], flutter_probability=shares["flutters"], critical_length=critical,
        inlet_length=job.acoustic, cycle_period=period if shares["cycles"] > 0 else None, stop_lift=float(job.middle.stop_lift[0]), samples=count,
        marched=sum(row >= 0 for row, _ in job.marched), seed=None if job.single else basis.chatter_seed, cells=job.cells,
        flows=_by_flow(job), sensitivities=ranked, drawn=job.draws.names, assumptions=_assumptions(job), **figures,
    )  # fmt: skip


def _status(job: Job, shares: dict[str, float]) -> Status:
    """ok where at least half of the draws have a verdict."""
    if shares["unproven"] <= 0.5:
        return Status.OK
    return next((result.status for result in job.marched.values() if result.status != Status.OK), Status.NOT_COMPUTED)


def _score(job: Job, classes: NDArray[Any]) -> NDArray[Any]:
    """What the sensitivities explain: bad motion or not, or the critical length where nearly all draws agree."""
    bad: NDArray[np.float64] = ((classes == preselect.CHATTERS) | (classes == preselect.FLUTTERS)).astype(np.float64)
    if job.features is None or 0.1 <= bad.mean() <= 0.9:
        return bad
    return np.asarray(np.log(np.maximum(job.features[:, job.least, F["ratio"]], 1e-9)))


def _limited_by(job: Job, verdict: str, seen: Evidence) -> str:
    """What limits the valve, over its chattering draws (all draws where none chatters)."""
    if verdict == "quiet":
        return "nothing"
    if job.features is None:
        return "pilot"
    shares = seen.shares
    cycling = seen.harmful_cycling and shares["cycles"] > shares["chatters"] + shares["flutters"]
    if verdict == "cycles" or (verdict == "unproven" and cycling):
        return "oversize"
    bad = (job.codes == preselect.CHATTERS) | (job.codes == preselect.FLUTTERS)
    bad[:, [not flow.counted for flow in job.flows]] = False
    if not bad.any():
        bad = np.zeros_like(bad)
        bad[:, job.least] = True
    rows = job.features[bad]
    take = {name: rows[:, index] for name, index in F.items()}
    growing = np.maximum(take["growth"], take["low_growth"]) > 0
    loss, back = take["loss"], take["built"]
    wave = take["balance"] - loss - back
    pops = (take["hold_share"] < 1) & ~growing  # no equilibrium: it opens and shuts, so fast that landings make chatter
    small = growing & (take["damping_need"] > 1) & (np.maximum(take["ratio"], take["low_ratio"]) < 0.7)
    votes = {
        "small vessel": float(np.mean(small)),
        "inlet wave": float(np.mean((growing & ~small) | (~growing & ~pops & (wave >= loss) & (wave >= back)))),
        "inlet loss": float(np.mean(~growing & ~pops & (loss > wave) & (loss >= back))),
        "back pressure": float(np.mean(~growing & ~pops & (back > wave) & (back > loss))),
        "oversize": float(np.mean(pops)),
    }
    return max(votes, key=lambda name: votes[name])


def _figures(job: Job) -> dict[str, Any]:
    """Frequency, impacts, energy, pressures: median over chattering runs, else over fluttering, else the middle run."""
    chosen = jobs.runs(job, preselect.CHATTERS) or jobs.runs(job, preselect.FLUTTERS)
    middle = [result for (row, _), result in sorted(job.marched.items()) if row == MIDDLE and result.status == Status.OK]
    if job.single:
        chosen = [result for result in job.marched.values() if result.status == Status.OK]
    chosen = chosen or middle[:1]

    def mid(name: str) -> float | None:
        values = [value for value in (getattr(one, name) for one in chosen) if value is not None]
        return float(median(values)) if values else None

    opened = [one.opening_time for one in [*middle, *chosen] if one.opening_time]
    return {
        "frequency": mid("frequency"), "seat_impacts": mid("seat_impacts"), "impact_energy": mid("impact_energy"),
        "inlet_pressure_min": mid("inlet_pressure_min"), "inlet_pressure_max": mid("inlet_pressure_max"),
        "opening_time": opened[0] if opened else None,
    }  # fmt: skip


def _interval(hits: int, count: int) -> tuple[float, float]:
    """95 % interval of a probability from counts (Clopper and Pearson)."""
    from scipy.stats import binomtest

    found = binomtest(hits, count).proportion_ci(confidence_level=0.95, method="exact")
    return float(found.low), float(found.high)


def _by_flow(job: Job) -> tuple[FlowChatter, ...]:
    """What the draws did at each flow; below the smallest credible one every twelfth draw tells."""
    out = []
    for index, flow in enumerate(job.flows):
        column = job.codes[jobs.considered(job.draws.count, flow), index]
        unproven = (column == preselect.UNPROVEN) | (column == preselect.DOUBTFUL)
        marched = sum(1 for row, place in job.marched if row >= 0 and place == index)
        out.append(
            FlowChatter(
                flow.name, flow.value, float(np.mean(column == preselect.CHATTERS)),
                float(np.mean(column == preselect.FLUTTERS)), float(np.mean(column == preselect.CYCLES)),
                float(np.mean(unproven)), marched,
            )
        )  # fmt: skip
    return tuple(out)


def _assumptions(job: Job) -> tuple[Assumption, ...]:
    """What was taken for what nobody gave."""
    out = list(job.at.assumptions)
    if job.draws.names:
        out.append(
            Assumption("unknown parts", ", ".join(job.draws.names), f"drawn from their ranges, {job.draws.count} draws",
                       "table dynamics_ranges, estimate")
        )  # fmt: skip
    elif job.question.samples == 1:
        out.append(Assumption("unknown parts", "middle values", "one run was asked for", "table dynamics_ranges, estimate"))
    if job.question.duration is None and job.question.start == "shut" and job.marched:
        out.append(
            Assumption("vessel in the march", "volume cut where it only slows the cycle", "never below 100 times the "
                       "inlet pipe; the cycle period is that of the whole vessel", "estimate")
        )  # fmt: skip
    along = [row for row, _ in job.marched if row == OUTLET]
    if along:
        said = outlet_doubt(job) or "the class stays the same"
        out.append(
            Assumption("outlet line", said, f"marched cell by cell with the middle values at {len(along)} flows; one "
                       "throttle in the draws", "computed")
        )  # fmt: skip
    if job.draws.rejected:
        out.append(
            Assumption("draws", f"{job.draws.rejected} thrown away", "full lift above 110 % of set, or certified flow "
                       "not reached at full lift: no certified valve has them", "computed")
        )  # fmt: skip
    return tuple(out)
