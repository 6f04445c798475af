"""A plan being moved by hand: the linear relaxation at once, valves held in or out, and what holding them costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from quietseat.amounts import amount
from quietseat.basis import Basis
from quietseat.planning import afterwards
from quietseat.planning.answer import answer_of
from quietseat.planning.plan import Columns, columns, solve
from quietseat.planning.programme import SMALL
from quietseat.planning.records import Item, Terms, Window
from quietseat.planning.relaxed import relaxed

__all__ = ["Hold", "Live", "as_decided"]

WHOLE = 0.999  # a part above it counts as the whole valve
ENDLESS = 1e12  # hours, days and money that limit nothing


@dataclass(frozen=True, slots=True)
class Hold:
    """What holding one valve by hand costs against the best plan without this hold.

    value: money, negative where the hold gains; stops: stop findings fewer cured; exact: from two integer plans, else from two linear
    relaxations; fits: False where no plan holds it within the limits.
    """

    tag: str
    place: str
    value: float
    stops: float
    exact: bool
    fits: bool
    words: str


def as_decided(items: Sequence[Item], chosen: Mapping[str, str]) -> list[Item]:
    """The valves, each with the remedy somebody decided on (chosen: by tag) alone where that is one a plan may take."""
    return [_only(item, chosen[item.tag]) if item.tag in chosen else item for item in items]


def _only(item: Item, remedy: str) -> Item:
    only = tuple(option for option in item.options if option.remedy == remedy)
    return replace(item, options=only) if only else item


class Live:
    """The valves of one study, ready to be planned again and again under one outage without a date, or under dated windows.

    items: as `candidates.item` gives them. frame: terms whose windows are planned in; None: the one outage. Columns are made once; budget,
    outage and crew only open and close them.
    """

    def __init__(self, items: Sequence[Item], basis: Basis, frame: Terms | None = None) -> None:
        self.items, self.basis = tuple(sorted(items, key=lambda one: one.tag)), basis
        frame = self.terms(ENDLESS, ENDLESS, ENDLESS) if frame is None else frame
        free = [replace(one, outage=ENDLESS, crew=ENDLESS, budget=None, crew_outside=None if one.crew_outside is None else ENDLESS) for one in frame.windows]
        self._free = columns(self.items, replace(frame, windows=tuple(free), budget=None, years={}), basis)
        self._number = {item.tag: place for place, item in enumerate(self.items)}

    def over(self, frame: Terms) -> Live:
        """The same valves, planned in the windows of these terms."""
        return Live(self.items, self.basis, frame)

    def item(self, tag: str) -> Item | None:
        """The valve of this tag; None where the plan has none."""
        place = self._number.get(tag)
        return None if place is None else self.items[place]

    def holds(self, held: Mapping[str, str]) -> dict[str, str]:
        """The holds that can bind: of valves with something to plan, and in only where a remedy clears every finding."""
        return {tag: place for tag, place in held.items() if tag in self._number and (place == "out" or self.items[self._number[tag]].options)}

    def terms(self, budget: float, outage: float, crew: float) -> Terms:
        """One outage: budget in money, outage in days, crew in hours."""
        window = Window("the outage", None, outage, crew, self.basis.crew_hours_per_day, budget)
        return Terms((window,), budget, act_finding=self.basis.act_finding_cost)

    @property
    def useful(self) -> float:
        """Money beyond which nothing more is bought."""
        return afterwards.useful(self._free)

    def quick(self, given: Terms, held: Mapping[str, str]) -> dict[str, Any]:
        """The linear relaxation under the holds (tag: in or out): value, money, hours, stop findings cured, and each valve's part.

        parts: tag, title, window, part (1 = whole), whole, cost, hours, value, severity, most valuable first. fits: False where the holds alone are too much.
        """
        held = self.holds(held)
        cols = self._open(given, held)
        x = self._relaxed(cols, held)
        if x is None:
            return {"fits": False, "value": 0.0, "spent": 0.0, "hours": 0.0, "stops": 0.0, "count": 0, "split": 0, "parts": []}
        parts: list[dict[str, Any]] = []
        for column in (x > 1e-6).nonzero()[0].tolist():
            item, option, window = cols.at(column)
            part = min(1.0, float(x[column]))
            parts.append({
                "tag": item.tag, "remedy": option.remedy, "title": option.title, "window": window.name, "part": part, "whole": part >= WHOLE,
                "cost": option.spend.mid, "hours": option.hours, "value": float(cols.value[column]), "severity": item.severity,
            })  # fmt: skip
        parts.sort(key=lambda one: (one["severity"] != "stop", -one["value"], one["tag"]))
        return {
            "fits": True, "value": float(cols.value @ x), "spent": float(cols.spend @ x), "hours": float((cols.outage + cols.other) @ x),
            "stops": float(cols.stops @ x), "count": len({one["tag"] for one in parts}),
            "split": len({one["tag"] for one in parts if not one["whole"]}), "parts": parts,
        }  # fmt: skip

    def exact(self, given: Terms, held: Mapping[str, str], *, beyond: bool = False) -> dict[str, Any]:
        """The integer plan under the holds, with reasons and counterfactuals as `answer_of` gives them."""
        held = self.holds(held)
        kept = {place: item for place, item in enumerate(self.items) if item.options and held.get(item.tag) == "out"}
        items = tuple(replace(item, options=()) if place in kept else item for place, item in enumerate(self.items))
        forced = [self._number[tag] for tag, place in held.items() if place == "in" and tag in self._number]
        return answer_of(items, given, self.basis, forced=forced, out=kept, beyond=beyond)

    def prices(self, given: Terms, held: Mapping[str, str]) -> list[Hold]:
        """What each hold costs against the best plan without it, all others staying."""
        known = self.holds(held)
        exact = len(self._free.item) <= SMALL
        base = self._worth(given, known, exact)
        return [self._hold(tag, place, base, self._worth(given, {t: p for t, p in known.items() if t != tag}, exact), exact)
                for tag, place in known.items()]  # fmt: skip

    def _hold(self, tag: str, place: str, base: tuple[float, float] | None, without: tuple[float, float] | None, exact: bool) -> Hold:
        if base is None or without is None:
            words = "does not fit: with all holds no plan stays within the limits" if without is not None else "the other holds alone do not fit"
            return Hold(tag, place, 0.0, 0.0, exact, False, words)
        value, stops = without[1] - base[1], without[0] - base[0]
        said = f"costs {amount(value, self.basis.currency)}" if value > 0.5 else f"gains {amount(-value, self.basis.currency)}" if value < -0.5 else "costs nothing"
        if stops > 0.5:
            said = f"{stops:.0f} stop finding{'s' if stops > 1.5 else ''} fewer cured; {said}"
        how = "" if exact else ", by the linear relaxation"
        return Hold(tag, place, value, stops, exact, True, f"{said} against the best plan without this hold{how}")

    def _worth(self, given: Terms, held: Mapping[str, str], exact: bool) -> tuple[float, float] | None:
        """Stop findings cured and value of the best plan; None where nothing fits."""
        cols = self._open(given, held)
        if exact:
            forced = [self._number[tag] for tag, place in held.items() if place == "in"]
            plan = solve(cols, forced=forced)
            return (plan.stops, plan.value) if plan.ended else None
        x = self._relaxed(cols, held)
        return None if x is None else (float(cols.stops @ x), float(cols.value @ x))

    def _relaxed(self, cols: Columns, held: Mapping[str, str]) -> Any:
        if not len(cols.item):
            return None if any(place == "in" and tag in self._number for tag, place in held.items()) else cols.spend
        inside = [self._number[tag] for tag, place in held.items() if place == "in" and tag in self._number]
        return relaxed(cols, afterwards.weighted(cols) + cols.value, inside)

    def _open(self, given: Terms, held: Mapping[str, str]) -> Columns:
        """The columns that no limit and no hold rules out by itself. given: the windows this was made for, with their limits."""
        import numpy as np

        free, room = self._free, 1 + 1e-9  # for the rounding of a study's numbers
        fits = ~np.isin(free.item, [self._number[tag] for tag, place in held.items() if place == "out" and tag in self._number])
        for number, window in enumerate(given.windows):
            year = given.years.get(window.start.year) if window.start else None
            money = min((one for one in (given.budget, window.budget, year) if one is not None), default=ENDLESS)
            inside = free.outage if window.crew_outside is not None else free.outage + free.other
            here = (free.spend <= money * room) & (free.outage <= window.outage * window.hours_per_day * room) & (inside <= window.crew * room)
            if window.crew_outside is not None:
                here &= free.other <= window.crew_outside * room
            fits &= here | (free.window != number)
        return replace(afterwards.only(free, fits), terms=given)
