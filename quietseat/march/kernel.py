"""One step of all lanes of a gas line: clock, vessel end, sweep over the cells, valve end, and what stands behind it.

The same functions serve the CPU (lanes side by side in one small array) and a device (one lane a thread, the stride is the
number of cases). `features` are compile-time: a plain spring valve on one bore pays for nothing else.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt
from types import SimpleNamespace
from typing import Any

from quietseat.march import disc, gas
from quietseat.march import tail as behind
from quietseat.march.rows import (
    AREA_R,
    AREA_V,
    BACK_EN,
    CHOKE,
    CRITICAL,
    CURTAIN,
    DT,
    DT_MAX,
    ENTRY,
    EXIT,
    F_EN,
    F_MASS,
    F_MOM,
    FRIC,
    GEOMETRY,
    H_IN,
    HALF,
    INFLOW,
    INVDX,
    KAPPA,
    KB,
    MACH,
    MASS_B,
    MASS_R,
    NOZZLE,
    O_AREA,
    O_FRIC,
    O_INVDX,
    P_B,
    P_BACK,
    P_R,
    P_STAG,
    PER_CELL,
    R_MID,
    R_P,
    R_RHO,
    R_U,
    RGAS,
    RUNNING,
    SPEED,
    STATE,
    T_END,
    TAMB,
    TIME,
    VALVE_EN,
    VALVE_MASS,
    VOL_B,
    VOLUME,
    X_STOP,
    V,
    X,
    UNSIGNED,
    index,
)

COURANT = 0.8


@dataclass(frozen=True, slots=True)
class Features:
    """What a kernel is compiled for: bore steps or uneven friction, bowl, bonnet vent, pilot, outlet line."""

    stepped: bool = False
    bowl: bool = False
    vent: bool = False
    pilot: bool = False
    outlet: bool = False

    @property
    def word(self) -> str:
        """A short name, part of the key of a compiled kernel."""
        return "".join("01"[flag] for flag in (self.stepped, self.bowl, self.vent, self.pilot, self.outlet))


def build(jit: Callable[[Any], Any], real: Callable[[float], Any], features: Features, lanes: int) -> SimpleNamespace:
    """`step(S, U, cells, outlet_cells, stride, base)`: one step of the lanes base .. base + lanes - 1."""
    zero, half, one, two = real(0.0), real(0.5), real(1.0), real(2.0)
    courant = real(COURANT)
    running = real(RUNNING)
    stepped, bowl, outlet = features.stepped, features.bowl, features.outlet
    cell = gas.build(jit, real)
    moving = disc.build(jit, real)
    after = behind.build(jit, real, bowl=bowl, vent=features.vent, pilot=features.pilot, outlet=outlet)
    slope, end_slope, faces, hllc, update = cell.slope, cell.end_slope, cell.faces, cell.hllc, cell.update
    vessel_end, valve_end, open_end = cell.vessel_end, cell.valve_end, cell.open_end
    flow_area, tail = moving.flow_area, after.tail

    at = index(jit, UNSIGNED)

    @jit
    def grid(S, U, g, stride, j, invdx, fric):  # type: ignore[no-untyped-def]
        """Left and right face area over the cell's, 1/dx and friction of a cell; g its first geometry row, 0 = one bore."""
        if stepped and g > 0:
            return U[at(g, stride, j)], U[at(g + 1, stride, j)], U[at(g + 2, stride, j)], U[at(g + 3, stride, j)]
        return one, one, invdx, fric

    @jit
    def finish(S, U, r, stride, j, rho, u, p, p_mid, dt, half_k, a_l, a_r, invdx, fric, f1, f2, f3, g1, g2, g3):  # type: ignore[no-untyped-def]
        """Write cell r after the step from its left (f) and right (g) fluxes."""
        if stepped:
            f2 = f2 * a_l - p_mid * a_l
            g2 = g2 * a_r - p_mid * a_r
            f1 = f1 * a_l
            f3 = f3 * a_l
            g1 = g1 * a_r
            g3 = g3 * a_r
        rho_n, u_n, p_n = update(rho, u, p, f1, f2, f3, g1, g2, g3, dt * invdx, dt * fric, half_k)
        U[at(r, stride, j)] = rho_n
        U[at(r + 1, stride, j)] = u_n
        U[at(r + 2, stride, j)] = p_n

    @jit
    def carry(S, stride, j, rho, u, p, mid, f1, f2, f3):  # type: ignore[no-untyped-def]
        """Leave a cell's right face, its mid-step pressure and the flux through its left face for the next cell."""
        S[at(R_MID, stride, j)] = mid
        S[at(R_RHO, stride, j)] = rho
        S[at(R_U, stride, j)] = u
        S[at(R_P, stride, j)] = p
        S[at(F_MASS, stride, j)] = f1
        S[at(F_MOM, stride, j)] = f2
        S[at(F_EN, stride, j)] = f3

    @jit
    def clock(S, stride, j):  # type: ignore[no-untyped-def]
        """The lane's own step, s; 0 when it has nothing left to do."""
        rest = S[at(T_END, stride, j)] - S[at(TIME, stride, j)]
        dt = min(min(courant / S[at(SPEED, stride, j)], S[at(DT_MAX, stride, j)]), rest)
        dt = dt if S[at(STATE, stride, j)] == running else zero
        S[at(DT, stride, j)] = dt
        S[at(SPEED, stride, j)] = zero

    @jit
    def first_faces(S, U, stride, j, r, g, dt, invdx0, fric0):  # type: ignore[no-untyped-def]
        """Left and right face of a line's first cell half a step on, its mid-step pressure, 1/dx."""
        a_l, a_r, invdx, _ = grid(S, U, g, stride, j, invdx0, fric0)
        rho = U[at(r, stride, j)]
        u = U[at(r + 1, stride, j)]
        p = U[at(r + 2, stride, j)]
        d_rho = end_slope(U[at(r + PER_CELL, stride, j)] - rho, rho)
        d_u = U[at(r + PER_CELL + 1, stride, j)] - u
        d_p = end_slope(U[at(r + PER_CELL + 2, stride, j)] - p, p)
        l_rho, l_u, l_p, r_rho, r_u, r_p, mid = faces(
            rho, u, p, d_rho, d_u, d_p, half * dt * invdx, S[at(KAPPA, stride, j)], a_r - a_l
        )
        return l_rho, l_u, l_p, r_rho, r_u, r_p, mid, invdx

    @jit
    def first_cell(S, U, stride, j, r, g, dt, invdx0, fric0, p_res, rho_res):  # type: ignore[no-untyped-def]
        """Left end of a line on a reservoir: flux in, state carried on. Returns mass and energy flux, wave speed over dx."""
        half_k = S[at(HALF, stride, j)]
        kappa = S[at(KAPPA, stride, j)]
        l_rho, l_u, l_p, r_rho, r_u, r_p, mid, invdx = first_faces(S, U, stride, j, r, g, dt, invdx0, fric0)
        e_rho, e_u, e_p, e_a = vessel_end(
            l_rho, l_u, l_p, p_res, sqrt(kappa * p_res / rho_res), half_k, kappa, S[at(KB, stride, j)]
        )
        mass = e_rho * e_u
        energy = mass * (e_a * e_a / (two * half_k) + half * e_u * e_u)
        carry(S, stride, j, r_rho, r_u, r_p, mid, mass, mass * e_u + e_p, energy)
        return mass, energy, (abs(e_u) + e_a) * invdx

    @jit
    def inner_cell(S, U, stride, j, r, g, invdx0, fric0, last):  # type: ignore[no-untyped-def]
        """Cell r: its faces, the flux through its left face, and the cell before brought to the new time."""
        dt = S[at(DT, stride, j)]
        half_k = S[at(HALF, stride, j)]
        kappa = S[at(KAPPA, stride, j)]
        b_l, b_r, b_invdx, b_fric = grid(S, U, g - GEOMETRY if g > 0 else 0, stride, j, invdx0, fric0)
        a_l, a_r, invdx, fric = grid(S, U, g, stride, j, invdx0, fric0)
        b_rho = U[at(r - PER_CELL, stride, j)]
        b_u = U[at(r - PER_CELL + 1, stride, j)]
        b_p = U[at(r - PER_CELL + 2, stride, j)]
        rho = U[at(r, stride, j)]
        u = U[at(r + 1, stride, j)]
        p = U[at(r + 2, stride, j)]
        if last:
            d_rho = end_slope(rho - b_rho, rho)
            d_u = u - b_u
            d_p = end_slope(p - b_p, p)
        else:
            d_rho = slope(rho - b_rho, U[at(r + PER_CELL, stride, j)] - rho)
            d_u = slope(u - b_u, U[at(r + PER_CELL + 1, stride, j)] - u)
            d_p = slope(p - b_p, U[at(r + PER_CELL + 2, stride, j)] - p)
        l_rho, l_u, l_p, r_rho, r_u, r_p, mid = faces(rho, u, p, d_rho, d_u, d_p, half * dt * invdx, kappa, a_r - a_l)
        f1, f2, f3, wave = hllc(S[at(R_RHO, stride, j)], S[at(R_U, stride, j)], S[at(R_P, stride, j)], l_rho, l_u, l_p, kappa, half_k)
        S[at(SPEED, stride, j)] = max(S[at(SPEED, stride, j)], wave * max(invdx, b_invdx))
        finish(
            S, U, r - PER_CELL, stride, j, b_rho, b_u, b_p, S[at(R_MID, stride, j)], dt, half_k, b_l, b_r, b_invdx, b_fric,
            S[at(F_MASS, stride, j)], S[at(F_MOM, stride, j)], S[at(F_EN, stride, j)], f1, f2, f3,
        )  # fmt: skip
        carry(S, stride, j, r_rho, r_u, r_p, mid, f1, f2, f3)

    @jit
    def last_cell(S, U, stride, j, r, g, invdx0, fric0, g1, g2, g3):  # type: ignore[no-untyped-def]
        """The last cell brought to the new time with the flux of the right end."""
        a_l, a_r, invdx, fric = grid(S, U, g, stride, j, invdx0, fric0)
        finish(
            S, U, r, stride, j, U[at(r, stride, j)], U[at(r + 1, stride, j)], U[at(r + 2, stride, j)], S[at(R_MID, stride, j)],
            S[at(DT, stride, j)], S[at(HALF, stride, j)], a_l, a_r, invdx, fric, S[at(F_MASS, stride, j)], S[at(F_MOM, stride, j)], S[at(F_EN, stride, j)], g1, g2, g3,
        )  # fmt: skip

    @jit
    def vessel_cell(S, U, stride, j, g):  # type: ignore[no-untyped-def]
        """Vessel and the first cell of the inlet line."""
        dt = S[at(DT, stride, j)]
        volume = S[at(VOLUME, stride, j)]
        mass_r = S[at(MASS_R, stride, j)]
        p_r = S[at(P_R, stride, j)]
        mass, energy, wave = first_cell(
            S, U, stride, j, 0, g, dt, S[at(INVDX, stride, j)], S[at(FRIC, stride, j)], p_r, mass_r / volume
        )
        area = S[at(AREA_R, stride, j)]
        inflow = S[at(INFLOW, stride, j)]
        S[at(MASS_R, stride, j)] = mass_r + dt * (inflow - area * mass)
        S[at(P_R, stride, j)] = p_r + two * S[at(HALF, stride, j)] * dt / volume * (inflow * S[at(H_IN, stride, j)] - area * energy)
        S[at(SPEED, stride, j)] = max(S[at(SPEED, stride, j)], wave)

    @jit
    def valve_cell(S, U, stride, j, r, g):  # type: ignore[no-untyped-def]
        """Valve end of the inlet line, its last cell, and everything behind."""
        dt = S[at(DT, stride, j)]
        area = S[at(AREA_V, stride, j)]
        lift = min(max(S[at(X, stride, j)] + half * dt * S[at(V, stride, j)], zero), S[at(X_STOP, stride, j)])
        alpha = flow_area(lift, S[at(CURTAIN, stride, j)], S[at(NOZZLE, stride, j)]) / area
        p_b = S[at(P_B, stride, j)]
        if bowl:
            rho_b = S[at(MASS_B, stride, j)] / S[at(VOL_B, stride, j)]
        else:
            rho_b = p_b / (S[at(RGAS, stride, j)] * S[at(TAMB, stride, j)])
        mach, g1, g2, g3, p_stag, _ = valve_end(
            S[at(R_RHO, stride, j)], S[at(R_U, stride, j)], S[at(R_P, stride, j)], alpha, p_b, rho_b, S[at(MACH, stride, j)],
            S[at(HALF, stride, j)], S[at(KAPPA, stride, j)], S[at(KB, stride, j)], S[at(CHOKE, stride, j)], S[at(ENTRY, stride, j)],
            S[at(CRITICAL, stride, j)],
        )  # fmt: skip
        S[at(MACH, stride, j)] = mach
        S[at(P_STAG, stride, j)] = p_stag
        S[at(VALVE_MASS, stride, j)] = area * g1
        S[at(VALVE_EN, stride, j)] = area * g3
        last_cell(S, U, stride, j, r, g, S[at(INVDX, stride, j)], S[at(FRIC, stride, j)], g1, g2, g3)
        tail(S, stride, j, dt)

    @jit
    def outlet_first(S, U, stride, j, r):  # type: ignore[no-untyped-def]
        """Bowl end of the outlet line: what it takes is left for the bowl in EXIT (kg/s) and BACK_EN (W)."""
        mass, energy, wave = first_cell(
            S, U, stride, j, r, 0, S[at(DT, stride, j)], S[at(O_INVDX, stride, j)], S[at(O_FRIC, stride, j)],
            S[at(P_B, stride, j)], S[at(MASS_B, stride, j)] / S[at(VOL_B, stride, j)],
        )  # fmt: skip
        S[at(EXIT, stride, j)] = S[at(O_AREA, stride, j)] * mass
        S[at(BACK_EN, stride, j)] = S[at(O_AREA, stride, j)] * energy
        S[at(SPEED, stride, j)] = max(S[at(SPEED, stride, j)], wave)

    @jit
    def outlet_last(S, U, stride, j, r):  # type: ignore[no-untyped-def]
        """Open end of the outlet line at the superimposed back pressure."""
        half_k = S[at(HALF, stride, j)]
        rho, u, p, a = open_end(
            S[at(R_RHO, stride, j)], S[at(R_U, stride, j)], S[at(R_P, stride, j)], S[at(P_BACK, stride, j)], half_k,
            S[at(KAPPA, stride, j)], S[at(KB, stride, j)],
        )  # fmt: skip
        mass = rho * u
        energy = mass * (a * a / (two * half_k) + half * u * u)
        last_cell(S, U, stride, j, r, 0, S[at(O_INVDX, stride, j)], S[at(O_FRIC, stride, j)], mass, mass * u + p, energy)

    @jit
    def outlet_sweep(S, U, cells, first, stride, base):  # type: ignore[no-untyped-def]
        """One step of the outlet line; before the inlet's, which then fills the bowl."""
        for l in range(lanes):
            outlet_first(S, U, stride, base + l, first)
        for i in range(1, cells - 1):
            for l in range(lanes):
                j = base + l
                inner_cell(S, U, stride, j, first + PER_CELL * i, 0, S[at(O_INVDX, stride, j)], S[at(O_FRIC, stride, j)], False)
        end = first + PER_CELL * (cells - 1)
        for l in range(lanes):
            j = base + l
            inner_cell(S, U, stride, j, end, 0, S[at(O_INVDX, stride, j)], S[at(O_FRIC, stride, j)], True)
        for l in range(lanes):
            outlet_last(S, U, stride, base + l, end)

    @jit
    def step(S, U, cells, outlet_cells, stride, base):  # type: ignore[no-untyped-def]
        """One step of every lane, each by its own dt."""
        geometry = PER_CELL * (cells + outlet_cells)
        end = PER_CELL * (cells - 1)
        for l in range(lanes):
            clock(S, stride, base + l)
        if outlet:
            outlet_sweep(S, U, outlet_cells, end + PER_CELL, stride, base)
        for l in range(lanes):
            vessel_cell(S, U, stride, base + l, geometry)
        for i in range(1, cells - 1):
            for l in range(lanes):
                j = base + l
                inner_cell(
                    S, U, stride, j, PER_CELL * i, geometry + GEOMETRY * i, S[at(INVDX, stride, j)], S[at(FRIC, stride, j)], False
                )
        for l in range(lanes):
            j = base + l
            inner_cell(
                S, U, stride, j, end, geometry + GEOMETRY * (cells - 1), S[at(INVDX, stride, j)], S[at(FRIC, stride, j)], True
            )
        for l in range(lanes):
            valve_cell(S, U, stride, base + l, end, geometry + GEOMETRY * (cells - 1))

    return SimpleNamespace(step=step, valve_cell=valve_cell, vessel_cell=vessel_cell, first_faces=first_faces, inner_cell=inner_cell, last_cell=last_cell, carry=carry, cell=cell)
