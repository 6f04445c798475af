"""The nouns of a plan over several windows of work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

from quietseat.model import Spread

ZERO = Spread(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Window:
    """One window of work. outage: days the plant is down. crew: crew hours. None: not limited.

    crew_outside: hours for work that needs no outage; where None that work counts on `crew` too. hours_per_day: hours one
    job is worked a day. budget: money of this window alone. delay: years from now to its start (0 without a date).
    """

    name: str
    start: date | None
    outage: float
    crew: float
    hours_per_day: float
    budget: float | None = None
    crew_outside: float | None = None
    delay: float = 0.0


@dataclass(frozen=True, slots=True)
class Terms:
    """Windows and money of a plan. budget: all windows together. years: budgets by calendar year. act_finding: what curing
    one finding of severity act is worth a year, money. now: the day lead times and delays count from.
    """

    windows: tuple[Window, ...]
    budget: float | None
    years: Mapping[int, float] = field(default_factory=dict)
    act_finding: float = 0.0
    now: date | None = None
    rates: Mapping[str, float] = field(default_factory=dict)  # exchange rates used, study's currency for "1 EUR"


@dataclass(frozen=True, slots=True)
class Option:
    """One remedy that clears every finding of its valve.

    spend: money now. running: what is saved over the horizon by part (before, after), present value. extra: stated worth
    (operating range, findings), present value. hours in the outage and outside. lead: days, low mid high.
    saved: if the study has the distribution of the saving, its P10, P50 and P90 in place of `running`.
    """

    remedy: str
    title: str
    clears: str
    condition: str
    spend: Spread
    running: tuple[tuple[Spread, Spread], ...]
    extra: float
    outage_hours: float
    other_hours: float
    lead: Spread = ZERO
    saved: Spread | None = None
    recommended: bool = False

    @property
    def hours(self) -> float:
        """All crew hours."""
        return self.outage_hours + self.other_hours


@dataclass(frozen=True, slots=True)
class Item:
    """One valve of the plan: its stop and act findings and the remedies that clear them."""

    tag: str
    stops: int
    acts: int
    codes: tuple[str, ...]  # of the stop findings first
    options: tuple[Option, ...] = ()
    reason: str = ""  # why there is no option
    meanwhile: str = ""  # operate lower, in the words of the study

    @property
    def severity(self) -> str:
        """Of its worst failing finding."""
        return "stop" if self.stops else "act" if self.acts else "note"


def to_plain(item: Item) -> dict[str, Any]:
    """An item as plain data."""
    return asdict(item)


def from_plain(raw: Mapping[str, Any]) -> Item:
    """An item from the plain data `to_plain` made of it."""
    options = tuple(_option(one) for one in raw["options"])
    return Item(raw["tag"], raw["stops"], raw["acts"], tuple(raw["codes"]), options, raw["reason"], raw["meanwhile"])


def _option(raw: Mapping[str, Any]) -> Option:
    running = tuple((Spread(**before), Spread(**after)) for before, after in raw["running"])
    spreads = {name: Spread(**raw[name]) if raw[name] else None for name in ("spend", "lead", "saved")}
    return Option(**{**raw, **spreads, "running": running})
