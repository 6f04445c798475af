"""What nobody knows of a valve for sure, the range it is taken from, and the valve with an answer put in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from quietseat.assess.copies import changed
from quietseat.basis import Basis
from quietseat.model import Assessment, Location, Origin
from quietseat.tables import Row, table

MOST = 13  # unknowns asked together of one valve
POSITIONS = (1 / 6, 1 / 2, 5 / 6)  # middles of the three equally likely thirds of a range


@dataclass(frozen=True, slots=True)
class Unknown:
    """One thing to ask. field: full name ("inlet.length", "cases.0.flow"); now: what is taken today; levels: SI or words."""

    field: str
    row: Row
    now: str
    levels: tuple[Any, ...]


def of(location: Location, assessment: Assessment, basis: Basis) -> list[Unknown]:
    """The things missing, assumed or doubted in a Location that the table question_fields can ask for.

    location: as read, without defaults. A value somebody stated is not asked for again, but for a required rate that looks like
    the nameplate's capacity or whose ground nobody knows. Where the set pressure is unknown nothing can be valued.
    """
    assumed = {item.field: item.value for item in assessment.assumptions}
    rows = {str(row["field"]): row for row in table("question_fields").rows}
    set_pressure = location.valve.set_pressure
    if set_pressure is None or set_pressure <= basis.atmospheric_pressure:
        return []
    found: list[Unknown] = []

    def add(field: str, row: Row, base: float) -> None:
        found.append(Unknown(field, row, assumed.get(field, "not known"), _levels(row, base)))

    gauge = basis.gauge(set_pressure)
    for name, row in rows.items():
        table_name, _, key = name.partition(".")
        if table_name != "case" and getattr(getattr(location, table_name), key) is None:
            add(name, row, gauge)
    for index, case in enumerate(location.cases):
        rated = assessment.cases[index].rated_flow if index < len(assessment.cases) else None
        if case.flow is None and case.volume_flow is None:
            if rated:
                add(f"cases.{index}.flow", rows["case.flow"], rated)
        elif case.flow is not None and case.rate_basis != "signed" and _doubted(assessment, index):
            row = rows["case.rate_basis"]
            found.append(Unknown(f"cases.{index}.flow", row, f"{3600 * case.flow:.4g} kg/h as stated", _levels(row, case.flow)))
        if case.superimposed_max is None and location.outlet.discharge_to not in (None, "atmosphere"):
            add(f"cases.{index}.superimposed_max", rows["case.superimposed_max"], gauge)
    return found[:MOST]


def _doubted(assessment: Assessment, index: int) -> bool:
    """A check is open because the required rate may be the nameplate's capacity."""
    name = assessment.cases[index].name if index < len(assessment.cases) else ""
    return any("rate_basis" in f.rests_on and f.outcome == "open" and f.case in ("", name) for f in assessment.findings)


def _levels(row: Row, base: float) -> tuple[Any, ...]:
    if row["scale"] == "words":
        words = tuple(str(row["words"]).split("|"))
        return tuple(words[min(int(at * len(words)), len(words) - 1)] for at in POSITIONS)
    low, high = float(row["low"]), float(row["high"])
    shares = [low * (high / low) ** at if row["spread"] == "log" else low + (high - low) * at for at in POSITIONS]
    return tuple(shares) if row["scale"] == "plain" else tuple(share * base for share in shares)


def answered(location: Location, given: Mapping[Unknown, int], basis: Basis) -> Location:
    """The Location with every Unknown at one of its levels; pressures above atmospheric become absolute."""
    parts: dict[str, dict[str, Any]] = {}
    origins = dict(location.origins)
    for unknown, level in given.items():
        value = unknown.levels[level]
        if unknown.row["scale"] == "set":
            value += basis.atmospheric_pressure
        place, _, key = unknown.field.rpartition(".")
        parts.setdefault(place, {})[key] = value
        origins[unknown.field] = Origin("assumed", "question", str(value), "one of the answers that may come back", "")
    whole: dict[str, Any] = {"origins": origins}
    cases = list(location.cases)
    for place, changes in parts.items():
        if place.startswith("cases."):
            index = int(place.removeprefix("cases."))
            if "flow" in changes:
                changes["rate_basis"] = "signed"
            cases[index] = changed(cases[index], changes)
        else:
            whole[place] = changed(getattr(location, place), changes)
    whole["cases"] = tuple(cases)
    return changed(location, whole)
