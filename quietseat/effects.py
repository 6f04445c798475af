"""What a change of the Basis would do to a fleet, in closed form, before it is applied."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from quietseat.assess import assess_many
from quietseat.basis import Basis
from quietseat.lifecycle import by_account
from quietseat.model import Assessment, Remedy
from quietseat.planning.live import Live
from quietseat.planning.records import Item
from quietseat.planning.windows import of_basis
from quietseat.register import Job
from quietseat.remedies import propose_many, recommended
from quietseat.worklog import read_orders

PLANNING = ("budget", "outage_days", "crews", "crew_hours_per_day")  # choices that move the plan alone
ASIDE = ("title", "pressure_unit", "worst_valves", "pdf_valves", "stepped_valves", "asked_valves")  # choices of print and extent
MARCHED = ("time_marching", "marched_valves")  # and every choice that begins with chatter_ or remedy_samples


def effect(before: Sequence[Job], after: Sequence[Job], old: Basis, new: Basis) -> dict[str, Any]:
    """Verdicts, failing findings and recommended remedies that change, valve by valve, and what the recommended remedies cost together.

    before, after: the valves as read under each Basis, the same tags. Closed form: nothing is marched. A valve whose calculation breaks
    counts as unproven on that side.
    """
    pairs = {place.tag: (place, problems) for place, problems in after}
    told = [(job, pairs[job[0].tag]) for job in before if job[0].tag in pairs]
    first, second = (_judged([pair[side] for pair in told], basis) for side, basis in enumerate((old, new)))
    rows, gone, fresh = [], Counter[str](), Counter[str]()
    for one, two in zip(first, second, strict=True):
        lost, more = sorted(one["codes"] - two["codes"]), sorted(two["codes"] - one["codes"])
        gone.update(lost)
        fresh.update(more)
        if one["verdict"] != two["verdict"] or lost or more or one["remedy"] != two["remedy"]:
            rows.append({
                "tag": one["tag"], "before": one["verdict"], "after": two["verdict"], "gone": lost, "new": more, "remedy_before": one["title"],
                "remedy_after": two["title"],
            })  # fmt: skip
    return {
        "valves": len(told), "changed": rows, "verdicts": [dict(Counter(one["verdict"] for one in side)) for side in (first, second)],
        "gone": dict(gone), "new": dict(fresh), "cost": [_cost(first), _cost(second)],
        "only_before": sorted({job[0].tag for job in before} - set(pairs)), "only_after": sorted(set(pairs) - {job[0].tag for job in before}),
    }  # fmt: skip


def plan_effect(items: Sequence[Item], old: Basis, new: Basis) -> list[dict[str, float]]:
    """The plan of a study under the budget, outage and crews of each Basis, by the linear relaxation."""
    out = []
    for basis in (old, new):
        found = Live(items, basis).quick(of_basis(basis), {})
        out.append({key: found[key] for key in ("stops", "count", "spent", "value")})
    return out


def kinds(changed: Mapping[str, str]) -> dict[str, bool]:
    """Which effects the choices of these names can have: plan, valves, marched (cannot be told in closed form)."""
    names = set(changed)
    marched = {name for name in names if name in MARCHED or name.startswith("chatter_") or name == "remedy_samples"}
    return {"plan": bool(names & set(PLANNING)), "valves": bool(names - set(PLANNING) - set(ASIDE) - marched), "marched": bool(marched)}


def _judged(jobs: Sequence[Job], basis: Basis) -> list[dict[str, Any]]:
    found = assess_many(jobs, basis, record=False)
    good = [(job[0], one) for job, one in zip(jobs, found) if isinstance(one, Assessment)]
    cures = iter(propose_many(good, basis))
    orders = read_orders([place for place, _ in jobs])
    out: list[dict[str, Any]] = []
    for (place, _), one in zip(jobs, found, strict=True):
        if not isinstance(one, Assessment):
            out.append({"tag": place.tag, "verdict": "unproven", "codes": set(), "remedy": "", "title": "", "cost": None})
            continue
        cure = next(cures)
        best = recommended(by_account(place, one, cure, basis, orders)) if not isinstance(cure, Exception) else None
        failing = {finding.code for finding in one.findings if finding.outcome == "fail"}
        out.append({
            "tag": place.tag, "verdict": one.verdict, "codes": failing, "remedy": best.name if best else "", "title": best.title if best else "",
            "cost": _total(best),
        })  # fmt: skip
    return out


def _total(remedy: Remedy | None) -> float | None:
    return remedy.cost.total.mid if remedy is not None and remedy.cost is not None else None


def _cost(side: Sequence[Mapping[str, Any]]) -> float:
    return float(sum(one["cost"] for one in side if one["cost"] is not None and one["verdict"] == "misfit"))
