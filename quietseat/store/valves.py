"""One valve among the others of its study: which one comes before and after it."""

from __future__ import annotations

from sqlalchemy import Connection, select

from quietseat.store import tables


def neighbours(connection: Connection, study: int, rank: int) -> tuple[str | None, str | None]:
    """The tags before and after a rank of a study; None at its ends."""
    column = tables.valve.c
    query = select(column.rank, column.tag).where(column.study_id == study, column.rank.in_((rank - 1, rank + 1)))
    found = {row.rank: str(row.tag) for row in connection.execute(query)}
    return found.get(rank - 1), found.get(rank + 1)
