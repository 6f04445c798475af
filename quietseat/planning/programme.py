"""The integer programme of a plan: sparse, solved by HiGHS through scipy over the few columns that can matter.

The linear relaxation comes first. A column whose reduced cost is above the distance between that bound and a plan at
hand cannot be in a better plan, so the integer programme runs over the others: same optimum, a hundredth of the size.
"""

from __future__ import annotations

import ctypes
import os
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

__all__ = ["Limit", "Programme", "Solved"]

CORE = 300  # columns of least reduced cost the integer programme starts with
SCALE = 1e2  # limits as rows of this size: the solver's absolute tolerance is then no money
NODES = 20000  # a limit on nodes, not on time: the same inputs give the same plan on any machine
SMALL = 2500  # up to so many columns the plan is proven best, above it to GAP
GAP = 3e-4


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of the plan. kind: budget, crew; words: as a person reads it; use: what each column takes of it."""

    kind: str
    words: str
    amount: float
    use: Any
    unit: str


@dataclass(frozen=True, slots=True)
class Solved:
    """A plan: the chosen columns, what it gains, the best any plan could gain, and whether the solver came to its end."""

    x: Any
    value: float
    bound: float
    ended: bool


class Programme:
    """Choose at most one column an owner within the limits. owners: number of the owner of each column, from 0."""

    def __init__(self, owners: Any, limits: Sequence[Limit]) -> None:
        import numpy
        from scipy.sparse import csr_matrix, vstack

        self.np, self.csr, self.stack = numpy, csr_matrix, vstack
        self.count = len(owners)
        self.owners = owners
        ids, rows = numpy.unique(owners, return_inverse=True)
        self.matrix = csr_matrix((numpy.ones(self.count), (rows, numpy.arange(self.count))), shape=(len(ids), self.count))
        self.upper = numpy.ones(len(ids))
        self.limits = list(limits)
        self.rows: list[int] = []
        for limit in limits:
            self.rows.append(len(self.upper))
            self._add(limit.use / max(limit.amount, 1e-9) * SCALE, SCALE)

    def _add(self, row: Any, upper: float) -> None:
        self.matrix = self.stack([self.matrix, self.csr(row)], format="csr")
        self.upper = self.np.append(self.upper, upper)

    def hold(self, row: Any, least: float) -> None:
        """From now on a plan has at least this much of what the row counts."""
        size = max(1.0, abs(least))
        self._add(-row / size, -least / size)

    def relaxed(self, gain: Any) -> Any:
        """The linear relaxation (scipy's result), or None where nothing satisfies it."""
        from scipy.optimize import linprog

        found = linprog(-gain, A_ub=self.matrix, b_ub=self.upper, bounds=(0, None), method="highs")
        return found if found.status == 0 else None

    def best(self, gain: Any, start: Any = None, *, step: float = 0.0) -> Solved | None:
        """The plan that gains most, from a plan at hand; None where no plan satisfies what is held. step: gains are its multiples."""
        np = self.np
        first = self.relaxed(gain)
        if first is None:
            return None
        top, price = -float(first.fun), first.lower.marginals
        bound = top
        best, won, ended = start, -np.inf if start is None else float(gain @ start), True
        core = first.x > 1e-9
        if start is not None:
            core |= start > 0.5
        core[np.argsort(price, kind="stable")[: CORE + int(core.sum())]] = True
        if self.count <= SMALL:
            core[:] = True
        for _ in range(6):
            answer = self._integer(gain, core)
            if answer is None and core.all():
                return None if start is None else Solved(start, won, bound, False)
            if answer is not None:
                x, inner, ended = answer
                if float(gain @ x) > won:
                    best, won = x, float(gain @ x)
                # A plan with a column from outside the core is below the first bound by that column's price at least.
                outside = top - float(price[~core].min(initial=np.inf))
                bound = min(bound, max(inner, outside, won))
            size = max(1.0, abs(bound))
            if step and np.floor(bound / step + 1e-6) * step <= won + 1e-6 * step:
                break
            if best is not None and bound - won <= (GAP if self.count > SMALL else 1e-9) * size:
                break
            needed = price <= top - won + 1e-9 * size if best is not None else np.ones(self.count, bool)
            if not (needed & ~core).any():
                break
            core = core | needed
        return None if best is None else Solved(best, won, max(bound, won), ended)

    def _integer(self, gain: Any, core: Any) -> tuple[Any, float, bool] | None:
        """The best plan of the columns in the core with its bound, and whether the solver ended by itself."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        np, columns = self.np, self.np.flatnonzero(core)
        if not len(columns):
            return (np.zeros(self.count), 0.0, True) if (self.upper >= 0).all() else None
        part = self.matrix[:, columns]
        busy = np.asarray((part != 0).sum(axis=1)).ravel() > 0
        if (self.upper[~busy] < -1e-9).any():
            return None
        with _OUTPUT, _silent():
            result = milp(
                -gain[columns], integrality=np.ones(len(columns)), bounds=Bounds(0, 1),
                constraints=LinearConstraint(part[busy], -np.inf, self.upper[busy]),
                options={"mip_rel_gap": 0.3 * GAP if self.count > SMALL else 0.0, "node_limit": NODES},
            )  # fmt: skip
        if result.x is None:
            return None
        plan = np.zeros(self.count)
        plan[columns[result.x > 0.5]] = 1.0
        return plan, -float(result.mip_dual_bound), result.status == 0


_OUTPUT = threading.Lock()  # the output belongs to the whole process: one solver at a time may turn it away


@contextmanager
def _silent() -> Iterator[None]:
    """Keep standard output clean: HiGHS 1.12 prints a line of its own from C, whatever it is told, into what may be JSON."""
    try:
        flush = ctypes.CDLL(None).fflush
        sys.stdout.flush()
        kept = os.dup(1)
    except (OSError, TypeError, AttributeError, ValueError):  # no such output, or a system without this way to it
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    try:
        yield
    finally:
        flush(None)
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
