"""Case files: TOML as a person writes it -> records. Keys are those of fields.csv; unknown ones are refused."""

from __future__ import annotations

import difflib
import sys
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from quietseat import basis as bases
from quietseat import tables, units
from quietseat.basis import Basis
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
from quietseat.sizing.request import METHODS, Request
from quietseat.status import Assumption, InputUnusable

WATER_DENSITY = 999.016  # kg/m3 at 15.6 degC, the reference of specific gravity (IAPWS-95, computed)
_TABLES = ("basis", "valve", "case", "inlet", "outlet", "vessel", "history", "service", "dynamics", "run")
_LISTS = {"inlet": ("fittings", "segments"), "outlet": ("fittings", "segments")}
_DESIGNATED = (
    ("inlet_size", "inlet"), ("orifice", "letter"), ("outlet_size", "outlet"), ("inlet_class", "inlet_class"),
    ("outlet_class", "outlet_class"),
)  # fmt: skip
_EVENT = ("date", "event", "value", "note", "cost")
_SIZE_KEYS = {
    "method": "text", "standard": "text", "edition": "text", "set_pressure": "pressure", "overpressure": "fraction",
    "mawp": "pressure", "accumulation": "fraction", "relieving_pressure": "pressure", "back_pressure": "pressure",
    "kind": "text", "flow": "flow", "molar_mass": "molar_mass", "k": "number", "temperature": "temperature",
    "Z": "number", "volume_flow": "volume_flow", "specific_gravity": "number", "viscosity": "viscosity",
    "certified": "flag", "specific_volume": "specific_volume", "specific_volume_90": "specific_volume",
    "saturation_pressure": "pressure", "density": "density", "density_90": "density", "fluid": "text",
    "quality": "fraction", "coefficient": "number", "area": "area", "seat": "text",
    **{name: "number" for name in ("Kd", "Kb", "Kw", "Kc", "Kv", "Kp", "KN", "KSH")},
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class SizeCase:
    """A sizing case file, read."""

    request: Request
    basis: Basis
    assumptions: tuple[Assumption, ...]


@dataclass(frozen=True, slots=True)
class ValveCase:
    """A valve file, read. `run` is the [run] table for time marching, as given."""

    location: Location
    basis: Basis
    run: Mapping[str, Any]


def read_toml(path: str) -> tuple[str, dict[str, Any]]:
    """The name and content of a TOML file, or of standard input for "-". Raises InputUnusable."""
    name = "standard input" if path == "-" else Path(path).name
    try:
        text = sys.stdin.read() if path == "-" else Path(path).read_text(encoding="utf-8-sig")
        return name, tomllib.loads(text)
    except OSError as error:
        raise InputUnusable(f"{path}: cannot be read ({error.strerror}).") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputUnusable(f"{name}: is not TOML ({error}).") from error


def read_size(path: str) -> SizeCase:
    """A sizing case (contracts: `size`). Raises InputUnusable naming every key that cannot be read."""
    return size_case(*read_toml(path))


def size_case(name: str, content: dict[str, Any]) -> SizeCase:
    """A sizing case from a parsed table; `name` stands in the messages. Raises InputUnusable like `read_size`."""
    content = dict(content)
    basis = bases.make(_subtable(content, "basis", name), origin=f"{name} [basis]")
    content.update(_subtable(content, "case", name))
    reader = _Reader(name, basis)
    molar_mass = content.get("molar_mass")
    values: dict[str, Any] = {}
    for key, raw in content.items():
        quantity = _SIZE_KEYS.get(key)
        if quantity is None:
            reader.unknown(key, _SIZE_KEYS)
        elif (value := reader.value(key, quantity, raw, molar_mass)) is not None:
            values[key] = value
    method = values.get("method")
    if method not in METHODS:
        reader.wrong.append(f"method = {method!r}: must be one of {', '.join(METHODS)}")
    reader.finish()
    return SizeCase(_request(values, reader), basis, tuple(reader.assumptions))


def _request(values: dict[str, Any], reader: _Reader) -> Request:
    overrides: dict[str, float] = {key: values.pop(key) for key in ("Kd", "Kb", "Kw", "Kc", "Kv", "Kp", "KN", "KSH") if key in values}
    viscosity = values.pop("viscosity", None)
    values.pop("seat", None)
    density = values.get("density")
    if density is None and "specific_gravity" in values:
        density = values["specific_gravity"] * WATER_DENSITY
    if viscosity is not None:
        kind, amount = viscosity
        if kind == "ssu":
            values["viscosity_ssu"] = amount
        elif kind == "kinematic":
            if density is None:
                reader.wrong.append("viscosity: a kinematic viscosity needs `density` or `specific_gravity`")
                reader.finish()
            values["viscosity"] = amount * density
        else:
            values["viscosity"] = amount
    if "accumulation" in values and values["accumulation"] < 1:
        values["accumulation"] = 1 + values["accumulation"]  # "10 %" over MAWP is 110 % of it
    if values.get("method") in ("liquid", "subcooled") and "flow" in values and "volume_flow" not in values and density:
        values["volume_flow"] = values["flow"] / density
    if (
        "relieving_pressure" not in values
        and "overpressure" not in values
        and "mawp" not in values
        and "set_pressure" in values
    ):
        values["overpressure"] = 0.10
        reader.assumptions.append(
            Assumption("overpressure", "10 %", "one valve, not fire, set at MAWP", "ASME VIII/XIII")
        )
    return Request(**values, overrides=overrides)


def read_valve(path: str) -> ValveCase:
    """A valve file (contracts: `valve`, `chatter`). Raises InputUnusable naming every key that cannot be read."""
    name, content = read_toml(path)
    reader = _Reader(name, bases.make(_subtable(content, "basis", name), origin=f"{name} [basis]"))
    for key in content:
        if key not in _TABLES:
            reader.unknown(f"[{key}]", [f"[{table}]" for table in _TABLES])
    valve = _valve(reader, _subtable(content, "valve", name))
    raw_cases = content.get("case", [])
    cases = tuple(
        _case(reader, index, dict(raw))
        for index, raw in enumerate(raw_cases if isinstance(raw_cases, list) else [raw_cases])
    )
    lines = {end: _line(reader, end, _subtable(content, end, name)) for end in ("inlet", "outlet")}
    location = Location(
        tag=valve.tag or "unnamed", valve=valve, cases=cases, inlet=lines["inlet"], outlet=lines["outlet"],
        vessel=_record(reader, "vessel", _subtable(content, "vessel", name), Vessel()),
        history=_history(reader, content.get("history", {})),
        service=_record(reader, "service", _subtable(content, "service", name), Service()),
        dynamics=_record(reader, "dynamics", _subtable(content, "dynamics", name), Dynamics()),
        origins=reader.origins,
    )  # fmt: skip
    reader.finish()
    return ValveCase(location, reader.basis, _subtable(content, "run", name))


def _subtable(content: dict[str, Any], key: str, name: str) -> dict[str, Any]:
    table = (
        content.pop(key, {})
        if key in ("basis", "case") and not isinstance(content.get(key), list)
        else content.get(key, {})
    )
    if not isinstance(table, dict):
        raise InputUnusable(f"{name}: [{key}] must be a table.")
    return dict(table)


class _Reader:
    """Reads values and collects everything that is wrong with one file, so all of it is told at once."""

    def __init__(self, name: str, basis: Basis) -> None:
        self.name = name
        self.basis = basis
        self.wrong: list[str] = []
        self.assumptions: list[Assumption] = []
        self.origins: dict[str, Origin] = {}

    def unknown(self, key: str, known: Iterable[str]) -> None:
        near = difflib.get_close_matches(key, list(known), n=1, cutoff=0.5)
        self.wrong.append(f"unknown key {key!r}" + (f"; the nearest known key is {near[0]!r}" if near else ""))

    def finish(self) -> None:
        if self.wrong:
            raise InputUnusable(f"{self.name}: " + "; ".join(self.wrong))

    def value(self, key: str, quantity: str, raw: Any, molar_mass: Any = None, choices: tuple[str, ...] = ()) -> Any:
        """One value as SI; None (and a complaint) where it cannot be read."""
        try:
            return self._read(quantity, raw, molar_mass, choices)
        except ValueError as error:
            self.wrong.append(f"{key} = {raw!r}: {error}")
            return None

    def _read(self, quantity: str, raw: Any, molar_mass: Any, choices: tuple[str, ...]) -> Any:
        if quantity in ("flag", "yes_no"):
            if not isinstance(raw, bool):
                raise ValueError("must be true or false")
            return raw
        if quantity in ("text", "choice", "letter", "cause", "designation", "schedule", "block_valve", "date"):
            return self._word(raw, choices)
        if quantity == "pressure_range":
            if not isinstance(raw, list) or len(raw) != 2:
                raise ValueError('must be two pressures, such as ["8 barg", "12 barg"]')
            return tuple(self._read("pressure", end, None, ()) for end in raw)
        if isinstance(raw, bool) or not isinstance(raw, (str, int, float)):
            raise ValueError("must be text with a unit, or a number")
        if quantity in ("number", "money", "integer", "ppm", "molar_mass", "fraction", "pressure_class", "pipe_size"):
            return self._plain(quantity, raw)
        if isinstance(raw, (int, float)):
            raise ValueError('needs a unit, written as text, such as "10 barg" or "5000 kg/h"')
        if quantity == "flow":
            return self._flow(raw, molar_mass)
        if quantity == "viscosity":
            return self._viscosity(raw)
        return units.parse(raw, quantity, atmospheric=self.basis.atmospheric_pressure).value

    def _word(self, raw: Any, choices: tuple[str, ...]) -> str:
        if isinstance(raw, (int, float)) and not isinstance(raw, bool) and not choices:
            return f"{raw:g}"
        if not isinstance(raw, str):
            raise ValueError("must be text")
        if choices and raw not in choices:
            raise ValueError(f"must be one of {', '.join(choices)}")
        return raw

    def _plain(self, quantity: str, raw: str | int | float) -> float | int:
        if quantity == "integer":
            if not isinstance(raw, int):
                raise ValueError("must be a whole number")
            return raw
        if quantity in ("pipe_size", "pressure_class"):
            value = units.parse(str(raw), quantity).value
            return int(value) if quantity == "pressure_class" else value
        if quantity == "molar_mass":
            value = float(raw) * 1e-3 if isinstance(raw, (int, float)) else units.parse(raw, "mass_per_mole").value
            if not 0.001 <= value <= 1.0:
                raise ValueError("a molar mass lies between 1 and 1000 g/mol")
            return value
        if isinstance(raw, (int, float)):
            return float(raw)
        return units.parse(raw, "fraction" if quantity == "fraction" else "number").value

    def _flow(self, raw: str, molar_mass: Any) -> float:
        quantity, reading = units.parse_any(raw, ("mass_flow", "gas_flow"), references=references(self.basis))
        if quantity == "mass_flow":
            return reading.value
        if molar_mass is None:
            raise ValueError("a gas volume flow needs `molar_mass`")
        mass = self._plain("molar_mass", molar_mass)
        self.assumptions.append(
            Assumption("flow", raw, f"gas volume at {reading.note}, times molar mass", "definition")
        )
        return reading.value * mass

    def _viscosity(self, raw: str) -> tuple[str, float]:
        reading = units.parse(raw, "viscosity")
        if reading.unit == "SSU":
            return "ssu", float(raw.split()[0].replace(",", "."))
        return ("kinematic" if reading.kinematic else "dynamic"), reading.value


def references(basis: Basis) -> dict[str, tuple[float, float]]:
    """Reference conditions of gas volumes by the Basis: temperature (K), pressure (Pa absolute)."""
    stated = dict(units.REFERENCES)
    stated["Nm3"] = (basis.normal_temperature, stated["Nm3"][1])
    stated["Sm3"] = (basis.standard_temperature, stated["Sm3"][1])
    stated["SCF"] = (basis.standard_temperature_us, stated["SCF"][1])
    return stated


def _values(reader: _Reader, table: str, content: dict[str, Any], prefix: str) -> dict[str, tuple[Field, Any]]:
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
        value = reader.value(f"{prefix}.{key}", field.quantity, raw, content.get("molar_mass"), field.choices)
        if value is not None:
            out[key] = (field, value)
            reader.origins[f"{prefix}.{key}"] = Origin("given", reader.name, str(raw))
    return out


def _record(reader: _Reader, table: str, content: dict[str, Any], empty: Any) -> Any:
    """Fill a record whose attributes are the keys of a table."""
    known = {f.name for f in fields(empty)}
    read = _values(reader, table, content, table)
    return replace(empty, **{field.attribute: value for field, value in read.values() if field.attribute in known})


def _valve(reader: _Reader, content: dict[str, Any]) -> Valve:
    tag = content.pop("tag", "")
    designation = content.pop("designation", None)
    valve: Valve = replace(_record(reader, "valve", content, Valve()), tag=str(tag))
    if designation is not None:
        valve = _designated(reader, valve, str(designation))
    return valve


def _designated(reader: _Reader, valve: Valve, text: str) -> Valve:
    from quietseat.register.sizes import designation

    try:
        read = designation(text)
    except ValueError as error:
        reader.wrong.append(f"valve.designation = {text!r}: {error}")
        return valve
    changes: dict[str, Any] = {}
    for name, part in _DESIGNATED:
        value = getattr(read, part)
        if value is not None and getattr(valve, name) is None:
            changes[name] = value
            reader.origins[f"valve.{name}"] = Origin("given", reader.name, text)
    return replace(valve, **changes)


def _case(reader: _Reader, index: int, content: dict[str, Any]) -> Case:
    at = f"cases.{index}"
    known = {f.name for f in fields(Case())}
    read = _values(reader, "case", content, "case")
    for key in read:
        reader.origins[f"{at}.{key}"] = reader.origins[f"case.{key}"]
    values = {field.attribute: value for field, value in read.values() if field.attribute in known}
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
    if values.get("accumulation") is not None and values["accumulation"] < 1:
        values["accumulation"] = 1 + values["accumulation"]
    if "name" not in values:
        values["name"] = values.get("cause") or f"case {index + 1}"
    return Case(**values)


def _line(reader: _Reader, end: str, content: dict[str, Any]) -> Line:
    line: Line = _record(reader, end, content, Line())
    fittings = [
        fitting for number, raw in enumerate(content.get("fittings", []))
        if (fitting := _fitting(reader, f"{end}.fittings[{number}]", raw)) is not None
    ]  # fmt: skip
    for key, kind in (("elbows", "elbow-90"), ("long_elbows", "elbow-90-long"), ("tees", "tee-branch")):
        if isinstance(content.get(key), (int, float)) and content[key] > 0:
            fittings.append(Fitting(kind, float(content[key])))
    if "fittings" in content:
        reader.origins[f"{end}.fittings"] = Origin("given", reader.name, f"{len(fittings)} kinds")
    segments = tuple(
        segment for number, raw in enumerate(content.get("segments", []))
        if (segment := _segment(reader, f"{end}.segments[{number}]", raw)) is not None
    )  # fmt: skip
    return replace(line, fittings=tuple(fittings), segments=segments)


def _fitting(reader: _Reader, at: str, raw: Any) -> Fitting | None:
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
    count = reader.value(f"{at}.count", "number", raw.get("count", 1))
    return Fitting(raw["kind"], count if count is not None else 1.0, size)


def _segment(reader: _Reader, at: str, raw: Any) -> Segment | None:
    if not isinstance(raw, dict):
        reader.wrong.append(f"{at}: must be a table with length and size or diameter")
        return None
    kinds = {"diameter": "length", "length": "length", "size": "pipe_size", "schedule": "schedule"}
    values: dict[str, Any] = {}
    for key, given in raw.items():
        if key not in kinds:
            reader.unknown(f"{at}.{key}", [f"{at}.{name}" for name in kinds])
        else:
            values[key] = reader.value(f"{at}.{key}", kinds[key], given)
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


def _history(reader: _Reader, content: Any) -> History:
    """[[history]] entries, or a [history] table of lists; each entry has date, event, value, note, cost."""
    groups = {"": content} if isinstance(content, list) else content
    if not isinstance(groups, dict):
        reader.wrong.append("[history] must be a table of lists or [[history]] entries")
        return History()
    events: list[Event] = []
    condition = None
    for name, group in groups.items():
        if name == "condition":
            condition = str(group)
            continue
        for number, raw in enumerate(group if isinstance(group, list) else [group]):
            event = _event(reader, f"history.{name}[{number}]", name, raw)
            if event is not None:
                events.append(event)
    return History(tuple(events), condition)


def _event(reader: _Reader, at: str, group: str, raw: Any) -> Event | None:
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
