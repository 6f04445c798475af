"""From study.json to the valves of a plan: their failing findings, the remedies that clear them, money, hours and lead times."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from math import isfinite
from typing import Any

from quietseat.basis import Basis
from quietseat.economics import present_value, years_factor
from quietseat.formula import Sheet
from quietseat.model import Spread
from quietseat.planning.records import ZERO, Item, Option
from quietseat.planning.worth import spent, yearly_misfit, yearly_range
from quietseat.status import InputUnusable
from quietseat.tables import table

__all__ = ["PLANNED", "item", "items", "undominated"]

PLANNED = ("misfit", "unproven")  # verdicts of valves with something to cure or to measure
_NO_CURE = ("keep", "measure-first")
_RUNNING = ("upkeep", "leakage", "carbon", "other")
_WEEK = 7.0


def items(study: Mapping[str, Any], basis: Basis, act_finding: float = 0.0) -> tuple[Item, ...]:
    """The valves with something to cure, in the order of the study, each with the remedies that clear every finding.

    act_finding: what curing one finding of severity act is worth a year. Raises InputUnusable naming a valve whose
    record is not as a study writes it.
    """
    out = []
    for number, valve in enumerate(study["valves"]):
        try:
            one = item(valve, basis, act_finding)
        except (KeyError, TypeError, AttributeError, ValueError) as error:
            tag = valve.get("tag") if isinstance(valve, dict) else None
            raise InputUnusable(f"valve {tag or number + 1} of the study: {error} is missing or not as a study writes it.") from error
        if one is not None:
            out.append(one)
    return tuple(out)


def item(valve: Mapping[str, Any], basis: Basis, act_finding: float) -> Item | None:
    """One valve of a study as a plan sees it; None where it has nothing to cure. act_finding: as in `items`.

    Raises KeyError, TypeError or ValueError where the record is not as a study writes it.
    """
    if valve["verdict"] not in PLANNED:
        return None
    failing = [f for f in valve["findings"] if f["outcome"] == "fail"]
    stops = sorted({f["code"] for f in failing if f["severity"] == "stop"})
    acts = sorted({f["code"] for f in failing if f["severity"] == "act"} - set(stops))
    remedies = valve["remedies"]
    keep = next((r["cost"] for r in remedies if r["name"] == "keep"), None)
    lower = next((r for r in remedies if r["name"] == "operate-lower" and r["clears"] != "no"), None)
    yearly = years_factor(basis, Sheet(False))
    stated = present_value(yearly_misfit(len(acts), act_finding), yearly)
    left = present_value(yearly_misfit(len(stops), basis.misfit_cost), yearly)
    close = next((f for f in failing if f["code"] == "close-to-set" and f["value"] is not None and f["limit"] is not None), None)
    operating = 0.0
    if close is not None:
        operating = present_value(yearly_range(close["value"], close["limit"], basis.operating_value), yearly)
    found = []
    for remedy in remedies:
        first = remedy["name"] == valve.get("recommended")
        if remedy["clears"] == "no" or remedy["name"] in _NO_CURE or remedy["cost"] is None:
            continue
        if remedy["name"] == "operate-lower" and not first:  # gives up operating range: a measure until the outage
            continue
        extra = stated
        if _life(remedy) is None:  # a life-cycle cost has both in it
            extra += left + (0.0 if remedy["name"] == "operate-lower" else operating)
        found.append(_option(remedy, keep or remedy["cost"], extra, first, valve["tag"]))
    reason = ""
    if not found:
        ask = next((r for r in remedies if r["name"] == "measure-first"), None)
        reason = ask["title"] if ask else "no remedy of the study clears every finding" if failing else "nothing to cure"
    meanwhile = lower["title"] if lower else ""
    return Item(valve["tag"], len(stops), len(acts), (*stops, *acts), undominated(found, basis.same_price), reason, meanwhile)


def _option(remedy: Mapping[str, Any], before: Mapping[str, Any], extra: float, first: bool, tag: str) -> Option:
    cost = remedy["cost"]
    capital, work = _spread(cost["capital"]), _spread(cost["work"])
    spend = Spread(spent(capital.low, work.low), spent(capital.mid, work.mid), spent(capital.high, work.high))
    hours = float(cost["crew_hours"])
    outage = min(float(cost["outage_hours"]), hours)
    if min(spend.low, hours, outage) < 0:
        raise InputUnusable(f"valve {tag}, remedy {remedy['name']}: negative money or hours in the study; mend the study first.")
    # "other" is not in studies written before 0.5
    running = tuple((_spread(before[part]), _spread(cost[part])) for part in _RUNNING if part in before and part in cost)
    weeks = remedy.get("lead_time_weeks")
    lead = _spread(weeks).times(_WEEK) if weeks else lead_time(remedy["name"])
    return Option(
        remedy["name"], remedy.get("title") or remedy["name"], remedy["clears"], remedy.get("condition") or "", spend, running,
        extra, outage, hours - outage, lead, _saved(remedy, spend), first,
    )  # fmt: skip


def _life(remedy: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The life-cycle cost of a remedy where the study has one."""
    found: Mapping[str, Any] | None = remedy.get("life_cycle")
    return found


def _saved(remedy: Mapping[str, Any], spend: Spread) -> Spread | None:
    """What the life-cycle cost says is saved against keeping the valve, money spent now not counted: P10, mid and P90."""
    life = _life(remedy)
    if life is None:
        return None
    npv = life["npv"]
    low, mid, high = float(npv["p10"]), float(npv["mid"]), float(npv["p90"])
    return Spread(min(low, mid) + spend.mid, mid + spend.mid, max(high, mid) + spend.mid)


def _spread(raw: Mapping[str, Any]) -> Spread:
    low, mid, high = float(raw["low"]), float(raw["mid"]), float(raw["high"])
    if not (isfinite(low) and low <= mid <= high and isfinite(high)):
        raise ValueError(f"low {low:g}, mid {mid:g}, high {high:g} in this order")
    return Spread(low, mid, high)


@cache
def lead_time(remedy: str) -> Spread:
    """Days from order to on site by the name of a remedy: the longest of the rows whose word stands in it."""
    rows = [row for row in table("lead_times") if row["word"] in remedy] or [table("lead_times").row(word="other")]
    row = max(rows, key=lambda one: float(one["mid"]))
    return Spread(float(row["low"]), float(row["mid"]), float(row["high"])).times(_WEEK)


def undominated(found: list[Option], same: float = 0.0) -> tuple[Option, ...]:
    """Options that no other one beats or equals in everything: money and running cost at low, mid and high, hours, lead time.

    So no draw of cost and value could have chosen what is left out. Of equals the first of the study stays. The recommended one is also
    taken for equal to what is better by no more than the share `same` of its money and hours: a plan leaves it for a reason, not for a few coins.
    """
    kept: list[Option] = []
    for one in sorted(found, key=lambda o: (not o.recommended, o.spend.mid)):
        mine = _demands(one)
        if not any(all(a <= b + room for a, b, room in zip(_demands(other), mine, _rooms(other, same), strict=True)) for other in kept):
            kept = [other for other in kept if other.recommended or not _beats(mine, _demands(other))]
            kept.append(one)
    return tuple(kept)


def _rooms(one: Option, same: float) -> tuple[float, ...]:
    """How much less each demand of another may be without counting as less."""
    share = same if one.recommended else 0.0
    coins, hours = 1e-9 + share * one.spend.mid, 1e-9 + share * one.hours
    return (*(coins,) * 3, *(hours,) * 2, 1e-9, *(coins,) * (3 * len(one.running) + 4), 0.0)


def _beats(mine: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return all(a <= b for a, b in zip(mine, other, strict=True)) and any(a < b - 1e-9 for a, b in zip(mine, other, strict=True))


def _demands(one: Option) -> tuple[float, ...]:
    """Everything of which less is better."""
    after = [value for _, spread in one.running for value in (spread.low, spread.mid, spread.high)]
    stated = one.saved or ZERO
    return (
        one.spend.low, one.spend.mid, one.spend.high, one.outage_hours, one.other_hours, one.lead.mid, *after, -one.extra,
        -stated.low, -stated.mid, -stated.high, float(one.clears != "yes"),
    )  # fmt: skip
