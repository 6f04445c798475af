"""What to do about a stop finding until it is cured, and which limit keeps it from being cured."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quietseat.amounts import amount
from quietseat.planning.plan import Plan, limits_of, refused, solve
from quietseat.planning.records import Item
from quietseat.tables import table

__all__ = ["interim", "refusals", "why_not"]


def interim(item: Item, until: str, refusal: str) -> dict[str, Any]:
    """The interim entry of one valve with stop findings. until: when it is cured; refusal: why not sooner, or not at all."""
    known = table("interim_measures")
    measures = []
    for code in item.codes[: item.stops]:
        row = known.get(code=code) or known.row(code="other")
        measures.append({"code": code, "measure": row["measure"], "source": row.cite()})
    if item.meanwhile:
        measures.insert(0, {"code": "close-to-set", "measure": f"{item.meanwhile}, if operations can", "source": "this study"})
    words = "An owner's written risk assessment with a name and an end date comes first; none of this replaces the cure."
    return {
        "tag": item.tag, "codes": list(item.codes[: item.stops]), "until": until, "refused_by": refusal, "measures": measures,
        "words": words,
    }  # fmt: skip


def why_not(item: Item, plan: Plan, currency: str) -> tuple[str, str]:
    """Which limit alone keeps every remedy of a valve out of every window (kind and words), or two empty texts."""
    if not item.options:
        return "no remedy", item.reason
    terms = plan.columns.terms
    found: dict[str, str] = {}
    for option in item.options:
        for window in terms.windows:
            kind, words = refused(option, window, terms)
            if not kind:
                return "", ""
            if kind == "budget":
                words = f"costs {amount(option.spend.mid, currency)}, more than {words.partition(', ')[2].partition(' is ')[0]} holds"
            found.setdefault(kind, f"{option.title}: {words}")
    return " and ".join(found), "; ".join(found.values())


def refusals(plan: Plan, open_stops: list[int], currency: str) -> dict[int, str]:
    """For each valve with stop findings that is not in the plan: the limit that refuses it, in words.

    Limits that bind together are found by lifting one kind of limit at a time and solving again.
    """
    out: dict[int, str] = {}
    together: list[int] = []
    for i in open_stops:
        kind, words = why_not(plan.columns.items[i], plan, currency)
        if kind:
            out[i] = f"{kind}: {words}"
        else:
            together.append(i)
    if together:
        lifted = _lifted(plan)
        for i in together:
            kinds = [kind for kind, cured in lifted.items() if i in cured]
            out[i] = _shared(kinds, lifted, plan, currency)
    return out


def _lifted(plan: Plan) -> Mapping[str, set[int]]:
    """Valves with stop findings cured where one kind of limit is lifted."""
    cols = plan.columns
    limits = limits_of(cols)
    found: dict[str, set[int]] = {}
    for kind in dict.fromkeys(limit.kind for limit in limits):
        other = solve(cols, [limit for limit in limits if limit.kind != kind])
        found[kind] = {int(cols.item[c]) for c in other.chosen if cols.stops[c] > 0}
    return found


def _shared(kinds: list[str], lifted: Mapping[str, set[int]], plan: Plan, currency: str) -> str:
    if not kinds:
        names = " and ".join(lifted) or "the limits"
        return f"{names} together: lifting one of them alone does not let it in beside the other stop findings"
    words = []
    for kind in kinds:
        limits = [limit for limit in limits_of(plan.columns) if limit.kind == kind]
        full = [f"{limit.words} ({_size(limit.amount, limit.unit, currency)})" for limit in limits]
        words.append(f"{kind}: spent on as many other stop findings as {' and '.join(full)} can cure")
    return "; or ".join(words)


def _size(value: float, unit: str, currency: str) -> str:
    return amount(value, currency) if unit == "money" else f"{value:.0f} h"
