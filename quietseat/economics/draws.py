"""Draws of what is uncertain: triangular quantities, tied together inside a group by a Gaussian copula.

An input of a group is u = Phi(sqrt(c) Z + sqrt(1 - c) E): Z is the group's own normal number, the same for every valve of a
fleet, E belongs to the input of this valve, c is the correlation of the group. The same valve, seed and input name give the
same E, whatever remedy asks: present state and remedies are drawn with common random numbers, so that their difference is
that of the remedies and not of the dice.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import erfc, sqrt
from typing import Any

from quietseat.formula import One, compiled, formula
from quietseat.model import Spread
from quietseat.status import CalculationFailed, Status

GROUPS = ("prices", "labour", "leak", "failures", "")  # "" = on its own


@formula("inverse of the triangular distribution function, rising side (closed form)")
def rising(low: One, mid: One, high: One, share: One) -> One:
    """Value of a triangular quantity below its mode at a share of the probability."""
    return low + sqrt(share * (high - low) * (mid - low))


@formula("inverse of the triangular distribution function, falling side (closed form)")
def falling(low: One, mid: One, high: One, share: One) -> One:
    """Value of a triangular quantity above its mode at a share of the probability."""
    return high - sqrt((1 - share) * (high - low) * (high - mid))


@formula("Gaussian one-factor copula: unit variance, correlation c between any two of the group")
def joined(correlation: One, shared: One, own: One) -> One:
    """Normal number of an input from that of its group and its own."""
    return sqrt(correlation) * shared + sqrt(1 - correlation) * own


@formula("closed form")
def triangular_mean(low: One, mid: One, high: One) -> One:
    """Mean of a triangular quantity."""
    return (low + mid + high) / 3


@dataclass(frozen=True, slots=True)
class Input:
    """One uncertain quantity, triangular between low and high with its mode at mid. name: the same name is drawn alike."""

    name: str
    spread: Spread
    group: str = ""
    unit: str = ""
    source: str = ""


def quantile(spread: Spread, share: float) -> float:
    """Value of a triangular quantity at a share of its probability, 0 to 1."""
    low, mid, high = spread.low, spread.mid, spread.high
    if high <= low:
        return low
    below = share * (high - low) <= mid - low
    return rising(low, mid, high, share) if below else falling(low, mid, high, share)


class Sampler:
    """The draws of one valve; every input is drawn once and kept.

    tag: the valve; draws: how many; correlations: by group. Raises CalculationFailed for a correlation outside 0 to 1, no
    draws, or a spread whose low, mid and high do not stand in this order.
    """

    def __init__(self, tag: str, seed: int, draws: int, correlations: Mapping[str, float]) -> None:
        if draws < 1:
            raise CalculationFailed(Status.OUT_OF_RANGE, f"money_draws = {draws}: must be at least 1")
        if wrong := [name for name, value in correlations.items() if not 0.0 <= value <= 1.0]:
            raise CalculationFailed(Status.OUT_OF_RANGE, f"correlation of {wrong[0]}: must lie between 0 and 1")
        self.tag, self.seed, self.draws, self.correlations = tag, seed, draws, correlations
        self._own: dict[str, Any] = {}
        self._kept: dict[tuple[str, Spread, str], Any] = {}

    def values(self, given: Input) -> Any:
        """The draws of one input."""
        key = (given.name, given.spread, given.group)
        found = self._kept.get(key)
        if found is None:
            found = self._kept[key] = self._draw(given)
        return found

    def _draw(self, given: Input) -> Any:
        import numpy

        low, mid, high = given.spread.low, given.spread.mid, given.spread.high
        if not low <= mid <= high:
            raise CalculationFailed(Status.OUT_OF_RANGE, f"{given.name}: low {low:g}, mid {mid:g}, high {high:g} do not rise")
        out = numpy.full(self.draws, low, dtype=float)
        if high > low:
            own = self._own.get(given.name)
            if own is None:
                own = self._own[given.name] = normal(self.seed, self.draws, f"{self.tag}|{given.name}")
            shared = _shared(self.seed, self.draws, given.group) if given.group else own
            sampler()(low, mid, high, self.correlations.get(given.group, 0.0), shared, own, out)
        return out


def normal(seed: int, draws: int, name: str) -> Any:
    """Normal numbers that belong to a seed and a name."""
    import numpy

    key = numpy.random.SeedSequence([seed, zlib.crc32(name.encode())])
    return numpy.random.Generator(numpy.random.SFC64(key)).standard_normal(draws)


@lru_cache(maxsize=32)
def _shared(seed: int, draws: int, group: str) -> Any:
    return normal(seed, draws, f"group {group}")


@lru_cache(maxsize=1)
def sampler() -> Callable[..., None]:
    """The compiled loop: normal numbers to triangular values. Compiled from the formulas above on first use."""
    import numba

    low_side, high_side, tie = compiled(rising), compiled(falling), compiled(joined)
    half = sqrt(0.5)

    def run(low, mid, high, correlation, shared, own, out):  # type: ignore[no-untyped-def]
        edge = (mid - low) / (high - low)
        for i in range(out.shape[0]):
            share = 0.5 * erfc(-half * tie(correlation, shared[i], own[i]))
            out[i] = low_side(low, mid, high, share) if share <= edge else high_side(low, mid, high, share)

    made: Callable[..., None] = numba.njit(run, nogil=True, error_model="numpy")
    return made
