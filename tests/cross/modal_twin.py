"""A twin of a valve on its inlet line that shares nothing with the marched code: the line as quarter-wave modes.

Written from the equations alone (numpy and scipy; nothing of this package is imported). With stagnation pressure P and mass
flow W as the acoustic pair, a line with a mean flow obeys

    dP/dt = -(a^2/A) dW/dx,   dW/dt = -A dP/dx - f W|W|/(2 D rho A),   0 < x < L/(1 - M^2)

open to the vessel at x = 0 (P = p_r) and ending at the valve (W = W_v). Galerkin on the open-closed modes
k_n = (2n-1) pi/(2 L): P = sum Q_n sin k_n x, W = sum M_n cos k_n x, with 1 = sum d_n sin k_n x = sum c_n cos k_n x:

    Q_n' = (a^2/A) k_n (M_n - c_n W_v)          M_n' = -A k_n (Q_n - d_n p_r) - friction_n

that is q_n'' + w_n^2 q_n = forcing at the valve. Vessel p_r' = a_r^2/V (W_in - W(0)); disc m x'' + k x' + s (x_e + x) =
A (P_v - p_b), thrown back at both stops; choked valve W_v = C pi D x P_v psi/sqrt(R T0), T0 following P_v isentropically.
What it leaves out: waves that steepen, a sound speed that changes with the pressure, modes above the last, A_eff(x).
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, replace
from math import pi, sqrt

import numpy as np
from scipy.integrate import solve_ivp
from scipy.linalg import eigvals
from scipy.optimize import brentq

K, GAS, T0 = 1.4, 287.05, 293.15  # air
PSI = sqrt(K) * (2 / (K + 1)) ** ((K + 1) / (2 * (K - 1)))
SEAT_IMPACTS, SWING, WINDOW = 5.0, 0.05, 0.4  # the classes of the contract
QUIET_IMPACT = 0.01  # m/s; slower touches are not counted


@dataclass(frozen=True)
class Point:
    """One point of the grid; the defaults are reference case A. lift: equilibrium lift over the stop lift."""

    length: float
    lift: float
    friction: float = 0.0
    zeta: float = 0.0
    volume: float = 10.0
    mass: float = 1.5
    restitution: float = 0.5
    seat: float = 0.05
    stop: float = 0.0125
    spring: float = 47.3e3
    bore: float = 0.0779
    coefficient: float = 0.7
    set_gauge: float = 10e5
    back: float = 1e5

    @property
    def area(self) -> float:
        return pi / 4 * self.seat**2

    @property
    def pipe_area(self) -> float:
        return pi / 4 * self.bore**2

    @property
    def squeeze(self) -> float:
        return self.area * self.set_gauge / self.spring

    @property
    def damping(self) -> float:
        return self.zeta * 2 * sqrt(self.spring * self.mass)

    @property
    def start_lift(self) -> float:
        return self.lift * self.stop

    @property
    def pressure(self) -> float:
        """Stagnation pressure at the valve in equilibrium, Pa."""
        return self.back + self.spring * (self.squeeze + self.start_lift) / self.area

    @property
    def flow(self) -> float:
        """Flow in equilibrium, kg/s."""
        return self.coefficient * pi * self.seat * self.start_lift * self.pressure * PSI / sqrt(GAS * T0)

    @property
    def mach(self) -> float:
        alpha = self.coefficient * pi * self.seat * self.start_lift / self.pipe_area

        def excess(mach: float) -> float:
            return float(mach * (2 / (K + 1) * (1 + (K - 1) / 2 * mach**2)) ** (-(K + 1) / (2 * (K - 1))) - alpha)

        return float(brentq(excess, 0.0, 1.0))

    @property
    def sound(self) -> float:
        return sqrt(K * GAS * T0 / (1 + (K - 1) / 2 * self.mach**2))


@dataclass(frozen=True)
class Motion:
    """What became of a point. swing: lift peak to peak over the stop lift, in the last 40 % of the run."""

    verdict: str
    swing: float
    seat_impacts: float
    stop_impacts: float
    frequency: float


class Modes:
    """The equations of a batch of points as arrays: the state is [Q_1..N, M_1..N, p_r, x, v] of each point."""

    def __init__(self, points: list[Point], modes: int = 8, stations: int = 16) -> None:
        def column(name: str) -> np.ndarray:
            return np.array([float(getattr(point, name)) for point in points])

        self.n = modes
        self.signs = (-1.0) ** np.arange(modes)
        order = 2 * np.arange(modes) + 1
        length = column("length") / (1 - column("mach") ** 2)
        self.k = order * pi / (2 * length[:, None])
        self.c = 4 / (pi * order) * self.signs
        self.d = 4 / (pi * order)
        self.A, self.a = column("pipe_area"), column("sound")
        self.up, self.down = (self.a**2 / self.A)[:, None] * self.k, self.A[:, None] * self.k
        density = column("pressure") / (GAS * T0)
        self.f = column("friction") / (2 * column("bore") * density * self.A)
        self.rough = bool(np.any(self.f > 0))
        at = (np.arange(stations) + 0.5) / stations
        self.cosines = np.cos(np.outer(order * pi / 2, at))
        self.project = 2 / stations * self.cosines.T
        self.fill = K * GAS * T0 / column("volume")
        self.W_in, self.p_ref, self.p_b = column("flow"), column("pressure"), column("back")
        self.m, self.s, self.x_e, self.damping = column("mass"), column("spring"), column("squeeze"), column("damping")
        self.A_s, self.x_max, self.e = column("area"), column("stop"), column("restitution")
        self.gain = column("coefficient") * pi * column("seat") * PSI / sqrt(GAS * T0)
        loss = self.f * self.W_in**2 * length / self.A
        shape = -loss[:, None] * 2 * self.signs / (order * pi / 2) ** 2
        p_r = self.p_ref - np.sum(shape * self.signs, axis=1)
        self.rest = np.concatenate(
            [shape + self.d * p_r[:, None], self.c * self.W_in[:, None], p_r[:, None], column("start_lift")[:, None], 0 * p_r[:, None]],
            axis=1,
        )

    def choose(self, keep: np.ndarray) -> None:
        """Keep only some of the points."""
        for name, value in vars(self).items():
            if isinstance(value, np.ndarray) and name not in ("signs", "c", "d", "cosines", "project", "sines", "project_sin"):
                setattr(self, name, value[keep])

    def pressure(self, y: np.ndarray) -> np.ndarray:
        """Stagnation pressure at the valve."""
        n = self.n
        p_r = y[:, 2 * n]
        return p_r + (y[:, :n] - self.d * p_r[:, None]) @ self.signs

    def force(self, y: np.ndarray, P: np.ndarray) -> np.ndarray:
        """Net force on the disc, opening, N."""
        x, v = y[:, -2], y[:, -1]
        return self.A_s * (P - self.p_b) - self.s * (self.x_e + x) - self.damping * v

    def slope(self, y: np.ndarray) -> np.ndarray:
        n = self.n
        P = np.maximum(self.pressure(y), 2 * self.p_b)  # stays choked
        W = self.gain * np.clip(y[:, -2], 0, self.x_max) * self.p_ref * (P / self.p_ref) ** ((K + 1) / (2 * K))
        m = y[:, n : 2 * n] - self.c * W[:, None]
        out = np.empty_like(y)
        out[:, :n] = self.up * m
        out[:, n : 2 * n] = -self.down * (y[:, :n] - self.d * y[:, 2 * n, None])
        if self.rough:
            at = W[:, None] + m @ self.cosines
            out[:, n : 2 * n] -= self.f[:, None] * (at * np.abs(at)) @ self.project
        out[:, 2 * n] = self.fill * (self.W_in - W - m.sum(axis=1))
        out[:, -2] = y[:, -1]
        out[:, -1] = self.force(y, P) / self.m
        return out


class Waves(Modes):
    """The same modes with the gas dynamics of the line kept whole: waves steepen, the sound speed follows the pressure.

    Homentropic flow, weak form on the same functions; R_n of the density on sin k_n x, U_n of the velocity on cos k_n x:

        R_n' = (k_n/A) (W_n - c_n W_v)      U_n' = -k_n (H_n - d_n H_0) - friction_n      W = A rho u, H = a^2/(g-1) + u^2/2

    At the vessel H_0 is its enthalpy where gas flows out of it, and the jet is lost where gas flows back. At the valve the Mach
    number follows from the choked area alone. The upper half of the modes is damped (a few per cent of their own frequency):
    a series cut short has no other way to lose what a shock loses.
    """

    def __init__(self, points: list[Point], modes: int = 10, stations: int = 24) -> None:
        super().__init__(points, modes, stations)
        order = 2 * np.arange(modes) + 1
        self.k = order * pi / (2 * np.array([point.length for point in points])[:, None])
        at = (np.arange(stations) + 0.5) / stations
        self.sines = np.sin(np.outer(order * pi / 2, at))
        self.project_sin = 2 / stations * self.sines.T
        self.rho_ref = self.p_ref / (GAS * T0)
        self.rub = np.array([point.friction / (2 * point.bore) for point in points])
        upper = np.maximum(order / 2 - modes / 2, 0) / (modes / 2)
        self.fade = 0.2 * self.a[:, None] * self.k * upper**2
        machs = np.linspace(0, 0.6, 6001)
        self.table = (machs * (2 / (K + 1) * (1 + (K - 1) / 2 * machs**2)) ** (-(K + 1) / (2 * (K - 1))), machs)
        self.open = np.array([point.coefficient * pi * point.seat for point in points]) / self.A
        self.volume = np.array([point.volume for point in points])
        self.a_0 = sqrt(K * GAS * T0)
        self.rest = self._rest(points)

    def _rest(self, points: list[Point]) -> np.ndarray:
        """Equilibrium: uniform without friction, else solved for with the lift held and the vessel above by the loss."""
        rows = []
        for i, point in enumerate(points):
            cooled = 1 / (1 + (K - 1) / 2 * point.mach**2)  # T/T0
            rho = point.pressure / (GAS * T0) * cooled ** (1 / (K - 1))
            u = point.mach * self.a_0 * sqrt(cooled)
            row = np.concatenate([self.d * rho, self.c * u, [point.pressure, point.start_lift, 0.0]])
            rows.append(row if point.friction == 0 else self._settled(row, i))
        return np.array(rows)

    def _settled(self, row: np.ndarray, i: int) -> np.ndarray:
        """Newton for the line and the vessel pressure that hold the disc where it is; sets the inflow of the point too."""
        one, n = _only(self, i), self.n
        free = np.arange(2 * n + 1)

        def wrong(state: np.ndarray) -> np.ndarray:
            out = one.slope(state[None])[0]
            return np.append(out[: 2 * n], out[-1])  # the vessel pressure is the one that balances the disc

        for _ in range(6):
            base, columns = wrong(row), []
            for j in free:
                moved = row.copy()
                moved[j] += (step := 1e-6 * max(abs(row[j]), 1e-3))
                columns.append((wrong(moved) - base) / step)
            row[free] -= np.linalg.solve(np.array(columns).T, base)
        self.W_in[i] = one.ends(row[None])[3][0]
        return row

    def ends(self, y: np.ndarray) -> tuple[np.ndarray, ...]:
        """Density, velocity, enthalpy at the vessel end; flow, velocity, stagnation pressure at the valve; vessel sound speed."""
        n = self.n
        R, U, p_r = y[:, :n], y[:, n : 2 * n], y[:, 2 * n]
        a_r = self.a_0 * np.maximum(p_r / self.p_ref, 0.05) ** ((K - 1) / (2 * K))
        mach = np.interp(self.open * np.clip(y[:, -2], 0, self.x_max), *self.table)
        u_L = mach * a_r
        c, d = self.c.sum(), (self.d * self.signs).sum()
        sum_u, sum_r = U.sum(axis=1), R @ self.signs
        for _ in range(3):
            u_0 = u_L + sum_u - c * u_L
            squared = np.maximum(a_r**2 - np.where(u_0 > 0, (K - 1) / 2 * u_0**2, 0.0), 0.1 * self.a_0**2)
            rho_0 = self.rho_ref * (squared / self.a_0**2) ** (1 / (K - 1))
            rho_L = np.maximum(rho_0 + sum_r - d * rho_0, 0.05 * self.rho_ref)
            u_L = mach * self.a_0 * (rho_L / self.rho_ref) ** ((K - 1) / 2)
        H_0 = squared / (K - 1) + u_0**2 / 2
        P = self.p_ref * (rho_L / self.rho_ref) ** K * (1 + (K - 1) / 2 * mach**2) ** (K / (K - 1))
        return rho_0, u_0, H_0, self.A * rho_L * u_L, u_L, P, a_r

    def pressure(self, y: np.ndarray) -> np.ndarray:
        return self.ends(y)[5]

    def slope(self, y: np.ndarray) -> np.ndarray:
        n = self.n
        rho_0, u_0, H_0, W_v, u_L, P, a_r = self.ends(y)
        rho = np.maximum(rho_0[:, None] + (y[:, :n] - self.d * rho_0[:, None]) @ self.sines, 0.05 * self.rho_ref[:, None])
        u = u_L[:, None] + (y[:, n : 2 * n] - self.c * u_L[:, None]) @ self.cosines
        H = self.a_0**2 / (K - 1) * (rho / self.rho_ref[:, None]) ** (K - 1) + u**2 / 2
        out = np.empty_like(y)
        flux = self.A[:, None] * rho * u - W_v[:, None]
        out[:, :n] = self.k / self.A[:, None] * (flux @ self.project)
        out[:, n : 2 * n] = -self.k * ((H - H_0[:, None]) @ self.project_sin)
        if self.rough:
            out[:, n : 2 * n] -= self.rub[:, None] * ((u * np.abs(u)) @ self.project)
        out[:, :n] -= self.fade * (y[:, :n] - self.d * rho_0[:, None])
        out[:, n : 2 * n] -= self.fade * (y[:, n : 2 * n] - self.c * u_L[:, None])
        W_0 = self.A * rho_0 * u_0
        enthalpy = np.where(W_0 > 0, a_r**2, H_0 * (K - 1))
        out[:, 2 * n] = (self.W_in * self.a_0**2 - W_0 * enthalpy) / self.volume
        out[:, -2] = y[:, -1]
        out[:, -1] = self.force(y, P) / self.m
        return out


def _only(twin: Waves, i: int) -> Waves:
    """The twin of one of the points."""
    one = copy.copy(twin)
    keep = np.zeros(len(twin.m), dtype=bool)
    keep[i] = True
    one.choose(keep)
    return one


def growth(point: Point, modes: int = 10, kind: type[Modes] = Waves) -> tuple[float, float]:
    """Growth rate, 1/s, and frequency, Hz, of the least stable oscillation of the twin about its equilibrium."""
    twin = kind([point], modes)
    y, size = twin.rest, twin.rest.shape[1]
    step = np.maximum(np.abs(y[0]), 1e-3) * 1e-6
    up, down = (np.array([twin.slope(y + sign * step * row)[0] for row in np.eye(size)]) for sign in (1, -1))
    found = eigvals(((up - down) / (2 * step[:, None])).T)
    top = max((value for value in found if value.imag > 1), key=lambda value: value.real)
    return float(top.real), float(top.imag / (2 * pi))


def critical_length(point: Point, low: float, high: float, modes: int = 10) -> float:
    """The length between two where the growth rate of the twin is nought, m."""
    return float(brentq(lambda length: growth(replace(point, length=length), modes)[0], low, high, xtol=1e-4))


def march(points: list[Point], *, duration: float = 4.0, disturbance: float = 2.5e-4, modes: int = 10, kind: type[Modes] = Waves) -> list[Motion]:
    """Every point marched by Runge-Kutta steps that resolve its own highest mode; points of short lines step finer."""
    twin = kind(points, modes)
    y = twin.rest.copy()
    y[:, -2] += disturbance
    dt = np.minimum(1.2 / (twin.k[:, -1] * twin.a), 1e-4)
    steps = np.ceil(duration / dt).astype(int)
    tally = _Tally(len(points))
    here = np.arange(len(points))
    for step in range(int(steps.max())):
        if step % 500 == 0 and np.any(done := steps[here] <= step):
            here, y, dt = here[~done], y[~done], dt[~done]
            twin.choose(~done)
        y = _step(twin, y, dt)
        seat, stop, still = _stops(twin, y, dt)
        window = step >= (1 - WINDOW) * steps[here]
        tally.note(here, y[:, -2], seat & window, stop & window, window, still)
    return [
        _classed(point, tally, i, duration, float(steps[i])) for i, point in enumerate(points)
    ]


def _step(twin: Modes, y: np.ndarray, dt: np.ndarray) -> np.ndarray:
    h = dt[:, None]
    k1 = twin.slope(y)
    k2 = twin.slope(y + h / 2 * k1)
    k3 = twin.slope(y + h / 2 * k2)
    k4 = twin.slope(y + h * k3)
    return y + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)


def _stops(twin: Modes, y: np.ndarray, dt: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Throw the disc back at its stops, in place. Returns who hit the seat, who the upper stop, and who rests on one."""
    x, v = y[:, -2], y[:, -1]
    low, high = (x <= 0) & (v <= 0), (x >= twin.x_max) & (v >= 0)
    speed = np.abs(v)
    still = np.zeros(len(x), dtype=bool)
    if low.any() or high.any():
        hit = low | high
        bound = np.where(high, twin.x_max, 0.0)
        pull = np.abs(twin.force(y, twin.pressure(y))) * dt / twin.m
        stuck = hit & (speed < np.maximum(1e-3, 2 * pull))
        back = bound - twin.e * (x - bound)
        y[:, -2] = np.where(stuck, bound, np.where(hit, back, x))
        y[:, -1] = np.where(stuck, 0.0, np.where(hit, -twin.e * v, v))
        still = stuck
    counted = speed > QUIET_IMPACT
    return low & counted & ~still, high & counted & ~still, still


class _Tally:
    """What happened in the last part of the run, by point."""

    def __init__(self, count: int) -> None:
        self.seat, self.stop, self.rises = np.zeros(count), np.zeros(count), np.zeros(count)
        self.low, self.high = np.full(count, np.inf), np.full(count, -np.inf)
        self.sum, self.number, self.before = np.zeros(count), np.zeros(count), np.full(count, np.nan)

    def note(self, here: np.ndarray, x: np.ndarray, seat: np.ndarray, stop: np.ndarray, window: np.ndarray, still: np.ndarray) -> None:
        if not window.any():
            return
        w = here[window]
        value = x[window]
        self.seat[here] += seat
        self.stop[here] += stop
        self.low[w], self.high[w] = np.minimum(self.low[w], value), np.maximum(self.high[w], value)
        self.sum[w] += value
        self.number[w] += 1
        mean = self.sum[w] / self.number[w]
        self.rises[w] += (self.before[w] < mean) & (value >= mean)
        self.before[w] = value


def _word(seat: float, swing: float) -> str:
    """The class: seat impacts a second, swing over the stop lift."""
    if not np.isfinite(swing):
        return "unproven"
    if swing <= SWING:
        return "quiet"
    return "chatters" if seat >= SEAT_IMPACTS else "cycles" if seat > 0 else "flutters"


def _classed(point: Point, tally: _Tally, i: int, duration: float, steps: float) -> Motion:
    span = WINDOW * duration
    swing = (tally.high[i] - tally.low[i]) / point.stop
    seat, stop = tally.seat[i] / span, tally.stop[i] / span
    return Motion(_word(seat, swing), float(swing), float(seat), float(stop), float(tally.rises[i] / span))


def reference_path(point: Point, *, duration: float, disturbance: float = 2.5e-4, modes: int = 10) -> Motion:
    """One point by scipy's adaptive solver with the impacts as events: slow; it checks the stepping of `march`."""
    twin = Waves([point], modes)
    y, t = twin.rest[0].copy(), 0.0
    y[-2] += disturbance
    seat = stop = 0
    times: list[np.ndarray] = []
    lifts: list[np.ndarray] = []

    def slope(_: float, state: np.ndarray) -> np.ndarray:
        return twin.slope(state[None])[0]

    def held(side: float):
        def slope_held(_: float, state: np.ndarray) -> np.ndarray:
            out = twin.slope(state[None])[0]
            out[-2:] = 0.0
            return out

        def freed(_: float, state: np.ndarray) -> float:
            return float(twin.force(state[None], twin.pressure(state[None]))[0] * -side)

        freed.terminal, freed.direction = True, 1.0  # type: ignore[attr-defined]
        return slope_held, freed

    def at_seat(_: float, state: np.ndarray) -> float:
        return float(state[-2])

    def at_stop(_: float, state: np.ndarray) -> float:
        return float(state[-2] - point.stop)

    at_seat.terminal, at_seat.direction = True, -1.0  # type: ignore[attr-defined]
    at_stop.terminal, at_stop.direction = True, 1.0  # type: ignore[attr-defined]
    rest = 0.0  # the side on which the disc rests: -1 the upper stop... +1 the seat, 0 free
    while t < duration:
        rhs, events = (slope, [at_seat, at_stop]) if rest == 0.0 else (held(rest)[0], [held(rest)[1]])
        run = solve_ivp(rhs, (t, duration), y, method="RK45", rtol=1e-5, atol=_tolerances(twin), events=events)
        times.append(run.t)
        lifts.append(run.y[-2])
        t, y = float(run.t[-1]), run.y[:, -1].copy()
        if run.status != 1:
            break
        if rest != 0.0:
            rest = 0.0
            continue
        low = len(run.t_events[0]) > 0
        speed = abs(float(y[-1]))
        y[-2] = 0.0 if low else point.stop
        counted = speed > QUIET_IMPACT and t >= (1 - WINDOW) * duration
        seat, stop = seat + (low and counted), stop + (not low and counted)
        if speed < 2e-3:
            y[-1] = 0.0
            push = float(twin.force(y[None], twin.pressure(y[None]))[0])
            rest = (-1.0 if low else 1.0) if (push < 0) == low else 0.0
        else:
            y[-1] = -point.restitution * y[-1]
    time, lift = np.concatenate(times), np.concatenate(lifts)
    late = lift[time >= (1 - WINDOW) * duration]
    swing = (late.max() - late.min()) / point.stop
    span = WINDOW * duration
    return Motion(_word(seat / span, swing), float(swing), seat / span, stop / span, float("nan"))


def _tolerances(twin: Modes) -> np.ndarray:
    n = twin.n
    return np.concatenate([np.full(n, 50.0), np.full(n, 1e-4), [10.0, 1e-8, 1e-5]])


def grid() -> list[Point]:
    """The points on which the twin and the marched code are compared: below, at and above the critical length."""
    plain = [Point(length, lift) for length in (0.4, 0.55, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.5, 2.0) for lift in (0.15, 0.25, 0.35, 0.5, 0.7, 0.9)]
    rough = [Point(length, lift, friction=0.02, zeta=0.02) for length in (0.6, 1.0, 1.5) for lift in (0.25, 0.5, 0.9)]
    damped = [Point(length, 0.5, zeta=zeta) for length in (0.8, 1.2) for zeta in (0.05, 0.1, 0.3)]
    small = [Point(0.3, 0.5, zeta=zeta, volume=volume) for volume in (0.01, 0.03, 0.1, 1.0) for zeta in (0.005, 0.1, 0.6)]
    masses = [Point(1.0, 0.5, mass=mass) for mass in (0.5, 0.8, 3.0, 6.0)]
    hard = [
        Point(length, lift, friction=friction, restitution=0.8)
        for length in (0.9, 1.1, 1.5, 2.0, 3.0) for lift in (0.2, 0.5, 0.8) for friction in (0.0, 0.03)
    ]  # fmt: skip
    narrow = [Point(length, lift, friction=0.02, bore=0.0627) for length in (0.6, 0.9, 1.3, 2.0) for lift in (0.25, 0.5, 0.8)]
    cramped = [
        Point(0.5, lift, zeta=zeta, volume=volume, restitution=0.8)
        for lift in (0.3, 0.7) for volume in (0.02, 0.05, 0.2) for zeta in (0.01, 0.1)
    ]  # fmt: skip
    light = [Point(length, 0.5, mass=0.8, zeta=0.05, restitution=0.3) for length in (0.5, 0.7, 1.0, 1.5, 2.5, 4.0)]
    return plain + rough + damped + small + masses + hard + narrow + cramped + light


PLACE = ("length", "lift", "friction", "zeta", "volume", "mass", "restitution", "bore")
HEAD = (*PLACE, "growth", "frequency", "verdict", "swing", "seat_impacts", "stop_impacts")


def table() -> str:
    """The grid with growth rate and class of the twin, as CSV: what `modal_twin.csv` holds. Some minutes."""
    points = grid()
    lines = [",".join(HEAD)]
    for point, motion in zip(points, march(points), strict=True):
        rate, frequency = growth(point)
        place = [f"{getattr(point, name):g}" for name in PLACE]
        lines.append(",".join([*place, f"{rate:.2f}", f"{frequency:.1f}", motion.verdict, f"{motion.swing:.3f}",
                               f"{motion.seat_impacts:.1f}", f"{motion.stop_impacts:.1f}"]))  # fmt: skip
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    print(table(), end="")
