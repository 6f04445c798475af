"""One assessed valve as plain data: everything of it in study.json, a small summary, and what the fleet needs of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from quietseat import cost, leakage, plain, planning, predictions, upkeep
from quietseat.assess import Asking, complete
from quietseat.basis import Basis
from quietseat.model import Assessment, Location, Problem, Remedy
from quietseat.remedies import best_plain_yes, recommended
from quietseat.status import Status
from quietseat.study.records import pack
from quietseat.worklog import Worklog

WEIGHT = {"stop": 100.0, "act": 10.0, "note": 1.0}
FLEET_DRAWS = 200  # of the money of a valve whose steps are not kept: enough for its place in a plan


@dataclass(frozen=True, slots=True)
class How:
    """How valves are assessed: with steps or without, marched in time or not, on which engine."""

    record: bool
    march: bool
    engine: str = "local"
    as_of: date | None = None  # the day ages of readings are counted to
    orders: Worklog | None = None  # what the register's own work orders cost

    def asking(self, basis: Basis) -> Asking | None:
        """Marching of the valves themselves, with traces and limits."""
        return Asking(basis.chatter_samples, True, self.engine) if self.march else None

    def remedies(self, basis: Basis) -> Asking | None:
        """Marching of each remedy: fewer draws, no pictures."""
        return Asking(basis.remedy_samples, ends=True) if self.march else None


def described(location: Location, found: Assessment, remedies: tuple[Remedy, ...], basis: Basis, how: How) -> dict[str, Any]:
    """Everything about one assessed valve, ready to send between processes: summary, packed JSON, plan item, tally."""
    whole, _ = complete(location, basis)
    record = how.record
    account = _account(location, found, remedies, basis, how)
    remedies = account.remedies
    best, plain_yes = recommended(remedies), best_plain_yes(remedies)
    content: dict[str, Any] = {
        "tag": location.tag, "verdict": found.verdict, "alias": list(location.alias), "unit": location.unit,
        "sheet": location.sheet, "row": location.row, "twin": location.twin,
        **plain.assessment(found, with_steps=False), **plain.location(whole), "inputs": _inputs(whole),
        "remedies": [{**plain.remedy(r), "life_cycle": account.summaries.get(r.name)} for r in remedies],
        "recommended": best.name if best else None, "best_yes": plain_yes.name if plain_yes else None,
        "leakage": leakage.as_data(leakage.report(location, basis, today=how.as_of, chatter=found.chatter, record=False), basis), "money": account.chosen,
    }  # fmt: skip
    if record:
        content["reliability"] = upkeep.reliability_of(location, found, remedies, basis, content["recommended"], how.orders)
    content = plain.clean(content)
    return {
        "tag": location.tag, "verdict": found.verdict, "packed": pack(content),
        "steps": pack(plain.clean(plain.steps(found.steps))) if record else None,
        "summary": plain.clean(_summary(location, whole, found, best, plain_yes)),
        "item": planning.item(content, basis, basis.act_finding_cost),
        "assumptions": [(_family(a.field), a.value, a.rule, a.source) for a in found.assumptions],
        "cause_code": found.cause_code, "hand": hand(found), "problems": [], **_in_time(location, found, basis),
    }  # fmt: skip


def _account(location: Location, found: Assessment, remedies: tuple[Remedy, ...], basis: Basis, how: How) -> cost.Account:
    """Life-cycle cost of every priced remedy, and their order by it; in full that of the recommended one, where steps are kept."""
    if not remedies:
        return cost.Account((), {}, None)
    if not how.record:
        basis = basis.model_copy(update={"money_draws": min(basis.money_draws, FLEET_DRAWS)})
    return cost.account(location, found, remedies, basis, how.orders, in_full=how.record)


def _in_time(location: Location, found: Assessment, basis: Basis) -> dict[str, Any]:
    """What marching did for this valve, whether it is still in doubt, and what the shop found against the prediction."""
    marched = None
    if found.chatter is not None:
        marched = {
            "tag": location.tag, "why": found.chatter_doubt, "verdict": found.chatter.verdict,
            "cases": found.chatter.samples * max(1, len(found.chatter.flows)), "cases_marched": found.chatter.marched,
        }  # fmt: skip
    doubtful = found.stability.status is Status.OK and found.stability.verdict == "unproven"
    return {
        "marched": marched, "in_doubt": doubtful and basis.time_marching != "none",
        "seen": (predictions.predicted(found.stability), predictions.found(location.history)),
    }  # fmt: skip


def _family(name: str) -> str:
    """The field without the number of its case."""
    return ".".join(part for part in name.split(".") if not part.isdigit())


def hand(found: Assessment) -> dict[str, str]:
    """One checkable line for each sizing method used."""
    out: dict[str, str] = {}
    methods = {case.name: case.method for case in found.cases}
    for step in found.steps:
        if step.symbol == "A" and step.expression and step.group.startswith("Case "):
            name = step.group.removeprefix("Case ").split(":")[0]
            if methods.get(name) and methods[name] not in out:
                out[methods[name]] = step.line()
    return out


def _inputs(place: Location) -> list[dict[str, Any]]:
    """Every value with where it came from."""
    return [
        {
            "field": name, "text": origin.text, "from": origin.where, "how": origin.how, "rule": origin.rule,
            "source": origin.source,
        }
        for name, origin in sorted(place.origins.items())
    ]  # fmt: skip


def _summary(
    location: Location, whole: Location, found: Assessment, best: Remedy | None, plain_yes: Remedy | None
) -> dict[str, Any]:
    valve, failing = whole.valve, [f for f in found.findings if f.outcome == "fail"]
    uses = [c.utilisation for c in found.cases if c.utilisation is not None]
    return {
        "tag": location.tag, "unit": location.unit, "sheet": location.sheet, "row": location.row, "kind": valve.kind,
        "designation": designation(whole), "fluid": next((c.fluid for c in whole.cases if c.fluid), None),
        "set_pressure_pa": valve.set_pressure, "operating_pressure_pa": whole.vessel.operating_pressure,
        "operating_ratio": _value(found, "close-to-set"), "verdict": found.verdict, "cause": found.cause,
        "cause_code": found.cause_code, "codes": sorted({f.code for f in failing}),
        "severity": min((f.severity for f in failing), key=lambda s: -WEIGHT[s], default=""),
        "utilisation": max(uses, default=None),
        "inlet_loss_rated": max((c.inlet_loss_rated for c in found.cases if c.inlet_loss_rated is not None), default=None),
        "inlet_loss_required": max(
            (c.inlet_loss_required for c in found.cases if c.inlet_loss_required is not None), default=None),
        "built_up_ratio": _value(found, "back-pressure"), "stability": found.stability.verdict,
        "recommended": best.name if best else None, "recommended_title": best.title if best else None,
        "clears": best.clears if best else None, "condition": best.condition if best else "",
        "best_yes": plain_yes.name if plain_yes else None, "best_yes_title": plain_yes.title if plain_yes else None,
        "fit_verdict": best.fit.verdict if best and best.fit else None,
        "cost_low": best.cost.total.low if best and best.cost else None,
        "cost_mid": best.cost.total.mid if best and best.cost else None,
        "cost_high": best.cost.total.high if best and best.cost else None,
        "crew_hours": best.cost.crew_hours if best and best.cost else None,
        "score": score(found), "defaults": len(found.assumptions), "reasons": list(found.reasons[:3]),
    }  # fmt: skip


def _value(found: Assessment, code: str) -> float | None:
    """The measured value of a check, whether it failed or passed."""
    return next((f.value for f in (*found.findings, *found.passed) if f.code == code and f.value is not None), None)


def designation(place: Location) -> str:
    """Inlet, letter and outlet in one word, as far as known: 4P6."""
    valve = place.valve
    return "".join((
        f"{valve.inlet_size:g}" if valve.inlet_size else "?", valve.orifice or "?",
        f"{valve.outlet_size:g}" if valve.outlet_size else "?",
    ))  # fmt: skip


def score(found: Assessment) -> float:
    """How bad: severity of what fails first, then how far beyond its limit; opens and thins weigh little."""
    total = 0.0
    for f in found.findings:
        if f.outcome == "fail":
            beyond = min(max(-(f.margin or 0.0), 0.0), 3.0)
            total += WEIGHT[f.severity] * (1 + 0.1 * beyond)
        else:
            total += 0.5 if f.outcome == "open" else 0.2
    return total


def unproven(location: Location, lost: Problem, basis: Basis) -> Any:
    """The smallest honest record of a valve whose calculation broke."""
    found = Assessment(location.tag, "unproven", problems=(lost,), reasons=(lost.rule,))
    content = plain.clean({
        "tag": location.tag, "verdict": "unproven", "alias": list(location.alias), "unit": location.unit,
        "sheet": location.sheet, "row": location.row, "twin": location.twin, **plain.assessment(found, with_steps=False),
        **plain.location(location), "inputs": _inputs(location), "remedies": [], "recommended": None, "best_yes": None,
    })  # fmt: skip
    return {
        "tag": location.tag, "verdict": "unproven", "packed": pack(content), "steps": None,
        "summary": plain.clean(_summary(location, location, found, None, None)),
        "item": planning.item(content, basis, basis.act_finding_cost), "assumptions": [], "cause_code": "", "hand": {},
        "problems": [lost], **_in_time(location, found, basis),
    }  # fmt: skip
