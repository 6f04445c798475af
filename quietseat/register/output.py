"""A Register as the plain data of `read --json`: SI, the unit in the key, every value with the cell it came from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from quietseat.fields import fields
from quietseat.model import Location, Origin

# The unit in the key, by the quantity of the field.
SUFFIX: Mapping[str, str] = {
    "pressure": "pa", "pressure_difference": "pa", "pressure_range": "pa", "temperature": "k", "area": "m2", "flow": "kg_s",
    "volume_flow": "m3_s", "length": "m", "volume": "m3", "density": "kg_m3", "viscosity": "pa_s", "speed": "m_s",
    "specific_volume": "m3_kg", "molar_mass": "kg_mol", "mass": "kg", "spring_rate": "n_m", "force": "n", "time": "s",
}  # fmt: skip
_TABLES = {"valve": "valve", "inlet": "inlet", "outlet": "outlet", "vessel": "vessel", "service": "service", "dynamics": "dynamics"}


def head(found: Any) -> dict[str, Any]:
    """Everything but the valves."""
    return {
        "status": "ok", "file": found.file, "rows_found": found.rows_found, "rows_read": found.rows_read,
        "rows_partial": found.rows_partial, "rows_refused": found.rows_refused, "valves_found": found.valves_found,
        "sheets": [_sheet(sheet) for sheet in found.sheets], "columns": [asdict(column) for column in found.columns],
        "rows": [asdict(row) for row in found.rows if row.state != "read"], "mends": [asdict(mend) for mend in found.mends],
    }  # fmt: skip


def whole(found: Any) -> dict[str, Any]:
    """The whole answer."""
    answer = head(found)
    answer["problems"] = [problem.as_dict() for problem in found.problems]
    answer["assumptions"] = [asdict(assumption) for assumption in found.assumptions]
    states = {(row.sheet, row.row): row.state for row in found.rows}
    answer["valves"] = [valve(place, states) for place in found.locations]
    return answer


def _sheet(sheet: Any) -> dict[str, Any]:
    out = asdict(sheet)
    out["skipped"] = [{"row": row, "kind": kind, "text": text} for row, kind, text in sheet.skipped]
    return out


def valve(place: Location, states: Mapping[tuple[str, int], str]) -> dict[str, Any]:
    """One valve: the valve's own keys at the top, its cases, lines, vessel and history below."""
    out: dict[str, Any] = {
        "tag": place.tag, "alias": list(place.alias), "unit": place.unit, "twin": place.twin, "sheet": place.sheet,
        "row": place.row, "state": states.get((place.sheet or "", place.row or 0), "read"), "remarks": list(place.remarks),
    }  # fmt: skip
    for table, name in _TABLES.items():
        part = _part(getattr(place, table), name, f"{table}.", place.origins)
        if table == "valve":
            out.update(part)
        else:
            out[table] = part
    for end in ("inlet", "outlet"):
        line = getattr(place, end)
        if line.fittings:
            out[end]["fittings"] = [
                {"kind": f.kind, "count": f.count} for f in line.fittings
            ]  # fmt: skip
    out["cases"] = [
        {"name": case.name} | _part(case, "case", f"cases.{number}.", place.origins, leave=("name",))
        for number, case in enumerate(place.cases)
    ]  # fmt: skip
    out["history"] = {
        "condition": place.history.condition,
        "last_clean_survey": place.history.last_clean_survey,
        "measured_rate_kg_s": place.history.measured_rate,
        "events": [
            {**asdict(event), **_origin(place.origins.get(f"history.events.{number}", Origin("read")))}
            for number, event in enumerate(place.history.events)
        ],
    }
    return out


def _part(record: Any, table: str, path: str, origins: Mapping[str, Origin], leave: tuple[str, ...] = ()) -> dict[str, Any]:
    """The known values of one record, each with its origin."""
    out: dict[str, Any] = {}
    suffixes = _suffixes(table)
    for name in record.__dataclass_fields__:
        value = getattr(record, name)
        if value is None or value == () or name in leave or name in ("tag", "fittings", "segments"):
            continue
        source = origins.get(f"{path}{name}", Origin("derived"))
        key = f"{name}_{suffixes[name]}" if name in suffixes else name
        out[key] = {"value": list(value) if isinstance(value, tuple) else value, **_origin(source)}
    return out


def _origin(source: Origin) -> dict[str, str]:
    return {"text": source.text, "from": source.where, "how": source.how, "rule": source.rule}


def _suffixes(table: str) -> dict[str, str]:
    known = _KNOWN.get(table)
    if known is None:
        known = _KNOWN[table] = {
            field.attribute: SUFFIX[field.quantity] for field in fields().values()
            if field.table == table and field.quantity in SUFFIX
        }  # fmt: skip
    return known


_KNOWN: dict[str, dict[str, str]] = {}
