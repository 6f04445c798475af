"""What a remedy done now or later is worth: net present value, in the money of today."""

from __future__ import annotations

from quietseat.economics import annuity
from quietseat.formula import Money, One, formula

__all__ = ["factor", "kept_share", "net_worth", "spent", "yearly_misfit", "yearly_range"]


@formula("definition: annuity of the horizon without that of the delay, over the annuity of the horizon")
def kept_share(whole: One, missed: One) -> One:
    """Share of a saving over the horizon that is left when the work waits."""
    return (whole - missed) / whole


@formula("definition")
def net_worth(saved: Money, kept: One, spent: Money, discount: One) -> Money:
    """Net present value of a remedy in a window: what is left of its saving, less the money spent, discounted."""
    return saved * kept - spent * discount


@formula("definition")
def yearly_range(ratio: One, limit: One, value: Money) -> Money:
    """Yearly value of the operating range above the old valve's limit: percents of set times a stated price."""
    return (ratio - limit) * 100 * value


@formula("definition")
def yearly_misfit(count: One, value: Money) -> Money:
    """Yearly cost of leaving findings uncured."""
    return count * value


@formula("definition")
def spent(capital: Money, work: Money) -> Money:
    """Money spent now: capital and work."""
    return capital + work


def factor(rate: float, years: float) -> float:
    """Present value of 1 a year over the years; at a rate of nothing the years themselves."""
    return annuity(rate, years) if abs(rate) >= 1e-9 else years
