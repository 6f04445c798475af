"""The answers of the one-valve commands as plain data: `size` and `valve`."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from quietseat import plain
from quietseat.assess import assess
from quietseat.casefile import read_size, read_valve
from quietseat.formula import Sheet
from quietseat.model import Assessment, Problem
from quietseat.sizing import size
from quietseat.sizing.filled import complete
from quietseat.sizing.request import Result
from quietseat.status import CalculationFailed, Status

_MEND = {
    Status.OUT_OF_RANGE: "change the value the sentence names, or choose a method that covers it",
    Status.NOT_CONVERGED: "check the inputs: no answer of this size makes sense",
    Status.NOT_COMPUTED: "give what the sentence says is missing",
}


def size_answer(path: str) -> dict[str, Any]:
    """Size one case file. Raises InputUnusable where the file cannot be used."""
    case = read_size(path)
    sheet = Sheet()
    assumptions = case.assumptions
    request = case.request
    standard, edition = request.standard or case.basis.standard, request.edition or case.basis.edition
    try:
        request, filled = complete(request, case.basis, sheet)
        assumptions = (*assumptions, *filled)
        flags = tuple(sheet.flags)
        result = size(request, case.basis, sheet)
    except CalculationFailed as failed:
        flags = tuple(sheet.flags)
        result = Result(failed.status, failed.reason, request.method, standard, edition)
    count, letter = result.valves or (None, None)
    problems = [] if result.status is Status.OK else [Problem(result.reason, _MEND[result.status], _name(path))]
    answer: dict[str, Any] = plain.clean({
        "status": str(result.status), "reason": result.reason, "method": result.method, "standard": result.standard,
        "edition": result.edition, "required_area_m2": result.required_area, "orifice": result.orifice,
        "orifice_reason": result.orifice_reason,
        "valves": {"count": count, "orifice": letter} if result.valves else None,
        "selected_area_m2": result.selected_area, "regime": result.regime,
        "relieving_pressure_pa": result.relieving_pressure, "back_pressure_pa": result.back_pressure,
        "factors": dict(result.factors), "mass_flux_kg_m2_s": result.mass_flux, "flow_kg_s": result.flow,
        "omega": result.omega, "eta_c": result.eta_c, "choking_pressure_pa": result.choking_pressure,
        "reynolds": result.reynolds, "flags": list(dict.fromkeys((*flags, *result.flags))),
        "steps": plain.steps(tuple(sheet.steps())), "problems": [p.as_dict() for p in problems],
        "assumptions": [asdict(a) for a in assumptions],
    })  # fmt: skip
    return answer


def valve_answer(path: str) -> dict[str, Any]:
    """Assess one valve file. Raises InputUnusable where the file cannot be used."""
    case = read_valve(path)
    found = assess(case.location, case.basis)
    answer: dict[str, Any] = plain.assessment(found)
    answer["problems"] += [p.as_dict() for p in _unanswered(found, _name(path))]
    out: dict[str, Any] = plain.clean(answer)
    return out


def _unanswered(found: Assessment, file: str) -> list[Problem]:
    """One problem a case that did not end ok, so that a status is never without its reason."""
    return [
        Problem(f"{result.name}: {result.reason}", _MEND.get(result.status), file, field="case")
        for result in found.cases if result.status is not Status.OK
    ]  # fmt: skip


def _name(path: str) -> str:
    return "standard input" if path == "-" else Path(path).name
