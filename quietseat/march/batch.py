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
    for precision in sorted({job.question.precision for job in prepared}):
        places, cases = [], []
        for job in prepared:
            if job.question.precision != precision:
                continue
            for row, flow in jobs.wanted(job, everything=everything):
                try:
                    cases.append(jobs.build(job, row, flow))
                    places.append((job, row, flow))
                except CalculationFailed as failed:
                    jobs.refuse(job, row, flow, failed.reason)
        for start in range(0, len(cases), CHUNK):
            results = march(cases[start : start + CHUNK], engine=engine, precision=precision, early_stop=True, samples=0)
            for (job, row, flow), result in zip(places[start : start + CHUNK], results, strict=True):
                jobs.absorb(job, row, flow, result)
        total += len(cases)
    return total
