"""Long work of a workspace: waiting, running, done, failed or cancelled, with how far it has come."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, delete, select, update

from quietseat.store import rows, tables
from quietseat.store.rows import Row
from quietseat.store.workspace import Workspace, now

OPEN = ("waiting", "running")


def add(connection: Connection, plant: int, kind: str, given: Mapping[str, Any], who: str = "") -> int:
    """Queue a job; where the same one waits already, its number is given back instead. who: who starts it ("": the program itself)."""
    text = json.dumps(dict(given), sort_keys=True)
    query = select(tables.job.c.id).where(
        tables.job.c.plant_id == plant, tables.job.c.kind == kind, tables.job.c.given == text, tables.job.c.state == "waiting"
    )
    found = connection.execute(query).scalar()
    if found is not None:
        rows.note(connection, plant, "job", "asked for again", who, row=found)
        return int(found)
    return rows.add(connection, tables.job, plant_id=plant, kind=kind, given=text, state="waiting", done=0, total=0, words="waiting", who=who)


def get(connection: Connection, number: int) -> Row | None:
    """A job with `given` and `result` as dicts, or None."""
    row = rows.one(connection, tables.job, number)
    return _read(row) if row else None


def of_plant(connection: Connection, plant: int, most: int = 20) -> list[Row]:
    """The latest jobs of a plant, newest first, each with its `acts`: who cancelled it, let it go on, asked for it again."""
    query = select(tables.job).where(tables.job.c.plant_id == plant).order_by(tables.job.c.id.desc()).limit(most)
    found = [_read(dict(row)) for row in connection.execute(query).mappings()]
    return rows.with_acts(connection, plant, "job", found)


def _read(row: Row) -> Row:
    return {**row, "given": json.loads(row["given"]), "result": json.loads(row["result"]) if row["result"] else None}


def take(workspace: Workspace) -> Row | None:
    """The oldest waiting job, now running; None where none waits."""
    with workspace.writing() as connection:
        query = select(tables.job).where(tables.job.c.state == "waiting").order_by(tables.job.c.id).limit(1)
        row = connection.execute(query).mappings().one_or_none()
        if row is None:
            return None
        moved = update(tables.job).where(tables.job.c.id == row["id"], tables.job.c.state == "waiting")
        if connection.execute(moved.values(state="running", words="starting", started_at=now(), beat_at=now(), error=None)).rowcount != 1:
            return None
        return _read({**row, "state": "running", "words": "starting"})


def beat(workspace: Workspace, number: int, done: int, total: int, words: str) -> bool:
    """Tell how far a job has come; False where somebody has cancelled it, so that it stops."""
    with workspace.writing() as connection:
        query = update(tables.job).where(tables.job.c.id == number, tables.job.c.state == "running")
        return connection.execute(query.values(done=done, total=total, words=words, beat_at=now())).rowcount == 1


def end(workspace: Workspace, number: int, state: str, words: str, *, result: Mapping[str, Any] | None = None, error: str | None = None) -> None:
    """End a running job; one that was cancelled meanwhile stays cancelled."""
    with workspace.writing() as connection:
        query = update(tables.job).where(tables.job.c.id == number, tables.job.c.state == "running")
        told = json.dumps(dict(result)) if result is not None else None
        connection.execute(query.values(state=state, words=words, result=told, error=error, ended_at=now()))


def cancel(connection: Connection, number: int, who: str = "") -> bool:
    """Cancel a job that waits or runs; what it has finished is kept for a later start."""
    return _turn(connection, number, who, "cancelled", OPEN, {"state": "cancelled", "words": "cancelled", "ended_at": now()})


def resume(connection: Connection, number: int, who: str = "") -> bool:
    """Let a cancelled or failed job wait again; it goes on from what it has finished."""
    return _turn(connection, number, who, "goes on", ("cancelled", "failed"), {"state": "waiting", "words": "waiting", "ended_at": None, "error": None})


def _turn(connection: Connection, number: int, who: str, done: str, states: tuple[str, ...], values: Row) -> bool:
    """Change the state of a job that is in one of some states; who did it, and how the job stood before, stay in the record."""
    row = rows.one(connection, tables.job, number)
    if row is None or row["state"] not in states:
        return False
    rows.change(connection, tables.job, number, values)
    before = f"{row['state']}, {row['ended_at']}" + (f": {row['error']}" if row["error"] else "") if row["ended_at"] else row["state"]
    rows.note(connection, row["plant_id"], "job", done, who, row=number, before=before)
    return True


def orphans(workspace: Workspace) -> int:
    """Jobs left running by a server that ended wait again; returns how many."""
    with workspace.writing() as connection:
        left = rows.listed(connection, tables.job, state="running")
        for job in left:
            rows.change(connection, tables.job, job["id"], {"state": "waiting", "words": "waiting: the program was stopped while it ran"})
            rows.note(connection, job["plant_id"], "job", "stopped", "", row=job["id"], words="the program ended while it ran; it waits again")
        return len(left)


class Parts:
    """What jobs of one plant have finished, by a key of all that went in: a study goes on from them after a stop."""

    def __init__(self, workspace: Workspace, plant: int) -> None:
        self._workspace, self._plant = workspace, plant

    def get(self, key: str) -> bytes | None:
        """The content under a key, or None."""
        with self._workspace.reading() as connection:
            query = select(tables.part.c.content).where(tables.part.c.plant_id == self._plant, tables.part.c.key == key)
            found = connection.execute(query).scalar()
        return bytes(found) if found is not None else None

    def put(self, key: str, content: bytes) -> None:
        """Keep content under a key; the same key holds the same content."""
        with self._workspace.writing() as connection:
            known = connection.execute(select(tables.part.c.id).where(tables.part.c.plant_id == self._plant, tables.part.c.key == key)).scalar()
            if known is None:
                rows.add(connection, tables.part, plant_id=self._plant, key=key, content=content)

    def clear(self) -> None:
        """Drop everything: the study is done."""
        with self._workspace.writing() as connection:
            connection.execute(delete(tables.part).where(tables.part.c.plant_id == self._plant))
