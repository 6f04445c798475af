"""What one thread of a graphics processor does: march its lane, take columns in, hand results out.

Plain functions of (thread number, arrays); `build` wraps them by a compiler, so that they also run on a CPU, one thread
after the other, and every index is tested without a device. The layout is that of the CPU's blocks: WARP lanes abreast,
then the next block; neighbouring threads touch neighbouring numbers, and every row stands at a distance known when compiling.
"""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

from quietseat.march import kernel, liquid_lanes, outcome
from quietseat.march.rows import CELLS, LOST, P_R, P_STAG, RUNNING, SAMPLED, STATE, T_END, TIME, X

WARP = 32
"""Threads that step together; lanes of a block of numbers."""
LOOK = 16
"""Steps between looks at a lane, as on the CPU: the windows of a run close at the same steps."""


def march_thread(
    jit: Callable[[Any], Any], real: Callable[[float], Any], features: Any, loose: Callable[[Any], Any] | None = None
) -> Any:
    """`run(i, S, U, most, owner, trace, samples, cells, further, looks, early, body)` of a feature set: looks x LOOK steps of lane i.

    loose: the compiler for the step where it may take arithmetic loosely; what looks after a lane must not, or a NaN hides.
    """
    make = liquid_lanes.build if isinstance(features, liquid_lanes.Features) else kernel.build
    step = make(loose or jit, real, features, 1).step
    watch = outcome.build(jit, real).watch
    running, lost, huge = real(RUNNING), real(LOST), real(1e30)

    @jit
    def sample(S, lane, trace, row, samples):  # type: ignore[no-untyped-def]
        k = int(S[SAMPLED * WARP + lane])
        now = S[TIME * WARP + lane]
        if k < samples and now * real(samples - 1) >= S[T_END * WARP + lane] * real(k):
            trace[row, k, 0] = now
            trace[row, k, 1] = S[X * WARP + lane]
            trace[row, k, 2] = S[P_STAG * WARP + lane]
            trace[row, k, 3] = S[P_R * WARP + lane]
            S[SAMPLED * WARP + lane] = real(k + 1)

    @jit
    def run(i, S, U, most, owner, trace, samples, cells, further, looks, early, body):  # type: ignore[no-untyped-def]
        block, lane = i // WARP, i % WARP
        head = S[block * (CELLS * WARP) : (block + 1) * (CELLS * WARP)]
        line = U[block * (body * WARP) : (block + 1) * (body * WARP)]
        for _ in range(looks):
            if head[STATE * WARP + lane] != running:
                return
            for _ in range(LOOK):
                step(head, line, cells, further, WARP, lane)
                if samples > 0:
                    sample(head, lane, trace, owner[i], samples)
            if watch(head, line, WARP, lane, early, cells, most[i]):
                for r in range(body):
                    if not abs(line[r * WARP + lane]) < huge:
                        head[STATE * WARP + lane] = lost

    return run


def carry_threads(jit: Callable[[Any], Any]) -> SimpleNamespace:
    """`put`, `take`, `move`: columns into slots, rows out of slots, slots of one array into another."""

    @jit
    def put(i, S, U, slots, columns, body):  # type: ignore[no-untyped-def]
        """Column i (rows of `columns`, a thread a column) into slot slots[i]."""
        slot = slots[i]
        block, lane = slot // WARP, slot % WARP
        for r in range(CELLS):
            S[(block * CELLS + r) * WARP + lane] = columns[r, i]
        for r in range(body):
            U[(block * body + r) * WARP + lane] = columns[CELLS + r, i]

    @jit
    def take(i, S, slots, out, rows):  # type: ignore[no-untyped-def]
        """The first head rows of slot slots[i] into row i of `out`."""
        slot = slots[i]
        block, lane = slot // WARP, slot % WARP
        for r in range(rows):
            out[i, r] = S[(block * CELLS + r) * WARP + lane]

    @jit
    def state(i, S, out):  # type: ignore[no-untyped-def]
        """STATE of slot i."""
        out[i] = S[((i // WARP) * CELLS + STATE) * WARP + i % WARP]

    @jit
    def move(i, S, U, slots, to_S, to_U, body):  # type: ignore[no-untyped-def]
        """Slot slots[i] of one pair of arrays into slot i of another."""
        slot = slots[i]
        block, lane = slot // WARP, slot % WARP
        to, at = i // WARP, i % WARP
        for r in range(CELLS):
            to_S[(to * CELLS + r) * WARP + at] = S[(block * CELLS + r) * WARP + lane]
        for r in range(body):
            to_U[(to * body + r) * WARP + at] = U[(block * body + r) * WARP + lane]

    return SimpleNamespace(put=put, take=take, state=state, move=move)
