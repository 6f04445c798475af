"""Studies in a workspace: kept valve by valve, given back as the Study that was run."""

from __future__ import annotations

import json
import zlib
from typing import Any

from sqlalchemy import Connection, func, insert, select

from quietseat import planning
from quietseat.basis import Basis, make
from quietseat.planning.records import Item, from_plain, to_plain
from quietseat.store import rows, tables
from quietseat.store.rows import Row
from quietseat.study import Record, Study

BATCH = 500  # valves written at once


def save(connection: Connection, plant: int, study: Study, stage: str, who: str = "") -> int:
    """Keep a study as a draft of a plant under its next number; returns its id. stage: first look or full. who: who had it run."""
    last = connection.execute(select(func.max(tables.study.c.number)).where(tables.study.c.plant_id == plant)).scalar()
    head = study.head
    number = rows.add(
        connection, tables.study, plant_id=plant, number=(last or 0) + 1, stage=stage, state="draft", hash=head["hash"], version=head["version"],
        valves=len(study.records), head=zlib.compress(json.dumps(head, ensure_ascii=False).encode(), 3),
    )  # fmt: skip
    rows.note(connection, plant, "study", "made", who, row=number, study=number, words=f"{stage}, hash {head['hash']}")
    basis = make(head["basis"]["changed"])
    for start in range(0, len(study.records), BATCH):
        connection.execute(insert(tables.valve), [_columns(number, record, basis) for record in study.records[start : start + BATCH]])
    return number


def _columns(study: int, record: Record, basis: Basis) -> Row:
    one, whole = record.summary, json.loads(zlib.decompress(record.packed))
    npv = ((whole.get("money") or {}).get("npv") or {}).get("mid")
    if npv is None and one["recommended"]:
        chosen: Row = next((r for r in whole["remedies"] if r["name"] == one["recommended"]), {})
        npv = ((chosen.get("life_cycle") or {}).get("npv") or {}).get("mid")
    leak = ((whole.get("leakage") or {}).get("product_kg_a") or {}).get("mid")
    item = planning.item(whole, basis, basis.act_finding_cost)
    opens = sum(finding["outcome"] == "open" for finding in whole["findings"])
    texts = (one["tag"], *(whole.get("alias") or ()), one["unit"], one["fluid"], one["designation"], one["cause"], one["recommended_title"], *one["codes"])
    return {
        "study_id": study, "tag": one["tag"], "rank": record.place["rank"], "verdict": one["verdict"], "severity": one["severity"] or "",
        "unit": one["unit"] or "", "kind": one["kind"] or "", "designation": one["designation"] or "", "fluid": one["fluid"] or "",
        "set_pressure": one["set_pressure_pa"], "cause_code": one["cause_code"] or "", "cause": one["cause"] or "",
        "operating_ratio": one["operating_ratio"], "utilisation": one["utilisation"], "inlet_loss": one["inlet_loss_rated"],
        "built_up": one["built_up_ratio"], "recommended": one["recommended"] or "", "recommended_title": one["recommended_title"] or "",
        "clears": one["clears"] or "", "cost": one["cost_mid"], "npv": npv, "leak": leak, "in_plan": record.place["in_plan"],
        "defaults": one["defaults"], "opens": opens, "score": one["score"], "codes": " ".join(one["codes"]),
        "words": " ".join(str(text) for text in texts if text).lower(), "summary": json.dumps(one, ensure_ascii=False),
        "place": json.dumps(record.place, ensure_ascii=False), "packed": record.packed, "steps": record.steps,
        "item": json.dumps(to_plain(item)) if item is not None else None,
    }  # fmt: skip


def get(connection: Connection, number: int) -> Row | None:
    """A study's own columns, with `head` as a dict, or None."""
    row = rows.one(connection, tables.study, number)
    return {**row, "head": json.loads(zlib.decompress(row["head"]))} if row else None


def of_plant(connection: Connection, plant: int) -> list[Row]:
    """The studies of a plant, newest first, without their heads and what they froze."""
    wanted = [column for column in tables.study.c if column.name not in ("head", "frozen")]
    query = select(*wanted).where(tables.study.c.plant_id == plant).order_by(tables.study.c.number.desc())
    return [dict(row) for row in connection.execute(query).mappings()]


def record(row: Any) -> Record:
    """One valve's row as the record of a study."""
    return Record(row["tag"], row["verdict"], json.loads(row["summary"]), bytes(row["packed"]), row["steps"] and bytes(row["steps"]), json.loads(row["place"]))


def load(connection: Connection, number: int) -> Study | None:
    """The whole Study as it was run, ready for `report.write`; None where there is none."""
    row = get(connection, number)
    if row is None:
        return None
    query = select(tables.valve).where(tables.valve.c.study_id == number).order_by(tables.valve.c.id)
    return Study(row["head"], [record(one) for one in connection.execute(query).mappings()])


def items(connection: Connection, number: int) -> list[Item]:
    """The valves of a study with something to plan, in the order of the study."""
    study = get(connection, number)
    if study is None:
        return []
    query = select(tables.valve.c.item, tables.valve.c.verdict, tables.valve.c.id).where(tables.valve.c.study_id == number).order_by(tables.valve.c.id)
    found = connection.execute(query).all()
    planned = [row for row in found if row.verdict in planning.PLANNED]
    if all(row.item is None for row in planned):  # kept before plans had their own column
        basis = make(study["head"]["basis"]["changed"])
        whole = select(tables.valve.c.packed).where(tables.valve.c.study_id == number).order_by(tables.valve.c.id)
        made = [planning.item(json.loads(zlib.decompress(row.packed)), basis, basis.act_finding_cost) for row in connection.execute(whole)]
        return [one for one in made if one is not None]
    return [from_plain(json.loads(row.item)) for row in planned if row.item is not None]


def tags_by_rank(connection: Connection, number: int) -> list[str]:
    """The tags of a study, worst first."""
    query = select(tables.valve.c.tag).where(tables.valve.c.study_id == number).order_by(tables.valve.c.rank)
    return list(connection.execute(query).scalars())
