"""Any number of runs in time, grouped by what their kernel must be compiled for, marched as lanes.

`engine="local"`: this machine's cores, blocks of lanes that refill as runs end. `engine="cuda"`: one lane a thread of a
graphics processor, the few longest runs meanwhile on this machine's cores. The class of a run does not depend on its neighbours; its digits may in the last places.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from types import ModuleType
from typing import TYPE_CHECKING, Any

from quietseat.march.cases import MarchCase
from quietseat.march.outcome import STEPS_MOST, MarchResult
from quietseat.status import CalculationFailed, Status

if TYPE_CHECKING:
    from quietseat.march.kernel import Features

__all__ = ["MarchResult", "march"]

LANES = {"float64": 16, "float32": 32}
"""Lanes of a block: enough to fill the widest registers, few enough to stay in the first cache."""
CHUNK = 16
"""Steps between looks at the lanes."""
LOST = "lost"


def march(
    cases: Sequence[MarchCase],
    *,
    engine: str = "local",
    precision: str = "float64",
    early_stop: bool = True,
    samples: int = 0,
) -> list[MarchResult]:
    """March every case; results in the order given, one each, failures as a status.

    `precision` "float64" or "float32"; `early_stop` ends a run once its class is settled; `samples` points of a trace kept
    over the whole run (0: none). Raises CalculationFailed (out of range) for an unknown engine or precision.
    """
    if precision not in LANES:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"precision = {precision!r}: must be float64 or float32")
    if engine not in ("local", "cuda"):
        raise CalculationFailed(Status.OUT_OF_RANGE, f"engine = {engine!r}: must be local or cuda")
    results: list[MarchResult] = [MarchResult(Status.NOT_COMPUTED, "not marched")] * len(cases)
    groups = _groups(cases, results)
    if engine == "cuda":
        from quietseat.march import cuda

        def here(long: Sequence[MarchCase]) -> list[MarchResult]:
            return march(long, precision=precision, early_stop=early_stop, samples=samples)

        given = [(key[0], [cases[i] for i in indices]) for key, indices in groups.items()]
        found_groups = cuda.march_groups(given, precision, early_stop, samples, here, workers())
        for indices, found in zip(groups.values(), found_groups):
            for i, result in zip(indices, found):
                results[i] = result
        return results
    _on_cores(cases, groups, results, precision, early_stop, samples)
    return results


def workers() -> int:
    """Threads a march uses: the cores, or NUMBA_NUM_THREADS where that is set."""
    stated = os.environ.get("NUMBA_NUM_THREADS", "")
    return max(1, int(stated)) if stated.isdigit() else max(1, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1)


def _groups(cases: Sequence[MarchCase], results: list[MarchResult]) -> dict[tuple[Any, int, int], list[int]]:
    """Cases by kernel and cell counts; what cannot be started keeps its reason in `results`."""
    from quietseat.march.starters import starter

    groups: dict[tuple[Any, int, int], list[int]] = {}
    for i, case in enumerate(cases):
        module = starter(case)
        try:
            groups.setdefault((module.features_of(case), *module.cells_of(case)), []).append(i)
        except CalculationFailed as failure:
            results[i] = MarchResult(failure.status, failure.reason)
    return groups


def _on_cores(
    cases: Sequence[MarchCase],
    groups: dict[tuple[Any, int, int], list[int]],
    results: list[MarchResult],
    precision: str,
    early_stop: bool,
    samples: int,
) -> None:
    """Every thread works through the groups one after the other, without waiting for the last runs of the others."""
    from quietseat.march import lanes
    from quietseat.march.starters import starter

    for features, *_ in groups:
        lanes.runner(features, LANES[precision], precision)  # made once here, or two threads might each compile their own
    # Long runs first: the last lanes to end should be short ones.
    queues = [
        (key, starter(cases[indices[0]]), deque(sorted(indices, key=lambda i: -cases[i].duration / cases[i].inlet_length)))
        for key, indices in groups.items()
    ]
    width = LANES[precision]
    threads = min(workers(), sum(-(-len(indices) // width) for indices in groups.values()))

    def work() -> None:
        for (features, *cells), start, waiting in queues:
            if waiting:
                _Block(features, (cells[0], cells[1]), start, precision, samples).work(cases, waiting, results, early_stop)

    if threads <= 1:
        work()
        return
    with ThreadPoolExecutor(threads) as pool:
        for job in [pool.submit(work) for _ in range(threads)]:
            job.result()


class _Block:
    """One block of lanes and the cases it works on."""

    def __init__(self, features: Features, cells: tuple[int, int], start: ModuleType, precision: str, samples: int) -> None:
        import numpy as np

        from quietseat.march import lanes

        self.lanes = LANES[precision]
        self.samples = samples
        self.real = np.float64 if precision == "float64" else np.float32
        self.run = lanes.runner(features, self.lanes, precision)
        self.trace = np.zeros((self.lanes, max(samples, 1), 4), self.real)
        self.held: list[int | None] = [None] * self.lanes
        self.block: Any = None
        self.foreseen = 1.0
        self.start: ModuleType = start
        self.cells = cells

    def work(self, cases: Sequence[MarchCase], waiting: deque[int], results: list[MarchResult], early_stop: bool) -> None:
        """Take cases off `waiting` until none is left and every lane has ended."""
        from quietseat.march import rows

        while True:
            for lane in range(self.lanes):
                if self.held[lane] is None:
                    self._fill(lane, cases, waiting, results)
            if all(index is None for index in self.held):
                return
            head, line = self.block[: rows.CELLS].reshape(-1), self.block[rows.CELLS :].reshape(-1)
            most = self.real(STEPS_MOST * self.foreseen)
            self.run(head, line, self.trace, self.samples, *self.cells, CHUNK, early_stop, most)
            self._harvest(cases, results)

    def _fill(self, lane: int, cases: Sequence[MarchCase], waiting: deque[int], results: list[MarchResult]) -> None:
        import numpy as np

        from quietseat.march import rows

        while True:
            try:
                index = waiting.popleft()
            except IndexError:
                return
            try:
                column = self.start.column(cases[index])
            except CalculationFailed as failure:
                results[index] = MarchResult(failure.status, failure.reason)
                continue
            if self.block is None:
                self.block = np.repeat(column[:, None], self.lanes, axis=1).astype(self.real)
                self.block[rows.STATE] = rows.IDLE
            self.block[:, lane] = column
            self.held[lane] = index
            self.foreseen = max(self.foreseen, self.start.foreseen_steps(column))
            return

    def _harvest(self, cases: Sequence[MarchCase], results: list[MarchResult]) -> None:
        import numpy as np

        from quietseat.march import outcome, rows

        for lane, index in enumerate(self.held):
            if index is None or self.block[rows.STATE, lane] == rows.RUNNING:
                continue
            state = [float(value) for value in self.block[: rows.PILOT, lane]]
            if not np.isfinite(self.block[rows.CELLS :, lane]).all():
                state[rows.STATE] = rows.LOST
            result = outcome.verdict(state, cases[index].inflow)
            result.cell_updates = result.steps * self.cells[0]
            if self.samples:
                kept = int(state[rows.SAMPLED])
                taken = self.trace[lane, :kept].astype(np.float64)
                result.times, result.lift, result.inlet_pressure, result.vessel_pressure = (taken[:, c].copy() for c in range(4))
                result.frequency = outcome.spectral(result) or result.frequency
            results[index] = result
            self.block[rows.STATE, lane] = rows.IDLE
            self.held[lane] = None
