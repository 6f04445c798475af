"""The kernels compiled for the CPU, kept on disk, and blocks of lanes that refill from a queue.

A kernel is a closure over closures; the compiler's own cache would key it by pickled cells, which differ from process to
process. The key here is the text of the modules it is made of, so a second process loads machine code and compiles nothing.
"""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numba
import numpy as np
from numba.core.caching import FunctionCache

from quietseat.march import kernel, liquid_lanes, outcome
from quietseat.march.kernel import Features
from quietseat.march.rows import P_R, P_STAG, RUNNING, SAMPLED, STATE, T_END, TIME, X

FAST = {"contract", "arcp", "nsz", "reassoc", "afn"}
"""Fast arithmetic, but a NaN stays one: a lane that ran away must be seen."""

MADE_OF = ("rows", "scalar", "gas", "disc", "pilot", "tail", "kernel", "liquid", "liquid_lanes", "outcome", "lanes", "tube")
"""Modules whose text decides what is compiled."""


@cache
def source_key() -> str:
    """Fingerprint of every module a kernel can be made of."""
    digest = hashlib.sha256()
    for name in MADE_OF:
        digest.update((Path(__file__).parent / f"{name}.py").read_bytes())
    return digest.hexdigest()


class _TextCache(FunctionCache):
    """Disk cache keyed by the text of the modules and the features, not by the pickled closure."""

    def __init__(self, function: Any, word: str) -> None:
        super().__init__(function)  # type: ignore[no-untyped-call]
        self._word = word

    def _index_key(self, sig: Any, codegen: Any) -> Any:
        return sig, codegen.magic_tuple(), (source_key(), self._word)


def kept_on_disk(dispatcher: Any, word: str) -> Any:
    """The same compiled function with a disk cache; without one where no folder can be written."""
    try:
        dispatcher._cache = _TextCache(dispatcher.py_func, word)
    except (RuntimeError, OSError):
        return dispatcher
    return dispatcher


def small(function: Any) -> Any:
    """Decorator of the scalar functions: always inlined, fast arithmetic, division by zero gives infinity."""
    options: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}  # a third less to compile
    return numba.njit(function, fastmath=FAST, error_model="numpy", forceinline=True, **options)


@cache
def runner(features: Features, lanes: int, precision: str) -> Any:
    """The compiled `run(S, U, trace, samples, cells, outlet_cells, chunk, early, most)` of a feature set: steps until a lane ends.

    Returns the number of lanes that ended. `S` head rows and `U` cell rows, 1-D, `trace` (lanes, samples, 4).
    """
    real = np.float64 if precision == "float64" else np.float32
    make = liquid_lanes.build if isinstance(features, liquid_lanes.Features) else kernel.build
    step = make(small, real, features, lanes).step
    watch = outcome.build(small, real).watch
    running = real(RUNNING)

    def run(S, U, trace, samples, cells, outlet_cells, chunk, early, most):  # type: ignore[no-untyped-def]
        done = 0
        while done == 0:
            alive = 0
            for _ in range(chunk):
                step(S, U, cells, outlet_cells, lanes, 0)
                if samples > 0:
                    for l in range(lanes):
                        k = int(S[SAMPLED * lanes + l])
                        if k < samples and S[STATE * lanes + l] == running and S[TIME * lanes + l] * (samples - 1) >= S[T_END * lanes + l] * k:
                            trace[l, k, 0] = S[TIME * lanes + l]
                            trace[l, k, 1] = S[X * lanes + l]
                            trace[l, k, 2] = S[P_STAG * lanes + l]
                            trace[l, k, 3] = S[P_R * lanes + l]
                            S[SAMPLED * lanes + l] = k + 1
            for l in range(lanes):
                if S[STATE * lanes + l] == running:
                    alive += 1
                if watch(S, U, lanes, l, early, cells, most):
                    done += 1
            if alive == 0:
                return 0
        return done

    compiled = numba.njit(run, fastmath=FAST, error_model="numpy", nogil=True)
    return kept_on_disk(compiled, f"run {features.word} {lanes} {precision}")


def parts(precision: str = "float64") -> SimpleNamespace:
    """The scalar functions of the gas cells compiled alone, for tests."""
    from quietseat.march import gas

    return gas.build(small, np.float64 if precision == "float64" else np.float32)
