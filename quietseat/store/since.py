"""What was changed for a plant since a study was run and is not in that study: mends, choices, decisions and holds, remarks made elsewhere.

The plan of a study itself never takes decisions and holds; its files print them, with a plan that takes them. Those made since are told, and
how many stand.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Select, Table, func, literal, select

from quietseat.store import mends, plants, rows, tables

KINDS = ("mend", "choice of the Basis", "decision", "hold", "remark")
MOST = 200  # lines kept; the record has all
_TAGS = 5  # named in a line about many valves


@dataclass(frozen=True, slots=True)
class Since:
    """One thing that is not in a study. kind: one of KINDS; count: how many rows the line stands for."""

    kind: str
    count: int
    words: str


def not_in(connection: Connection, study: Mapping[str, Any]) -> list[Since]:
    """What is not in a study, in the order of KINDS. study: its row with `head`."""
    return [
        *_mends(connection, study), *_choices(connection, study),
        *_changes(connection, study, "decision", tables.decision, "title"), *_changes(connection, study, "hold", tables.pin, "place"),
        *_remarks(connection, study),
    ]  # fmt: skip


def told(connection: Connection, study: Mapping[str, Any]) -> list[str]:
    """The same as lines to keep with an issue or a lock: what counts first, each thing after it, at last what stands by hand."""
    found = not_in(connection, study)
    lines = [one.words for one in found[:MOST]]
    if len(found) > MOST:
        lines.append(f"and {len(found) - MOST} more, listed in the record of the plant")
    counted, by_hand = counts(found), standing(connection, study["plant_id"])
    return [*([f"Not in it: {counted}."] if counted else []), *lines, *([by_hand] if by_hand else [])]


def counts(found: Iterable[Since]) -> str:
    """How many of each kind, in words; "" for none."""
    every = list(found)
    number = {kind: sum(one.count for one in every if one.kind == kind) for kind in KINDS}
    return ", ".join(f"{count} {_many(kind, count)}" for kind, count in number.items() if count)


def standing(connection: Connection, plant: int) -> str:
    """How many decisions and holds stand, which no study takes; "" for none."""
    decisions, holds = (
        connection.execute(
            select(func.count(table.c.tag.distinct())).where(table.c.plant_id == plant, table.c.undone_at.is_(None))
        ).scalar_one()
        for table in (tables.decision, tables.pin)
    )
    some = [f"{count} {_many(kind, count)}" for kind, count in (("decision", decisions), ("hold", holds)) if count]
    return f"{' and '.join(some)} by hand stand. The plan of the study itself takes none of them; its files list them and print a plan that does." if some else ""


def _many(kind: str, count: int) -> str:
    if count == 1:
        return kind
    return kind.replace("choice", "choices") if kind.startswith("choice") else f"{kind}s"


def _by(row: Mapping[str, Any], when: str = "made_at") -> str:
    why = f": {row['why']}" if row.get("why") else ""
    return f"({row['who'] or 'the program'}, {str(row[when])[:10]}{why})"


def _mends(connection: Connection, study: Mapping[str, Any]) -> Iterator[Since]:
    stand = rows.standing(connection, tables.mend, plant_id=study["plant_id"])
    made, gone = mends.apart(stand, (study["head"].get("register") or {}).get("mends") or ())
    for words, some, when in (("Mend made since", made, "made_at"), ("Mend undone since", gone, "when")):
        for one in some:
            where = f" in row {one['row']}" if one["row"] is not None else ""
            sheet = f" of {one['sheet']}" if one["sheet"] else ""
            yield Since("mend", 1, f"{words}: {one['field']}{where}{sheet} “{one['value']}” {_by(one, when)}")


def _choices(connection: Connection, study: Mapping[str, Any]) -> Iterator[Since]:
    plant = plants.get(connection, study["plant_id"])
    if plant is None:
        return
    then, now = (study["head"].get("basis") or {}).get("changed") or {}, plant.basis
    latest = {row["name"]: row for row in rows.listed(connection, tables.choice, plant_id=plant.id)}
    for name in sorted({*then, *now}):
        before, after = (str(side[name]) if name in side else None for side in (then, now))
        if before == after or (name == "time_marching" and study["stage"] != "full"):
            continue
        by = f" {_by(latest[name])}" if name in latest else ""
        yield Since("choice of the Basis", 1, f"Choice {name}: {_chosen(before)}, now {_chosen(after)}{by}")


def _chosen(value: str | None) -> str:
    return "the default" if value is None else f"“{value}”"


def _changes(connection: Connection, study: Mapping[str, Any], kind: str, table: Table, what: str) -> Iterator[Since]:
    """Rows made since, and rows undone or standing again since; those of one moment by one person make one line."""
    plant, at, event = study["plant_id"], study["made_at"], tables.event.c
    mine, count = (table.c.plant_id == plant) & (table.c.made_at >= at), func.count().label("count")
    why = table.c.why if "why" in table.c else literal("").label("why")
    alike = (table.c.who, table.c.made_at, table.c[what], why)
    made = select(*alike, count, func.min(table.c.id).label("first")).where(mine).group_by(*alike).order_by("first")
    for row in connection.execute(made).mappings():
        same = (table.c.who == row["who"]) & (table.c.made_at == row["made_at"]) & (table.c[what] == row[what])
        words = f"held {row[what]}" if kind == "hold" else row[what]
        tags = _tags(connection, select(table.c.tag).where(mine, same).order_by(table.c.id), row["count"])
        yield Since(kind, row["count"], f"{kind.capitalize()} made since: {tags}: {words} {_by(dict(row))}")
    mine = (event.plant_id == plant) & (event.kind == table.name) & (event.made_at >= at)
    acted = (event.done, event.who, event.made_at)
    acts = select(*acted, count, func.min(event.id).label("first")).where(mine).group_by(*acted).order_by("first")
    for row in connection.execute(acts).mappings():
        same = (event.done == row["done"]) & (event.who == row["who"]) & (event.made_at == row["made_at"])
        query = select(table.c.tag).join(tables.event, event.row == table.c.id).where(mine, same).order_by(event.id)
        yield Since(kind, row["count"], f"{kind.capitalize()} {row['done']} since: {_tags(connection, query, row['count'])} {_by(dict(row))}")


def _tags(connection: Connection, query: Select[tuple[str]], count: int) -> str:
    named = ", ".join(str(tag) for tag in connection.execute(query.limit(_TAGS)).scalars())
    return f"{named} and {count - _TAGS} more valves" if count > _TAGS else named


def _remarks(connection: Connection, study: Mapping[str, Any]) -> Iterator[Since]:
    """Remarks on another study of the plant; those on this one, or on none yet, are printed with it."""
    column = tables.remark.c
    query = select(tables.remark, tables.study.c.number).join(tables.study, tables.study.c.id == column.study_id)
    query = query.where(column.plant_id == study["plant_id"], column.study_id != study["id"], column.made_at >= study["made_at"], column.undone_at.is_(None))
    for row in connection.execute(query.order_by(column.id)).mappings():
        about = f" about {row['tag']}" if row["tag"] else ""
        yield Since("remark", 1, f"Remark on study {row['number']}{about}: {row['words'][:200]} {_by(dict(row))}")
