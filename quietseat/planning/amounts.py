"""Money as people read it."""

from __future__ import annotations

import math

NO_BREAK = "\u00a0"


def amount(value: float, currency: str) -> str:
    """An amount as people read it: three significant digits, thousands apart by a space that does not break, as reports print money."""
    step = 10.0 ** max(0, math.floor(math.log10(abs(value))) - 2) if value else 1.0
    figure = f"{round(value / step) * step:,.0f}".replace(",", NO_BREAK).replace("-", "−")
    return f"{figure.removeprefix('−') if figure == '−0' else figure}{NO_BREAK}{currency}"
