"""The gas kernel against a general-purpose Fortran finite-volume package, in one run, same cells, one core.

    QUIETSEAT_PEER_PYTHON=/path/to/python NUMBA_NUM_THREADS=1 uv run python bench/kernel.py [--seconds 1.0] [--json OUT]

The peer is PyClaw (clawpack, classic wave propagation, second order with limiter, HLLE or Roe with entropy fix, whichever
is the faster at a size). It needs gfortran to install, so it lives in an environment of its own: QUIETSEAT_PEER_PYTHON
names that interpreter, for example

    python -m venv /tmp/peer && PATH=/tmp/peer/bin:$PATH && pip install numpy meson ninja meson-python charset-normalizer six \\
      && pip install --no-build-isolation --no-deps clawpack==5.14.0

Without it the ratios are skipped, and the print says so. Peer and ours march a smooth periodic-looking disturbance for speed
(a constant state would flatter a limiter that skips it) and Sod's shock tube for accuracy: a scheme is only as fast as the
error it buys, so the L1 error of the density against the exact solution stands beside every ratio. Times are processor time of
one thread, so that other work on the machine does not decide the ratio; ours is the whole step, valve and counting included.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
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
            start = time.process_time()
            solver.evolve_to_time(solution, solver.dt * steps)
            took = time.process_time() - start
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


# ------------------------------------------------------------------------------------------------------------- ours
def columns(cells: int, lanes: int, real, seed: int = 1):  # type: ignore[no-untyped-def]
    """Head rows and cell rows of REF-A (flutter case of the dynamics review) on lengths of 0.7 to 1.5 m, a smooth wave in the line.

    Returns two arrays (rows, lanes). A run never ends: its time is a million seconds.
    """
    import numpy as np

    from quietseat.march import rows, start
    from quietseat.march.cases import Disc, Gas, MarchCase, Outlet, Pipe

    draw = np.random.default_rng(seed)
    made = []
    for _ in range(min(lanes, 64)):
        disc = Disc(0.05, 0.0125, float(1.5 * draw.uniform(0.7, 1.4)), 47.3e3, curtain_coefficient=0.7, nozzle_coefficient=1.0)
        made.append(start.column(MarchCase(
            Gas(1.4, 287.05, 293.15), 10.0, 2.0286, (Pipe(float(draw.uniform(0.7, 1.5)), 0.0779, 0.02),), 11e5, 1e5, disc,
            Outlet(1e5, "bowl"), start="equilibrium", cells=20, duration=1e6,
        )))  # fmt: skip
    head = np.array(made).T[: rows.CELLS]
    middle = np.array(made).T[rows.CELLS + 30 : rows.CELLS + 33]
    head, middle = (np.tile(part, -(-lanes // len(made)))[:, :lanes].copy() for part in (head, middle))
    head[rows.INVDX] *= cells / 20.0
    head[rows.DXMIN] *= 20.0 / cells
    head[rows.SPEED] *= cells / 20.0
    head[rows.X] *= draw.uniform(0.9, 1.1, lanes)
    place = (np.arange(cells) + 0.5) / cells
    line = np.empty((3 * cells, lanes))
    line[0::3] = middle[0] * (1.0 + 0.01 * np.sin(5.0 * np.pi * place))[:, None]
    line[1::3] = middle[1] * (1.0 + 0.2 * np.sin(6.0 * np.pi * place))[:, None]
    line[2::3] = middle[2] * (1.0 + 0.014 * np.cos(4.0 * np.pi * place))[:, None]
    return head.astype(real), line.astype(real)


def ours(cells: int, precision: str, seconds: float) -> float:
    """Cell-updates a second of one core: whole steps, valve, disc, vessel and counting included."""
    import numpy as np

    from quietseat.march import lanes, rows
    from quietseat.march.engine import LANES
    from quietseat.march.kernel import Features

    width, real = LANES[precision], np.float64 if precision == "float64" else np.float32
    run = lanes.runner(Features(), width, precision)
    head, line = columns(cells, width, real)
    S, U, trace = head.reshape(-1), line.reshape(-1), np.zeros((width, 1, 4), real)
    steps = max(16, 16 * (2_000_000 // (16 * width * cells)))
    best, spent = 0.0, -1.0
    while spent < seconds:
        before = S.reshape(-1, width)[rows.STEPS].sum()
        begin = time.process_time()
        run(S, U, trace, 0, cells, 0, 16, False, real(S.reshape(-1, width)[rows.STEPS, 0] + steps - 1))  # ends there, counted as lost
        took = time.process_time() - begin
        done = S.reshape(-1, width)[rows.STEPS].sum() - before
        S.reshape(-1, width)[rows.STATE] = rows.RUNNING
        if spent < 0.0:  # the first call compiled
            spent = 0.0
            continue
        spent += took
        best = max(best, cells * float(done) / took)
        if not np.isfinite(U).all():
            raise RuntimeError(f"the state ran away at {cells} cells")
    return best


def our_error(cells: int, precision: str = "float64") -> float:
    """L1 error of Sod's density with the march's own cells and fluxes."""
    import numpy as np

    from quietseat.march.tube import tube

    x = (np.arange(cells) + 0.5) / cells
    left = x < 0.5
    got = tube(
        np.where(left, 1.0, 0.125), np.zeros(cells), np.where(left, 1.0, 0.1), length=1.0, k=1.4, left="transmissive",
        right="transmissive", t_end=SOD_TIME, courant=COURANT, precision=precision,
    )  # fmt: skip
    return float(np.mean(np.abs(got.density - sod_density(np, x, SOD_TIME))))


def ask_peer(seconds: float) -> dict[str, object] | None:
    """The peer's figures from its own interpreter; None where it is absent."""
    python = os.environ.get("QUIETSEAT_PEER_PYTHON", "")
    if not python:
        return None
    given = json.dumps({"cells": [*SMALL, *LARGE], "sod": list(SOD), "seconds": seconds})
    with tempfile.TemporaryDirectory() as folder:  # the peer leaves a log where it runs
        done = subprocess.run([python, str(Path(__file__).resolve()), "--peer", given], capture_output=True, text=True, cwd=folder, check=False)
    if done.returncode != 0:
        print(f"SKIPPED: the peer at {python} failed: {done.stderr.strip().splitlines()[-1:]}")
        return None
    return json.loads(done.stdout.strip().splitlines()[-1])


def compare(seconds: float) -> dict[str, object]:
    """Peer and ours, size by size, printed."""
    theirs = ask_peer(seconds)
    if theirs is None:
        print("SKIPPED: no peer (set QUIETSEAT_PEER_PYTHON); ours alone")
    out: dict[str, object] = {"peer": theirs, "float64": {}, "float32": {}, "sod": {}}
    best_peer = 0.0
    print(f"{'cells':>7} {'float64 M/s':>12} {'float32 M/s':>12} {'peer M/s':>10} {'ratio':>7}   one core, cell-updates a second")
    for n in (*SMALL, *LARGE):
        double, single = ours(n, "float64", seconds), ours(n, "float32", seconds)
        out["float64"][n], out["float32"][n] = double, single  # type: ignore[index]
        peer_speed = max(theirs["speed"][str(n)].values()) if theirs else 0.0  # type: ignore[index]
        best_peer = max(best_peer, peer_speed)
        ratio = f"{double / peer_speed:7.1f}" if peer_speed else "      -"
        print(f"{n:7d} {double / 1e6:12.1f} {single / 1e6:12.1f} {peer_speed / 1e6:10.2f} {ratio}")
    if theirs:
        pipe = min(out["float64"][n] for n in SMALL)  # type: ignore[index]
        out["ratio_best"] = pipe / best_peer
        out["ratio_small"] = {n: out["float64"][n] / max(theirs["speed"][str(n)].values()) for n in SMALL}  # type: ignore[index]
        print(f"our slower pipe size against the peer's best size: {pipe / best_peer:.1f} (at least 5 wanted); at {SMALL[0]} and {SMALL[1]} cells "
              + ", ".join(f"{r:.0f}" for r in out["ratio_small"].values()) + " (at least 30 wanted)")  # type: ignore[attr-defined]  # fmt: skip
    print(f"{'cells':>7} {'ours L1':>10} {'peer HLLE':>10} {'peer Roe':>10}   Sod, density")
    for n in SOD:
        error = our_error(n)
        out["sod"][n] = error  # type: ignore[index]
        peer_error = theirs["sod"][str(n)] if theirs else {"hlle": float("nan"), "roe": float("nan")}  # type: ignore[index]
        print(f"{n:7d} {error:10.5f} {peer_error['hlle']:10.5f} {peer_error['roe']:10.5f}")
    return out


# ------------------------------------------------------------------------------------------------ graphics processor
FLOPS_PEAK = {"float64": 34e12, "float32": 67e12}  # H100 SXM, vector units, by its datasheet
_kernels: dict[object, object] = {}


def device_speed(precision: str, cells: int, count: int, registers: int | None = None, block: int = 64, looks: int = 10) -> float:
    """Cell-updates a second of the marching kernel with `count` cases resident, median of five launches."""
    import numpy as np

    from quietseat.march import cuda, rows, threads
    from quietseat.march.kernel import Features

    device, real = cuda.driver(), cuda.real_of(precision)
    key = precision, registers
    if key not in _kernels:
        _kernels[key] = cuda.compiled(device, Features(), precision, registers)
    kernel = _kernels[key]
    head, line = columns(cells, count, real)

    def blocks(part):  # type: ignore[no-untyped-def]
        return np.ascontiguousarray(part.reshape(len(part), -1, threads.WARP).transpose(1, 0, 2)).reshape(-1)

    S, U = device.to_device(blocks(head)), device.to_device(blocks(line))
    most = device.to_device(np.full(count, 1e30, real))
    owner, trace = device.to_device(np.zeros(count, np.int64)), device.to_device(np.zeros((1, 1, 4), real))
    launch = cuda.launcher(kernel, block)

    def steps() -> float:
        return float(S.copy_to_host().reshape(-1, rows.CELLS, threads.WARP)[:, rows.STEPS].astype(np.float64).sum())

    times = []
    launch(count, S, U, most, owner, trace, 0, cells, 0, 1, False, len(line))
    device.synchronize()
    before = steps()
    for _ in range(5):
        start, end = device.event(), device.event()
        start.record()
        launch(count, S, U, most, owner, trace, 0, cells, 0, looks, False, len(line))
        end.record()
        end.synchronize()
        times.append(device.event_elapsed_time(start, end) / 1e3)
    done = (steps() - before) / 5.0
    if not np.isfinite(U.copy_to_host()).all():
        raise RuntimeError("the state ran away")
    return done * cells / sorted(times)[2]


def grid_cases(side: int = 16):  # type: ignore[no-untyped-def]
    """REF-A over inlet length and flow, side x side runs of 2 s from equilibrium."""
    import numpy as np

    from quietseat.march.cases import Disc, Gas, MarchCase, Outlet, Pipe

    disc = Disc(0.05, 0.0125, 1.5, 47.3e3, curtain_coefficient=0.7, nozzle_coefficient=1.0, restitution=0.5)
    return [
        MarchCase(Gas(1.4, 287.05, 293.15), 10.0, float(flow), (Pipe(float(length), 0.0779, 0.02),), 11e5, 1e5, disc, Outlet(1e5, "bowl"),
                  start="equilibrium", cells=20, duration=2.0)
        for length in np.linspace(0.4, 2.0, side) for flow in np.linspace(0.8, 3.0, side)
    ]  # fmt: skip


def device(flops: float) -> dict[str, object]:
    """Speed and agreement on the graphics processor, printed; flops: floating-point operations of a cell-update, counted elsewhere."""
    import numpy as np

    from quietseat.march import cuda
    from quietseat.march.engine import march
    from quietseat.march.starters import starter

    out: dict[str, object] = {"speed": {}}
    for precision in ("float64", "float32"):
        for cells in (20, 40):
            for count in (8192, 131072):
                speed = device_speed(precision, cells, count)
                out["speed"][f"{precision} {cells} {count}"] = speed  # type: ignore[index]
                part = f", {100 * speed * flops / FLOPS_PEAK[precision]:.0f} % of the arithmetic peak" if flops else ""
                print(f"{precision} {cells} cells {count} cases: {speed / 1e9:.1f} G cell-updates/s{part}", flush=True)
    cases = grid_cases()
    local = march(cases)
    for precision in ("float64", "float32"):
        begin = time.perf_counter()
        found = cuda.march_group(cases, starter(cases[0]).features_of(cases[0]), precision, True, 0)
        took = time.perf_counter() - begin
        same = [a.verdict == b.verdict and a.status is b.status for a, b in zip(local, found)]
        settled = [(a, b) for a, b in zip(local, found) if a.verdict == b.verdict == "flutters"]
        worst = max((abs(a.frequency / b.frequency - 1.0) for a, b in settled if a.frequency and b.frequency), default=0.0)
        swing = [abs((a.lift_swing or 0.0) - (b.lift_swing or 0.0)) for a, b in settled]
        out[f"agree {precision}"] = [sum(same), len(same), float(np.median(swing or [0.0])), worst]
        print(f"{precision}: class of the CPU's float64 in {sum(same)} of {len(same)}, flutter frequency within {worst:.1e}, "
              f"median lift swing within {np.median(swing or [0.0]):.1e} of full lift ({took:.1f} s with compiling)")  # fmt: skip
        for case, a, b, good in zip(cases, local, found, same):
            if not good:
                print(f"   differs: {case.segments[0].length:.2f} m {case.inflow:.2f} kg/s: {a.verdict} here, {b.verdict} there")
    return out


def main() -> None:
    """Run what is asked, print, and write the figures where asked."""
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--seconds", type=float, default=1.0, help="time spent on each size")
    given.add_argument("--json", default="", help="file for the figures")
    given.add_argument("--device", action="store_true", help="the graphics processor instead of the peer")
    given.add_argument("--flops", type=float, default=0.0, help="operations a cell-update, for the share of the peak")
    asked = given.parse_args()
    out = device(asked.flops) if asked.device else compare(asked.seconds)
    if asked.json:
        Path(asked.json).write_text(json.dumps(out, indent=1))
    print(json.dumps(out))


if __name__ == "__main__":
    if sys.argv[1:2] == ["--peer"]:
        print(json.dumps(peer(**json.loads(sys.argv[2]))))
        sys.exit()
    main()
