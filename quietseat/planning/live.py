"""A plan being moved by hand: the linear relaxation at once, valves held in or out, and what holding them costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from quietseat.basis import Basis
from quietseat.planning import afterwards
from quietseat.planning.amounts import amount
from quietseat.planning.answer import answer_of
from quietseat.planning.plan import Columns, columns, limits_of, solve
from quietseat.planning.programme import SCALE, SMALL, Programme
from quietseat.planning.records import Item, Terms, Window

__all__ = ["Hold", "Live"]

WHOLE = 0.999  # a part above it counts as the whole valve
CORE = 600  # columns a relaxation starts with
ROUNDS = 8  # of taking in more of them, before all are taken
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


class Live:
    """The valves of one study, ready to be planned again and again under one outage without a date.

    items: as `candidates.item` gives them. Columns are made once; budget, outage and crew only open and close them.
    """

    def __init__(self, items: Sequence[Item], basis: Basis) -> None:
        self.items, self.basis = tuple(sorted(items, key=lambda one: one.tag)), basis
        free = Window("the outage", None, ENDLESS, ENDLESS, basis.crew_hours_per_day, ENDLESS)
        self._free = columns(self.items, Terms((free,), ENDLESS, act_finding=basis.act_finding_cost), basis)
        self._number = {item.tag: place for place, item in enumerate(self.items)}

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

        parts: tag, title, part (1 = whole), cost, hours, value, severity, most valuable first. fits: False where the holds alone are too much.
        """
        held = self.holds(held)
        cols = self._open(given, held)
        x = self._relaxed(cols, held)
        if x is None:
            return {"fits": False, "value": 0.0, "spent": 0.0, "hours": 0.0, "stops": 0.0, "count": 0, "split": 0, "parts": []}
        parts: list[dict[str, Any]] = []
        for column in (x > 1e-6).nonzero()[0].tolist():
            item, option, _ = cols.at(column)
            parts.append({
                "tag": item.tag, "remedy": option.remedy, "title": option.title, "part": min(1.0, float(x[column])), "cost": option.spend.mid,
                "hours": option.hours, "value": float(cols.value[column]), "severity": item.severity,
            })  # fmt: skip
        parts.sort(key=lambda one: (one["severity"] != "stop", -one["value"], one["tag"]))
        return {
            "fits": True, "value": float(cols.value @ x), "spent": float(cols.spend @ x), "hours": float((cols.outage + cols.other) @ x),
            "stops": float(cols.stops @ x), "count": len({one["tag"] for one in parts}),
            "split": sum(one["part"] < WHOLE for one in parts), "parts": parts,
        }  # fmt: skip

    def exact(self, given: Terms, held: Mapping[str, str], *, beyond: bool = False) -> dict[str, Any]:
        """The integer plan under the holds, with reasons and counterfactuals as `answer_of` gives them."""
        held = self.holds(held)
        items = tuple(replace(item, options=(), reason="held out by hand") if held.get(item.tag) == "out" else item for item in self.items)
        forced = [self._number[tag] for tag, place in held.items() if place == "in" and tag in self._number]
        return answer_of(items, given, self.basis, forced=forced, beyond=beyond)

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
        return relaxed_by_price(cols, afterwards.weighted(cols) + cols.value, inside)

    def _open(self, given: Terms, held: Mapping[str, str]) -> Columns:
        """The columns that no limit and no hold rules out by itself."""
        import numpy as np

        (window,), free = given.windows, self._free
        money = min(amount for amount in (given.budget, window.budget, ENDLESS) if amount is not None)
        room = 1 + 1e-9  # for the rounding of a study's numbers
        fits = (free.spend <= money * room) & (free.outage <= window.outage * window.hours_per_day * room)
        fits &= free.outage + free.other <= window.crew * room
        out = [self._number[tag] for tag, place in held.items() if place == "out" and tag in self._number]
        fits &= ~np.isin(free.item, out)
        return replace(afterwards.only(free, fits), terms=given)


def relaxed_by_price(cols: Columns, gain: Any, inside: Sequence[int]) -> Any:
    """The linear relaxation over all columns, solved over the few that pay best for what is scarce: parts of each column, or None.

    Columns left out are priced with the duals; those that would gain are taken in and the programme is solved again, until none would: the
    optimum over all columns, in a fraction of the time. inside: items that must be in.
    """
    import numpy as np

    limits = limits_of(cols)
    need = sum((limit.use / max(limit.amount, 1e-9) for limit in limits), np.full(len(gain), 1e-9))
    core = np.isin(cols.item, inside)
    core[np.argsort(-gain / need, kind="stable")[:CORE]] = True
    for _ in range(ROUNDS):
        part = np.flatnonzero(core)
        programme = Programme(cols.item[part], [replace(limit, use=limit.use[part]) for limit in limits])
        for item in inside:
            programme.hold((cols.item[part] == item).astype(float), 1.0)
        found = programme.relaxed(gain[part])
        if found is None:
            return None  # the columns of the items that must be in are all here
        owner = np.zeros(len(cols.items))
        owner[np.unique(cols.item[part])] = found.ineqlin.marginals[: len(np.unique(cols.item[part]))]
        scarce = [found.ineqlin.marginals[row] * SCALE / max(limit.amount, 1e-9) * limit.use for limit, row in zip(limits, programme.rows, strict=True)]
        would = gain + sum(scarce, np.zeros(len(gain))) + owner[cols.item]  # marginals are 0 or below
        more = (would > 1e-9 * max(1.0, float(np.abs(gain).max()))) & ~core
        if not more.any():
            x = np.zeros(len(gain))
            x[part] = found.x
            return x
        core |= more
    whole = Programme(cols.item, limits)
    for item in inside:
        whole.hold((cols.item == item).astype(float), 1.0)
    found = whole.relaxed(gain)
    return found.x if found is not None else None
