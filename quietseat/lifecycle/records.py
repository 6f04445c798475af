"""What the life of one valve costs, part by part and year by year. Money in the Basis's currency, prices of its cost year."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import fsum

from quietseat.economics.draws import Input
from quietseat.model import Spread

# Every part there is, in the order of the account, with its title. Earnings are negative.
PARTS: Mapping[str, str] = {
    "capital": "new valve and parts bought with it",
    "engineering": "engineering and documents",
    "fit-work": "fit work, by task and hours",
    "outage": "deferred margin of outage hours beyond the planned window",
    "upkeep": "scheduled test, service and refit",
    "spares": "soft goods, discs, nozzles",
    "bellows": "bellows renewed",
    "lapping": "seats lapped between services",
    "failures": "unplanned removal and repair",
    "failed-demands": "demands on which the valve does not open",
    "uncured": "leaving findings of severity stop as they are",
    "survey": "leak survey labour",
    "product": "product leaked",
    "carbon": "carbon price on leakage",
    "releases": "product and carbon released in lifts",
    "operating": "value of operating closer to set",
    "residual": "residual value at the end of the horizon",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One thing in a part: each year's weight times the product of its inputs. Earnings have negative weights."""

    part: str
    title: str
    weights: tuple[float, ...]  # money per unit of the inputs, years 0 (now) to the horizon
    inputs: tuple[Input, ...]
    worth: float  # present value of the weights
    source: str = ""
    hours: bool = False  # the first input is hours of a crew
    present: bool = False  # of the valve as it is

    def amount(self) -> float:
        """Product of the inputs, each at its middle."""
        out = 1.0
        for one in self.inputs:
            out *= one.spread.mid
        return out


@dataclass(frozen=True, slots=True)
class Band:
    """Low, mid and high with every input at its own; mean and percentiles of the draws (None: not drawn)."""

    low: float
    mid: float
    high: float
    mean: float | None = None
    p10: float | None = None
    p50: float | None = None
    p90: float | None = None


@dataclass(frozen=True, slots=True)
class Drawn:
    """The middle of a difference, and mean and percentiles of its draws."""

    mid: float
    mean: float
    p10: float
    p50: float
    p90: float


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the account. yearly: middle amounts of the years 0 to the horizon, to the cent."""

    name: str
    title: str
    yearly: tuple[float, ...]
    present_value: Band
    lines: tuple[Line, ...]
    source: str
    why_nothing: str = ""


@dataclass(frozen=True, slots=True)
class LifeCycle:
    """The account of one state of a valve: as it is, or with one remedy."""

    name: str
    title: str
    parts: tuple[Part, ...]
    total: Band
    rate: float  # real discount rate
    notes: tuple[str, ...] = ()  # what was taken, and what is not counted, in words

    @property
    def yearly(self) -> tuple[float, ...]:
        """Sum of the parts of each year."""
        return tuple(money(*column) for column in zip(*(part.yearly for part in self.parts)))


@dataclass(frozen=True, slots=True)
class Swing:
    """What one input alone does to the npv: at its 10 % and its 90 % value, all others at their middle."""

    name: str
    unit: str
    low_input: float
    high_input: float
    npv_at_low: float
    npv_at_high: float

    @property
    def swing(self) -> float:
        """Width of the bar."""
        return abs(self.npv_at_high - self.npv_at_low)


@dataclass(frozen=True, slots=True)
class Comparison:
    """A remedy against keeping the valve as it is. npv above zero: the remedy pays."""

    keep: LifeCycle
    remedy: LifeCycle
    npv: Drawn
    probability_pays: float
    break_even_leak: float | None  # kg/s of the present valve at which npv is zero
    break_even_leak_words: str
    break_even_gain: float | None  # money a year of operating value at which npv is zero
    break_even_gain_pressure: float | None  # the same as a rise of the operating pressure, Pa
    break_even_gain_words: str
    tornado: tuple[Swing, ...]
    draws: int
    seed: int


def money(*amounts: float) -> float:
    """Sum of amounts of whole cents, without what binary numbers add to it."""
    return round(fsum(amounts), 2) + 0.0


def together(bands: Iterable[Band]) -> Spread:
    """Low, middle and high of parts taken together, to the cent."""
    every = tuple(bands)
    return Spread(*(money(*(getattr(band, end) for band in every)) for end in ("low", "mid", "high")))


def flat(value: float) -> Spread:
    """A quantity that is known."""
    return Spread(value, value, value)
