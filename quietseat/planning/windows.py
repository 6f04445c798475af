"""Budget, outage and crew as a person writes them: flags or a file of windows -> Terms."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from quietseat.basis import Basis
from quietseat.casefile.reader import nearest, read_toml
from quietseat.planning.records import Terms, Window
from quietseat.status import InputUnusable
from quietseat.tables import table
from quietseat.units import UnitError, parse

__all__ = ["money", "of_basis", "terms", "terms_of"]

_SYMBOLS = {"$": ("USD", "CAD", "AUD"), "€": ("EUR",), "£": ("GBP",)}
_TIMES = {"": 1.0, "k": 1e3, "K": 1e3, "M": 1e6}
_AMOUNT = re.compile(r"([A-Z]{3}|[$€£])?\s*([-+]?[0-9][0-9 .,]*?)\s*([kKM]?)\s*([A-Z]{3}|[$€£])?")
_WINDOW = ("name", "start", "outage", "crew", "crew_outside", "hours_per_day", "budget")
_FILE = ("window", "budget", "now", "years", "value")
_VALUE = ("act_finding",)
YEAR_DAYS = 365.25


def money(text: Any, currency: str, rates: dict[str, float] | None = None) -> float:
    """An amount such as "500 kEUR" or "0.5 MEUR"; a bare number is in the currency of the study.

    Another currency of the table exchange_rates is turned over; `rates` takes the rate used. Raises ValueError in one sentence:
    not an amount, a currency without a rate, or below 0.
    """
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise ValueError(f"must be an amount such as '500 k{currency}'")
    match = _AMOUNT.fullmatch(f"{text}".strip())
    if match is None or (match[1] and match[4]):
        raise ValueError(f"is not an amount of money: write for example '500 k{currency}'")
    written = match[1] or match[4]
    value = parse(match[2], "number").value * _TIMES[match[3]]
    if written and written != currency and currency not in _SYMBOLS.get(written, ()):
        rate = _rate(_SYMBOLS.get(written, (written,))[0], currency)
        if rates is not None:
            rates[f"1 {_SYMBOLS.get(written, (written,))[0]}"] = rate
        value *= rate
    if value < 0:
        raise ValueError("is negative: a budget is 0 or more")
    return value


def _rate(written: str, currency: str) -> float:
    known = table("exchange_rates")
    a, b = known.get(currency=written), known.get(currency=currency)
    if a is None or b is None:
        raise ValueError(f"is in {written}, the study counts in {currency}, and no rate is known: convert it at your own rate")
    return float(a["usd"]) / float(b["usd"])


def _time(text: Any, seconds: float, example: str) -> float:
    if not isinstance(text, str):
        raise ValueError(f"needs a unit, written as text: for example '{example}'")
    if re.match(r"\s*-", text):
        raise ValueError(f"is negative: write 0 or more, for example '{example}'")
    try:
        return parse(text, "time").value / seconds
    except UnitError as error:
        raise ValueError(f"cannot be read ({error.parts[0]}): write for example '{example}'") from error


def terms(
    basis: Basis, *, budget: str | None, outage: str | None, crew: str | None, windows: str | None, today: date
) -> Terms:
    """The terms of a plan from flags and a file of windows; what nobody gave is taken from the Basis of the study.

    Raises InputUnusable naming every key that cannot be read.
    """
    if windows is None:
        reader = _Reading(basis, today)
        one = reader.flags(budget, outage, crew)
        reader.finish("plan")
        return Terms((one,), one.budget, act_finding=basis.act_finding_cost, now=today, rates=reader.rates)
    name, content = read_toml(windows)
    return terms_of(name, content, basis, budget=budget, outage=outage, crew=crew, today=today)


def terms_of(
    name: str, content: Mapping[str, Any], basis: Basis, *, budget: str | None, outage: str | None, crew: str | None, today: date
) -> Terms:
    """The terms of a plan from windows at hand, written as a file of windows holds them. name: where they come from, for messages.

    outage and crew stand for windows without their own. Raises InputUnusable naming every key that cannot be read.
    """
    reader = _Reading(basis, today)
    found = reader.file(content, budget, outage, crew)
    reader.finish(name)
    return found


def of_basis(basis: Basis) -> Terms:
    """The one outage of a Basis, without a date: its budget, days and crews."""
    hours = basis.crews * basis.crew_hours_per_day * basis.outage_days
    window = Window("the outage", None, basis.outage_days, hours, basis.crew_hours_per_day, basis.budget)
    return Terms((window,), basis.budget, act_finding=basis.act_finding_cost)


class _Reading:
    """Collects what is wrong, so that all of it is told at once."""

    def __init__(self, basis: Basis, today: date) -> None:
        self.basis, self.today = basis, today
        self.wrong: list[str] = []
        self.rates: dict[str, float] = {}

    def finish(self, name: str) -> None:
        if self.wrong:
            raise InputUnusable(f"{name}: " + "; ".join(self.wrong) + ".")

    def money(self, key: str, raw: Any) -> float | None:
        return None if raw is None else self._try(key, raw, lambda: money(raw, self.basis.currency, self.rates))

    def days(self, key: str, raw: Any) -> float | None:
        return None if raw is None else self._try(key, raw, lambda: _time(raw, 86400.0, "12 d"))

    def hours(self, key: str, raw: Any) -> float | None:
        return None if raw is None else self._try(key, raw, lambda: _time(raw, 3600.0, "900 h"))

    def _try(self, key: str, raw: Any, read: Any) -> float | None:
        try:
            value: float = read()
            return value
        except UnitError as error:
            self.wrong.append(f"{key}: {error}")
        except ValueError as error:
            self.wrong.append(f"{key} = {raw!r} {error}")
        return None

    def flags(self, budget: str | None, outage: str | None, crew: str | None, name: str = "the outage") -> Window:
        basis = self.basis
        paid, days, hours = self.money("--budget", budget), self.days("--outage", outage), self.hours("--crew", crew)
        return self._window(name, None, days, hours, None, None, basis.budget if budget is None else paid)

    def _window(
        self, name: str, start: date | None, outage: float | None, crew: float | None, outside: float | None,
        per_day: float | None, budget: float | None,
    ) -> Window:  # fmt: skip
        basis = self.basis
        days = basis.outage_days if outage is None else outage
        if crew is None:
            crew = basis.crews * basis.crew_hours_per_day * days
        delay = (start - (self.today)).days / YEAR_DAYS if start else 0.0
        return Window(name, start, days, crew, basis.crew_hours_per_day if per_day is None else per_day, budget, outside, delay)

    def file(self, content: Mapping[str, Any], budget: str | None, outage: str | None, crew: str | None) -> Terms:
        self._keys("", content, _FILE)
        if "now" in content:
            self.today = self._date("now", content["now"]) or self.today
        total = self.money("--budget", budget) if budget is not None else self.money("budget", content.get("budget"))
        act = self._table("value", content, _VALUE).get("act_finding")
        worth = self.money("value.act_finding", act)
        listed = content.get("window", [])
        if not isinstance(listed, list) or not all(isinstance(one, dict) for one in listed):
            self.wrong.append("window must be written as [[window]], one table a window")
            listed = []
        found = [self._one(number, one, outage, crew) for number, one in enumerate(listed, start=1)]
        if "window" in content and not listed and not self.wrong:
            self.wrong.append("has no [[window]]")
        if not listed and not self.wrong:
            found = [self.flags(budget, outage, crew)]
            total = found[0].budget if total is None else total
        names = [one.name for one in found]
        if twice := next((name for name in names if names.count(name) > 1), None):
            self.wrong.append(f"window.name = {twice!r} stands twice: give each window its own name")
        if total is None and not self._years(content, found) and any(one.budget is None for one in found):
            self.wrong.append("no budget limits every window: give --budget, `budget` at the top, [years], or one in each [[window]]")
        return Terms(tuple(sorted(found, key=lambda one: one.delay)), total, self._years(content, found), self.basis.act_finding_cost if worth is None else worth, self.today, self.rates)

    def _one(self, number: int, one: Mapping[str, Any], outage: str | None, crew: str | None) -> Window:
        at = f"window {number}"
        self._keys(f"{at}: ", one, _WINDOW)
        name = one.get("name", at)
        if not isinstance(name, str) or not name.strip():
            self.wrong.append(f"{at}.name = {name!r} must be text")
            name = at
        start = self._date(f"{at}.start", one["start"]) if "start" in one else None
        if start is None and "start" not in one:
            self.wrong.append(f"{at}.start is missing: write the day it starts, for example start = 2027-05-10")
        if start is not None and start < self.today:
            self.wrong.append(f"{at}.start = {start} lies before now ({self.today}): plan windows that are still to come")
        per_day = self.hours(f"{at}.hours_per_day", one.get("hours_per_day"))
        if per_day is not None and not 0.0 < per_day <= 24.0:
            self.wrong.append(f"{at}.hours_per_day = {one['hours_per_day']!r} must be above 0 h and at most 24 h")
        return self._window(
            name, start, self.days(f"{at}.outage", one.get("outage", outage)), self.hours(f"{at}.crew", one.get("crew", crew)),
            self.hours(f"{at}.crew_outside", one.get("crew_outside")), per_day, self.money(f"{at}.budget", one.get("budget")),
        )  # fmt: skip

    def _years(self, content: Mapping[str, Any], windows: list[Window]) -> dict[int, float]:
        out: dict[int, float] = {}
        held = {one.start.year for one in windows if one.start}
        for key, raw in self._table("years", content, None).items():
            if not re.fullmatch(r"[0-9]{4}", key) or int(key) not in held:
                words = f"years.{key}: no window starts in this year ({', '.join(map(str, sorted(held))) or 'no dated window'})"
                if words not in self.wrong:
                    self.wrong.append(words)
            elif (amount := self.money(f"years.{key}", raw)) is not None:
                out[int(key)] = amount
        return out

    def _table(self, key: str, content: Mapping[str, Any], known: tuple[str, ...] | None) -> dict[str, Any]:
        raw = content.get(key, {})
        if not isinstance(raw, dict):
            self.wrong.append(f"{key} must be a table, written as [{key}]")
            return {}
        if known is not None:
            self._keys(f"[{key}]: ", raw, known)
        return raw

    def _keys(self, at: str, given: Mapping[str, Any], known: tuple[str, ...]) -> None:
        for key in given.keys() - set(known):
            near = nearest(key, known)
            self.wrong.append(f"{at}unknown key {key!r}" + (f"; the nearest known key is {near!r}" if near else ""))

    def _date(self, key: str, raw: Any) -> date | None:
        try:
            return date.fromisoformat(str(raw)[:10])
        except ValueError:
            self.wrong.append(f"{key} = {raw!r} is not a date: write for example {key.rpartition('.')[2]} = 2027-05-10")
            return None
