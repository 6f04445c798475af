"""The columns of the sheets of study.xlsx that hold a row for each valve, finding, check, case or remedy."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from quietseat.report import evidence, leakage
from quietseat.report.words import (
    CLEARS_NOTHING,
    MARKS,
    Shown,
    clears,
    code,
    codes,
    field_words,
    plain,
)

# heading, kind of the value (text, number format), how to get it
Getter = Callable[[Mapping[str, Any]], Any]


@dataclass(frozen=True, slots=True)
class Field:
    """One column of a sheet."""

    title: str
    get: Getter
    form: str = ""  # number format; empty = text
    width: float = 14
    raw: bool = False  # text as it is: names of the program, cells of the register


def held(key: str) -> Getter:
    """A value that stands in the row under a key."""
    return lambda row: row.get(key)


def below(*path: str) -> Getter:
    """A value that stands in the row under a path of keys; None where a part is missing."""
    def get(row: Mapping[str, Any]) -> Any:
        value: Any = row
        for key in path:
            value = value.get(key) if isinstance(value, Mapping) else None
        return value

    return get


def made(get: Callable[[Any], Any], *path: str) -> Getter:
    """What a function makes of the value under a path; None stays None."""
    inner = below(*path)
    return lambda row: None if (value := inner(row)) is None else get(value)


def in_unit(show: Shown, unit: str, *path: str) -> Getter:
    """The value under a path, SI, in a unit the study prints."""
    return made(lambda value: show.number_of(value, unit), *path)


def fleet_fields(show: Shown) -> tuple[Field, ...]:
    """One row a valve: verdict, duty, remedy, cost and place in the plan."""
    share, money = "0.0%", "#,##0"
    return (
        Field("Rank", held("rank"), "0", 7), Field("Tag", held("tag"), width=20), Field("Verdict", held("verdict"), width=11),
        Field("Rests on (weakest source)", held("rests"), width=16), Field("Cause", held("cause"), width=50),
        Field("In plan", evidence.in_plan, width=16), Field("Findings", made(codes, "codes"), width=30), Field("Severity", held("severity"), width=9),
        Field("Plant unit", held("unit")), Field("Sheet", held("sheet")), Field("Row", held("row"), "0", 7), Field("Kind", held("kind")),
        Field("Size", held("designation"), width=9), Field("Fluid", held("fluid"), width=20),
        Field(f"Set pressure, {show.pressure}", in_unit(show, show.pressure, "set_pressure_pa"), "0.00"),
        Field("Operating / set", held("operating_ratio"), share), Field("Required / rated flow", held("utilisation"), share),
        Field("Inlet loss at rated flow, of set", held("inlet_loss_rated"), share),
        Field("Inlet loss at required flow, of set", held("inlet_loss_required"), share), Field("Built-up, of set", held("built_up_ratio"), share),
        Field("Recommended remedy", lambda row: row.get("recommended_title") if row.get("recommended") else None, width=46),
        Field("Clears", lambda row: clears(row.get("clears"), row.get("recommended")) if row.get("recommended") else None, width=24),
        Field("Condition", lambda row: row.get("condition") if row.get("recommended") else None, width=40),
        Field("Best without proof", lambda row: row.get("best_yes_title") if row.get("best_yes") else None, width=40),
        Field("Fit", held("fit_verdict"), width=12), Field(f"Whole-life cost low, {show.currency}", held("cost_low"), money),
        Field(f"Whole-life cost middle, {show.currency}", held("cost_mid"), money),
        Field(f"Whole-life cost high, {show.currency}", held("cost_high"), money), Field("Whole-life cost of", _priced, width=20),
        Field("Crew hours", held("crew_hours"), "0", 9), Field("Score", held("score"), "0.0", 9),
        Field("Reason of its place", held("plan_reason"), width=40), Field("Defaults behind the verdict", held("defaults"), "0", 10),
        Field("Reasons of the verdict", made(plain, "reasons"), width=60),
    )  # fmt: skip


def _priced(row: Mapping[str, Any]) -> str | None:
    """What the whole-life cost of a valve is that of."""
    if not row.get("recommended") or row.get("cost_mid") is None:
        return None
    return "keeping the valve" if row["recommended"] in CLEARS_NOTHING else "the recommended remedy"


_VALVE = (Field("Rank", below("_valve", "rank"), "0", 7), Field("Tag", below("_valve", "tag"), width=20))


def finding_fields(show: Shown) -> tuple[Field, ...]:
    """One row a finding that failed, is open or is thin."""
    return (
        *_VALVE, Field("Finding", made(code, "code"), width=18), Field("Outcome", held("outcome"), width=9),
        Field("Severity", held("severity"), width=9), Field("In words", evidence.words, width=70), *_numbers(show),
        Field("Rule", held("rule"), width=50), Field("Case", held("case"), width=20), Field("Step", held("step"), raw=True),
        Field("Rests on defaults", names_of("rests_on"), width=30), Field("Weakest source", evidence.source, width=24),
    )  # fmt: skip


def passed_fields(show: Shown) -> tuple[Field, ...]:
    """One row a check that was passed, so that a sound verdict can be checked too."""
    return (
        *_VALVE, Field("Verdict", below("_valve", "verdict"), width=11), Field("Check", made(code, "code"), width=18),
        Field("Outcome", lambda row: "passed", width=9), Field("In words", held("words"), width=70), *_numbers(show),
        Field("Rule", held("rule"), width=50), Field("Case", held("case"), width=20), Field("Weakest source", evidence.source, width=24),
    )  # fmt: skip


def _numbers(show: Shown) -> tuple[Field, ...]:
    """Value and limit in the study's units, their unit, and the margin."""
    return (
        Field("Value (unit beside)", lambda row: evidence.number(row, "value", show), "0.0000"),
        Field("Limit (unit beside)", lambda row: evidence.number(row, "limit", show), "0.0000"),
        Field("Unit", lambda row: evidence.unit(row, show), width=9), Field("Margin, share of limit", held("margin"), "0.0%"),
    )  # fmt: skip


def names_of(key: str) -> Getter:
    """Names of fields in words."""
    return lambda row: ", ".join(field_words(str(name)) for name in row.get(key) or ()) or None


def case_fields(show: Shown) -> tuple[Field, ...]:
    """One row a relief case: flows, areas, losses and back pressures."""
    share, flow = "0.0%", show.flow
    return (
        *_VALVE, Field("Case", held("name"), width=24), Field("Status", held("status"), width=14), Field("Reason", held("reason"), width=40),
        Field("Method", held("method")), Field("Regime", held("regime")),
        Field(f"Required flow, {flow}", in_unit(show, flow, "required_flow_kg_s"), "#,##0.0"),
        Field(f"Rated flow, {flow}", in_unit(show, flow, "rated_flow_kg_s"), "#,##0.0"),
        Field(f"Un-derated flow, {flow}", in_unit(show, flow, "full_flow_kg_s"), "#,##0.0"),
        Field("Required / rated", held("utilisation"), share),
        Field(f"Required area, {show.area}", in_unit(show, show.area, "required_area_m2"), "#,##0.000"),
        Field("Letter needed", held("orifice"), width=8), Field("Valves needed", held("valves_needed"), "0", 8),
        Field(f"Relieving pressure, {show.pressure}", in_unit(show, show.pressure, "relieving_pressure_pa"), "0.00"),
        Field("Inlet loss at rated flow, of set", held("inlet_loss_rated"), share),
        Field("Inlet loss at required flow, of set", held("inlet_loss_required"), share),
        Field(f"Built-up at rated flow, {show.difference}", in_unit(show, show.difference, "built_up_pa"), "0.000"),
        Field(f"Built-up at required flow, {show.difference}", in_unit(show, show.difference, "built_up_required_pa"), "0.000"),
        Field(f"Total back pressure, {show.pressure}", in_unit(show, show.pressure, "back_pressure_pa"), "0.000"),
        Field("Outlet Mach", held("outlet_mach"), "0.00"),
        Field(f"Body outlet floor, {show.pressure}", in_unit(show, show.pressure, "body_floor_pa"), "0.000"),
    )  # fmt: skip


def in_time_fields(show: Shown) -> tuple[Field, ...]:
    """One row a marched valve."""
    share, flow = "0.0%", show.flow

    def first(at: int, key: str) -> Getter:
        return lambda row: row["sensitivities"][at][key] if len(row.get("sensitivities") or ()) > at else None

    def named(at: int) -> Getter:
        get = first(at, "parameter")
        return lambda row: field_words(str(get(row))) if get(row) else None

    def end(at: int) -> Getter:
        return lambda row: row["interval"][at] if row.get("interval") else None

    spread = [
        field for at, words in enumerate(("First", "Second", "Third"))
        for field in (Field(f"{words} cause of spread", named(at), width=22), Field(f"{words} share", first(at, "share"), share))
    ]  # fmt: skip
    return (
        *_VALVE, Field("Verdict", held("verdict"), width=11), Field("Limited by", held("limited_by"), width=16),
        Field("Probability of chatter", held("chatter_probability"), share), Field("95 % interval, low", end(0), share),
        Field("95 % interval, high", end(1), share), Field("Probability of flutter", held("flutter_probability"), share),
        Field("Probability of short cycling", held("cycling_probability"), share),
        Field("Inlet length, m", held("inlet_length_m"), "0.00"), Field("Critical length, m", held("critical_length_m"), "0.00"),
        Field("Longest quiet inlet, m", below("limits", "longest_quiet_inlet_m"), "0.00"),
        Field(f"Smallest quiet flow, {flow}", in_unit(show, flow, "limits", "smallest_quiet_flow_kg_s"), "#,##0.0"),
        Field("Blowdown that would cure it", below("limits", "blowdown_cure"), share),
        Field("Lift that would cure it, of full", below("limits", "lift_cure"), share),
        Field("Strongest frequency, Hz", held("frequency_hz"), "0.0"), Field("Seat impacts, 1/s", held("seat_impacts_per_s"), "0.0"),
        Field("Energy of an impact, J", held("impact_energy_j"), "0.000"),
        Field(f"Lowest inlet pressure, {show.pressure}", in_unit(show, show.pressure, "inlet_pressure_min_pa"), "0.00"),
        Field(f"Highest inlet pressure, {show.pressure}", in_unit(show, show.pressure, "inlet_pressure_max_pa"), "0.00"),
        Field("Opening time, s", held("opening_time_s"), "0.0000"), Field("One cycle, s", held("cycle_period_s"), "0.00"),
        *spread, Field("What to measure", held("measure"), width=50), Field("In words", held("words"), width=90),
        Field("Drawn from their ranges", names_of("drawn"), width=40), Field("Draws", held("samples"), "0", 8),
        Field("Cases simulated in time", held("marched"), "0", 9), Field("Status", held("status"), width=14), Field("Reason", held("reason"), width=40),
    )  # fmt: skip


def remedy_fields(show: Shown) -> tuple[Field, ...]:
    """One row a remedy: what it clears and leaves, fit, work and whole-life cost."""
    costs = tuple(
        Field(f"{'Whole-life cost' if part == 'total' else part.capitalize()} {words}, {show.currency}", below("cost", part, key), "#,##0")
        for part in ("total", "capital", "work", "upkeep", "leakage", "carbon", "other")
        for key, words in (("low", "low"), ("mid", "middle"), ("high", "high")) if part == "total" or key == "mid"
    )  # fmt: skip
    return (
        *_VALVE, Field("Remedy", held("title"), width=48),
        Field("Place", lambda row: "recommended" if row["name"] == row["_valve"].get("recommended")
              else "best without proof" if row["name"] == row["_valve"].get("best_yes") else None, width=16),
        Field("Clears", lambda row: clears(row.get("clears"), row.get("name")), width=24), Field("Condition", held("condition"), width=40),
        Field("Clears findings", made(codes, "cleared"), width=26), Field("Leaves", made(codes, "left"), width=22),
        Field("Creates", made(codes, "created"), width=18), Field("Fit", below("fit", "verdict"), width=12),
        Field("Fit in words", below("fit", "words"), width=40),
        Field("Difference A, mm", in_unit(show, "mm", "fit", "difference_inlet_m"), "0.0"),
        Field("Difference B, mm", in_unit(show, "mm", "fit", "difference_outlet_m"), "0.0"),
        Field("Suitability", below("suitability", "verdict"), width=14), Field("Reasons", made(plain, "suitability", "reasons"), width=40),
        *costs, *_lives(show), Field("Crew hours", below("cost", "crew_hours"), "0", 9), Field("Line open, h", below("cost", "outage_hours"), "0", 9),
        Field("Why it lost", held("rejected_because"), width=50), Field("Question to the owner", held("question"), width=40),
    )  # fmt: skip


def _lives(show: Shown) -> tuple[Field, ...]:
    """The life cycle of a remedy against keeping the valve."""
    ends = (("mid", "middle"), ("p10", "P10"), ("p50", "P50"), ("p90", "P90"))
    return (
        *(Field(f"Net present value {words}, {show.currency}", below("life_cycle", "npv", key), "#,##0") for key, words in ends),
        Field("Probability that it pays", below("life_cycle", "probability_pays"), "0.0%"),
        Field(f"Break-even leak, {show.flow}", in_unit(show, show.flow, "life_cycle", "break_even_leak_kg_s"), "0.00E+00"),
        Field(f"Break-even operating gain, {show.currency} a year", below("life_cycle", "break_even_operating_gain"), "#,##0"),
    )  # fmt: skip


ENDS = (("low", "low"), ("mid", "middle"), ("high", "high"))
_CO2E = (("seat", "through the seat"), ("beside", "beside the seat"), ("all", "in all"))


def leakage_fields(show: Shown) -> tuple[Field, ...]:
    """One row a valve and basis; the amounts of a year stand once a valve, with the basis that applies."""

    def yearly(*path: str) -> Getter:
        get = below("_valve", "leakage", *path)
        return lambda row: get(row) if row["_whole"] else None

    def carbon(which: str, key: str) -> Getter:
        return lambda row: ((leakage.amounts(row["_valve"]) or {}).get(which) or {}).get(key) if row["_whole"] else None

    return (
        *_VALVE, Field("Basis", lambda row: leakage.BASES.get(str(row.get("basis")), row.get("basis")), width=28),
        *(Field(f"Leak {words}, {show.flow}", in_unit(show, show.flow, f"{key}_kg_s"), "0.00E+00") for key, words in ENDS),
        Field("Applies", made(plain, "applies"), width=9), Field("Why", made(lambda text: show.rates(str(text)), "why"), width=50),
        Field("Source", held("source"), width=50), Field("Year", held("year"), "0", 8),
        Field("Confidence", lambda row: MARKS.get(str(row.get("confidence")), row.get("confidence")), width=24),
        *(Field(f"Product lost {words}, kg a year", yearly("product_kg_a", key), "#,##0.0") for key, words in ENDS),
        *(Field(co2e_title(which, end), carbon(which, key), "#,##0.0") for which, _ in _CO2E for key, end in ENDS),
        Field("Route", yearly("route_words"), width=30),
    )  # fmt: skip


def co2e_title(which: str, end: str) -> str:
    """The heading of one column of CO2 equivalent."""
    return f"CO2 equivalent {dict(_CO2E)[which]} {end}, kg a year"
