"""A spreadsheet file as grids of cells: text, kind, comments, merged ranges, hidden rows and columns.

.xlsx is read by openpyxl in its streaming mode, which keeps error cells; comments, merged ranges and hidden
rows, which that mode leaves out, come from a light pass over the zip. .csv: encoding and separator are found
out. .xls, .xlsb and .ods come through python-calamine, which cannot tell an error cell from a blank one.
"""

from __future__ import annotations

import datetime
import io
import re
import sys
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from quietseat import units
from quietseat.register.parts import comments
from quietseat.register.parts import extras as parts_of_sheet
from quietseat.status import InputUnusable

LARGEST_PART = 300_000_000  # bytes, unpacked, of all parts of a workbook
LARGEST_RATIO = 200  # unpacked over packed; real sheets stay below about 50
RATIO_FROM = 5_000_000  # bytes; smaller parts may be packed as tightly as they like
MOST_CELLS = 12_000_000
MOST_ROWS = 200_000
COLOURED = 4  # columns from the left in which filled cells are noticed: the tag stands there
ERRORS = frozenset(
    ("#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!", "#GETTING_DATA", "#SPILL!", "#CALC!")
)


class Cell(NamedTuple):
    """One cell that is not blank. kind: text, number, date, bool, error. `merged`: filled from a merged range."""

    text: str
    kind: str
    value: Any = None  # float of a number, datetime of a date, bool
    form: str = ""  # number format where it says something: "%", "E", "date", a unit in quotes; of an ambiguous text see marks
    merged: bool = False


Row = tuple["Cell | None", ...]


@dataclass(slots=True)
class Grid:
    """One sheet: rows by number (1 = first), cells by column (0 = A); blank rows are absent."""

    name: str
    rows: dict[int, Row]
    hidden: bool = False
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    comments: dict[tuple[int, int], str] = field(default_factory=dict)
    merges: tuple[tuple[int, int, int, int], ...] = ()  # first row, first column, last row, last column
    colours: dict[tuple[int, int], str] = field(default_factory=dict)  # filled cells of the first columns


@dataclass(slots=True)
class Book:
    """All sheets of a file, and what was noticed while opening it."""

    file: str
    grids: list[Grid]
    notes: list[tuple[str, str]]  # (rule, mend): what the reader must be told


def load(path: str | Path) -> Book:
    """Read a whole file. Raises InputUnusable with one sentence for a file that cannot be used as a whole."""
    if str(path) == "-":
        return _of_bytes("standard input", sys.stdin.buffer.read(), "")
    file = Path(path)
    if file.is_dir():
        raise InputUnusable(f"{file.name or file}: is a folder; name one .xlsx, .csv, .xls or .ods file.")
    try:
        size = file.stat().st_size
        if size > LARGEST_PART:
            raise InputUnusable(f"{file.name}: has {size / 1e6:.0f} MB; the largest that is read is 300 MB.")
        data = file.read_bytes()
    except OSError as error:
        raise InputUnusable(f"{file.name}: cannot be read ({error.strerror or error}).") from error
    return _of_bytes(file.name, data, file.suffix.lower())


def _of_bytes(name: str, data: bytes, suffix: str) -> Book:
    if not data.strip(b"\0 \t\r\n"):
        raise InputUnusable(f"{name}: is empty.")
    packed, compound = data[:4] == b"PK\x03\x04", data[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
    if data[:4] == b"PK\x05\x06":
        raise InputUnusable(f"{name}: is an empty zip file, not a workbook.")
    if compound and (b"E\0n\0c\0r\0y\0p\0t\0e\0d\0P\0a\0c\0k\0a\0g\0e" in data or b"EncryptedPackage" in data):
        raise InputUnusable(f"{name}: is protected by a password; save it without one.")
    if suffix in (".xlsx", ".xlsm", ".xlsb", ".ods") and not packed and not compound:
        raise InputUnusable(f"{name}: is named {suffix} but is not a workbook; if it is text, name it .csv.")
    return _packed(name, data) if packed else _calamine(name, data) if compound else Book(name, *_csv(name, data))


# --- xlsx --------------------------------------------------------------------------------------------------


def _packed(name: str, data: bytes) -> Book:
    """A zip container: .xlsx, .xlsb or .ods, checked for bombs before anything is unpacked."""
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        parts = archive.infolist()
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise InputUnusable(f"{name}: is damaged, its zip directory cannot be read ({error}).") from error
    total = sum(part.file_size for part in parts)
    if len(parts) > 20_000 or total > LARGEST_PART:
        raise InputUnusable(
            f"{name}: would unpack to {total / 1e6:.0f} MB in {len(parts)} parts; it is refused as a zip bomb."
        )
    for part in parts:
        if part.file_size > RATIO_FROM and part.file_size > LARGEST_RATIO * max(part.compress_size, 1):
            raise InputUnusable(
                f"{name}: the part {part.filename} unpacks {part.file_size // max(part.compress_size, 1)} times; "
                "it is refused as a zip bomb."
            )
        if part.flag_bits & 1:
            raise InputUnusable(f"{name}: is protected by a password; save it without one.")
    names = {part.filename for part in parts}
    if "xl/workbook.xml" in names:
        return _xlsx(name, data, archive)
    if "xl/workbook.bin" in names or "content.xml" in names:
        return _calamine(name, data)
    return _other_zip(name, data, archive, names)


def _other_zip(name: str, data: bytes, archive: zipfile.ZipFile, names: set[str]) -> Book:
    # Some writers put the workbook part elsewhere; openpyxl follows the relations.
    if "[Content_Types].xml" in names and any(part.endswith(".xml") and "sheet" in part for part in names):
        return _xlsx(name, data, archive)
    raise InputUnusable(f"{name}: is a zip file without a workbook in it; unpack it and name the register inside.")


def _xlsx(name: str, data: bytes, archive: zipfile.ZipFile) -> Book:
    import warnings

    import openpyxl

    try:
        _no_entities(archive)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            grids: list[Grid] = []
            notes: list[tuple[str, str]] = []
            made: dict[Any, Cell] = {}
            cells = [0]
            for sheet in book.worksheets:
                part = str(getattr(sheet, "_worksheet_path", "")).lstrip("/")
                extras = parts_of_sheet(archive, part)
                grid = _sheet(name, sheet, made, cells)
                grid.hidden_rows, grid.hidden_columns, grid.merges, bare = extras
                grid.comments = comments(archive, part)
                _mark_bare(grid, bare)
                _fill_down(grid)
                grids.append(grid)
                if bare:
                    notes.append((
                        f"sheet {sheet.title}: " + ("1 formula cell holds no stored result, it is read as an error" if len(bare) == 1 else
                                                    f"{len(bare)} formula cells hold no stored result, they are read as errors"),
                        "open the file in a spreadsheet program, let it calculate and save it",
                    ))  # fmt: skip
            book.close()
    except InputUnusable:
        raise
    except MemoryError as error:
        raise InputUnusable(f"{name}: is too large for the memory at hand.") from error
    except Exception as error:  # any damage inside the file: openpyxl raises a score of kinds
        raise InputUnusable(f"{name}: is damaged and cannot be read as a workbook ({error}).") from error
    return Book(name, grids, notes)


def _no_entities(archive: zipfile.ZipFile) -> None:
    """Refuse document types: spreadsheets have none, and their entities can be bombs of their own."""
    for part in archive.namelist():
        if part.endswith((".xml", ".rels")):
            with archive.open(part) as source:
                if b"<!DOCTYPE" in source.read(2048):
                    raise InputUnusable(f"the part {part} declares a document type, which no spreadsheet does; refused.")


def _sheet(name: str, sheet: Any, made: dict[Any, Cell], count: list[int]) -> Grid:
    """The cells of one sheet; equal cells are one object, so that a column of repeated words costs little."""
    sheet.reset_dimensions()
    forms: dict[int, str] = {}
    fills: dict[int, str] = {}
    colours: dict[tuple[int, int], str] = {}
    rows: dict[int, Row] = {}
    for number, given in enumerate(sheet.iter_rows(), start=1):
        count[0] += len(given) + 1
        if count[0] > MOST_CELLS or len(rows) > MOST_ROWS:
            raise InputUnusable(f"{name}: sheet {sheet.title} has too many cells or rows to be a register.")
        row: list[Cell | None] = []
        for cell in given:
            value = cell.value
            if value is None or value == "":
                row.append(None)
                continue
            style = cell._style_id
            key = (value.__class__, value, style, cell.data_type)
            known = made.get(key)
            if known is None:
                form = forms.get(style)
                if form is None:
                    form = forms[style] = _form(cell.number_format)
                known = made[key] = _cell(value, cell.data_type, form)
            row.append(known if known.text else None)
            if style and len(row) <= COLOURED:
                fill = fills.get(style)
                if fill is None:
                    fill = fills[style] = _colour(cell.fill)
                if fill:
                    colours[number, len(row) - 1] = fill
        while row and row[-1] is None:
            row.pop()
        if row:
            rows[number] = tuple(row)
    return Grid(sheet.title, rows, hidden=sheet.sheet_state != "visible", colours=colours)


def _colour(fill: Any) -> str:
    """The colour of a filled cell, "" for none or white."""
    if getattr(fill, "patternType", None) != "solid":
        return ""
    colour = fill.fgColor
    if colour.type == "rgb" and isinstance(colour.rgb, str):
        return "" if colour.rgb.upper().endswith("FFFFFF") else f"#{colour.rgb[-6:].upper()}"
    return f"{colour.type} {colour.value}"


_QUOTED = re.compile(r"\"([^\"]+)\"|\\(.)")


def _form(number_format: str | None) -> str:
    """What the number format shows besides the number."""
    text = number_format or ""
    if text == "General" or not text:
        return ""
    first = text.split(";")[0]
    if "%" in first and '"' not in first:
        return "%"
    words = "".join(a or b for a, b in _QUOTED.findall(first)).strip()
    if words and any(char.isalpha() for char in words):
        try:
            units.quantity_of(words)
        except units.UnitError:
            return ""
        return words
    return "E" if "E+" in first else ""


_LINES = re.compile(r"(?<=[0-9A-Ha-h])[ \t]*\r?\n\s*(?=\d|[A-Z]{2,4}-?\d)")  # "10.5" above "11.0", a tag above a tag


def _cell(value: Any, data_type: str, form: str = "") -> Cell:
    if isinstance(value, bool):
        return Cell("TRUE" if value else "FALSE", "bool", value)
    if isinstance(value, (int, float)):
        return _number(float(value), form)
    if isinstance(value, datetime.datetime):
        whole = value.time() == datetime.time()
        return Cell(value.date().isoformat() if whole else value.isoformat(" "), "date", value, "date")
    if isinstance(value, datetime.date):
        return Cell(value.isoformat(), "date", datetime.datetime(value.year, value.month, value.day), "date")
    if isinstance(value, (datetime.time, datetime.timedelta)):
        return Cell(str(value), "text")
    text = str(value)
    if "\n" in text:
        text = _LINES.sub(" / ", text)
    text = " ".join(text.split())
    if len(text) > 1 and text[0] == "'" and text[1] != "'":
        text = text[1:]  # the mark by which a spreadsheet keeps a number as text
    if data_type == "e" or text in ERRORS:
        return Cell(text, "error")
    return Cell(text, "text")


def _number(value: float, form: str) -> Cell:
    if form == "%":
        return Cell(f"{value * 100:.15g} %", "number", value, form)
    text = f"{value:.15g}"
    # A unit that the cell's format shows ('0.0" barg"') is what the reader of the sheet sees.
    if form and form != "E" and len(form) <= 12:
        return Cell(f"{text} {form}", "number", value, form)
    return Cell(text, "number", value, form)


def _mark_bare(grid: Grid, bare: Iterable[tuple[int, int]]) -> None:
    lost = Cell("formula without a stored result", "error")
    for row, column in bare:
        cells = list(grid.rows.get(row, ()))
        cells += [None] * (column + 1 - len(cells))
        cells[column] = lost
        grid.rows[row] = tuple(cells)


def _fill_down(grid: Grid) -> None:
    """Cells merged downwards each show the value of the first; sideways filling is for headings only."""
    for top, first, bottom, _ in grid.merges:
        if bottom == top or bottom - top > 5000:
            continue
        cells = grid.rows.get(top, ())
        value = cells[first] if first < len(cells) else None
        if value is None:
            continue
        for number in range(top + 1, bottom + 1):
            row = list(grid.rows.get(number, ()))
            if not row:
                continue  # a blank line stays blank
            row += [None] * (first + 1 - len(row))
            row[first] = row[first] or value._replace(merged=True)
            grid.rows[number] = tuple(row)


# --- csv ---------------------------------------------------------------------------------------------------


def decode(name: str, data: bytes) -> tuple[str, str]:
    """The text of a file and the encoding it was taken for ("" where the file says it or it is plain UTF-8)."""
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if data.startswith(mark):
            try:
                return data.decode(encoding), ""
            except UnicodeDecodeError as error:
                raise InputUnusable(f"{name}: says it is {encoding} but is not ({error.reason}).") from error
    head = data[:4000]
    if head.count(0) > len(head) // 4:
        little = head[1::2].count(0) > head[0::2].count(0)
        try:
            return data.decode("utf-16-le" if little else "utf-16-be"), "UTF-16 without its mark"
        except UnicodeDecodeError:
            pass
    if b"\0" in data:
        raise InputUnusable(f"{name}: is neither a workbook nor text.")
    try:
        return data.decode("utf-8"), ""
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace"), "Windows-1252 (it is not UTF-8)"


def separator(lines: list[str]) -> str:
    """The separator under which the lines fall into the most columns of steady number."""
    import csv

    best, mark = 0.0, ","
    for candidate in (",", ";", "\t", "|"):
        widths = [len(row) for row in csv.reader(lines, delimiter=candidate) if any(row)]
        if not widths:
            continue
        common = max(set(widths), key=lambda width: (widths.count(width), width))
        score = (common - 1) * widths.count(common) / len(widths) if common > 1 else 0.0
        if score > best:
            best, mark = score, candidate
    return mark


def _csv(name: str, data: bytes) -> tuple[list[Grid], list[tuple[str, str]]]:
    import csv

    text, guess = decode(name, data)
    notes = [(f"the encoding was taken for {guess}", "save the file as UTF-8 if letters look wrong")] if guess else []
    if sum(char < " " and char not in "\t\r\n\f\v" for char in text[:4000]) > 40:
        raise InputUnusable(f"{name}: is neither a workbook nor text.")
    mark = ""
    if told := re.match(r"sep=(.)\r?\n", text):
        mark, text = told[1], text[told.end() :]
    first = 2 if told else 1
    lines = text.splitlines()
    mark = mark or separator(lines[:200])
    csv.field_size_limit(1_000_000)
    rows: dict[int, Row] = {}
    try:
        for number, given in enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=mark), start=first):
            row = [_cell(cell, "s") if cell and not cell.isspace() else None for cell in given]
            while row and row[-1] is None:
                row.pop()
            if row:
                rows[number] = tuple(row)
            if len(rows) > MOST_ROWS:
                raise InputUnusable(f"{name}: has more than {MOST_ROWS} rows.")
    except csv.Error as error:
        raise InputUnusable(f"{name}: cannot be read as a table ({error}).") from error
    return [Grid(Path(name).stem or "table", rows)], notes


# --- xls, xlsb, ods ------------------------------------------------------------------------------------------


def _calamine(name: str, data: bytes) -> Book:
    import python_calamine

    try:
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        grids = []
        for meta in book.sheets_metadata:
            if "WorkSheet" not in str(meta.typ):
                continue
            sheet = book.get_sheet_by_name(meta.name)
            start = sheet.start or (0, 0)
            rows: dict[int, Row] = {}
            for number, given in enumerate(sheet.to_python(skip_empty_area=True), start=start[0] + 1):
                row = [None] * start[1] + [_cell(cell, "s") if cell not in (None, "") else None for cell in given]
                if any(row):
                    rows[number] = tuple(row)
            merges = tuple((a + 1, b, c + 1, d) for (a, b), (c, d) in sheet.merged_cell_ranges or ())
            grid = Grid(meta.name, rows, hidden="Visible" not in str(meta.visible), merges=merges)
            _fill_down(grid)
            grids.append(grid)
    except Exception as error:  # the library raises its own kinds for each format
        words = str(error)
        if "password" in words.lower() or "encrypt" in words.lower():
            raise InputUnusable(f"{name}: is protected by a password; save it without one.") from error
        raise InputUnusable(f"{name}: is damaged or of a kind that cannot be read ({words}).") from error
    return Book(name, grids, [(
        "this kind of file is read without its error cells, comments, hidden rows and number formats: a cell with an "
        "error looks blank",
        "save the register as .xlsx to have them seen",
    )])  # fmt: skip
