"""Write small registers: .xlsx by XlsxWriter, .ods by hand, .csv as bytes; and one big .xlsx for timing."""

from __future__ import annotations

import datetime
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import xlsxwriter

HEADINGS = (
    "Tag", "Type", "Inlet size", "Orifice", "Outlet size", "Inlet class", "Set pressure (barg)", "MAWP (barg)",
    "Fluid", "Mol wt", "k", "Relieving temp (degC)", "Required rate (kg/h)",
)  # fmt: skip
PLAIN = ("PSV-101", "Conventional", 4, "P", 6, 150, 10, 10, "propane", 44.1, 1.13, 60, 24000)


@dataclass(frozen=True)
class Styled:
    """A number with a number format."""

    value: float
    form: str


@dataclass(frozen=True)
class Error:
    """A formula that ended in an error."""

    word: str


def xlsx(
    path: Path, sheets: Mapping[str, Iterable[Sequence[Any]]], *, merges: Mapping[str, Sequence[tuple[int, int, int, int]]] | None = None,
    comments: Mapping[tuple[str, int, int], str] | None = None, hidden_rows: Sequence[tuple[str, int]] = (),
    hidden_columns: Sequence[tuple[str, int]] = (),
) -> Path:  # fmt: skip
    """A workbook. Rows and columns of the extras count from 0; a merged range shows its first cell."""
    book = xlsxwriter.Workbook(str(path), {"strings_to_formulas": False, "strings_to_numbers": False})
    date = book.add_format({"num_format": "dd/mm/yyyy"})
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        inside = {(r, c): m for m in (merges or {}).get(name, ()) for r in range(m[0], m[2] + 1) for c in range(m[1], m[3] + 1)}
        for r, row in enumerate(rows):
            for c, value in enumerate(row):
                if (r, c) in inside and (r, c) == inside[r, c][:2]:
                    sheet.merge_range(*inside[r, c], value)
                elif (r, c) not in inside:
                    _cell(sheet, r, c, value, date, book)
        for (where, r, c), text in (comments or {}).items():
            if where == name:
                sheet.write_comment(r, c, text)
        for where, r in hidden_rows:
            if where == name:
                sheet.set_row(r, None, None, {"hidden": True})
        for where, c in hidden_columns:
            if where == name:
                sheet.set_column(c, c, None, None, {"hidden": True})
    book.close()
    return path


def _cell(sheet: Any, r: int, c: int, value: Any, date: Any, book: Any) -> None:
    if value is None or value == "":
        return
    if isinstance(value, Error):
        sheet.write_formula(r, c, "=1/0", None, value.word)
    elif isinstance(value, Styled):
        sheet.write_number(r, c, value.value, book.add_format({"num_format": value.form}))
    elif isinstance(value, bool):
        sheet.write_boolean(r, c, value)
    elif isinstance(value, datetime.date):
        sheet.write_datetime(r, c, datetime.datetime(value.year, value.month, value.day), date)
    elif isinstance(value, (int, float)):
        sheet.write_number(r, c, value)
    else:
        sheet.write_string(r, c, str(value))


def csv(path: Path, rows: Iterable[Sequence[Any]], *, mark: str = ",", encoding: str = "utf-8") -> Path:
    """A text file; cells that hold the separator are quoted."""
    lines = []
    for row in rows:
        cells = ["" if cell is None else str(cell) for cell in row]
        lines.append(mark.join('"' + cell.replace('"', '""') + '"' if mark in cell or '"' in cell else cell for cell in cells))
    path.write_bytes("\r\n".join([*lines, ""]).encode(encoding))
    return path


def ods(path: Path, name: str, rows: Iterable[Sequence[Any]]) -> Path:
    """An OpenDocument spreadsheet by hand: a zip with a mimetype and one content.xml."""
    body = []
    for row in rows:
        cells = []
        for value in row:
            if value is None or value == "":
                cells.append("<table:table-cell/>")
            elif isinstance(value, (int, float)):
                cells.append(f'<table:table-cell office:value-type="float" office:value="{value}"><text:p>{value}</text:p></table:table-cell>')
            else:
                cells.append(f'<table:table-cell office:value-type="string"><text:p>{escape(str(value))}</text:p></table:table-cell>')
        body.append(f"<table:table-row>{''.join(cells)}</table:table-row>")
    spaces = " ".join(
        f'xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{long}:1.0"'
        for short, long in (("office", "office"), ("table", "table"), ("text", "text"))
    )
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content {spaces} office:version="1.2"><office:body>'
        f'<office:spreadsheet><table:table table:name="{escape(name)}">{"".join(body)}</table:table></office:spreadsheet>'
        "</office:body></office:document-content>"
    )
    manifest = (
        '<?xml version="1.0" encoding="UTF-8"?><manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0">'
        '<manifest:file-entry manifest:full-path="/" manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>'
        "</manifest:manifest>"
    )
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
        archive.writestr("META-INF/manifest.xml", manifest)
    return path


def one(**changes: Any) -> list[Any]:
    """The plain row with some cells replaced, by heading in small letters with underscores (set_pressure=...)."""
    keys = ("tag", "type", "inlet_size", "orifice", "outlet_size", "inlet_class", "set_pressure", "mawp", "fluid", "mol_wt", "k",
            "temperature", "rate")  # fmt: skip
    assert changes.keys() <= set(keys), changes
    return [changes.get(key, value) for key, value in zip(keys, PLAIN, strict=True)]


def big(path: Path, count: int) -> Path:
    """A register of `count` rows and 60 columns with differing figures, for timing."""
    heads = (
        *HEADINGS, "Z", "Density (kg/m3)", "Viscosity (cP)", "Operating pressure (barg)", "Operating temp (degC)", "Design temperature (degC)",
        "CDTP (barg)", "Blowdown (%)", "Body material", "Seat", "Facing", "Outlet class", "Serial No", "Unit", "Remarks", "Condition",
        "Last test", "Next due", "Interval (years)", "Leak ppm", "Overhauls", "Lifts per year", "As found pop (barg)", "Superimposed min (barg)",
        "Superimposed max (barg)", "Built-up back pressure (bar)", "Discharge to", "Governing case", "Phase", "Rate basis", "Dirty",
        "Polymerising", "Sour", "Inlet line size", "Inlet schedule", "Inlet length (m)", "Inlet elbows", "Inlet block valve",
        "Outlet line size", "Outlet schedule", "Outlet length (m)", "Outlet elbows", "Protected equipment", "Vessel volume (m3)",
        "Accumulation", "Old tag", "P&ID", "Spare column", "Work order",
    )  # fmt: skip
    book = xlsxwriter.Workbook(str(path), {"constant_memory": True})
    sheet, date = book.add_worksheet("Valves"), book.add_format({"num_format": "yyyy-mm-dd"})
    for c, text in enumerate(heads):
        sheet.write_string(0, c, text)
    day = datetime.datetime(2019, 1, 1)
    for r in range(count):
        s = 5 + r % 37 + (r % 97) / 100
        row = (
            f"PSV-{10001 + r}", ("Conventional", "Balanced bellows")[r % 2], *((4, "P", 6), (3, "L", 4), (2, "J", 3))[r % 3],
            (150, 300)[r % 2], s, s * 1.05, "propane", 44.1, 1.13, 60 + r % 40, 5000 + r * 0.37, 0.85 + (r % 10) / 100, None, None,
            s * 0.85, 40 + r % 50, 120, s, 7, "WCB", "metal", "RF", 150, f"SN{r:06d}", f"{10 + r % 5}",
            ("", "passing again", "popped off in storm", "checked ok, no leak found", f"see work order {r}")[r % 5],
            ("lapped & set", "", "seat scored")[r % 3], day + datetime.timedelta(days=r % 900), day + datetime.timedelta(days=r % 900 + 1826),
            5, (r * 7) % 900, r % 4, r % 6, s * 1.01, 0.1, 0.3, 0.2 + (r % 9) / 10, "flare", ("Blocked outlet", "Fire")[r % 2], "gas",
            "signed", "N", "N", "Y", 4, "40", 1.5 + (r % 13) / 10, 2, "gate", 6, "40", 10 + r % 30, 3, f"V-{1000 + r % 700}",
            10 + r % 90, "110 %", f"RV-{r}", f"PID-{r % 200}", None, f"WO{r * 3}",
        )  # fmt: skip
        for c, value in enumerate(row):
            if value is None or value == "":
                continue
            if isinstance(value, datetime.datetime):
                sheet.write_datetime(r + 1, c, value, date)
            elif isinstance(value, (int, float)):
                sheet.write_number(r + 1, c, value)
            else:
                sheet.write_string(r + 1, c, value)
    book.close()
    return path
