"""What people have decided about a plant's valves: remedies, places held in the plan, remarks, saved views of the fleet.

All but views go by plant and tag, not by study, so that they outlive a new run; an undone row stays on record.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import ColumnElement, Connection, Engine, Table, case, func, insert, select

from quietseat.status import InputUnusable
from quietseat.store import rows, tables
from quietseat.store.rows import Row
from quietseat.store.workspace import now

PLACES = ("in", "out")
_KINDS = {"decision": tables.decision, "pin": tables.pin, "remark": tables.remark}
_BATCH = 500  # rows changed at once
_PLANTS = 16  # tables of plants kept in memory
_kept: dict[tuple[Engine, str, int], tuple[tuple[int | None, ...], dict[str, str]]] = {}


@dataclass(frozen=True, slots=True)
class Batch:
    """What one change of many valves touched: first and last number (0 for none), how many, and when."""

    first: int
    last: int
    count: int
    at: str


def decide(connection: Connection, plant: int, tag: str, remedy: str, title: str, why: str, who: str) -> int:
    """Decide on a remedy for a valve; the latest standing decision holds. Returns its number."""
    return rows.add(connection, tables.decision, plant_id=plant, tag=tag, remedy=remedy, title=title, why=why, who=who)


def decide_all(connection: Connection, plant: int, chosen: Sequence[tuple[str, str, str]], why: str, who: str) -> Batch:
    """Decide for many valves at once. chosen: tag, remedy, title."""
    return _add_all(
        connection,
        tables.decision,
        [
            {"plant_id": plant, "tag": tag, "remedy": remedy, "title": title, "why": why}
            for tag, remedy, title in chosen
        ],
        who,
    )


def decisions(connection: Connection, plant: int) -> dict[str, Row]:
    """The latest standing decision of each valve by tag: id tag remedy title why who made_at."""
    return {row["tag"]: row for row in rows.standing(connection, tables.decision, plant_id=plant)}


def titles(connection: Connection, plant: int) -> dict[str, str]:
    """The title of the latest standing decision of each valve by tag: what a table of many valves shows."""
    return _latest(connection, tables.decision, "title", plant)


def pin(connection: Connection, plant: int, tag: str, place: str | None, who: str) -> None:
    """Hold a valve "in" the plan or "out" of it, or free it (None): the plan chooses again."""
    pin_all(connection, plant, [tag], place, who)


def pin_all(connection: Connection, plant: int, tags: Sequence[str], place: str | None, who: str) -> Batch:
    """Hold or free many valves at once; freeing undoes what held them."""
    if place is not None:
        if place not in PLACES:
            raise ValueError(f"place {place!r}: one of {', '.join(PLACES)} or None")
        return _add_all(connection, tables.pin, [{"plant_id": plant, "tag": tag, "place": place} for tag in tags], who)
    wanted, held, stamp = list(tags), list[int](), now()
    for at in range(0, len(wanted), _BATCH):
        held += rows.undo_all(connection, tables.pin, tables.pin.c.tag.in_(wanted[at : at + _BATCH]), who, plant=plant, at=stamp)
    return Batch(min(held, default=0), max(held, default=0), len(held), stamp)


def pins(connection: Connection, plant: int) -> dict[str, str]:
    """The place each held valve has, by tag: in or out."""
    return _latest(connection, tables.pin, "place", plant)


def pinned(connection: Connection, plant: int) -> dict[str, Row]:
    """The latest standing hold of each held valve by tag: id tag place who made_at."""
    return {row["tag"]: row for row in rows.standing(connection, tables.pin, plant_id=plant)}


def remark(
    connection: Connection, plant: int, words: str, who: str, *, tag: str | None = None, study: int | None = None
) -> int:
    """Keep what somebody said about a plant, one valve of it, or one study of it. Returns its number. Raises InputUnusable for a locked study."""
    kept = rows.one(connection, tables.study, study) if study is not None else None
    if kept is not None and kept["locked_at"] is not None:
        raise InputUnusable(f"Study {kept['number']} is locked: its remarks stay as they are.")
    return rows.add(connection, tables.remark, plant_id=plant, study_id=study, tag=tag, words=words, who=who)


def remarks(connection: Connection, plant: int, **where: str | int | None) -> list[Row]:
    """The standing remarks of a plant in the order they were made. where: tag=, study_id= to narrow them."""
    return [
        row
        for row in rows.standing(connection, tables.remark, plant_id=plant)
        if all(row[name] == value for name, value in where.items())
    ]


def history(connection: Connection, plant: int, tag: str) -> Mapping[str, list[Row]]:
    """Everything decided, held or said about one valve, undone rows too, by kind: decision, pin, remark; each with its `acts`."""
    return {
        kind: rows.with_acts(connection, plant, kind, rows.listed(connection, table, plant_id=plant, tag=tag))
        for kind, table in _KINDS.items()
    }


def undo(connection: Connection, plant: int, kind: str, number: int, who: str, *, last: int | None = None) -> int:
    """Mark a row as undone by somebody, or all from number to last; returns how many. kind: decision or pin (remarks: see `issued`)."""
    table = _KINDS[kind]
    return len(rows.undo_all(connection, table, _open(connection, kind, plant, number, last), who, plant=plant))


def redo(
    connection: Connection, plant: int, kind: str, number: int, who: str, *, last: int | None = None, undone_at: str = ""
) -> int:
    """Let undone rows stand again, of a range only those undone at one time where that is given; returns how many. kind: as for undo."""
    table = _KINDS[kind]
    which = _open(connection, kind, plant, number, last)
    if undone_at:
        which = which & (table.c.undone_at == undone_at)
    return len(rows.redo_all(connection, table, which, who, plant=plant))


def _open(connection: Connection, kind: str, plant: int, number: int, last: int | None) -> ColumnElement[bool]:
    """Those rows of a range. Raises InputUnusable where one is a remark of a locked study."""
    table = _KINDS[kind]
    which = table.c.id.between(number, last or number)
    if kind == "remark":
        query = select(tables.study.c.number).join(table, table.c.study_id == tables.study.c.id)
        locked = connection.execute(query.where(which, table.c.plant_id == plant, tables.study.c.locked_at.is_not(None))).scalar()
        if locked is not None:
            raise InputUnusable(f"Study {locked} is locked: its remarks stay as they are.")
    return which


def count(connection: Connection, plant: int, kind: str, first: int, last: int) -> tuple[int, int]:
    """How many rows of a range stand, and how many are undone. kind: decision, pin or remark."""
    table = _KINDS[kind]
    query = select(func.count(), func.count(table.c.undone_at)).where(
        table.c.plant_id == plant, table.c.id.between(first, last)
    )
    total, undone = connection.execute(query).one()
    return total - undone, undone


def save_view(connection: Connection, plant: int, name: str, query: str, who: str) -> None:
    """Give the query string of a fleet page a name; a name that is taken now stands for the new one, the older one stays on record."""
    rows.undo_all(connection, tables.view, tables.view.c.name == name, who, plant=plant, words="the name was given to another look")
    rows.add(connection, tables.view, plant_id=plant, name=name, query=query, who=who)


def drop_view(connection: Connection, plant: int, number: int, who: str) -> bool:
    """Remove a saved view, which can be undone; False where the plant has none of this number."""
    return rows.undo(connection, tables.view, number, who, plant=plant)


def restore_view(connection: Connection, plant: int, number: int, who: str) -> bool:
    """Let a removed view stand again, in place of one of the same name; False where none of this number was removed."""
    found = rows.one(connection, tables.view, number)
    if found is None or found["plant_id"] != plant or found["undone_at"] is None:
        return False
    rows.undo_all(connection, tables.view, tables.view.c.name == found["name"], who, plant=plant, words="the name was given to another look")
    return rows.redo(connection, tables.view, number, who, plant=plant)


def views(connection: Connection, plant: int) -> list[Row]:
    """The saved views of a plant by name: id name query who made_at."""
    return sorted(rows.standing(connection, tables.view, plant_id=plant), key=lambda row: str(row["name"]).casefold())


def removed_views(connection: Connection, plant: int) -> list[Row]:
    """The views that were removed or replaced, the latest first: as `views`, with undone_by and undone_at."""
    gone = [row for row in rows.listed(connection, tables.view, plant_id=plant) if row["undone_at"] is not None]
    return sorted(gone, key=lambda row: (row["undone_at"], row["id"]), reverse=True)


def by_hand(connection: Connection, plant: int) -> dict[str, list[Row]]:
    """What stands decided and held by hand, by tag: decisions (tag remedy title why who made_at) and holds (tag place who made_at)."""
    told = {"decisions": (decisions, ("tag", "remedy", "title", "why", "who", "made_at")), "holds": (pinned, ("tag", "place", "who", "made_at"))}
    return {
        name: [{key: row[key] for key in keys} for _, row in sorted(read(connection, plant).items())] for name, (read, keys) in told.items()
    }


def by_hand_mark(connection: Connection, plant: int) -> list[list[int | None]]:
    """A short mark of which decisions and holds stand: another one where any was made, undone or made to stand again."""
    return [list(_mark(connection, table, plant)) for table in (tables.decision, tables.pin)]


def _mark(connection: Connection, table: Table, plant: int) -> tuple[int | None, ...]:
    stands, number = table.c.undone_at.is_(None), table.c.id
    marks = (
        func.count(),
        func.max(number),
        func.sum(case((stands, number), else_=0)),
        func.sum(case((stands, number * number), else_=0)),
    )
    return tuple(connection.execute(select(*marks).where(table.c.plant_id == plant)).one())


def _latest(connection: Connection, table: Table, column: str, plant: int) -> dict[str, str]:
    """A column of the latest standing row of each tag; read again only when which rows stand has changed."""
    stands, number = table.c.undone_at.is_(None), table.c.id
    mark = _mark(connection, table, plant)
    place = (connection.engine, table.name, plant)
    kept = _kept.get(place)
    if kept is None or kept[0] != mark:
        query = select(table.c.tag, table.c[column]).where(table.c.plant_id == plant, stands).order_by(number)
        kept = (mark, {tag: value for tag, value in connection.execute(query)})
        if len(_kept) >= _PLANTS:
            _kept.clear()
        _kept[place] = kept
    return dict(kept[1])


def _add_all(connection: Connection, table: Table, given: Sequence[Row], who: str) -> Batch:
    stamp = now()
    if not given:
        return Batch(0, 0, 0, stamp)
    first = rows.add(connection, table, **given[0], who=who, made_at=stamp)
    if len(given) > 1:  # nobody else writes meanwhile: the numbers follow one another
        connection.execute(insert(table), [{**row, "who": who, "made_at": stamp} for row in given[1:]])
    return Batch(first, first + len(given) - 1, len(given), stamp)
