"""What a report on the leakage of one valve holds. SI; yearly figures are kg over 8760 h."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from quietseat.emissions import Leak, LeakFacts, LiftMass, Part, Route, Split
from quietseat.model import Assumption, Problem, Spread, Status, Step

ZERO = Spread(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Since:
    """A leak counted from the last clean survey until it was found, or until today."""

    start: date
    end: date
    hours: float
    product: Spread  # kg lost in that time
    co2e: Spread  # kg


@dataclass(frozen=True, slots=True)
class LeakReport:
    """Leakage of one valve on every basis, the one that applies, and what it comes to."""

    status: Status
    reason: str
    route: Route
    discharge_to: str
    facts: LeakFacts
    leaks: tuple[Leak, ...]
    chosen: Leak | None  # the basis that applies
    split: Split | None = None
    parts: tuple[Part, ...] = ()  # beside the shut seat
    product: Spread = ZERO  # kg a year lost: seat and parts
    co2e: Spread = ZERO  # kg CO2 equivalent a year of the basis that applies
    co2e_parts: Spread = ZERO  # kg CO2 equivalent a year of the parts
    methane: Spread = ZERO  # kg methane a year that reach the air: seat and parts
    charge: Spread = ZERO  # money a year by the rule pack
    residual: Spread | None = None  # kg/s a pilot in its place would still leak
    credit: Spread | None = None  # share of the leak a pilot would take away, never 1
    since: Since | None = None
    lift: LiftMass | None = None  # mass of one lift, whether the history tells of lifts or not; None: cannot be had
    notes: tuple[str, ...] = ()  # what a reader has to know beside the figures
    rules: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    steps: tuple[Step, ...] = ()
