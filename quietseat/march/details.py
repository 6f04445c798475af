"""What a full answer for one valve adds: traces, the stability map, and the limits inside which it stays quiet."""

from __future__ import annotations

from collections.abc import Callable
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


def detailed(told: Chatter, job: Job, basis: Basis, *, engine: str, march: Callable[..., list[Any]]) -> Chatter:
    """The same result with traces, and for a spring valve with map and limits."""
    told = replace(told, traces=traces(job, engine=engine, march=march))
    if job.pilot:
        return told
    found = limits.limits(told, job, basis, engine=engine, march=march)
    return replace(told, map=stability_map(job, basis), limits=found)


def traces(job: Job, *, engine: str, march: Callable[..., list[Any]]) -> tuple[Trace, ...]:
    """Motion of the middle-value valve at every flow; a flow that cannot be run has none."""
    places, cases = [], []
    for index in range(len(job.flows)):
        try:
            cases.append(jobs.build(job, 0 if job.single else MIDDLE, index))
            places.append(index)
        except CalculationFailed:
            continue
    results = march(
        cases, engine=engine, precision=job.question.precision, early_stop=job.question.duration is None, samples=POINTS
    )
    out = []
    for index, result in zip(places, results, strict=True):
        if result.times is None or result.status != Status.OK:
            continue
        flow = job.flows[index]
        out.append(
            Trace(
                flow.name, flow.value, result.verdict, _row(result.times), _row(result.lift),
                _row(result.inlet_pressure), _row(result.vessel_pressure),
            )
        )  # fmt: skip
    return tuple(out)


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
