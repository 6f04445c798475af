"""What is assessed: each Location of a register with the contradictions found in its row."""

from __future__ import annotations

from collections.abc import Iterator

from quietseat.model import Location, Problem
from quietseat.register.record import Register

Job = tuple[Location, tuple[Problem, ...]]


def jobs_of(found: Register) -> Iterator[Job]:
    """Each Location with the conflicts the register found in its row."""
    by_row: dict[tuple[str | None, int | None], list[Problem]] = {}
    for problem in found.problems:
        if problem.rule.startswith("check: ") and problem.field in JUDGED_BY:
            by_row.setdefault((problem.sheet, problem.row), []).append(problem)
    for location in found.locations:
        yield location, tuple(by_row.get((location.sheet, location.row), ()))


# A conflict in one of these fields leaves the verdict open; others are listed and change nothing.
JUDGED_BY = {
    "valve.set_pressure", "set_pressure", "valve.cdtp", "cdtp", "valve.orifice", "orifice", "location.tag", "tag",
    "valve.designation", "designation", "valve.inlet_size", "inlet_size", "valve.outlet_size", "outlet_size",
    "case.flow", "flow", "valve.effective_area", "effective_area", "valve.actual_area", "actual_area",
    "valve.rated_coefficient", "rated_coefficient", "case.temperature", "temperature",
}  # fmt: skip
