"""The mends of a plant: each kept with who and when, undone and let stand again; of two about the same thing one stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, func, select

from quietseat.register.mends import aim
from quietseat.store import plants, rows, tables
from quietseat.store.rows import Row


def keep(connection: Connection, plant: int, given: Mapping[str, Any], who: str) -> int:
    """Keep a mend; an earlier one about the same thing is undone by it. given: kind sheet row field value why. Returns its number."""
    _give_way(connection, plant, given, who)
    return plants.mend(connection, plant, given, who)


def undo(connection: Connection, plant: int, number: int, who: str) -> bool:
    """Mark a mend as undone by somebody; False where the plant has none that stands."""
    return rows.undo(connection, tables.mend, number, who, plant=plant)


def redo(connection: Connection, plant: int, number: int, who: str) -> bool:
    """Let an undone mend stand again, in place of one about the same thing; False where there is none."""
    found = next((row for row in rows.listed(connection, tables.mend, plant_id=plant, id=number) if row["undone_at"]), None)
    if found is None:
        return False
    _give_way(connection, plant, found, who)
    return rows.redo(connection, tables.mend, number, who, plant=plant)


def listed(connection: Connection, plant: int) -> list[Row]:
    """Every mend of a plant in the order they were made, undone ones too."""
    return rows.listed(connection, tables.mend, plant_id=plant)


def apart(standing: Sequence[Row], read: Sequence[Mapping[str, Any]]) -> tuple[list[Row], list[Mapping[str, Any]]]:
    """The standing mends a study has not taken in, and those it took in that do not stand any more. read: as in the head of the study."""
    now = [(row["sheet"], row["row"], row["field"], row["value"], row["who"], str(row["made_at"])[:10], row["why"]) for row in standing]
    then = [tuple(mend.get(key) for key in ("sheet", "row", "field", "value", "who", "when", "why")) for mend in read]
    known, stands = set(then), set(now)
    made = [row for row, key in zip(standing, now, strict=True) if key not in known]
    return made, [mend for mend, key in zip(read, then, strict=True) if key not in stands]


def since(standing: Sequence[Row], read: Sequence[Mapping[str, Any]]) -> tuple[int, int]:
    """How many mends `apart` gives."""
    made, gone = apart(standing, read)
    return len(made), len(gone)


def mark(connection: Connection, plant: int) -> str:
    """A mark of the mends of a plant as they are now, for a page to carry: `newer` tells what was made or let stand again after it."""
    made = connection.execute(select(func.max(tables.mend.c.id)).where(tables.mend.c.plant_id == plant)).scalar()
    done = connection.execute(select(func.max(tables.event.c.id)).where(tables.event.c.plant_id == plant)).scalar()
    return f"{made or 0}.{done or 0}"


def newer(connection: Connection, plant: int, given: Mapping[str, Any], seen: str) -> Row | None:
    """The mend that stands on what another one is about and was made, or let stand again, after a mark; None where there is none, or no mark."""
    made, dot, done = seen.partition(".")
    if not dot or not (made.isdecimal() and done.isdecimal()):
        return None
    about = _aim(given)
    standing = [row for row in rows.standing(connection, tables.mend, plant_id=plant) if _aim(row) == about]
    for row in rows.with_acts(connection, plant, "mend", standing):
        if row["id"] > int(made) or any(act["done"] == "stands again" and act["id"] > int(done) for act in row["acts"]):
            return row
    return None


def _give_way(connection: Connection, plant: int, given: Mapping[str, Any], who: str) -> None:
    about = _aim(given)
    for row in rows.standing(connection, tables.mend, plant_id=plant):
        if _aim(row) == about and row["id"] != given.get("id"):
            rows.undo(connection, tables.mend, row["id"], who, plant=plant, words="another mend about the same thing took its place")


def _aim(row: Mapping[str, Any]) -> tuple[object, ...]:
    return aim(row["kind"], row["sheet"], row["row"], row["field"], row["value"])
