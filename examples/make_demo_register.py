"""Write the register of the demo: the clean plant of `demo_plant`, then the mess of `demo_traps` on top.

Run it as `python examples/make_demo_register.py [FOLDER]`; without a folder it writes into the package. The same
inputs give the same bytes: dates are fixed and the workbook is stored without compression.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import xlsxwriter

sys.path.insert(0, str(Path(__file__).parent))
from demo_plant import PLANT, UNITS, VALVES, Row
from demo_traps import CELLS, COMMENTS, EXTRA_ROWS, HIDDEN_ROWS, MENDS, NOTES, Broken

PACKAGED = Path(__file__).parents[1] / "quietseat" / "data" / "demo"
WRITTEN = datetime.datetime(2026, 3, 12)
INVENTED = "Plant, place, people and every figure are invented for the demo of this program."
MAIN, CASES, LINES, HISTORY = "PSV list", "Relief cases", "Lines", "History"

# key, group over it, heading; keys of `demo_plant` where they have one
COLUMNS: tuple[tuple[str, str, str], ...] = (
    ("tag", "", "Tag No."), ("old", "", "Former tag"), ("equipment", "", "Protected equipment"),
    ("fluid", "", "Service"),
    ("type", "", "Type"), ("designation", "", "Size designation"), ("inlet_size", "Size", "Inlet"),
    ("orifice", "Size", "Orifice"), ("outlet_size", "Size", "Outlet"), ("rating", "Rating", "In"),
    ("rating_out", "Rating", "Out"), ("facing", "", "Facing"), ("material", "", "Body material"), ("seat", "", "Seat"),
    ("liquid_trim", "", "Liquid trim"), ("action", "Pilot", "Action"), ("sense", "Pilot", "Sense"),
    ("bleed", "Pilot", "Bleed"), ("serial", "", "Serial No."), ("area", "", "Effective area (mm2)"),
    ("rated_k", "", "Rated coefficient"), ("height", "Centre to face", "Inlet (mm)"),
    ("reach", "Centre to face", "Outlet (mm)"), ("set", "Pressures (barg)", "Set pressure"),
    ("cdtp", "Pressures (barg)", "CDTP"), ("mawp", "Pressures (barg)", "MAWP"),
    ("op", "Pressures (barg)", "Max op press"), ("alarm", "Pressures (barg)", "High alarm"),
    ("blowdown", "", "Blowdown (%)"), ("superimposed_min", "Superimposed back pressure", "Min (barg)"),
    ("superimposed", "Superimposed back pressure", "Max (barg)"), ("cause", "", "Governing case"),
    ("phase", "", "Phase"),
    ("rate", "Relief rate", "Required rate (kg/h)"), ("basis", "Relief rate", "Rate basis"),
    ("capacity", "Relief rate", "Rated capacity (kg/h)"), ("temperature", "", "Relieving temp (degC)"),
    ("mw", "", "Mol wt"), ("k", "", "k"), ("z", "", "Z"), ("density", "", "Density (kg/m3)"),
    ("viscosity", "", "Viscosity (cP)"), ("installed", "", "Number installed"), ("required", "", "Number required"),
    ("volume", "", "Vessel volume (m3)"), ("op_temp", "", "Operating temp (degC)"), ("to", "", "Discharge to"),
    ("dirty", "", "Dirty Y/N"), ("polymer", "", "Polymerising"), ("sour", "", "Sour"), ("viscous", "", "Viscous"),
    ("toxic", "", "Toxic"), ("pulsating", "", "Pulsating"), ("fast_rise", "", "Fast rise"),
    ("sense_tap", "", "Sense tap"),
    ("last_test", "Records", "Last test"), ("next_due", "Records", "Next due"), ("lifts", "Records", "Lifts per year"),
    ("ppm", "Records", "Leak ppm"), ("as_found", "Records", "As found pop (barg)"),
    ("bellows", "Records", "Bellows renewed"), ("remarks", "", "Remarks"),
)  # fmt: skip
HIDDEN_COLUMNS = ("old", "capacity")
CASE_COLUMNS = (
    ("tag", "Tag", ""), ("case", "Relief case", ""), ("cause", "Cause", ""), ("phase", "Phase", ""),
    ("fluid", "Fluid", ""),
    ("rate", "Required rate", "kg/h"), ("basis", "Rate basis", ""), ("temperature", "Relieving temp", "degC"),
    ("mw", "Mol wt", "g/mol"), ("k", "k", ""), ("z", "Z", ""), ("quality", "Quality", ""),
    ("v1", "Specific volume", "m3/kg"), ("v9", "Specific volume 90", "m3/kg"),
)  # fmt: skip
LINE_COLUMNS = (
    ("tag", "Tag", ""), ("in_size", "Inlet line size", "in"), ("in_schedule", "Inlet line schedule", ""),
    ("in_length", "Inlet line length", "m"), ("in_elbows", "Inlet elbows", ""), ("in_entrance", "Inlet entrance", ""),
    ("in_block", "Inlet block valve", ""), ("out_size", "Outlet line size", "in"),
    ("out_length", "Outlet line length", "m"), ("out_elbows", "Outlet elbows", ""),
    ("out_block", "Outlet block valve", ""), ("source", "Isometric source", ""),
)  # fmt: skip
EVENT_COLUMNS = (
    ("tag", "Tag", ""), ("date", "Date", ""), ("event", "Event", ""), ("value", "Reading", ""), ("note", "Details", ""),
    ("cost", "Repair cost (USD)", ""),
)  # fmt: skip
TYPES = {"conventional": "Conventional", "bellows": "Balanced bellows", "pilot": "Pilot operated"}


def main_row(index: int, valve: Row) -> Row:
    """One valve as the cells of the main list. Unit 30 keeps inlet, letter and outlet in columns of their own."""
    row = {key: value for key, value in valve.items() if key not in ("inlet", "outlet", "cases", "history", "size")}
    inlet, letter, outlet = re.fullmatch(r"([\d.]+)([A-Z])([\d.]+)", valve["size"]).groups()  # type: ignore[union-attr]
    if valve["phase"] == "two-phase":  # the cases sheet has the columns for it
        row |= dict.fromkeys(("rate", "cause", "phase", "temperature", "basis"))
    if valve["unit"] == "30":
        row |= {"inlet_size": _number(inlet), "orifice": letter, "outlet_size": _number(outlet)}
    else:
        row["designation"] = valve["size"]
    tag = valve["tag"]
    done = datetime.date(2021 + index % 4, 1 + index * 5 % 12, 1 + index * 7 % 28)
    return row | {
        "tag": f"{tag}/B" if tag.endswith("A") and not tag.endswith("2006A") else tag, "type": TYPES.get(valve["kind"]),
        "old": f"RV-{400 + index * 3}", "serial": f"SW{20117 + index * 37}", "last_test": done,
        "next_due": done.replace(year=done.year + 5),
    }  # fmt: skip


def _number(text: str) -> float | int:
    return int(text) if text.isdigit() else float(text)


def case_rows() -> Iterator[Row]:
    """The cases sheet: valves with several cases, and flashing flow, which the main list has no columns for."""
    for valve in VALVES:
        shared = {key: valve.get(key) for key in ("phase", "fluid", "basis", "temperature", "mw", "k", "z")}
        if valve["phase"] == "two-phase":
            yield {**shared, **valve, "case": "Flashing"}
        for case in valve.get("cases", ()):
            yield {**shared, **case, "tag": valve["tag"]}


def line_rows() -> Iterator[Row]:
    """The lines sheet; a valve without an isometric has no row."""
    for valve in VALVES:
        inlet, outlet = valve["inlet"], valve["outlet"]
        if inlet is None and outlet is None:
            continue
        row: Row = {"tag": valve["tag"], "source": "field sketch"}
        if inlet is not None:
            size, length, elbows, block, *more = inlet
            schedule = more[0] if more and more[0] else "80" if size <= 2 else "40"
            entrance = more[1] if len(more) > 1 else "rounded"
            row |= {"in_size": size, "in_schedule": schedule, "in_length": length, "in_elbows": elbows,
                    "in_entrance": entrance, "in_block": block}  # fmt: skip
        if outlet is not None:
            row |= dict(zip(("out_size", "out_length", "out_elbows"), outlet)) | {"out_block": "none"}
        yield row


def event_rows() -> Iterator[Row]:
    """The history sheet, oldest first."""
    rows = [(event, valve) for valve in VALVES for event in valve.get("history", ())]
    for (date, kind, value, note, cost), valve in sorted(rows, key=lambda pair: pair[0][0]):
        shown = None if value is None else f"{value} barg" if kind == "pop" else value
        day = datetime.date.fromisoformat(date)
        yield {"tag": valve["tag"], "date": day, "event": kind, "value": shown, "note": note, "cost": cost}


class _Writer:
    """Writes rows of cells and remembers where each tag went."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self.book = book
        self.formats = {
            "head": book.add_format({"bold": True, "text_wrap": True, "border": 1, "valign": "top"}),
            "title": book.add_format({"bold": True, "font_size": 14}), "note": book.add_format({"italic": True}),
            "date": book.add_format({"num_format": "dd/mm/yyyy"}), "E": book.add_format({"num_format": "0.00E+00"}),
            "%": book.add_format({"num_format": "0%"}), "text": book.add_format({"num_format": "@"}),
        }  # fmt: skip
        self.rows: dict[tuple[str, str], int] = {}  # (sheet, tag) -> row number as a spreadsheet shows it

    def cell(self, sheet: Any, row: int, column: int, value: Any) -> None:
        """One cell of whatever kind."""
        if value is None:
            return
        if isinstance(value, Broken):
            sheet.write_formula(row, column, value.formula, None, value.error)
        elif isinstance(value, tuple):  # a number with a format
            sheet.write_number(row, column, value[0], self.formats[value[1]])
        elif isinstance(value, bool):
            sheet.write_boolean(row, column, value)
        elif isinstance(value, datetime.date):
            sheet.write_datetime(row, column, datetime.datetime.combine(value, datetime.time()), self.formats["date"])
        elif isinstance(value, (int, float)):
            sheet.write_number(row, column, value)
        else:
            sheet.write_string(row, column, str(value))

    def line(self, sheet: Any, name: str, row: int, keys: list[str], cells: Row) -> None:
        """One row with the traps laid over it."""
        tag = cells["tag"]
        self.rows[(name, tag)] = row + 1
        cells = cells | CELLS.get((name, tag), {})
        for column, key in enumerate(keys):
            self.cell(sheet, row, column, cells.get(key))
            if (name, tag, key) in COMMENTS:
                sheet.write_comment(row, column, COMMENTS[(name, tag, key)], {"author": "M. Quill", "visible": False})


def main_sheet(writer: _Writer) -> None:
    """The valve list: titles, two heading rows with merged groups, a section and a subtotal for each unit."""
    sheet, formats = writer.book.add_worksheet(MAIN), writer.formats
    keys = [key for key, _, _ in COLUMNS]
    sheet.write(0, 0, f"{PLANT} - relief valve register, all units", formats["title"])
    sheet.write(1, 0, INVENTED, formats["note"])
    sheet.write(2, 0, "Rev 7, 12 March 2026. Merged from three lists. Gauge pressures unless the cell says otherwise.")
    _headings(sheet, 4, formats)
    row = 6
    for unit, name in UNITS.items():
        sheet.merge_range(row, 0, row, 6, f"Unit {unit} - {name}", formats["head"])
        row += 1
        count = 0
        for index, valve in enumerate(VALVES):
            if valve["unit"] != unit:
                continue
            writer.line(sheet, MAIN, row, keys, main_row(index, valve))
            row, count = row + 1, count + 1
            for extra in EXTRA_ROWS.get(valve["tag"], ()):
                if extra == "headings":
                    _headings(sheet, row, formats)
                    row += 1
                else:
                    writer.line(sheet, MAIN, row, keys, {"tag": None, **extra})
                row += 1
        sheet.write(row, 0, f"Sub-total unit {unit}")
        sheet.write(row, 5, count)
        row += 2
    sheet.write(row, 0, "Total")
    sheet.write(row, 5, len(VALVES))
    for place, note in enumerate(NOTES):
        sheet.write(row + 2 + place, 0, note, formats["note"])
    sheet.set_column(0, len(keys) - 1, 11)
    for key in HIDDEN_COLUMNS:
        sheet.set_column(keys.index(key), keys.index(key), 11, None, {"hidden": True})
    for tag in HIDDEN_ROWS:
        sheet.set_row(writer.rows[(MAIN, tag)] - 1, None, None, {"hidden": True})
    sheet.freeze_panes(6, 1)


def _headings(sheet: Any, row: int, formats: Row) -> None:
    """Two rows: a heading of its own is merged over both, a group over its columns."""
    groups = [group for _, group, _ in COLUMNS]
    for column, (_, group, heading) in enumerate(COLUMNS):
        if not group:
            sheet.merge_range(row, column, row + 1, column, heading, formats["head"])
            continue
        sheet.write(row + 1, column, heading, formats["head"])
        if groups[column - 1] != group:
            sheet.merge_range(row, column, row, column + groups.count(group) - 1, group, formats["head"])


def plain_sheet(writer: _Writer, name: str, columns: tuple[tuple[str, str, str], ...], rows: Iterator[Row]) -> None:
    """A sheet with a title, one heading row and a row of units."""
    sheet = writer.book.add_worksheet(name)
    sheet.write(0, 0, f"{PLANT} (invented) - {name.lower()}", writer.formats["title"])
    for column, (_, heading, unit) in enumerate(columns):
        sheet.write(2, column, heading, writer.formats["head"])
        if unit:
            sheet.write(3, column, f"[{unit}]", writer.formats["head"])
    for place, cells in enumerate(rows):
        writer.line(sheet, name, 4 + place, [key for key, _, _ in columns], cells)
    sheet.set_column(0, len(columns) - 1, 14)


def workbook() -> tuple[bytes, dict[tuple[str, str], int]]:
    """The workbook, and the row of each tag on each sheet."""
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, {"in_memory": True, "strings_to_formulas": False})
    book.set_properties({"title": f"{PLANT}: relief valve register (invented)", "created": WRITTEN})
    writer = _Writer(book)
    first = book.add_worksheet("Read first")
    words = (
        f"{PLANT} - an invented plant", INVENTED, "No company, maker or model stands behind any row.",
        "The list is in disorder on purpose: it shows what a reader of real registers meets.",
    )  # fmt: skip
    for row, text in enumerate(words):
        first.write(row, 0, text, writer.formats["note" if row else "title"])
    main_sheet(writer)
    plain_sheet(writer, CASES, CASE_COLUMNS, case_rows())
    plain_sheet(writer, LINES, LINE_COLUMNS, line_rows())
    plain_sheet(writer, HISTORY, EVENT_COLUMNS, event_rows())
    book.close()
    return stored(stream.getvalue()), writer.rows


def stored(data: bytes) -> bytes:
    """The same zip without compression, so that its bytes do not depend on the compressor at hand."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as target:
        for name in source.namelist():
            target.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), source.read(name))
    return out.getvalue()


def mends(rows: dict[tuple[str, str], int]) -> str:
    """The mends file; row numbers come from where the workbook put the tags."""
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\n")
    table.writerow(("sheet", "row", "field", "value", "who", "when", "why"))
    for sheet, tag, *rest in MENDS:
        table.writerow((sheet, rows[(sheet, tag)], *rest))
    return out.getvalue()


def files() -> dict[str, bytes]:
    """Both files by name."""
    book, rows = workbook()
    return {"register.xlsx": book, "mends.csv": mends(rows).encode()}


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else PACKAGED
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files().items():
        (folder / name).write_bytes(content)
        print(f"{folder / name}: {len(content)} bytes")
