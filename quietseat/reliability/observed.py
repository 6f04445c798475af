"""What the history of one valve says of its lives: which look, at which age, with which result.

A life runs from one shop visit to the next; every dated visit (pop test, overhaul, stuck, bellows) is taken to leave the
valve as new. Only what is on record counts: a visit whose result for the failure mode nobody wrote down is silent, and
is neither a pass nor a failure.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from dataclasses import dataclass

from quietseat.basis import Basis
from quietseat.model import Event, Location
from quietseat.reliability.posterior import Look

VISITS = ("pop", "stuck", "overhaul", "bellows")
LAST_TEST, NEXT_DUE, INTERVAL = "last test", "next due", "interval"  # notes by which the register keeps its columns
YEAR = 365.25  # days
SAME_VISIT = 60 / YEAR  # dates this near are one visit: out, bench, work order closed (common practice)
_AFTER = re.compile(r"\bafter (being )?(clean|lap|overhaul)|\bas[- ]left\b", re.I)
_CLEANED_FIRST = re.compile(r"\b(cleaned|lapped|overhauled)\b.*\b(pop|lift|test)", re.I)
_POPPED = re.compile(r"\b(pop|lift|test)", re.I)


@dataclass(frozen=True, slots=True)
class Observed:
    """What one history says of one failure mode. silent: visits without a result, as if each had been a pass."""

    looks: tuple[Look, ...] = ()
    silent: tuple[Look, ...] = ()


def as_left(event: Event) -> bool:
    """True where the words say that the valve was cleaned or lapped before it popped: no as-found result."""
    note = event.note or ""
    if not note:
        return False
    if _AFTER.search(note):
        return True
    cleaned, popped = _CLEANED_FIRST.search(note), _POPPED.search(note)
    return cleaned is not None and popped is not None and cleaned.start() < popped.start() and "not clean" not in note.lower()


def when(date: str | None) -> float | None:
    """A date as a year with fraction; a month or a year alone stand for their middle. None where it is no date."""
    found = re.fullmatch(r"(\d{4})(?:-(\d{1,2})(?:-(\d{1,2}))?)?(?:[T ].*)?", (date or "").strip())
    if not found:
        return None
    year, month, day = int(found[1]), int(found[2] or 0), int(found[3] or 0)
    try:
        exact = datetime.date(year, month or 7, day or (15 if month else 1))
    except ValueError:
        return None
    return exact.toordinal() / YEAR


def observe(location: Location, mode: str, basis: Basis, scale: float = 1.0) -> Observed:
    """The lives on record of one valve for a failure mode (open, leak).

    Open: as-found pop over cold differential test pressure (else set), gauge, at or above `basis.stuck_ratio`, or reported
    stuck, is a failure; a lower pop and a dated lift in service show that it opened. Leak: a reading at or above
    `basis.leak_ppm`, or a leak in words, is a failure; a lower reading and the last clean survey are clean. An age before
    the first date on record is assumed: the interval stated for the valve, else the Basis's. A failure without a date counts
    only where no dated one is there. scale: modifier on the life of this valve.
    """
    dated, undated = _results(location, mode, basis)
    visits = _visits(location)
    interval = stated_interval(location, basis)
    before = _before(visits, sorted(dated), interval)
    lives: dict[float, list[tuple[float, bool, bool]]] = {}
    for at, failed in dated.items():
        start, assumed = _start(at, visits, before)
        lives.setdefault(start, []).append((at - start, failed, assumed))
    looks = [_look(life, scale) for life in lives.values()]
    if undated and not any(look.failed is not None for look in looks):
        looks.append(Look(0.0, interval, True, scale))
    silent = []
    for first, _ in visits:
        start, assumed = _start(first, visits, before)
        if start not in lives:
            silent.append(Look(first - start, None, assumed, scale))
    return Observed(tuple(looks), tuple(silent))


def stated_interval(location: Location, basis: Basis) -> float:
    """The test interval of a valve in years: stated, or from last test to next due, else the Basis's for its kind."""
    noted: dict[str, Event] = {event.note: event for event in location.history.events if event.event == "other" and event.note}
    stated = noted[INTERVAL].value if INTERVAL in noted else None
    if stated is not None and stated > 0:
        return stated
    ends = [when(noted[name].date) if name in noted else None for name in (LAST_TEST, NEXT_DUE)]
    if ends[0] is not None and ends[1] is not None and ends[1] - ends[0] >= 0.25:
        return ends[1] - ends[0]
    return max(basis.interval_pilot_years if location.valve.kind == "pilot" else basis.interval_spring_years, 0.25)


def _visit(event: Event) -> bool:
    return event.event in VISITS or (event.event == "other" and event.note == LAST_TEST)


def _visits(location: Location) -> list[tuple[float, float]]:
    """First and last day of every visit on record, in order."""
    out: list[tuple[float, float]] = []
    for at in sorted(at for event in location.history.events if _visit(event) and (at := when(event.date)) is not None):
        if out and at - out[-1][0] <= SAME_VISIT:
            out[-1] = (out[-1][0], at)
        else:
            out.append((at, at))
    return out


def _before(visits: Sequence[tuple[float, float]], results: Sequence[float], interval: float) -> float:
    """Assumed begin of the life before the first visit on record: one interval earlier, and before every result."""
    starts = [visit[0] for visit in visits[:1]]
    first = min([*results[:1], *starts], default=0.0)
    start = (starts[0] if starts else first) - interval
    return start if start < first else first - interval


def _start(at: float, visits: Sequence[tuple[float, float]], before: float) -> tuple[float, bool]:
    """Begin of the life that a look at this day belongs to, and whether it is assumed.

    What is found on a day of a visit ends the life before it.
    """
    earlier = [last for _, last in visits if last < at]
    return (earlier[-1], False) if earlier else (before, True)


def _look(life: list[tuple[float, bool, bool]], scale: float) -> Look:
    """One life as one look: last age seen to work, first age found failed."""
    failed = min((age for age, bad, _ in life if bad), default=None)
    worked = max((age for age, bad, _ in life if not bad and (failed is None or age < failed)), default=0.0)
    return Look(worked, failed, life[0][2], scale)


def _results(location: Location, mode: str, basis: Basis) -> tuple[dict[float, bool], int]:
    """Whether the valve was found failed, by day; and failures without a date."""
    dated: dict[float, bool] = {}
    undated = 0
    for event in location.history.events:
        failed = _failed_open(location, event, basis) if mode == "open" else _leaked(event, basis)
        if failed is None:
            continue
        at = when(event.date)
        if at is None:
            undated += failed
        else:
            dated[at] = dated.get(at, False) or failed
    survey = when(location.history.last_clean_survey) if mode == "leak" else None
    if survey is not None:
        dated.setdefault(survey, False)
    return dated, undated


def _failed_open(location: Location, event: Event, basis: Basis) -> bool | None:
    if event.event == "stuck":
        return True
    if event.event == "lift" and event.date is not None:
        return False
    reference = location.valve.cdtp or location.valve.set_pressure
    if event.event != "pop" or event.value is None or reference is None or as_left(event):
        return None
    base = basis.gauge(reference)
    return None if base <= 0 else basis.gauge(event.value) >= basis.stuck_ratio * base


def _leaked(event: Event, basis: Basis) -> bool | None:
    if event.event != "leak":
        return None
    return event.value is None or event.value >= basis.leak_ppm * (1 - 1e-9)
