"""The disc: effective and flow area over the lift, and one sub-step of its motion between seat and stop.

m x'' + k x' + F_f sgn(x') = force(x). Drift, kick, drift (second order, no growth of its own); viscous damping implicit;
Coulomb friction as a shrinking of the speed, which holds the disc still where the force cannot break it away. An impact
is placed by the quadratic of the sub-step, returned with the coefficient of restitution, and ends at rest when slower
than max(1e-3 m/s, 2|F|h/m): with a fixed threshold the disc would buzz on its stop (dynamics review 1.8).
"""

from __future__ import annotations

from collections.abc import Callable
from math import sqrt
from types import SimpleNamespace
from typing import Any


def build(jit: Callable[[Any], Any], real: Callable[[float], Any]) -> SimpleNamespace:
    """`disc_area`, `flow_area`, `move`, wrapped by `jit`, literals typed by `real`."""
    zero, half, one, two = real(0.0), real(0.5), real(1.0), real(2.0)
    slowest = real(1e-3)
    tiny = real(1e-30)

    @jit
    def disc_area(x, a_seat, a_slope, x_knee):  # type: ignore[no-untyped-def]
        """Effective area, m2: seat area at the seat, growing to the knee, flat above."""
        return a_seat + a_slope * min(max(x, zero), x_knee)

    @jit
    def flow_area(x, curtain, nozzle):  # type: ignore[no-untyped-def]
        """Flow area times coefficient, m2: the curtain (per m of lift) or the nozzle, whichever is less."""
        return min(curtain * max(x, zero), nozzle)

    @jit
    def move(x, v, h, force, inv_mass, damping, dry, restitution, x_stop):  # type: ignore[no-untyped-def]
        """(lift, speed, speed of a seat impact, of a stop impact) after h; `force` N opening, taken at x + v h/2.

        `damping` N s/m, `dry` N. An impact slower than the rest threshold counts as none (0).
        """
        free = (v + h * force * inv_mass) / (one + h * damping * inv_mass)
        slowed = max(abs(free) - h * dry * inv_mass, zero)
        v_free = slowed if free > zero else -slowed
        x_free = x + half * h * (v + v_free)
        # Seen from the stop that is hit: distance, speed away from it, acceleration away from it.
        upper = x_free > x_stop
        hit = upper or x_free < zero
        gap = max(x_stop - x if upper else x, zero)
        speed = -v if upper else v
        pull = (v - v_free) if upper else (v_free - v)
        rate = pull / h
        root = sqrt(max(speed * speed - two * rate * gap, zero))
        when = min(two * gap / max(root - speed, tiny), h)
        fast = root
        back = restitution * fast
        least = max(slowest, two * abs(force) * inv_mass * h)
        rests = back < least and rate <= zero
        left = h - when
        away = max(back * left + half * rate * left * left, zero)
        x_hit = zero if rests else away
        v_hit = zero if rests else back + rate * left
        x_new = (x_stop - x_hit if upper else x_hit) if hit else x_free
        v_new = (-v_hit if upper else v_hit) if hit else v_free
        counts = fast if fast > least else zero
        return x_new, v_new, (zero if upper else counts) if hit else zero, (counts if upper else zero) if hit else zero

    return SimpleNamespace(disc_area=disc_area, flow_area=flow_area, move=move)
