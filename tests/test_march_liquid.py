"""Liquid inlet line in time: closed forms of water hammer, cavities, ends, and the liquid reference valve."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from math import pi, sqrt
from typing import Any

import numpy as np
import pytest

from quietseat.dynamics import linear
from quietseat.march import liquid, liquid_lanes, liquid_start, rows
from quietseat.march.cases import Disc, Gas, Liquid, MarchCase, Outlet, Pipe
from quietseat.march.engine import march
from quietseat.status import CalculationFailed

RHO = 998.0
BORE = 0.0779
AREA = pi / 4 * BORE**2
BACK = 1e5
PLAIN = liquid.build(lambda function: function, float)
SWEEP = liquid_lanes.build(lambda function: function, float, liquid_lanes.Features(), 1).sweep


class Line:
    """A line stepped in plain Python by the kernel's own text, the valve end driven by the test."""

    def __init__(self, pipes: tuple[Pipe, ...], fluid: Liquid, cells: int, volume: float, pressure: float) -> None:
        self.fluid = fluid
        self.mesh = liquid.grid(pipes, fluid.sound_speed, cells)
        self.cells = liquid.cells_of_line(pipes, fluid, self.mesh)
        self.n = len(self.cells)
        self.s = s = np.zeros(rows.CELLS + liquid_lanes.rows(self.n))
        first = rows.CELLS + liquid_lanes.CELL * self.n
        self.nodes = s[first:].reshape(-1, liquid_lanes.NODE)  # pressure before and after, velocity before and after, cavity
        s[rows.CELLS : first] = [x for cell in self.cells for x in (cell.impedance, cell.resistance, cell.area)]
        s[liquid_lanes.DENSITY], s[liquid_lanes.SQUARE] = RHO, fluid.sound_speed**2
        s[liquid_lanes.VAPOUR] = fluid.vapour_pressure
        s[rows.VOLUME], s[rows.P_R], s[liquid_lanes.HELD] = volume, pressure, pressure
        s[rows.DT_MAX], s[rows.T_END], s[rows.STATE] = self.mesh.step, 1e9, rows.RUNNING
        self.steady(0.0)

    def steady(self, flow: float) -> None:
        """Uniform flow, kg/s, out of the vessel at its pressure."""
        total, self.s[rows.INFLOW] = self.s[rows.P_R], flow
        for i in range(self.n + 1):
            u1 = flow / RHO / self.cells[max(i - 1, 0)].area
            u2 = flow / RHO / self.cells[min(i, self.n - 1)].area
            total -= self.cells[i - 1].resistance * u1 * abs(u1) if i else 0.0
            self.nodes[i] = total - RHO * u1 * u1 / 2, total - RHO * u2 * u2 / 2, u1, u2, 0.0

    def step(self, alpha: float | Callable[[float, float], float], back: float = BACK) -> float:
        """One step with the valve at an area ratio, or a function of what reaches it; static pressure at the valve."""
        SWEEP(self.s[: rows.CELLS], self.s[rows.CELLS :], self.n, 1, 0)
        cp, bp = self.s[liquid_lanes.CP], self.s[liquid_lanes.BP]
        ratio = alpha(cp, bp) if callable(alpha) else alpha
        last = self.nodes[self.n]
        static, _, inside, through, cavity = PLAIN.valve_end(
            cp, bp, self.cells[-1].area, ratio, back, last[4], self.fluid.vapour_pressure, RHO, self.mesh.step
        )
        last[:] = static, static, inside, through, cavity
        return float(static)

    def drive(self, velocity: float) -> float:
        """One step with a prescribed outflow velocity, m/s."""

        def opening(cp: float, bp: float) -> float:
            return velocity / sqrt(2 * (cp - bp * velocity + RHO * velocity**2 / 2 - BACK) / RHO)

        return self.step(opening)

    @property
    def mass(self) -> float:
        """Mass of vessel and line above their mass at no pressure, kg, cavities taken off."""
        out = self.s[rows.VOLUME] * self.s[rows.P_R] / self.fluid.sound_speed**2
        for i, cell in enumerate(self.cells):
            speed = cell.impedance / RHO
            out += (self.nodes[i, 1] + self.nodes[i + 1, 0]) / 2 * cell.area * self.mesh.step / speed
        return float(out - RHO * self.nodes[:, 4].sum())


@pytest.mark.parametrize(("speed", "rise"), [(1200.0, 11.976e5), (1482.0, 14.79036e5)])
def test_instant_closure_is_joukowsky(speed: float, rise: float) -> None:
    """rho a du for du = 1 m/s (dynamics review T3: 11.976 and 14.79036 bar)."""
    line = Line((Pipe(10.0, BORE),), Liquid(RHO, speed), 20, 1e9, 11e5)
    line.steady(RHO * AREA * 1.0)
    before = line.nodes[line.n, 0]
    assert line.step(0.0) - before == pytest.approx(rise, rel=1e-7)


def test_ramped_outflow_drops_by_the_wave_return() -> None:
    """L 3 m, 77.9 mm, 3 kg/s over 20 ms, a 343 m/s: 188.833 kPa at 17.493 ms (dynamics review T6)."""
    line = Line((Pipe(3.0, BORE),), Liquid(RHO, 343.0), 40, 1e9, 11e5)
    drops = [(0.0, 0.0)]
    for i in range(1, 120):
        t = i * line.mesh.step
        drops.append((11e5 - line.drive(3.0 / RHO / AREA * min(t / 0.02, 1.0)), t))
    drop, when = max(drops)
    assert drop == pytest.approx(188.833e3, rel=1e-5)
    assert when == pytest.approx(17.493e-3, rel=1e-4)


def test_shut_line_rings_at_its_quarter_wave() -> None:
    """f = a/(4L), no damping: 100 Hz at 3 m, a 1200 m/s."""
    line = Line((Pipe(3.0, BORE),), Liquid(RHO, 1200.0), 40, 1e9, 11e5)
    line.steady(RHO * AREA * 0.01)
    trace = np.array([line.step(0.0) for _ in range(1600)])
    wave = trace - trace.mean()
    up = np.nonzero((wave[:-1] < 0) & (wave[1:] >= 0))[0]
    assert (len(up) - 1) / ((up[-1] - up[0]) * line.mesh.step) == pytest.approx(100.0, rel=1e-6)
    assert np.ptp(trace[-200:]) == pytest.approx(np.ptp(trace[:200]), rel=1e-3)  # the velocity head is lost at the vessel


def test_step_of_the_bore_sends_the_acoustic_part_through() -> None:
    """Transmitted over incident pressure = 2 Y1/(Y1 + Y2), Y = A/(rho a) (acoustics of a junction)."""
    fluid = Liquid(RHO, 1200.0)
    pipes = (Pipe(6.0, 0.05), Pipe(3.0, 0.1))
    line = Line(pipes, fluid, 30, 1e9, 11e5)
    line.steady(RHO * pipes[1].area * 0.001)  # so slow that velocity heads do not show
    before = line.nodes[:, 0].copy()
    incident = line.step(0.0) - before[-1]
    for _ in range(15):
        line.step(0.0)
    far = line.nodes[15, 0] - before[15]
    assert far / incident == pytest.approx(2 * pipes[1].area / (pipes[0].area + pipes[1].area), rel=1e-4)


def test_steady_flow_stays_through_friction_and_bores() -> None:
    """Bernoulli with f L/D + K on each bore stands still for 300 steps."""
    pipes = (Pipe(2.0, 0.1, 0.02), Pipe(1.3, 0.05, 0.02, 0.5))
    line = Line(pipes, Liquid(RHO, 1200.0, 2e3), 20, 1e9, 11e5)
    line.steady(RHO * pipes[1].area * 4.0)
    loss = RHO / 2 * (16.0 * (0.02 * 1.3 / 0.05 + 0.5) + 1.0 * 0.02 * 2.0 / 0.1)
    total = line.nodes[-1, 0] + RHO * 8.0
    assert total == pytest.approx(11e5 - loss, rel=1e-12)
    before = line.nodes.copy()
    for _ in range(300):
        line.step(4.0 / sqrt(2 * (total - BACK) / RHO))
    assert np.abs(line.nodes - before)[:-1, :2].max() < 1e-6
    assert np.abs(line.nodes - before)[:, 2:].max() < 1e-9


def first_collapse(u0: float, vessel: float, vapour: float, impedance: float) -> tuple[float, float]:
    """Time (in L/a) and peak of the first collapse after an instant closure, one cavity at the valve.

    Exact characteristics of a frictionless line: while the cavity lasts, the column gains 2 (p_r - p_v)/(rho a) of
    velocity every 2L/a; the peak comes when the wave of the collapse meets the next of these steps.
    """
    gain = (vessel - vapour) / impedance
    u, volume, t = gain - u0, 0.0, 2.0
    while volume - 2 * u > 0:
        volume, u, t = volume - 2 * u, u + 2 * gain, t + 2
    return t + volume / u, vapour + impedance * (u + 2 * gain)


@pytest.mark.parametrize("u0", [0.6, 1.0, 2.0])
def test_column_separation_at_the_valve(u0: float) -> None:
    """First collapse after an instant closure: time and peak; the peak exceeds Joukowsky, as in the textbooks."""
    vessel, vapour, speed, cells = 5e5, 2.3e3, 1200.0, 40
    line = Line((Pipe(6.0, BORE),), Liquid(RHO, speed, vapour), cells, 1e12, vessel)
    line.steady(RHO * AREA * u0)
    trace = [(line.step(0.0), line.nodes[-1, 4]) for _ in range(int(9 * cells * (1 + u0)))]
    cavity = np.array([volume for _, volume in trace])
    opened = int(np.nonzero(cavity > 0)[0][0])
    shut = opened + int(np.nonzero(cavity[opened:] == 0)[0][0])
    when, peak = first_collapse(u0, vessel, vapour, RHO * speed)
    assert (shut + 1) / cells == pytest.approx(when, abs=0.08)
    top = max(pressure for pressure, _ in trace[shut : shut + 2 * cells - 1])
    assert top == pytest.approx(peak, rel=3e-3)
    assert top > vessel + RHO * speed * u0 * 0.99
    assert min(pressure for pressure, _ in trace) == pytest.approx(vapour)


def textbook(u0: float, cells: int, steps: int, vessel: float, vapour: float, speed: float, friction: float) -> np.ndarray:
    """Independent discrete vapour cavity line (heads of Wylie & Streeter, psi = 1, negative volume set to 0), 6 m long."""
    b, dx = RHO * speed, 6.0 / cells
    r = RHO * friction * dx / (2 * BORE)
    p = vessel - RHO * u0**2 / 2 - r * u0**2 * np.arange(cells + 1)
    ul, ur, v = np.full(cells + 1, u0), np.full(cells + 1, u0), np.zeros(cells + 1)
    out = np.empty(steps)
    dt = dx / speed
    for step in range(steps):
        cp = np.empty(cells + 1)
        cm = np.empty(cells + 1)
        cp[1:] = p[:-1] + b * ur[:-1] - r * ur[:-1] * np.abs(ur[:-1])
        cm[:-1] = p[1:] - b * ul[1:] + r * ul[1:] * np.abs(ul[1:])
        new, left, right, volume = p.copy(), ul.copy(), ur.copy(), v.copy()
        inner = slice(1, cells)
        # vessel
        new[0] = vessel - RHO * max(ur[0], 0.0) ** 2 / 2
        left[0] = right[0] = (new[0] - cm[0]) / b
        # inner nodes and the shut valve (velocity behind it 0): liquid unless a cavity holds the vapour pressure
        liquid_p = np.append((cp[inner] + cm[inner]) / 2, cp[cells])
        held_l = (cp[1:] - vapour) / b
        held_r = np.append((vapour - cm[inner]) / b, 0.0)
        grown = v[1:] + dt * AREA * (held_r - held_l)
        hollow = ((v[1:] > 0) & (grown > 0)) | ((v[1:] <= 0) & (liquid_p < vapour))
        volume[1:] = np.where(hollow, np.maximum(grown, 0.0), 0.0)
        new[1:] = np.where(hollow, vapour, liquid_p)
        left[1:] = (cp[1:] - new[1:]) / b
        right[1:cells] = (new[inner] - cm[inner]) / b
        right[cells] = 0.0
        p, ul, ur, v = new, left, right, volume
        out[step] = p[cells]
    return out


def test_cavities_follow_an_independent_line() -> None:
    """Friction, cavities everywhere: same peaks as a separately written textbook line over two collapses (then small
    differences decide which cavity shuts first, and the traces part)."""
    vessel, vapour, speed, cells, steps = 5e5, 2.3e3, 1200.0, 32, 405
    line = Line((Pipe(6.0, BORE, 0.03),), Liquid(RHO, speed, vapour), cells, 1e12, vessel)
    line.steady(RHO * AREA * 1.0)
    ours = np.array([line.step(0.0) for _ in range(steps)])
    other = textbook(1.0, cells, steps, vessel, vapour, speed, 0.03)
    assert np.mean(np.abs(ours - other)[:390]) < 5e-3 * ours.max()
    for window in (slice(0, 100), slice(200, 300), slice(399, 405)):  # closure, first and second collapse
        assert ours[window].max() == pytest.approx(other[window].max(), rel=2e-3)


def test_mass_closes_over_cavity_cycles() -> None:
    """Vessel, two bores and cavities, shut valve, no friction: mass to rounding whenever no cavity is open."""
    pipes = (Pipe(2.0, 0.1), Pipe(1.3, 0.05))
    line = Line(pipes, Liquid(RHO, 1200.0, 2e3), 20, 0.05, 3e5)
    line.steady(RHO * pipes[1].area * 4.0)
    line.step(0.0)
    line.s[rows.INFLOW] = 0.0
    seen, masses, clear = 0, [], 0
    for _ in range(2500):
        line.step(0.0)
        hollow = bool(line.nodes[:, 4].any())
        seen += hollow
        clear = 0 if hollow else clear + 1
        if clear > 2:
            masses.append(line.mass)
    assert seen > 100
    assert np.ptp(masses) < 1e-12 * masses[0]


def test_cells_keep_the_wave_speed_within_two_percent() -> None:
    """Whole cells on every bore, length = cells * speed * step; 2 % on the wave speed, travel time of the line exact."""
    pipes = (Pipe(0.73, 0.1), Pipe(3.1, 0.0779), Pipe(1.61, 0.05))
    mesh = liquid.grid(pipes, 1330.0, 20)
    assert 20 <= mesh.total <= 60
    assert mesh.total * mesh.step == pytest.approx((0.73 + 3.1 + 1.61) / 1330.0)
    for pipe, count, speed in zip(pipes, mesh.cells, mesh.speeds):
        assert count * speed * mesh.step == pytest.approx(pipe.length)
        assert speed == pytest.approx(1330.0, rel=0.02)
    nozzle = liquid.grid((*pipes, Pipe(0.08, 0.05)), 1330.0, 20)
    assert nozzle.total <= 80
    assert nozzle.cells[-1] == 1
    assert liquid.grid(pipes[1:2], 1330.0, 20).cells == (20,)
    with pytest.raises(CalculationFailed, match="too short"):
        liquid.grid((Pipe(0.001, 0.1), Pipe(30.0, 0.1)), 1200.0, 10)


def test_valve_end_solves_its_equations() -> None:
    """Outflow by the orifice equation on stagnation pressure, return flow on static pressure, vapour when emptied."""
    b = RHO * 1200.0
    for cp in (2e5, 12e5, 90e5):
        for alpha in (0.0, 0.01, 0.3, 0.9):
            static, total, inside, through, cavity = PLAIN.valve_end(cp, b, AREA, alpha, BACK, 0.0, 2e3, RHO, 1e-5)
            assert (cavity, inside) == (0.0, pytest.approx(through, abs=1e-9))
            assert static + b * inside == pytest.approx(cp)
            assert through == pytest.approx(alpha * sqrt(2 * (total - BACK) / RHO), abs=1e-9)
    static, total, _, through, _ = PLAIN.valve_end(0.2e5, b, AREA, 0.3, BACK, 0.0, 2e3, RHO, 1e-5)
    assert through == pytest.approx(-0.3 * sqrt(2 * (BACK - static) / RHO))
    assert total == static
    static, _, inside, through, cavity = PLAIN.valve_end(-20e5, b, AREA, 0.01, BACK, 0.0, 2e3, RHO, 1e-5)
    assert static == 2e3
    assert through == pytest.approx(-0.01 * sqrt(2 * (BACK - 2e3) / RHO))
    assert cavity == pytest.approx(1e-5 * AREA * (through - inside))


# The liquid reference valve of the dynamics review (LIQ-A): seat 50 mm, no pop, curtain-limited, on water ---------------

SEAT = pi / 4 * 0.05**2
RATE, MASS, TOP = 47.3e3, 1.5, 12.5e-3
AHEAD = 10e5 * SEAT / RATE  # x_e


def reference(length: float, speed: float = 1200.0, share: float = 0.5, **changes: Any) -> MarchCase:
    """The reference valve in equilibrium at a share of its lift; `disc` and case values by name."""
    lift = share * TOP
    drop = RATE * (AHEAD + lift) / SEAT
    flow = 0.7 * pi * 0.05 * lift * sqrt(2 * RHO * drop)
    disc = Disc(0.05, TOP, MASS, RATE, curtain_coefficient=0.7, nozzle_coefficient=1.0, **changes.pop("disc", {}))
    case = MarchCase(
        Liquid(RHO, speed, 2.3e3), 1e9, flow, (Pipe(length, BORE),), 11e5, BACK, disc, Outlet(BACK), start="equilibrium", cells=20
    )
    return replace(case, **changes)


def critical(speed: float, share: float) -> float:
    """Closed form, m: L_crit = pi a/(2 w_c), w_c = w_v sqrt((3x + 2x_e)/x) (dynamics review 1.9)."""
    lift = share * TOP
    return pi * speed / (2 * sqrt(RATE / MASS * (3 * lift + 2 * AHEAD) / lift))


def at_rest(length: float, share: float = 0.5, volume: float = 1e9, damping: float = 0.0) -> linear.Equilibrium:
    """The same valve for the exact dispersion relation."""
    lift = share * TOP
    drop = RATE * (AHEAD + lift) / SEAT
    flow = 0.7 * pi * 0.05 * lift * sqrt(2 * RHO * drop)
    return linear.Equilibrium(
        ((length, AREA),), 1200.0, volume, flow / (2 * drop), flow / lift, SEAT, MASS, RATE, 2 * damping * sqrt(RATE * MASS)
    )


def growths(cases: list[MarchCase]) -> list[tuple[float, float]]:
    """Growth rate, 1/s, and frequency, Hz, of a small disturbance, from the lift of each run."""
    out = []
    for result in march(cases, early_stop=False, samples=3000):
        t, z = result.times, result.lift - result.lift.mean()
        up = np.nonzero((z[:-1] <= 0) & (z[1:] > 0))[0]
        size = [np.abs(z[i:j]).max() for i, j in pairwise(up)]
        when = [t[i:j].mean() for i, j in pairwise(up)]
        settled = len(size) // 4
        rate = np.polyfit(when[settled:], np.log(size[settled:]), 1)[0]
        out.append((float(rate), float((len(up) - 1) / (t[up[-1]] - t[up[0]]))))
    return out


@pytest.mark.parametrize("speed", [1200.0, 1482.0])
@pytest.mark.parametrize("share", [0.25, 0.5, 0.75])
def test_critical_length_of_the_liquid_valve(speed: float, share: float) -> None:
    """Growth changes sign within 0.2 % of the closed form (dynamics review 2.17: "to a few per cent")."""
    length = critical(speed, share)
    shares = np.linspace(0.97, 1.03, 16)
    cases = [reference(length * part, speed, share, duration=0.4, disturbance=1e-9) for part in shares]
    found = np.interp(0.0, [rate for rate, _ in growths(cases)], shares)
    assert found == pytest.approx(1.0, abs=2e-3)


def test_growth_rates_match_the_dispersion_relation() -> None:
    """Growth and frequency against the root of D(sg), constant-pressure vessel and a vessel of 0.1 m3 (its own mode)."""
    length = critical(1200.0, 0.5)
    parts = (0.9, 1.1)
    found = growths([reference(length * part, duration=0.3, disturbance=1e-9, cells=40) for part in parts])
    for part, (rate, frequency) in zip(parts, found):
        exact, hertz = linear.mode(at_rest(length * part))
        assert rate == pytest.approx(exact, rel=0.03)
        assert frequency == pytest.approx(hertz, rel=3e-3)
    ((rate, frequency),) = growths([reference(1.0, vessel_volume=0.1, duration=0.25, disturbance=1e-9, cells=40)])
    exact, hertz = linear.mode(at_rest(1.0, volume=0.1), 2j * pi * 41)
    assert rate == pytest.approx(exact, rel=0.03)
    assert frequency == pytest.approx(hertz, rel=0.01)


def test_damping_that_holds_a_bare_vessel() -> None:
    """Short line on 0.2 m3: damping at which growth ends, against the Routh criterion (dynamics review 1.9)."""
    lift = 0.5 * TOP
    drop = RATE * (AHEAD + lift) / SEAT
    flow = 0.7 * pi * 0.05 * lift * sqrt(2 * RHO * drop)
    gp, gx, c = flow / (2 * drop), flow / lift, 0.2 / 1200.0**2
    # (k c + m gp)(k gp + s c) = m c (s gp + gx A), a quadratic in k
    k = np.roots([c * gp, RATE * c * c + MASS * gp * gp, MASS * gp * RATE * c - MASS * c * (RATE * gp + gx * SEAT)]).max()
    zeta = k / (2 * sqrt(RATE * MASS))
    parts = (0.8, 0.9, 1.1, 1.2)
    cases = [
        reference(0.05, vessel_volume=0.2, cells=8, duration=0.4, disturbance=1e-9, disc={"damping_ratio": zeta * part})
        for part in parts
    ]
    rates = [-rate for rate, _ in growths(cases)]
    assert np.interp(0.0, rates, parts) == pytest.approx(1.0, abs=0.03)


def test_class_does_not_hang_on_the_grid() -> None:
    """Quiet, flutter, chatter at 20, 40, 60 cells away from the boundaries; violent beyond, never below vapour."""
    length = critical(1200.0, 0.5)
    for part, word in ((0.8, "quiet"), (1.06, "flutters"), (1.3, "chatters"), (2.0, "chatters")):
        cases = [reference(length * part, cells=cells, duration=2.0, disturbance=1e-5) for cells in (20, 40, 60)]
        found = march(cases)
        assert [result.verdict for result in found] == [word] * 3
        if word == "chatters":
            assert all(result.lift_swing > 0.9 for result in found)
            assert all(2.3e3 * 0.999 <= result.inlet_pressure_min < 3e5 for result in found)
            assert all(40e5 < result.inlet_pressure_max < 150e5 for result in found)
            assert all(result.seat_impacts > 5 and result.impact_energy > 0.5 for result in found)


def test_single_precision_keeps_the_classes() -> None:
    length = critical(1200.0, 0.5)
    cases = [reference(length * part, duration=2.0, disturbance=1e-5) for part in (0.8, 1.06, 1.3, 2.0)]
    assert [r.verdict for r in march(cases, precision="float32")] == ["quiet", "flutters", "chatters", "chatters"]


def test_equilibrium_stands_still_through_bores_losses_and_a_bowl() -> None:
    """A steady start is one: no swing, flow kept, losses as in Bernoulli, bowl pressure from its exit."""
    pipes = (Pipe(0.4, 0.1, 0.02, 0.5), Pipe(0.3, BORE, 0.02, 0.3), Pipe(0.2, 0.06))
    outlet = Outlet(BACK, bonnet="atmosphere", bowl_volume=1e-3, exit_area=2e-3)
    case = reference(1.0, segments=pipes, outlet=outlet, disturbance=0.0, duration=0.5)
    (result,) = march([case], early_stop=False)
    assert result.verdict == "quiet"
    assert result.lift_swing < 1e-9
    assert result.mean_flow_ratio == pytest.approx(1.0, abs=1e-9)
    lift, total = liquid_start.equilibrium(case)
    velocity = [case.inflow / RHO / pipe.area for pipe in pipes]
    loss = [RHO / 2 * u * u * (pipe.friction_factor * pipe.length / pipe.diameter + pipe.loss_coefficient) for u, pipe in zip(velocity, pipes)]
    assert result.vessel_pressure_max == pytest.approx(total + sum(loss), rel=1e-9)
    bowl = BACK + (case.inflow / 2e-3) ** 2 / (2 * RHO)
    assert total - BACK == pytest.approx((case.inflow**2 / (2 * RHO)) * (1 / (0.7 * pi * 0.05 * lift) ** 2 + 1 / 2e-3**2), rel=1e-6)
    force = SEAT * (total - bowl) + SEAT * (bowl - BACK)  # balanced bellows, A_b = A_s
    assert force == pytest.approx(RATE * (AHEAD + lift), rel=1e-6)


def test_mass_of_vessel_line_and_valve_closes() -> None:
    """Chatter through the whole kernel in plain Python: inflow = what went out + what vessel, line and cavities hold."""
    case = reference(critical(1200.0, 0.5) * 2.0, vessel_volume=2.0, disturbance=5e-3)
    cells, _ = liquid_start.cells_of(case)
    step = liquid_lanes.build(lambda function: function, float, liquid_lanes.Features(), 1).step
    column = liquid_start.column(case)
    column[liquid_lanes.WIDTH] = 1.0  # one part a step, so that the flow of a step is the one in VALVE_MASS
    head, body = column[: rows.CELLS], column[rows.CELLS :]
    nodes = body[liquid_lanes.CELL * cells :].reshape(-1, liquid_lanes.NODE)
    h = head[rows.DT_MAX]

    def held() -> float:
        line = (nodes[:-1, 1] + nodes[1:, 0]).sum() / 2 * AREA * h / 1200.0
        return float(2.0 * head[liquid_lanes.HELD] / 1200.0**2 + line - RHO * nodes[:, 4].sum())

    before, gone, steps = held(), 0.0, 1500
    lifts = []
    for _ in range(steps):
        step(head, body, cells, 1, 1, 0)
        gone += h * head[rows.VALVE_MASS]
        lifts.append(head[rows.X])
    came = case.inflow * h * steps
    assert min(lifts) < 0.05 * TOP
    assert max(lifts) > 0.99 * TOP
    assert head[rows.STEPS] == steps
    assert held() - before + gone == pytest.approx(came, rel=1e-3)


def test_gas_and_liquid_march_together() -> None:
    """A mixed batch: results in the order given; a line that cannot be cut keeps its reason."""
    wet = reference(critical(1200.0, 0.5) * 0.8, duration=0.5, disturbance=1e-5)
    dry = replace(wet, fluid=Gas(1.4, 287.05, 293.15), vessel_volume=10.0, inflow=2.0, segments=(Pipe(0.3, BORE),))
    bad = replace(wet, segments=(Pipe(1e-4, BORE), Pipe(5.0, BORE)))
    found = march([wet, bad, dry])
    assert [result.status for result in found] == ["ok", "out-of-range", "ok"]
    assert "too short" in found[1].reason
    assert found[0].verdict == found[2].verdict == "quiet"
