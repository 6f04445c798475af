"""The questions of a fleet, ranked by what an hour of asking brings, and who walks where with which list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from quietseat.basis import Basis
from quietseat.questions.ask import Question, asked
from quietseat.register import Job

CHUNK = 100  # valves whose answers are assessed together
RULE = (
    "Each unknown stands at three equally likely answers (the middles of the thirds of its range). For every combination of an "
    "orthogonal array the valve is assessed and its remedies are proposed. Value: what the best decision costs without the answer, "
    "less what it costs on average with it. A cure left undone costs its price times a factor for being late, "
    "and what a misfit costs a year where that is stated (Basis: late_cure_factor, misfit_cost)."
)


def of_fleet(jobs: Sequence[Job], basis: Basis) -> dict[str, Any]:
    """The questions about the first `asked_valves` of the jobs, as study.json keeps them. jobs: in the order of their trouble."""
    chosen = jobs[: basis.asked_valves]
    answers = [one for start in range(0, len(chosen), CHUNK) for one in asked(chosen[start : start + CHUNK], basis)]
    questions = ranked([question for one in answers for question in one.questions], basis)
    notes = [f"{one.tag}: not valued, the calculation failed inside ({one.failed})" for one in answers if one.failed]
    if len(jobs) > len(chosen):
        notes.append(f"asked of the worst {len(chosen)} of {len(jobs)} valves (Basis choice asked_valves)")
    return {
        "currency": basis.currency, "rule": RULE, "questions": questions, "visits": visits(questions),
        "valves": [{"tag": one.tag, "value_of_all": one.worth_of_all} for one in answers if one.worth_of_all > 0],
        "valves_asked": len(chosen), "valves_found": len(jobs), "notes": notes,
        "assumptions": [
            {"field": "ranges and hours of questions", "value": "table question_fields", "rule": "what nobody knows lies in these "
             "ranges, each third of them equally likely", "source": "estimate"},
            {"field": "late_cure_factor", "value": basis.text("late_cure_factor"), "rule": "price of a late cure over one done now",
             "source": "estimate"},
        ],
    }  # fmt: skip


def ranked(questions: Sequence[Question], basis: Basis) -> list[dict[str, Any]]:
    """Contradictions first, then by money gained an hour of asking, then what keeps a check open; with the net value after paying for the asking."""
    out = []
    for one in questions:
        entry = asdict(one)
        entry["where"] = entry.pop("place")
        entry["form_field"] = one.answers[0].field if one.answers else ""
        entry["per_hour"] = None if one.value is None else one.value / one.hours
        entry["net_value"] = None if one.value is None else one.value - one.hours * basis.labour_rate
        out.append(entry)
    return sorted(out, key=lambda e: (e["kind"] != "contradiction", -(e["per_hour"] or 0.0), e["kind"] != "open check", e["tag"], e["field"]))


def visits(questions: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Who walks where: hours and value of each list, the most rewarding first."""
    groups: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for one in questions:
        groups.setdefault((one["who"], one["where"]), []).append(one)
    out = [
        {"who": who, "where": where, "count": len(members), "valued": sum(one["value"] is not None for one in members), "hours": sum(one["hours"] for one in members),
         "value": sum(one["value"] or 0.0 for one in members), "tags": list(dict.fromkeys(one["tag"] for one in members))}
        for (who, where), members in groups.items()
    ]  # fmt: skip
    return sorted(out, key=lambda group: (-group["value"] / group["hours"], group["who"], group["where"]))
