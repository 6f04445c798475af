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
    FLANK,
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
    UNSIGNED,
    VALVE_EN,
    VALVE_MASS,
    VOL_B,
    VOLUME,
    X_STOP,
    V,
    X,
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
    faces_stepped, totals = cell.faces_stepped, cell.totals
    vessel_end, valve_end, open_end = cell.vessel_end, cell.valve_end, cell.open_end
    flow_area, tail = moving.flow_area, after.tail

    at = index(jit, UNSIGNED)

    @jit
    def grid(S, U, g, stride, j, invdx, fric):  # type: ignore[no-untyped-def]
        """Left and right face area, 1/dx and friction of a cell; g its first geometry row, 0 = one bore (area 1)."""
        if stepped and g > 0:
            return U[at(g, stride, j)], U[at(g + 1, stride, j)], U[at(g + 2, stride, j)], U[at(g + 3, stride, j)]
        return one, one, invdx, fric

    @jit
    def state(U, r, stride, j):  # type: ignore[no-untyped-def]
        """Density, velocity, pressure of the cell whose first row is r."""
        return U[at(r, stride, j)], U[at(r + 1, stride, j)], U[at(r + 2, stride, j)]

    @jit
    def keep(U, r, stride, j, rho, u, p):  # type: ignore[no-untyped-def]
        U[at(r, stride, j)] = rho
        U[at(r + 1, stride, j)] = u
        U[at(r + 2, stride, j)] = p

    @jit
    def shape(b, h, n, gb, gh, gn, uneven, before, behind_, dt, kappa):  # type: ignore[no-untyped-def]
        """Faces of a cell half a step on: (rho, u, p) left, right, force of the flanks.

        b, h, n: state of the cell before, here, behind; gb, gh, gn: their `grid`; `before`, `behind_`: has neighbours.
        """
        b_rho, b_u, b_p = b
        rho, u, p = h
        n_rho, n_u, n_p = n
        a_l, a_r, invdx, _ = gh
        part = half * dt * invdx
        if stepped and uneven:
            q1, q2, q3 = totals(rho, u, p, half * (a_l + a_r), kappa)
            b1, b2, b3 = totals(b_rho, b_u, b_p, half * (gb[0] + gb[1]), kappa)
            n1, n2, n3 = totals(n_rho, n_u, n_p, half * (gn[0] + gn[1]), kappa)
            if before and behind_:
                d1, d2, d3 = slope(q1 - b1, n1 - q1), slope(q2 - b2, n2 - q2), slope(q3 - b3, n3 - q3)
            else:
                d1, d2, d3 = n1 - b1, end_slope(n2 - b2, q2), end_slope(n3 - b3, q3)
            return faces_stepped(rho, u, p, d1, d2, d3, a_l, a_r, part, kappa)
        if before and behind_:
            d1, d2, d3 = slope(rho - b_rho, n_rho - rho), slope(u - b_u, n_u - u), slope(p - b_p, n_p - p)
        else:
            d1, d2, d3 = end_slope(n_rho - b_rho, rho), n_u - b_u, end_slope(n_p - b_p, p)
        l_rho, l_u, l_p, r_rho, r_u, r_p = faces(rho, u, p, d1, d2, d3, part, kappa)
        return l_rho, l_u, l_p, r_rho, r_u, r_p, zero

    @jit
    def renew(h, flank, gh, dt, half_k, f1, f2, f3, g1, g2, g3):  # type: ignore[no-untyped-def]
        """State of a cell after the step from its left (f) and right (g) fluxes and the force of its flanks."""
        rho, u, p = h
        a_l, a_r, invdx, fric = gh
        part = dt * invdx
        if stepped:
            part /= half * (a_l + a_r)
            f1 = f1 * a_l
            f2 = f2 * a_l + flank
            f3 = f3 * a_l
            g1 = g1 * a_r
            g2 = g2 * a_r
            g3 = g3 * a_r
        return update(rho, u, p, f1, f2, f3, g1, g2, g3, part, dt * fric, half_k)

    @jit
    def carried_on(S, stride, j):  # type: ignore[no-untyped-def]
        """What `carry` left."""
        return (
            S[at(R_RHO, stride, j)], S[at(R_U, stride, j)], S[at(R_P, stride, j)], S[at(FLANK, stride, j)],
            S[at(F_MASS, stride, j)], S[at(F_MOM, stride, j)], S[at(F_EN, stride, j)],
        )  # fmt: skip

    @jit
    def carry(S, stride, j, rho, u, p, flank, f1, f2, f3):  # type: ignore[no-untyped-def]
        """Leave a cell's right face, the force of its flanks and the flux through its left face for the next cell."""
        S[at(FLANK, stride, j)] = flank
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
        """Faces of a line's first cell half a step on, force of its flanks, 1/dx."""
        h = state(U, r, stride, j)
        gh = grid(S, U, g, stride, j, invdx0, fric0)
        gn = grid(S, U, g + GEOMETRY if g > 0 else 0, stride, j, invdx0, fric0)
        l_rho, l_u, l_p, r_rho, r_u, r_p, flank = shape(
            h, h, state(U, r + PER_CELL, stride, j), gh, gh, gn, g > 0, False, True, dt, S[at(KAPPA, stride, j)]
        )
        return l_rho, l_u, l_p, r_rho, r_u, r_p, flank, gh[2]

    @jit
    def first_cell(S, U, stride, j, r, g, dt, invdx0, fric0, p_res, rho_res):  # type: ignore[no-untyped-def]
        """Left end of a line on a reservoir: flux in, state carried on. Returns mass and energy flux, wave speed over dx."""
        half_k = S[at(HALF, stride, j)]
        kappa = S[at(KAPPA, stride, j)]
        l_rho, l_u, l_p, r_rho, r_u, r_p, flank, invdx = first_faces(S, U, stride, j, r, g, dt, invdx0, fric0)
        e_rho, e_u, e_p, e_a = vessel_end(
            l_rho, l_u, l_p, p_res, sqrt(kappa * p_res / rho_res), half_k, kappa, S[at(KB, stride, j)]
        )
        mass = e_rho * e_u
        energy = mass * (e_a * e_a / (two * half_k) + half * e_u * e_u)
        carry(S, stride, j, r_rho, r_u, r_p, flank, mass, mass * e_u + e_p, energy)
        return mass, energy, (abs(e_u) + e_a) * invdx

    @jit
    def inner_cell(S, U, stride, j, r, g, invdx0, fric0, last):  # type: ignore[no-untyped-def]
        """Cell r: its faces, the flux through its left face, and the cell before brought to the new time."""
        step_g = GEOMETRY if g > 0 else 0
        dt, half_k, kappa = S[at(DT, stride, j)], S[at(HALF, stride, j)], S[at(KAPPA, stride, j)]
        gb, gh = grid(S, U, g - step_g, stride, j, invdx0, fric0), grid(S, U, g, stride, j, invdx0, fric0)
        l_rho, l_u, l_p, r_rho, r_u, r_p, flank = shape(
            state(U, r - PER_CELL, stride, j), state(U, r, stride, j), state(U, r if last else r + PER_CELL, stride, j),
            gb, gh, grid(S, U, g if last else g + step_g, stride, j, invdx0, fric0), g > 0, True, not last, dt, kappa,
        )  # fmt: skip
        f1, f2, f3, wave = hllc(S[at(R_RHO, stride, j)], S[at(R_U, stride, j)], S[at(R_P, stride, j)], l_rho, l_u, l_p, kappa, half_k)
        # This store makes the compiler load the cell before again rather than hold it all the while: a quarter faster.
        S[at(SPEED, stride, j)] = max(S[at(SPEED, stride, j)], wave * max(gh[2], gb[2]))
        rho, u, p = renew(
            state(U, r - PER_CELL, stride, j), S[at(FLANK, stride, j)], gb, dt, half_k,
            S[at(F_MASS, stride, j)], S[at(F_MOM, stride, j)], S[at(F_EN, stride, j)], f1, f2, f3,
        )  # fmt: skip
        keep(U, r - PER_CELL, stride, j, rho, u, p)
        carry(S, stride, j, r_rho, r_u, r_p, flank, f1, f2, f3)

    @jit
    def sweep(S, U, cells, r, g, stride, j, invdx0, fric0):  # type: ignore[no-untyped-def]
        """All cells of a line behind its first, one lane alone: what they carry on and their neighbours stay in registers.

        r, g: first row and geometry row of the first cell. The same as `inner_cell` on each, for a device.
        """
        dt, half_k, kappa, speed = S[at(DT, stride, j)], S[at(HALF, stride, j)], S[at(KAPPA, stride, j)], S[at(SPEED, stride, j)]
        uneven = g > 0
        step_g = GEOMETRY if uneven else 0
        b, h, (c_rho, c_u, c_p, flank, e1, e2, e3) = state(U, r, stride, j), state(U, r + PER_CELL, stride, j), carried_on(S, stride, j)
        gb, gh = grid(S, U, g, stride, j, invdx0, fric0), grid(S, U, g + step_g, stride, j, invdx0, fric0)
        for _ in range(1, cells - 1):
            g += step_g
            n = state(U, r + 2 * PER_CELL, stride, j)
            gn = grid(S, U, g + step_g, stride, j, invdx0, fric0)
            l_rho, l_u, l_p, r_rho, r_u, r_p, own = shape(b, h, n, gb, gh, gn, uneven, True, True, dt, kappa)
            f1, f2, f3, wave = hllc(c_rho, c_u, c_p, l_rho, l_u, l_p, kappa, half_k)
            rho, u, p = renew(b, flank, gb, dt, half_k, e1, e2, e3, f1, f2, f3)
            keep(U, r, stride, j, rho, u, p)
            speed = max(speed, wave * max(gh[2], gb[2]))
            c_rho, c_u, c_p, flank, e1, e2, e3 = r_rho, r_u, r_p, own, f1, f2, f3
            b, h, gb, gh = h, n, gh, gn
            r += PER_CELL
        l_rho, l_u, l_p, r_rho, r_u, r_p, own = shape(b, h, h, gb, gh, gh, uneven, True, False, dt, kappa)
        f1, f2, f3, wave = hllc(c_rho, c_u, c_p, l_rho, l_u, l_p, kappa, half_k)
        rho, u, p = renew(b, flank, gb, dt, half_k, e1, e2, e3, f1, f2, f3)
        keep(U, r, stride, j, rho, u, p)
        S[at(SPEED, stride, j)] = max(speed, wave * max(gh[2], gb[2]))
        carry(S, stride, j, r_rho, r_u, r_p, own, f1, f2, f3)

    @jit
    def last_cell(S, U, stride, j, r, g, invdx0, fric0, g1, g2, g3):  # type: ignore[no-untyped-def]
        """The last cell brought to the new time with the flux of the right end."""
        _, _, _, flank, f1, f2, f3 = carried_on(S, stride, j)
        rho, u, p = renew(
            state(U, r, stride, j), flank, grid(S, U, g, stride, j, invdx0, fric0), S[at(DT, stride, j)], S[at(HALF, stride, j)],
            f1, f2, f3, g1, g2, g3,
        )  # fmt: skip
        keep(U, r, stride, j, rho, u, p)

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
        """Valve end of the inlet line and its last cell; `tail` does what stands behind."""
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
        for l in range(lanes):  # a loop of its own: with a pilot the two together are too much to go side by side
            tail(S, stride, base + l, S[at(DT, stride, base + l)])

    @jit
    def step_alone(S, U, cells, outlet_cells, stride, j):  # type: ignore[no-untyped-def]
        """`step` of a single lane."""
        geometry = PER_CELL * (cells + outlet_cells)
        end = PER_CELL * (cells - 1)
        clock(S, stride, j)
        if outlet:
            first = end + PER_CELL
            outlet_first(S, U, stride, j, first)
            sweep(S, U, outlet_cells, first, 0, stride, j, S[at(O_INVDX, stride, j)], S[at(O_FRIC, stride, j)])
            outlet_last(S, U, stride, j, first + PER_CELL * (outlet_cells - 1))
        vessel_cell(S, U, stride, j, geometry)
        sweep(S, U, cells, 0, geometry, stride, j, S[at(INVDX, stride, j)], S[at(FRIC, stride, j)])
        valve_cell(S, U, stride, j, end, geometry + GEOMETRY * (cells - 1))
        tail(S, stride, j, S[at(DT, stride, j)])

    return SimpleNamespace(step=step_alone if lanes == 1 else step, valve_cell=valve_cell, vessel_cell=vessel_cell, first_faces=first_faces, inner_cell=inner_cell, last_cell=last_cell, carry=carry, cell=cell)
