"""Many valves at once: a job each, and every doubtful sample of all of them in one march."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from quietseat.basis import Basis
from quietseat.march import job as jobs
from quietseat.march.engine import workers
from quietseat.march.job import Job, Question
from quietseat.status import CalculationFailed

Marcher = Callable[..., list[Any]]
CHUNK = 20000  # cases marched in one call; keeps memory flat
ON_DEVICE = 1 << 18  # the same on a device: its last long runs cost the same for few as for many


def prepare_all(questions: Sequence[Question], basis: Basis) -> list[Job | CalculationFailed]:
    """A job a question, or why there is none; on as many threads as the march uses."""

    def one(question: Question) -> Job | CalculationFailed:
        try:
            return jobs.prepare(question, basis)
        except CalculationFailed as failed:
            return failed

    if len(questions) < 4 or workers() == 1:
        return [one(question) for question in questions]
    with ThreadPoolExecutor(workers()) as pool:
        return list(pool.map(one, questions))


def march_all(prepared: Sequence[Job], *, engine: str, march: Marcher, everything: bool = False) -> int:
    """March what is doubtful in every job, in one batch a precision; the number of runs."""
    total = 0
    kinds = {(job.question.precision, job.question.duration is None) for job in prepared}
    for precision, early in sorted(kinds):  # a duration somebody stated is marched to its end
        places, cases = [], []
        for job in prepared:
            if (job.question.precision, job.question.duration is None) != (precision, early):
                continue
            for row, flow in jobs.wanted(job, everything=everything):
                try:
                    cases.append(jobs.build(job, row, flow))
                    places.append((job, row, flow))
                except CalculationFailed as failed:
                    jobs.refuse(job, row, flow, failed.reason)
        chunk = ON_DEVICE if engine == "cuda" else CHUNK
        for start in range(0, len(cases), chunk):
            results = march(cases[start : start + chunk], engine=engine, precision=precision, early_stop=early, samples=0)
            for (job, row, flow), result in zip(places[start : start + chunk], results, strict=True):
                jobs.absorb(job, row, flow, result)
        total += len(cases)
    return total
