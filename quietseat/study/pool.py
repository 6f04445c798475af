"""Assesses the valves of a study in chunks, here or on several processes, in their order."""

from __future__ import annotations

import os
import pickle
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any

from quietseat.assess import assess_many
from quietseat.basis import Basis
from quietseat.model import Problem
from quietseat.register import Job
from quietseat.remedies import propose_many
from quietseat.study.kept import Kept
from quietseat.study.one import How, described, unproven
from quietseat.study.records import Progress

CHUNK = 100  # valves a task: a pool pays off above a few chunks
MARCHED_CHUNK = 40  # the same where they are marched in time: enough runs to fill the lanes of a core


@dataclass(frozen=True, slots=True)
class Pool:
    """Assesses jobs here or on several processes, in the order of the jobs."""

    basis: Basis
    workers: int | None
    progress: Progress | None
    kept: Kept | None = None  # chunks finished before a stop

    def assess(self, jobs: Sequence[Job], how: How, words: str) -> list[dict[str, Any]]:
        """One part a job. words: what is said of it while it goes on."""
        parts: list[dict[str, Any]] = []
        for chunk in self._chunks(jobs, how):
            parts += chunk
            if self.progress:
                self.progress(len(parts), len(jobs), words)
        return parts

    def _chunks(self, jobs: Sequence[Job], how: How) -> Iterator[list[Any]]:
        size = min(CHUNK, MARCHED_CHUNK) if how.march else CHUNK
        many = self.workers if self.workers is not None else (os.cpu_count() or 1 if len(jobs) > 3 * size else 1)
        if how.march and how.engine != "local":  # a device wants all of them at once
            many, size = 1, max(len(jobs), 1)
        chunks = [jobs[i : i + size] for i in range(0, len(jobs), size)]
        keys = [self.kept.key(chunk, how) if self.kept else "" for chunk in chunks]
        before = [self.kept.get(key) if self.kept else None for key in keys]
        fresh = self._fresh([chunk for chunk, done in zip(chunks, before) if done is None], how, many)
        for key, done in zip(keys, before):
            if done is None:
                done = next(fresh)
                if self.kept:
                    self.kept.put(key, done)
            yield done

    def _fresh(self, chunks: Sequence[Sequence[Job]], how: How, many: int) -> Iterator[list[Any]]:
        if many <= 1 or len(chunks) <= 1:
            for chunk in chunks:
                yield _chunk(chunk, how, self.basis)
            return
        # spawn: a forked child of a process with numba threads may hang
        with ProcessPoolExecutor(many, get_context("spawn"), _one_thread) as pool:
            yield from pool.map(_chunk, chunks, [how] * len(chunks), [self.basis] * len(chunks))


def _one_thread() -> None:
    """A process of a pool marches on one core: the pool itself fills the others."""
    os.environ["NUMBA_NUM_THREADS"] = "1"


def _chunk(chunk: Sequence[Job], how: How, basis: Basis) -> list[Any]:
    """Valves assessed together and their remedies together, so that all in doubt is marched in two batches; a failure names its row, the others go on."""
    out = []
    if how.record:  # steps tell which value was handed on by its identity: alike whether the valves came from another process or not
        chunk, basis = pickle.loads(pickle.dumps((list(chunk), basis)))
    judged = assess_many(chunk, basis, record=how.record, asking=how.asking(basis))
    good = [(location, found) for (location, _), found in zip(chunk, judged) if not isinstance(found, Exception)]
    cures = iter(propose_many(good, basis, how.remedies(basis)))
    for (location, _), found in zip(chunk, judged):
        try:
            if isinstance(found, Exception):
                raise found
            remedies = next(cures)
            if isinstance(remedies, Exception):
                raise remedies
            out.append(described(location, found, remedies, basis, how))
        except Exception as error:  # one row's failure must not stop the fleet
            lost = Problem(
                f"the calculation failed inside ({type(error).__name__}: {error}); this valve is unproven",
                "report this row with its register", None, location.sheet, location.row, None, "tag", location.tag,
            )  # fmt: skip
            out.append(unproven(location, lost, basis))
    return out
