"""The way of a study from draft to issued to locked: who issued it, who reviewed it and what was said, and studies side by side.

Only a full study is issued. A locked one stays as it is: every attempt to change it is refused in words. What is decided for
the plant meanwhile (mends, Basis, remedies) belongs to the next study.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

from sqlalchemy import Connection, select, update

from quietseat.changes import Entry, Side
from quietseat.status import InputUnusable
from quietseat.store import decided, rows, studies, tables
from quietseat.store.rows import Row
from quietseat.store.workspace import Workspace, now

DRAFT, ISSUED, LOCKED = "draft", "issued", "locked"
_NEXT = "Change the Basis or the mends and run the study again: the change belongs to the next study."


def issue(connection: Connection, study: int, words: str, who: str) -> None:
    """Issue a full draft under somebody's name. words: title or revision. Raises InputUnusable where it cannot be issued."""
    row = _open(connection, study, "issued")
    if row["state"] == ISSUED:
        raise InputUnusable(
            f"Study {row['number']} is issued already, by {row['issued_by']} on {row['issued_at'][:10]}. {_NEXT}"
        )
    if row["stage"] != "full":
        raise InputUnusable(
            f"Study {row['number']} is a {row['stage']}: only a full study is issued. Wait for the full one, or run it."
        )
    if not words.strip():
        raise InputUnusable("Give the issue a title or a revision, such as “Revision B, for review”.")
    _to(connection, study, DRAFT, ISSUED, words=words.strip(), issued_by=who, issued_at=now())


def withdraw(connection: Connection, study: int, why: str, who: str) -> None:
    """Take an issue back to draft; who and why stay on record as a remark. Raises InputUnusable where it is not issued or is locked."""
    row = _open(connection, study, "taken back")
    if row["state"] != ISSUED:
        raise InputUnusable(f"Study {row['number']} is not issued.")
    said = f"Issue “{row['words']}” of {row['issued_at'][:10]} by {row['issued_by']} taken back: {why.strip() or 'no reason given'}"
    _to(connection, study, ISSUED, DRAFT, words="", issued_by=None, issued_at=None)
    decided.remark(connection, row["plant_id"], said, who, study=study)


def lock(connection: Connection, study: int, who: str) -> None:
    """Lock an issued study: nothing of it changes after. Raises InputUnusable where it is not issued, or locked already."""
    row = _open(connection, study, "locked again")
    if row["state"] != ISSUED:
        raise InputUnusable(f"Study {row['number']} is a draft: issue it first.")
    decided.remark(connection, row["plant_id"], "Locked.", who, study=study)
    _to(connection, study, ISSUED, LOCKED, locked_at=now())


def review_by(connection: Connection, study: int, name: str) -> None:
    """Name the reviewer, or nobody (""). Raises InputUnusable where the study is locked."""
    _open(connection, study, "reviewed by somebody else")
    rows.change(connection, tables.study, study, {"reviewer": name.strip()[:80] or None})


def remark(connection: Connection, study: int, words: str, who: str, tag: str = "") -> int:
    """Keep a remark on a study, or on one valve of it. Raises InputUnusable where it is locked, has no such valve, or nothing is said."""
    row = _open(connection, study, "remarked on")
    if not words.strip():
        raise InputUnusable("Say something: the remark is empty.")
    if (
        tag
        and connection.execute(
            select(tables.valve.c.id).where(tables.valve.c.study_id == study, tables.valve.c.tag == tag)
        ).first()
        is None
    ):
        raise InputUnusable(
            f"Study {row['number']} has no valve {tag}. Leave the tag empty for a remark on the whole study."
        )
    return decided.remark(connection, row["plant_id"], words.strip(), who, tag=tag or None, study=study)


def undo_remark(connection: Connection, study: int, number: int, who: str, *, again: bool = False) -> bool:
    """Undo a remark of a study, or let it stand again; False where there is none. Raises InputUnusable where the study is locked."""
    row = _open(connection, study, "changed")
    known = rows.one(connection, tables.remark, number)
    if known is None or known["study_id"] != study:
        return False
    change = (
        partial(rows.redo, connection, tables.remark, number)
        if again
        else partial(rows.undo, connection, tables.remark, number, who)
    )
    return change(plant=row["plant_id"])


def undo_of_plant(connection: Connection, plant: int, number: int, who: str, *, again: bool = False) -> bool:
    """Undo a remark of a plant, whichever study it was made on; False where there is none. Raises InputUnusable where that study is locked."""
    known = rows.one(connection, tables.remark, number)
    if known is None or known["plant_id"] != plant:
        return False
    if known["study_id"] is not None:
        return undo_remark(connection, known["study_id"], number, who, again=again)
    return rows.redo(connection, tables.remark, number, plant=plant) if again else rows.undo(connection, tables.remark, number, who, plant=plant)


def remarks(connection: Connection, study: int) -> list[Row]:
    """What was said about a study and its valves, undone remarks too, in the order it was said."""
    return rows.listed(connection, tables.remark, study_id=study)


def as_data(connection: Connection, study: int) -> dict[str, Any]:
    """Who issued and reviewed a study, as the report prints it under head["issue"]; no part of the study's hash."""
    row = rows.one(connection, tables.study, study)
    if row is None:
        return {}
    said = [
        {key: one[key] for key in ("tag", "words", "who", "made_at")}
        for one in remarks(connection, study)
        if _stands(one, row["locked_at"])
    ]
    keys = ("number", "stage", "state", "words", "issued_by", "issued_at", "reviewer", "locked_at")
    return {**{key: row[key] for key in keys}, "remarks": said}


def _stands(one: Row, locked: str | None) -> bool:
    """Whether a remark stands; of a locked study whether it stood when the study was locked."""
    if locked is None:
        return one["undone_at"] is None
    return bool(one["made_at"] <= locked and (one["undone_at"] is None or one["undone_at"] > locked))


def mark(issue: Mapping[str, Any]) -> str:
    """A short mark of what `as_data` gave: files made under another one print an older state."""
    return hashlib.sha256(json.dumps(issue, sort_keys=True).encode()).hexdigest()[:16]


def _open(connection: Connection, study: int, done: str) -> Row:
    row = rows.one(connection, tables.study, study)
    if row is None:
        raise InputUnusable("There is no such study in this workspace.")
    if row["state"] == LOCKED:
        raise InputUnusable(
            f"Study {row['number']} was locked on {row['locked_at'][:10]} and cannot be {done}. {_NEXT}"
        )
    return row


def _to(connection: Connection, study: int, was: str, state: str, **values: Any) -> None:
    """Change a study's state. Raises InputUnusable where somebody else has changed it meanwhile."""
    query = update(tables.study).where(tables.study.c.id == study, tables.study.c.state == was)
    if connection.execute(query.values(state=state, **values)).rowcount != 1:
        raise InputUnusable("Somebody has changed the state of this study meanwhile; look at it again.")


# --- Side by side ----------------------------------------------------------------------------------------------------


def side(workspace: Workspace, study: int) -> Side:
    """A study for `changes.compare`, its valves read one by one. Raises InputUnusable where there is none."""
    with workspace.reading() as connection:
        row = studies.get(connection, study)
    if row is None:
        raise InputUnusable("There is no such study in this workspace.")
    return Side(row["head"], _entries(workspace, study))


def _entries(workspace: Workspace, study: int) -> Iterator[Entry]:
    columns = tables.valve.c
    query = (
        select(columns.id, columns.tag, columns.packed, columns.place)
        .where(columns.study_id == study)
        .order_by(columns.id)
    )
    with workspace.reading() as connection:
        for number, tag, packed, place in connection.execution_options(yield_per=studies.BATCH).execute(query):
            content = hashlib.blake2b(packed, digest_size=16).digest()
            yield Entry(tag, content, json.loads(place), partial(_loaded, workspace, number))


def _loaded(workspace: Workspace, number: int) -> Mapping[str, Any]:
    query = select(tables.valve).where(tables.valve.c.id == number)
    with workspace.reading() as connection:
        return studies.record(connection.execute(query).mappings().one()).full()
