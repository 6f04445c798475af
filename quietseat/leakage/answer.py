"""The answer of `leak` as plain data."""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from typing import Any

from quietseat import plain
from quietseat.basis import Basis
from quietseat.casefile import read_valve
from quietseat.emissions import LiftMass, potential, price_of
from quietseat.leakage.records import LeakReport, Since
from quietseat.leakage.report import report
from quietseat.model import Problem, Spread
from quietseat.status import Status

_MEND = "give what the sentence says is missing"


def leak_answer(case: str, today: date | None = None) -> dict[str, Any]:
    """What one valve file leaks (contract `leak`): all bases, the one that applies, CO2 equivalent, route, rules.

    case: path of the file, "-" for standard input. today: the day its dates are held against (default: the calendar).
    Raises InputUnusable where the file cannot be used; a figure that cannot be had is a status with its reason.
    """
    read = read_valve(case)
    name = "standard input" if case == "-" else Path(case).name
    found = report(read.location, read.basis, today=today)
    problems = [replace(problem, file=name) for problem in found.problems]
    if found.status is not Status.OK:
        problems.append(Problem(found.reason, _MEND, name))
    out: dict[str, Any] = plain.clean({
        "status": str(found.status), "reason": found.reason, "tag": read.location.tag, **as_data(found, read.basis),
        "problems": [problem.as_dict() for problem in problems], "assumptions": [asdict(a) for a in found.assumptions],
        "steps": plain.steps(found.steps),
    })  # fmt: skip
    return out


def as_data(found: LeakReport, basis: Basis) -> dict[str, Any]:
    """A report as plain data, SI with the unit in the key; null where there is no figure."""
    ok = found.status is Status.OK
    factor, mark = potential(basis.gwp_set)
    worth = basis.utility_price if found.split and found.split.utility else basis.product_price
    chosen = found.chosen.basis if found.chosen else None
    return {
        "bases": [
            {
                "basis": leak.basis, "source": leak.source or None, "year": leak.year, "low_kg_s": leak.low, "mid_kg_s": leak.mid,
                "high_kg_s": leak.high, "applies": leak.applies, "why": leak.why, "confidence": leak.confidence or None,
            }
            for leak in found.leaks
        ],
        "basis": chosen,
        "co2e_kg_a": {**asdict(found.co2e), "basis": chosen} if ok else None,
        "route": found.discharge_to, "route_words": found.route.words,
        "fugitive": found.route.fugitive,
        "product_kg_a": _range(found.product) if ok else None,
        "methane_kg_a": _range(found.methane) if ok else None,
        "parts": [
            {
                "name": part.name, "low_kg_s": part.low, "mid_kg_s": part.mid, "high_kg_s": part.high, "words": part.words,
                "confidence": part.confidence,
            }
            for part in found.parts
        ],
        "co2e_parts_kg_a": _range(found.co2e_parts) if ok else None,
        "lift_mass_kg": _lift(found.lift),
        "since_clean_survey": _since(found.since),
        "pilot_residual_kg_s": _range(found.residual), "pilot_credit": _range(found.credit),
        "composition": asdict(found.split) if found.split else None,
        "gwp": {"set": basis.gwp_set, "methane": factor, "confidence": mark},
        "rule_pack": basis.rule_pack, "rules": list(found.rules), "charge_a": _range(found.charge) if ok else None,
        "carbon_cost_a": _range(_priced(found.co2e + found.co2e_parts, basis.carbon_price)) if ok else None,
        "product_cost_a": _range(_priced(found.product, worth * 1000)) if ok else None,
        "currency": basis.currency, "notes": list(found.notes),
    }  # fmt: skip


def _priced(mass: Spread, tonne: float) -> Spread:
    """Money of a mass at a price a tonne."""
    return Spread(*(price_of(mass=value, price=tonne / 1000) for value in (mass.low, mass.mid, mass.high)))


def _range(found: Spread | None) -> dict[str, float] | None:
    return {"low": found.low, "mid": found.mid, "high": found.high} if found else None


def _lift(found: LiftMass | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {"low": found.low, "mid": found.mid, "high": found.high, "by": found.by, "words": found.words}


def _since(found: Since | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "from": found.start.isoformat(), "to": found.end.isoformat(), "hours": found.hours, "product_kg": _range(found.product),
        "co2e_kg": _range(found.co2e),
    }  # fmt: skip
