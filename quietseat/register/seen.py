"""A register's cells kept as written, so that a person can look at one row and at the codes nobody could read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from quietseat.register import fields
from quietseat.register.cells import Reader
from quietseat.register.columns import Mapped, mended
from quietseat.register.headers import Head
from quietseat.register.heading_mends import rows_of
from quietseat.register.parts import letter
from quietseat.register.taken import BLANK, Taken
from quietseat.register.workbook import Cell, Grid

TOP, WIDEST = 30, 40  # rows and columns of a sheet shown to find its headings by eye

# Quantities whose cells are words or letters, so that one text may stand in many rows.
_CODED = frozenset(("choice", "cause", "block_valve", "yes_no", "letter"))


@dataclass(frozen=True, slots=True)
class Table:
    """One table of a sheet with the columns as they were read. Its grid still holds every cell."""

    grid: Grid
    head: Head
    role: str
    columns: Sequence[Mapped]
    counted: frozenset[int]  # the rows that count


@dataclass(frozen=True, slots=True)
class CellSeen:
    """One cell and what its column made of it.

    field: "" for a column that is not used; state, value (SI), how, rule, mend: as of Taken; second: only compared with the first column.
    """

    letter: str
    heading: str
    text: str
    kind: str
    field: str
    state: str
    value: Any
    how: str
    rule: str
    mend: str
    second: bool = False


@dataclass(frozen=True, slots=True)
class Code:
    """A text that could not be read in a column of words, and in how many of its cells it stands."""

    sheet: str
    letter: str
    heading: str
    field: str
    text: str
    count: int
    rule: str
    mend: str


class Cells:
    """The cells of a register that was read. Mends of single cells are not in them."""

    def __init__(self, tables: Sequence[Table], reader: Reader, grids: Sequence[Grid]) -> None:
        self._tables, self._reader = tables, reader
        self._grids = {grid.name: grid for grid in grids if grid.rows}

    def sheets(self) -> tuple[str, ...]:
        """The sheets of the file that hold anything, read or not."""
        return tuple(self._grids)

    def top(self, sheet: str) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """The first rows of a sheet as written: number and cells from the left; empty for a sheet the file lacks."""
        grid = self._grids.get(sheet)
        rows = sorted(grid.rows)[:TOP] if grid is not None else ()
        return tuple((number, tuple(cell.text if cell is not None else "" for cell in grid.rows[number][:WIDEST])) for number in rows if grid is not None)

    def no_headings(self, sheet: str, text: str) -> str:
        """Why the rows a person names hold no headings of a sheet; "" where they may."""
        found = rows_of(text, self._grids[sheet])
        return found if isinstance(found, str) else ""

    def rows(self) -> Iterator[Sequence[Cell | None]]:
        """Every row of every sheet, as kept."""
        return (row for grid in self._grids.values() for row in grid.rows.values())

    def counts(self, sheet: str, number: int) -> bool:
        """Whether a row counts: a mend of it can be used."""
        return any(t.grid.name == sheet and number in t.counted for t in self._tables)

    def row(self, sheet: str, number: int) -> tuple[CellSeen, ...] | None:
        """Every cell of a row, and every blank one of a used column, from left to right; None where no table has the row."""
        table = next((t for t in self._tables if t.grid.name == sheet and number in t.grid.rows), None)
        if table is None:
            return None
        row = table.grid.rows[number]
        by_column = {mapped.column: mapped for mapped in table.columns}
        places = sorted(by_column.keys() | {place for place, cell in enumerate(row) if cell is not None})
        return tuple(self._cell(place, row[place] if place < len(row) else None, row, by_column.get(place)) for place in places)

    def comments(self, sheet: str, number: int) -> tuple[str, ...]:
        """The comments of a row's cells."""
        return tuple(
            f"{letter(column)}{row}: {text}" for t in self._tables if t.grid.name == sheet and number in t.grid.rows
            for (row, column), text in t.grid.comments.items() if row == number
        )  # fmt: skip

    def _cell(self, place: int, cell: Cell | None, row: Sequence[Cell | None], mapped: Mapped | None) -> CellSeen:
        ident = (mapped.field or mapped.second) if mapped is not None else ""
        taken = self._take(cell, row, mapped, ident) if mapped is not None and ident else BLANK
        heading = mapped.heading if mapped is not None else ""
        text, kind = (cell.text, cell.kind) if cell is not None else ("", "")
        return CellSeen(letter(place), heading, text, kind, fields.shown(ident) if ident else "", taken.state if ident else "", taken.value,
                        taken.how, taken.rule, taken.mend, bool(mapped is not None and mapped.second))  # fmt: skip

    def _take(self, cell: Cell | None, row: Sequence[Cell | None], mapped: Mapped, ident: str) -> Taken:
        if cell is None:
            return BLANK
        unit = mapped.unit
        beside = row[mapped.unit_column] if mapped.unit_column is not None and mapped.unit_column < len(row) else None
        if beside is not None and fields.is_unit(beside.text):
            unit = fields.plain_unit(beside.text)
        known = fields.fields()[ident]
        taken = self._reader.take(cell, known, unit, mapped.dates)
        return mended(mapped, cell, taken, known, self._reader) if mapped.hits else taken

    def codes(self) -> Iterator[Code]:
        """The texts that could not be read in columns of words, column by column, the commonest first."""
        for table in self._tables:
            for mapped in table.columns if table.role != "other" else ():
                ident = mapped.field or mapped.second
                if not ident or fields.fields()[ident].quantity not in _CODED:
                    continue
                column = mapped.column
                held = [row[column] for number, row in table.grid.rows.items() if number in table.counted and column < len(row)]
                cells = {cell.text: cell for cell in held if cell is not None}
                for text, count in Counter(cell.text for cell in held if cell is not None).most_common():
                    taken = self._take(cells[text], (), mapped, ident)
                    if taken.state == "refused":
                        yield Code(table.grid.name, mapped.letter, mapped.heading, fields.shown(ident), text, count, taken.rule, taken.mend)
