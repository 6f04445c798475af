"""Plants of a workspace: a register brought in, the choices made for it, the mends on top."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection

from quietseat.celltext import quiet
from quietseat.store import rows, tables
from quietseat.store.rows import Row
from quietseat.store.workspace import Workspace

MEND_COLUMNS = ("sheet", "row", "field", "value", "who", "when", "why")


@dataclass(frozen=True, slots=True)
class Plant:
    """One plant. basis: its changed choices by name. study: the number (id) of the study its pages show."""

    id: int
    name: str
    file: int
    basis: Mapping[str, str]
    demo: bool
    study: int | None
    made_at: str


def add(connection: Connection, name: str, file: int, basis: Mapping[str, str], *, demo: bool = False, who: str = "") -> int:
    """Add a plant under a free name (a number is added to one that is taken); returns its number. who: who brought its register in."""
    taken = {row["name"] for row in rows.listed(connection, tables.plant)}
    wanted = name.strip()[:110] or "Plant"
    free = next(text for text in (wanted, *(f"{wanted} {n}" for n in range(2, 10_000))) if text not in taken)
    number = rows.add(connection, tables.plant, name=free, file_id=file, basis=json.dumps(dict(basis)), demo=demo)
    kept = rows.one(connection, tables.file, file)
    if kept is not None:
        rows.note(connection, number, "plant", "brought in", who, row=number, after=kept["name"], words=f"SHA-256 {kept['sha256']}")
    return number


def get(connection: Connection, number: int) -> Plant | None:
    """The plant of this number, or None."""
    row = rows.one(connection, tables.plant, number)
    return _plant(row) if row else None


def listed(connection: Connection) -> list[Plant]:
    """All plants, the oldest first."""
    return [_plant(row) for row in rows.listed(connection, tables.plant)]


def _plant(row: Row) -> Plant:
    return Plant(row["id"], row["name"], row["file_id"], json.loads(row["basis"]), row["demo"], row["study_id"], row["made_at"])


def set_basis(connection: Connection, number: int, changed: Mapping[str, str]) -> None:
    """Replace the changed choices of a plant."""
    rows.change(connection, tables.plant, number, {"basis": json.dumps(dict(changed))})


def show_study(connection: Connection, number: int, study: int | None, who: str = "") -> None:
    """Let the pages of a plant show this study. who: who wants it ("": the program, when the study was done)."""
    found = get(connection, number)
    if found is None or found.study == study:
        return
    rows.change(connection, tables.plant, number, {"study_id": study})
    before, after = (_number(connection, one) for one in (found.study, study))
    rows.note(connection, number, "study", "shown", who, row=study, study=study, before=before, after=after)


def _number(connection: Connection, study: int | None) -> str | None:
    row = rows.one(connection, tables.study, study) if study is not None else None
    return f"study {row['number']}" if row else None


def mend(connection: Connection, number: int, given: Mapping[str, Any], who: str) -> int:
    """Add one mend of a plant. given: kind sheet row field value why; who: a name."""
    return rows.add(
        connection, tables.mend, plant_id=number, kind=given["kind"], sheet=given["sheet"], row=given["row"], field=given["field"],
        value=given["value"], why=given.get("why", ""), who=who,
    )  # fmt: skip


def mends_text(mends: Sequence[Row]) -> str:
    """Mends as the CSV a command takes with --mends."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(MEND_COLUMNS)
    for one in mends:
        row = "" if one["row"] is None else one["row"]
        writer.writerow(map(quiet, (one["sheet"], row, one["field"], one["value"], one["who"], str(one["made_at"])[:10], one["why"])))
    return out.getvalue()


def inputs(workspace: Workspace, plant: Plant) -> tuple[Path, Path | None]:
    """The register and the standing mends of a plant as files. The mends file is written anew under its content's mark."""
    with workspace.reading() as connection:
        standing = rows.standing(connection, tables.mend, plant_id=plant.id)
    register = workspace.file(plant.file)[1]
    if not standing:
        return register, None
    number = workspace.keep_file("mends.csv", mends_text(standing).encode())
    return register, workspace.file(number)[1]
