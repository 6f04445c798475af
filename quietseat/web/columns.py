"""The columns a table of valves can show: as words on a page, as numbers and text in a file."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from quietseat.celltext import quiet
from quietseat.report import words
from quietseat.report.words import DASH, Shown, clean, cut, is_number, percent, plain
from quietseat.study.tally import finding_titles

Row = Mapping[str, Any]
_CLEARS = {"yes": "yes", "subject-to-proof": "subject to proof", "no": "no"}


@dataclass(frozen=True, slots=True)
class Column:
    """One column. sort: name the store sorts by; text: the cell in words; value: the cell in a file; form: number format there, empty for text."""

    name: str
    title: Callable[[Shown], str]
    sort: str
    text: Callable[[Row, Shown], str]
    value: Callable[[Row, Shown], Any]
    form: str = ""


def _words(name: str, title: str, sort: str, text: Callable[[Row], str]) -> Column:
    return Column(name, lambda show: title, sort, lambda row, show: text(row) or DASH, lambda row, show: text(row))


def _share(name: str, title: str, key: str) -> Column:
    return Column(
        name, lambda show: title, key, lambda row, show: percent(row[key]), lambda row, show: row[key], "0.0%"
    )


def _count(name: str, title: str, key: str) -> Column:
    return Column(name, lambda show: title, key, lambda row, show: str(row[key]), lambda row, show: row[key], "0")


def _money(name: str, title: str, key: str) -> Column:
    def text(row: Row, show: Shown) -> str:
        return show.money(row[key]).replace("-", "−") if row["recommended"] else DASH

    return Column(name, lambda show: f"{title}, {show.currency}", key, text, lambda row, show: row[key], "#,##0")


def place(row: Row) -> str:
    """In or out of the plan, and whether a person holds the valve there."""
    if row["held"]:
        return f"held {row['held']}"
    return "in" if row["in_plan"] else "out"


def decision(row: Row) -> str:
    """What was decided for the valve, in few words."""
    title = row["decided"]
    if not title:
        return ""
    return "as recommended" if title == row["recommended_title"] else str(title)


def cause(code: str) -> str:
    """A cause code in words."""
    return _titles().get(code, words.code(code)) if code else ""


@lru_cache(maxsize=1)
def _titles() -> dict[str, str]:
    return finding_titles()


COLUMNS = {one.name: one for one in (
    _count("rank", "Rank", "rank"),
    _words("tag", "Tag", "tag", lambda row: str(row["tag"])),
    _words("verdict", "Verdict", "verdict", lambda row: str(row["verdict"])),
    _words("unit", "Unit", "unit", lambda row: str(row["unit"])),
    _words("cause", "Cause", "cause_code", lambda row: cause(row["cause_code"])),
    _words("why", "Cause in full", "cause", lambda row: str(row["cause"])),
    _words("kind", "Kind", "kind", lambda row: str(row["kind"])),
    _words("size", "Size", "designation", lambda row: str(row["designation"])),
    _words("fluid", "Fluid", "fluid", lambda row: str(row["fluid"])),
    Column("set", lambda show: f"Set, {show.pressure}", "set_pressure", lambda row, show: show.pressure_of(row["set_pressure"], False),
           lambda row, show: show.number_of(row["set_pressure"], show.pressure), "0.0##"),
    _share("operating", "Operating / set", "operating_ratio"),
    _share("use", "Required / rated", "utilisation"),
    _share("inlet", "Inlet loss, of set", "inlet_loss"),
    _share("outlet", "Built-up, of set", "built_up"),
    Column("remedy", lambda show: "Recommended remedy", "recommended_title", lambda row, show: cut(row["recommended_title"], 64) or DASH,
           lambda row, show: row["recommended_title"]),
    _words("clears", "Clears all", "clears", lambda row: words.CLEARS_NOTHING.get(row["recommended"]) or _CLEARS.get(str(row["clears"]), "")),
    _money("cost", "Whole-life cost, middle", "cost"),
    _money("npv", "Net present value", "npv"),
    Column("leak", lambda show: "Leak, kg/a", "leak", lambda row, show: f"{row['leak']:.3g}" if is_number(row["leak"]) else DASH,
           lambda row, show: row["leak"], "0.0##"),
    _words("plan", "Plan", "in_plan", place),
    _words("decision", "Decision", "decision", decision),
    _count("open", "Open checks", "opens"),
    _count("defaults", "Defaults", "defaults"),
    _words("findings", "What fails", "codes", lambda row: ", ".join(words.code(code) for code in str(row["codes"]).split())),
)}  # fmt: skip
# What a column shows, by the fields it is read from; a name with a dot at its end stands for every field of that table.
RESTS_ON: Mapping[str, tuple[str, ...]] = {
    "kind": ("valve.kind",), "size": ("valve.designation", "valve.orifice", "valve.inlet_size", "valve.outlet_size"), "fluid": ("case.fluid",),
    "set": ("valve.set_pressure",), "operating": ("vessel.operating_pressure",), "inlet": ("inlet.",), "outlet": ("outlet.",),
}  # fmt: skip


def assumed(name: str, known: Mapping[str, str]) -> str:
    """What was assumed behind a cell of a column, in words; "" where nothing was. known: words by field."""
    return "; ".join(
        words for field, words in known.items() if any(field == one or (one.endswith(".") and field.startswith(one)) for one in RESTS_ON.get(name, ()))
    )  # fmt: skip


USUAL = (
    "rank", "tag", "verdict", "cause", "kind", "size", "fluid", "set", "operating", "use", "remedy", "clears", "cost", "npv", "plan", "decision",
)  # fmt: skip
NUMBERS = frozenset(name for name, one in COLUMNS.items() if one.form)


def csv_text(columns: Sequence[Column], rows: Iterable[Row], show: Shown) -> str:
    """Rows as CSV; text that a spreadsheet would run as a formula gets an apostrophe before it."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([quiet(one.title(show)) for one in columns])
    for row in rows:
        cells = (one.value(row, show) for one in columns)
        writer.writerow([f"{cell:.10g}" if is_number(cell) else quiet(cell) for cell in cells])
    return out.getvalue()


def xlsx_bytes(columns: Sequence[Column], rows: Iterable[Row], show: Shown) -> bytes:
    """Rows as a workbook; text is always written as text, never as a formula or a link."""
    import xlsxwriter

    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(
        buffer,
        {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False},
    )
    page, heading = book.add_worksheet("Fleet"), book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
    forms = [book.add_format({"num_format": one.form or "@"}) for one in columns]
    page.freeze_panes(1, 2)
    for at, one in enumerate(columns):
        page.set_column(at, at, 12 if one.form else 24, forms[at])
        page.write_string(0, at, one.title(show), heading)
    for line, row in enumerate(rows, 1):
        for at, one in enumerate(columns):
            cell = one.value(row, show)
            if is_number(cell):
                page.write_number(line, at, cell, forms[at])
            elif cell not in (None, ""):
                page.write_string(line, at, clean(plain(cell)), forms[at])
    book.close()
    return buffer.getvalue()
