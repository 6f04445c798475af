"""The marching kernel against exact solutions and the reference cases of the dynamics facts.

Expected values come from outside the code: section 4 of shared/facts/dynamics.md (T1-T16, computed there from closed forms),
section 2.17 (REF-A, REF-P), closed forms written out here, scipy for the roots.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from math import log, pi, sqrt

import numpy as np
import pytest
from scipy.optimize import brentq

from quietseat.march import start
from quietseat.march.cases import Disc, Gas, Liquid, MarchCase, Outlet, Pilot, Pipe
from quietseat.march.engine import march
from quietseat.march.tube import blowdown, bouncing, tube
from quietseat.status import CalculationFailed, Status

AIR = Gas(1.4, 287.05, 293.15)
SOUND = 343.23198  # m/s, T2
PSI = 0.684731  # choked flow function at k = 1.4, section 1.4


def ref_a(length: float, friction: float = 0.0, restitution: float = 0.5, **changed: object) -> MarchCase:
    """REF-A: 50 mm disc of constant effective area on a 77.9 mm line, 2.0286 kg/s."""
    disc = Disc(0.05, 0.0125, 1.5, 47.3e3, curtain_coefficient=0.7, nozzle_area=0.05, restitution=restitution)
    case = MarchCase(
        AIR, 10.0, 2.0286, (Pipe(length, 0.0779, friction),), 11e5, 1e5, disc, Outlet(1e5), start="equilibrium", cells=40, duration=4.0
    )
    return replace(case, **changed)  # type: ignore[arg-type]


def ref_p(length: float, q: float = 0.6, **changed: object) -> MarchCase:
    """REF-P: pop valve, 34 mm, m = 2 kg, on a 52.5 mm line; q of the flow at 110 % of set."""
    area = pi / 4 * 0.034**2
    disc = Disc(
        0.034, 9.18e-3, 2.0, 0.25 * area * 10e5 / 9.18e-3, curtain_coefficient=0.85, nozzle_coefficient=0.85, area_ratio=1.2097,
        knee=0.5, damping_ratio=0.02, restitution=0.5,
    )  # fmt: skip
    rated = 0.85 * area * 12e5 * PSI / sqrt(287.05 * 293.15)
    case = MarchCase(AIR, 2.0, q * rated, (Pipe(length, 0.0525, 0.02),), 11e5, 1e5, disc, Outlet(1e5), cells=40, duration=4.0)
    return replace(case, **changed)  # type: ignore[arg-type]


# The cells and ends alone ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("left", "right", "time", "where", "p_star", "u_star"),
    [
        ((1, 0, 1), (0.125, 0, 0.1), 0.2, 0.55, 0.303130, 0.927453),  # T1 Sod
        ((1, 0, 1000), (1, 0, 0.01), 0.012, 0.6, 460.893787, 19.597451),  # T1c
        ((5.99924, 19.5975, 460.894), (5.99242, -6.19633, 46.0950), 0.035, 0.6, 1691.646955, 8.689774),  # T1d
    ],
)
def test_riemann_problems(left: tuple[float, ...], right: tuple[float, ...], time: float, where: float, p_star: float, u_star: float) -> None:
    n = 400
    states = [np.where(np.arange(n) < n // 2, a, b).astype(float) for a, b in zip(left, right)]
    out = tube(*states, length=1.0, k=1.4, left="transmissive", right="transmissive", t_end=time)
    assert out.pressure[int(n * where)] == pytest.approx(p_star, rel=5e-4)
    assert out.velocity[int(n * where)] == pytest.approx(u_star, rel=1e-3)


def resting(n: int, pressure: float = 11e5) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    return np.full(n, pressure / (287.05 * 293.15)), np.zeros(n), np.full(n, pressure)


@pytest.mark.parametrize(("alpha", "mach", "ratio"), [(0.05, 0.02894974, 0.9603930), (0.1, 0.05798720, 0.9224566)])
def test_sudden_choked_opening(alpha: float, mach: float, ratio: float) -> None:  # T5
    out = tube(*resting(80), length=1.0, k=1.4, right="valve", alpha=alpha, right_state=(1e5, 1.2), t_end=0.0015)
    assert out.end[0] == pytest.approx(mach, rel=1e-6)
    assert out.end[1] / 11e5 == pytest.approx(ratio, rel=1e-5)


@pytest.mark.parametrize(("mach", "ratio"), [(0.02, 1.0283380), (0.1, 1.1486518), (0.3, 1.5023498)])
def test_instant_closure(mach: float, ratio: float) -> None:  # T4, reflected shock
    rho, _, p = resting(200)
    out = tube(rho, np.full(200, mach * SOUND), p, length=1.0, k=1.4, left="transmissive", right="wall", t_end=0.001)
    assert out.pressure[-5] / 11e5 == pytest.approx(ratio, rel=1e-5)


def test_quarter_wave() -> None:  # T2: open at the vessel, shut at the valve, 85.808 Hz at 1 m
    n = 40
    rho, u, p = resting(n)
    p = p * (1 + 1e-4 * np.sin(0.5 * pi * (np.arange(n) + 0.5) / n))
    out = tube(rho * (p / 11e5) ** (1 / 1.4), u, p, length=1.0, k=1.4, left="reservoir", left_state=(11e5, rho[0]), t_end=0.1, history=4000)
    y = out.history[:, 1] - 11e5
    t = out.history[:, 0]
    up = np.flatnonzero((y[:-1] < 0) & (y[1:] >= 0))
    crossings = t[up] - y[up] * (t[up + 1] - t[up]) / (y[up + 1] - y[up])
    assert (len(crossings) - 1) / (crossings[-1] - crossings[0]) == pytest.approx(85.80799, rel=2e-3)


def test_conservation_and_rest() -> None:  # T13, T14
    n = 100
    x = (np.arange(n) + 0.5) / n
    bump = 1 + 0.3 * np.exp(-100 * (x - 0.5) ** 2)
    out = tube(bump, np.zeros(n), bump, length=1.0, k=1.4, steps=10_000)
    assert abs(out.mass[1] - out.mass[0] - out.mass[2]) / out.mass[0] < 1e-12
    assert abs(out.energy[1] - out.energy[0] - out.energy[2]) / out.energy[0] < 1e-10
    areas = np.where(np.arange(n + 1) < 40, 1.0, 2.5)
    areas[70:] = 0.6
    rho, u, p = resting(n)
    still = tube(rho, u, p, length=1.0, k=1.4, areas=areas, steps=1_000)
    assert np.abs(still.pressure / p - 1).max() < 1e-13
    assert np.abs(still.velocity).max() / SOUND < 1e-13


def test_order_two() -> None:  # T15, smooth acoustic pulse carried without change
    def mean(x: np.ndarray, h: float, centre: float) -> np.ndarray:
        nodes, weights = np.polynomial.legendre.leggauss(4)
        return sum(w / 2 * np.exp(-400 * (x + z * h / 2 - centre) ** 2) for z, w in zip(nodes, weights))

    errors = []
    for n in (80, 160, 320):
        x = (np.arange(n) + 0.5) / n
        size, a = 1e-5, sqrt(1.4)
        w = size * mean(x, 1 / n, 0.3)
        out = tube(1 + w / 1.4, w / a, 1 + w, length=1.0, k=1.4, left="transmissive", right="transmissive", t_end=0.3 / a)
        errors.append(np.abs(out.pressure - 1 - size * mean(x, 1 / n, 0.6)).mean() / size)
    assert log(errors[0] / errors[2], 4) > 1.8


def mach_share(mach: float, k: float = 1.4) -> float:
    return mach * ((2 / (k + 1)) * (1 + (k - 1) / 2 * mach * mach)) ** (-(k + 1) / (2 * (k - 1)))


def fanno(mach: float, k: float = 1.4) -> float:
    return (1 - mach**2) / (k * mach**2) + (k + 1) / (2 * k) * log((k + 1) * mach**2 / (2 + (k - 1) * mach**2))


def test_steady_flow_is_fanno_and_nozzle() -> None:  # T16
    n, length, bore, friction, alpha = 40, 5.0, 0.0525, 0.02, 0.3
    rho, u, p = resting(n)
    out = tube(
        rho, u, p, length=length, k=1.4, friction=friction / (2 * bore), left="reservoir", left_state=(11e5, rho[0]), right="valve",
        alpha=alpha, right_state=(1e5, 1.2), t_end=0.6,
    )  # fmt: skip
    at_valve = brentq(lambda m: mach_share(m) - alpha, 1e-6, 0.99)
    at_vessel = brentq(lambda m: fanno(m) - fanno(at_valve) - friction * length / bore, 1e-3, at_valve)
    assert out.end[0] == pytest.approx(at_valve, rel=1e-6)
    assert out.end[2] / 11e5 == pytest.approx(mach_share(at_vessel) / mach_share(at_valve), rel=1e-3)


def test_reducer_without_loss_keeps_stagnation_pressure() -> None:
    n = 40
    areas = np.where(np.arange(n + 1) < 20, 1.0, 0.5)
    areas[20] = 0.75
    rho, u, p = resting(n)
    out = tube(
        rho, u, p, length=5.0, k=1.4, areas=areas, left="reservoir", left_state=(11e5, rho[0]), right="valve", alpha=0.3,
        right_state=(1e5, 1.2), t_end=1.5,
    )  # fmt: skip
    assert out.end[2] / 11e5 == pytest.approx(1.0, abs=5e-5)


# Vessel, disc -------------------------------------------------------------------------------------------------------


def test_vessel_blowdown() -> None:  # T7; the line adds 1/10,000 to the volume
    found = blowdown(1.0, 1e-4, 11e5, [3.411234, 10.0], gas=Gas(1.4, 287.05, 300.0))
    assert found == pytest.approx([10e5, 834_856.10], rel=1e-4)


def test_bouncing_disc() -> None:  # T11
    out = bouncing(50.0, 1.0, 0.8, step=1e-5)
    assert out.impacts == 31
    assert out.first_flight == pytest.approx(0.032, abs=2e-5)
    assert out.rest == pytest.approx(0.160, abs=5e-4)


# Whole runs ---------------------------------------------------------------------------------------------------------


def test_ref_a_classes() -> None:
    """Section 2.17 and the file of the issue: flutter at 1 m, chatter at 1.5 m, at 20, 40 and 60 cells."""
    for cells in (20, 40, 60):
        below, flutter, chatter = march([ref_a(length, cells=cells) for length in (0.8, 1.0, 1.5)], early_stop=False)
        assert (below.verdict, flutter.verdict, chatter.verdict) == ("quiet", "flutters", "chatters")
        assert flutter.frequency == pytest.approx(85.3, rel=0.02)
        assert flutter.seat_impacts == 0.0


def test_ref_a_chatter_near_the_quarter_wave() -> None:
    """f = 0.02, e_r = 0.8, 1.5 m: 57.3 Hz, 43 impacts/s on both stops, inlet 8.3 to 17.6 bar (2.17)."""
    out = march([ref_a(1.5, 0.02, 0.8)], early_stop=False, samples=8000)[0]
    assert out.verdict == "chatters"
    assert out.frequency == pytest.approx(57.2, rel=0.05)
    assert out.seat_impacts + out.stop_impacts == pytest.approx(43.0, rel=0.15)
    assert out.inlet_pressure_min == pytest.approx(8.3e5, rel=0.1)
    assert out.inlet_pressure_max == pytest.approx(17.6e5, rel=0.1)


def growth(length: float, duration: float) -> tuple[float, float]:
    """Growth rate 1/s and frequency Hz of the lift about its equilibrium while it is small."""
    case = ref_a(length, duration=duration)
    out = march([case], early_stop=False, samples=10_000)[0]
    assert out.lift is not None and out.times is not None
    y = out.lift - start.steady(case, AIR).lift
    top = np.flatnonzero((y[1:-1] > y[:-2]) & (y[1:-1] >= y[2:]) & (y[1:-1] > 0)) + 1
    a, t = y[top], out.times[top]
    small = (t > 0.05) & (a < 2e-4) & (a > 1e-9)
    return float(np.polyfit(t[small], np.log(a[small]), 1)[0]), float((small.sum() - 1) / np.ptp(t[small]))


@pytest.mark.parametrize(("length", "exact", "at"), [(0.9, -2.51, 95.31), (1.0, 5.95, 85.98), (1.2, 20.85, 72.38)])
def test_growth_rates(length: float, exact: float, at: float) -> None:
    """Exact dispersion relation of 2.17; its own non-linear runs lie within 0.7 1/s and 1.3 % of it (mean flow left out)."""
    rate, frequency = growth(length, 1.0)
    assert rate == pytest.approx(exact, abs=0.9)
    assert frequency == pytest.approx(at, rel=0.015)


def test_ref_p_pops_cleanly_to_1_5_m_and_chatters_from_2_m() -> None:
    for cells in (20, 40, 60):
        runs = march([ref_p(length, cells=cells) for length in (0.5, 1.0, 1.5, 2.0)], early_stop=False)
        assert [run.verdict for run in runs] == ["quiet", "quiet", "quiet", "chatters"]
        assert [run.openings for run in runs[:3]] == [1, 1, 1]
    # Opening of a pop valve: 0.6 to 0.8 periods of the valve (3.12).
    period = 2 * pi / sqrt(ref_p(1.0).disc.spring_rate / 2.0)
    assert 0.4 * period < runs[0].opening_time < 0.9 * period


def test_vessel_line_and_valve_close_their_mass_balance() -> None:  # T13 over a whole run that chatters
    from quietseat.march import lanes, rows

    case = ref_p(2.5, duration=0.5)
    block = np.repeat(start.column(case)[:, None], 16, axis=1)
    block[rows.W_WIDTH] = block[rows.W_NEXT] = 1e9
    volume = np.array([cell.area * cell.length for cell in start.line(case.segments, case.cells)])

    def held() -> float:
        cells = block[rows.CELLS : rows.CELLS + 3 * case.cells, 0].reshape(case.cells, 3)
        return float(block[rows.MASS_R, 0] + (cells[:, 0] * volume).sum())

    before = held()
    run = lanes.runner(start.features_of(case), 16, "float64")
    run(block[: rows.CELLS].reshape(-1), block[rows.CELLS :].reshape(-1), np.zeros((16, 1, 4)), 0, case.cells, 0, 16, False, 1e9)
    passed = block[rows.HISTORY + rows.WINDOW.index("flow"), 0]
    assert passed > 0.1
    assert abs(held() - before - (case.inflow * 0.5 - passed)) / before < 1e-12


def varied(number: int) -> MarchCase:
    """Cases spread over sizes, pressures, flows, lengths; fixed by their number."""
    draw = np.random.default_rng(number)
    bore = float(draw.choice([0.0266, 0.0341, 0.0508]))
    line = bore * draw.uniform(1.3, 2.6)
    gauge, beta, knee = 10 ** draw.uniform(5.0, 6.5), draw.uniform(0.1, 0.45), draw.uniform(0.3, 0.8)
    lift, area = bore * draw.uniform(0.25, 0.35), pi / 4 * bore**2
    disc = Disc(
        bore, lift, 0.15 + 2941 * bore**2.2, beta * area * gauge / lift, area_ratio=(1 + beta * knee) / 0.93, knee=knee,
        damping_ratio=0.02, restitution=draw.uniform(0.2, 0.85),
    )  # fmt: skip
    rated = 0.96 * area * (1.1 * gauge + 1e5) * PSI / sqrt(287.05 * 293.15)
    length = 10 ** draw.uniform(-0.3, 0.8)
    return MarchCase(
        AIR, length * line**2 * 10 ** draw.uniform(1.7, 2.7), rated * float(draw.choice([0.25, 0.5, 1.0])), (Pipe(length, line, 0.018, 0.5),),
        gauge + 1e5, 1e5, disc, Outlet(1e5), start=str(draw.choice(["shut", "equilibrium"])), cells=20, duration=4.0,
    )  # fmt: skip


def test_early_end_never_changes_the_class() -> None:
    cases = [varied(i) for i in range(96)] + [ref_a(length, cells=20) for length in (0.8, 0.95, 1.0, 1.5)]
    full, early = march(cases, early_stop=False), march(cases)
    assert [run.verdict for run in early] == [run.verdict for run in full]
    assert sum(run.settled for run in early) > 25
    assert {run.verdict for run in full} >= {"quiet", "chatters", "flutters"}


def test_single_precision_agrees_on_the_class() -> None:
    """A disturbance of 1e-6 m drowns in the rounding of a lift of 6 mm in single precision: 1e-4 m does not."""
    cases = [ref_a(length, cells=20, disturbance=1e-4) for length in (0.8, 1.0, 1.5)] + [ref_p(length, cells=20) for length in (0.5, 1.0, 2.5)]
    for wide, narrow in zip(march(cases), march(cases, precision="float32")):
        assert narrow.verdict == wide.verdict


def test_a_run_that_diverges_is_a_status_and_its_neighbours_go_on(monkeypatch: pytest.MonkeyPatch) -> None:
    from quietseat.march import rows

    sound = start.column

    def broken(case: MarchCase) -> np.ndarray:
        column = sound(case)
        if case.disturbance == 2e-6:
            column[rows.CELLS + 3 * 7 + 2] = float("nan")
        return column

    monkeypatch.setattr(start, "column", broken)
    lost, fine = march([ref_a(1.0, duration=0.2, disturbance=2e-6), ref_a(1.0, duration=0.2)])
    assert lost.status is Status.NOT_CONVERGED and lost.verdict == "unproven" and "diverged" in lost.reason
    assert fine.status is Status.OK


def test_conventional_valve_feels_its_bowl_and_bellows_do_not() -> None:
    """Built-up pressure of a bowl choked at its exit, mdot sqrt(R T)/(psi C A) (1.5), shuts a conventional valve only."""
    outlet = Outlet(1e5, bowl_volume=2e-4, exit_area=1.2e-3)
    plain, bellows = march([ref_p(0.5, outlet=outlet), ref_p(0.5, outlet=replace(outlet, bonnet="atmosphere"))], early_stop=False)
    assert plain.verdict in ("flutters", "chatters", "cycles")
    assert bellows.verdict == "quiet"
    flow = 1.3
    assert start.back_at(ref_p(0.5, outlet=outlet), AIR, flow) == pytest.approx(flow * sqrt(287.05 * 293.15) / (PSI * 1.2e-3), rel=1e-5)


@pytest.mark.parametrize(
    ("make", "name"),
    [
        (lambda: Disc(0.05, 0.01, 0.0, 1e4), "mass"),
        (lambda: Disc(0.05, 0.06, 1.0, 1e4), "max_lift"),
        (lambda: Disc(0.05, 0.01, 1.0, 1e4, stop_lift=0.02), "stop_lift"),
        (lambda: Pipe(-1.0, 0.05), "length"),
        (lambda: Pipe(1.0, float("nan")), "diameter"),
        (lambda: Gas(1.4, 287.0, float("inf")), "temperature"),
        (lambda: Liquid(0.0, 1200.0), "density"),
        (lambda: Pilot("pop", "integral", False, 1.2, 1e-4, 1e-6, 1e-6), "action"),
        (lambda: replace(ref_a(1.0), cells=2), "cells"),
        (lambda: replace(ref_a(1.0), disc=replace(ref_a(1.0).disc, spring_rate=0.0)), "spring_rate"),
    ],
)
def test_impossible_values_are_refused_by_name(make: object, name: str) -> None:
    with pytest.raises(CalculationFailed, match=name) as failure:
        make()  # type: ignore[operator]
    assert failure.value.status is Status.OUT_OF_RANGE


def test_a_second_process_finds_the_compiled_kernel(tmp_path: object) -> None:
    march([ref_a(1.0, duration=0.01)])
    code = (
        "from quietseat.march import lanes\nfrom quietseat.march.kernel import Features\nimport numpy as np, numba\n"
        "run = lanes.runner(Features(), 16, 'float64')\n"
        "r, l = numba.float64, numba.int64\n"
        "run.compile((r[::1], r[::1], r[:, :, ::1], l, l, l, l, numba.boolean, r))\n"
        "print(sum(run.stats.cache_hits.values()), sum(run.stats.cache_misses.values()))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env={**os.environ}, check=True)
    assert out.stdout.split() == ["1", "0"]
