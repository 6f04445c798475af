"""One step of all lanes of a liquid line: vessel end, sweep over the nodes, valve end with the disc, what stands behind.

Same shape as the gas kernel: functions of the flat arrays S (head rows) and U (rows of the
line, from 0), row * stride + lane; `step(S, U, cells, parts, stride, base)`.
The step is the cell's travel time and never changes. Within it the disc, and the valve end with it, take `parts` equal
parts: what reaches the valve is interpolated between the characteristics that leave the end node's old state and its
neighbour's, and the quadratic of the valve end is solved anew with the lift at the middle of the part (implicit in the
pressure, second order); the tail then moves the disc by four sub-steps of its own with that stagnation pressure.
The node's state at the end of the step is solved with the lift reached. A full bowl has no inertia: valve and exit in
series, P_B from the flow.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

from quietseat.march import disc, liquid
from quietseat.march import tail as behind
from quietseat.march.rows import (
    AREA_V,
    CHOKE,
    CURTAIN,
    DT,
    DT_MAX,
    ENTRY,
    EXIT,
    F_MASS,
    H_IN,
    HALF,
    INFLOW,
    KAPPA,
    KB,
    MACH,
    NOZZLE,
    P_B,
    P_BACK,
    P_R,
    P_STAG,
    R_P,
    R_RHO,
    R_U,
    RUNNING,
    STATE,
    STEPS,
    T_END,
    TIME,
    UNSIGNED,
    VALVE_MASS,
    VOLUME,
    X_STOP,
    V,
    X,
    index,
)

# The rows a gas uses for its own constants hold, for a liquid:
DENSITY, SQUARE, VAPOUR = HALF, KAPPA, KB  # kg/m3; a^2 of the vessel, m2/s2; Pa
HELD = H_IN  # pressure of the vessel by its mass: below the vapour pressure it counts vapour, and P_R stays there
WIDTH, SHARE, COUNT = CHOKE, ENTRY, MACH  # of a part in the step; of the step at the middle of the part; steps before this one
CP, BP, CP_OLD, BP_OLD = R_RHO, R_U, R_P, F_MASS  # characteristic on its way to the next node; of the valve's old state
NODE = 5
"""Rows of a node, behind all cells: pressure before and after it, velocity before and after it, cavity m3."""
CELL = 3
"""Rows of a cell: rho a, resistance, area; constant, cell 0 first."""


def rows(cells: int) -> int:
    """Rows that a line of so many cells takes."""
    return NODE * (cells + 1) + CELL * cells


@dataclass(frozen=True, slots=True)
class Features:
    """What a liquid kernel is compiled for: bonnet vent, pilot."""

    vent: bool = False
    pilot: bool = False

    @property
    def word(self) -> str:
        """A short name, part of the key of a compiled kernel."""
        return "liquid " + "".join("01"[flag] for flag in (self.vent, self.pilot))


def build(jit: Callable[[Any], Any], real: Callable[[float], Any], features: Features, lanes: int) -> SimpleNamespace:
    """`step(S, U, cells, parts, stride, base)`: one step of the lanes base .. base + lanes - 1."""
    zero, half, one = real(0.0), real(0.5), real(1.0)
    running, most = real(RUNNING), real(0.98)
    line = liquid.build(jit, real)
    moving = disc.build(jit, real)
    after = behind.build(jit, real, gas=False, bowl=False, vent=features.vent, pilot=features.pilot)
    foot, head, node, vessel_end, valve_end, in_series = (
        line.foot, line.head, line.node, line.vessel_end, line.valve_end, line.in_series,
    )  # fmt: skip
    flow_area, tail = moving.flow_area, after.tail

    at = index(jit, UNSIGNED)

    @jit
    def write(U, r, stride, j, before, behind_, u_before, u_behind, cavity):  # type: ignore[no-untyped-def]
        U[at(r, stride, j)] = before
        U[at(r + 1, stride, j)] = behind_
        U[at(r + 2, stride, j)] = u_before
        U[at(r + 3, stride, j)] = u_behind
        U[at(r + 4, stride, j)] = cavity

    @jit
    def vessel_node(S, U, stride, j, r):  # type: ignore[no-untyped-def]
        """Clock, vessel and the first node, whose first row is r."""
        rest = S[at(T_END, stride, j)] - S[at(TIME, stride, j)]
        h = S[at(DT_MAX, stride, j)]
        dt = h if S[at(STATE, stride, j)] == running and rest > zero else zero
        S[at(DT, stride, j)] = dt
        rho = S[at(DENSITY, stride, j)]
        b = U[at(0, stride, j)]
        drag = U[at(1, stride, j)]
        area = U[at(2, stride, j)]
        vapour = S[at(VAPOUR, stride, j)]
        cp, bp = foot(U[at(r + 1, stride, j)], U[at(r + 3, stride, j)], b, drag)
        cm, bm = foot(U[at(r + NODE, stride, j)], -U[at(r + NODE + 2, stride, j)], b, drag)
        gain = h * S[at(SQUARE, stride, j)] / S[at(VOLUME, stride, j)]
        give = half * gain * rho * area
        mass = S[at(HELD, stride, j)] + gain * S[at(INFLOW, stride, j)] - give * U[at(r + 2, stride, j)]
        full = mass > vapour
        p, before, after_, cavity = vessel_end(
            cm, bm, area, mass if full else vapour, give if full else zero, U[at(r + 4, stride, j)], vapour, rho, h
        )
        write(U, r, stride, j, p, p, before, after_, cavity)
        mass -= give * before
        S[at(HELD, stride, j)] = mass if dt > zero else S[at(HELD, stride, j)]
        S[at(P_R, stride, j)] = max(mass, vapour) if dt > zero else S[at(P_R, stride, j)]
        S[at(CP, stride, j)] = cp
        S[at(BP, stride, j)] = bp

    @jit
    def inner_node(S, U, stride, j, r, c):  # type: ignore[no-untyped-def]
        """A node between two cells; r its first row, c the first row of the cell behind it."""
        cp = S[at(CP, stride, j)]
        bp = S[at(BP, stride, j)]
        b = U[at(c, stride, j)]
        drag = U[at(c + 1, stride, j)]
        area_1 = U[at(c - CELL + 2, stride, j)]
        area_2 = U[at(c + 2, stride, j)]
        cavity = U[at(r + 4, stride, j)]
        # What this node's old state sends on, before it is written over.
        next_cp, next_bp = foot(U[at(r + 1, stride, j)], U[at(r + 3, stride, j)], b, drag)
        cm, bm = foot(U[at(r + NODE, stride, j)], -U[at(r + NODE + 2, stride, j)], b, drag)
        drop = head(U[at(r + 2, stride, j)], area_1, area_2, cavity, S[at(DENSITY, stride, j)])
        p1, p2, u1, u2, cavity = node(
            cp, bp, area_1, cm, bm, area_2, drop, cavity, S[at(VAPOUR, stride, j)], S[at(DT_MAX, stride, j)]
        )
        write(U, r, stride, j, p1, p2, u1, u2, cavity)
        S[at(CP, stride, j)] = next_cp
        S[at(BP, stride, j)] = next_bp

    @jit
    def valve_old(S, U, stride, j, r, c):  # type: ignore[no-untyped-def]
        """Keep what the valve node's old state sends to itself, the start of the interpolation; c is the last cell."""
        cp, bp = foot(U[at(r, stride, j)], U[at(r + 2, stride, j)], U[at(c, stride, j)], zero)
        S[at(CP_OLD, stride, j)] = cp
        S[at(BP_OLD, stride, j)] = bp
        S[at(SHARE, stride, j)] = half * S[at(WIDTH, stride, j)]
        S[at(COUNT, stride, j)] = S[at(STEPS, stride, j)]

    @jit
    def ratio(S, stride, j, lift, area):  # type: ignore[no-untyped-def]
        """Area ratio of valve, and exit of the bowl behind it, at a lift."""
        held = min(max(lift, zero), S[at(X_STOP, stride, j)])
        open_ = flow_area(held, S[at(CURTAIN, stride, j)], S[at(NOZZLE, stride, j)])
        return min(in_series(open_, S[at(EXIT, stride, j)]) / area, most)

    @jit
    def behind_disc(S, stride, j, area, through, rho):  # type: ignore[no-untyped-def]
        """Pressure in the bowl: superimposed, with the loss of its exit where it has one."""
        exit_ = S[at(EXIT, stride, j)]
        u = through * area / exit_ if exit_ > zero else zero
        return S[at(P_BACK, stride, j)] + half * rho * u * abs(u)

    @jit
    def valve_part(S, U, stride, j, r):  # type: ignore[no-untyped-def]
        """One part of the step at the valve: what arrives at its middle, the quadratic, the disc."""
        width = S[at(WIDTH, stride, j)]
        share = S[at(SHARE, stride, j)]
        live = S[at(DT, stride, j)] > zero
        h = width * S[at(DT_MAX, stride, j)]
        rho = S[at(DENSITY, stride, j)]
        area = S[at(AREA_V, stride, j)]
        alpha = ratio(S, stride, j, S[at(X, stride, j)] + half * h * S[at(V, stride, j)], area)
        cp = S[at(CP_OLD, stride, j)] + share * (S[at(CP, stride, j)] - S[at(CP_OLD, stride, j)])
        bp = S[at(BP_OLD, stride, j)] + share * (S[at(BP, stride, j)] - S[at(BP_OLD, stride, j)])
        _, total, _, through, cavity = valve_end(
            cp, bp, area, alpha, S[at(P_BACK, stride, j)], U[at(r + 4, stride, j)], S[at(VAPOUR, stride, j)], rho, h
        )
        U[at(r + 4, stride, j)] = cavity
        S[at(SHARE, stride, j)] = share + width
        S[at(P_STAG, stride, j)] = total if live else S[at(P_STAG, stride, j)]
        S[at(P_B, stride, j)] = behind_disc(S, stride, j, area, through, rho) if live else S[at(P_B, stride, j)]
        S[at(VALVE_MASS, stride, j)] = rho * area * through
        tail(S, stride, j, h if live else zero)

    @jit
    def valve_node(S, U, stride, j, r):  # type: ignore[no-untyped-def]
        """The valve node at the end of the step with the lift reached; a cavity that is open holds the vapour pressure."""
        area = S[at(AREA_V, stride, j)]
        vapour = S[at(VAPOUR, stride, j)]
        cp = S[at(CP, stride, j)]
        bp = S[at(BP, stride, j)]
        cavity = U[at(r + 4, stride, j)]
        alpha = ratio(S, stride, j, S[at(X, stride, j)], area)
        static, _, inside, through, _ = valve_end(
            cp, bp, area, alpha, S[at(P_BACK, stride, j)], zero, vapour, S[at(DENSITY, stride, j)], S[at(DT_MAX, stride, j)]
        )
        static = vapour if cavity > zero else static
        inside = (cp - vapour) / bp if cavity > zero else inside
        write(U, r, stride, j, static, static, inside, through, cavity)
        # The tail counts its calls; a step is one.
        S[at(STEPS, stride, j)] = S[at(COUNT, stride, j)] + (one if S[at(DT, stride, j)] > zero else zero)

    @jit
    def sweep(S, U, cells, stride, base):  # type: ignore[no-untyped-def]
        """Every node but the valve's; what reaches the valve is left in CP and BP."""
        first = CELL * cells
        for l in range(lanes):
            vessel_node(S, U, stride, base + l, first)
        for i in range(1, cells):
            for l in range(lanes):
                inner_node(S, U, stride, base + l, first + NODE * i, CELL * i)
        for l in range(lanes):
            valve_old(S, U, stride, base + l, first + NODE * cells, CELL * (cells - 1))

    @jit
    def step(S, U, cells, parts, stride, base):  # type: ignore[no-untyped-def]
        sweep(S, U, cells, stride, base)
        end = CELL * cells + NODE * cells
        for _ in range(parts):
            for l in range(lanes):
                valve_part(S, U, stride, base + l, end)
        for l in range(lanes):
            valve_node(S, U, stride, base + l, end)

    return SimpleNamespace(step=step, sweep=sweep, valve_end=valve_end)
