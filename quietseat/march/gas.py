"""Gas in a line of slowly changing bore: cells, fluxes and ends, as scalar functions for every target.

MUSCL-Hancock (van Leer limiter on density, velocity, pressure), HLLC fluxes, ends by characteristics. Friction
u <- u/(1 + dt f|u|/(2D)) keeps the total energy; a change of bore enters as p dA/dx, balanced at rest.
Symbols: b = (k-1)/2. The right-going invariant is J+ = u + a/b, the left-going one J- = u - a/b.
Source: one-dimensional Euler equations; van Leer 1979, Toro (HLLC); ends derived from the characteristics (computed).
"""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt
from types import SimpleNamespace
from typing import Any

from quietseat.march import scalar


def build(jit: Callable[[Any], Any], real: Callable[[float], Any]) -> SimpleNamespace:
    """`slope`, `faces`, `faces_stepped`, `hllc`, `update`, `vessel_end`, `valve_end`, `open_end`, wrapped by `jit`."""
    zero, half, one, two = real(0.0), real(0.5), real(1.0), real(2.0)
    eighth = real(0.125)
    tiny = real(1e-30)
    steepest = real(0.8)  # of an extrapolated end cell: keeps density and pressure positive
    almost = real(1.0 - 1e-6)
    maths = scalar.build(jit, real)
    ln, expo, power = maths.ln, maths.expo, maths.power

    @jit
    def slope(left, right):  # type: ignore[no-untyped-def]
        """van Leer's harmonic mean of two differences, 0 where they disagree."""
        product = left * right
        total = left + right
        safe = total if product > zero else one
        return two * product / safe if product > zero else zero

    @jit
    def end_slope(step, value):  # type: ignore[no-untyped-def]
        """One-sided difference of an end cell, held so that its faces stay positive."""
        most = steepest * value
        return min(max(step, -most), most)

    @jit
    def faces(rho, u, p, d_rho, d_u, d_p, part, kappa):  # type: ignore[no-untyped-def]
        """Left and right face states of a cell half a step on; part = dt/(2 dx)."""
        rho_h = rho - part * (u * d_rho + rho * d_u)
        u_h = u - part * (u * d_u + d_p / rho)
        p_h = p - part * (u * d_p + kappa * p * d_u)
        d_rho *= half
        d_u *= half
        d_p *= half
        return rho_h - d_rho, u_h - d_u, p_h - d_p, rho_h + d_rho, u_h + d_u, p_h + d_p

    @jit
    def totals(rho, u, p, area, kappa):  # type: ignore[no-untyped-def]
        """Mass flow and stagnation density and pressure of a state: what a steady flow keeps through a change of bore.

        Powers of the Mach number to the fourth: 1e-5 at Mach 0.3.
        """
        m = min(rho * u * u / (kappa * p), one)
        half_m = half * m
        square = eighth * m * m
        return rho * u * area, rho * (one + half_m + (two - kappa) * square), p * (one + kappa * half_m + kappa * square)

    @jit
    def steady(flow, rho0, p0, m0, area, kappa):  # type: ignore[no-untyped-def]
        """Density, velocity, pressure of a mass flow at stagnation density and pressure through an area; m0: a guess of Mach^2."""
        rho = rho0 * (one - half * m0)
        u = flow / (rho * area)
        m = min(rho * u * u / (kappa * p0 * (one - kappa * half * m0)), one)
        rho = rho0 * (one - half * m + kappa * eighth * m * m)
        u = flow / (rho * area)
        m = min(rho * u * u / (kappa * p0 * (one - kappa * half * m)), one)
        rho = rho0 * (one - half * m + kappa * eighth * m * m)
        p = p0 * (one - kappa * half * m + kappa * (two * kappa - one) * eighth * m * m)
        return rho, flow / (rho * area), p

    @jit
    def faces_stepped(rho, u, p, d_flow, d_rho0, d_p0, a_l, a_r, part, kappa):  # type: ignore[no-untyped-def]
        """As `faces`, in a cell whose bore changes: reconstructed in what a steady flow keeps; part = dt/(2 dx).

        The last value is the force of the flanks, that is the change of (p + rho u^2) A along the steady flow of the cell:
        a steady flow through a reducer then needs no loss to be one, and rest stays rest.
        """
        area = half * (a_l + a_r)
        m = min(rho * u * u / (kappa * p), one)
        flow, rho0, p0 = totals(rho, u, p, area, kappa)
        o_rho, o_u, o_p = steady(flow, rho0, p0, m, area, kappa)
        l_rho, l_u, l_p = steady(flow - half * d_flow, rho0 - half * d_rho0, p0 - half * d_p0, m, a_l, kappa)
        r_rho, r_u, r_p = steady(flow + half * d_flow, rho0 + half * d_rho0, p0 + half * d_p0, m, a_r, kappa)
        c_rho, c_u, c_p = steady(flow, rho0, p0, m, a_l, kappa)
        e_rho, e_u, e_p = steady(flow, rho0, p0, m, a_r, kappa)
        # What the series leave out, so that a cell without gradients has its own state on both faces.
        o_rho, o_u, o_p = rho - o_rho, u - o_u, p - o_p
        d_rho = r_rho - l_rho
        a2 = kappa * p / rho
        gain = d_flow / area
        rho_t = -part * gain
        u_t = -part * (u * (r_u - l_u) + (r_p - l_p) / rho)
        p_t = -part * (u * (r_p - l_p) + a2 * (gain - u * d_rho))
        flank = (e_p + e_rho * e_u * e_u) * a_r - (c_p + c_rho * c_u * c_u) * a_l + p_t * (a_r - a_l)
        rho_t += o_rho
        u_t += o_u
        p_t += o_p
        return l_rho + rho_t, l_u + u_t, l_p + p_t, r_rho + rho_t, r_u + u_t, r_p + p_t, flank

    @jit
    def hllc(rho_l, u_l, p_l, rho_r, u_r, p_r, kappa, half_k):  # type: ignore[no-untyped-def]
        """Flux of mass, momentum, energy between two states, and the fastest wave."""
        a_l = sqrt(kappa * p_l / rho_l)
        a_r = sqrt(kappa * p_r / rho_r)
        s_l = min(u_l - a_l, u_r - a_r)
        s_r = max(u_l + a_l, u_r + a_r)
        w_l = rho_l * (s_l - u_l)
        w_r = rho_r * (s_r - u_r)
        s_m = (p_r - p_l + w_l * u_l - w_r * u_r) / (w_l - w_r)
        left = s_m >= zero
        rho = rho_l if left else rho_r
        u = u_l if left else u_r
        p = p_l if left else p_r
        w = w_l if left else w_r
        s = s_l if left else s_r
        wave = min(s_l, zero) if left else max(s_r, zero)
        energy = p / (two * half_k) + half * rho * u * u
        mass = rho * u
        p_m = p + w * (s_m - u)
        inverse = one / (s - s_m)
        rho_m = w * inverse
        energy_m = ((s - u) * energy - p * u + p_m * s_m) * inverse
        return (
            mass + wave * (rho_m - rho),
            mass * u + p + wave * (rho_m * s_m - mass),
            u * (energy + p) + wave * (energy_m - energy),
            max(s_r, -s_l),
        )

    @jit
    def update(rho, u, p, in_mass, in_mom, in_en, out_mass, out_mom, out_en, part, drag, half_k):  # type: ignore[no-untyped-def]
        """A cell after one step: part = dt/dx, drag = dt f/(2D)."""
        mass = rho * u
        energy = p / (two * half_k) + half * mass * u
        rho_n = rho + part * (in_mass - out_mass)
        mass_n = mass + part * (in_mom - out_mom)
        energy_n = energy + part * (in_en - out_en)
        u_n = mass_n / (rho_n + drag * abs(mass_n))
        return rho_n, u_n, two * half_k * (energy_n - half * rho_n * u_n * u_n)

    @jit
    def vessel_end(rho, u, p, p_res, a_res, half_k, kappa, kb):  # type: ignore[no-untyped-def]
        """State at a line's left end on a reservoir (pressure, sound speed): isentropic inflow, or outflow at its pressure."""
        a = sqrt(kappa * p / rho)
        back = u - a / half_k
        inward = back + a_res / half_k > zero
        both = one + one / half_k
        a_in = (sqrt(max(both * a_res * a_res - half_k * back * back, zero)) - back) / both
        base = a_in / a_res if inward else p_res / p
        grown = power(base, kb if inward else one / kb)
        a_end = a_in if inward else a * grown
        p_end = p_res * grown if inward else p_res
        u_end = back + a_end / half_k
        u_end = min(u_end, a_end) if inward else min(u_end, zero)
        return kappa * p_end / (a_end * a_end), u_end, p_end, a_end

    @jit
    def open_end(rho, u, p, p_out, half_k, kappa, kb):  # type: ignore[no-untyped-def]
        """State at a line's right end open to a pressure: subsonic at that pressure, or sonic."""
        a = sqrt(kappa * p / rho)
        forth = u + a / half_k
        a_sub = a * power(p_out / p, one / kb)
        u_sub = forth - a_sub / half_k
        sonic = u_sub > a_sub
        a_end = half_k * forth / (one + half_k) if sonic else a_sub
        u_end = a_end if sonic else u_sub
        p_end = p * power(a_end / a, kb) if sonic else p_out
        return kappa * p_end / (a_end * a_end), u_end, p_end, a_end

    @jit
    def mach_step(mach, alpha, p_rest, p_back, half_k, kappa, kb, choke, critical):  # type: ignore[no-untyped-def]
        """One Newton step for the Mach number before a nozzle of area ratio alpha; p_rest: pressure if it were shut."""
        grow = one + half_k * mach * mach
        lift = one + half_k * mach
        log_grow = ln(grow)
        flow = expo(-two * choke * log_grow)  # (mach-number flow function)^2 / mach^2
        p_stag = p_rest * expo(kb * (half * log_grow - ln(lift)))
        ratio = min(max(p_back / p_stag, critical), one)
        y = expo(ln(ratio) / kappa)
        psi2 = y * (y - ratio) / half_k
        d_psi2 = (two * y * y / ratio - (kappa + one) * y) / (half_k * kappa)
        d_psi2 = d_psi2 if p_back > critical * p_stag else zero
        d_ratio = ratio * kappa * (one - mach) / (grow * lift)
        area2 = alpha * alpha
        value = mach * mach * flow - area2 * psi2
        gradient = two * mach * flow * (one - (kappa + one) * half * mach * mach / grow) - area2 * d_psi2 * d_ratio
        return min(max(mach - value / max(gradient, tiny), zero), one)

    @jit
    def valve_end(rho, u, p, alpha, p_back, rho_back, mach_before, half_k, kappa, kb, choke, entry, critical):  # type: ignore[no-untyped-def]
        """Right end with a nozzle of area ratio alpha into p_back: Mach, flux of mass, momentum, energy, stagnation pressure.

        Choked or not; where p_back exceeds the shut-end pressure gas comes back through the nozzle.
        """
        a = sqrt(kappa * p / rho)
        forth = u + a / half_k
        a_rest = half_k * forth
        p_rest = p * power(a_rest / a, kb)
        forward = p_rest > p_back
        guess = alpha * entry
        top = guess * (one + choke * half_k * guess * guess * (one + two * choke * half_k * guess * guess))
        top = min(top, one)
        mach = min(max(mach_before, half * half * top), top)
        # Two steps: the error of the last step's Mach number is squared by each.
        mach = mach_step(mach, alpha, p_rest, p_back, half_k, kappa, kb, choke, critical)
        mach = mach_step(mach, alpha, p_rest, p_back, half_k, kappa, kb, choke, critical)
        mach = mach if forward and alpha > zero else zero
        lift = one + half_k * mach
        grow = one + half_k * mach * mach
        log_lift = ln(lift)
        a_end = a_rest / lift
        p_end = p_rest * expo(-kb * log_lift)
        p_stag = p_rest * expo(kb * (half * ln(grow) - log_lift))
        u_end = mach * a_end
        mass = kappa * p_end / (a_end * a_end) * u_end
        momentum = mass * u_end + p_end
        energy = mass * (a_end * a_end / (two * half_k) + half * u_end * u_end)
        # Back through the nozzle: flow^2 = gain (p_back - p), p = p_rest + a flow, a quadratic for the flow.
        ratio = min(max(p_rest / p_back, critical), almost)
        y = expo(ln(ratio) / kappa)
        a2_back = kappa * p_back / rho_back
        part = one - min(p_rest / p_back, almost)
        gain = alpha * alpha * p_back * kappa * kappa / a2_back * y * (y - ratio) / (half_k * part)
        drop = max(p_back - p_rest, zero)
        middle = gain * a_rest
        returned = two * gain * drop / (middle + sqrt(middle * middle + two * two * gain * drop) + tiny)
        p_returned = p_rest + a_rest * returned
        mass = mass if forward else -returned
        momentum = momentum if forward else p_returned + returned * returned * a2_back / (kappa * p_returned)
        energy = energy if forward else -returned * a2_back / (two * half_k)
        p_stag = p_stag if forward else p_returned
        p_end = p_end if forward else p_returned
        return mach, mass, momentum, energy, p_stag, p_end

    return SimpleNamespace(
        slope=slope, end_slope=end_slope, faces=faces, faces_stepped=faces_stepped, totals=totals, steady=steady, hllc=hllc, update=update, vessel_end=vessel_end, open_end=open_end,
        valve_end=valve_end, mach_step=mach_step, ln=ln, expo=expo, power=power,
    )  # fmt: skip
