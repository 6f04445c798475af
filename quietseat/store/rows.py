"""The few statements every table of the workspace shares."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, Table, insert, select, update

from quietseat.store.workspace import now

Row = dict[str, Any]


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


def undo(connection: Connection, table: Table, number: int, who: str, *, plant: int) -> bool:
    """Mark one row of a plant as undone by somebody; False where there is none that stands."""
    query = update(table).where(table.c.id == number, table.c.plant_id == plant, table.c.undone_at.is_(None))
    return connection.execute(query.values(undone_by=who, undone_at=now())).rowcount == 1


def redo(connection: Connection, table: Table, number: int, *, plant: int) -> bool:
    """Let an undone row stand again; False where there is none."""
    query = update(table).where(table.c.id == number, table.c.plant_id == plant, table.c.undone_at.is_not(None))
    return connection.execute(query.values(undone_by=None, undone_at=None)).rowcount == 1
