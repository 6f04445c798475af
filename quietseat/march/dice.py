"""The dice: a Latin hypercube with a column for every unknown, and the laws its values follow."""

from __future__ import annotations

from functools import lru_cache
from math import log

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from quietseat.dynamics.parameters import Estimate

Array = NDArray[np.float64]

# Every unknown has its own column of the hypercube, whether a valve draws it or not.
COLUMNS = (
    "seat_area_factor", "lift_factor", "mass", "bellows_mass", "spring_ratio", "bellows_rate", "blowdown", "knee",
    "curtain", "nozzle", "damping", "friction", "restitution", "bellows_area", "bowl", "vessel", "length", "loss",
    "sound_speed", "dome_area_ratio", "dome_volume", "vent_area", "fill_ratio", "pilot_blowdown", "band", "null_zone",
    "sense_bore", "sense_volume", "lag", "seal_friction", "seal_damping", "area_rise",
)  # fmt: skip
_AT = {name: index for index, name in enumerate(COLUMNS)}



@lru_cache(maxsize=64)
def hypercube(count: int, seed: int) -> Array:
    """Latin hypercube, (count, columns); the same for every valve of a study."""
    return np.asarray(qmc.LatinHypercube(d=len(COLUMNS), seed=seed).random(count), dtype=np.float64)


def triangular(unit: Array, span: Estimate) -> Array:
    """Quantile of a triangular law with its mode at the middle value."""
    low, mid, high = span.low, span.mid, span.high
    if high <= low:
        return np.full_like(unit, mid)
    cut = (mid - low) / (high - low)
    rising = low + np.sqrt(unit * (high - low) * (mid - low))
    falling = high - np.sqrt((1 - unit) * (high - low) * (high - mid))
    return np.where(unit < cut, rising, falling)


def uniform(unit: Array, span: Estimate) -> Array:
    """Quantile of a uniform law."""
    return span.low + unit * (span.high - span.low)


def log_uniform(unit: Array, span: Estimate) -> Array:
    """Quantile of a law uniform in the logarithm."""
    return np.asarray(span.low * (span.high / span.low) ** unit)


def lognormal(unit: Array, span: Estimate) -> Array:
    """Quantile of a lognormal law whose 95 % range is low to high."""
    return np.asarray(span.mid * np.exp(ndtri(np.clip(unit, 1e-6, 1 - 1e-6)) * log(span.high / span.low) / (2 * 1.96)))


LAWS = {"triangular": triangular, "uniform": uniform, "log-uniform": log_uniform, "lognormal": lognormal}


class Dice:
    """Hands out one unknown after the other and remembers which were drawn."""

    def __init__(self, rows: Array | None) -> None:
        self.rows = rows
        self.count = 1 if rows is None else len(rows)
        self.unit: dict[str, Array] = {}

    def fixed(self, value: float) -> Array:
        """A stated value, the same in every draw."""
        return np.full(self.count, float(value))

    def draw(self, column: str, words: str, law: str, span: Estimate) -> Array:
        """The unknown of a column by its law; the middle value where nothing is to be drawn."""
        if self.rows is None or span.high <= span.low:
            return self.fixed(span.mid)
        unit = self.rows[:, _AT[column]]
        self.unit[words] = unit
        return LAWS[law](unit, span)

    def either(self, stated: float | None, column: str, words: str, law: str, span: Estimate) -> Array:
        """Stated wins, else drawn."""
        return self.fixed(stated) if stated is not None else self.draw(column, words, law, span)
