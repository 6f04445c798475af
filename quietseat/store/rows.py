"""The few statements every table of the workspace shares."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, insert, null, select, update

from quietseat.store import tables
from quietseat.store.workspace import now

Row = dict[str, Any]
_BATCH = 500  # rows changed at once


def add(connection: Connection, table: Table, **values: Any) -> int:
    """Add a row, with made_at where the table has it and nobody gave it; returns its number."""
    if "made_at" in table.c and "made_at" not in values:
        values["made_at"] = now()
    return int(connection.execute(insert(table).values(values)).inserted_primary_key[0])  # type: ignore[index]


def one(connection: Connection, table: Table, number: int) -> Row | None:
    """The row of this number, or None."""
    found = connection.execute(select(table).where(table.c.id == number)).mappings().one_or_none()
    return dict(found) if found is not None else None


def listed(connection: Connection, table: Table, **where: Any) -> list[Row]:
    """The rows with these values, in the order they were added."""
    query = select(table).order_by(table.c.id)
    for name, value in where.items():
        query = query.where(table.c[name] == value)
    return [dict(row) for row in connection.execute(query).mappings()]


def change(connection: Connection, table: Table, number: int, values: Mapping[str, Any]) -> None:
    """Change some values of one row."""
    connection.execute(update(table).where(table.c.id == number).values(dict(values)))


def standing(connection: Connection, table: Table, **where: Any) -> list[Row]:
    """The rows nobody has undone."""
    return [row for row in listed(connection, table, **where) if row["undone_at"] is None]


def undo(connection: Connection, table: Table, number: int, who: str, *, plant: int, words: str = "") -> bool:
    """Mark one row of a plant as undone by somebody; False where there is none that stands. words: noted with it."""
    return bool(undo_all(connection, table, table.c.id == number, who, plant=plant, words=words))


def redo(connection: Connection, table: Table, number: int, who: str, *, plant: int) -> bool:
    """Let an undone row stand again; False where there is none. Who undid it and who did this stay in the record."""
    return bool(redo_all(connection, table, table.c.id == number, who, plant=plant))


def undo_all(connection: Connection, table: Table, which: ColumnElement[bool], who: str, *, plant: int, words: str = "", at: str = "") -> list[int]:
    """Mark those rows of a plant that stand as undone by somebody; returns their numbers. at: when, where it is not now."""
    stamp = at or now()
    return _mark(connection, table, which & table.c.undone_at.is_(None), {"undone_by": who, "undone_at": stamp}, plant, ("undone", who, stamp, words))


def redo_all(connection: Connection, table: Table, which: ColumnElement[bool], who: str, *, plant: int) -> list[int]:
    """Let those rows of a plant stand again that are undone; returns their numbers."""
    return _mark(connection, table, which & table.c.undone_at.is_not(None), {"undone_by": None, "undone_at": None}, plant, ("stands again", who, now(), ""))


def _mark(connection: Connection, table: Table, which: ColumnElement[bool], values: Row, plant: int, act: tuple[str, str, str, str]) -> list[int]:
    study = table.c.study_id if "study_id" in table.c else null()
    found = connection.execute(select(table.c.id, study.label("study_id")).where(which, table.c.plant_id == plant)).all()
    done, who, stamp, words = act
    for start in range(0, len(found), _BATCH):
        part = found[start : start + _BATCH]
        connection.execute(update(table).where(table.c.id.in_([row.id for row in part])).values(values))
        connection.execute(insert(tables.event), [
            {"plant_id": plant, "study_id": row.study_id, "kind": table.name, "row": row.id, "done": done, "words": words, "who": who, "made_at": stamp}
            for row in part
        ])  # fmt: skip
    return [row.id for row in found]


def note(
    connection: Connection, plant: int, kind: str, done: str, who: str, *, row: int | None = None, study: int | None = None,
    before: str | None = None, after: str | None = None, words: str = "",
) -> int:  # fmt: skip
    """Enter in the record what somebody did ("" for who: the program). The columns are those of tables.event. Returns its number."""
    return add(
        connection, tables.event, plant_id=plant, study_id=study, kind=kind, row=row, done=done, before=before, after=after, words=words, who=who
    )


def noted(connection: Connection, plant: int, **where: Any) -> list[Row]:
    """What the record of a plant tells with these values, in the order it was done."""
    return listed(connection, tables.event, plant_id=plant, **where)


def with_acts(connection: Connection, plant: int, kind: str, some: list[Row]) -> list[Row]:
    """Rows of one table, each with `acts`: what the record tells of it after it was made, oldest first (done, who, made_at, words)."""
    acts: dict[int, list[Row]] = {}
    for start in range(0, len(some), _BATCH):
        numbers = [row["id"] for row in some[start : start + _BATCH]]
        event = tables.event.c
        query = select(tables.event).where(event.plant_id == plant, event.kind == kind, event.row.in_(numbers)).order_by(event.id)
        for one in connection.execute(query).mappings():
            acts.setdefault(one["row"], []).append(dict(one))
    return [{**row, "acts": acts.get(row["id"], [])} for row in some]
