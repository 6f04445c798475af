"""The way of a study from draft to issued to locked: who issued it, who reviewed it and what was said, and studies side by side.

Only a full study is issued. A locked one stays as it is, with its files: every attempt to change it is refused in words. What is
decided for the plant meanwhile (mends, Basis, remedies, remarks) belongs to the next study.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from sqlalchemy import Connection, func, insert, select, update

from quietseat import __version__
from quietseat.changes import Entry, Side
from quietseat.status import InputUnusable
from quietseat.store import decided, jobs, rows, since, studies, tables
from quietseat.store.rows import Row
from quietseat.store.workspace import Workspace, now

DRAFT, ISSUED, LOCKED = "draft", "issued", "locked"
FILES = ("study.json", "study.html", "study.pdf", "study.xlsx", "problems.csv", "summary.pdf")  # a study is locked with these at least
_NEXT = "Change the Basis or the mends and run the study again: the change belongs to the next study."


def issue(connection: Connection, study: int, words: str, who: str) -> None:
    """Issue a full draft under somebody's name. words: title or revision. Raises InputUnusable where it cannot be issued.

    What was changed since the study was run, and is not in it, is kept with the issue.
    """
    row = _open(connection, study, "issued")
    if row["state"] == ISSUED:
        raise InputUnusable(
            f"Study {row['number']} is issued already, by {row['issued_by']} on {row['issued_at'][:10]}. {_NEXT}"
        )
    if row["stage"] != "full":
        raise InputUnusable(
            f"Study {row['number']} is a {row['stage']}: only a full study is issued. Wait for the full one, or run it."
        )
    title = words.strip()
    if not title:
        raise InputUnusable("Give the issue a title or a revision, such as “Revision B, for review”.")
    missing = _missing(connection, study)
    _to(connection, study, DRAFT, ISSUED, words=title, issued_by=who, issued_at=now(), missing=json.dumps(missing))
    _note(connection, row, ISSUED, who, before=DRAFT, after=f"issued as “{title}”", words="\n".join(missing))


def withdraw(connection: Connection, study: int, why: str, who: str) -> None:
    """Take an issue back to draft; who and why stay on record, and as a remark. Raises InputUnusable where it is not issued, is locked,
    or no reason is given."""
    row = _open(connection, study, "taken back")
    if row["state"] != ISSUED:
        raise InputUnusable(f"Study {row['number']} is not issued.")
    reason = why.strip()
    if not reason:
        raise InputUnusable("Write why the issue is taken back: the reason is kept with your name.")
    said = f"Issue “{row['words']}” of {row['issued_at'][:10]} by {row['issued_by']} taken back: {reason}"
    _to(connection, study, ISSUED, DRAFT, words="", issued_by=None, issued_at=None, missing=None)
    _note(connection, row, "taken back", who, before=f"issued as “{row['words']}” by {row['issued_by']}, {row['issued_at']}", after=DRAFT, words=reason)
    decided.remark(connection, row["plant_id"], said, who, study=study)


@dataclass(frozen=True, slots=True)
class Made:
    """The files of a study on disk. mark: the state they print, as `mark` gives it; files: name, size in bytes, SHA-256."""

    mark: str
    files: Sequence[tuple[str, int, str]]


def lock(connection: Connection, study: int, who: str, made: Callable[[], Made | None], *, reviewed: bool = False) -> None:
    """Lock an issued study with its files: nothing of it changes after.

    made: reads the files through; asked only once all else is in order. reviewed: somebody says that the reviewer has looked at it.

    Raises InputUnusable where it is not issued, or locked already, where nobody is named as reviewer, where the reviewer has said nothing
    and nobody says it was reviewed, and where the files are absent, being made, or print an older state.
    """
    row = _open(connection, study, "locked again")
    if row["state"] != ISSUED:
        raise InputUnusable(f"Study {row['number']} is a draft: issue it first.")
    review = _review(connection, row, reviewed)
    state = as_data(connection, study)
    files = _complete(connection, row, made, mark(state))
    missing, stamp = _missing(connection, study), now()
    bound = [one["id"] for one in unbound(connection, row) if one["undone_at"] is None]  # printed with this study: a part of it from now on
    frozen = {**state, **decided.by_hand(connection, row["plant_id"]), "state": LOCKED, "locked_by": who, "locked_at": stamp, "missing": missing}
    _to(connection, study, ISSUED, LOCKED, locked_by=who, locked_at=stamp, missing=json.dumps(missing), frozen=json.dumps(frozen, ensure_ascii=False))
    connection.execute(update(tables.remark).where(tables.remark.c.id.in_(bound)).values(study_id=study))
    seal(connection, study, files)
    _note(connection, row, LOCKED, who, before=ISSUED, after=f"locked, {review}; {len(files)} files kept by SHA-256", words="\n".join(missing))


def files_made(connection: Connection, study: int, made: Made | None, who: str) -> None:
    """Enter in the record that the files of a study were made; they are kept with one that was locked before files were."""
    row = rows.one(connection, tables.study, study)
    if row is None or made is None:
        return
    main = [f"{name} {digest}" for name, _, digest in made.files if "/" not in name]
    _note(connection, row, "files made", who, after=f"{len(made.files)} files, by version {__version__}", words="\n".join(["SHA-256 of each", *main]))
    if row["state"] == LOCKED:
        seal(connection, study, made.files)


def seal(connection: Connection, study: int, files: Sequence[tuple[str, int, str]]) -> None:
    """Keep the files of a locked study by name, size and SHA-256."""
    connection.execute(insert(tables.sealed), [{"study_id": study, "name": name, "size": size, "sha256": digest} for name, size, digest in files])


def sealed(connection: Connection, study: int) -> dict[str, Row]:
    """The files of a locked study by name: size and sha256. Empty where it is not locked, or was locked before this was kept."""
    return {row["name"]: row for row in rows.listed(connection, tables.sealed, study_id=study)}


def may_make(connection: Connection, study: int) -> None:
    """Raises InputUnusable, in words, where the files of a study may not be made: it is locked with those it has."""
    row = rows.one(connection, tables.study, study)
    if row is not None and row["state"] == LOCKED and sealed(connection, study):
        raise InputUnusable(
            f"Study {row['number']} was locked on {row['locked_at'][:10]} with the files it has: they are not made again. "
            "Where one is gone or was altered, take it from a copy of the workspace folder; its SHA-256 stands on the page of the study."
        )


def _review(connection: Connection, row: Row, reviewed: bool) -> str:
    """How the study was reviewed, in words. Raises InputUnusable where it was not."""
    name = row["reviewer"]
    if not name:
        raise InputUnusable("Name the reviewer first: a study is locked once somebody named has reviewed it.")
    said = sum(one["undone_at"] is None and one["who"].casefold() == name.casefold() for one in remarks(connection, row["id"]))
    if said:
        return f"reviewed by {name} ({said} remark{'s' if said != 1 else ''})"
    if not reviewed:
        raise InputUnusable(f"Nothing was said by {name} about this study. Tick that {name} has reviewed it, or let {name} keep a remark first.")
    return f"reviewed by {name}, as ticked at the lock"


def _complete(connection: Connection, row: Row, read: Callable[[], Made | None], wanted: str) -> Sequence[tuple[str, int, str]]:
    """The files to lock with. Raises InputUnusable where they are not all there as they should be."""
    query = select(tables.job.c.given).where(tables.job.c.plant_id == row["plant_id"], tables.job.c.kind == "report", tables.job.c.state.in_(jobs.OPEN))
    if any(json.loads(given).get("study") == row["id"] for given in connection.execute(query).scalars()):
        raise InputUnusable("The files of this study are being made: wait until they are there.")
    made = read()
    absent = [name for name in FILES if made is None or name not in {one[0] for one in made.files}]
    if made is None or absent:
        raise InputUnusable(f"Make the files first: a study is locked together with them ({', '.join(absent)} not there).")
    if made.mark != wanted:
        raise InputUnusable("The files print an older state: issue, reviewer or remarks have changed since. Make them again first.")
    return made.files


def review_by(connection: Connection, study: int, name: str, who: str) -> None:
    """Name the reviewer, or nobody (""); who set it, when, and who was named before stay in the record. Raises InputUnusable where the
    study is locked."""
    row = _open(connection, study, "reviewed by somebody else")
    named = name.strip()[:80] or None
    if named != row["reviewer"]:
        rows.change(connection, tables.study, study, {"reviewer": named})
        _note(connection, row, "reviewer", who, before=row["reviewer"], after=named)


def remark(connection: Connection, study: int, words: str, who: str, tag: str = "") -> int:
    """Keep a remark on a study, or on one valve of it. Raises InputUnusable where it is locked, has no such valve, or nothing is said."""
    row = _open(connection, study, "remarked on")
    _said(words)
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


def remark_on_plant(connection: Connection, plant: int, words: str, who: str, tag: str = "") -> int:
    """Keep a remark for the study of a plant that is locked next: until then every later study prints it. Raises InputUnusable for no words."""
    _said(words)
    return decided.remark(connection, plant, words.strip(), who, tag=tag or None)


def _said(words: str) -> None:
    if not words.strip():
        raise InputUnusable("Say something: the remark is empty.")


def undo_remark(connection: Connection, study: int, number: int, who: str, *, again: bool = False) -> bool:
    """Undo a remark of a study or its plant, or let it stand again; False where there is none. Raises InputUnusable where the remark's
    study is locked."""
    row, known = rows.one(connection, tables.study, study), rows.one(connection, tables.remark, number)
    if row is None or known is None or known["plant_id"] != row["plant_id"] or known["study_id"] not in (None, study):
        return False
    return undo_of_plant(connection, row["plant_id"], number, who, again=again)


def undo_of_plant(connection: Connection, plant: int, number: int, who: str, *, again: bool = False) -> bool:
    """Undo a remark of a plant, whichever study it was made on; False where there is none. Raises InputUnusable where that study is locked."""
    known = rows.one(connection, tables.remark, number)
    if known is None or known["plant_id"] != plant:
        return False
    if known["study_id"] is not None:
        _open(connection, known["study_id"], "changed")
    change = rows.redo if again else rows.undo
    return change(connection, tables.remark, number, who, plant=plant)


def remarks(connection: Connection, study: int) -> list[Row]:
    """What was said about a study and its valves, undone remarks too, in the order it was said; each with its `acts`."""
    found = rows.listed(connection, tables.remark, study_id=study)
    return rows.with_acts(connection, found[0]["plant_id"], "remark", found) if found else []


def unbound(connection: Connection, row: Row) -> list[Row]:
    """The remarks on a study's plant that no study has been locked with, undone ones too: a study after the last locked one prints them.

    row: the study's. Empty for a locked study and those before the last locked one.
    """
    number = select(func.max(tables.study.c.number)).where(tables.study.c.plant_id == row["plant_id"], tables.study.c.locked_at.is_not(None))
    if row["locked_at"] is not None or (connection.execute(number).scalar() or 0) > row["number"]:
        return []
    return on_plant(connection, row["plant_id"])


def on_plant(connection: Connection, plant: int) -> list[Row]:
    """The remarks for the next study of a plant, undone ones too; each with its `acts`."""
    found = rows.listed(connection, tables.remark, plant_id=plant, study_id=None)
    return rows.with_acts(connection, plant, "remark", found)


def as_data(connection: Connection, study: int) -> dict[str, Any]:
    """Who issued and reviewed a study, as the report prints it under head["issue"]; no part of the study's hash.

    missing: what was noted, when it was issued, as not in it. Of a locked study all is as it was at the lock.
    """
    row = rows.one(connection, tables.study, study)
    if row is None:
        return {}
    if row["frozen"]:
        return dict(json.loads(row["frozen"]))
    every = [*rows.listed(connection, tables.remark, study_id=study), *unbound(connection, row)]
    said = [{key: one[key] for key in ("tag", "words", "who", "made_at")} for one in every if one["undone_at"] is None]
    keys = ("number", "stage", "state", "words", "issued_by", "issued_at", "reviewer", "locked_by", "locked_at")
    return {
        **{key: row[key] for key in keys}, "missing": json.loads(row["missing"] or "[]"), "remarks": said,
        "by_hand_mark": decided.by_hand_mark(connection, row["plant_id"]),
    }  # fmt: skip


def by_hand(connection: Connection, study: int) -> dict[str, list[Row]]:
    """Decisions and holds as the files of a study print them: those that stand, of a locked study those that stood at the lock."""
    row = rows.one(connection, tables.study, study)
    if row is None:
        return {"decisions": [], "holds": []}
    if row["frozen"]:
        kept = json.loads(row["frozen"])
        return {name: kept.get(name) or [] for name in ("decisions", "holds")}
    return decided.by_hand(connection, row["plant_id"])


def history(connection: Connection, study: int) -> list[Row]:
    """What the record tells of a study, oldest first: made, shown, reviewer, issued, taken back, files made, locked; and its remarks (kind
    remark, with tag): made, undone, let stand again."""
    row = rows.one(connection, tables.study, study)
    if row is None:
        return []
    told = rows.noted(connection, row["plant_id"], kind="study", study_id=study)
    for one in [*remarks(connection, study), *unbound(connection, row)]:
        said = {"kind": "remark", "tag": one["tag"], "before": None, "after": None, "words": one["words"]}
        told += [{**said, "done": act["done"], "who": act["who"], "made_at": act["made_at"]} for act in ({**one, "done": "made"}, *one["acts"])]
    return sorted(told, key=lambda act: str(act["made_at"]))


def mark(issue: Mapping[str, Any]) -> str:
    """A short mark of what `as_data` gave: files made under another one print an older state. The lock alone makes none older."""
    told = {key: value for key, value in issue.items() if key not in ("locked_by", "locked_at", "missing", "decisions", "holds")}
    told["state"] = ISSUED if issue.get("state") == LOCKED else issue.get("state")
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:16]


def _missing(connection: Connection, study: int) -> list[str]:
    row = studies.get(connection, study)
    return since.told(connection, row) if row else []


def _note(connection: Connection, row: Row, done: str, who: str, **more: Any) -> None:
    rows.note(connection, row["plant_id"], "study", done, who, row=row["id"], study=row["id"], **more)


def _open(connection: Connection, study: int, done: str) -> Row:
    row = rows.one(connection, tables.study, study)
    if row is None:
        raise InputUnusable("There is no such study in this workspace.")
    if row["state"] == LOCKED:
        raise InputUnusable(
            f"Study {row['number']} was locked on {row['locked_at'][:10]} and cannot be {done}. {_NEXT} "
            "A remark for it is kept on the study page, under “For the next study”."
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
