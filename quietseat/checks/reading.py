"""Outside checks as data: `data/checks/*.toml` -> groups of expectations, each with its source.

A file holds `[[check]]` tables. Each names one calculation (`size` with a case as the `size` command reads it, or
`calculate` with `inputs`) and what is expected of it (`expect`). `columns` and `rows` repeat a check: a column that an
expectation names holds its expected values, the others are put into the inputs ("basis.constants" into a table).
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from quietseat import tables, units
from quietseat.tables import Source

FOLDER = tables.DATA / "checks"
# Units of results which the unit reader has no name for because nobody writes them in a register: all coherent SI.
COHERENT = ("", "kg/m2/s", "Hz", "1/s", "N.s/m")
_READ = (
    "pressure", "pressure_difference", "temperature", "mass_flow", "volume_flow", "area", "length", "density",
    "specific_volume", "viscosity", "volume", "mass", "speed", "time", "force", "power", "spring_rate", "fraction",
)  # fmt: skip
_CHECK = {
    "name", "case", "source", "page", "confidence", "size", "calculate", "inputs", "expect", "columns", "rows",
}  # fmt: skip
_EXPECT = {
    "quantity", "label", "expected", "column", "unit", "tolerance", "source", "page", "confidence", "library",
    "arguments", "attribute", "times",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Call:
    """A function of an independent library that gives the expected value.

    function: its full name. arguments: by name or in order, each the name of an input, a word or number of its own, or
    [name of an input, factor].
    attribute: what to take of the result; times: factor from the library's unit to SI.
    """

    function: str
    arguments: Mapping[str, Any] | list[Any]
    attribute: str = ""
    times: float = 1.0

    @property
    def library(self) -> str:
        """The name the library is imported by."""
        return self.function.partition(".")[0]


@dataclass(frozen=True, slots=True)
class Expectation:
    """One line of a check. tolerance: "0.3 %" of the expected value, or a number in `unit`."""

    name: str
    quantity: str
    expected: float | str | None  # in `unit`; None where the library gives it
    unit: str
    tolerance: str | float
    source: Source
    page: str
    confidence: str
    call: Call | None = None

    def allowed(self, expected: float) -> float:
        """The tolerance as a number in `unit`."""
        if isinstance(self.tolerance, str):
            return float(self.tolerance.removesuffix("%")) / 100 * abs(expected)
        return float(self.tolerance)


@dataclass(frozen=True, eq=False)
class Group:
    """One calculation and everything expected of it. case: its number in the list of check cases, or None."""

    topic: str
    name: str
    case: int | None
    calculation: str
    inputs: Mapping[str, Any]
    expect: tuple[Expectation, ...]


def topics() -> tuple[str, ...]:
    """The names of the check files, in order."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.toml") if path.stem != "sources"))


@cache
def sources() -> Mapping[str, Source]:
    """The documents of the tables, and those which only checks refer to."""
    more = tomllib.loads((FOLDER / "sources.toml").read_text(encoding="utf-8"))
    return dict(tables.sources()) | {name: Source(name, **facts) for name, facts in more.items()}


@cache
def load() -> tuple[Group, ...]:
    """Every packaged check. Raises ValueError naming file and check where one is not written as it must be."""
    return tuple(group for topic in topics() for group in read(FOLDER / f"{topic}.toml"))


def read(path: Path) -> Iterator[Group]:
    """The checks of one file. Raises ValueError naming file and check where one is not written as it must be."""
    for raw in tomllib.loads(path.read_text(encoding="utf-8"))["check"]:
        try:
            yield from _groups(path.stem, raw)
        except (KeyError, ValueError) as error:
            raise ValueError(f"{path.name}, check {raw.get('name')!r}: {error}") from error


def _groups(topic: str, raw: dict[str, Any]) -> Iterator[Group]:
    if unknown := raw.keys() - _CHECK:
        raise ValueError(f"unknown key {min(unknown)!r}")
    columns = raw.get("columns", [])
    for row in raw.get("rows", [[]]):
        given = dict(zip(columns, row, strict=True))
        expected = {entry["column"]: given.pop(entry["column"]) for entry in raw["expect"] if "column" in entry}
        inputs = copy.deepcopy(raw.get("size") or raw.get("inputs", {}))
        for name, value in given.items():
            *path, last = name.split(".")
            place = inputs
            for part in path:
                place = place.setdefault(part, {})
            place[last] = value
        words = [raw["name"], *(f"{name.rpartition('.')[2]} {value}" for name, value in given.items())]
        name = ", ".join(word.replace("_", " ") if index else word for index, word in enumerate(words))
        calculation = raw.get("calculate", "size")
        entries = tuple(_expectation(name, raw, entry, expected) for entry in raw["expect"])
        yield Group(topic, name, raw.get("case"), calculation, inputs, entries)


def _expectation(
    name: str, raw: Mapping[str, Any], entry: dict[str, Any], columns: Mapping[str, Any]
) -> Expectation:
    if unknown := entry.keys() - _EXPECT:
        raise ValueError(f"unknown key {min(unknown)!r} in expect")
    facts = {key: entry.get(key, raw.get(key, "")) for key in ("source", "page", "confidence")}
    marks = [mark.strip() for mark in facts["confidence"].split(",")]
    if wrong := [mark for mark in marks if mark not in tables.MARKS]:
        raise ValueError(f"confidence {wrong[0]!r} is not one of {', '.join(tables.MARKS)}")
    unit = entry.get("unit", "")
    if unit not in COHERENT:
        from_si(1.0, unit)  # raises for a unit nobody knows
    expected = columns[entry["column"]] if "column" in entry else entry.get("expected")
    call = None
    if "library" in entry:
        call = Call(entry["library"], entry["arguments"], entry.get("attribute", ""), entry.get("times", 1.0))
    if (expected is None) == (call is None):
        raise ValueError("give either an expected value or a library")
    label = entry.get("label", entry["quantity"].replace("_", " "))
    tolerance = entry.get("tolerance", 0.0)
    if not isinstance(expected, str) and tolerance in (0.0, ""):
        raise ValueError(f"{label}: a number needs a tolerance")
    return Expectation(
        f"{name}: {label}", entry["quantity"], expected, unit, tolerance, sources()[facts["source"]], facts["page"],
        facts["confidence"], call,
    )  # fmt: skip


def to_si(value: Any) -> Any:
    """A number of a text with a unit ("12 barg", "1 Btu/h per ft2") in SI; every other value as it is."""
    if not isinstance(value, str) or " " not in value or not value[:1].isdigit():
        return value
    number, _, unit = value.partition(" ")
    if " per " in unit:
        return float(number) * _compound(unit)
    try:
        return units.parse_any(value, _READ)[1].value
    except units.UnitError:
        return value  # a word such as "6R8", or one the calculation refuses


def from_si(value: float, unit: str) -> float:
    """An SI value as a number in a unit, also in a compound one ("lb/h per in2"). Raises ValueError."""
    if unit in COHERENT:
        return value
    return value / _compound(unit) if " per " in unit else units.to(value, unit)


def _compound(unit: str) -> float:
    first, *others = unit.split(" per ")
    value: float = units.UNITS[first].factor
    for other in others:
        value /= units.UNITS[other].factor
    return value
