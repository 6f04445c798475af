"""What a register's own history says of a life: Bayes on the table.

The shape beta is taken from the table as it stands. Unknown is how many times as fast the valves fail as the table says:
factor = (eta_table / eta)^beta, which multiplies every cumulative hazard. Before any history it has a gamma
distribution of mean 1 whose shape and rate both are the weight: the table row counts as so many failures seen.

What an inspection tells is when a valve was last seen to work and by when it had failed, seldom the day of failure:
- seen to work at an age: exp(-factor x exposure), with the exposure (age / eta_table)^beta. A gamma stays a gamma;
- failed at a known age: factor x exp(-factor x exposure). A gamma stays a gamma;
- found failed at an age, last seen to work at an earlier one (or never): the difference of two such exponentials.
  There is no gamma any more: the distribution is held on a grid of the logarithm of the factor.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

from quietseat.formula import One, Sheet, formula
from quietseat.reliability.weibull import Life, check_time, probability, years
from quietseat.status import CalculationFailed, Status
from quietseat.tables import weakest

GRID = 1201  # points of the logarithm of the factor
DEPTH = 40.0  # the grid ends where the density has fallen by exp(-40)
LOW, HIGH = 0.05, 0.95  # ends of the 90 % interval
_SOLVED = 1e-12


@formula("definition: cumulative Weibull hazard of the table row")
def exposure(age: years, eta: years, beta: One) -> One:
    """Failures which the table expects by an age."""
    return (age / eta) ** beta  # type: ignore[no-any-return]


@formula("conjugate gamma distribution, closed form")
def shape_after(weight: One, failures: One) -> One:
    """Shape after the history: weight of the table and failures seen at their day."""
    return weight + failures


@formula("conjugate gamma distribution, closed form")
def rate_after(weight: One, exposed: One) -> One:
    """Rate after the history: weight of the table and failures the table expects of what was seen."""
    return weight + exposed


@formula("gamma mixture of exponentials, closed form (Lomax distribution)")
def predicted_chance(shape: One, rate: One, exposed: One) -> One:
    """Probability of failure within an exposure, the factor having a gamma distribution."""
    return 1 - (rate / (rate + exposed)) ** shape  # type: ignore[no-any-return]


@formula("moment of order -1/beta of a gamma distribution, closed form")
def mean_eta(eta: years, shape: One, rate: One, beta: One) -> years:
    """Mean characteristic life, the factor having a gamma distribution."""
    return eta * rate ** (1 / beta) * math.gamma(shape - 1 / beta) / math.gamma(shape)  # type: ignore[no-any-return]


@formula("definition of the factor")
def eta_of(eta: years, factor: One, beta: One) -> years:
    """Characteristic life of valves that fail so many times as fast as the table."""
    return eta / factor ** (1 / beta)  # type: ignore[no-any-return]


@dataclass(frozen=True, slots=True)
class Look:
    """What is known of one life of a valve between two overhauls; ages in years since the first of them.

    worked: the oldest age at which it was seen to work (0 = never). failed: the age at which it was found failed, None =
    it was not; equal to worked where the day of the failure is known. assumed: the age rests on the test interval, as no
    earlier date is on record. scale: modifier of this valve's life (its eta over the table's).
    """

    worked: float
    failed: float | None = None
    assumed: bool = False
    scale: float = 1.0


@dataclass(frozen=True)
class Learned:
    """The life of one failure mode after the history: table eta and beta, weight, and what was seen. Years.

    looks: lives with a result. silent: shop visits whose record has no result for this mode; they are not used.
    modifier: of the valve for which probabilities are given (1 = as the table). As a `Risk` it gives probabilities with the
    uncertainty of the life averaged in.
    """

    mode: str
    kind: str
    severity: str
    eta_table: float
    beta: float
    weight: float
    modifier: float
    looks: tuple[Look, ...]
    silent: int = 0
    mark: str = "memory-md"

    def __post_init__(self) -> None:
        if not self.weight >= 1:
            raise CalculationFailed(Status.OUT_OF_RANGE, f"weight of the Weibull table is {self.weight:g}: at least 1 (failure)")
        for look in self.looks:
            check_time(look.worked, "age at which a valve was seen to work")
            if look.failed is not None:
                check_time(look.failed, "age at which a valve was found failed", max(look.worked, 1e-9))

    # -- what was seen --

    @property
    def failures(self) -> int:
        """Lives that ended in a failure."""
        return sum(look.failed is not None for look in self.looks)

    @property
    def assumed(self) -> int:
        """Looks whose age is assumed."""
        return sum(look.assumed for look in self.looks)

    @property
    def expected(self) -> float:
        """Failures the table would have expected by the ages of all looks: compare with `failures`."""
        return sum(probability(self._age(look), look.scale * self.eta_table, self.beta) for look in self.looks)

    def _age(self, look: Look) -> float:
        return look.worked if look.failed is None else look.failed

    @property
    def confidence(self) -> str:
        """Weakest mark: the table's; where ages were assumed, common practice."""
        return weakest([self.mark, "common practice"] if self.assumed else [self.mark])

    @property
    def conjugate(self) -> bool:
        """True where the answer is a gamma distribution in closed form."""
        return not self._windows

    @cached_property
    def _windows(self) -> tuple[float, ...]:
        """Exposure between last seen to work and found failed, of the failures whose day is not known."""
        return tuple(self._exposed(look, look.failed) - self._exposed(look, look.worked)
                     for look in self.looks if look.failed is not None and look.failed > look.worked)  # fmt: skip

    def _exposed(self, look: Look, age: float) -> float:
        return exposure(age, look.scale * self.eta_table, self.beta)

    @property
    def _dated(self) -> int:
        """Failures whose day is known."""
        return sum(look.failed == look.worked for look in self.looks)

    @property
    def _seen(self) -> float:
        """Exposure up to which the valves were seen to work."""
        return sum(self._exposed(look, look.worked) for look in self.looks)

    @cached_property
    def _gamma(self) -> tuple[float, float]:
        """Shape and rate by everything but the windows."""
        return shape_after(self.weight, self._dated), rate_after(self.weight, self._seen)

    @cached_property
    def _grid(self) -> tuple[Any, Any, Any]:
        """Factors, their probabilities, and the quantile of a share."""
        return grid(*self._gamma, self._windows)

    # -- what follows --

    def factor(self, share: float) -> float:
        """Quantile of the factor: valves fail so many times as fast as the table."""
        if self.conjugate:
            from scipy.special import gammaincinv

            shape, rate = self._gamma
            return float(gammaincinv(shape, share)) / rate
        return float(self._grid[2](share))

    def mean_factor(self) -> float:
        """Mean of the factor: 1 before any history."""
        if self.conjugate:
            shape, rate = self._gamma
            return shape / rate
        factors, chances, _ = self._grid
        return float(chances @ factors)

    def eta_at_mean(self) -> float:
        """Characteristic life at the mean factor, with the modifier, years: the table's before any history."""
        return self.modifier * eta_of(self.eta_table, self.mean_factor(), self.beta)

    def eta(self) -> float:
        """Mean of the characteristic life with the modifier, years."""
        if self.conjugate:
            return self.modifier * mean_eta(self.eta_table, *self._gamma, self.beta)
        factors, chances, _ = self._grid
        return self.modifier * float(chances @ (self.eta_table * factors ** (-1 / self.beta)))

    def eta_interval(self) -> tuple[float, float]:
        """90 % interval of the characteristic life with the modifier, years."""
        low, high = (eta_of(self.eta_table, self.factor(share), self.beta) for share in (HIGH, LOW))
        return self.modifier * low, self.modifier * high

    def within(self, time: float) -> float:
        """Probability of failure within a time since overhaul, years, over all lives that agree with the history.

        Raises CalculationFailed for a negative time.
        """
        check_time(time, "time since overhaul")
        exposed = exposure(time, self.modifier * self.eta_table, self.beta)
        if self.conjugate:
            return predicted_chance(*self._gamma, exposed)
        from numpy import expm1

        factors, chances, _ = self._grid
        return float(chances @ -expm1(-factors * exposed))

    def within_interval(self, time: float) -> tuple[float, float]:
        """90 % interval of the probability of failure within a time, years."""
        exposed = exposure(time, self.modifier * self.eta_table, self.beta)
        low, high = (-math.expm1(-self.factor(share) * exposed) for share in (LOW, HIGH))
        return low, high

    def later(self, age: float, further: float) -> float:
        """Probability of failure within a further time of a valve that works at an age, years."""
        works = 1 - self.within(age)
        return 1 - (1 - self.within(age + further)) / works if works > 0 else 1.0

    def life_at(self, share: float) -> Life:
        """The Weibull life at a share between 0 and 1 of the distribution of the factor, short lives last: for draws."""
        eta = self.modifier * eta_of(self.eta_table, self.factor(share), self.beta)
        return Life(self.mode, self.kind, self.severity, eta, self.beta, self.modifier, self.confidence)

    def hidden(self, interval: float) -> float:
        """Mean probability over an interval of finding the valve failed: demand at a random time, failure unseen."""
        return sum(weight * self.within(interval * place) for place, weight in _nodes())

    def reaches(self, chance: float) -> float:
        """Years until the probability of failure reaches a chance below 1."""
        from scipy.optimize import brentq

        high = self.modifier * self.eta_table
        while self.within(high) < chance and high < 1e6:
            high *= 4
        if self.within(high) < chance:
            return math.inf
        return float(brentq(lambda time: self.within(time) - chance, 0.0, high, xtol=1e-9, rtol=_SOLVED))

    def record(self, time: float, sheet: Sheet) -> float:
        """Put the way from history to probability within a time, years, on a sheet; returns the probability."""
        looked = f"{len(self.looks)} looks, {self.failures} failures, {self.assumed} ages assumed"
        sheet.note("looks", f"history of {self.kind} valves, {self.mode}, {self.severity}", looked, "register")
        sheet.given("eta", "life by the table", self.eta_table, "year", f"table api581 ({self.mark})")
        sheet.given("weight", "failures the table counts for", self.weight, "", "Basis: reliability_weight")
        shape = sheet.apply("shape", shape_after, weight=self.weight, failures=self._dated)
        rate = sheet.apply("rate", rate_after, weight=self.weight, exposed=self._seen)
        exposed = sheet.apply("exposure", exposure, age=time, eta=self.modifier * self.eta_table, beta=self.beta)
        if self.conjugate:
            return sheet.apply("P_f", predicted_chance, shape=shape, rate=rate, exposed=exposed)
        words = f"{len(self._windows)} failures between two looks: the gamma times 1 - exp(-factor x window) for each, on a grid"
        sheet.note("grid", "distribution of the factor", words, "Bayes")
        return sheet.given("P_f", "probability of failure, mean over the grid", self.within(time), "", "Bayes, integrated numerically")

    def words(self) -> str:
        """What was seen and what follows, in one sentence."""
        low, high = self.eta_interval()
        out = "no look with a result: the table as it stands"
        if self.looks:
            out = (f"{_counted(self.failures, 'failure')} in {_counted(len(self.looks), 'look')}, the table expects "
                   f"{self.expected:.2g}: fails {self.mean_factor():.2g} times as fast as the table says")  # fmt: skip
        out += f"; life {self.eta_at_mean():.3g} years (90 % {low:.3g} to {high:.3g})"
        out += f", by the table {self.modifier * self.eta_table:.3g}"
        if self.assumed:
            out += f"; {_counted(self.assumed, 'age')} assumed from the test interval"
        if self.silent:
            out += f"; {_counted(self.silent, 'shop visit')} without a result left out"
        return out


@cache
def _nodes() -> tuple[tuple[float, float], ...]:
    """Places between 0 and 1 and weights of Gauss and Legendre: good to 1e-5 of the mean over a Weibull probability."""
    from numpy.polynomial.legendre import leggauss

    return tuple(((1 + float(x)) / 2, float(w) / 2) for x, w in zip(*leggauss(12)))


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def grid(shape: float, rate: float, windows: Sequence[float]) -> tuple[Any, Any, Any]:
    """Distribution of the factor on a grid: factors and the probability of each (numpy arrays), and the quantile of a share.

    shape, rate: of the gamma part. windows: exposures of the failures whose day is not known, each a factor
    1 - exp(-factor x window). The density of the logarithm is log-concave, so that it has one top, found between
    bounds, and falls at least as fast as that of the gamma part; the grid ends where it has fallen by exp(-40).
    Source: Bayes; trapezoidal rule; Simpson's rule for the quantiles.
    """
    import numpy as np
    from scipy.integrate import cumulative_simpson
    from scipy.interpolate import PchipInterpolator
    from scipy.optimize import brentq

    w = np.asarray(windows, dtype=float)

    def slope(x: float) -> float:
        y = w * math.exp(x)
        with np.errstate(over="ignore"):
            rising = np.where(y > 1e-12, y / np.expm1(np.maximum(y, 1e-12)), 1.0)
        return shape - rate * math.exp(x) + float(rising.sum())

    low, high = math.log(shape / rate), math.log((shape + len(w)) / rate)
    top = brentq(slope, low - 1e-9, high + 1e-9) if len(w) else low
    ends = top - DEPTH / shape - math.sqrt(2 * DEPTH / shape), top + math.sqrt(2 * DEPTH / shape)
    for _ in range(3):  # many failures make a sharp top: look again where the density is
        x = np.linspace(*ends, GRID)
        factors = np.exp(x)
        log_density = shape * x - rate * factors
        for window in w:
            log_density = log_density + np.log(-np.expm1(-factors * window))
        dense = np.flatnonzero(log_density > log_density.max() - DEPTH)
        ends = x[max(dense[0] - 1, 0)], x[min(dense[-1] + 1, GRID - 1)]
    density = np.exp(log_density - log_density.max())
    up_to = cumulative_simpson(density, x=x, initial=0.0)
    rising = (up_to > 1e-6 * up_to[-1]) & (up_to < (1 - 1e-6) * up_to[-1])
    quantile = PchipInterpolator(up_to[rising] / up_to[-1], x[rising])
    return factors, density / density.sum(), lambda share: math.exp(quantile(share))
