"""The file of `valve` and `chatter`: tables of the fields of fields.csv."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date
from math import isfinite
from typing import Any

from quietseat import basis as bases
from quietseat import tables, units
from quietseat.basis import Basis
from quietseat.casefile.reader import Reader, read_toml, subtable
from quietseat.dynamics.parameters import letter_area, ranges, seat_bore
from quietseat.fields import Field, of_table
from quietseat.model import (
    Case,
    Dynamics,
    Event,
    Fitting,
    History,
    Line,
    Location,
    Origin,
    Segment,
    Service,
    Valve,
    Vessel,
)  # fmt: skip
from quietseat.sizing.constants import WATER_DENSITY
from quietseat.status import CalculationFailed

_TABLES = ("basis", "valve", "case", "inlet", "outlet", "vessel", "history", "service", "dynamics", "run")
_LISTS = {"inlet": ("fittings", "segments"), "outlet": ("fittings", "segments")}
_DESIGNATED = (
    ("inlet_size", "inlet"), ("orifice", "letter"), ("outlet_size", "outlet"), ("inlet_class", "inlet_class"),
    ("outlet_class", "outlet_class"),
)  # fmt: skip
_EVENT = ("date", "event", "value", "note", "cost")
_SAID = {"condition": "text", "reading_ppm": "ppm", "reading_date": "date", "last_clean_survey": "date", "measured_rate": "mass_flow"}
_RUN = {
    "flow": "flow", "flow_fraction": "fraction", "inlet_length": "length", "cells": "integer", "duration": "time",
    "start": "choice",
}  # fmt: skip
_STARTS = ("shut", "equilibrium")
_MOST = {"cells": (4, 1000), "duration": (0.0, 600.0)}  # a coarser line has no waves; a longer run never comes back
# What a number must be, by key, in every table. Everything else may have any sign.
_ABOVE_ZERO = frozenset((
    "diameter", "size", "effective_area", "actual_area", "effective_coefficient", "rated_coefficient", "lift_restriction",
    "volume", "k", "Z", "density", "specific_gravity", "sound_speed", "specific_volume", "specific_volume_90", "density_90",
    "seat_diameter", "moving_mass", "spring_rate", "max_lift", "discharge_coefficient", "effective_area_ratio",
    "effective_area_knee", "dome_area_ratio", "dome_volume", "vent_area", "fill_area", "sense_bore", "installed", "required",
    "duration", "cells", "inlet_length", "flow_fraction", "temperature",
))  # fmt: skip
_NOT_BELOW_ZERO = frozenset((
    "length", "roughness", "friction_factor", "loss_coefficient", "elbows", "long_elbows", "tees", "count", "blowdown",
    "damping_ratio", "friction_force", "restitution", "bellows_area_ratio", "bowl_volume", "pilot_blowdown", "pilot_band",
    "null_zone", "sense_length", "pilot_lag", "quality",
))  # fmt: skip
_AT_MOST_ONE = frozenset((
    "blowdown", "lift_restriction", "effective_coefficient", "rated_coefficient", "discharge_coefficient",
    "effective_area_knee", "restitution", "pilot_blowdown", "pilot_band", "null_zone", "quality",
))  # fmt: skip


@dataclass(frozen=True, slots=True)
class ValveCase:
    """A valve file, read. `run` is the [run] table for time marching, SI."""

    location: Location
    basis: Basis
    run: Mapping[str, Any]


def read_valve(path: str) -> ValveCase:
    """A valve file (contracts: `valve`, `chatter`). Raises InputUnusable naming every key that cannot be read."""
    name, content = read_toml(path)
    reader = Reader(name, bases.make(subtable(content, "basis", name), origin=f"{name} [basis]"))
    _known_tables(reader, content)
    valve = _valve(reader, subtable(content, "valve", name))
    raw_cases = list(_case_tables(reader, content.get("case", [])))
    cases = tuple(_case(reader, index, raw) for index, raw in enumerate(raw_cases))
    lines = {end: _line(reader, end, subtable(content, end, name)) for end in ("inlet", "outlet")}
    location = Location(
        tag=valve.tag or "unnamed", valve=valve, cases=cases, inlet=lines["inlet"], outlet=lines["outlet"],
        vessel=_record(reader, "vessel", subtable(content, "vessel", name), Vessel()),
        history=_history(reader, content.get("history", {})),
        service=_record(reader, "service", subtable(content, "service", name), Service()),
        dynamics=_dynamics(reader, subtable(content, "dynamics", name), valve),
        origins=reader.origins,
    )  # fmt: skip
    run = _run(reader, subtable(content, "run", name), raw_cases[0] if raw_cases else {})
    reader.finish()
    return ValveCase(location, reader.basis, run)


def _known_tables(reader: Reader, content: Mapping[str, Any]) -> None:
    for key, raw in content.items():
        if key in _TABLES:
            continue
        if isinstance(raw, (dict, list)):
            reader.unknown(f"[{key}]", [f"[{table}]" for table in _TABLES])
            continue
        homes = ["valve"] if key == "tag" else [table for table in _TABLES if key in of_table(table)]
        where = f"put it under [{homes[0]}]" if homes else f"the tables are {', '.join(f'[{t}]' for t in _TABLES)}"
        reader.wrong.append(f"key {key!r} stands outside every table; {where}")


def _case_tables(reader: Reader, raw: Any) -> Iterator[dict[str, Any]]:
    """The cases; a single [case] is a list of one."""
    for number, table in enumerate(raw if isinstance(raw, list) else [raw]):
        if isinstance(table, dict):
            yield dict(table)
        else:
            reader.wrong.append(f"case[{number}] = {table!r}: must be a table: [case], or [[case]] for several")


def _held(reader: Reader, at: str, value: Any) -> Any:
    """The value, if it lies where one of its key can; else a complaint and None."""
    key = at.rpartition(".")[2]
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return value
    if key == "accumulation":
        return reader.share(at, value)
    rule = ""
    if not isfinite(value):
        rule = "must be a finite number"
    elif key in _ABOVE_ZERO and not value > 0:
        rule = "must be above zero"
    elif key in _NOT_BELOW_ZERO and not value >= 0:
        rule = "must not be below zero"
    elif key in _AT_MOST_ONE and value > 1:
        rule = "is a share of one and cannot be more" + (f'; write it as "{value:g} %"' if value <= 100 else "")
    if rule:
        reader.wrong.append(f"{at} = {value:g}: {rule}")
        return None
    return value


def _run(reader: Reader, content: dict[str, Any], case: Mapping[str, Any]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for key, raw in content.items():
        if key not in _RUN:
            reader.unknown(f"run.{key}", [f"run.{name}" for name in _RUN])
            continue
        value = reader.value(f"run.{key}", _RUN[key], raw, case, _STARTS if key == "start" else ())
        if isinstance(value, tuple):
            reader.wrong.append(f"run.{key} = {raw!r}: give it as mass flow")
        elif value is not None and (held := _held(reader, f"run.{key}", value)) is not None:
            out[key] = held
    if "flow" in out and not out["flow"] > 0:
        reader.wrong.append(f"run.flow = {content['flow']!r}: must be above zero")
    if "flow" in content and "flow_fraction" in content:
        reader.wrong.append("run.flow and run.flow_fraction are both stated: give one of them")
    for key, (low, high) in _MOST.items():
        if key in out and not low <= out[key] <= high:
            reader.wrong.append(f"run.{key} = {content[key]!r}: must lie between {low:g} and {high:g}{' s' if key == 'duration' else ''}")
    return out


def _dynamics(reader: Reader, content: dict[str, Any], valve: Valve) -> Dynamics:
    found: Dynamics = _record(reader, "dynamics", content, Dynamics())
    bore, said = found.seat_diameter, f"the seat bore {content.get('seat_diameter')!r}"
    if bore is None and found.max_lift is not None:
        bore, said = _largest_bore(valve), "any seat bore of its letter or area"
    if bore is not None and found.max_lift is not None and found.max_lift > bore:
        reader.wrong.append(f"dynamics.max_lift = {content['max_lift']!r}: is above {said}")
    return found


def _largest_bore(valve: Valve) -> float | None:
    """The largest seat bore a valve of this letter or area can have, m; None where neither is known."""
    try:
        area = valve.effective_area or (letter_area(valve.orifice) if valve.orifice else None)
    except CalculationFailed:
        return None
    if area is not None:
        return float(seat_bore(area, ranges()["seat_area_factor"].high))
    return float(seat_bore(valve.actual_area, 1.0)) if valve.actual_area is not None else None


def _values(reader: Reader, table: str, content: dict[str, Any], prefix: str) -> dict[str, tuple[Field, Any]]:
    """Every known key of one table, read; origins noted as given."""
    known = of_table(table)
    out: dict[str, tuple[Field, Any]] = {}
    for key, raw in content.items():
        if key in _LISTS.get(table, ()):
            continue
        field = known.get(key)
        if field is None:
            reader.unknown(f"{prefix}.{key}", [f"{prefix}.{name}" for name in known])
            continue
        value = _held(reader, f"{prefix}.{key}", reader.value(f"{prefix}.{key}", field.quantity, raw, content, field.choices))
        if table == "valve" and isinstance(value, tuple) and value[0] == "volume":
            reader.wrong.append(f"{prefix}.{key} = {raw!r}: give it as mass flow")
        elif value is not None:
            out[key] = (field, value)
            reader.origins[f"{prefix}.{key}"] = Origin("given", reader.name, str(raw))
    return out


def _record(reader: Reader, table: str, content: dict[str, Any], empty: Any) -> Any:
    """Fill a record whose attributes are the keys of a table."""
    known = {f.name for f in fields(empty)}
    read = _values(reader, table, content, table)
    return replace(empty, **{field.attribute: value for field, value in read.values() if field.attribute in known})


def _valve(reader: Reader, content: dict[str, Any]) -> Valve:
    tag = content.pop("tag", "")
    designation = content.pop("designation", None)
    valve: Valve = replace(_record(reader, "valve", content, Valve()), tag=str(tag))
    if designation is not None:
        valve = _designated(reader, valve, str(designation))
    return valve


def _designated(reader: Reader, valve: Valve, text: str) -> Valve:
    from quietseat.register.sizes import designation

    try:
        read = designation(text)
    except ValueError as error:
        reader.wrong.append(f"valve.designation = {text!r}: {error}")
        return valve
    changes: dict[str, Any] = {}
    for name, part in _DESIGNATED:
        value = getattr(read, part)
        stated = getattr(valve, name)
        if value is not None and stated is not None and stated != value:
            reader.wrong.append(f"valve.designation = {text!r}: says {name} {value}, the key {name} says {stated}")
        if value is not None and stated is None:
            changes[name] = value
            reader.origins[f"valve.{name}"] = Origin("given", reader.name, text)
    return replace(valve, **changes)


def _case(reader: Reader, index: int, content: dict[str, Any]) -> Case:
    at = f"cases.{index}"
    known = {f.name for f in fields(Case())}
    read = _values(reader, "case", content, "case")
    for key in read:
        reader.origins[f"{at}.{key}"] = reader.origins[f"case.{key}"]
    values = {field.attribute: value for field, value in read.values() if field.attribute in known}
    if isinstance(values.get("flow"), tuple):  # a liquid by volume
        values["volume_flow"] = values.pop("flow")[1]
        reader.origins[f"{at}.volume_flow"] = reader.origins.pop(f"{at}.flow")
    if "specific_gravity" in read:
        values["density"] = read["specific_gravity"][1] * WATER_DENSITY
    viscosity = values.pop("viscosity", None)
    if viscosity is not None:
        kind, amount = viscosity
        if kind == "dynamic":
            values["viscosity"] = amount
        elif values.get("density"):
            kinematic = amount if kind == "kinematic" else units.parse(f"{amount} SSU", "viscosity").value
            values["viscosity"] = kinematic * values["density"]
        else:
            reader.wrong.append("case.viscosity: a kinematic viscosity needs `density` or `specific_gravity`")
    if "name" not in values:
        values["name"] = values.get("cause") or f"case {index + 1}"
    return Case(**values)


def _line(reader: Reader, end: str, content: dict[str, Any]) -> Line:
    read = _values(reader, end, content, end)
    numbers = {key: value for key, (field, value) in read.items() if field.attribute == "fittings"}
    known = {f.name for f in fields(Line())} - {"fittings"}
    line = replace(Line(), **{field.attribute: value for field, value in read.values() if field.attribute in known})
    lists = {key: _listed(reader, f"{end}.{key}", content.get(key, [])) for key in ("fittings", "segments")}
    fittings = [
        fitting for number, raw in enumerate(lists["fittings"])
        if (fitting := _fitting(reader, f"{end}.fittings[{number}]", raw)) is not None
    ]  # fmt: skip
    for key, kind in (("elbows", "elbow-90"), ("long_elbows", "elbow-90-long"), ("tees", "tee-branch")):
        number_of = numbers.get(key, 0.0)
        if number_of > 0:
            fittings.append(Fitting(kind, number_of))
    if "fittings" in content:
        reader.origins[f"{end}.fittings"] = Origin("given", reader.name, f"{len(fittings)} kinds")
    segments = tuple(
        segment for number, raw in enumerate(lists["segments"])
        if (segment := _segment(reader, f"{end}.segments[{number}]", raw)) is not None
    )  # fmt: skip
    return replace(line, fittings=tuple(fittings), segments=segments)


def _listed(reader: Reader, at: str, raw: Any) -> list[Any]:
    if isinstance(raw, list):
        return raw
    reader.wrong.append(f'{at} = {raw!r}: must be a list of tables, such as [{{kind = "elbow-90", count = 2}}]')
    return []


def _fitting(reader: Reader, at: str, raw: Any) -> Fitting | None:
    if not isinstance(raw, dict):
        reader.wrong.append(f'{at}: must be a table such as {{kind = "elbow-90", count = 2}}')
        return None
    kinds = [str(row["kind"]) for row in tables.table("fittings").rows]
    for key in raw:
        if key not in ("kind", "count", "size"):
            reader.unknown(f"{at}.{key}", [f"{at}.{name}" for name in ("kind", "count", "size")])
    if raw.get("kind") not in kinds:
        reader.wrong.append(f"{at}.kind = {raw.get('kind')!r}: must be one of {', '.join(kinds)}")
        return None
    size = reader.value(f"{at}.size", "pipe_size", raw["size"]) if "size" in raw else None
    count = _held(reader, f"{at}.count", reader.value(f"{at}.count", "number", raw.get("count", 1)))
    return Fitting(raw["kind"], count if count is not None else 1.0, size)


def _segment(reader: Reader, at: str, raw: Any) -> Segment | None:
    if not isinstance(raw, dict):
        reader.wrong.append(f"{at}: must be a table with length and size or diameter")
        return None
    kinds = {"diameter": "length", "length": "length", "size": "pipe_size", "schedule": "schedule"}
    values: dict[str, Any] = {}
    for key, given in raw.items():
        if key not in kinds:
            reader.unknown(f"{at}.{key}", [f"{at}.{name}" for name in kinds])
        else:
            values[key] = _held(reader, f"{at}.{key}", reader.value(f"{at}.{key}", kinds[key], given))
    if values.get("length") is None:
        reader.wrong.append(f"{at}: needs length")
        return None
    if values.get("diameter") is None:
        from quietseat.piping.resistance import pipe_bore

        if values.get("size") is None:
            reader.wrong.append(f"{at}: needs diameter, or size with schedule")
            return None
        values["diameter"] = pipe_bore(values["size"], values.get("schedule") or "40")[0]
    return Segment(values["diameter"], values["length"], values.get("size"), values.get("schedule"))


def _history(reader: Reader, content: Any) -> History:
    """[[history]] entries, or a [history] table of lists; each entry has date, event, value, note, cost."""
    groups = {"": content} if isinstance(content, list) else content
    if not isinstance(groups, dict):
        reader.wrong.append("[history] must be a table of lists or [[history]] entries")
        return History()
    events: list[Event] = []
    said: dict[str, Any] = {}
    for name, group in groups.items():
        if name in _SAID:
            said[name] = _said(reader, name, group)
            continue
        if not isinstance(group, (list, dict)):
            reader.unknown(f"history.{name}", [f"history.{key}" for key in _SAID])
            continue
        for number, raw in enumerate(group if isinstance(group, list) else [group]):
            event = _event(reader, f"history.{name}[{number}]", name, raw)
            if event is not None:
                events.append(event)
    if said.get("reading_ppm") is not None:
        events.append(Event("leak", said.get("reading_date"), said["reading_ppm"], "leak reading"))
    elif "reading_date" in said and "reading_ppm" not in said:
        reader.wrong.append("history.reading_date: a date without a reading; give reading_ppm as well")
    return History(tuple(events), said.get("condition"), said.get("last_clean_survey"), said.get("measured_rate"))


def _said(reader: Reader, key: str, raw: Any) -> Any:
    """One plain value of the history: words, a reading, a date or a leak rate."""
    at = f"history.{key}"
    if key == "condition":
        return str(raw)
    value = reader.value(at, _SAID[key], raw)
    if isinstance(value, (int, float)) and not (isfinite(value) and value >= 0):
        reader.wrong.append(f"{at} = {raw!r}: must not be below zero" if value < 0 else f"{at} = {raw!r}: must be a finite number")
        return None
    if _SAID[key] == "date" and value is not None:
        try:
            return date.fromisoformat(value[:10]).isoformat()
        except ValueError:
            reader.wrong.append(f"{at} = {raw!r}: names no day; write it as 2026-03-01")
            return None
    return value


def _event(reader: Reader, at: str, group: str, raw: Any) -> Event | None:
    if not isinstance(raw, dict):
        reader.wrong.append(f"{at}: must be a table with {', '.join(_EVENT)}")
        return None
    for key in raw:
        if key not in _EVENT:
            reader.unknown(f"{at}.{key}", [f"{at}.{name}" for name in _EVENT])
    kind = str(raw.get("event") or group.removesuffix("s") or "other")
    value = raw.get("value")
    if isinstance(value, str):
        value = reader.value(f"{at}.value", "pressure" if kind == "pop" else "number", value)
    elif kind == "pop" and value is not None:
        reader.wrong.append(f'{at}.value = {value!r}: a pop needs a unit, such as "10.4 barg"')
    cost = raw.get("cost")
    if isinstance(cost, str):
        cost = reader.value(f"{at}.cost", "money", cost)
    note = raw.get("note")
    return Event(
        kind, str(raw["date"]) if "date" in raw else None, value, str(note) if note is not None else None, cost
    )
