"""Work orders in free text: what each was about, and what such work has cost this site.

Classes and words are data (tables worklog_classes, worklog_words). The words found are kept as the evidence; a text in which
nothing is found stays unknown and is counted. Hours and costs are the register's own, each with the rows it rests on.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from statistics import median

from quietseat.formula import One, formula
from quietseat.model import Event, Location, Spread
from quietseat.register.words import denied
from quietseat.reliability.intervals import PerYear
from quietseat.reliability.observed import when
from quietseat.reliability.weibull import years
from quietseat.tables import table

UNKNOWN = "unknown"
# What the register's own columns leave as events: counts, dates and readings, not work orders.
COLUMNS = frozenset({"as found", "ppm", "lifts", "overhauls", "bellows replaced", "repair cost", "last test", "next due", "interval"})
WORK = ("stuck", "overhaul", "bellows", "chatter", "pop")  # events that are work without any words
LEAST_YEARS = 1.0  # of record; a shorter one gives no rate
_HOURS = re.compile(r"(?<!at )(?<![\d.,:])(?:(\d+)\s*x\s*)?(\d+(?:[.,]\d+)?)\s*(?:man|crew)?[ -]?(?:hours|hour|hrs|hr|h|mh)\b")


@formula("definition")
def yearly_rate(orders: One, valves: One, record: years) -> PerYear:
    """Work orders per valve and year of record."""
    return orders / (valves * record)


@dataclass(frozen=True, slots=True)
class Classified:
    """What one text is about. kind: a class, or unknown; matched: (words, class) in the order of the text."""

    kind: str
    matched: tuple[tuple[str, str], ...] = ()

    @property
    def words(self) -> str:
        """The evidence: 'leak: "passing"; overhaul: "lapped&set"'."""
        return "; ".join(f'{kind}: "{words}"' for words, kind in self.matched) or "no known word"


@dataclass(frozen=True, slots=True)
class Order:
    """One work order of one valve. evidence: the words, or the heading, that gave its kind. cost and hours where stated."""

    tag: str
    kind: str
    text: str
    evidence: str
    date: str | None = None
    cost: float | None = None
    hours: float | None = None


@dataclass(frozen=True, slots=True)
class Figures:
    """What the register's own rows say: how many there are, lowest, median and highest."""

    rows: int
    low: float
    median: float
    high: float

    def spread(self) -> Spread:
        """The same as low, mid and high."""
        return Spread(self.low, self.median, self.high)


@dataclass(frozen=True, slots=True)
class ClassFigures:
    """One class over the register. cost in the register's currency, hours as stated, None where no row states any.

    rate: dated orders per valve and year of record, with its 90 % interval; None where the record is shorter than a year.
    """

    name: str
    title: str
    orders: int
    cost: Figures | None = None
    hours: Figures | None = None
    rate: float | None = None
    rate_interval: tuple[float, float] | None = None

    def words(self) -> str:
        """The class in one sentence, with the rows behind each number."""
        out = f"{self.title}: {self.orders} order{'' if self.orders == 1 else 's'}"
        for name, found in (("cost", self.cost), ("hours", self.hours)):
            if found is not None:
                rows = f"{found.rows} row{'' if found.rows == 1 else 's'}"
                out += f"; {name} {found.median:.4g} ({found.low:.4g} to {found.high:.4g}), from {rows}"
        return out


@dataclass(frozen=True, slots=True)
class Worklog:
    """The work orders of a register, class by class. valves: all of the register; record: years from first to last dated order."""

    orders: tuple[Order, ...]
    classes: Mapping[str, ClassFigures]
    valves: int
    record: float

    @property
    def unknown(self) -> int:
        """Orders in whose text nothing known was found."""
        return sum(order.kind == UNKNOWN for order in self.orders)

    def words(self) -> str:
        """How many orders there are, and how many stay unknown."""
        return (f"{len(self.orders)} work orders of {len({order.tag for order in self.orders})} valves, "
                f"{self.unknown} of them unknown: no known word in the text")  # fmt: skip


@lru_cache(maxsize=16384)
def classify(text: str) -> Classified:
    """What a work order is about, by the words of the table worklog_words.

    Longest words first, each stretch of text used once; denied words ("no leak") do not count. Where words of several classes
    stand in one text, the class of the smallest rank names it: what was wrong comes before what was done.
    """
    low = re.sub(r"\s*&\s*", "&", " ".join(text.lower().split()))
    kinds, pattern = _vocabulary()
    found = [(match[0], kinds[match[0]]) for match in pattern.finditer(low) if not denied(low, match.start(), match.end())]
    if not found:
        return Classified(UNKNOWN)
    ranks = {row["class"]: row["rank"] for row in table("worklog_classes")}
    return Classified(min((kind for _, kind in found), key=ranks.__getitem__), tuple(dict.fromkeys(found)))


@cache
def _vocabulary() -> tuple[Mapping[str, str], re.Pattern[str]]:
    kinds = {row["words"]: row["class"] for row in table("worklog_words")}
    words = "|".join(re.escape(words) for words in sorted(kinds, key=len, reverse=True))
    return kinds, re.compile(rf"(?<![a-z0-9])(?:{words})(?![a-z0-9])")


def stated_hours(text: str) -> float | None:
    """Hours of work written in a text ("6 h", "2 x 4.5 hrs"), summed; None where there are none."""
    found = _HOURS.findall(text.lower())
    return sum(int(times or 1) * float(number.replace(",", ".")) for times, number in found) if found else None


def read_orders(locations: Iterable[Location]) -> Worklog:
    """The work orders of a register's histories, classified, with what they cost and how often they come.

    Several events made of one row are one order. An order whose words say nothing takes the class of its heading (the kind of
    event), if that has one. Costs of events without words of their own count under their heading.
    """
    places = list(locations)
    orders = [order for place in places for order in _orders(place)]
    days = [at for order in orders if (at := when(order.date)) is not None]
    record = max(days) - min(days) if days else 0.0
    titles = {row["class"]: row["title"] for row in table("worklog_classes")} | {UNKNOWN: "unknown"}
    classes = {
        name: _figures(name, title, [order for order in orders if order.kind == name], len(places), record)
        for name, title in titles.items()
        if any(order.kind == name for order in orders)
    }
    return Worklog(tuple(orders), classes, len(places), record)


def _orders(place: Location) -> list[Order]:
    grouped: dict[tuple[str | None, str], list[Event]] = {}
    for number, event in enumerate(place.history.events):
        if event.note in COLUMNS or not (event.note or event.cost is not None or event.event in WORK):
            continue
        grouped.setdefault((event.date, event.note or f"#{number}"), []).append(event)
    condition = place.history.condition
    if condition and not any(note in condition or condition in note for _, note in grouped):
        grouped[(None, condition)] = []
    return [_order(place.tag, date, "" if note.startswith("#") else note, events) for (date, note), events in grouped.items()]


def _order(tag: str, date: str | None, text: str, events: list[Event]) -> Order:
    found = classify(text)
    kind, evidence = found.kind, found.words
    if kind == UNKNOWN:
        headings = {row["event"]: row["class"] for row in table("worklog_classes") if row["event"]}
        named = [event.event for event in events if event.event in headings]
        if named:
            kind, evidence = headings[named[0]], f'heading "{named[0]}"'
    costs = [event.cost for event in events if event.cost is not None]
    return Order(tag, kind, text, evidence, date, sum(costs) if costs else None, stated_hours(text))


def _figures(name: str, title: str, orders: list[Order], valves: int, record: float) -> ClassFigures:
    costs = [order.cost for order in orders if order.cost is not None]
    hours = [order.hours for order in orders if order.hours is not None]
    rate, interval = None, None
    dated = sum(when(order.date) is not None for order in orders)
    if record >= LEAST_YEARS:
        rate = yearly_rate(dated, valves, record)
        interval = rate_interval(dated, valves * record)
    return ClassFigures(name, title, len(orders), _of(costs), _of(hours), rate, interval)


def _of(values: list[float]) -> Figures | None:
    return Figures(len(values), min(values), median(values), max(values)) if values else None


def rate_interval(count: int, exposure: float) -> tuple[float, float]:
    """90 % interval of a rate from a count over an exposure. Source: Garwood 1936, Biometrika 28:437 (memory-hi), exact Poisson."""
    from scipy.stats import chi2

    low = float(chi2.ppf(0.05, 2 * count)) / 2 if count else 0.0
    return low / exposure, float(chi2.ppf(0.95, 2 * count + 2)) / 2 / exposure
