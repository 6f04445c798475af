"""Money as people read it."""

from __future__ import annotations


def amount(value: float, currency: str) -> str:
    """An amount as people read it: three significant digits."""
    if abs(value) >= 1e6:
        return f"{value / 1e6:.3g} M {currency}"
    return f"{value / 1e3:.3g} k {currency}" if abs(value) >= 1e3 else f"{value:.0f} {currency}"
