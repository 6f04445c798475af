"""The choices of a plant's Basis: what was changed by whom and when; setting one back is a change of its own."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection

from quietseat.store import plants, rows, tables
from quietseat.store.rows import Row


def choose(connection: Connection, plant: int, changes: Mapping[str, str | None], why: str, who: str) -> bool:
    """Set choices of a plant (None: back to the default) and keep who did it; False where there is no such plant."""
    found = plants.get(connection, plant)
    if found is None:
        return False
    now = dict(found.basis)
    for name, value in changes.items():
        before = now.get(name)
        if value is None:
            now.pop(name, None)
        else:
            now[name] = value
        rows.add(connection, tables.choice, plant_id=plant, name=name, before=before, value=value, why=why, who=who)
    plants.set_basis(connection, plant, now)
    return True


def listed(connection: Connection, plant: int) -> list[Row]:
    """Every change of a choice, newest first."""
    return rows.listed(connection, tables.choice, plant_id=plant)[::-1]
