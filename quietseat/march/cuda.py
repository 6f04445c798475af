"""Runs in time on a graphics processor: one case a thread, the CPU's own functions compiled for it (extra `quietseat[cuda]`).

Many cases are resident at once; after a few hundred steps the host reads which have ended, fetches their heads, fills
their slots with waiting cases, and closes the ranks when nobody waits any more. Results agree with the CPU's by
tolerance: additions are contracted differently, so a chaotic run parts after some impacts, its class does not.
A thread takes a step many times slower than a core does, so the longest runs would be waited for: the host's cores, idle
meanwhile, take just so many of them that both end together.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager
from functools import cache
from threading import Lock
from typing import Any

import numpy as np
import numpy.typing as npt

from quietseat.march import rows
from quietseat.march.cases import MarchCase
from quietseat.march.outcome import STEPS_MOST, MarchResult, verdict
from quietseat.march.threads import LOOK, WARP, carry_threads, march_thread
from quietseat.status import CalculationFailed, Status

BLOCK = 64
"""Threads of a block."""
REGISTERS: dict[str, int | None] = {"float64": 128, "float32": 96}
"""Registers a thread may hold; fewer than the compiler would like, so that more threads hide each other's waiting (measured)."""
SLOTS = 1 << 17
"""Cases resident at once."""
LOOKS = 64
"""Looks at a lane between two visits of the host, LOOK steps each."""
SPARSE = 0.75
"""Share of running slots below which the ranks are closed."""

THREAD_PACE = {"float64": 5e-6, "float32": 2.5e-6}
"""Seconds a thread needs for one cell-update (measured on an H100); only how runs are shared out depends on it."""
CORE_PACE = 5e7
"""Cell-updates a second of one core of the host while the device works (measured there, 3e7 to 4e7); likewise."""

Numbers = npt.NDArray[np.float64]
_making = Lock()


class Processor:
    """A graphics processor: arrays there, thread functions launched over a range."""

    def __init__(self) -> None:
        self.cuda = driver()
        self.stream = self.cuda.stream()  # its own, so that groups run beside each other

    def there(self, array: npt.NDArray[Any]) -> Any:
        """Copy an array to the device."""
        return self.cuda.to_device(np.ascontiguousarray(array), stream=self.stream)

    def into(self, place: Any, array: npt.NDArray[Any]) -> Any:
        """Copy an array into the beginning of one on the device; that beginning."""
        begun = place[: len(array)]
        begun.copy_to_device(np.ascontiguousarray(array), stream=self.stream)
        return begun

    def empty(self, shape: tuple[int, ...] | int, kind: Any) -> Any:
        """An array on the device, not set."""
        return self.cuda.device_array(shape, kind)

    def undisturbed(self) -> AbstractContextManager[Any]:
        """Nothing on the device is given back inside: giving back waits for every stream, and groups would wait for each other."""
        held: AbstractContextManager[Any] = self.cuda.defer_cleanup()
        return held

    def here(self, array: Any) -> npt.NDArray[Any]:
        """Copy an array back."""
        copy = array.copy_to_host(stream=self.stream)
        self.stream.synchronize()
        return np.asarray(copy)

    def marcher(self, features: Any, precision: str) -> Any:
        """`launch(count, *arguments)` of the marching thread."""
        with _making:
            return launcher(_marcher(features, precision), stream=self.stream)

    def carrier(self, name: str) -> Any:
        """`launch(count, *arguments)` of `put`, `take`, `state` or `move`."""
        with _making:
            return launcher(_carrier(name), stream=self.stream)


def driver() -> Any:
    """`numba.cuda` with a usable device. Raises CalculationFailed that says what is missing."""
    if not hasattr(np, "row_stack"):
        np.row_stack = np.vstack  # numba-cuda 0.30 still asks for the name that numpy 2.5 dropped
    try:
        from numba import cuda as found

        cuda: Any = found
        usable = bool(cuda.is_available())
    except Exception as error:  # the import itself may fail without a driver
        raise CalculationFailed(Status.NOT_COMPUTED, f"engine = 'cuda': numba-cuda cannot be loaded ({error}); install quietseat[cuda]") from error
    if not usable:
        raise CalculationFailed(Status.NOT_COMPUTED, "engine = 'cuda': no graphics processor with a driver was found; use engine = 'local'")
    from numba import config

    setattr(config, "CUDA_LOW_OCCUPANCY_WARNINGS", 0)  # noqa: B010 - the last runs of a crowd fill no device, and that is known
    return cuda


def real_of(precision: str) -> Any:
    """The number type of a precision."""
    return np.float64 if precision == "float64" else np.float32


def compiled(cuda: Any, features: Any, precision: str, registers: int | None = None) -> Any:
    """The marching kernel, not yet compiled for its arguments. Shared by the device and by the test that only makes its code.

    In float32 the step's arithmetic is loose (fast divisions and roots); in float64 that gains nothing.
    """
    loose = precision == "float32"
    run = march_thread(cuda.jit(device=True), real_of(precision), features, cuda.jit(device=True, fastmath=loose))
    options: dict[str, Any] = {"fastmath": loose}
    cap = registers if registers is not None else REGISTERS[precision]
    if cap:
        options["max_registers"] = cap

    @cuda.jit(**options)
    def march_cases(count, S, U, most, owner, trace, samples, cells, further, looks, early, body):  # type: ignore[no-untyped-def]
        i = cuda.grid(1)
        if i < count:
            run(i, S, U, most, owner, trace, samples, cells, further, looks, early, body)

    return march_cases


def launcher(kernel: Any, block: int = BLOCK, stream: Any = 0) -> Any:
    """A kernel whose first argument is the number of threads, launched over as many blocks of `block` as that takes."""

    def launch(count: int, *arguments: Any) -> None:
        kernel[-(-count // block), block, stream](count, *arguments)

    return launch


@cache
def _marcher(features: Any, precision: str) -> Any:
    return compiled(driver(), features, precision)


@cache
def _carrier(name: str) -> Any:
    cuda = driver()
    thread = getattr(carry_threads(cuda.jit(device=True)), name)
    count_of = {"put": 5, "take": 4, "state": 2, "move": 6}[name]
    return cuda.jit(_carriers(cuda, thread)[count_of])


def _carriers(cuda: Any, thread: Any) -> dict[int, Any]:
    """Kernels of a thread function by its number of arguments (a kernel takes no variable list)."""

    def two(count, a, b):  # type: ignore[no-untyped-def]
        i = cuda.grid(1)
        if i < count:
            thread(i, a, b)

    def four(count, a, b, c, d):  # type: ignore[no-untyped-def]
        i = cuda.grid(1)
        if i < count:
            thread(i, a, b, c, d)

    def five(count, a, b, c, d, e):  # type: ignore[no-untyped-def]
        i = cuda.grid(1)
        if i < count:
            thread(i, a, b, c, d, e)

    def six(count, a, b, c, d, e, f):  # type: ignore[no-untyped-def]
        i = cuda.grid(1)
        if i < count:
            thread(i, a, b, c, d, e, f)

    return {2: two, 4: four, 5: five, 6: six}


def march_groups(
    groups: Sequence[tuple[Any, Sequence[MarchCase]]], precision: str, early_stop: bool, samples: int,
    host: Callable[[Sequence[MarchCase]], list[MarchResult]], cores: int, machine: Callable[[], Any] | None = None,
) -> list[list[MarchResult]]:
    """March groups (features, cases) beside each other, the longest runs by `host` on so many of its cores.

    `machine` makes what runs the threads (None: the graphics processor). Results group by group. Raises CalculationFailed
    where there is no graphics processor.
    """
    made = machine or Processor
    crowds = [_Crowd(cases, features, precision, early_stop, samples, made(), SLOTS) for features, cases in groups]
    work = [(crowd.foreseen[index] * crowd.cases[index].cells, crowd, int(index)) for crowd in crowds for index in crowd.waiting]
    work.sort(key=lambda one: -one[0])
    long = work[: shared([amount for amount, _, _ in work], cores, THREAD_PACE[precision])]
    for crowd in crowds:
        crowd.leave({index for _, owner, index in long if owner is crowd})
    with ThreadPoolExecutor(len(crowds) + 1) as pool:
        kept = pool.submit(host, [crowd.cases[index] for _, crowd, index in long])
        found = list(pool.map(lambda crowd: crowd.work(), crowds))
        for (_, crowd, index), result in zip(long, kept.result(), strict=True):
            crowd.results[index] = result
    return found


def shared(work: Sequence[float], cores: int, pace: float) -> int:
    """How many of the longest runs the host takes so that it ends with the device: `work` in cell-updates, longest first."""
    taken = 0.0
    for count, amount in enumerate(work):
        if taken / (CORE_PACE * cores) >= amount * pace:
            return count
        taken += amount
    return len(work)


def march_group(
    cases: Sequence[MarchCase],
    features: Any,
    precision: str,
    early_stop: bool,
    samples: int,
    processor: Any = None,
    slots: int = SLOTS,
) -> list[MarchResult]:
    """March cases of one feature set and one number of cells; results in their order.

    `processor`: what runs the threads (None: the graphics processor). Raises CalculationFailed where there is none.
    """
    return _Crowd(cases, features, precision, early_stop, samples, processor or Processor(), slots).work()


class _Crowd:
    """The cases of a group on their way through the slots of a device."""

    def __init__(
        self, cases: Sequence[MarchCase], features: Any, precision: str, early: bool, samples: int, processor: Any, slots: int
    ) -> None:
        self.cases, self.early, self.samples, self.machine = cases, early, samples, processor
        self.real = real_of(precision)
        self.march = processor.marcher(features, precision)
        self.results: list[MarchResult] = [MarchResult(Status.NOT_COMPUTED, "not marched")] * len(cases)
        columns, self.foreseen, self.waiting = _columns(cases, self.results)
        self.columns = columns.astype(self.real)
        self.body = columns.shape[0] - rows.CELLS
        self.most_slots = slots

    def leave(self, taken: set[int]) -> None:
        """Cases that somebody else marches."""
        if taken:
            self.waiting = self.waiting[~np.isin(self.waiting, list(taken))]

    def work(self) -> list[MarchResult]:
        """March until no case is left."""
        if not len(self.waiting):
            return self.results
        from quietseat.march.starters import starter

        self.slots = min(self.most_slots, len(self.waiting))
        first = self.cases[int(self.waiting[0])]
        self.cells, further = starter(first).cells_of(first)
        machine = self.machine
        self._allocate()
        self.trace = machine.there(np.zeros((len(self.cases) if self.samples else 1, max(self.samples, 1), 4), self.real))
        self._fill(np.arange(self.slots))
        with machine.undisturbed():
            while True:
                self.march(
                    len(self.owner), self.S, self.U, self.most, self.owner_there, self.trace, self.samples, self.cells, further,
                    LOOKS, self.early, self.body,
                )  # fmt: skip
                machine.carrier("state")(len(self.owner), self.S, self.states)
                states = machine.here(self.states[: len(self.owner)])
                over = np.flatnonzero((states != rows.RUNNING) & (self.owner >= 0))
                if len(over):
                    self._harvest(over)
                    if len(self.waiting):
                        self._fill(over)
                running = np.flatnonzero(self.owner >= 0)
                if not len(running):
                    break
                if not len(self.waiting) and len(running) < SPARSE * len(self.owner):
                    self._close_ranks(running)
        self._traces()
        return self.results

    def _allocate(self) -> None:
        """All that is needed on the device, once: asking for more waits for every stream. Twice the state, to close ranks into."""
        machine, slots, blocks = self.machine, self.slots, -(-self.slots // WARP)
        self.pairs = [
            (machine.empty(blocks * rows.CELLS * WARP, self.real), machine.empty(blocks * self.body * WARP, self.real))
            for _ in range(2)
        ]
        self.S, self.U = self.pairs[0]
        self.states = machine.empty(slots, self.real)
        self.picked, self.heads = machine.empty(slots, np.int64), machine.empty((slots, rows.PILOT), self.real)
        self.owner_there, self.most = machine.empty(slots, np.int64), machine.empty(slots, self.real)
        self.owner = np.full(slots, -1, np.int64)

    def _tell(self) -> None:
        """Tell the device who stands where."""
        held = np.maximum(self.owner, 0)
        self.machine.into(self.owner_there, held)
        self.machine.into(self.most, (STEPS_MOST * np.maximum(self.foreseen[held], 1.0)).astype(self.real))

    def _fill(self, free: npt.NDArray[np.int64]) -> None:
        """Waiting cases into free slots."""
        count = min(len(free), len(self.waiting))
        if count:
            chosen, self.waiting = self.waiting[:count], self.waiting[count:]
            free = free[:count].astype(np.int64)
            picked = self.machine.into(self.picked, free)
            self.machine.carrier("put")(count, self.S, self.U, picked, self.machine.there(self.columns[:, chosen]), self.body)
            self.owner[free] = chosen
        self._tell()

    def _harvest(self, over: npt.NDArray[np.int64]) -> None:
        """Results of the slots that have ended; the slots become free."""
        picked = self.machine.into(self.picked, over.astype(np.int64))
        self.machine.carrier("take")(len(over), self.S, picked, self.heads, rows.PILOT)
        heads = self.machine.here(self.heads[: len(over)]).astype(np.float64)
        for slot, head in zip(over.tolist(), heads.tolist()):
            index = int(self.owner[slot])
            result = verdict(head, self.cases[index].inflow)
            result.cell_updates = result.steps * self.cells
            self.results[index] = result
            if self.samples:
                self.columns[rows.SAMPLED, index] = head[rows.SAMPLED]
        self.owner[over] = -1

    def _close_ranks(self, running: npt.NDArray[np.int64]) -> None:
        """Running slots moved together, into the other pair of arrays."""
        self.pairs.reverse()
        picked = self.machine.into(self.picked, running.astype(np.int64))
        self.machine.carrier("move")(len(running), self.S, self.U, picked, *self.pairs[0], self.body)
        self.S, self.U = self.pairs[0]
        self.owner = self.owner[running]
        self._tell()

    def _traces(self) -> None:
        if not self.samples:
            return
        kept = self.machine.here(self.trace).astype(np.float64)
        for index, result in enumerate(self.results):
            count = int(self.columns[rows.SAMPLED, index])
            if result.simulated > 0.0:
                result.times, result.lift, result.inlet_pressure, result.vessel_pressure = (
                    kept[index, :count, c].copy() for c in range(4)
                )


def _columns(cases: Sequence[MarchCase], results: list[MarchResult]) -> tuple[Numbers, Numbers, npt.NDArray[np.int64]]:
    """Start columns side by side, steps foreseen, and who waits, the longest first; what cannot start keeps its reason."""
    from quietseat.march.starters import starter

    found: list[npt.NDArray[np.float64] | None] = []
    for index, case in enumerate(cases):
        try:
            found.append(starter(case).column(case))
        except CalculationFailed as failure:
            results[index] = MarchResult(failure.status, failure.reason)
            found.append(None)
    started = [column for column in found if column is not None]
    if not started:
        return np.zeros((rows.CELLS, len(cases))), np.zeros(len(cases)), np.zeros(0, np.int64)
    columns = np.zeros((len(started[0]), len(cases)))
    foreseen = np.zeros(len(cases))
    for index, column in enumerate(found):
        if column is not None:
            columns[:, index] = column
            foreseen[index] = starter(cases[index]).foreseen_steps(column)
    waiting = np.array([index for index, column in enumerate(found) if column is not None], np.int64)
    return columns, foreseen, waiting[np.argsort(-foreseen[waiting], kind="stable")]


__all__ = ["BLOCK", "LOOK", "LOOKS", "Processor", "compiled", "driver", "march_group", "march_groups"]
