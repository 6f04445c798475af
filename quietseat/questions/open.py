"""What keeps a verdict open and has no price: asked for all the same, so that no unproven valve is without a question."""

from __future__ import annotations

from collections.abc import Iterable

from quietseat.assess.checks.common import plain
from quietseat.model import Assessment
from quietseat.remedies import asking
from quietseat.tables import Row, table

Task = tuple[str, Row, str]  # in words; who answers it where; full name of the field it fills, or ""


def tasks(assessment: Assessment, asked: Iterable[str]) -> list[Task]:
    """The tasks that would close the open checks of an unproven valve, less those about fields asked for already.

    asked: full names of fields ("cases.0.flow"). Contradictions of the register are questions of their own and not given again.
    """
    if assessment.verdict != "unproven":
        return []
    known = {_family(field) for field in asked}
    opened = [finding for finding in assessment.findings if finding.outcome == "open"]
    contradictions = {problem.sentence() for problem in assessment.problems}
    opened = [finding for finding in opened if finding.words not in contradictions]
    rests = {plain(field): field for finding in opened for field in finding.rests_on}
    out: list[Task] = []
    for task in asking.wanted(opened):
        row = _row(task, rests)
        field = next((full for words, full in rests.items() if words in task and "." in full), str(row["field"] or ""))
        if not field or _family(field) not in known:
            known.add(_family(field))
            out.append((task, row, field))
    return out


def _row(task: str, rests: dict[str, str]) -> Row:
    rows = table("question_tasks")
    for row in rows:
        word = str(row["word"])
        if word in task or any(full.startswith(word) and words in task for words, full in rests.items()):
            return row
    return rows.row(word="other")


NOBODY = ("the register and the nameplate", "inspection engineer", 0.5)  # place, who, hours where no table names the field


def asked_where(field: str) -> tuple[str, str, float]:
    """Place, person and hours of a field of the register (full name), as the tables of questions have them."""
    row = next((row for name in ("question_fields", "question_tasks") for row in table(name) if row["field"] == field), None)
    return (str(row["place"]), str(row["who"]), float(row["hours"])) if row is not None else NOBODY


def _family(field: str) -> str:
    """The field without the number of its case."""
    table_name, _, key = field.rpartition(".")
    return f"case.{key}" if table_name.startswith("case") else field
