"""The answers of the one-valve commands as plain data: `size`, `valve` and `chatter`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from quietseat import plain
from quietseat.assess import Asking, Screened, assess, screen
from quietseat.assess.checks.stability import WORST, situations
from quietseat.basis import Basis
from quietseat.casefile import as_stated, read_size, read_valve
from quietseat.dynamics.situation import Situation
from quietseat.formula import Sheet
from quietseat.model import Assessment, Assumption, Chatter, Problem
from quietseat.sizing import size
from quietseat.sizing.filled import complete
from quietseat.sizing.request import Result
from quietseat.status import CalculationFailed, InputUnusable, Status

ENGINES = ("local", "cuda")
CAUTIONS = (
    "The model predicts; it does not prove. Nothing here has been compared with a measured map of stable and unstable points.",
    "Counts of impacts, peak pressures and energies are chaotic: only the class (quiet, flutters, chatters, cycles) repeats.",
    "Several valves on one line, resonance of the outlet line, wear and sideways motion of the disc are outside the model.",
)
# What of the assumptions of an assessment has a say in the motion of the disc.
_MOVING = ("valve.kind", "valve.pilot", "valve.blowdown", "valve.effective", "inlet.", "outlet.", "vessel.volume", "cases.")
_IDLE = ("rate_basis", "accumulation", "required")
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
    """Assess one valve file, marching in time what closed form leaves in doubt.

    Traces, map and limits come with `chatter`. Raises InputUnusable where the file cannot be used.
    """
    case = read_valve(path)
    found = assess(case.location, case.basis, asking=Asking(case.basis.chatter_samples))
    answer: dict[str, Any] = plain.assessment(found)
    answer["problems"] += [p.as_dict() for p in _unanswered(found, _name(path))]
    out: dict[str, Any] = plain.clean(answer)
    return out


def chatter_answer(path: str, samples: int | None = None, engine: str = "local") -> dict[str, Any]:
    """March one valve file in time (contract `chatter`).

    samples: draws of what nobody stated (default: the Basis; 1 = the stated parameters once). engine: "local" or
    "cuda". A run that diverges is a status and the verdict unproven, never an error. Raises InputUnusable where the
    file, the samples or the engine cannot be used.
    """
    if samples is not None and samples < 1:
        raise InputUnusable(f"--samples {samples}: must be at least 1.")
    usable_engine(engine)
    case = read_valve(path)
    place, stated = as_stated(case)
    screened = screen(place, case.basis, record=False)
    try:
        each = _asked(screened, case.run)
        found = _worst(_marched(each, case.run, case.basis, samples, engine))
    except CalculationFailed as failed:
        found = Chatter(failed.status, failed.reason, words=f"Not judged: {failed.reason}.")
    problems = [] if found.status is Status.OK else [Problem(found.reason, _MEND[found.status], _name(path))]
    answer: dict[str, Any] = plain.chatter(found)
    answer = {"tag": place.tag, "engine": engine, **answer, "problems": [p.as_dict() for p in problems]}
    answer["assumptions"] = [asdict(a) for a in (*stated, *_moving(screened.assumptions), *found.assumptions)]
    out: dict[str, Any] = plain.clean({**answer, "cautions": list(CAUTIONS)})
    return out


def usable_engine(engine: str) -> None:
    """Raise InputUnusable, one sentence, where this machine cannot march with an engine ("local" or "cuda")."""
    if engine not in ENGINES:
        raise InputUnusable(f"engine {engine!r} is not known; use --engine local or --engine cuda.")
    if engine == "cuda":
        from quietseat.march.cuda import driver

        try:
            driver()
        except CalculationFailed as failed:
            raise InputUnusable(f'{failed.reason} (pip install "quietseat[cuda]", on a machine with an NVIDIA GPU).') from failed


def _asked(screened: Screened, run: Mapping[str, Any]) -> list[Situation]:
    """The situations to march: every phase the valve relieves, or that of the first case where [run] states a flow."""
    view = screened.view
    try:
        each = situations(view) if view.set_gauge is not None else []
    except (ValueError, ZeroDivisionError, OverflowError) as error:  # data no valve can have
        raise CalculationFailed(Status.NOT_COMPUTED, f"the equations have no value here ({error})") from error
    if not each:
        ended = next((c.result for c in view.cases if c.result.reason), None)
        reason = ended.reason if ended else "no case says which fluid flows" if not view.cases else "set pressure unknown"
        raise CalculationFailed(ended.status if ended else Status.NOT_COMPUTED, reason)
    if view.pipes.inlet is None:
        raise CalculationFailed(Status.NOT_COMPUTED, view.pipes.inlet_reason)
    if "flow" not in run and "flow_fraction" not in run:
        return each
    phase = view.location.cases[0].phase  # a stated flow is that of the first case
    return [next((one for one in each if one.phase == phase), each[0])]


def _marched(
    each: Sequence[Situation], run: Mapping[str, Any], basis: Basis, samples: int | None, engine: str
) -> list[Chatter]:
    from quietseat.march.chatter import Question, chatter

    found = []
    for one in each:
        flow, share = run.get("flow"), run.get("flow_fraction")
        if share is not None:
            if one.full_flow is None:
                raise CalculationFailed(Status.NOT_COMPUTED, "the flow at 110 % of set is unknown: give run.flow instead")
            flow = share * one.full_flow
        question = Question(
            one, flow=flow, start=run.get("start", "shut"), cells=run.get("cells"), duration=run.get("duration"),
            samples=samples, details=True,
        )  # fmt: skip
        found.append(chatter(question, basis, engine=engine))
    return found


def _worst(found: Sequence[Chatter]) -> Chatter:
    """The worst of several answers; one that did not end ok comes first, for it can hide anything."""
    return min(found, key=lambda one: (one.status is Status.OK, WORST.index(one.verdict), -(one.chatter_probability or 0.0)))


def _moving(assumptions: Sequence[Assumption]) -> list[Assumption]:
    """Those assumptions of an assessment that have a say in the motion of the disc."""
    return [a for a in assumptions if a.field.startswith(_MOVING) and not a.field.endswith(_IDLE)]


def _unanswered(found: Assessment, file: str) -> list[Problem]:
    """One problem a case that did not end ok, so that a status is never without its reason."""
    return [
        Problem(f"{result.name}: {result.reason}", _MEND.get(result.status), file, field="case")
        for result in found.cases if result.status is not Status.OK
    ]  # fmt: skip


def _name(path: str) -> str:
    return "standard input" if path == "-" else Path(path).name
