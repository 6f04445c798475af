"""A plan over windows: columns (valve, remedy, window), the limits they share, and the three stages that choose among them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

from quietseat.basis import Basis
from quietseat.economics.discount import discount_factor, rate_of
from quietseat.planning.programme import Limit, Programme, Solved
from quietseat.planning.records import Item, Option, Terms, Window
from quietseat.planning.worth import factor, kept_share, net_worth

__all__ = ["Columns", "Plan", "columns", "early_of", "limits_of", "refused", "saved_of", "scaled", "solve", "unbudgeted"]

NEAR = 1e-6  # share of a stage's gain that counts as equal
ROOM = 1 + 1e-9  # for the rounding of a study's numbers


@dataclass(frozen=True, eq=False)
class Columns:
    """What may be chosen, one entry a column: numbers of item, option and window; money, hours and worth (numpy arrays)."""

    items: tuple[Item, ...]
    terms: Terms
    item: Any
    option: Any
    window: Any
    spend: Any
    outage: Any
    other: Any
    value: Any
    stops: Any
    delay: Any
    kept: Any
    discount: Any

    def at(self, column: int) -> tuple[Item, Option, Window]:
        """The valve, remedy and window of one column."""
        item = self.items[int(self.item[column])]
        return item, item.options[int(self.option[column])], self.terms.windows[int(self.window[column])]


@dataclass(frozen=True, eq=False)
class Plan:
    """The answer of the stages: chosen columns, value with its bound, stop findings cured, and whether the solver ended."""

    columns: Columns
    chosen: tuple[int, ...]
    x: Any
    value: float
    bound: float
    stops: float
    early: float  # what `early_of` comes to, held
    ended: bool
    programme: Programme


def saved_of(option: Option) -> float:
    """Present value of what an option saves from now on: running costs, and the stated worth of what it cures."""
    if option.saved is not None:
        return option.saved.mid + option.extra
    return sum(before.mid - after.mid for before, after in option.running) + option.extra


def refused(option: Option, window: Window, terms: Terms) -> tuple[str, str]:
    """Which limit alone keeps an option out of a window (kind and words), or two empty texts."""
    if window.start and terms.now and terms.now + timedelta(days=option.lead.mid) > window.start:
        ready = terms.now + timedelta(days=option.lead.mid)
        return "lead time", f"ordered today it is on site {ready}, {window.name} starts {window.start}"
    days = option.outage_hours / window.hours_per_day
    if days > window.outage * ROOM:
        return "outage", (
            f"its outage work takes one crew {days:.3g} d at {window.hours_per_day:g} h a day, {window.name} "
            f"lasts {window.outage:g} d"
        )
    inside, outside = _split(option.outage_hours, option.other_hours, window)
    if inside > window.crew * ROOM:
        return "crew hours", f"needs {inside:.0f} crew hours, {window.name} has {window.crew:.0f}"
    if window.crew_outside is not None and outside > window.crew_outside * ROOM:
        return "crew hours", f"needs {outside:.0f} crew hours outside the outage, {window.name} has {window.crew_outside:.0f}"
    for words, amount in _money_of(window, terms):
        if option.spend.mid > amount * ROOM:
            return "budget", f"costs {option.spend.mid:.0f}, {words} is {amount:.0f}"
    return "", ""


def _split(outage: Any, other: Any, window: Window) -> tuple[Any, Any]:
    """Hours that count on the crew of the window, and those that have a pool of their own."""
    return (outage + other, 0.0 * other) if window.crew_outside is None else (outage, other)


def _money_of(window: Window, terms: Terms) -> list[tuple[str, float]]:
    out = [] if window.budget is None else [(f"the budget of {window.name}", window.budget)]
    if window.start and window.start.year in terms.years:
        out.append((f"the budget of {window.start.year}", terms.years[window.start.year]))
    return out if terms.budget is None else [*out, ("the budget", terms.budget)]


def columns(items: Sequence[Item], terms: Terms, basis: Basis) -> Columns:
    """Every remedy in every window that no limit rules out by itself."""
    import numpy as np

    rate = rate_of(basis)
    whole = factor(rate, basis.horizon_years)
    kept, discount = [], []
    for window in terms.windows:
        missed = factor(rate, min(window.delay, basis.horizon_years))
        kept.append(kept_share(whole, missed) if whole > 0 else 0.0)
        discount.append(discount_factor(rate, window.delay))
    rows = []
    for i, item in enumerate(items):
        for j, option in enumerate(item.options):
            saved = saved_of(option)
            for w, window in enumerate(terms.windows):
                if not refused(option, window, terms)[0]:
                    worth = net_worth(saved, kept[w], option.spend.mid, discount[w])
                    rows.append((i, j, w, option.spend.mid, option.outage_hours, option.other_hours, worth, item.stops, window.delay,
                                 kept[w], discount[w]))  # fmt: skip
    table = np.array(rows, dtype=float).reshape(-1, 11)
    whole_numbers = [table[:, place].astype(int) for place in range(3)]
    return Columns(tuple(items), terms, *whole_numbers, *(table[:, place] for place in range(3, 11)))


def unbudgeted(terms: Terms) -> Terms:
    """The same windows, whatever they cost."""
    return replace(terms, budget=None, years={}, windows=tuple(replace(window, budget=None) for window in terms.windows))


def scaled(terms: Terms, share: float) -> Terms:
    """The same windows with every budget times a share."""
    windows = tuple(
        replace(window, budget=None if window.budget is None else window.budget * share) for window in terms.windows
    )
    budget = None if terms.budget is None else terms.budget * share
    return replace(terms, budget=budget, years={year: amount * share for year, amount in terms.years.items()}, windows=windows)


def limits_of(cols: Columns, spend: Any = None) -> list[Limit]:
    """The limits the columns share that can bind. spend: money of each column (the middle estimate if not given)."""
    terms, money = cols.terms, cols.spend if spend is None else spend
    found = []
    if terms.budget is not None:
        found.append(Limit("budget", "the budget", terms.budget, money, "money"))
    for year, amount in terms.years.items():
        held = [w for w, window in enumerate(terms.windows) if window.start and window.start.year == year]
        found.append(Limit("budget", f"the budget of {year}", amount, money * _in(cols, held), "money"))
    for w, window in enumerate(terms.windows):
        here = _in(cols, [w])
        if window.budget is not None and (len(terms.windows) > 1 or terms.budget is None):
            found.append(Limit("budget", f"the budget of {window.name}", window.budget, money * here, "money"))
        inside, outside = _split(cols.outage, cols.other, window)
        found.append(Limit("crew hours", f"the crew hours of {window.name}", window.crew, inside * here, "h"))
        if window.crew_outside is not None:
            words = f"the crew hours outside the outage of {window.name}"
            found.append(Limit("crew hours", words, window.crew_outside, outside * here, "h"))
    return [limit for limit in found if float(limit.use.sum()) > limit.amount]


def _in(cols: Columns, windows: list[int]) -> Any:
    import numpy as np

    return np.isin(cols.window, windows).astype(float)


def solve(cols: Columns, limits: list[Limit] | None = None, forced: Collection[int] = ()) -> Plan:
    """Stop findings first, then as early as can be, then value; each stage holds what the one before won.

    forced: numbers of items that must be in. Where no plan holds them all within the limits the plan is empty and has not ended.
    """
    import numpy as np

    programme = Programme(cols.item, limits_of(cols) if limits is None else limits)
    nothing: Any = np.zeros(len(cols.item))
    if not len(nothing):
        return Plan(cols, (), nothing, 0.0, 0.0, 0.0, 0.0, not forced, programme)
    if forced:
        for item in forced:
            programme.hold((cols.item == item).astype(float), 1.0)
        held = programme.best(-cols.spend)
        if held is None:
            return Plan(cols, (), nothing, 0.0, float("inf"), 0.0, 0.0, False, programme)
        nothing = held.x
    first = _stage(programme, cols.stops, nothing, 1.0)
    cured, early = first.value, 0.0
    ended, start = first.ended, first.x
    if cured > 0:
        programme.hold(cols.stops, cured - 0.5)
        if len(cols.terms.windows) > 1 and float(cols.delay.max()) > 0:
            gain = early_of(cols)
            second = _stage(programme, gain, start, 0.0)
            ended, start, early = ended and second.ended, second.x, second.value
            programme.hold(gain, early - NEAR * max(1.0, early))
    last = _stage(programme, cols.value, start, 0.0)
    chosen = tuple(int(c) for c in np.flatnonzero(last.x > 0.5))
    return Plan(cols, chosen, last.x, last.value, last.bound, cured, early, ended and last.ended, programme)


def early_of(cols: Columns) -> Any:
    """What curing stop findings early counts: years before the last window and one more; the rest has no say."""
    return cols.stops * (1.0 + float(cols.delay.max()) - cols.delay)


def _stage(programme: Programme, gain: Any, start: Any, step: float) -> Solved:
    if step and not gain.any():
        return Solved(start, 0.0, 0.0, True)
    found = programme.best(gain, start, step=step)
    return found if found is not None else Solved(start, float(gain @ start), float("inf"), False)
