"""The gas kernel against a general-purpose Fortran finite-volume package, in one run, same cells, one core.

    QUIETSEAT_PEER_PYTHON=/path/to/python NUMBA_NUM_THREADS=1 uv run python bench/kernel.py [--seconds 1.0] [--json OUT]

The peer is PyClaw (clawpack, classic wave propagation, second order with limiter, HLLE or Roe with entropy fix, whichever
is the faster at a size). It needs gfortran to install, so it lives in an environment of its own: QUIETSEAT_PEER_PYTHON
names that interpreter, for example

    python -m venv /tmp/peer && PATH=/tmp/peer/bin:$PATH && pip install numpy meson ninja meson-python charset-normalizer six \\
      && pip install --no-build-isolation --no-deps clawpack==5.14.0

Without it the ratios are skipped, and the print says so. Peer and ours march a smooth periodic-looking disturbance for speed
(a constant state would flatter a limiter that skips it) and Sod's shock tube for accuracy: a scheme is only as fast as the
error it buys, so the L1 error of the density against the exact solution stands beside every ratio.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from pathlib import Path

SMALL = (40, 64)  # cells of a pipe march
LARGE = (1_000, 16_000, 128_000)  # where the peer's cost per call no longer counts
SOD = (100, 200, 400, 800)
SOD_TIME = 0.2
COURANT = 0.8


# ---------------------------------------------------------------------------------------------------------- the peer
def peer(cells: list[int], sod: list[int], seconds: float) -> dict[str, object]:
    """Runs inside the peer's interpreter: cell-updates a second and Sod's L1 error by size. Imports nothing of ours."""
    import numpy as np
    from clawpack import pyclaw, riemann

    solvers = {"hlle": (riemann.euler_hlle_1D, 2), "roe": (riemann.euler_with_efix_1D, 3)}

    def fresh(kind: str, n: int):  # type: ignore[no-untyped-def]
        module, waves = solvers[kind]
        solver = pyclaw.ClawSolver1D(module)
        solver.limiters = pyclaw.limiters.tvd.vanleer
        solver.order, solver.num_eqn, solver.num_waves, solver.max_steps = 2, 3, waves, 10**9
        solver.cfl_desired, solver.cfl_max = COURANT, 1.0
        solver.bc_lower[0] = solver.bc_upper[0] = pyclaw.BC.extrap
        domain = pyclaw.Domain([pyclaw.Dimension(0.0, 1.0, n, name="x")])
        state = pyclaw.State(domain, 3)
        state.problem_data.update(gamma=1.4, gamma1=0.4, efix=True)
        return solver, state, pyclaw.Solution(state, domain)

    def speed(kind: str, n: int) -> float:
        best = 0.0
        steps = 1000 if n <= 1000 else max(4, 4_000_000 // n)
        spent = 0.0
        while spent < seconds:
            solver, state, solution = fresh(kind, n)
            smooth(np, state.grid.x.centers, state.q)
            solver.dt, solver.dt_variable = COURANT / n / 1.8, False
            solver.setup(solution)
            start = time.perf_counter()
            solver.evolve_to_time(solution, solver.dt * steps)
            took = time.perf_counter() - start
            spent += took
            best = max(best, n * solver.status["numsteps"] / took)
        return best

    def error(kind: str, n: int) -> float:
        solver, state, solution = fresh(kind, n)
        x = state.grid.x.centers
        state.q[0] = np.where(x < 0.5, 1.0, 0.125)
        state.q[1] = 0.0
        state.q[2] = np.where(x < 0.5, 1.0, 0.1) / 0.4
        solver.dt = 0.1 / n
        solver.setup(solution)
        solver.evolve_to_time(solution, SOD_TIME)
        return float(np.mean(np.abs(state.q[0] - sod_density(np, x, SOD_TIME))))

    return {
        "speed": {str(n): {kind: speed(kind, n) for kind in solvers} for n in cells},
        "sod": {str(n): {kind: error(kind, n) for kind in solvers} for n in sod},
    }


def smooth(np, x, q) -> None:  # type: ignore[no-untyped-def]
    """A state that varies everywhere, at most Mach 0.3: conserved variables into q[3, n]."""
    q[0] = 1.0 + 0.1 * np.sin(2.0 * np.pi * 8.0 * x)
    u = 0.3 * np.sin(2.0 * np.pi * 5.0 * x + 1.0)
    q[1] = q[0] * u
    q[2] = (1.0 + 0.1 * np.cos(2.0 * np.pi * 7.0 * x)) / 0.4 + 0.5 * q[0] * u * u


def sod_density(np, x, t):  # type: ignore[no-untyped-def]
    """Exact density of Sod's tube (1, 0, 1 | 0.125, 0, 0.1, ratio 1.4, diaphragm at 0.5); star values p 0.3031302, u 0.9274526."""
    g, p, u = 1.4, 0.3031301780506468, 0.9274526200489499
    left, right = np.sqrt(g), np.sqrt(g * 0.1 / 0.125)
    tail = u - left * p ** ((g - 1) / (2 * g))
    shock = right * np.sqrt((g + 1) / (2 * g) * p / 0.1 + (g - 1) / (2 * g))
    s = (x - 0.5) / t
    fan = (2 / (g + 1) - (g - 1) / ((g + 1) * left) * s) ** (2 / (g - 1))
    behind = 0.125 * (p / 0.1 + (g - 1) / (g + 1)) / ((g - 1) / (g + 1) * p / 0.1 + 1)
    return np.select([s < -left, s < tail, s < u, s < shock], [1.0, fan, p ** (1 / g), behind], 0.125)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--peer"]:
        print(json.dumps(peer(**json.loads(sys.argv[2]))))
        sys.exit()
