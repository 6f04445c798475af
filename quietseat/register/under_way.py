"""A register while it is being read: its sheets, what the steps hand on, and which rows of a sheet count."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from quietseat.basis import Basis
from quietseat.register import column_mends, rows, workbook
from quietseat.register import mends as mending
from quietseat.register.build import Draft
from quietseat.register.cells import Reader
from quietseat.register.column_mends import Named
from quietseat.register.columns import Mapped
from quietseat.register.headers import Head
from quietseat.register.mends import Mends
from quietseat.register.record import RowRead
from quietseat.register.rows import Data
from quietseat.register.workbook import Book, Grid
from quietseat.status import Problem


@dataclass(slots=True)
class Sheet:
    """A sheet while it is being read."""

    grid: Grid
    head: Head
    role: str
    columns: list[Mapped]
    found: int = 0
    matched: int = 0
    skipped: list[tuple[int, str, str]] = field(default_factory=list)
    part: bool = False  # a further table of the sheet
    named: Named = column_mends.NOTHING
    before: Mapping[int, str] = field(default_factory=dict)  # column -> the field it had without a mend
    hint: str = ""  # columns that may hold the set pressure, where none is read as that

    def has(self, idents: Collection[str]) -> bool:
        """Whether a column is read as one of the fields."""
        return any(mapped.field in idents for mapped in self.columns)


@dataclass(slots=True)
class Work:
    """What the steps of one reading hand on."""

    book: Book
    basis: Basis
    reader: Reader
    mends: Mends
    keep: bool  # the cells are looked at later, and a register without a list of valves is no failure
    sheets: list[Sheet] = field(default_factory=list)
    drafts: list[Draft] = field(default_factory=list)
    kept: list[tuple[Data, RowRead | None]] = field(default_factory=list)  # rows in order; RowRead once settled
    problems: list[Problem] = field(default_factory=list)
    counted: set[tuple[str, int]] = field(default_factory=set)


def data_rows(work: Work, sheet: Sheet) -> list[tuple[int, workbook.Row]]:
    """The rows that count; the others are kept as skipped."""
    out = []
    for number in sorted(sheet.grid.rows):
        if number < sheet.head.after:
            continue
        row = sheet.grid.rows[number]
        kind = rows.blank_kind(sheet.grid, number, row, sheet.head, sheet.columns)
        if not kind:
            out.append((number, row))
            work.counted.add((sheet.grid.name, number))
        elif kind != "blank":
            text = " | ".join(cell.text for cell in row if cell is not None and not cell.merged)
            sheet.skipped.append((number, kind, text[:200]))
    sheet.found = len(out)
    return out


def given(work: Work, sheet: Sheet, number: int) -> Mapping[str, Any]:
    """The mended values of one row."""
    if not work.mends.entries:
        return {}
    mends = work.mends
    places = mends.of(sheet.grid.name, number, len({s.grid.name for s in work.sheets if s.role == "main"}))
    if not places:
        return {}
    units = {m.field: m.unit for m in sheet.columns if m.field}
    row = sheet.grid.rows[number]
    cells = {m.field: row[m.column] for m in sheet.columns if m.field and m.column < len(row)}
    for place in places:
        before = cells.get(mending.ident(mends.entries[place].field) or "")
        mends.entries[place] = replace(mends.entries[place], before=before.text if before else "")
    out = mending.values(mends, places, units, work.reader)
    tag = cells.get("location.tag")
    parted = mending.split(mends, places, tag.text if tag else "", sheet.role == "main")
    return out if parted is None else {**out, "location.tag": parted}


def answers(work: Work, sheet: Sheet, number: int) -> list[str]:
    """Answers about one row that no field holds."""
    if not any(mend.kind == "answer" for mend in work.mends.entries):
        return []
    places = work.mends.of(sheet.grid.name, number, len({s.grid.name for s in work.sheets if s.role == "main"}))
    return mending.answers(work.mends, places, sheet.role == "main")
