"""Logarithm and exponential out of products only, so that lanes vectorise and every target gives the same power.

A library `pow` is a scalar call: sixteen of them cost more than a whole step of the inlet line. The arguments here are
ratios of pressures, temperatures and sound speeds of one gas, seldom far from one.
"""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any


def build(jit: Callable[[Any], Any], real: Callable[[float], Any]) -> SimpleNamespace:
    """`ln`, `expo`, `power`, wrapped by `jit`, literals typed by `real`."""
    one, two = real(1.0), real(2.0)
    low, high = real(0.2), real(5.0)
    c3, c5, c7, c9, c11, c13, c15, c17, c19, c21, c23, c25 = (real(1.0 / n) for n in range(3, 27, 2))
    most = real(60.0)
    part = real(1.0 / 64.0)
    e2, e3, e4, e5, e6, e7, e8 = (
        real(1.0 / 2.0), real(1.0 / 3.0), real(1.0 / 4.0), real(1.0 / 5.0), real(1.0 / 6.0), real(1.0 / 7.0), real(1.0 / 8.0),
    )  # fmt: skip

    @jit
    def ln(r):  # type: ignore[no-untyped-def]
        """Natural logarithm of a ratio, held within 0.2 and 5; exact at 1, 1e-15 within 0.6 and 1.7."""
        held = min(max(r, low), high)
        z = (held - one) / (held + one)
        q = z * z
        tail = c15 + q * (c17 + q * (c19 + q * (c21 + q * (c23 + q * c25))))
        head = c3 + q * (c5 + q * (c7 + q * (c9 + q * (c11 + q * (c13 + q * tail)))))
        return two * z * (one + q * head)

    @jit
    def expo(y):  # type: ignore[no-untyped-def]
        """exp(y), y held within -60 and 60; 1e-14 relative where |y| < 10."""
        t = min(max(y, -most), most) * part
        e = one + t * (one + e2 * t * (one + e3 * t * (one + e4 * t * (one + e5 * t * (one + e6 * t * (one + e7 * t * (one + e8 * t)))))))
        e = e * e
        e = e * e
        e = e * e
        e = e * e
        e = e * e
        return e * e

    @jit
    def power(r, n):  # type: ignore[no-untyped-def]
        """r**n of a ratio r within 0.2 and 5."""
        return expo(n * ln(r))

    return SimpleNamespace(ln=ln, expo=expo, power=power)
