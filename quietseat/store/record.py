"""The record of a plant: everything that was done to it, by whom, when and why, out of all tables, in the order of time.

A name is what somebody gave; nobody checks who gave it. Nothing of the record is ever removed or changed.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy import Connection, func, select

from quietseat.store import rows, tables
from quietseat.store.rows import Row

# What a line can be about, in words. A line of the record has one of these as `kind`.
KINDS = {
    "plant": "plant", "mend": "mend", "choice": "choice of the Basis", "decision": "decision", "pin": "hold in the plan", "remark": "remark",
    "view": "saved view", "study": "study, issue, lock", "job": "work",
}  # fmt: skip
COLUMNS = ("when", "who", "kind", "done", "about", "before", "after", "why", "number")
PROGRAM = "the program"


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that was done. when: UTC. who: a name, or "the program". number: of the row it is about, so that its lines can be put together."""

    when: str
    who: str
    kind: str
    done: str
    about: str
    before: str
    after: str
    why: str
    number: int | None

    def plain(self) -> dict[str, Any]:
        """Its COLUMNS by name."""
        return asdict(self)


def mark(connection: Connection, plant: int) -> tuple[Any, ...]:
    """What differs once the record of a plant has become longer."""
    listed = [tables.metadata.tables[kind] for kind in (*_ROWS, "event")]
    newest = [connection.execute(select(func.max(table.c.id)).where(table.c.plant_id == plant)).scalar() for table in listed]
    ended = select(func.count(tables.job.c.ended_at), func.max(tables.job.c.ended_at)).where(tables.job.c.plant_id == plant)
    return (*newest, *connection.execute(ended).one())


def lines(connection: Connection, plant: int) -> list[Line]:
    """Every line of the record of a plant, the oldest first."""
    studies = connection.execute(select(tables.study.c.id, tables.study.c.number).where(tables.study.c.plant_id == plant))
    numbers: dict[int, int] = {row.id: row.number for row in studies}
    made: list[Line] = []
    about: dict[tuple[str, int], str] = {}
    for kind, tell in _ROWS.items():
        for row in rows.listed(connection, tables.metadata.tables[kind], plant_id=plant):
            told = tell(row, numbers)
            about[kind, row["id"]] = told[0]
            made.append(_line(row, kind, "started" if kind == "job" else "made", *told, number=row["id"]))
            made += _ended(row, told[0]) if kind == "job" else ()
    made += [_event(row, about, numbers) for row in rows.noted(connection, plant)]
    return sorted(made, key=lambda line: (line.when, line.done != "brought in"))  # of one moment: rows before what was done to them


def _line(row: Mapping[str, Any], kind: str, done: str, about: str, before: Any = "", after: Any = "", why: Any = "", *, number: int | None) -> Line:
    told, was, now, reason = ("" if text is None else str(text) for text in (about, before, after, why))
    return Line(str(row["made_at"]), str(row["who"]) or PROGRAM, kind, done, told, was, now, reason, number)


def _ended(row: Row, about: str) -> Iterator[Line]:
    if row["ended_at"] and row["state"] in ("done", "failed"):
        yield Line(row["ended_at"], PROGRAM, "job", row["state"], about, "", "", row["error"] or "", row["id"])


def _event(row: Row, about: Mapping[tuple[str, int], str], numbers: Mapping[int, int]) -> Line:
    what = about.get((row["kind"], row["row"]), "")
    if row["kind"] == "study" and row["study_id"] is not None:
        what = f"study {numbers[row['study_id']]}"
    return _line(row, row["kind"], row["done"], what, row["before"], row["after"], row["words"], number=row["row"])


# --- What a row of each table tells when it was made: about, before, after, why --------------------------------------

_Told = tuple[str, Any, Any, Any]


def _mend(row: Row, _: Mapping[int, int]) -> _Told:
    where = [row["sheet"] or "", f"row {row['row']}" if row["row"] is not None else "", row["field"]]
    return ", ".join(part for part in where if part), "", row["value"], row["why"]


def _choice(row: Row, _: Mapping[int, int]) -> _Told:
    before, after = ("the default" if text is None else text for text in (row["before"], row["value"]))
    return row["name"], before, after, row["why"]


def _decision(row: Row, _: Mapping[int, int]) -> _Told:
    return row["tag"], "", row["title"], row["why"]


def _pin(row: Row, _: Mapping[int, int]) -> _Told:
    return row["tag"], "", f"held {row['place']}", ""


def _remark(row: Row, numbers: Mapping[int, int]) -> _Told:
    study = f"study {numbers[row['study_id']]}" if row["study_id"] is not None else "the next study"
    return ", ".join(part for part in (study, row["tag"]) if part), "", row["words"], ""


def _view(row: Row, _: Mapping[int, int]) -> _Told:
    return row["name"], "", row["query"], ""


def _job(row: Row, numbers: Mapping[int, int]) -> _Told:
    given = json.loads(row["given"])
    study = numbers.get(given.get("study", 0))
    told: dict[str, str] = {
        "study": f"study, {given.get('stage')}", "report": f"files of study {study}", "what-if": f"what-if of {given.get('tag')}",
        "compare": f"comparison of studies {numbers.get(given.get('old', 0))} and {numbers.get(given.get('new', 0))}",
    }  # fmt: skip
    changes = given.get("changes")
    return told.get(str(row["kind"]), str(row["kind"])), "", "; ".join(f"{name}: {value}" for name, value in changes.items()) if changes else "", ""


_ROWS: dict[str, Callable[[Row, Mapping[int, int]], _Told]] = {
    "mend": _mend, "choice": _choice, "decision": _decision, "pin": _pin, "remark": _remark, "view": _view, "job": _job,
}  # fmt: skip
