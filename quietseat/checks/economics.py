"""Calculations of money that checks can name: each calls the functions an account of `cost` is made of."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from quietseat.economics.discount import discounted, real_rate
from quietseat.economics.draws import Input, Sampler, joined, normal, quantile
from quietseat.model import Spread

Found = dict[str, Any]
SEED = 20261125


def present_value(rate: float, years: float, yearly: float = 1.0, now: float = 0.0) -> Found:
    """An amount now and the same amount each year, discounted year by year as an account is."""
    return {"value": discounted((now, *([yearly] * round(years))), rate)}


def growing(rate: float, growth: float, years: float) -> Found:
    """Amounts that grow each year, the first of them 1."""
    return {"value": discounted((0.0, *((1.0 + growth) ** year for year in range(round(years)))), rate)}


def constant_prices(rate: float, inflation: float, years: float) -> Found:
    """A nominal rate freed of inflation, and 1 a year in constant prices discounted with it."""
    real = real_rate(rate, inflation)
    return {"rate": real, "value": discounted((0.0, *([1.0] * round(years))), real)}


def triangular(low: float, mid: float, high: float, share: float) -> Found:
    """A percentile of a triangular quantity."""
    return {"value": quantile(Spread(low, mid, high), share)}


def triangular_draws(low: float, mid: float, high: float, draws: float) -> Found:
    """Mean, spread and percentiles of draws of one triangular quantity in a group."""
    import numpy

    sampler = Sampler("check", SEED, round(draws), {"prices": 0.6})
    drawn = sampler.values(Input("one", Spread(low, mid, high), "prices"))
    p10, p50, p90 = (float(value) for value in numpy.percentile(drawn, (10, 50, 90)))
    return {"mean": float(drawn.mean()), "deviation": float(drawn.std()), "p10": p10, "p50": p50, "p90": p90}


def correlated_sum(count: float, correlation: float, draws: float) -> Found:
    """Sum of normal numbers of one group, tied as inputs are."""
    import numpy

    draws = round(draws)
    shared = normal(SEED, draws, "group check")
    total = sum(joined_draws(correlation, shared, normal(SEED, draws, f"check {number}")) for number in range(round(count)))
    p10, p90 = (float(value) for value in numpy.percentile(total, (10, 90)))
    return {"deviation": float(numpy.std(total)), "p10": p10, "p90": p90}


def joined_draws(correlation: float, shared: Any, own: Any) -> Any:
    """The formula of the copula over arrays."""
    import numpy

    return numpy.array([joined(correlation, a, b) for a, b in zip(shared.tolist(), own.tolist())])


def tied_sum(low: float, mid: float, high: float, correlation: float, draws: float) -> Found:
    """Sum of two triangular quantities of one group: percentiles and spread."""
    import numpy

    sampler = Sampler("check", SEED, round(draws), {"prices": correlation})
    spread = Spread(low, mid, high)
    total = sampler.values(Input("one", spread, "prices")) + sampler.values(Input("two", spread, "prices"))
    p10, p90 = (float(value) for value in numpy.percentile(total, (10, 90)))
    return {"mean": float(total.mean()), "deviation": float(total.std()), "p10": p10, "p90": p90}


CALCULATIONS: Mapping[str, Callable[..., Found]] = {
    "present value": present_value, "growing amounts": growing, "constant prices": constant_prices, "triangular": triangular,
    "triangular draws": triangular_draws, "correlated sum": correlated_sum, "tied sum": tied_sum,
}  # fmt: skip
