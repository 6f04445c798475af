"""Where an answer goes: the field it decides, in the row that holds it, with the values already stated and how to write another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from quietseat.model import Location, Problem
from quietseat.register import places
from quietseat.register.fields import UNIT_OF, by_name, example_unit, fields, shown
from quietseat.status import Settles

_MEANING = {
    "signed": "the owner has signed it for this relief case", "nameplate": "it is the stamped capacity, and no relief load",
}  # fmt: skip
REMARK = "answer"  # the field of a mend that keeps an answer no field of the register holds
_BARE = ("number", "pressure_class", "designation", "pipe_size")


@dataclass(frozen=True, slots=True)
class Answer:
    """One field an answer may go into.

    field: as a mends file names it; title: the field in words; offers: values already stated or to choose from, each with what it
    means; unit: how another one is written, "" where only the offers fit.
    """

    field: str
    sheet: str
    row: int
    title: str
    offers: tuple[tuple[str, str], ...] = ()
    unit: str = ""


def of_problem(location: Location, problem: Problem) -> tuple[Answer, ...]:
    """The fields that would settle a contradiction; a remark where none does."""
    made = tuple(made for one in problem.settles if (made := _settling(location, problem, one)) is not None)
    return made or remark(location)


def _settling(location: Location, problem: Problem, one: Settles) -> Answer | None:
    sheet, row = (one.sheet, one.row) if one.row is not None else (problem.sheet, problem.row)
    made = _made(one.field, sheet or location.sheet, row, one.values) if one.field in fields() else None
    if made is None or one.field != "location.tag":
        return made
    own = one.row is None
    return replace(made, title=f"Row {row}: leave it out{', or give it its own tag' if own else ''}", unit="its own tag, where it is another valve" if own else "")


def of_field(location: Location, path: str) -> tuple[Answer, ...]:
    """The field of a path of a Location ("inlet.length", "cases.1.flow"); a remark where it is no field of a register."""
    parts = path.split(".")
    sheet, row = location.sheet, location.row
    if len(parts) == 3 and parts[0] == "cases":
        sheet, row = places.of_case(location, int(parts[1]))
        path = f"case.{parts[2]}"
    made = _made(path, sheet, row, ()) if path in fields() else None
    return (made,) if made is not None else remark(location)


def remark(location: Location) -> tuple[Answer, ...]:
    """An answer that no field holds; none where the valve has no row."""
    if location.row is None:
        return ()
    return (Answer(REMARK, location.sheet or "", location.row, "what was found"),)


def of_saved(question: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The answers of a question of a saved study; one saved before they were kept has the field it named, or a remark."""
    if "answers" in question:
        return list(question["answers"])
    if question["row"] is None:
        return []
    field = question["form_field"] if question["form_field"] in by_name() else REMARK
    title = fields()[by_name()[field]].description if field != REMARK else "what was found"
    return [{"field": field, "sheet": question["sheet"], "row": question["row"], "title": title, "offers": [], "unit": str(question["unit"]).replace("|", ", ")}]


def _made(name: str, sheet: str | None, row: int | None, values: tuple[tuple[str, str], ...]) -> Answer | None:
    if row is None:
        return None
    field = fields()[name]
    choices = field.choices if field.quantity in ("choice", "block_valve") else ()
    offers = values or tuple((value, _MEANING.get(value, "")) for value in choices if value != "unknown")
    return Answer(shown(name), sheet or "", row, field.description.partition(";")[0].partition(",")[0], offers, _how(name))


def _how(name: str) -> str:
    field = fields()[name]
    if field.quantity in UNIT_OF and field.quantity not in _BARE:
        return f"in {example_unit(name)} or another unit"
    return {"designation": "as 4P6", "pipe_size": "as NPS 4 or DN 100", "pressure_class": "as 150", "date": "as 2026-03-31", "letter": "D to T",
            "yes_no": "yes or no", "integer": "a whole number", "number": "a number", "schedule": "as 40"}.get(field.quantity, "")  # fmt: skip
