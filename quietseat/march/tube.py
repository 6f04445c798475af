"""Plain entries to the functions of the march, for checks against exact solutions: a tube, a held valve, a bouncing disc.

Nothing here is a second copy: `tube` runs the cells, fluxes and ends of `kernel` and `gas`, `blowdown` the whole step of a
lane with the disc held open, `bouncing` the sub-step of the disc.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import pi, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from quietseat.march import disc, kernel, lanes, rows, start
from quietseat.march.cases import Disc, Gas, MarchCase, Outlet, Pipe
from quietseat.march.kernel import COURANT, Features
from quietseat.march.rows import (
    DT,
    FRIC,
    GEOMETRY,
    HALF,
    INVDX,
    KAPPA,
    KB,
    PER_CELL,
    R_P,
    R_RHO,
    R_U,
    SPEED,
    UNSIGNED,
    index,
)
from quietseat.status import CalculationFailed, Status

Array = npt.NDArray[np.float64]
KINDS = ("wall", "open", "transmissive", "reservoir", "valve")


@dataclass(frozen=True, slots=True)
class Tube:
    """A tube after a run: cell states, time, steps, and what conservation should close.

    `mass`, `energy`: (at the start, at the end, net gain through the ends) in kg and J. `end` of the right end's last step:
    Mach number (valve only), static and stagnation pressure. `history`: time, then pressure of the last cell.
    """

    density: Array
    velocity: Array
    pressure: Array
    time: float
    steps: int
    mass: tuple[float, float, float]
    energy: tuple[float, float, float]
    end: tuple[float, float, float]
    history: Array


def tube(
    density: Sequence[float] | Array,
    velocity: Sequence[float] | Array,
    pressure: Sequence[float] | Array,
    *,
    length: float,
    k: float,
    areas: Sequence[float] | Array | None = None,
    friction: Sequence[float] | Array | float = 0.0,
    left: str = "wall",
    right: str = "wall",
    left_state: tuple[float, float] = (0.0, 0.0),
    right_state: tuple[float, float] = (0.0, 0.0),
    alpha: float = 0.0,
    t_end: float | None = None,
    steps: int = 1_000_000_000,
    courant: float = COURANT,
    precision: str = "float64",
    history: int = 0,
) -> Tube:
    """March a tube of equal cells from given states to `t_end` (s) or for `steps`, whichever comes first.

    `density`, `velocity`, `pressure` of the cells (SI or any consistent units); `areas` of the n+1 faces (None: 1);
    `friction` f/(2D) per unit length; ends: wall, open (to the pressure `..._state[0]`), transmissive, reservoir
    (pressure, density in `..._state`), valve (right only: choked or not nozzle of `alpha` times the bore into
    `right_state`). `history` > 0 keeps that many samples of the last cell's pressure. Raises CalculationFailed for a
    state that is not positive, an unknown end, or a run that diverged.
    """
    states = [np.asarray(values, dtype=np.float64) for values in (density, velocity, pressure)]
    count = len(states[0])
    if count < 4 or any(len(values) != count for values in states) or min(states[0].min(), states[2].min()) <= 0.0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "density, pressure: at least 4 cells, all above zero")
    for name, kind in (("left", left), ("right", right)):
        if kind not in KINDS or (name == "left" and kind == "valve"):
            raise CalculationFailed(Status.OUT_OF_RANGE, f"{name} = {kind!r}: unknown end")
    real = np.float64 if precision == "float64" else np.float32
    head, cells = _arrays(states, count, length, k, areas, friction)
    faces = np.ones(count + 1) if areas is None else np.asarray(areas, dtype=np.float64)
    sums = np.zeros(8)
    trace = np.zeros((max(history, 1), 2))
    stepped = areas is not None or np.ndim(friction) > 0
    head[FRIC] = 0.0 if stepped else float(np.asarray(friction))
    before = _totals(cells, faces, count, length, k)
    head, cells = head.astype(real), cells.astype(real)
    numbers = np.array([*left_state, *right_state, alpha, faces[0], faces[-1], t_end if t_end is not None else np.inf])
    with np.errstate(all="ignore"):
        taken = _runner(precision, stepped)(
            head, cells, count, KINDS.index(left), KINDS.index(right), numbers.astype(real), steps, real(courant), sums, trace, history
        )
    after = _totals(cells.astype(np.float64), faces, count, length, k)
    if not np.isfinite(cells).all():
        raise CalculationFailed(Status.NOT_CONVERGED, f"the tube diverged after {taken} steps")
    shaped = cells[: PER_CELL * count].reshape(count, PER_CELL).astype(np.float64)
    return Tube(
        shaped[:, 0].copy(), shaped[:, 1].copy(), shaped[:, 2].copy(), float(sums[0]), int(taken),
        (before[0], after[0], float(sums[1])), (before[1], after[1], float(sums[2])),
        (float(sums[3]), float(sums[4]), float(sums[5])), trace[: int(sums[6])],
    )  # fmt: skip


def _arrays(
    states: list[Array], count: int, length: float, k: float, areas: Sequence[float] | Array | None, friction: Sequence[float] | Array | float
) -> tuple[Array, Array]:
    """Head rows and cell rows of one lane."""
    head = np.zeros(rows.CELLS)
    start.gas_rows(head, Gas(k, 287.05, 293.15))
    dx = length / count
    cells = np.zeros((PER_CELL + GEOMETRY) * count)
    faces = np.ones(count + 1) if areas is None else np.asarray(areas, dtype=np.float64)
    cells[: PER_CELL * count] = np.stack(states, axis=1).ravel()
    drag = np.broadcast_to(np.asarray(friction, dtype=np.float64), count)
    cells[PER_CELL * count :] = np.stack([faces[:-1], faces[1:], np.full(count, 1.0 / dx), drag], axis=1).ravel()
    sound = np.sqrt(k * states[2] / states[0])
    head[INVDX] = 1.0 / dx
    head[SPEED] = float((np.abs(states[1]) + sound).max()) / dx
    return head, cells


def _totals(cells: Array, faces: Array, count: int, length: float, k: float) -> tuple[float, float]:
    shaped = cells[: PER_CELL * count].reshape(count, PER_CELL)
    volume = 0.5 * (faces[:-1] + faces[1:]) * length / count
    rho, u, p = shaped[:, 0], shaped[:, 1], shaped[:, 2]
    return float((rho * volume).sum()), float(((p / (k - 1.0) + 0.5 * rho * u * u) * volume).sum())


@cache
def _runner(precision: str, stepped: bool) -> Any:
    """The compiled loop of a tube: one lane, a bore that may vary, any pair of ends."""
    import numba

    real = np.float64 if precision == "float64" else np.float32
    part = kernel.build(lanes.small, real, Features(stepped=stepped), 1)
    at = index(lanes.small, UNSIGNED)
    first_faces, inner_cell, last_cell, carry = part.first_faces, part.inner_cell, part.last_cell, part.carry
    vessel_end, valve_end, open_end = part.cell.vessel_end, part.cell.valve_end, part.cell.open_end
    zero, half, one, two = real(0.0), real(0.5), real(1.0), real(2.0)

    @lanes.small
    def flux(rho, u, p, half_k, kappa):  # type: ignore[no-untyped-def]
        mass = rho * u
        return mass, mass * u + p, u * (p * kappa / (two * half_k) + half * mass * u)

    @lanes.small
    def end(kind, rho, u, p, p_out, rho_out, alpha, S):  # type: ignore[no-untyped-def]
        """Flux through an end seen with the outside on the right: mass, momentum, energy; Mach, static, stagnation pressure."""
        half_k, kappa, kb = S[at(HALF, 1, 0)], S[at(KAPPA, 1, 0)], S[at(KB, 1, 0)]
        choke, entry, critical = S[at(rows.CHOKE, 1, 0)], S[at(rows.ENTRY, 1, 0)], S[at(rows.CRITICAL, 1, 0)]
        if kind == 0 or kind == 4:
            area = alpha if kind == 4 else zero
            outside = p_out if kind == 4 else zero
            dense = rho_out if rho_out > zero else one
            mach, f1, f2, f3, p_stag, p_end = valve_end(rho, u, p, area, outside, dense, half, half_k, kappa, kb, choke, entry, critical)
            return f1, f2, f3, mach, p_end, p_stag
        if kind == 1:
            e_rho, e_u, e_p, _ = open_end(rho, u, p, p_out, half_k, kappa, kb)
        elif kind == 3:
            e_rho, e_u, e_p, _ = vessel_end(rho, -u, p, p_out, sqrt(kappa * p_out / rho_out), half_k, kappa, kb)
            e_u = -e_u
        else:
            e_rho, e_u, e_p = rho, u, p
        f1, f2, f3 = flux(e_rho, e_u, e_p, half_k, kappa)
        return f1, f2, f3, zero, e_p, e_p

    def run(S, U, cells, left, right, numbers, steps, courant, sums, trace, history):  # type: ignore[no-untyped-def]
        half_k, kappa, invdx, fric = S[HALF], S[KAPPA], S[INVDX], S[FRIC]
        geometry = PER_CELL * cells
        last = PER_CELL * (cells - 1)
        time = 0.0
        t_end = numbers[7]
        done = 0
        kept = 0
        while done < steps and time < t_end:
            dt = min(courant / S[SPEED], t_end - time)
            S[DT] = dt
            S[SPEED] = zero
            l_rho, l_u, l_p, r_rho, r_u, r_p, flank, _ = first_faces(S, U, 1, 0, 0, geometry, dt, invdx, fric)
            f1, f2, f3, _, _, _ = end(left, l_rho, -l_u, l_p, numbers[0], numbers[1], zero, S)
            carry(S, 1, 0, r_rho, r_u, r_p, flank, -f1, f2, -f3)
            S[SPEED] = (abs(l_u) + sqrt(kappa * l_p / l_rho)) * invdx
            sums[1] -= numbers[5] * dt * f1
            sums[2] -= numbers[5] * dt * f3
            for i in range(1, cells - 1):
                inner_cell(S, U, 1, 0, PER_CELL * i, geometry + GEOMETRY * i, invdx, fric, False)
            inner_cell(S, U, 1, 0, last, geometry + GEOMETRY * (cells - 1), invdx, fric, True)
            g1, g2, g3, mach, p_end, p_stag = end(right, S[R_RHO], S[R_U], S[R_P], numbers[2], numbers[3], numbers[4], S)
            last_cell(S, U, 1, 0, last, geometry + GEOMETRY * (cells - 1), invdx, fric, g1, g2, g3)
            sums[1] -= numbers[6] * dt * g1
            sums[2] -= numbers[6] * dt * g3
            sums[3] = mach
            sums[4] = p_end
            sums[5] = p_stag
            time += dt
            done += 1
            if history > 0 and kept < history and time * history >= t_end * kept:
                trace[kept, 0] = time
                trace[kept, 1] = U[last + 2]
                kept += 1
            if not S[SPEED] < 1e30:
                break
        sums[0] = time
        sums[6] = kept
        sums[7] = half_k
        return done

    compiled = numba.njit(run, fastmath=lanes.FAST, error_model="numpy", nogil=True)
    return lanes.kept_on_disk(compiled, f"tube {precision} {stepped}")


def blowdown(
    volume: float, flow_area: float, pressure: float, times: Sequence[float], *, gas: Gas, back_pressure: float = 1e5
) -> list[float]:
    """Vessel pressure, Pa, at each of `times` (s, rising) while a held-open nozzle C A = `flow_area` m2 empties it.

    The whole step of a lane runs, with a line of 1/10,000 of the vessel; only the disc is held on its stop.
    """
    from quietseat.march.engine import CHUNK, LANES

    bore = sqrt(4.0 * 20.0 * flow_area / pi)
    pipe = Pipe(1e-4 * volume / (20.0 * flow_area), bore)
    seat = sqrt(4.0 * flow_area / pi)
    held = Disc(seat, 0.9 * seat, 1.0, 1.0, curtain_coefficient=1.0, nozzle_coefficient=1.0)
    case = MarchCase(gas, volume, 0.0, (pipe,), pressure / start.SHUT_SHARE, 1.0, held, Outlet(back_pressure), cells=8, duration=times[-1])
    out: list[float] = []
    column = start.column(case)
    column[rows.P_R] = pressure
    column[rows.MASS_R] = pressure * volume / (gas.gas_constant * gas.temperature)
    column[rows.SPRING], column[rows.PRELOAD], column[rows.X] = 0.0, -1e9, held.max_lift
    column[rows.DT_MAX] = 1.0
    count = LANES["float64"]
    block = np.repeat(column[:, None], count, axis=1)
    block[rows.STATE, 1:] = rows.IDLE
    run = lanes.runner(start.features_of(case), count, "float64")
    for time in times:
        block[rows.T_END, 0] = time
        block[rows.STATE, 0] = rows.RUNNING
        head, cells = block[: rows.CELLS].reshape(-1), block[rows.CELLS :].reshape(-1)
        run(head, cells, np.zeros((count, 1, 4)), 0, case.cells, 0, CHUNK, False, 1e12)
        out.append(float(block[rows.P_R, 0]))
    return out


@dataclass(frozen=True, slots=True)
class Bounce:
    """A disc thrown up from its seat: impacts counted, time of the first flight and from the first impact to rest, s."""

    impacts: int
    first_flight: float
    rest: float | None


def bouncing(acceleration: float, speed: float, restitution: float, *, step: float = 1e-6, duration: float = 1.0) -> Bounce:
    """A disc thrown up at `speed` m/s and pulled back at `acceleration` m/s2: the sub-step of the march, no stop above.

    `first_flight` between the first two impacts; `rest` from the first impact to the first sub-step at zero speed.
    """
    impacts, first, second, rest = _bounce()(acceleration, speed, restitution, step, int(duration / step))
    return Bounce(int(impacts), second - first, rest - first if rest > 0.0 else None)


@cache
def _bounce() -> Any:
    import numba

    move = disc.build(lanes.small, np.float64).move

    def run(acceleration, speed, restitution, h, steps):  # type: ignore[no-untyped-def]
        x, v = 0.0, speed
        impacts, first, second, rest = 0, 0.0, 0.0, -1.0
        for i in range(steps):
            x, v, seat, _ = move(x, v, h, -acceleration, 1.0, 0.0, 0.0, restitution, 1e9)
            if seat > 0.0:
                impacts += 1
                first = (i + 1) * h if impacts == 1 else first
                second = (i + 1) * h if impacts == 2 else second
            if v == 0.0 and x == 0.0:
                rest = (i + 1) * h
                break
        return impacts, first, second, rest

    return lanes.kept_on_disk(numba.njit(run, error_model="numpy"), "bounce")
