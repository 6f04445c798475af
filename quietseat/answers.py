"""The answers of the one-valve commands as plain data: `size` and `valve`."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from quietseat import plain
from quietseat.assess import assess
from quietseat.casefile import read_size, read_valve
from quietseat.formula import Sheet
from quietseat.model import Problem
from quietseat.sizing import size
from quietseat.status import Status


def size_answer(path: str) -> dict[str, Any]:
    """Size one case file. Raises InputUnusable where the file cannot be used."""
    case = read_size(path)
    sheet = Sheet()
    result = size(case.request, case.basis, sheet)
    count, letter = result.valves or (None, None)
    problems = [] if result.status is Status.OK else [Problem(result.reason, file=path)]
    answer: dict[str, Any] = plain.clean({
        "status": str(result.status), "reason": result.reason, "method": result.method, "standard": result.standard,
        "edition": result.edition, "required_area_m2": result.required_area, "orifice": result.orifice,
        "orifice_reason": result.orifice_reason,
        "valves": {"count": count, "orifice": letter} if result.valves else None,
        "selected_area_m2": result.selected_area, "regime": result.regime,
        "relieving_pressure_pa": result.relieving_pressure, "back_pressure_pa": result.back_pressure,
        "factors": dict(result.factors), "mass_flux_kg_m2_s": result.mass_flux, "flow_kg_s": result.flow,
        "omega": result.omega, "eta_c": result.eta_c, "choking_pressure_pa": result.choking_pressure,
        "reynolds": result.reynolds, "flags": [*result.flags, *sheet.flags],
        "steps": plain.steps(tuple(sheet.steps())), "problems": [p.as_dict() for p in problems],
        "assumptions": [asdict(a) for a in case.assumptions],
    })  # fmt: skip
    return answer


def valve_answer(path: str) -> dict[str, Any]:
    """Assess one valve file. Raises InputUnusable where the file cannot be used."""
    case = read_valve(path)
    answer: dict[str, Any] = plain.clean(plain.assessment(assess(case.location, case.basis)))
    return answer
