"""Money as people read it."""

from __future__ import annotations

import math

NO_BREAK = "\u00a0"


def figure(value: float) -> str:
    """A sum as people read it: three significant digits, thousands apart by a space that does not break."""
    step = 10.0 ** max(0, math.floor(math.log10(abs(value))) - 2) if value else 1.0
    return f"{round(value / step) * step:,.0f}".replace(",", NO_BREAK)


def amount(value: float, currency: str) -> str:
    """A sum with a true minus and its currency."""
    said = figure(value).replace("-", "−")
    return f"{said.removeprefix('−') if said == '−0' else said}{NO_BREAK}{currency}"
