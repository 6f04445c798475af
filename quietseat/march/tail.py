"""Everything behind the end of the line in one step of a lane: pilot, disc sub-steps, bonnet, bowl, and what is counted.

Common to gas and liquid lines: the line hands over the mean stagnation pressure before the disc and the flow that passed.
Each function takes the flat array, its stride and the lane's column, and touches only that column.
"""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt
from types import SimpleNamespace
from typing import Any

from quietseat.march import disc, scalar
from quietseat.march import pilot as pilot_part
from quietseat.march.rows import (
    A_BELLOWS,
    A_SEAT,
    A_SLOPE,
    BACK_EN,
    BOUNCE,
    CRITICAL,
    DAMP,
    DOME,
    DRAW,
    DRY,
    EXIT,
    FELT,
    HALF,
    INV_MASS,
    KAPPA,
    MASS_B,
    OPEN,
    OPENINGS,
    P_ATM,
    P_B,
    P_BACK,
    P_BON,
    P_R,
    P_STAG,
    PILOT,
    PRELOAD,
    RECLOSINGS,
    REF_HIGH,
    REF_LOW,
    RELAY,
    REST,
    RGAS,
    RISING,
    SENSE,
    SIDE,
    SINCE,
    SPRING,
    STEPS,
    SWITCHES,
    T_FIRST,
    T_LAST,
    T_RISE,
    T_TOP,
    TAMB,
    TIME,
    UNSIGNED,
    VALVE_EN,
    VALVE_MASS,
    VENT,
    VOL_B,
    VOL_BON,
    W_C0,
    W_C1,
    W_CROSS,
    W_ENERGY,
    W_FLOW,
    W_PMAX,
    W_PMIN,
    W_RINT,
    W_RMAX,
    W_SEAT,
    W_STOP,
    W_XINT,
    W_XMAX,
    W_XMIN,
    X_KNEE,
    X_STOP,
    X_TOP,
    V,
    X,
    index,
)

OPENED, SHUT, TOP, PLATEAU = 0.05, 0.005, 0.95, 0.3
"""Shares of the stop lift: above the first a valve has opened, below the second it has shut; share of the top that counts
as the top; the first maximum above the last ends the opening."""


def build(
    jit: Callable[[Any], Any], real: Callable[[float], Any], *, gas: bool = True, bowl: bool, vent: bool, pilot: bool, outlet: bool = False
) -> SimpleNamespace:
    """`tail(S, stride, j, dt)`: P_STAG, VALVE_MASS (kg/s), VALVE_EN (W) of the lane must be set before. Features are compile-time."""
    zero, half, one, two, four = real(0.0), real(0.5), real(1.0), real(2.0), real(4.0)
    quarter = real(0.25)
    opened, shut, top = real(OPENED), real(SHUT), real(TOP)
    plateau = real(PLATEAU)
    nominal = real(1e-9)
    almost, tiny = real(1.0 - 1e-5), real(1e-30)
    air_n, air_rt = real(1.4), real(287.05)
    moving = disc.build(jit, real)
    maths = scalar.build(jit, real)
    parts = pilot_part.build(jit, real)
    disc_area, move = moving.disc_area, moving.move
    ln, expo = maths.ln, maths.expo
    piston, signal, dome_rt, dome_gas, dome_liquid = parts.piston, parts.signal, parts.dome_rt, parts.dome_gas, parts.dome_liquid
    squeezed, squeezed_liquid = parts.squeezed, parts.squeezed_liquid
    is_gas = gas

    at = index(jit, UNSIGNED)

    @jit
    def exit_flow(p_b, rho_b, gained, stiff, area, p_out, half_k, kappa, critical):  # type: ignore[no-untyped-def]
        """Flow kg/s out of a volume through C A `area` at the end of a step in which its pressure goes to p_b + gained - stiff*flow.

        The nozzle flow^2 is linear in the pressure difference with the gain of the old pressure: a quadratic, never unstable.
        """
        after = p_b + gained - p_out
        out = after >= zero
        high = p_b if out else p_out
        low = p_out if out else p_b
        share = min(low / high, almost)
        ratio = max(share, critical)
        y = expo(ln(ratio) / kappa)
        gain = area * area * rho_b * kappa * y * (y - ratio) / (half_k * (one - share))
        middle = gain * stiff
        flow = two * gain * abs(after) / (middle + sqrt(middle * middle + four * gain * abs(after)) + tiny)
        return flow if out else -flow

    @jit
    def bowl_step(S, stride, j, dt):  # type: ignore[no-untyped-def]
        """Mass and pressure of the bowl after a step: valve flow in, exit orifice (or what the outlet line took) out."""
        half_k = S[at(HALF, stride, j)]
        mass = S[at(MASS_B, stride, j)]
        p_b = S[at(P_B, stride, j)]
        volume = S[at(VOL_B, stride, j)]
        rise = two * half_k * dt / volume
        if outlet:
            flow = S[at(EXIT, stride, j)]  # the outlet line leaves what it took here
            energy = S[at(BACK_EN, stride, j)]
        else:
            kappa = S[at(KAPPA, stride, j)]
            rho = mass / volume
            heat = kappa * p_b / (rho * two * half_k)
            flow = exit_flow(
                p_b, rho, rise * S[at(VALVE_EN, stride, j)], rise * heat, S[at(EXIT, stride, j)], S[at(P_BACK, stride, j)],
                half_k, kappa, S[at(CRITICAL, stride, j)],
            )  # fmt: skip
            ambient = kappa * S[at(RGAS, stride, j)] * S[at(TAMB, stride, j)] / (two * half_k)
            energy = flow * (heat if flow > zero else ambient)
        S[at(MASS_B, stride, j)] = mass + dt * (S[at(VALVE_MASS, stride, j)] - flow)
        S[at(P_B, stride, j)] = p_b + rise * (S[at(VALVE_EN, stride, j)] - energy)

    @jit
    def bonnet_step(p_bon, moved, h, vent_area, volume, area, p_atm):  # type: ignore[no-untyped-def]
        """Bonnet pressure after h in which the disc moved (m, opening): squeezed by the bellows, breathing through the vent."""
        squeeze = half * air_n * area * moved / volume
        pressed = p_bon * (one + squeeze) / (one - squeeze)
        rise = h * air_n * air_rt * real(293.15) / volume
        drop = pressed - p_atm
        gain = vent_area * vent_area * two * max(pressed, p_atm) / (air_rt * real(293.15))
        middle = gain * rise
        flow = two * gain * abs(drop) / (middle + sqrt(middle * middle + four * gain * abs(drop)) + tiny)
        return pressed - rise * (flow if drop > zero else -flow)

    @jit
    def substep(S, stride, j, h, p_v, p_b, sub, sense, dump, warm, vent_open, fill_open):  # type: ignore[no-untyped-def]
        """A quarter of the step: force at the middle, disc, landing, and the volumes it squeezes.

        Written out four times by the caller: a loop in here would be the innermost one and keep the lanes from being one.
        """
        x, v, since, seats, energy, stops, dome, p_bon = sub
        a_seat = S[at(A_SEAT, stride, j)]
        inv_mass = S[at(INV_MASS, stride, j)]
        middle = x + half * h * v
        area = disc_area(middle, a_seat, S[at(A_SLOPE, stride, j)], S[at(X_KNEE, stride, j)])
        if pilot:
            # Half way of the dome's squeeze too: with the old pressure a trapped dome would feed the piston.
            a_dome, full, top_lift = S[at(PILOT, stride, j)], S[at(PILOT + 1, stride, j)], S[at(PILOT + 2, stride, j)]
            if is_gas:
                pressed = squeezed(dome, x, middle, a_dome, full, top_lift, S[at(PILOT + 3, stride, j)])
            else:
                pressed = squeezed_liquid(
                    dome, x, middle, a_dome, full, top_lift, S[at(PILOT + 24, stride, j)], S[at(PILOT + 25, stride, j)]
                )
            force = piston(area, p_v, p_b, pressed, a_seat, a_dome)
        else:
            force = area * (p_v - p_b) + S[at(A_BELLOWS, stride, j)] * (p_b - p_bon) - S[at(PRELOAD, stride, j)]
        force -= S[at(SPRING, stride, j)] * middle
        x_new, v_new, seat, stop = move(
            x, v, h, force, inv_mass, S[at(DAMP, stride, j)], S[at(DRY, stride, j)], S[at(REST, stride, j)], S[at(X_STOP, stride, j)]
        )
        highest = max(since, x_new)
        landed = seat > zero and highest > S[at(BOUNCE, stride, j)]
        if pilot:
            if is_gas:
                dome = dome_gas(
                    dome, x, x_new, h, vent_open, fill_open, sense, dump, warm, S[at(PILOT, stride, j)],
                    S[at(PILOT + 1, stride, j)], S[at(PILOT + 2, stride, j)], S[at(PILOT + 3, stride, j)],
                    S[at(PILOT + 23, stride, j)], S[at(PILOT + 24, stride, j)], S[at(PILOT + 25, stride, j)],
                )  # fmt: skip
            else:
                dome = dome_liquid(
                    dome, x, x_new, h, vent_open, fill_open, sense, dump, S[at(PILOT, stride, j)],
                    S[at(PILOT + 1, stride, j)], S[at(PILOT + 2, stride, j)],
                    S[at(PILOT + 23, stride, j)], S[at(PILOT + 24, stride, j)], S[at(PILOT + 25, stride, j)],
                )  # fmt: skip
        if vent:
            p_bon = bonnet_step(
                p_bon, x_new - x, h, S[at(VENT, stride, j)], S[at(VOL_BON, stride, j)], S[at(A_BELLOWS, stride, j)],
                S[at(P_ATM, stride, j)],
            )  # fmt: skip
        return (
            x_new,
            v_new,
            zero if landed else highest,
            seats + (one if landed else zero),
            energy + (half * seat * seat / inv_mass if landed else zero),
            stops + (one if stop > zero else zero),
            dome,
            p_bon,
        )

    @jit
    def tail(S, stride, j, dt):  # type: ignore[no-untyped-def]
        """The rest of a lane's step: pilot signal, four sub-steps, bowl, counting."""
        x_stop = S[at(X_STOP, stride, j)]
        p_v = S[at(P_STAG, stride, j)]
        p_b = S[at(P_B, stride, j)]
        x_first = S[at(X, stride, j)]
        v_first = S[at(V, stride, j)]
        x, v, since = x_first, v_first, S[at(SINCE, stride, j)]
        p_bon = S[at(P_BON, stride, j)]
        # A finished lane steps by nothing; its sub-step must still divide.
        still = dt <= zero
        h = nominal if still else quarter * dt
        dome = sense = dump = warm = vent_open = fill_open = one
        if pilot:
            dome = S[at(DOME, stride, j)]
            dome_first = dome
            dump = p_b if S[at(PILOT + 21, stride, j)] > half else S[at(PILOT + 22, stride, j)]
            warm = dome_rt(dome, S[at(PILOT + 3, stride, j)], S[at(PILOT + 23, stride, j)], S[at(PILOT + 6, stride, j)]) if is_gas else one
            sense, draw, felt, relay, vent_open, fill_open = signal(
                S[at(SENSE, stride, j)], S[at(DRAW, stride, j)], S[at(FELT, stride, j)], S[at(RELAY, stride, j)], dome, p_v,
                S[at(P_R, stride, j)], dump, dt, warm, is_gas,
                S[at(PILOT + 4, stride, j)], S[at(PILOT + 5, stride, j)], S[at(PILOT + 6, stride, j)], S[at(PILOT + 7, stride, j)], S[at(PILOT + 8, stride, j)], S[at(PILOT + 9, stride, j)],
                S[at(PILOT + 10, stride, j)], S[at(PILOT + 11, stride, j)], S[at(PILOT + 12, stride, j)], S[at(PILOT + 13, stride, j)], S[at(PILOT + 14, stride, j)],
                S[at(PILOT + 15, stride, j)], S[at(PILOT + 16, stride, j)], S[at(PILOT + 17, stride, j)], S[at(PILOT + 18, stride, j)], S[at(PILOT + 19, stride, j)],
                S[at(PILOT + 20, stride, j)], S[at(PILOT + 23, stride, j)], S[at(PILOT + 24, stride, j)], S[at(PILOT + 25, stride, j)],
            )  # fmt: skip
            S[at(SWITCHES, stride, j)] += abs(relay - S[at(RELAY, stride, j)])
            S[at(SENSE, stride, j)] = sense
            S[at(DRAW, stride, j)] = draw
            S[at(FELT, stride, j)] = felt
            S[at(RELAY, stride, j)] = relay
        sub = (x, v, since, zero, zero, zero, dome, p_bon)
        sub = substep(S, stride, j, h, p_v, p_b, sub, sense, dump, warm, vent_open, fill_open)
        sub = substep(S, stride, j, h, p_v, p_b, sub, sense, dump, warm, vent_open, fill_open)
        sub = substep(S, stride, j, h, p_v, p_b, sub, sense, dump, warm, vent_open, fill_open)
        x, v, since, seats, energy, stops, dome, p_bon = substep(
            S, stride, j, h, p_v, p_b, sub, sense, dump, warm, vent_open, fill_open
        )
        if pilot:
            S[at(DOME, stride, j)] = dome_first if still else dome
        if vent:
            S[at(P_BON, stride, j)] = S[at(P_BON, stride, j)] if still else p_bon
        x = x_first if still else x
        v = v_first if still else v
        S[at(X, stride, j)] = x
        S[at(V, stride, j)] = v
        S[at(SINCE, stride, j)] = since
        if bowl:
            bowl_step(S, stride, j, dt)
        # Counting. A still lane adds nothing (dt = 0), its marks stay.
        now = S[at(TIME, stride, j)] + dt
        S[at(TIME, stride, j)] = now
        S[at(STEPS, stride, j)] += zero if still else one
        S[at(W_SEAT, stride, j)] += zero if still else seats
        S[at(W_STOP, stride, j)] += zero if still else stops
        S[at(W_ENERGY, stride, j)] += zero if still else energy
        S[at(W_FLOW, stride, j)] += dt * S[at(VALVE_MASS, stride, j)]
        S[at(W_XINT, stride, j)] += dt * half * (x_first + x)
        S[at(W_XMIN, stride, j)] = min(S[at(W_XMIN, stride, j)], x)
        S[at(W_XMAX, stride, j)] = max(S[at(W_XMAX, stride, j)], x)
        S[at(W_PMIN, stride, j)] = min(S[at(W_PMIN, stride, j)], p_v)
        S[at(W_PMAX, stride, j)] = max(S[at(W_PMAX, stride, j)], p_v)
        S[at(W_RINT, stride, j)] += dt * S[at(P_R, stride, j)]
        S[at(W_RMAX, stride, j)] = max(S[at(W_RMAX, stride, j)], S[at(P_R, stride, j)])
        side = S[at(SIDE, stride, j)]
        goes_up = side < half and x > S[at(REF_HIGH, stride, j)]
        crossed = S[at(W_CROSS, stride, j)]
        S[at(W_C0, stride, j)] = now if goes_up and crossed < half else S[at(W_C0, stride, j)]
        S[at(W_C1, stride, j)] = now if goes_up else S[at(W_C1, stride, j)]
        S[at(W_CROSS, stride, j)] = crossed + (one if goes_up else zero)
        S[at(SIDE, stride, j)] = one if goes_up else (zero if x < S[at(REF_LOW, stride, j)] else side)
        was_open = S[at(OPEN, stride, j)]
        opens = was_open < half and x > opened * x_stop
        if pilot:  # a piston thrown up again as it shuts, its pilot filling the dome, belongs to the shutting
            opens = opens and (relay > half or S[at(PILOT + 10, stride, j)] > half)
        closes = was_open > half and x < shut * x_stop
        openings = S[at(OPENINGS, stride, j)]
        first = opens and openings < half
        S[at(OPEN, stride, j)] = one if opens else (zero if closes else was_open)
        S[at(T_FIRST, stride, j)] = now if first else S[at(T_FIRST, stride, j)]
        S[at(T_LAST, stride, j)] = now if opens else S[at(T_LAST, stride, j)]
        S[at(T_RISE, stride, j)] = now if first else S[at(T_RISE, stride, j)]
        S[at(OPENINGS, stride, j)] = openings + (one if opens else zero)
        S[at(RECLOSINGS, stride, j)] += one if closes else zero
        # The top of the first opening: X_TOP follows the lift in steps of 5 %, so T_TOP is when about 95 % was first there.
        highest = S[at(X_TOP, stride, j)]
        rising = S[at(RISING, stride, j)]
        higher = rising > half and x * top > highest and highest < top * x_stop
        S[at(X_TOP, stride, j)] = x if higher else highest
        S[at(T_TOP, stride, j)] = now if higher else S[at(T_TOP, stride, j)]
        S[at(RISING, stride, j)] = zero if highest > plateau * x_stop and v <= zero else rising

    return SimpleNamespace(tail=tail, exit_flow=exit_flow, bowl_step=bowl_step, bonnet_step=bonnet_step)
