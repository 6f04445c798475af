"""The mends of a plant: each kept with who and when, undone and let stand again; of two about the same thing one stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection

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
    return rows.redo(connection, tables.mend, number, plant=plant)


def listed(connection: Connection, plant: int) -> list[Row]:
    """Every mend of a plant in the order they were made, undone ones too."""
    return rows.listed(connection, tables.mend, plant_id=plant)


def since(standing: Sequence[Row], read: Sequence[Mapping[str, Any]]) -> tuple[int, int]:
    """How many standing mends a study has not taken in, and how many it took in that do not stand any more.

    read: the mends in the head of the study.
    """
    now = [(row["sheet"], row["row"], row["field"], row["value"], row["who"], str(row["made_at"])[:10], row["why"]) for row in standing]
    then = [tuple(mend.get(key) for key in ("sheet", "row", "field", "value", "who", "when", "why")) for mend in read]
    made = sum(one not in then for one in now)
    return made, sum(one not in now for one in then)


def _give_way(connection: Connection, plant: int, given: Mapping[str, Any], who: str) -> None:
    about = _aim(given)
    for row in rows.standing(connection, tables.mend, plant_id=plant):
        if _aim(row) == about and row["id"] != given.get("id"):
            rows.undo(connection, tables.mend, row["id"], who, plant=plant)


def _aim(row: Mapping[str, Any]) -> tuple[object, ...]:
    return aim(row["kind"], row["sheet"], row["row"], row["field"], row["value"])
