"""What a full answer for one valve adds: traces, the stability map, and the limits inside which it stays quiet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from quietseat.basis import Basis
from quietseat.march import job as jobs
from quietseat.march import limits, linear, preselect
from quietseat.march.job import MIDDLE, Job
from quietseat.model import Chatter, StabilityMap, Trace
from quietseat.status import CalculationFailed, Status

POINTS = 2400  # of a trace: a dozen a cycle at 50 Hz over 4 s
MAP_FLOWS, MAP_LENGTHS, MAP_DRAWS = 8, 12, 60


def detailed(
    asked: Sequence[tuple[Chatter, Job]], basis: Basis, *, engine: str, march: Callable[..., list[Any]]
) -> list[Chatter]:
    """The same results with traces, and for a spring valve with map and limits; all valves marched in one batch."""
    drawn = traces([job for _, job in asked], engine=engine, march=march)
    springs = [pair for pair in asked if not pair[1].pilot]
    found = iter(limits.limits(springs, basis, engine=engine, march=march))
    return [
        replace(told, traces=lines) if job.pilot else replace(told, traces=lines, map=stability_map(job, basis), limits=next(found))
        for (told, job), lines in zip(asked, drawn, strict=True)
    ]


def traces(asked: Sequence[Job], *, engine: str, march: Callable[..., list[Any]]) -> list[tuple[Trace, ...]]:
    """Motion of each middle-value valve at every flow; a flow that cannot be run has none."""
    out: list[dict[int, Trace]] = [{} for _ in asked]
    for precision, early in sorted({_how(job) for job in asked}):
        places, cases = [], []
        for number, job in enumerate(asked):
            for index in range(len(job.flows)) if _how(job) == (precision, early) else ():
                try:
                    cases.append(jobs.build(job, 0 if job.single else MIDDLE, index))
                    places.append((number, index))
                except CalculationFailed:
                    continue
        results = march(cases, engine=engine, precision=precision, early_stop=early, samples=POINTS)
        for (number, index), result in zip(places, results, strict=True):
            if result.times is not None and result.status == Status.OK:
                flow = asked[number].flows[index]
                out[number][index] = Trace(
                    flow.name, flow.value, result.verdict, _row(result.times), _row(result.lift), _row(result.inlet_pressure),
                    _row(result.vessel_pressure),
                )  # fmt: skip
    return [tuple(lines[index] for index in sorted(lines)) for lines in out]


def _how(job: Job) -> tuple[str, bool]:
    """Precision, and whether a run may end once its class is settled: a duration somebody stated is marched to its end."""
    return job.question.precision, job.question.duration is None


def _row(values: Any) -> tuple[float, ...]:
    """An array as plain numbers of seven digits."""
    return tuple(float(f"{value:.7g}") for value in values)


def stability_map(job: Job, basis: Basis) -> StabilityMap | None:
    """Probability of chatter or flutter over flow and inlet length, by linear theory (nothing is marched)."""
    full = max(job.rated, *(flow.value for flow in job.flows))
    least = job.flows[job.least].value
    flows = tuple(sorted({*(np.geomspace(0.1, 1.0, MAP_FLOWS) * full).tolist(), least}))
    base = job.at.line.length
    factors = np.geomspace(0.2, 4.0, MAP_LENGTHS)
    rows = []
    question = replace(job.question, samples=min(MAP_DRAWS, job.draws.count), details=False)
    for factor in factors:
        try:
            other = jobs.prepare(
                replace(question, situation=limits.stretched(job.at.situation, float(factor)), flow=job.question.flow), basis
            )
        except CalculationFailed:
            return None
        rows.append(_chance(other, flows))
    table = np.array(rows).T
    return StabilityMap(
        tuple(round(float(base * factor), 6) for factor in factors), flows,
        tuple(tuple(round(float(value), 4) for value in row) for row in table), base, least,
    )  # fmt: skip


def _chance(job: Job, flows: tuple[float, ...]) -> list[float]:
    """Probability of chatter or flutter at each flow, linear theory."""
    seen = linear.features(linear.valve_of(job.at, job.acoustic), job.draws, flows)
    return [float(value) for value in preselect.chance(seen).mean(axis=0)]
