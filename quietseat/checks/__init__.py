"""Outside checks: printed examples, closed forms and independent libraries, run over the packaged data.

The expected values stand in `data/checks/*.toml` with their sources; nothing expected is taken from this package.
"""

from __future__ import annotations

import pkgutil
from functools import lru_cache
from typing import Any

from quietseat.checks import calculations, economics, emissions, marching, planning, questions, reliability
from quietseat.checks.reading import Call, Expectation, Group, from_si, load, to_si
from quietseat.status import Assumption, CalculationFailed, InputUnusable, Problem, Status

__all__ = ["Group", "load", "outcome", "run", "run_line"]

_CALCULATIONS = {**calculations.CALCULATIONS, **economics.CALCULATIONS, **marching.CALCULATIONS, **emissions.CALCULATIONS, **reliability.CALCULATIONS, **questions.CALCULATIONS, **planning.CALCULATIONS}


def run(only: str | None = None) -> dict[str, Any]:
    """Run the packaged checks: status, problems, assumptions and checks[] as plain data.

    only: a word; checks whose topic or name holds it. Every check has name, topic, case, source, page, confidence,
    unit, expected, tolerance (a number in the unit; 0 for words), obtained, difference and result: pass, fail, or
    "skipped (library X absent)". A check that cannot be calculated fails and is also a problem.
    """
    lines, problems = [], []
    for group in load():
        for line in group.expect:
            if only is None or only in group.topic or only in line.name:
                answer = run_line(group, line)
                reason = answer.pop("reason")
                lines.append(answer)
                if reason:
                    problems.append(Problem(reason, file=f"{group.topic}.toml", field=line.name).as_dict())
    assumptions: list[Assumption] = []
    return {"status": str(Status.OK), "problems": problems, "assumptions": assumptions, "checks": lines}


def run_line(group: Group, line: Expectation) -> dict[str, Any]:
    """One line of the table of checks; `reason` says why a value could not be had, else it is empty."""
    answer: dict[str, Any] = {
        "name": line.name, "topic": group.topic, "case": group.case, "source": line.source.short, "page": line.page,
        "confidence": line.confidence, "unit": line.unit, "expected": line.expected, "tolerance": None,
        "obtained": None, "difference": None, "result": "fail", "reason": "",
    }  # fmt: skip
    try:
        if line.call is not None:
            answer["expected"] = from_si(_called(line.call, group), line.unit)
        values = outcome(group)
        if line.quantity not in values:
            raise CalculationFailed(Status.NOT_COMPUTED, str(values.get("reason") or f"no {line.quantity} came out"))
        _compare(answer, line, values[line.quantity])
    except ModuleNotFoundError as error:
        absent = (error.name or "").partition(".")[0]
        if line.call is None or absent != line.call.library:
            raise
        answer["result"] = f"skipped (library {absent} absent)"
    except (CalculationFailed, InputUnusable, ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        answer["reason"] = str(error)
    return answer


def _compare(answer: dict[str, Any], line: Expectation, value: Any) -> None:
    expected = answer["expected"]
    if isinstance(expected, str):
        answer |= {"obtained": str(value), "tolerance": 0.0, "result": "pass" if str(value) == expected else "fail"}
        return
    obtained = from_si(float(value), line.unit)
    difference, allowed = obtained - expected, line.allowed(expected)
    # The last digit of a tolerance is a decimal number: leave room for its binary rounding.
    result = "pass" if abs(difference) <= allowed * (1 + 1e-9) else "fail"
    answer |= {"obtained": obtained, "tolerance": allowed, "difference": difference, "result": result}


@lru_cache(maxsize=512)
def outcome(group: Group) -> dict[str, Any]:
    """What the calculation of a check gives, by quantity, SI. Raises CalculationFailed."""
    if group.calculation == "size":
        return calculations.size_case(dict(group.inputs))
    calculation = _CALCULATIONS.get(group.calculation)
    if calculation is None:
        raise CalculationFailed(Status.NOT_COMPUTED, f"no calculation is called {group.calculation!r}")
    return calculation(**{name: to_si(value) for name, value in group.inputs.items()})


def _called(call: Call, group: Group) -> float:
    """The value an independent library gives for the inputs of the group, SI."""
    function = pkgutil.resolve_name(call.function)
    if isinstance(call.arguments, list):
        result = function(*(_argument(spec, group) for spec in call.arguments))
    else:
        result = function(**{key: _argument(spec, group) for key, spec in call.arguments.items()})
    return float(getattr(result, call.attribute) if call.attribute else result) * call.times


def _argument(spec: Any, group: Group) -> Any:
    if isinstance(spec, list):
        name, factor = spec
        return to_si(group.inputs[name]) * factor
    if isinstance(spec, str):
        return to_si(group.inputs[spec]) if spec in group.inputs else spec
    return spec
