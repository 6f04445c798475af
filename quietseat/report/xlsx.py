"""study.xlsx by XlsxWriter: one sheet a subject, units in the headings, text from the register always as text."""

from __future__ import annotations

import datetime
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from quietseat.report import leakage, money_sheet, planning
from quietseat.report.build import StudyLike
from quietseat.report.in_time import FOUND, PREDICTED
from quietseat.report.words import (
    MARKS,
    VERDICT_WORDS,
    VERDICTS,
    Shown,
    clean,
    clears,
    code,
    codes,
    field_words,
    is_number,
    plain,
    shown,
)  # fmt: skip

_MOST = 32_000  # a cell holds 32,767 characters
_LARGE_FLEET, _FEW_REMEDIES = 2_000, 5  # above so many valves the sheet Remedies holds the best few of each
_CREATED = datetime.datetime(2000, 1, 1)  # fixed, so that the same study gives the same bytes

# heading, kind of the value (text, number format), how to get it
Getter = Callable[[Mapping[str, Any]], Any]


@dataclass(frozen=True, slots=True)
class Field:
    """One column of a sheet."""

    title: str
    get: Getter
    form: str = ""  # number format; empty = text
    width: float = 14


def render(study: StudyLike) -> bytes:
    """The workbook as bytes. One pass over the valves: each is unpacked once and dropped again."""
    import xlsxwriter

    buffer = io.BytesIO()
    options = {"in_memory": False, "constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
               "strings_to_numbers": False, "nan_inf_to_errors": False}  # fmt: skip
    book = xlsxwriter.Workbook(buffer, options)
    book.set_properties({"title": clean(str(study.head.get("title") or "")), "created": _CREATED, "comments": f"hash {study.head['hash']}"})
    head, show = study.head, shown(study.head)
    writer = _Book(book)
    summary = writer.sheet("Summary", (Field("What", _at("what"), width=34), Field("Value", _at("value"), "0", 18), Field("Words", _at("words"), width=90)))
    fleet, findings = writer.sheet("Fleet", _fleet(show)), writer.sheet("Findings", _findings())
    cases, marched = writer.sheet("Cases", _cases(show)), writer.sheet("Stability in time", _in_time(show))
    remedies, leaks = writer.sheet("Remedies", _remedies(show)), writer.sheet("Leakage", _leakage(show))
    accounts: list[tuple[Mapping[str, Any], Mapping[str, Any]]] = []
    ranked = study.ranked()
    most = _FEW_REMEDIES if len(ranked) > _LARGE_FLEET else None
    for row in _summary(head, most):
        summary.write(row)
    for record in ranked:
        valve = record.full()
        fleet.write(record.summary)
        findings.write_all(valve.get("findings") or (), valve)
        cases.write_all(valve.get("cases") or (), valve)
        marched.write_all([valve["chatter"]] if valve.get("chatter") else (), valve)
        remedies.write_all((valve.get("remedies") or ())[:most], valve)
        leaks.write_all((valve.get("leakage") or {}).get("bases") or (), valve)
        if valve.get("money") and len(accounts) <= money_sheet.MOST_VALVES:
            accounts.append((record.summary, valve["money"]))
    if accounts:
        money_sheet.write(book, head, accounts)
    for name, fields, rows in (*_predictions(head), *_lists(head, show)):
        sheet = writer.sheet(name, fields)
        for row in rows:
            sheet.write(row)
    writer.close()
    return buffer.getvalue()


class _Sheet:
    """One sheet being written row by row."""

    def __init__(self, book: _Book, name: str, fields: Sequence[Field]) -> None:
        self.fields, self.line, self.page = fields, 1, book.book.add_worksheet(name)
        self.forms = [book.form(field.form) if field.form else book.words for field in fields]
        self.page.freeze_panes(1, 2 if len(fields) > 4 else 0)
        for at, (field, form) in enumerate(zip(fields, self.forms, strict=True)):
            self.page.set_column(at, at, field.width, form)
        for at, field in enumerate(fields):
            self.page.write_string(0, at, field.title, book.heading)

    def write(self, row: Mapping[str, Any]) -> None:
        """One row; numbers as numbers, everything else as text, nothing for nothing."""
        line, page = self.line, self.page
        for at, (field, form) in enumerate(zip(self.fields, self.forms, strict=True)):
            value = field.get(row)
            if value is None or value == "":
                continue
            if field.form and is_number(value):
                page.write_number(line, at, value, form)
            else:
                text = value if isinstance(value, str) else plain(value)
                page.write_string(line, at, clean(text)[:_MOST], form)
        self.line += 1

    def write_all(self, rows: Sequence[Mapping[str, Any]], valve: Mapping[str, Any]) -> None:
        """Rows that belong to one valve."""
        for row in rows:
            self.write({**row, "_valve": valve})


class _Book:
    """The workbook with its few formats."""

    def __init__(self, book: Any) -> None:
        self.book = book
        self.heading = book.add_format({"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 1, "bg_color": "#F4F6F8"})
        self.words = book.add_format({"valign": "top"})
        self.forms: dict[str, Any] = {}
        self.sheets: list[_Sheet] = []

    def form(self, text: str) -> Any:
        if text not in self.forms:
            self.forms[text] = self.book.add_format({"num_format": text, "valign": "top"})
        return self.forms[text]

    def sheet(self, name: str, fields: Sequence[Field]) -> _Sheet:
        made = _Sheet(self, name, fields)
        self.sheets.append(made)
        return made

    def close(self) -> None:
        for sheet in self.sheets:
            sheet.page.autofilter(0, 0, max(sheet.line - 1, 1), len(sheet.fields) - 1)
        self.book.close()


def _at(key: str) -> Getter:
    return lambda row: row.get(key)


def _keys(*path: str) -> Getter:
    def get(row: Mapping[str, Any]) -> Any:
        value: Any = row
        for key in path:
            value = value.get(key) if isinstance(value, Mapping) else None
        return value

    return get


def _of(get: Callable[[Any], Any], *path: str) -> Getter:
    inner = _keys(*path)
    return lambda row: None if (value := inner(row)) is None else get(value)


def _unit(show: Shown, unit: str, *path: str) -> Getter:
    return _of(lambda value: show.number_of(value, unit), *path)


def _summary(head: Mapping[str, Any], most: int | None) -> list[dict[str, Any]]:
    register, counts = head["register"], head.get("counts") or {}
    rows: list[tuple[str, Any, Any]] = [
        ("Title", None, head.get("title")), ("Register", None, register.get("file")), ("Hash", None, head["hash"]),
        ("Program version", None, head.get("version")),
        *((f"Valves: {word}", counts.get(word, 0), VERDICT_WORDS[word]) for word in VERDICTS),
        *((f"Rows {word}", register.get(f"rows_{word}"), None) for word in ("found", "read", "partial", "refused")),
        ("Valves found", register.get("valves_found"), None),
        *(("Cause", cause.get("count"), cause.get("words")) for cause in head.get("causes") or ()),
        *([("Plan", None, head["plan"]["words"])] if (head.get("plan") or {}).get("words") else []),
        *(("Caution", None, line) for line in head.get("cautions") or ()),
        *([("Sheet Remedies", most, "remedies of each valve, best first; all of them stand in study.json")] if most else []),
        *((f"Hand check: {check.get('method')}", None, f"{check.get('tag')}: {check.get('line')}") for check in head.get("hand_checks") or ()),
    ]  # fmt: skip
    return [dict(zip(("what", "value", "words"), row, strict=True)) for row in rows]


def _fleet(show: Shown) -> tuple[Field, ...]:
    share, money = "0.0%", "#,##0"
    return (
        Field("Rank", _at("rank"), "0", 7), Field("Tag", _at("tag"), width=20), Field("Verdict", _at("verdict"), width=11),
        Field("Cause", _at("cause"), width=60), Field("Findings", _of(codes, "codes"), width=30), Field("Severity", _at("severity"), width=9),
        Field("Plant unit", _at("unit")), Field("Sheet", _at("sheet")), Field("Row", _at("row"), "0", 7), Field("Kind", _at("kind")),
        Field("Size", _at("designation"), width=9), Field("Fluid", _at("fluid"), width=20),
        Field(f"Set pressure, {show.pressure}", _unit(show, show.pressure, "set_pressure_pa"), "0.00"),
        Field("Operating / set", _at("operating_ratio"), share), Field("Required / rated flow", _at("utilisation"), share),
        Field("Inlet loss at rated flow, of set", _at("inlet_loss_rated"), share),
        Field("Inlet loss at required flow, of set", _at("inlet_loss_required"), share), Field("Built-up, of set", _at("built_up_ratio"), share),
        Field("Recommended remedy", lambda row: row.get("recommended_title") if row.get("recommended") else None, width=46),
        Field("Clears", lambda row: clears(row.get("clears"), row.get("recommended")) if row.get("recommended") else None, width=24),
        Field("Condition", lambda row: row.get("condition") if row.get("recommended") else None, width=40),
        Field("Best without proof", lambda row: row.get("best_yes_title") if row.get("best_yes") else None, width=40),
        Field("Fit", _at("fit_verdict"), width=12), Field(f"Cost low, {show.currency}", _at("cost_low"), money),
        Field(f"Cost middle, {show.currency}", _at("cost_mid"), money), Field(f"Cost high, {show.currency}", _at("cost_high"), money),
        Field("Crew hours", _at("crew_hours"), "0", 9), Field("Score", _at("score"), "0.0", 9), Field("In plan", _at("in_plan"), width=8),
        Field("Reason of its place", _at("plan_reason"), width=40), Field("Defaults behind the verdict", _at("defaults"), "0", 10),
        Field("Reasons of the verdict", _of(plain, "reasons"), width=60),
    )  # fmt: skip


_VALVE = (Field("Rank", _keys("_valve", "rank"), "0", 7), Field("Tag", _keys("_valve", "tag"), width=20))


def _findings() -> tuple[Field, ...]:
    return (
        *_VALVE, Field("Finding", _of(code, "code"), width=18), Field("Outcome", _at("outcome"), width=9),
        Field("Severity", _at("severity"), width=9), Field("In words", _at("words"), width=70),
        Field("Value (unit beside)", _at("value"), "0.0000"), Field("Limit (unit beside)", _at("limit"), "0.0000"),
        Field("Unit (SI)", _at("unit"), width=9), Field("Margin, share of limit", _at("margin"), "0.0%"), Field("Rule", _at("rule"), width=50),
        Field("Case", _at("case"), width=20), Field("Step", _at("step")), Field("Rests on defaults", _of(plain, "rests_on"), width=30),
        Field("Weakest source", lambda row: MARKS.get(str(row.get("confidence")), row.get("confidence")), width=24),
    )  # fmt: skip


def _cases(show: Shown) -> tuple[Field, ...]:
    share, flow = "0.0%", show.flow
    return (
        *_VALVE, Field("Case", _at("name"), width=24), Field("Status", _at("status"), width=14), Field("Reason", _at("reason"), width=40),
        Field("Method", _at("method")), Field("Regime", _at("regime")),
        Field(f"Required flow, {flow}", _unit(show, flow, "required_flow_kg_s"), "#,##0.0"),
        Field(f"Rated flow, {flow}", _unit(show, flow, "rated_flow_kg_s"), "#,##0.0"),
        Field(f"Un-derated flow, {flow}", _unit(show, flow, "full_flow_kg_s"), "#,##0.0"),
        Field("Required / rated", _at("utilisation"), share),
        Field(f"Required area, {show.area}", _unit(show, show.area, "required_area_m2"), "#,##0.000"),
        Field("Letter needed", _at("orifice"), width=8), Field("Valves needed", _at("valves_needed"), "0", 8),
        Field(f"Relieving pressure, {show.pressure}", _unit(show, show.pressure, "relieving_pressure_pa"), "0.00"),
        Field("Inlet loss at rated flow, of set", _at("inlet_loss_rated"), share),
        Field("Inlet loss at required flow, of set", _at("inlet_loss_required"), share),
        Field(f"Built-up at rated flow, {show.difference}", _unit(show, show.difference, "built_up_pa"), "0.000"),
        Field(f"Built-up at required flow, {show.difference}", _unit(show, show.difference, "built_up_required_pa"), "0.000"),
        Field(f"Total back pressure, {show.pressure}", _unit(show, show.pressure, "back_pressure_pa"), "0.000"),
        Field("Outlet Mach", _at("outlet_mach"), "0.00"),
        Field(f"Body outlet floor, {show.pressure}", _unit(show, show.pressure, "body_floor_pa"), "0.000"),
    )  # fmt: skip


def _in_time(show: Shown) -> tuple[Field, ...]:
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
        *_VALVE, Field("Verdict", _at("verdict"), width=11), Field("Limited by", _at("limited_by"), width=16),
        Field("Probability of chatter", _at("chatter_probability"), share), Field("95 % interval, low", end(0), share),
        Field("95 % interval, high", end(1), share), Field("Probability of flutter", _at("flutter_probability"), share),
        Field("Probability of short cycling", _at("cycling_probability"), share),
        Field("Inlet length, m", _at("inlet_length_m"), "0.00"), Field("Critical length, m", _at("critical_length_m"), "0.00"),
        Field("Longest quiet inlet, m", _keys("limits", "longest_quiet_inlet_m"), "0.00"),
        Field(f"Smallest quiet flow, {flow}", _unit(show, flow, "limits", "smallest_quiet_flow_kg_s"), "#,##0.0"),
        Field("Blowdown that would cure it", _keys("limits", "blowdown_cure"), share),
        Field("Lift that would cure it, of full", _keys("limits", "lift_cure"), share),
        Field("Strongest frequency, Hz", _at("frequency_hz"), "0.0"), Field("Seat impacts, 1/s", _at("seat_impacts_per_s"), "0.0"),
        Field("Energy of an impact, J", _at("impact_energy_j"), "0.000"),
        Field(f"Lowest inlet pressure, {show.pressure}", _unit(show, show.pressure, "inlet_pressure_min_pa"), "0.00"),
        Field(f"Highest inlet pressure, {show.pressure}", _unit(show, show.pressure, "inlet_pressure_max_pa"), "0.00"),
        Field("Opening time, s", _at("opening_time_s"), "0.0000"), Field("One cycle, s", _at("cycle_period_s"), "0.00"),
        *spread, Field("What to measure", _at("measure"), width=50), Field("In words", _at("words"), width=90),
        Field("Drawn from their ranges", _of(plain, "drawn"), width=40), Field("Draws", _at("samples"), "0", 8),
        Field("Cases marched", _at("marched"), "0", 9), Field("Status", _at("status"), width=14), Field("Reason", _at("reason"), width=40),
    )  # fmt: skip


def _predictions(head: Mapping[str, Any]) -> list[tuple[str, tuple[Field, ...], Sequence[Any]]]:
    """Predicted against found as a sheet of its own; none where no shop record was read."""
    found = head.get("predictions")
    if not found:
        return []
    fields = (Field("Shop record", _at("_words"), width=26), *(Field(words, _at(key), "0", 12) for key, words in PREDICTED),
              Field("Share predicted unstable", _at("_rate"), "0.0%"), Field("95 % interval, low", _at("_low"), "0.0%"),
              Field("95 % interval, high", _at("_high"), "0.0%"))  # fmt: skip
    rows = []
    for (key, words), name in zip(FOUND, ("hit", "false_alarm")):
        low, high = found.get(f"{name}_interval") or (None, None)
        rows.append({**(found.get(key) or {}), "_words": words, "_rate": found.get(f"{name}_rate"), "_low": low, "_high": high})
    return [("Predicted and found", fields, rows)]


def _remedies(show: Shown) -> tuple[Field, ...]:
    costs = tuple(
        Field(f"{part.capitalize()} {words}, {show.currency}", _keys("cost", part, key), "#,##0")
        for part in ("total", "capital", "work", "upkeep", "leakage", "carbon", "other")
        for key, words in (("low", "low"), ("mid", "middle"), ("high", "high")) if part == "total" or key == "mid"
    )  # fmt: skip
    return (
        *_VALVE, Field("Remedy", _at("title"), width=48),
        Field("Place", lambda row: "recommended" if row["name"] == row["_valve"].get("recommended")
              else "best without proof" if row["name"] == row["_valve"].get("best_yes") else None, width=16),
        Field("Clears", _of(clears, "clears"), width=24), Field("Condition", _at("condition"), width=40),
        Field("Clears findings", _of(codes, "cleared"), width=26), Field("Leaves", _of(codes, "left"), width=22),
        Field("Creates", _of(codes, "created"), width=18), Field("Fit", _keys("fit", "verdict"), width=12),
        Field("Fit in words", _keys("fit", "words"), width=40),
        Field("Difference A, mm", _unit(show, "mm", "fit", "difference_inlet_m"), "0.0"),
        Field("Difference B, mm", _unit(show, "mm", "fit", "difference_outlet_m"), "0.0"),
        Field("Suitability", _keys("suitability", "verdict"), width=14), Field("Reasons", _of(plain, "suitability", "reasons"), width=40),
        *costs, *_lives(show), Field("Crew hours", _keys("cost", "crew_hours"), "0", 9), Field("Line open, h", _keys("cost", "outage_hours"), "0", 9),
        Field("Why it lost", _at("rejected_because"), width=50), Field("Question to the owner", _at("question"), width=40),
    )  # fmt: skip


def _lives(show: Shown) -> tuple[Field, ...]:
    """The life cycle of a remedy against keeping the valve."""
    ends = (("mid", "middle"), ("p10", "P10"), ("p50", "P50"), ("p90", "P90"))
    return (
        *(Field(f"Net present value {words}, {show.currency}", _keys("life_cycle", "npv", key), "#,##0") for key, words in ends),
        Field("Probability that it pays", _keys("life_cycle", "probability_pays"), "0.0%"),
        Field(f"Break-even leak, {show.flow}", _unit(show, show.flow, "life_cycle", "break_even_leak_kg_s"), "0.00E+00"),
        Field(f"Break-even operating gain, {show.currency} a year", _keys("life_cycle", "break_even_operating_gain"), "#,##0"),
    )  # fmt: skip


def _leakage(show: Shown) -> tuple[Field, ...]:
    """One row a valve and basis; the yearly amounts stand with the basis that applies."""
    def yearly(*path: str) -> Getter:
        get = _keys("_valve", "leakage", *path)
        return lambda row: get(row) if row.get("applies") else None

    ends = (("low", "low"), ("mid", "middle"), ("high", "high"))
    return (
        *_VALVE, Field("Basis", lambda row: leakage.BASES.get(str(row.get("basis")), row.get("basis")), width=28),
        *(Field(f"Leak {words}, {show.flow}", _unit(show, show.flow, f"{key}_kg_s"), "0.00E+00") for key, words in ends),
        Field("Applies", _of(plain, "applies"), width=9), Field("Why", _at("why"), width=50), Field("Source", _at("source"), width=50),
        Field("Year", _at("year"), "0", 8),
        Field("Confidence", lambda row: MARKS.get(str(row.get("confidence")), row.get("confidence")), width=24),
        *(Field(f"Product lost {words}, kg a year", yearly("product_kg_a", key), "#,##0.0") for key, words in ends),
        *(Field(f"CO2 equivalent {words}, kg a year", yearly("co2e_kg_a", key), "#,##0.0") for key, words in ends),
        Field("Route", yearly("route_words"), width=30),
    )  # fmt: skip


def _planned(head: Mapping[str, Any], show: Shown) -> list[tuple[str, tuple[Field, ...], Sequence[Any]]]:
    """The plan, and the sheets about it that hold something."""
    plan, money, share = head.get("plan") or {}, "#,##0", "0.0%"
    firm = {one["tag"]: one for one in plan.get("stability") or ()}
    members = [{**item, "_place": place, "_firm": firm.get(item["tag"])}
               for place, key in (("chosen", "chosen"), ("left out", "left_out")) for item in plan.get(key) or ()]  # fmt: skip
    fields = (
        Field("Place", _at("_place"), width=10), Field("Tag", _at("tag"), width=20),
        Field("Remedy", lambda row: row.get("title") or row.get("remedy"), width=48), Field("Window", _at("window"), width=18),
        Field("Start", _at("start"), width=11), Field("Order by", _at("order_by"), width=11),
        Field("Lead time, weeks", _at("lead_time_weeks"), "0.0", 9), Field("Clears", _of(clears, "clears"), width=24),
        Field("Condition", _at("condition"), width=40), Field("Severity", _at("severity"), width=9), Field("Findings", _of(codes, "codes"), width=26),
        Field(f"Cost low, {show.currency}", _keys("cost", "low"), money), Field(f"Cost middle, {show.currency}", _keys("cost", "mid"), money),
        Field(f"Cost high, {show.currency}", _keys("cost", "high"), money), Field("Hours", _at("hours"), "0", 9),
        Field("Of them in the outage", _at("outage_hours"), "0", 9), Field(f"Net value, {show.currency}", _at("value"), money),
        Field("Why it is in or out", lambda row: row.get("why") or row.get("reason"), width=60),
        Field("What would let it in", _at("counterfactual"), width=60), Field(f"In at so much less, {show.currency}", _at("less"), money),
        Field("How that was found", _at("counterfactual_how"), width=30), Field("In the best set, of draws", _keys("_firm", "share"), share),
        Field("By the remedy of the plan", _keys("_firm", "remedy_share"), share),
    )  # fmt: skip
    curve = (
        Field(f"Budget, {show.currency}", _at("budget"), money), Field("Stop findings cured", _at("stop_findings_cured"), "0.0"),
        Field("Valves", _at("count"), "0.0"), Field(f"Spent, {show.currency}", _at("spent"), money), Field(f"Net value, {show.currency}", _at("value"), money),
    )  # fmt: skip
    until = (
        Field("Tag", _at("tag"), width=20), Field("Stop findings", _of(codes, "codes"), width=26), Field("Cured by this plan", _of(plain, "funded"), width=10),
        Field("Until", _at("until"), width=18), Field("What to do until then", planning.measures, width=90),
        Field("What refuses the cure", _at("refused_by"), width=60), Field("Mind", _at("words"), width=60),
        Field("Sources", lambda row: "; ".join(dict.fromkeys(plain(one.get("source")) for one in row.get("measures") or ())), width=30),
    )  # fmt: skip
    found = (
        ("Plan", fields, members), ("Budget curve", curve, plan.get("curve") or ()), ("Until cured", until, plan.get("interim") or ()),
        ("Ask next", _asked(show), (head.get("questions") or {}).get("questions") or ()),
    )  # fmt: skip
    return [sheet for sheet in found if sheet[2] or sheet[0] == "Plan"]


def _asked(show: Shown) -> tuple[Field, ...]:
    """One row a question, as ranked."""
    money = "#,##0"
    return (
        Field("Tag", _at("tag"), width=20), Field("What to find out", _at("title"), width=48), Field("Who", _at("who"), width=20),
        Field("Where", _at("where"), width=26), Field("Hours", _at("hours"), "0.00", 8), Field(f"Worth, {show.currency}", _at("value"), money),
        Field(f"Worth an hour, {show.currency}", _at("per_hour"), money), Field(f"Worth less the asking, {show.currency}", _at("net_value"), money),
        Field("Why it matters", _at("reason"), width=80), Field("Taken now", _at("now"), width=22), Field("Unit or words", _at("unit"), width=18),
        Field("Field", lambda row: row.get("form_field") or _of(field_words, "field")(row), width=22), Field("Sheet", _at("sheet")),
        Field("Row", _at("row"), "0", 7), Field("Source of range and hours", _at("source"), width=34),
    )  # fmt: skip


def _lists(head: Mapping[str, Any], show: Shown) -> list[tuple[str, tuple[Field, ...], Sequence[Any]]]:
    problems = tuple(
        Field(key.capitalize(), _at(key), "0" if key == "row" else "", width)
        for key, width in (("file", 20), ("sheet", 14), ("row", 7), ("column", 10), ("field", 22), ("value", 28), ("rule", 50), ("mend", 50))
    )
    assumptions = (
        Field("Field", _of(field_words, "field"), width=28), Field("Taken", _at("value"), width=18), Field("Valves", _at("count"), "0", 8),
        Field("For example", _of(plain, "tags"), width=40), Field("Rule", _at("rule"), width=40), Field("Source", _at("source"), width=40),
    )  # fmt: skip
    basis = tuple(
        Field(key.replace("_", " ").capitalize(), _at(key), "", width)
        for key, width in (("group", 12), ("name", 28), ("value", 18), ("made_by", 12), ("source", 34), ("confidence", 16), ("description", 70))
    )
    sources = tuple(Field(key.replace("_", " ").capitalize(), _at(key), "", width)
                    for key, width in (("id", 18), ("title", 70), ("edition", 14), ("year", 8), ("kind", 12), ("read", 12), ("note", 60)))  # fmt: skip
    return [
        *_planned(head, show), ("Problems", problems, head.get("problems") or ()),
        ("Assumptions", assumptions, head.get("assumptions") or ()), ("Basis", basis, head["basis"]["choices"]),
        ("Sources", sources, head.get("sources") or ()),
    ]  # fmt: skip
