"""study.xlsx by XlsxWriter: one sheet a subject, units in the headings, text from the register always as text."""

from __future__ import annotations

import datetime
import io
from collections.abc import Mapping, Sequence
from typing import Any

from quietseat.report import brief, leakage, money_sheet, planning
from quietseat.report.build import StudyLike, Survey, survey
from quietseat.report.in_time import FOUND, PREDICTED
from quietseat.report.words import (
    MARKS,
    VERDICT_WORDS,
    VERDICTS,
    Shown,
    clean,
    clears,
    codes,
    field_words,
    in_print,
    is_number,
    plain,
    shown,
)  # fmt: skip
from quietseat.report.xlsx_fields import (
    ENDS,
    Field,
    Getter,
    below,
    case_fields,
    co2e_title,
    finding_fields,
    fleet_fields,
    held,
    in_time_fields,
    leakage_fields,
    made,
    passed_fields,
    remedy_fields,
)

_MOST = 32_000  # a cell holds 32,767 characters
_LARGE_FLEET, _FEW_REMEDIES = 2_000, 5  # above so many valves the sheet Remedies holds the best few of each
_LINE, _MOST_LINES = 15.0, 20  # height of a line in points; a row shows at most so many lines, the cell holds them all
_CREATED = datetime.datetime(2000, 1, 1)  # fixed, so that the same study gives the same bytes


def render(study: StudyLike, found: Survey | None = None) -> bytes:
    """The workbook as bytes. found: what `build.survey` gave, where it is known already. Each valve is unpacked and dropped again."""
    import xlsxwriter

    found = found or survey(study)
    buffer = io.BytesIO()
    options = {"in_memory": False, "constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
               "strings_to_numbers": False, "nan_inf_to_errors": False}  # fmt: skip
    book = xlsxwriter.Workbook(buffer, options)
    book.set_properties(
        {
            "title": clean(str(study.head.get("title") or "")),
            "created": _CREATED,
            "comments": f"hash {study.head['hash']}",
        }
    )
    head, show = study.head, shown(study.head)
    writer = _Book(book)
    summary = writer.sheet(
        "Summary",
        (
            Field("What", held("what"), width=34),
            Field("Value", held("value"), "0", 18),
            Field("Words", held("words"), width=90),
        ),
    )
    fleet, findings, passed = (
        writer.sheet("Fleet", fleet_fields(show)),
        writer.sheet("Findings", finding_fields(show)),
        writer.sheet("Passed", passed_fields(show)),
    )
    cases, marched = writer.sheet("Cases", case_fields(show)), writer.sheet("Stability in time", in_time_fields(show))
    remedies, leaks = writer.sheet("Remedies", remedy_fields(show)), writer.sheet("Leakage", leakage_fields(show))
    accounts: list[tuple[Mapping[str, Any], Mapping[str, Any]]] = []
    ranked = study.ranked()
    most = _FEW_REMEDIES if len(ranked) > _LARGE_FLEET else None
    for row in _summary(head, most):
        summary.write(row)
    for record, line in zip(ranked, found.rows, strict=True):
        valve = record.full()
        fleet.write(line)
        findings.write_all(valve.get("findings") or (), valve)
        passed.write_all(valve.get("passed") or (), valve)
        cases.write_all(valve.get("cases") or (), valve)
        marched.write_all([valve["chatter"]] if valve.get("chatter") else (), valve)
        remedies.write_all((valve.get("remedies") or ())[:most], valve)
        leaks.write_all(leakage.rows(valve), valve)
        if (
            valve.get("money")
            and valve.get("recommended") != "measure-first"
            and len(accounts) <= money_sheet.MOST_VALVES
        ):
            accounts.append((record.summary, valve["money"]))
    if found.leak["valves"]:
        leaks.total(_leak_total(found.leak))
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
        self.fields, self.line, self.page, self.bold, self.totals = (
            fields,
            1,
            book.book.add_worksheet(name),
            book.bold,
            0,
        )
        self.forms = [book.form(field.form) if field.form else book.words for field in fields]
        self.page.freeze_panes(1, 2 if len(fields) > 4 else 0)
        money_sheet.on_paper(self.page, sum(field.width for field in fields))
        for at, (field, form) in enumerate(zip(fields, self.forms, strict=True)):
            self.page.set_column(at, at, field.width, form)
        for at, field in enumerate(fields):
            self.page.write_string(0, at, field.title, book.heading)

    def write(self, row: Mapping[str, Any]) -> None:
        """One row; numbers as numbers, everything else as text, nothing for nothing."""
        line, page, lines = self.line, self.page, 1
        cells: list[tuple[int, float | str, Any]] = []
        for at, (field, form) in enumerate(zip(self.fields, self.forms, strict=True)):
            value = field.get(row)
            if value is None or value == "":
                continue
            if not (field.form and is_number(value)):
                text = value if isinstance(value, str) else plain(value)
                value = clean(text if field.raw else in_print(text))[:_MOST]
                lines = max(lines, -(-len(value) // max(int(field.width) - 1, 1)))
            cells.append((at, value, form))
        if lines > 1:
            page.set_row(line, _LINE * min(lines, _MOST_LINES))
        for at, value, form in cells:
            if isinstance(value, str):
                page.write_string(line, at, value, form)
            else:
                page.write_number(line, at, value, form)
        self.line += 1

    def total(self, row: Mapping[str, Any]) -> None:
        """A last row in bold, left out of the filter. row: heading -> text or number."""
        for at, (field, form) in enumerate(zip(self.fields, self.forms, strict=True)):
            value = row.get(field.title)
            if is_number(value):
                self.page.write_number(self.line, at, value, form)
            elif value:
                self.page.write_string(self.line, at, str(value), self.bold)
        self.line += 1
        self.totals += 1

    def write_all(self, rows: Sequence[Mapping[str, Any]], valve: Mapping[str, Any]) -> None:
        """Rows that belong to one valve."""
        for row in rows:
            self.write({**row, "_valve": valve})


class _Book:
    """The workbook with its few formats."""

    def __init__(self, book: Any) -> None:
        self.book = book
        self.heading = book.add_format(
            {"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 1, "bg_color": "#F4F6F8"}
        )
        self.words = book.add_format({"valign": "top", "text_wrap": True})
        self.bold = book.add_format({"valign": "top", "bold": True})
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
            sheet.page.autofilter(0, 0, max(sheet.line - 1 - sheet.totals, 1), len(sheet.fields) - 1)
        self.book.close()


def _summary(head: Mapping[str, Any], most: int | None) -> list[dict[str, Any]]:
    register, counts = head["register"], head.get("counts") or {}
    rows: list[tuple[str, Any, Any]] = [
        ("Title", None, head.get("title")), ("Register", None, register.get("file")), *(("Issue" if at == 0 else name, None, cell.text)
                                                                                        for at, (name, cell) in enumerate(brief.issued(head))),
        *((f"Valves: {word}", counts.get(word, 0), VERDICT_WORDS[word]) for word in VERDICTS),
        *((f"Rows {word}", register.get(f"rows_{word}"), None) for word in ("found", "read", "partial", "refused")),
        ("Valves found", register.get("valves_found"), None),
        *(("Cause", cause.get("count"), cause.get("words")) for cause in head.get("causes") or ()),
        *([("Plan", None, head["plan"]["words"])] if (head.get("plan") or {}).get("words") else []),
        *(("Plan", None, words) for words in (brief.negative_value(head.get("plan") or {}, shown(head)),
                                              brief.over_budget(head.get("plan") or {}, shown(head))) if words),
        *(("Caution", None, line) for line in head.get("cautions") or ()),
        *([("Sheet Remedies", most, "remedies of each valve, best first; all of them stand in study.json")] if most else []),
        *((f"Hand check: {check.get('method')}", None, f"{check.get('tag')}: {check.get('line')}") for check in head.get("hand_checks") or ()),
    ]  # fmt: skip
    return [dict(zip(("what", "value", "words"), row, strict=True)) for row in rows]


def _predictions(head: Mapping[str, Any]) -> list[tuple[str, tuple[Field, ...], Sequence[Any]]]:
    """Predicted against found as a sheet of its own; none where no shop record was read."""
    found = head.get("predictions")
    if not found:
        return []
    fields = (Field("Shop record", held("_words"), width=26), *(Field(words, held(key), "0", 12) for key, words in PREDICTED),
              Field("Share predicted unstable", held("_rate"), "0.0%"), Field("95 % interval, low", held("_low"), "0.0%"),
              Field("95 % interval, high", held("_high"), "0.0%"))  # fmt: skip
    rows = []
    for (key, words), name in zip(FOUND, ("hit", "false_alarm")):
        low, high = found.get(f"{name}_interval") or (None, None)
        rows.append(
            {**(found.get(key) or {}), "_words": words, "_rate": found.get(f"{name}_rate"), "_low": low, "_high": high}
        )
    return [("Predicted and found", fields, rows)]


def _leak_total(leak: Mapping[str, float]) -> dict[str, Any]:
    """The total row: what the management summary prints, in kg."""
    ends = {co2e_title("all", words): leak[key] for key, words in ENDS}
    return {
        "Tag": f"All valves ({leak['valves']:.0f} with an estimate)",
        **ends,
        co2e_title("seat", "middle"): leak["seat"],
        co2e_title("beside", "middle"): leak["beside"],
    }


def _planned(head: Mapping[str, Any], show: Shown) -> list[tuple[str, tuple[Field, ...], Sequence[Any]]]:
    """The plan, and the sheets about it that hold something."""
    plan, money, share = head.get("plan") or {}, "#,##0", "0.0%"
    firm = {one["tag"]: one for one in plan.get("stability") or ()}
    members = [{**item, "_place": place, "_firm": firm.get(item["tag"])}
               for place, key in (("chosen", "chosen"), ("left out", "left_out")) for item in plan.get(key) or ()]  # fmt: skip
    fields = (
        Field("Place", held("_place"), width=10), Field("Tag", held("tag"), width=20),
        Field("Remedy", lambda row: row.get("title") or row.get("remedy"), width=48), Field("Window", held("window"), width=18),
        Field("Start", held("start"), width=11), Field("Order by", held("order_by"), width=11),
        Field("Lead time, weeks", held("lead_time_weeks"), "0.0", 9), Field("Clears", made(clears, "clears"), width=24),
        Field("Condition", held("condition"), width=40), Field("Severity", held("severity"), width=9), Field("Findings", made(codes, "codes"), width=26),
        Field(f"Outlay low, {show.currency}", below("cost", "low"), money), Field(f"Outlay middle, {show.currency}", below("cost", "mid"), money),
        Field(f"Outlay high, {show.currency}", below("cost", "high"), money), Field("Hours", held("hours"), "0", 9),
        Field("Of them in the outage", held("outage_hours"), "0", 9), Field(f"Net value, {show.currency}", held("value"), money),
        Field("Why it is in or out", lambda row: row.get("why") or row.get("reason"), width=60),
        Field("What would let it in", held("counterfactual"), width=60), Field(f"In at so much less, {show.currency}", held("less"), money),
        Field("How that was found", held("counterfactual_how"), width=30), Field("In the best set, of draws", below("_firm", "share"), share),
        Field("By the remedy of the plan", below("_firm", "remedy_share"), share),
    )  # fmt: skip
    curve = (
        Field(f"Budget, {show.currency}", held("budget"), money), Field("Stop findings cured", held("stop_findings_cured"), "0.0"),
        Field("Valves", held("count"), "0.0"), Field(f"Outlay, {show.currency}", held("spent"), money), Field(f"Net value, {show.currency}", held("value"), money),
    )  # fmt: skip
    until = (
        Field("Tag", held("tag"), width=20), Field("Stop findings", made(codes, "codes"), width=26), Field("Cured by this plan", made(plain, "funded"), width=10),
        Field("Until", held("until"), width=18), Field("What to do until then", planning.measures, width=90),
        Field("What refuses the cure", held("refused_by"), width=60), Field("Mind", held("words"), width=60),
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
        Field("Tag", held("tag"), width=20), Field("What to find out", held("title"), width=48), Field("Who", held("who"), width=20),
        Field("Where", held("where"), width=26), Field("Hours", held("hours"), "0.00", 8), Field(f"Worth, {show.currency}", held("value"), money),
        Field(f"Worth an hour, {show.currency}", held("per_hour"), money), Field(f"Worth less the asking, {show.currency}", held("net_value"), money),
        Field("Why it matters", held("reason"), width=80), Field("Taken now", held("now"), width=22), Field("Unit or words", held("unit"), width=18),
        Field("Field", lambda row: row.get("form_field") or made(field_words, "field")(row), width=22), Field("Sheet", held("sheet")),
        Field("Row", held("row"), "0", 7), Field("Source of range and hours", held("source"), width=34),
    )  # fmt: skip


def _marked(key: str) -> Getter:
    """A cell of the lists; marks of confidence in words."""
    if key not in ("confidence", "read"):
        return held(key)
    return lambda row: MARKS.get(str(row.get(key)), row.get(key))


def _lists(head: Mapping[str, Any], show: Shown) -> list[tuple[str, tuple[Field, ...], Sequence[Any]]]:
    problems = tuple(
        Field(
            key.capitalize(),
            made(field_words, key) if key == "field" else held(key),
            "0" if key == "row" else "",
            width,
            key == "value",
        )
        for key, width in (
            ("file", 20),
            ("sheet", 14),
            ("row", 7),
            ("column", 10),
            ("field", 22),
            ("value", 28),
            ("rule", 50),
            ("mend", 50),
        )
    )
    assumptions = (
        Field("Field", made(field_words, "field"), width=28), Field("Taken", held("value"), width=18), Field("Valves", held("count"), "0", 8),
        Field("For example", made(plain, "tags"), width=40), Field("Rule", held("rule"), width=40), Field("Source", held("source"), width=40),
    )  # fmt: skip
    basis = tuple(
        Field(key.replace("_", " ").capitalize(), _marked(key), "", width, key in ("name", "value"))
        for key, width in (
            ("group", 12),
            ("name", 28),
            ("value", 18),
            ("made_by", 12),
            ("source", 34),
            ("confidence", 16),
            ("description", 70),
        )
    )
    sources = tuple(Field(key.replace("_", " ").capitalize(), _marked(key), "", width, key == "id")
                    for key, width in (("id", 18), ("title", 70), ("edition", 14), ("year", 8), ("kind", 12), ("read", 12), ("note", 60)))  # fmt: skip
    return [
        *_planned(head, show), ("Problems", problems, head.get("problems") or ()),
        ("Assumptions", assumptions, head.get("assumptions") or ()), ("Basis", basis, head["basis"]["choices"]),
        ("Sources", sources, head.get("sources") or ()),
    ]  # fmt: skip
